"""Found hollows are judged together; declared places each alone."""

from __future__ import annotations

import pytest

from pipeline.steps.change_spots import found_together
from pipeline.surface.spot_change import LowSpotChange


def spot(name, change, sigma=1.0):
    return LowSpotChange(name, "first", change, sigma, 0.0, 0.0, abs(change) > 1.96 * sigma, "enough", "")


@pytest.mark.analytic
def test_the_more_hollows_there_are_the_more_one_must_change_to_count():
    """Holm 1979: of seven at 5 %, the smallest p must be under 0.05 / 7 (2.69 s.d.); the next under 0.05 / 6."""
    one = found_together([spot("first", 2.0), spot("pond-1", 2.0)])
    assert [c.detected for c in one] == [True, True]
    seven = found_together([spot("first", 2.0), *(spot(f"pond-{k}", v) for k, v in enumerate((2.5, 0, 0, 0, 0, 0, float("nan"), 0)))])
    assert [c.detected for c in seven] == [True, *[False] * 8]
    sure = found_together([spot(f"pond-{k}", v) for k, v in enumerate((2.7, 2.65, 0, 0, 0, 0, 0))])
    assert [c.detected for c in sure] == [True, True, *[False] * 5]
