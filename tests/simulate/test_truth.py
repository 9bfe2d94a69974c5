"""The true answers, on the definitions the pipeline measures by."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.simulate import flight
from pipeline.simulate.ground import heights
from pipeline.simulate.shapes import bump
from pipeline.simulate.truth import CREST_M
from support.quiet_field import LATER


def truth_of(story, field=None, survey=None):
    return flight.make(story(field, {"spacing_m": 1.5, **(survey or {})}), "once").truths[0]


def depth_of(story, sd_m: float, field=None) -> float:
    """The true ring depth, mm, of a 50 mm pit where a whole ring lies on skin."""
    pit = {"name": "a", "at": "lead-off-second", "depth_mm": 50.0, "sd_m": sd_m}
    made = truth_of(story, {"layout": "softball-65", "pits": [pit], **(field or {})})
    return made.plain["places"]["lead-off-second"]


@pytest.mark.analytic  # means of a Gaussian over a disc of 0.9 m less a ring of 1.5-2.7 m, as shares of its depth
@pytest.mark.parametrize("sd_m, share", [(0.5, 0.50), (0.8, 0.70), (1.2, 0.66), (2.0, 0.39)])
def test_the_ring_depth_of_a_gaussian_pit_is_its_known_share(story, sd_m, share):
    assert depth_of(story, sd_m) == pytest.approx(50.0 * share, abs=0.5)


@pytest.mark.independent  # the disc's and the ring's means of the same bell by scipy's quadrature
def test_the_ring_depth_agrees_with_quadrature(story):
    from scipy.integrate import quad

    def mean(a, b):
        return quad(lambda r: np.exp(-r * r / 2 / 0.7**2) * 2 * r / (b * b - a * a), a, b)[0]

    assert depth_of(story, 0.7) == pytest.approx(50 * (mean(0, 0.9) - mean(1.5, 2.7)), abs=0.2)


@pytest.mark.analytic
def test_a_tilt_changes_no_ring_depth(story):
    tilted = depth_of(story, 0.8, {"fall": {"slope_pct": 2.0, "bearing_deg": 50.0}})
    assert tilted == pytest.approx(depth_of(story, 0.8), abs=1e-3)


@pytest.mark.analytic
def test_a_lips_rise_is_the_mean_over_its_window_and_its_peak_is_its_height(story):
    edge = truth_of(story, {"lips": [{"edge": "outer", "height_mm": 30.0}]}).plain["edges"]["outer"]
    use = slice(4, -4)
    d = np.arange(CREST_M[0], CREST_M[1] + 0.005, 0.01)
    share = bump(d, 0.0, 0.13, 0.30).mean()
    assert edge["peak_mm"][use] == pytest.approx(np.full(len(edge["peak_mm"][use]), 30.0), abs=0.3)
    assert edge["rise_mm"][use] == pytest.approx(np.full(len(edge["rise_mm"][use]), 30.0 * share), abs=0.6)
    assert edge["fall_mm"][use] == pytest.approx(edge["rise_mm"][use], abs=0.3)
    assert set(edge["kind"][use]) == {"lip"}


@pytest.mark.analytic
def test_low_skin_rises_by_its_step_and_does_not_fall(story):
    edge = truth_of(story, {"level_mm": -25.0}).plain["edges"]["outer"]
    use = slice(3, -3)
    rise = np.array(edge["rise_mm"][use])
    assert rise.mean() == pytest.approx(25.0, abs=0.5) and rise.max() < 25.1
    assert rise.min() > 22.5  # the window of a crest near the line reaches into the ramp
    assert np.abs(edge["fall_mm"][use]).max() < 2.5 and set(edge["kind"][use]) == {"low_skin"}


@pytest.mark.analytic
def test_a_flush_edge_is_flush(story):
    assert set(truth_of(story).plain["edges"]["outer"]["kind"]) == {"flush"}


@pytest.mark.analytic
def test_growth_is_the_difference_of_two_dates_heights(story):
    field = {"lips": [{"edge": "outer", "height_mm": 15.0, "growth_mm_per_year": 10.0}]}
    early, late = truth_of(story, field), truth_of(story, field, {"day": LATER})
    grown = np.subtract(late.plain["edges"]["outer"]["lip_mm"], early.plain["edges"]["outer"]["lip_mm"])
    assert grown[4:-4].mean() == pytest.approx(10.0, rel=0.25)
    peaks = np.subtract(late.plain["edges"]["outer"]["peak_mm"], early.plain["edges"]["outer"]["peak_mm"])
    assert peaks[4:-4] == pytest.approx(grown[4:-4], abs=0.1)


@pytest.mark.analytic
def test_volume_of_the_skin_changes_by_the_mix_that_was_added(story):
    field = {"events": [{"day": "2025-09-01", "work": "mix_add", "raise_mm": 10.0}]}
    early, late = (truth_of(story, field, {"day": d}).plain["skin"] for d in ("2025-04-07", "2026-04-07"))
    added = late["volume_over_design_m3"] - early["volume_over_design_m3"]
    assert added == pytest.approx(0.010 * early["area_m2"], rel=0.01)  # less what the ramp at the edge leaves out
    assert late["mean_over_design_mm"] - early["mean_over_design_mm"] == pytest.approx(10.0, rel=0.01)


@pytest.mark.analytic
def test_what_a_survey_adds_is_written_beside_it(story):
    drift = {"shift_mm": 12.0, "tilt_e_mm_per_m": 0.3, "dome_mm": 20.0}
    plain = truth_of(story, None, {"drift": drift}).plain["added_by_survey"]
    assert plain["dome_at_m"] == 30.0 and {k: plain[k] for k in drift} == drift
    assert 12.0 < plain["mean_over_skin_mm"] < 22.0  # the bowl lifts the skin by its mean square radius


@pytest.mark.invariant
def test_the_raster_holds_the_ground_at_cell_centres(story, scene_of):
    field = {"skin_waves_mm": 4.0, "pits": [{"name": "a", "at": "second", "depth_mm": 40.0}]}
    true = truth_of(story, field)
    scene, state = scene_of(field)
    e, n = true.grid.mesh()
    assert true.grid == scene.layout.grid
    row, col = np.random.default_rng(1).integers(0, min(true.grid.shape), (2, 200))
    there = heights(scene, state, e[row, col], n[row, col])
    assert true.z0 + true.z[row, col].astype(float) == pytest.approx(there.z, abs=1e-6)
    assert np.array_equal(true.skin[row, col], (there.d < 0) & (there.patch < 0))
