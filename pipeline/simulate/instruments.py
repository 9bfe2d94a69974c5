"""What each kind of survey adds to the ground: the declared conditions the project's figures are stated for.

Figures are one s.d. of one survey. They describe kinds of instrument, no maker's product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.simulate.draws import Box
from pipeline.simulate.scenario import Drift

DOME_AT_M = 30.0


@dataclass(frozen=True)
class Instrument:
    """Lengths in m.

    spacing      : distance of points
    white        : noise of one point, independent
    parts        : (s.d., range) of the noise that is correlated over distance
    shift, tilt, dome : height of the whole survey; tilt per m, each axis; bowl at 30 m
    horizontal   : the whole survey sideways, each axis; horizontal_point: each point
    blur         : radius (one s.d.) of the spot a point averages over
    strip        : offset of one 15 m strip, 0 where there are none
    reach        : share of points in grass that reach the ground
    kind         : `photogrammetry`, `lidar`, `rover`
    """

    kind: str
    spacing: float
    white: float
    parts: tuple[tuple[float, float], ...]
    shift: float
    tilt: float
    dome: float
    horizontal: float
    horizontal_point: float = 0.0
    blur: float = 0.0
    strip: float = 0.0
    reach: float = 0.0


INSTRUMENTS = {
    "good": Instrument("photogrammetry", 0.030, 0.004, ((0.003, 0.15), (0.002, 1.0), (0.003, 8.0)),
                       0.020, 0.20e-3, 0.010, 0.010, blur=0.010),
    "weak": Instrument("photogrammetry", 0.040, 0.009, ((0.006, 0.25), (0.0035, 1.5), (0.006, 8.0)),
                       0.050, 0.50e-3, 0.025, 0.025, blur=0.020),
    "lidar": Instrument("lidar", 0.040, 0.012, ((0.002, 0.4), (0.0015, 1.5), (0.004, 10.0)),
                        0.030, 0.20e-3, 0.003, 0.015, blur=0.015, strip=0.003, reach=0.35),
    "rover": Instrument("rover", 0.0, 0.007, (), 0.012, 0.0, 0.0, 0.008, horizontal_point=0.007),
    "exact": Instrument("photogrammetry", 0.030, 0.0, (), 0.0, 0.0, 0.0, 0.0),
}  # fmt: skip
ROVER_DRIFT_M, ROVER_DRIFT_S = 0.005, 180.0
ROVER_SKIN_M, ROVER_GRASS_M = (-0.002, 0.001), (0.003, 0.002)  # mean and s.d. of what the pole's tip does, a walk


@dataclass(frozen=True)
class Error:
    """The smooth error of one survey: what it adds to every height, and how far it lies sideways.

    centre, radius_m : the flight's middle, and the distance from it at which `dome` is stated
    shift, dome      : m;  tilt_e, tilt_n : m per m;  east, north : m, added to the coordinates
    """

    centre: tuple[float, float]
    radius_m: float
    shift: float
    tilt_e: float
    tilt_n: float
    dome: float
    east: float
    north: float

    def at(self, e: np.ndarray, n: np.ndarray) -> np.ndarray:
        """Height added at eastings and northings, m."""
        x, y = np.asarray(e, float) - self.centre[0], np.asarray(n, float) - self.centre[1]
        return self.shift + self.tilt_e * x + self.tilt_n * y + self.dome * (x * x + y * y) / self.radius_m**2


def draw_error(generator: np.random.Generator, instrument: Instrument, planted: Drift, box: Box) -> Error:
    """One survey's error: drawn, or as planted where the scenario says so.

    box : what was flown. A drawn dome is stated at 30 m from its middle, or near the corners of a wider block.
    """
    west, south, east, north = box
    shift, tilt_e, tilt_n, dome, to_east, to_north = generator.standard_normal(6)
    radius = max(DOME_AT_M, np.hypot(east - west, north - south) / 2 - 20.0)

    def chosen(value_mm: float | None, drawn: float) -> float:
        return float(drawn if value_mm is None else value_mm / 1000.0)

    bowl_mm = None if planted.dome_mm is None else planted.dome_mm * (radius / DOME_AT_M) ** 2
    return Error(
        ((west + east) / 2, (south + north) / 2), float(radius),
        chosen(planted.shift_mm, shift * instrument.shift),
        chosen(planted.tilt_e_mm_per_m, tilt_e * instrument.tilt),
        chosen(planted.tilt_n_mm_per_m, tilt_n * instrument.tilt),
        chosen(bowl_mm, dome * instrument.dome),
        float(to_east * instrument.horizontal), float(to_north * instrument.horizontal),
    )  # fmt: skip
