"""Verdict on change, zone by zone first: means, gains, losses, volumes; then the map inside the zones that changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from pipeline.change.difference import LEVEL_95, Change
from pipeline.survey.cells.plants import PLANTS_MAY

LEVEL = 0.05  # chance of any false zone in one pair
MIN_COVER = 0.60  # of a zone's cells at both dates; below, its mean speaks for a part and is not judged
MAX_SKIN_SHARE = 0.50  # relative change: a zone that is most of the skin cannot be told from the plane taken off
NOISE_GAIN = 1.0 / np.sqrt(2.0 * np.pi)  # mean of the positive half of a unit normal
GAINED, LOST, NOT_DETECTED, NO_DATA = 1, -1, 0, -128


@dataclass(frozen=True)
class ZoneChange:
    """Change of one zone, over the cells both dates saw.

    area_m2     : of those cells; covered: their share of the zone
    mean_m      : mean change and its s.d. `mean_sigma_m`, m
    gain_m3, loss_m3 : sums of the rising and of the falling cells, both >= 0; they include noise
    noise_m3    : what either would be, on average, had nothing changed
    net_m3      : gain - loss and its s.d.; mean and net are NaN in a zone that the plane taken off has swallowed
    p, p_holm   : two-sided, alone and adjusted over the pair's zones; NaN where the zone is not judged
    detected    : p_holm at most LEVEL; detected_m2: its cells beyond 1.96 s.d.
    reason      : why there is no figure or no verdict, or ``
    """

    zone: str
    area_m2: float
    covered: float
    mean_m: float
    mean_sigma_m: float
    gain_m3: float
    loss_m3: float
    noise_m3: float
    net_m3: float
    net_sigma_m3: float
    p: float
    p_holm: float = float("nan")
    detected: bool = False
    detected_m2: float = 0.0
    reason: str = ""


def zone_changes(
    change: Change, zones: dict[str, np.ndarray], closed: dict[str, str] | None = None, hidden_m: tuple[float, float] = (0.0, 0.0)
) -> tuple[list[ZoneChange], np.ndarray]:
    """Every zone's change, and the map of detected cells.

    zones   : zone to its cells, (ny, nx) bool; they may overlap
    closed  : zones that must not be judged, with the reason: plants cover too much of them
    hidden_m : so much height unseen plants may add at the earlier and at the later date, m. A gain no greater than what may have
              grown since, or a loss no greater than what may have been cleared, is not detected
    returns : one ZoneChange for each zone, in the order given; int8 (ny, nx): 1 gained, -1 lost, 0 not detected,
              -128 not measured at both dates
    Cells count as detected only inside a zone whose mean changed: of a still field's cells 5 % lie beyond 1.96 s.d.
    """
    found = [_one(change, name, cells, (closed or {}).get(name, ""), hidden_m) for name, cells in zones.items()]
    adjusted = holm(np.array([z.p for z in found]))
    found = [replace(z, p_holm=float(p), detected=bool(p <= LEVEL)) for z, p in zip(found, adjusted)]
    beyond = detected_cells(change, [cells for z, cells in zip(found, zones.values()) if z.detected])
    area = change.grid.cell_area_m2
    found = [
        replace(z, detected_m2=float((np.abs(beyond) == 1)[cells].sum() * area) if z.detected else 0.0)
        for z, cells in zip(found, zones.values())
    ]
    return found, beyond


def _one(change: Change, name: str, cells: np.ndarray, closed: str, hidden_m: tuple[float, float]) -> ZoneChange:
    """One zone's figures, its p not yet adjusted."""
    area = change.grid.cell_area_m2
    used = cells & change.measured
    count, whole = int(used.sum()), int(cells.sum())
    if not count:
        nan = float("nan")
        return ZoneChange(name, 0.0, 0.0, nan, nan, nan, nan, nan, nan, nan, nan, reason=closed)
    dz = change.dz[used]
    nan, told = float("nan"), _can_be_told(change, used) and not closed
    mean, sigma = (float(dz.mean()), change.uncertainty.sigma_of(used / count)) if told else (nan, nan)
    gain, loss = float(dz[dz > 0].sum() * area), float(-dz[dz < 0].sum() * area)
    noise = float(NOISE_GAIN * change.uncertainty.sigma[used].sum() * area)
    judged = told and count >= MIN_COVER * whole
    beyond = max(abs(mean) - hidden_m[mean > 0], 0.0) if told else nan
    p = float(2 * ndtr(-beyond / sigma)) if judged else nan
    reason = closed or (PLANTS_MAY if judged and beyond < abs(mean) and abs(mean) > LEVEL_95 * sigma and p > LEVEL else "")
    if closed:
        gain = loss = nan
    net = gain - loss if told else nan
    return ZoneChange(name, count * area, count / whole, mean, sigma, gain, loss, noise, net, sigma * count * area, p, reason=reason)


def _can_be_told(change: Change, used: np.ndarray) -> bool:
    """False for a zone that the plane taken off has swallowed."""
    if not change.relative:
        return True
    skin = change.uncertainty.plane_over
    return bool((used & skin).sum() <= MAX_SKIN_SHARE * skin.sum())


def holm(p: np.ndarray) -> np.ndarray:
    """Adjusted p of a family, (Z,): reject where it is at most the level; NaN stays NaN and is no member.

    source : Holm 1979 (from memory): the smallest times m, the next times m - 1, ..., never decreasing, at most 1;
             holds under any dependence, so zones may overlap and share the tie
    """
    p = np.asarray(p, float)
    out = np.full(p.shape, np.nan)
    members = np.flatnonzero(np.isfinite(p))
    order = members[np.argsort(p[members], kind="stable")]
    steps = np.arange(len(order), 0, -1)
    out[order] = np.minimum(np.maximum.accumulate(p[order] * steps), 1.0)
    return out


def detected_together(values: np.ndarray, sigmas: np.ndarray) -> np.ndarray:
    """Which of a family of changes are detected, (Z,) bool: two-sided, Holm over the family at LEVEL; NaN is no member.

    values, sigmas : (Z,) changes and one s.d. of each, in one unit
    """
    return holm(2 * ndtr(-np.abs(values) / sigmas)) <= LEVEL


def detected_cells(change: Change, rejected: list[np.ndarray]) -> np.ndarray:
    """The detected map, int8 (ny, nx): |dz| over 1.96 s.d. inside any of the rejected zones."""
    inside = np.zeros(change.grid.shape, bool)
    for cells in rejected:
        inside |= cells
    with np.errstate(invalid="ignore"):
        beyond = inside & (np.abs(change.dz) > LEVEL_95 * change.uncertainty.sigma)
    out = np.where(beyond, np.where(change.dz > 0, GAINED, LOST), NOT_DETECTED)
    return np.where(change.measured, out, NO_DATA).astype(np.int8)
