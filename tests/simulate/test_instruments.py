"""What a survey adds: planted where the scenario plants it, drawn with the declared spread elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.simulate import draws
from pipeline.simulate.instruments import INSTRUMENTS, draw_error
from pipeline.simulate.scenario import Drift

BOX = (0.0, 0.0, 50.0, 50.0)


def many(instrument: str, box=BOX, drift=Drift()):
    return [draw_error(draws.rng(k, "e"), INSTRUMENTS[instrument], drift, box) for k in range(1500)]


@pytest.mark.analytic
@pytest.mark.parametrize("name", ["good", "weak", "lidar", "rover"])
def test_drawn_errors_have_the_declared_spread(name):
    wanted, drawn = INSTRUMENTS[name], many(name)
    spread = {"shift": wanted.shift, "tilt_e": wanted.tilt, "tilt_n": wanted.tilt, "dome": wanted.dome,
              "east": wanted.horizontal, "north": wanted.horizontal}  # fmt: skip
    for part, sd in spread.items():
        assert np.std([getattr(e, part) for e in drawn]) == pytest.approx(sd, rel=0.08)


@pytest.mark.analytic
def test_planted_errors_stand_as_planted_and_a_dome_is_stated_at_thirty_metres():
    error = many("good", drift=Drift(shift_mm=5, tilt_n_mm_per_m=-0.4, dome_mm=45))[0]
    middle, off = error.at(25.0, 25.0), error.at(25.0 + 30.0, 25.0)
    assert middle == pytest.approx(0.005)
    assert off - middle == pytest.approx(0.045 + 30 * error.tilt_e)
    wide = many("good", (0.0, 0.0, 240.0, 100.0), Drift(dome_mm=45))[0]
    assert wide.at(150.0, 50.0) - wide.at(120.0, 50.0) == pytest.approx(0.045 + 30 * wide.tilt_e)


@pytest.mark.invariant
def test_a_wide_flight_bends_no_more_at_its_corners_than_a_narrow_one():
    narrow, wide = many("good"), many("good", (0.0, 0.0, 240.0, 100.0))
    assert np.std([e.dome for e in wide]) == pytest.approx(np.std([e.dome for e in narrow]))
    assert wide[0].radius_m > 100 and narrow[0].radius_m == 30


@pytest.mark.independent  # the project's table of declared conditions, written out a second time by hand
def test_the_declared_conditions_are_the_projects():
    mm = {
        "good": (4, ((3, 0.15), (2, 1.0), (3, 8.0)), 20, 0.20, 10, 10),
        "weak": (9, ((6, 0.25), (3.5, 1.5), (6, 8.0)), 50, 0.50, 25, 25),
        "lidar": (12, ((2, 0.4), (1.5, 1.5), (4, 10.0)), 30, 0.20, 3, 15),
        "rover": (7, (), 12, 0, 0, 8),
    }  # fmt: skip
    for name, (white, parts, shift, tilt, dome, sideways) in mm.items():
        one = INSTRUMENTS[name]
        declared = np.array([one.white, one.shift, one.tilt, one.dome, one.horizontal]) * 1e3
        assert declared == pytest.approx(np.array([white, shift, tilt, dome, sideways]))
        assert [(s * 1e3, r) for s, r in one.parts] == [pytest.approx(p) for p in parts]
