"""What the rulebook check of one survey is read from: drift taken off, lines that were seen, points and their s.d."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from shapely.geometry import LineString, Point

from pipeline.diamond.carry import from_plain, to_plain
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Drawing, Feature, build
from pipeline.jobs import Job
from pipeline.settings import Config
from pipeline.steps.measure_rules import drift_off, points, rules_checked, seen_lines
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.own_drift import own_drift
from pipeline.survey.edges.edge_table import EdgeTable
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY
from pipeline.survey.stable.drift import drift_basis
from pipeline.survey.stable.patches import PatchHeight, footprints
from pipeline.tables import TABLES, Rows, read

HOME = (507020.0, 175010.0)
SIGNED = {"set_by": "nobody: a test", "set_on": "2026-01-01"}


def layout(*drawn: Feature, other: str | None = None):
    far = LAYOUTS["softball-60"].home_to_second_m
    slabs = [Feature("stable", f"slab-{k}", Point(HOME[0] + x, HOME[1] + y).buffer(1.0)) for k, (x, y) in enumerate(((18, -2), (-18, -2), (20, 25), (-20, 25), (0, 45)))]
    return build(Drawing("f", "EPSG:6550", 0.2, "softball-60", other, HOME, (HOME[0], HOME[1] + far), features=(*slabs, *drawn)))


def job(home_e: str = "507020.000", **tolerances) -> Job:
    far = LAYOUTS["softball-60"].home_to_second_m
    cells = {"fields": {"field_id": "f", "crs": "EPSG:6550", "layout": "softball-60", "home_e": home_e, "home_n": "175010.0", "second_e": "507020.0", "second_n": f"{175010 + far:.1f}"},
             "surveys": {"survey_id": "s", "flown_on": "2026-04-07", "fields": "f", "path": "s.laz", "source": "photogrammetry"}}  # fmt: skip
    rows = {t: read(t, Rows(f"{t}.csv", tuple(f.name for f in TABLES[t]), ((2, c),)))[0] for t, c in cells.items()} | {"readings": (), "works": ()}
    owned = {k: {"value": v, **SIGNED} for k, v in tolerances.items()}
    return Job("f", "s", Config(tolerances=owned), rows, (), "")


def surveyed(made, drift=np.zeros(4), base: str = "base") -> Surveyed:
    """A level field at 300 m whose survey is off by a drift; the baseline is not."""
    off = drift_basis(*made.grid.mesh(), made.centre) @ drift
    feet = footprints(made)
    heights = {f.patch_id: PatchHeight(f.patch_id, 300.0 + float((drift_basis(*f.places.T, made.centre) @ drift).mean()), 0.001, 100, 0) for f in feet}
    still = {f.patch_id: PatchHeight(f.patch_id, 300.0, 0.001, 100, 0) for f in feet}
    noise = GOOD_PHOTOGRAMMETRY
    return Surveyed({"survey_id": "s", "verdict": "absolute"}, base, 300.0 + off, np.full(off.shape, 0.004), np.ones(off.shape), noise, noise, (), (), (), heights, still,
                    noise, 0.004, None, None)  # fmt: skip


@pytest.mark.analytic
def test_a_bowl_that_stable_ground_shows_is_taken_off_and_makes_nothing_outside():
    """55 mm at 30 m, as the demo's bad camera: left in, the pitcher's plate would stand low. Whether this survey
    or the baseline is bent nothing says, so the range widens by as much."""
    made, drift = layout(), np.array([0.04, 0.002, -0.003, 0.055])
    clean, bent = (rules_checked(job(base_line_pct=1.0), made, surveyed(made, d)) for d in (np.zeros(4), drift))
    for a, b in zip(clean, bent):
        assert b["verdict"] != "outside"
        if a["item"] == "pitchers-plate-over-home":  # it lies near the bowl's middle, home plate far off
            assert b["sigma_mm"] > 1.2 * a["sigma_mm"] and abs(b["measured_mm"]) < 1.5 * b["sigma_mm"]


@pytest.mark.independent
def test_the_drift_of_two_surveys_is_shared_out_and_its_s_d_holds():
    """Drifts of both surveys drawn from their priors, the tie through whole patches; cells and plates free of other noise."""
    made, rng = layout(), np.random.default_rng(5)
    sd = np.array([GOOD_PHOTOGRAMMETRY.shift_m, *(GOOD_PHOTOGRAMMETRY.tilt * 30,) * 2, GOOD_PHOTOGRAMMETRY.dome_m])
    row, off, sigma, untied = next(p for p in made.places if p.place_id == "second"), [], [], []
    for _ in range(300):
        base, mine = sd * rng.standard_normal((2, 4))
        there = surveyed(made, mine)
        still = {f.patch_id: replace(there.base_heights[f.patch_id], height_m=300.0 + float((drift_basis(*f.places.T, made.centre) @ base).mean())) for f in footprints(made)}
        tie = replace(there, base_heights=still).tie(made)
        mean, covariance = own_drift(there.noise, there.base_noise, *tie.drift(), tie.prior)
        load = drift_basis(np.array([row.e]), np.array([row.n]), made.centre)[0] - drift_basis(*np.array([HOME]).T, made.centre)[0]
        off.append(load @ (mine - mean))
        untied.append(load @ mine)
        sigma.append(np.sqrt(load @ covariance @ load))
    assert np.std(off) < 0.85 * np.std(untied)
    assert 0.75 < np.std(np.array(off) / np.array(sigma)) < 1.1  # widened now and then, never narrowed


@pytest.mark.invariant
def test_the_baseline_s_own_heights_stay_as_they_are():
    made = layout()
    heights, plates = drift_off(made, surveyed(made, np.array([0.04, 0.0, 0.0, 0.0]), base="s"))
    assert heights.z == approx(np.full(heights.z.shape, 300.04)) and plates["home-plate"].height_m == approx(300.04)


@pytest.mark.invariant
def test_points_to_a_tenth_of_a_metre_are_known_no_better():
    made = layout()
    fine, coarse = (points(job(e), made)["softball-60"]["home"].sigma_m for e in ("507020.000", "507020.0"))
    assert fine == approx(0.010, abs=1e-4) and coarse == approx(np.hypot(0.010, 0.1 / 12**0.5))


@pytest.mark.invariant
def test_anchors_reach_the_check_through_the_layout_s_file_and_give_their_base_set_s_place():
    anchors = (Feature("base_anchor", "first", Point(1, 2), {"located_on": dt.date(2026, 3, 30), "sigma_mm": 4.0}),
               Feature("base_anchor", "third", Point(3, 4), {"base": "third", "layout": "softball-55", "located_by": "rover"}))  # fmt: skip
    made = layout(*anchors, other="softball-55")
    again = from_plain(to_plain(made))
    assert [(f.name, f.props) for f in again.drawn_anchors] == [("first", {"located_on": "2026-03-30", "sigma_mm": 4.0}), ("third", dict(anchors[1].props))]
    assert made.anchors["first"] == (1, 2) and made.anchors["third-55"] == (3, 4) and made.anchors["third"] != (3, 4)
    found = points(job(), again)["softball-60"]
    assert (found["first"].e, found["first"].sigma_m) == (1.0, 0.004)


@pytest.mark.invariant
def test_a_line_that_stands_in_the_layout_only_or_was_walked_is_not_seen():
    line = LineString(np.column_stack([np.arange(0, 40, 0.25), np.zeros(160)]))
    s, d = np.arange(0.25, 39.5, 0.5), np.arange(-1.2, 1.21, 0.05)
    green = np.tile((d > 0).astype(float), (len(s), 1))
    table = EdgeTable("outer", s, d, np.zeros(green.shape), np.ones(green.shape), green, None, None, np.ones(len(s), bool))
    made = layout()

    def seen(source: str, rows=None):
        return seen_lines(replace(surveyed(made), edges=(Edge("outer", line, True, source),), tables=(table,), rows=rows))

    assert set(seen("fitted")) == {"outer"} == set(seen("drawn"))
    assert np.abs(seen("fitted")["outer"].n).max() < 0.1
    assert seen("layout") == {} and seen("fitted", rows=object()) == {}
