"""What a design costs: volumes with what noise alone would show, tonnes, loads, hours, money. NaN where the owner set no figure."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite, nan

import numpy as np
from scipy.special import ndtr

from pipeline.surface.filling import SURE, tonnes_sigma

RESERVE = 1.645  # so much more in stock covers nineteen fields in twenty
PHANTOM = 1.0 / np.sqrt(2.0 * np.pi)  # mean of the positive part of a standard normal
WORKED_M = 0.003  # less is no work order


@dataclass(frozen=True)
class Volumes:
    """cut, fill, net (fill minus cut), m3; noise_m3: cut and fill that noise alone would show on ground that is right;
    worked_m2: ground that moves by more than WORKED_M; area_m2: ground graded."""

    cut_m3: float
    fill_m3: float
    net_m3: float
    noise_m3: float
    worked_m2: float
    area_m2: float


def volumes(u: np.ndarray, cell_m2: float, sigma_m: float) -> Volumes:
    """Volumes of design minus existing.

    u       : (n,), m, NaN where nothing is graded
    sigma_m : one s.d. of a cell's height against its surroundings, m
    """
    u = u[np.isfinite(u)]
    fill, cut = cell_m2 * float(np.maximum(u, 0).sum()), cell_m2 * float(np.maximum(-u, 0).sum())
    worked = np.abs(u) > 1e-6
    return Volumes(cut, fill, fill - cut, phantom(cell_m2 * float(worked.sum()), sigma_m), cell_m2 * float((np.abs(u) > WORKED_M).sum()), cell_m2 * len(u))


def phantom(area_m2: float, sigma_m: float) -> float:
    """Cut, and as much fill, that noise alone shows on ground that stands exactly on its design: A s / sqrt(2 pi), m3."""
    return PHANTOM * sigma_m * area_m2


def seen_through_noise(u_m: np.ndarray, sigma_m: float) -> np.ndarray:
    """Mean fill that a cell shows whose true fill is u: u Phi(u/s) + s phi(u/s), m (normal errors)."""
    t = u_m / sigma_m
    return u_m * ndtr(t) + sigma_m * np.exp(-0.5 * t**2) * PHANTOM


@dataclass(frozen=True)
class Mix:
    """tonnes to order, 95 % range, so many more to keep in reserve; loads of the last truck rounded up. `reason` where unknown."""

    tonnes: float
    low: float
    high: float
    reserve: float
    loads: float
    reason: str


def mix_to_buy(bought_m3: float, sigma_m3: float, placed_t_per_m3: float | None, truck_t: float | None) -> Mix:
    """Mix for a placed volume.

    sigma_m3 : one s.d. of the volume by the survey
    """
    if placed_t_per_m3 is None:
        return Mix(nan, nan, nan, nan, nan, "no density: placed_t_per_m3")
    tonnes = bought_m3 * placed_t_per_m3
    sigma = tonnes_sigma(bought_m3, sigma_m3, placed_t_per_m3)
    loads = nan if truck_t is None else float(ceil(round(tonnes / truck_t, 6)))
    return Mix(tonnes, max(tonnes - SURE * sigma, 0.0), tonnes + SURE * sigma, RESERVE * sigma, loads, "")


@dataclass(frozen=True)
class Money:
    """hours of the crew; low and high cost; `reason` where a figure is missing."""

    hours: float
    low: float
    high: float
    reason: str


def money(hours: float, parts: dict[str, tuple[float, float]], hour_price: float | None) -> Money:
    """Cost of hours and of parts, each given as low and high.

    hours : NaN where the owner set none; parts: name -> (low, high), NaN where the price is missing
    """
    missing = sorted(name for name, (low, high) in parts.items() if not (isfinite(low) and isfinite(high)))
    if not isfinite(hours):
        missing.insert(0, "hours")
    elif hours > 0 and hour_price is None:
        missing.insert(0, "hour")
    if missing:
        return Money(hours, nan, nan, "no figure: " + ", ".join(missing))
    own = hours * (hour_price or 0.0)
    return Money(hours, own + sum(low for low, _ in parts.values()), own + sum(high for _, high in parts.values()), "")
