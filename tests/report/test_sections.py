"""Profiles over the ground: what lies along a line, on each date."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from report.scene import given, layout, sayer, surface

from pipeline.report.figures import METRIC
from pipeline.report.sections import Section, section, worth_drawing
from pipeline.report.sections_block import sections_block
from pipeline.report.sections_chart import sections_chart
from pipeline.report.two_dates import Surface

FLAT = lambda e, n: np.zeros(np.broadcast(e, n).shape)


def lifted() -> Surface:
    """A surface that rises 10 mm a metre toward the east, and steps up 50 mm north of the grid's middle."""
    grid = layout().grid
    e, n = grid.mesh()
    middle = grid.north - grid.ny // 2 * grid.cell_m
    return Surface("a", "2025-01-01", 0.010 * (e - grid.west) + 0.050 * (n > middle), np.full(grid.shape, 0.004), 3.0)


@pytest.mark.analytic
def test_a_section_reads_a_slope_and_a_step_where_they_are():
    grid, made = layout().grid, lifted()
    e0, n0 = grid.west + grid.nx // 2 * grid.cell_m, grid.north - grid.ny // 2 * grid.cell_m
    east = section(made, grid, FLAT, e0, n0 + 2.0, 1.0, 0.0, -2.0, 2.0)
    assert np.diff(east.over_mm) == pytest.approx(10.0 * grid.cell_m, abs=1e-6) and np.all(east.sigma_mm == pytest.approx(4.0))
    north = section(made, grid, FLAT, e0, n0, 0.0, 1.0, -2.0, 2.0)
    assert north.over_mm[north.d > 0.6].mean() - north.over_mm[north.d < -0.6].mean() == pytest.approx(50.0, abs=1e-6)


@pytest.mark.invariant
def test_what_was_not_measured_or_lies_off_the_grid_is_a_gap_and_a_line_of_gaps_is_not_drawn():
    grid, made = layout().grid, lifted()
    holed = replace(made, z=np.where(np.indices(grid.shape)[1] < grid.nx // 2, np.nan, made.z))
    e0, n0 = grid.west + grid.nx // 2 * grid.cell_m, grid.north - 5.0
    found = section(holed, grid, FLAT, e0, n0, 1.0, 0.0, -2.0, 2.0)
    assert np.isnan(found.over_mm[found.d < -0.3]).all() and np.isfinite(found.over_mm[found.d > 0.3]).all()
    off = section(made, grid, FLAT, grid.west - 50.0, n0, 1.0, 0.0, -2.0, 2.0)
    assert np.isnan(off.over_mm).all() and worth_drawing([off, found]) == []


@pytest.mark.analytic
def test_a_drawing_has_one_line_a_date_the_newest_heavy_and_bands_of_the_first_and_the_newest():
    d = np.linspace(-1, 1, 21)
    found = [Section(s, d, np.full(21, v), np.full(21, 2.0)) for s, v in (("a", 0.0), ("b", 10.0), ("c", 20.0))]
    svg = sections_chart("s", found, [(0.0, "base")], "along", METRIC, "title", "about")
    kinds = re.findall(r'class="(height[a-z ]*|band[a-z ]*)"', svg)
    assert sorted(kinds) == ["band", "band early", "height", "height between", "height first"]
    y = {k: float(re.search(rf'd="M[\d.]+ ([\d.]+)L[^"]*" class="{k}"', svg).group(1)) for k in ("height", "height between", "height first")}
    assert y["height first"] - y["height between"] == pytest.approx(y["height between"] - y["height"], abs=0.11) and y["height"] < y["height first"]


@pytest.mark.invariant
def test_the_block_names_each_base_and_each_ten_metres_of_edge_and_is_empty_without_surfaces():
    assert sections_block(given(), sayer()) == {}
    made = given(surfaces=tuple(surface(s, seed=k) for k, s in enumerate("abc")))
    titles = [c["title"] for c in sections_block(made, sayer())["charts"]]
    assert "Through second base" in titles and len(titles) == len(set(titles))
    outer = next(e for e in made.edges if e.edge_id == "outer")
    assert sum("outer edge" in t for t in titles) == int((outer.length_m - 5) // 10) + 1
