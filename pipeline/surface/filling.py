"""Mix to fill a low spot: tonnes placed and settled, the range they may lie in, and what it measures loose."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, nan

SURE = 1.96
PLACED_SIGMA_T_PER_M3 = 0.1  # how far a placed, compacted density is off what was stated: common practice, no source


@dataclass(frozen=True)
class Fill:
    """tonnes placed; low, high: 95 % of them, by the survey and by how densely the mix settles; loose_m3: the same loose."""

    tonnes: float
    low: float
    high: float
    loose_m3: float


def tonnes_sigma(volume_m3: float, sigma_m3: float, placed_t_per_m3: float) -> float:
    """One s.d. of the tonnes in a placed volume: the volume by the survey and the density by PLACED_SIGMA_T_PER_M3, in quadrature."""
    return hypot(sigma_m3 * placed_t_per_m3, volume_m3 * PLACED_SIGMA_T_PER_M3)


NONE = Fill(nan, nan, nan, nan)


def fill(volume_m3: float, sigma_m3: float, least_m3: float, placed_t_per_m3: float | None, loose_t_per_m3: float | None) -> Fill:
    """What fills a volume; nothing where it is no more than `least_m3` or no placed density is given.

    sigma_m3 : one s.d. of the volume
    The range is of `tonnes_sigma`.
    """
    if placed_t_per_m3 is None or not volume_m3 > least_m3:
        return NONE
    tonnes = volume_m3 * placed_t_per_m3
    half = SURE * tonnes_sigma(volume_m3, sigma_m3, placed_t_per_m3)
    return Fill(tonnes, max(tonnes - half, 0.0), tonnes + half, nan if not loose_t_per_m3 else tonnes / loose_t_per_m3)
