"""Before and after the last work: which cells are coloured, which work is chosen, the figures beside the pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.report import palette
from pipeline.report.before_after import FINE, before_after_block, differences, even, heights
from report.scene import given, sayer, surface
from report.test_works_block import LOW, PLANE, plain, record

NAN = float("nan")


def dots(moved: list[float], half: list[float]) -> list[set]:
    """The colours of each cell's dots, clear ones None."""
    found = differences(np.array([moved]), np.array([half]), "metric")
    cells = [found[:, k * FINE : (k + 1) * FINE].reshape(-1, 4) for k in range(len(moved))]
    return [{tuple(int(v) for v in d[:3]) if d[3] else None for d in cell} for cell in cells]


@pytest.mark.analytic
def test_a_cell_is_coloured_where_it_moved_more_than_its_range_and_enough_to_matter():
    still, lost, gained = {palette.rgb(palette.STILL)}, set(map(palette.rgb, palette.LOST)), set(map(palette.rgb, palette.GAINED))
    found = dots([-12.0, 12.0, 4.0, 12.0, NAN, 30.0], [5.0, 5.0, 1.0, 13.0, 1.0, 1.0])
    assert found[0] <= lost and found[1] <= gained and found[2] == still and found[3] == still and found[4] == {None} and found[5] <= gained
    assert palette.rgb(palette.GAINED[2]) in found[5]  # the most


@pytest.mark.analytic
def test_heights_are_shaded_by_step_and_smoothing_fills_nothing_in():
    shades = heights(np.array([[-0.06, 0.0, 0.06, NAN]]), "metric")
    assert [tuple(s[:3]) for s in shades[0, :3]] == [palette.rgb(palette.PLANE[k]) for k in (0, 3, 6)] and shades[0, 3, 3] == 0
    z = np.array([[1.0, 2.0, 3.0], [4.0, NAN, 6.0], [7.0, 8.0, 9.0]])
    assert np.isnan(even(z)[1, 1]) and even(z)[0, 0] == pytest.approx((1 + 2 + 4) / 3) and even(np.full((4, 5), 2.0)) == pytest.approx(2.0)


@pytest.mark.invariant
def test_the_newest_work_whose_two_surveys_the_page_carries_is_shown_with_its_figures():
    carried = lambda *ids: tuple(replace(surface(day, seed=k), survey_id=s) for k, (day, s) in enumerate(zip("abc", ids)))
    told = record(PLANE, LOW)
    made = lambda surfaces: given("metric", surfaces=surfaces, worked={"works": [told]})
    block = before_after_block(made(carried("one", "two", "three")), sayer("metric"))
    assert plain(block["what"]).startswith("1 February 2026: mix added") and len(block["pictures"]) == 3
    assert [[plain(c) for c in r] for r in block["rows"]] == [
        ["Unevenness of the skin as a whole", "7 mm ± 1", "2 mm ± 2", "-5 mm ± 3", "yes"], ["Low spot at first base", "1 mm ± 4", "2 mm ± 4", "+1 mm ± 5", "no"],
    ]  # fmt: skip
    assert before_after_block(made(carried("one", "two", "x")), sayer("metric")) == {} and before_after_block(made(()), sayer("metric")) == {}
    loose = tuple(replace(s, tie_mm=None) for s in carried("one", "two", "three"))
    assert block["relative"] == "" and before_after_block(made(loose), sayer("metric"))["relative"].startswith("Only the shape can be compared")
