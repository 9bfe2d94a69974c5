"""How much a lip grew between two dates: its crest against the skin and the turf on its two sides.

No tie to stable ground is needed: a survey's shift, and grass that grew or was mown, cancel in the contrast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.change.zones import detected_together
from pipeline.surface.lip_noise import CANOPY_M, STRETCH_M, StillNoise, still_noise, stretches
from pipeline.surface.lip_shape import LipShape, contrast, windows
from pipeline.survey.edges.edge_cover import own_cover
from pipeline.survey.edges.edge_level import column_mean, levelled
from pipeline.survey.edges.edge_table import ACROSS_M, STATION_M, EdgeTable
from pipeline.survey.noise import Noise, of_difference

LEAST_SEEN = 0.60  # of the rows clear of ends and corners
LEAST_M = 3.0
MOST_TURF_CHANGE_M = 0.060
STRIP_SHARE = 0.03  # the grass along the edge against the interior, per date
SHAPE_SHARE = 0.08  # of the growth, for a lip not of the frozen shape
FLOOR_M = 0.0004
# Cover that the crest lost since the earlier date: three quarters are taken for grass that is gone, as for a lip at one
# date. Dust on the blades shows the same and hides nothing: the s.d. reaches there.
THINNED, THINNED_SD = 0.75, 0.50
HIDDEN_SHARE = 0.30  # of new mix, at most, that lies unseen between full blades until the grass has grown through it
LEVER_M = 0.8  # the contrast's arm: a slope across the edge that changed by 1 mm/m poses as 0.8 mm
DOME_ARM_M = 40.0  # a dome of 1 mm at 30 m tilts an edge, on average over edges, by 1/40 mm/m
SIDES_APART_M = 1.7  # middle of the turf window from the middle of the skin window
STEP_FLOOR_M = 0.002  # skin moves against turf by so much between dates without any mowing
MOWN_M = 0.008  # a change of canopy smaller than this is not named


@dataclass(frozen=True)
class Growth:
    """One line of a lip's change, later minus earlier; positive = the lip grew.

    station_m : middle of a 5 m segment, or None for the whole edge
    growth_m, sigma_m : NaN where refused
    detected  : the whole edge beyond 1.96 sigma; segments by Holm within their edge at 5 %
    usable_m  : edge that was measured at both dates
    reason    : why there is no figure, or ``
    hidden    : share of the lip's true growth that new mix between the blades may keep from being seen, at most
    """

    edge_id: str
    station_m: float | None
    growth_m: float
    sigma_m: float
    detected: bool
    usable_m: float
    reason: str
    hidden: float = 0.0

    @property
    def low95_m(self) -> float:
        """Lower end of the range, m: mix that hides only makes a growth read too low."""
        return self.growth_m - 1.959964 * self.sigma_m

    @property
    def high95_m(self) -> float:
        """Upper end of the range, m: as if as much as may hide were hidden. Nothing seen from above tells how much is."""
        return max((high := self.growth_m + 1.959964 * self.sigma_m), high / (1.0 - self.hidden))


@dataclass(frozen=True)
class EdgeGrowth:
    """One edge between two dates.

    turf_m     : change of turf against skin, m: the canopy's, and any settling of one against the other
    turf_sigma_m : one s.d. of it
    turf_state : `taller`, `shorter`, `same` or `unknown`
    """

    whole: Growth
    segments: tuple[Growth, ...]
    turf_m: float
    turf_sigma_m: float
    turf_state: str


def lip_growth(
    earlier: list[EdgeTable],
    later: list[EdgeTable],
    shapes: list[LipShape],
    noise_earlier: Noise,
    noise_later: Noise,
    shift_sigma_m: float = 0.0,
    canopy_m: float = CANOPY_M,
) -> list[EdgeGrowth]:
    """Growth of every edge's lip between two dates.

    earlier, later : the edges' tables at both dates, in one order, the later survey's points moved sideways first
    shapes         : their frozen shapes (`freeze` on the first two dates of the series)
    shift_sigma_m  : one s.d. of what sideways shift is left between the dates, m
    canopy_m       : height of the canopy (a ruler's), m
    Growths over one series add up, but for rows seen at some dates only. A lip that has thinned the grass on it since
    the shape was frozen is allowed for in part: see `_seen_cover`.
    """
    noise = of_difference(noise_earlier, noise_later)
    changes = [b.z - a.z for a, b in zip(earlier, later)]
    both = [_both(a, b) for a, b in zip(earlier, later)]
    still = still_noise(changes, both, shapes, noise, canopy_m)
    slope = float(np.hypot(noise.tilt, noise.dome_m / DOME_ARM_M))
    blades = canopy_m * noise.canopy_reach
    return [
        _edge(a, b, shape, still, slope, blades, HIDDEN_SHARE * noise.canopy_reach, shift_sigma_m, table)
        for a, b, shape, table in zip(earlier, later, shapes, both)
    ]


def growth_sigma(still: StillNoise, shape: LipShape, length_m: float, slope: float, blades_m: float) -> float:
    """One s.d. of a still lip's growth over so much edge when mowing, shift and cover are as frozen, m.

    slope    : s.d. of the change of slope across the edge, m per m
    blades_m : height of the canopy as the source sees it, m
    For planning: 2.80 of these are seen with 80 % power in a two-sided test at 5 %.
    """
    share = shape.cover_w
    own = still.variance(share) * still.widening(share) ** 2 * still.length_m / length_m
    return float(np.sqrt(own + _fixed(shape, slope, blades_m)))


def _edge(earlier, later, shape, still, slope, blades_m, hides, shift_sigma_m, both) -> EdgeGrowth:
    """One edge; hides: share of new mix under full cover that the source may not see."""
    change = later.z - earlier.z
    rows = contrast(change, shape)
    _, skin, turf = windows(change, shape)
    usable = both.usable & np.isfinite(rows)
    length = float(usable.sum() * STATION_M)
    allowed = float(both.usable.sum() * STATION_M)
    turf_m, turf_sigma = _turf_change((turf - skin), usable, slope)
    refused = _refusal(length, allowed, turf_m)
    thinned = _seen_cover(earlier, later, shape) * blades_m / shape.lip_w
    measured = rows + THINNED * thinned
    hidden = hides * min(shape.cover_w, 1.0)
    common = _fixed(shape, slope, blades_m) + (THINNED_SD * thinned) ** 2
    common += (shape.cover.sigma * (turf_m if np.isfinite(turf_m) else 0.0) / shape.lip_w) ** 2
    common += (_shift_share(earlier, later, shape) * shift_sigma_m) ** 2

    def figure(value: float, metres: float, station: float | None) -> Growth:
        own = still.variance(shape.cover_w) * still.widening(shape.cover_w) ** 2 * still.length_m / metres
        sigma = float(np.sqrt(own + common + (SHAPE_SHARE * value) ** 2))
        return Growth(shape.edge_id, station, value, sigma, abs(value) > 1.959964 * sigma, metres, "", hidden)

    nothing = float("nan")
    if refused:
        whole = Growth(shape.edge_id, None, nothing, nothing, False, length, refused)
        return EdgeGrowth(whole, (), turf_m, turf_sigma, _turf_state(turf_m, turf_sigma))
    whole = figure(float(measured[usable].mean()), length, None)
    segments = []
    for k, (value, metres) in enumerate(zip(*stretches(measured, both.usable))):
        station = (k + 0.5) * STRETCH_M
        if np.isfinite(value):
            segments.append(figure(float(value), float(metres), station))
        else:
            reason = f"measured along {metres:.1f} m of the segment only"
            segments.append(Growth(shape.edge_id, station, nothing, nothing, False, float(metres), reason))
    return EdgeGrowth(whole, _holm(segments), turf_m, turf_sigma, _turf_state(turf_m, turf_sigma))


def _both(earlier: EdgeTable, later: EdgeTable) -> EdgeTable:
    """The later table with only what both dates saw as usable."""
    return replace(later, usable=earlier.usable & later.usable, n=np.minimum(earlier.n, later.n))


def _fixed(shape: LipShape, slope: float, blades_m: float) -> float:
    """What no length averages away, m2: the grass strip along the edge, slopes across it, the floor."""
    strip = 2 * (STRIP_SHARE * blades_m * shape.cover_w / shape.lip_w) ** 2
    return strip + (LEVER_M * slope) ** 2 + FLOOR_M**2


def _seen_cover(earlier: EdgeTable, later: EdgeTable, shape: LipShape) -> float:
    """How much less cover the crest window shows at the later date than at the earlier, by colour or intensity.

    A lip that grows thins the grass on it, so the canopy hides some of its growth; dust on the blades looks the same
    and hides nothing. Which of the two it is nobody knows from above: THINNED of what thinning would hide is added,
    THINNED_SD of it is its s.d. Linear in each date, so growths still add up.
    """
    seen = [own_cover(t, shape.cover.told_by, shape.cover.offset_m)[shape.crest_in] for t in (earlier, later)]
    if not all(np.isfinite(s).all() for s in seen):
        return 0.0
    return float(seen[0].mean() - seen[1].mean())


def _shift_share(earlier: EdgeTable, later: EdgeTable, shape: LipShape) -> float:
    """Growth feigned per metre of sideways shift toward the grass: the contrast of the profile's slope."""
    offset = shape.cover.offset_m
    profile = np.mean([column_mean(levelled(t, offset).z, t.usable) for t in (earlier, later)], axis=0)
    steep = np.gradient(profile, ACROSS_M)
    w = shape.weights
    seen = np.isfinite(steep) & (w != 0)
    return float(w[seen] @ steep[seen])


def _turf_change(rows: np.ndarray, usable: np.ndarray, slope: float) -> tuple[float, float]:
    """Change of turf against skin over an edge and its s.d., m: the scatter of its 5 m means, slopes, settling."""
    seen = usable & np.isfinite(rows)
    if not seen.any():
        return float("nan"), float("nan")
    means = stretches(rows, usable)[0]
    means = means[np.isfinite(means)]
    spread = float(means.std(ddof=1)) / np.sqrt(len(means)) if len(means) > 2 else 0.003
    return float(rows[seen].mean()), float(np.sqrt(spread**2 + (SIDES_APART_M * slope) ** 2 + STEP_FLOOR_M**2))


def _turf_state(turf_m: float, sigma_m: float) -> str:
    if not np.isfinite(turf_m):
        return "unknown"
    if abs(turf_m) < max(MOWN_M, 1.959964 * sigma_m):
        return "same"
    return "taller" if turf_m > 0 else "shorter"


def _refusal(length_m: float, allowed_m: float, turf_m: float) -> str:
    if length_m < LEAST_M or length_m < LEAST_SEEN * allowed_m:
        return f"measured along {length_m:.1f} of {allowed_m:.1f} m clear of corners; {LEAST_SEEN:.0%} are needed"
    if abs(turf_m) > MOST_TURF_CHANGE_M:
        most = MOST_TURF_CHANGE_M * 1000
        return f"turf against skin changed by {turf_m * 1000:.0f} mm; beyond {most:.0f} mm the grass hides a lip"
    return ""


def _holm(segments: list[Growth]) -> tuple[Growth, ...]:
    """Segments with `detected` judged together, Holm 1979, within their edge."""
    values, sigmas = (np.array([getattr(g, name) for g in segments]) for name in ("growth_m", "sigma_m"))
    return tuple(replace(g, detected=bool(d)) for g, d in zip(segments, detected_together(values, sigmas)))
