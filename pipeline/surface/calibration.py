"""What ruler readings say of the grass a survey sees instead of the ground: canopy per edge, with its uncertainty.

One field's readings do not calibrate each edge: an edge's own mean errs by some 4 mm besides. Readings on the edge
itself do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

RULER_SD_M = 0.003  # of one reading: straightedge, ruler, and the place found again
# How far one edge's own mean errs from the field's canopy: its cover not quite as told, of the canopy as seen; its shape.
EDGE_SD_M, EDGE_SHAPE_SD_M = 0.003, 0.001
GIVEN_SD_M = 0.008  # of the canopy as seen, with the turf's height given
PLAIN_M, PLAIN_SD_M = 0.032, 0.012  # the canopy taken where no turf height is given
LEAST_READINGS = 3  # fewer on an edge, or on the field, do not calibrate


@dataclass(frozen=True)
class RulerMark:
    """One reading laid over what the survey sees there.

    value_m : ruler's rise of the crest over the skin, m
    seen_m  : crest over skin as the survey shows it, canopy included, m
    cover_w, lip_w : phi and B over the crest window of that edge
    variance : of seen_m, m2
    """

    edge_id: str
    value_m: float
    seen_m: float
    cover_w: float
    lip_w: float
    variance: float
    ruler_sd_m: float = RULER_SD_M


@dataclass(frozen=True)
class Canopy:
    """Height of grass that the survey sees over the ground on one edge.

    height_m, sigma_m : in the crest window, before its cover; of one s.d.
    calibration       : `none`, `field` or `edge`: whose readings tell it
    readings          : on this edge
    reading_variance  : what one further reading here would tell the height by, m2 (for `readings_to_halve`)
    """

    height_m: float
    sigma_m: float
    calibration: str
    readings: int
    reading_variance: float


def edge_sd(reach: float) -> float:
    """How far one edge's own mean errs from the field's canopy, one s.d., m; reach as in `calibrate`."""
    return float(np.hypot(EDGE_SD_M * reach, EDGE_SHAPE_SD_M))


def calibrate(
    marks: list[RulerMark], edge_ids: list[str], reach: float, turf_height_m: float | None = None
) -> dict[str, Canopy]:
    """The canopy of every edge from all readings on the field.

    reach         : share of the canopy's height the source sees (`Noise.canopy_reach`)
    turf_height_m : a ruler's height of the turf, or None
    Two levels of normal errors: a field's canopy about the turf's height, an edge's own about the field's (`edge_sd`),
    readings about the edge's. With a flat prior and one edge this is sum phi (r - B q) / sum phi^2.
    """
    prior = (PLAIN_M if turf_height_m is None else turf_height_m) * reach
    prior_sd = (PLAIN_SD_M if turf_height_m is None else GIVEN_SD_M) * reach
    used = [m for m in marks if m.edge_id in edge_ids and m.cover_w > 0.2]
    on = {e: sum(m.edge_id == e for m in used) for e in edge_ids}
    enough = len(used) >= LEAST_READINGS
    used = used if enough else []
    column = {e: 1 + k for k, e in enumerate(edge_ids)}
    information = np.diag([1 / prior_sd**2] + [1 / edge_sd(reach) ** 2] * len(edge_ids))
    pull = np.zeros(1 + len(edge_ids))
    pull[0] = prior / prior_sd**2
    for m in used:
        row = np.zeros(1 + len(edge_ids))
        row[0] = row[column[m.edge_id]] = m.cover_w
        variance = m.variance + (m.lip_w * m.ruler_sd_m) ** 2
        information += np.outer(row, row) / variance
        pull += row * (m.seen_m - m.lip_w * m.value_m) / variance
    covariance = np.linalg.inv(information)
    mean = covariance @ pull
    typical = [(m.variance + (m.lip_w * m.ruler_sd_m) ** 2) / m.cover_w**2 for m in marks]
    own = float(np.median(typical)) if typical else RULER_SD_M**2
    out = {}
    for e, k in column.items():
        variance = covariance[0, 0] + covariance[k, k] + 2 * covariance[0, k]
        word = "edge" if enough and on[e] >= LEAST_READINGS else "field" if enough else "none"
        out[e] = Canopy(float(mean[0] + mean[k]), float(np.sqrt(variance)), word, on[e], own)
    return out


def readings_to_halve(
    canopy_sigma_m: float, rest_sigma_m: float, reading_variance: float, most: int = 200
) -> int | None:
    """How many more readings on an edge would halve the uncertainty of its lip's height.

    canopy_sigma_m   : one s.d. that the canopy puts into the height now, m
    rest_sigma_m     : one s.d. from everything else, which no reading mends, m
    reading_variance : variance with which one reading tells the same as canopy_sigma_m does, m2
    returns          : readings, 1 or more; None where `most` would not do it, or the height has no s.d. (NaN): then fly
                       better or measure more edge
    """
    goal = (canopy_sigma_m**2 + rest_sigma_m**2) / 4 - rest_sigma_m**2
    if not (goal > 0 and canopy_sigma_m > 0):
        return None
    needed = np.ceil(reading_variance * (1 / goal - 1 / canopy_sigma_m**2) - 1e-9)
    return max(int(needed), 1) if needed <= most else None
