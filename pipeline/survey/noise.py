"""What an instrument adds to a height: white noise, correlated noise, shift, tilt and dome.

Every figure with an uncertainty in this project draws it from one `Noise`, so that a zone mean, a
volume, a lip and a low spot agree on what the survey does not know.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

DOME_RADIUS_M = 30.0  # the distance from the field's centre at which shift, tilt and dome are stated


@dataclass(frozen=True)
class Noise:
    """One survey's error model; lengths in metres.

    white_m      : s.d. of one point, independent from point to point
    parts        : (s.d., range) of each correlated field, Matern 3/2
    shift_m      : prior s.d. of the whole survey's height
    tilt         : prior s.d. of the tilt, m per m, each axis
    dome_m       : prior s.d. of the bowl at DOME_RADIUS_M from the field's centre
    horizontal_m : prior s.d. of the sideways shift, each axis
    session_m    : s.d. by which stable ground as a whole stands off everything else of the survey: a rover visits patches
                   and skin at different times, and its height wanders meanwhile
    canopy_reach : share of the canopy's height that the median point stands above the ground in grass
    """

    white_m: float
    parts: tuple[tuple[float, float], ...]
    shift_m: float
    tilt: float
    dome_m: float
    horizontal_m: float
    canopy_reach: float = 1.0
    session_m: float = 0.0

    @property
    def correlated_variance(self) -> float:
        """Variance of all correlated parts at one place, m2."""
        return float(sum(sd**2 for sd, _ in self.parts))

    def longer_than(self, range_m: float) -> Noise:
        """The same model with only the parts whose range is at least `range_m`."""
        return replace(self, parts=tuple(p for p in self.parts if p[1] >= range_m))

    def shorter_than(self, range_m: float) -> Noise:
        """The same model with only the parts whose range is below `range_m`."""
        return replace(self, parts=tuple(p for p in self.parts if p[1] < range_m))

    def scaled(self, factor: float) -> Noise:
        """The same model with every correlated part's s.d. multiplied."""
        return replace(self, parts=tuple((sd * factor, range_m) for sd, range_m in self.parts))

    def drifting(self, sd_m: float) -> Noise:
        """A rover's model with another s.d. of its drift, m: what patches and skin differ by grows alike."""
        factor = sd_m / self.parts[0][0]
        return replace(self.scaled(factor), session_m=self.session_m * factor)

    def covariance(self, distance_m: np.ndarray) -> np.ndarray:
        """Covariance of the correlated parts over a distance, m2, any shape."""
        h = np.asarray(distance_m, float)
        out = np.zeros_like(h)
        for sd, range_m in self.parts:
            out += sd**2 * matern32(h / range_m)
        return out


def matern32(h: np.ndarray) -> np.ndarray:
    """Correlation (1 + a) exp(-a), a = sqrt(3) h, h a distance over the range.

    source: Rasmussen & Williams 2006, eq. 4.17 (from memory).
    """
    a = np.sqrt(3.0) * np.asarray(h, float)
    return (1.0 + a) * np.exp(-a)


# One survey as the methods declare it: what a source is taken for until its data say otherwise.
GOOD_PHOTOGRAMMETRY = Noise(0.004, ((0.003, 0.15), (0.002, 1.0), (0.003, 8.0)), 0.020, 0.20e-3, 0.010, 0.010)
WEAK_PHOTOGRAMMETRY = Noise(0.009, ((0.006, 0.25), (0.0035, 1.5), (0.006, 8.0)), 0.050, 0.50e-3, 0.025, 0.025)
LIDAR = Noise(0.012, ((0.002, 0.4), (0.0015, 1.5), (0.004, 10.0)), 0.030, 0.20e-3, 0.003, 0.015, 0.37)
# A rover's drift runs over time, about 180 s; walked at 1.2 m/s on a zig-zag that is some 15 m of ground. Patches are
# visited in one or two goes, so they share most of one 5 mm drift that the skin, walked for a quarter of an hour, averages.
# Its pole stands between the blades, some 3 mm over the soil.
ROVER = Noise(0.007, ((0.005, 15.0),), 0.012, 0.0, 0.0, 0.0106, canopy_reach=0.1, session_m=0.004)


def declared(source: str, white_m: float | None = None) -> Noise:
    """The declared model of a source, photogrammetry between good and weak by its white noise.

    source  : `photogrammetry`, `lidar`, `rover` or `raster`
    white_m : s.d. of one point (of a cell for `raster`), from the data or the table, m; None: declared
    """
    if source == "lidar":
        return LIDAR if white_m is None else replace(LIDAR, white_m=white_m)
    if source == "rover":
        return ROVER if white_m is None else replace(ROVER, white_m=white_m)
    if white_m is None:
        white_m = WEAK_PHOTOGRAMMETRY.white_m
    return replace(_between(GOOD_PHOTOGRAMMETRY, WEAK_PHOTOGRAMMETRY, white_m), white_m=white_m)


def _between(good: Noise, weak: Noise, white_m: float) -> Noise:
    """Good where the white noise is good's, weak where it is weak's, log-linear between, flat beyond."""
    t = np.log(max(white_m, 1e-6) / good.white_m) / np.log(weak.white_m / good.white_m)
    t = float(np.clip(t, 0.0, 1.0))

    def mix(a: float, b: float) -> float:
        return float(a ** (1 - t) * b**t)

    parts = tuple((mix(a[0], b[0]), mix(a[1], b[1])) for a, b in zip(good.parts, weak.parts))
    return Noise(
        mix(good.white_m, weak.white_m), parts, mix(good.shift_m, weak.shift_m), mix(good.tilt, weak.tilt),
        mix(good.dome_m, weak.dome_m), mix(good.horizontal_m, weak.horizontal_m),
    )  # fmt: skip


def of_difference(earlier: Noise, later: Noise) -> Noise:
    """The error model of later minus earlier: every variance adds, the dates being independent."""
    parts: dict[float, float] = {}
    for sd, range_m in earlier.parts + later.parts:
        parts[range_m] = parts.get(range_m, 0.0) + sd**2
    return Noise(
        float(np.hypot(earlier.white_m, later.white_m)),
        tuple((float(np.sqrt(v)), r) for r, v in sorted(parts.items())),
        float(np.hypot(earlier.shift_m, later.shift_m)),
        float(np.hypot(earlier.tilt, later.tilt)),
        float(np.hypot(earlier.dome_m, later.dome_m)),
        float(np.hypot(earlier.horizontal_m, later.horizontal_m)),
        max(earlier.canopy_reach, later.canopy_reach),
        float(np.hypot(earlier.session_m, later.session_m)),
    )
