"""Triangles over a designed surface."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from shapely.geometry import Point

from pipeline.frame import Grid
from pipeline.works.mesh import TOLERANCE_M, mesh, without_pinholes

GRID = Grid("EPSG:6564", 6274000, 840000, 0.1, 240, 260)
E, N = GRID.mesh()
MIDDLE = ((GRID.west + GRID.east) / 2, (GRID.south + GRID.north) / 2)


def waved(graded: np.ndarray) -> np.ndarray:
    return np.where(graded, 170 + 0.01 * (E - GRID.west) + 0.03 * np.sin(E / 2) * np.cos(N / 3), np.nan)


@pytest.mark.independent
def test_every_graded_cell_is_met_to_half_a_millimetre():
    """Heights at the cells by scipy's own linear interpolation over the same corners of a convex field."""
    graded = GRID.mask(Point(*MIDDLE).buffer(10))
    made = mesh(waved(graded), GRID)
    inside = GRID.mask(Point(*MIDDLE).buffer(9.5))
    seen = LinearNDInterpolator(np.column_stack([made.e - MIDDLE[0], made.n - MIDDLE[1]]), made.z)(E[inside] - MIDDLE[0], N[inside] - MIDDLE[1])
    assert made.off_m <= TOLERANCE_M and np.nanmax(np.abs(seen - waved(graded)[inside])) < 1e-3 and made.bare == 0


@pytest.mark.invariant
def test_no_triangle_lies_over_a_hole_and_areas_add_up():
    hole = Point(MIDDLE[0] + 3, MIDDLE[1]).buffer(2)
    graded = GRID.mask(Point(*MIDDLE).buffer(10).difference(hole))
    made = mesh(waved(graded), GRID)
    corners = np.column_stack([made.e, made.n])[made.faces]
    middles = corners.mean(axis=1)
    assert not [1 for e, n in middles if hole.buffer(-0.15).contains(Point(e, n))]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    assert (area > 0).all() and area.sum() == pytest.approx(graded.sum() * GRID.cell_area_m2, rel=0.02)


@pytest.mark.invariant
def test_nothing_graded_is_said():
    with pytest.raises(ValueError, match="no graded ground"):
        mesh(np.full(GRID.shape, np.nan), GRID)


@pytest.mark.analytic
def test_a_pinhole_is_closed_on_the_plane_about_it_and_a_wider_hole_stays():
    plane = 170 + 0.01 * (E - GRID.west) - 0.004 * (N - GRID.south)
    kept_free = GRID.mask(Point(MIDDLE[0] + 3, MIDDLE[1]).buffer(0.35))
    graded = GRID.mask(Point(*MIDDLE).buffer(10)) & ~kept_free
    speckled = graded & (np.random.default_rng(5).uniform(size=GRID.shape) > 0.02)
    made = without_pinholes(np.where(speckled, plane, np.nan), GRID.cell_m)
    holes = graded & ~speckled
    well_inside = GRID.mask(Point(*MIDDLE).buffer(9.5)) & holes
    assert holes.sum() > 500 and np.abs(made - plane)[well_inside].max() < 1e-9
    assert np.isnan(made[GRID.mask(Point(MIDDLE[0] + 3, MIDDLE[1]).buffer(0.1))]).all()
    few, many = (len(mesh(z, GRID).faces) for z in (made, np.where(speckled, plane, np.nan)))
    assert few < many / 2
