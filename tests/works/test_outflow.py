"""Water over planes: what drains where is area by geometry, and what noise alone does is not flagged."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Feature
from pipeline.frame import Grid
from pipeline.survey.noise import Noise
from pipeline.surface.survey_error import SurveyError
from pipeline.works.drains import inlets, leaving
from pipeline.works.handoffs import CATCHMENT, FALL, LEVEL, LOOK, OUTFLOW, RAISE, Site
from pipeline.works.outflow import Ground, compared, dressed

GRID = Grid("EPSG:6550", 0, 300, 0.1, 300, 300)
SKIN = box(5, 5, 25, 25)  # 400 m2
E, N = GRID.mesh()
OVER, GRADED = GRID.mask(SKIN), GRID.mask(SKIN.buffer(-0.3))
SIDES = [Edge(name, LineString(line), False, "drawn") for name, line in
         (("south", [(5, 5), (25, 5)]), ("east", [(25, 5), (25, 25)]), ("north", [(25, 25), (5, 25)]), ("west", [(5, 25), (5, 5)]))]  # fmt: skip
WHITE = np.full(GRID.shape, 0.0005)
EAST, SOUTH = 100 - 0.01 * E, 100 + 0.01 * N


def error(white_m: float = 0.0005) -> SurveyError:
    noise = Noise(white_m=white_m, parts=((0.0005, 2.0),), shift_m=0.0, tilt=0.0, dome_m=0.0, horizontal_m=0.0)
    return SurveyError.of(noise, (15.0, 15.0))


def flow(existing, design, inlets_=(), moved=None):
    ground = Ground(GRID, np.where(OVER, existing, np.nan), np.where(OVER, design, np.nan), OVER, OVER if moved is None else moved, WHITE)
    return compared(ground, SIDES, inlets_, error(), np.random.default_rng(7))


def total(stretches, name: str, when: str) -> float:
    return sum(getattr(s, when) for s in stretches if s.name == name)


@pytest.mark.analytic
def test_a_plane_turned_from_east_to_south_sends_all_its_water_over_the_other_side():
    edge, _ = flow(EAST, SOUTH)
    assert total(edge, "east", "before") == pytest.approx(400, rel=0.03) and total(edge, "south", "after") == pytest.approx(400, rel=0.03)
    assert total(edge, "south", "before") < 12 and total(edge, "east", "after") < 12
    (found,) = leaving(edge, SIDES)
    assert (found.kind, found.id, found.measure, found.verdict) == ("edge", "south-0", OUTFLOW, LOOK) and found.note.startswith("no water to speak of")
    assert (found.e, found.n) == pytest.approx((15.0, 5.0)) and found.after - found.before == pytest.approx(400, rel=0.05)


@pytest.mark.invariant
def test_the_ground_as_it_is_changes_nothing():
    edge, _ = flow(EAST, EAST, moved=np.zeros(GRID.shape, bool))
    assert all(s.before == s.after and s.sigma < 1e-9 for s in edge) and leaving(edge, SIDES) == []


@pytest.mark.analytic
def test_an_inlet_drains_what_runs_to_it():
    """In a bowl all of the ground runs to an inlet in its middle; on a plane what lies uphill of the inlet, within its width."""
    bowl = 100 + 0.01 * np.hypot(E - 15, N - 15)
    edge, (drain,) = flow(EAST, bowl, [("sump", Point(15, 15))])
    assert drain.on_ground and drain.after == pytest.approx(384, rel=0.01) and 5 < drain.before < 12  # 10 m uphill of a sump 0.6 m and a cell wide
    assert sum(s.after for s in edge) == pytest.approx(16, rel=0.05)  # the outermost cells, 0.2 m all round, drain over the side
    _, (beside,) = flow(EAST, bowl, [("kerb", Point(27, 15))])
    assert not beside.on_ground and beside.before > 60 and beside.after < 5  # 8 m less of the side's water, of 20 m uphill


def site(existing, design, sigma_m: float = 0.001) -> Site:
    return Site(GRID, np.where(GRADED, existing, np.nan), np.where(GRADED, design, np.nan), lambda weights: sigma_m if abs(weights.max()) > 1e-4 else 1e-5)


@pytest.mark.analytic
def test_an_inlets_rows_name_its_water_its_fall_and_its_level():
    """From level ground to 1 % toward the inlet, 20 mm higher at it."""
    bowl = 100 + 0.01 * np.hypot(E - 15, N - 15)
    _, (drain,) = flow(EAST, bowl, [("sump", Point(15, 15))])
    rows = {h.measure: h for h in inlets(site(bowl * 0 + 100 - 0.02, bowl), [Feature("inlet", "sump", Point(15, 15), {})], {"sump": drain})}
    assert set(rows) == {CATCHMENT, LEVEL, FALL} and all(h.verdict == LOOK for h in rows.values())
    assert (rows[FALL].before, rows[FALL].after) == pytest.approx((0.0, 1.0), abs=0.01)
    assert rows[LEVEL].difference_mm == pytest.approx(25.0, abs=1.5) and "engineer" in rows[LEVEL].who_decides  # a cone's mean over 0.8 m is 5 mm


@pytest.mark.analytic
def test_the_strip_by_the_grass_is_dressed_to_the_design_beside_it_and_grass_stays():
    made, moved = dressed(EAST, np.where(GRADED, EAST + 0.03, np.nan), OVER)
    assert made[OVER] == pytest.approx(EAST[OVER] + 0.03) and np.array_equal(made[~OVER], EAST[~OVER]) and np.array_equal(moved, OVER)
    same, none = dressed(EAST, np.full(GRID.shape, np.nan), OVER)
    assert np.array_equal(same, EAST) and not none.any()
