"""What a lip's contrast reads where there is no lip: from the surveys themselves, held by the declared error model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t as student

from pipeline.surface.lip_shape import LipShape, still_contrasts
from pipeline.survey.edges.edge_table import STATION_M, EdgeTable
from pipeline.survey.noise import Noise

CANOPY_M = 0.028  # height of a mown canopy as photogrammetry sees it
TEXTURE = ((0.12, 0.20), (0.08, 3.0))  # share of the canopy's height, range in m
MODEL_WEIGHT = 8.0  # the declared model counts as so many independent stretches
STRETCH_SHARE = 0.6  # of a stretch's rows that must be seen
OUTLIER = 3.0
MEDIAN_LOSS = 1.5708  # variance of a median over that of a mean, many normal points: pi / 2
STRETCH_M = 5.0
ALONG_M = 0.1  # step along the edge at which the model is summed


@dataclass(frozen=True)
class StillNoise:
    """Variance of the contrast over one stretch of edge where nothing stands.

    length_m    : of the stretch
    turf, skin  : m2
    turf_weight, skin_weight : independent stretches behind each, the model's own weight included
    """

    length_m: float
    turf: float
    skin: float
    turf_weight: float
    skin_weight: float

    def variance(self, cover_w: float) -> float:
        """For a crest under this much cover, m2."""
        return cover_w * self.turf + (1 - cover_w) * self.skin

    def widening(self, cover_w: float) -> float:
        """Student's 97.5 % point over the normal's: the variance itself is only estimated (Welch-Satterthwaite)."""
        parts = np.array([cover_w * self.turf, (1 - cover_w) * self.skin])
        freedom = parts.sum() ** 2 / max(float((parts**2 / [self.turf_weight, self.skin_weight]).sum()), 1e-30)
        return float(student.ppf(0.975, max(freedom, 1.0)) / 1.959964)


def stretches(values: np.ndarray, usable: np.ndarray, length_m: float = STRETCH_M) -> tuple[np.ndarray, np.ndarray]:
    """Means of consecutive stretches of an edge, and the metres seen in each.

    values  : (ns,) per row; NaN where not seen
    returns : means (k,), NaN below STRETCH_SHARE of the stretch; metres (k,). A last piece of half a stretch or more
              counts as one.
    """
    rows = round(length_m / STATION_M)
    count = int(len(values) / rows + 0.5)
    means, seen_m = np.full(count, np.nan), np.zeros(count)
    for k in range(count):
        part = slice(k * rows, (k + 1) * rows)
        seen = usable[part] & np.isfinite(values[part])
        seen_m[k] = seen.sum() * STATION_M
        if seen.sum() >= STRETCH_SHARE * len(seen):
            means[k] = values[part][seen].mean()
    return means, seen_m


def still_noise(
    values: list[np.ndarray],
    tables: list[EdgeTable],
    shapes: list[LipShape],
    noise: Noise,
    canopy_m: float = CANOPY_M,
    dates: int = 2,
    length_m: float = STRETCH_M,
) -> StillNoise:
    """The contrast's variance where no lip is, over all edges together.

    values   : per edge (ns, nd), heights over the local ground of one date or changes between two, m
    tables   : per edge the table that says which rows are usable, and how many points a cell holds
    noise    : the declared model of `values` (of a difference: both dates' variances)
    canopy_m : height of the canopy that `values` stand on
    dates    : how many dates' canopy `values` hold
    Mean square about 0, robust to the odd disturbed stretch, joined with the declared model's value as if that were
    MODEL_WEIGHT stretches: with few and short edges the surveys alone would know it too badly.
    """
    turf, skin = [], []
    for v, table, shape in zip(values, tables, shapes):
        in_turf, on_skin = still_contrasts(v, shape)
        turf.append(stretches(in_turf, table.usable, length_m)[0])
        skin.append(stretches(on_skin, table.usable, length_m)[0])
    per_cell = [float(np.median(t.n[t.n > 0])) for t in tables if (t.n > 0).any()]
    modelled = expected(noise, shapes[0], max(min(per_cell, default=1.0), 1.0), canopy_m, dates, length_m)
    found = [_joined(np.concatenate(x), m) for x, m in zip((turf, skin), (modelled.turf, modelled.skin))]
    return StillNoise(length_m, found[0][0], found[1][0], found[0][1], found[1][1])


def expected(
    noise: Noise,
    shape: LipShape,
    points_per_cell: float,
    canopy_m: float = CANOPY_M,
    dates: int = 2,
    length_m: float = STRETCH_M,
) -> StillNoise:
    """What the declared model says, before any survey: for planning a flight and for holding `still_noise`.

    noise           : of one survey, or of a difference
    points_per_cell : in a cell of 0.5 m by 0.05 m
    source          : var = w' C w, C the sum of the Matern 3/2 parts and, in turf, of the canopy's texture
    """
    inside = shape.weights != 0
    w, x = shape.weights[inside], shape.d[inside]
    count = round(length_m / ALONG_M)
    lag = np.arange(count)
    share = np.where(lag > 0, 2.0, 1.0) * (count - lag) / count**2  # of all pairs of places along the stretch
    apart = np.hypot((lag * ALONG_M)[:, None, None], x[:, None] - x)

    def of_mean(model: Noise) -> float:
        return float(share @ (w @ (model.covariance(apart) @ w).T))

    own = noise.white_m**2 * (MEDIAN_LOSS if points_per_cell > 2 else 1.0) / points_per_cell
    skin = of_mean(noise) + own * float(w @ w) * STATION_M / length_m
    reach = canopy_m * noise.canopy_reach
    turf = skin + dates * of_mean(replace(noise, parts=tuple((part * reach, r) for part, r in TEXTURE)))
    return StillNoise(length_m, turf, skin, MODEL_WEIGHT, MODEL_WEIGHT)


def _joined(found: np.ndarray, modelled: float) -> tuple[float, float]:
    """Variance from stretches and model together, and the weight behind it."""
    x = found[np.isfinite(found)]
    if not len(x):
        return modelled, MODEL_WEIGHT
    scale = max(1.4826 * float(np.median(np.abs(x))), np.sqrt(modelled))
    square = float((np.clip(np.abs(x), 0, OUTLIER * scale) ** 2).sum())
    weight = MODEL_WEIGHT + len(x)
    return (MODEL_WEIGHT * modelled + square) / weight, weight

