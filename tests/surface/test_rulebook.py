"""The rulebook check as a whole: verdicts, what is not seen, falls, plates, both base sets."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from math import inf, nan

import numpy as np
import pytest
from pytest import approx
from scipy.stats import norm
from support.rule_field import ALL, Truth, surveyed

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.surface.rulebook import ORDER, RuleTolerances, counted, rulebook
from pipeline.surface.rulebook_item import GUARD, Measured, judged, not_seen, verdict
from pipeline.surface.rulebook_plates import line_ends
from pipeline.surface.rulebook_rules import SIDES, Rule, rules

NO_SIGHT = {"pitching-distance", "mound-diameter", "arc-radius", "arc-centre-from-home", "arc-centre-aside", "home-circle-radius"}


def by_item(given, layout: str | None = None) -> dict:
    return {i.item: i for i in rulebook(given) if layout in (None, i.layout)}


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("away", "sigma", "tolerance", "word"),
    [
        (0.0, 5.0, 10.0, "within"), (5.0, 2.5, 10.0, "within"), (5.0, 2.6, 10.0, "cannot_tell"), (-5.0, 2.6, 10.0, "cannot_tell"),
        (15.0, 2.5, 10.0, "outside"), (-15.0, 2.5, 10.0, "outside"), (15.0, 2.6, 10.0, "cannot_tell"), (10.0, 0.0, 10.0, "within"),
        (0.0, 7.0, 10.0, "cannot_tell"), (nan, 1.0, 10.0, "cannot_tell"), (0.0, inf, 10.0, "cannot_tell"),
    ],
)  # fmt: skip
def test_the_guard_band_decides_only_with_room_to_spare(away, sigma, tolerance, word):
    assert verdict(away, sigma, tolerance) == word


@pytest.mark.independent
def test_the_guard_is_the_range_printed_beside_a_figure():
    """JCGM 106:2012 (from memory); the normal's quantile by scipy. At the very limit 2.5 % are called outside, 2.5 % within."""
    assert GUARD == approx(norm.ppf(0.975), abs=2e-4)
    drawn = 10.0 + 2.0 * np.random.default_rng(71).standard_normal(4000)
    words = [verdict(v, 2.0, 10.0) for v in drawn]
    assert words.count("outside") / 4000 == approx(0.025, abs=0.009)
    assert words.count("within") / 4000 == approx(0.025, abs=0.009)


@pytest.mark.invariant
def test_nothing_is_judged_without_rule_tolerance_and_sigma():
    rule, told = Rule(100.0, "a book"), Measured(0.100, 0.001)
    assert judged("l", "i", told, rule, 5.0, "t_mm").verdict == "within"
    none = judged("l", "i", told, rule, None, "t_mm")
    assert (none.verdict, none.reason) == ("cannot_tell", "no tolerance: t_mm") and np.isnan(none.tolerance_mm)
    assert "told, not judged" in judged("l", "i", told, rule, None, None).reason
    assert "no rule" in judged("l", "i", told, Rule(nan, "chart"), 5.0, "t_mm").reason
    assert judged("l", "i", Measured(0.1, nan), rule, 5.0, "t_mm").verdict == "cannot_tell"
    assert judged("l", "i", replace(told, unfit=True, reason="dirt"), rule, 500.0, "t_mm").verdict == "cannot_tell"
    tables = judged("l", "i", replace(told, by_table=True, reason="from the table"), rule, 5.0, "t_mm")
    assert tables.verdict == "cannot_tell" and "agrees with itself" in tables.reason
    assert judged("l", "i", replace(told, value_m=0.2, by_table=True), rule, 5.0, "t_mm").verdict == "outside"
    unseen = judged("l", "i", not_seen("no anchor"), rule, 5.0, "t_mm")
    assert (unseen.verdict, unseen.reason) == ("not_seen", "no anchor") and np.isnan(unseen.measured_mm)


@pytest.mark.analytic
@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_field_built_to_the_book_is_within_in_all_that_can_be_seen(layout):
    """Error-free heights of a level field, bags and plates in place; small mounds' tables are not as the 90 ft rule's."""
    found = by_item(replace(surveyed(layout), tolerances=replace(ALL, base_distance_mm=40.0)))
    assert set(found) == set(rules(layout))
    for item, row in found.items():
        if item in NO_SIGHT:
            assert row.verdict == "not_seen" and row.reason
        elif np.isfinite(row.rule_mm):
            assert row.verdict == "within", row
            assert row.measured_mm == approx(row.rule_mm, abs=12.0), row
        else:
            assert row.verdict == "cannot_tell" and "no rule" in row.reason
    assert sum(counted(rulebook(surveyed(layout))).values()) == len(found)


@pytest.mark.analytic
def test_falls_along_the_base_lines_are_those_of_the_plane():
    found = by_item(surveyed("softball-60", Truth(aside=0.006, along=-0.002)))
    b = LAYOUTS["softball-60"].base_m
    for item, (start, end) in line_ends(LAYOUTS["softball-60"]).items():
        rise = float((end - start) @ (0.006, -0.002))
        assert found[f"fall-{item}"].measured_mm == approx(1000 * rise, abs=1e-3)
        assert found[f"fall-{item}"].tolerance_mm == approx(0.5 / 100 * b * 1000)
        assert found[f"fall-{item}"].verdict == ("within" if abs(rise) / b <= 0.005 else "outside")
    assert sum(found[f"fall-{item}"].measured_mm for item in SIDES) == approx(0.0, abs=1e-3)
    assert found["second-over-home"].measured_mm == approx(-2.0 * LAYOUTS["softball-60"].home_to_second_m, abs=2.0)
    assert found["second-over-home"].tolerance_mm == approx(found["first-over-home"].tolerance_mm * 2**0.5)


@pytest.mark.analytic
@pytest.mark.parametrize(("layout", "tolerance"), [("softball-60", 0.005 * 43 * 304.8), ("baseball-60", 25.0)])
def test_a_pitcher_s_plate_without_a_mound_lies_in_the_graded_skin_and_has_its_slope_s_limit(layout, tolerance):
    assert by_item(surveyed(layout))["pitchers-plate-over-home"].tolerance_mm == approx(tolerance)


@pytest.mark.analytic
def test_a_tilted_home_plate_reads_its_tilt_over_17_inches():
    found = by_item(surveyed("softball-60", Truth(plate_tilt=(0.02, -0.01))))
    assert found["plate-level-across"].measured_mm == approx(0.02 * 431.8, abs=0.01)
    assert found["plate-level-along"].measured_mm == approx(-0.01 * 431.8, abs=0.01)
    assert found["plate-level-across"].verdict == "outside" and found["plate-level-along"].verdict == "within"


@pytest.mark.invariant
def test_dirt_on_the_plate_is_told_and_not_judged():
    given = surveyed("softball-60", Truth(plate_tilt=(0.03, 0.0)))
    e, n = given.layout.grid.mesh()
    x, y = given.layout.axes.local(e, n)
    z = given.heights.z + 0.03 * (np.hypot(x - 0.05, y - 0.2) < 0.1)
    row = by_item(replace(given, heights=replace(given.heights, z=z)))["plate-level-across"]
    assert row.verdict == "cannot_tell" and "dirt" in row.reason


@pytest.mark.invariant
def test_the_height_of_the_whole_survey_changes_nothing_and_no_plate_leaves_heights_unseen():
    given = surveyed("baseball-60", Truth(mound_up=0.01))
    plates = {k: replace(p, height_m=p.height_m + 7.0) for k, p in given.plates.items()}
    up = replace(given, heights=replace(given.heights, z=given.heights.z + 7.0), plates=plates)
    for a, b in zip(rulebook(given), rulebook(up)):
        assert b.measured_mm == approx(a.measured_mm, abs=1e-3, nan_ok=True) and b.verdict == a.verdict
    bare = by_item(replace(given, plates={}))
    for item in ("mound-height", "pitchers-plate-over-home", "first-over-home"):
        assert bare[item].verdict == "not_seen" and "home plate" in bare[item].reason
    assert bare["fall-home-first"].verdict == "within"


@pytest.mark.invariant
def test_each_base_set_has_its_own_rows_and_only_the_main_one_has_the_mound():
    given = surveyed("baseball-70", other="baseball-60")
    rows = rulebook(given)
    assert [i.layout for i in rows] == sorted((i.layout for i in rows), reverse=True)
    other = {i.item: i for i in rows if i.layout == "baseball-60"}
    assert {"home-first", "fall-home-first", "first-over-home", "pitching-distance"} <= set(other)
    assert not any(i.startswith(("mound", "arc", "plate-level")) for i in other)
    assert other["home-first"].verdict == "not_seen" and other["pitchers-plate-over-home"].verdict == "not_seen"
    assert other["home-first"].rule_mm == approx(18288.0)
    keys = [(i.layout, i.item) for i in rows]
    assert len(set(keys)) == len(keys)


@pytest.mark.invariant
def test_without_tolerances_nothing_is_within_or_outside_and_every_row_says_why():
    rows = rulebook(replace(surveyed("baseball-90"), tolerances=RuleTolerances()))
    assert {i.verdict for i in rows} == {"cannot_tell", "not_seen"}
    assert all(i.reason and i.rule_source for i in rows)
    assert any(i.reason == "no tolerance: mound_height_mm" for i in rows)
    assert set(ORDER) >= {i.item for i in rows}


@pytest.mark.invariant
def test_a_field_without_a_layout_has_no_rows_and_ground_not_measured_is_not_seen():
    given = surveyed("baseball-60")
    assert rulebook(replace(given, main=None)) == ()
    nothing = replace(given.heights, z=np.full(given.heights.z.shape, nan), white=np.full(given.heights.z.shape, nan))
    found = by_item(replace(given, heights=nothing))
    for item in ("fall-home-first", "first-over-home", "plate-level-across", "mound-height", "mound-front-fall", "landing-wear"):
        assert found[item].verdict == "not_seen"


@pytest.mark.independent
@pytest.mark.parametrize(("source", "seed"), [("good", 611), ("weak", 612), ("lidar", 613)])
def test_heights_and_slopes_lie_within_their_sigma_as_often_as_they_should(source, seed):
    """24 drawn surveys; the correlated fields are drawn by circulant embedding, the s.d. come from linear weights."""
    truth = Truth(aside=0.002, mound_up=0.012, worn=0.03)
    exact, rng, found = by_item(surveyed("baseball-60", truth)), np.random.default_rng(seed), defaultdict(list)
    for _ in range(24):
        for item, row in by_item(surveyed("baseball-60", truth, source, rng)).items():
            found[item].append((row.measured_mm - exact[item].measured_mm) / row.sigma_mm)
    families = {
        "fall": [f"fall-{i}" for i in SIDES], "bases": ["first-over-home", "second-over-home", "third-over-home"],
        "plate": ["plate-level-across", "plate-level-along"], "mound": ["mound-height", "mound-front-fall", "mound-table-tilt-across"],
    }  # fmt: skip
    for items in families.values():
        z = np.concatenate([found[i] for i in items])
        assert 0.75 < np.sqrt((z**2).mean()) < 1.3
        assert (np.abs(z) < 1.96).mean() > 0.87
