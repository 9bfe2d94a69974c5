"""The lip of one edge at one date: how high its crest stands over the skin and over the turf behind it.

The survey sees blades, not soil. Rise and fall are told apart because they fail differently: over the skin the
whole canopy adds to the rise; crest and turf both carry it, so the fall is the better known. A step up with no fall
behind is a field low on mix, whose remedy is the opposite of cutting a lip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.diamond.edges import Edge
from pipeline.surface.calibration import Canopy, RulerMark, readings_to_halve
from pipeline.surface.lip_noise import StillNoise, still_noise
from pipeline.surface.lip_shape import LipShape, windows
from pipeline.survey.edges.edge_cover import told_cells
from pipeline.survey.edges.edge_level import column_mean, levelled
from pipeline.survey.edges.edge_table import ACROSS_M, STATION_M, EdgeTable
from pipeline.survey.noise import Noise

SMOOTH_M = 2.0  # a station's figure is the mean over so much edge, half to either hand
LEAST_M = 1.0  # of it that must be seen
RISE_M, FALL_M = 0.006, 0.004  # below, nothing stands there
SURE = 0.90
SHAPE_SHARE = {"none": 0.08, "field": 0.08, "edge": 0.04}  # of the height, for its shape: the edge's readings mend half
BEND_ARM_M = 0.03  # how far off the line may be where the ground bends at it
FALL_FLOOR_M = 0.001
# Colour missing on a crest is grass missing, or dust on the blades that hides nothing: three quarters are taken for the
# first, because a hazard read too low hurts more than work done in vain.
THINNED, THINNED_SD = 0.75, 0.35
# And blades stand lower on a tall lip than behind it, without colour showing it: by 15 % on 30 mm if the declared
# conditions hold, by nothing if they do not. Half of that is taken, and half is its s.d.
LOWER_PER_M, TALL_M = 2.5, 0.060
TALLEST_M = 0.040  # the canopy that the bracket of an uncalibrated edge allows for where no turf height is given
LINE_SIGMA_M = 0.035  # of a drawn line about the grass: its wander, and the survey's own place
WHOLE_LINE_SHARE = 0.3  # of it that the mean over a whole edge keeps
SIDE_VARIANCE, STEP_VARIANCE = 1.25, 1.5  # of crest against one side, and of the two sides, over the contrast's own


@dataclass(frozen=True)
class Station:
    """One line of an edge's lip, m; NaN where not told.

    station_m  : middle of the metre it stands for; the figures are means over SMOOTH_M of edge. None: the whole edge
    e, n       : the crest
    kind       : `lip`, `low_skin`, `flush`, `not_enough_evidence`
    height_m   : crest over skin; for `low_skin` how much higher the turf's soil stands than the skin
    rise_low95_m, rise_high95_m : for an uncalibrated edge from all blades to no blades
    fall_m     : crest over the turf behind it
    section_m2 : area between the lip and the ground under it, across the edge
    canopy_part_m, rest_part_m : s.d. of height_m from the canopy alone and from all else
    """

    edge_id: str
    station_m: float | None
    e: float
    n: float
    kind: str
    height_m: float
    height_sigma_m: float
    rise_low95_m: float
    rise_high95_m: float
    fall_m: float
    fall_sigma_m: float
    calibration: str
    crest_offset_m: float
    width_m: float
    section_m2: float
    canopy_part_m: float
    rest_part_m: float


@dataclass(frozen=True)
class Seen:
    """What a survey shows across an edge around stations, canopy included, each (k,), m.

    rise, fall, step : crest over skin, crest over turf, turf over skin
    bend     : slope of the ground beyond the edge less the slope before it, m per m
    bare     : cover of the crest on the whole edge less cover of it here: a tall lip thins its grass
    length_m : edge behind each figure
    """

    rise: np.ndarray
    fall: np.ndarray
    step: np.ndarray
    bend: np.ndarray
    bare: np.ndarray
    length_m: np.ndarray


def one_date_noise(tables: list[EdgeTable], shapes: list[LipShape], noise: Noise, canopy_m: float) -> StillNoise:
    """Variance of the contrast over SMOOTH_M where no lip stands: one survey's errors and the ground's own relief."""
    heights = [levelled(t, s.cover.offset_m).z for t, s in zip(tables, shapes)]
    return still_noise(heights, tables, shapes, noise, canopy_m, dates=1, length_m=SMOOTH_M)


def see(table: EdgeTable, shape: LipShape, station_m: np.ndarray) -> Seen:
    """Crest, skin and turf around each station, over SMOOTH_M of edge."""
    level = levelled(table, shape.cover.offset_m)
    crest, skin, turf = windows(level.z, shape)
    bend = level.turf_slope - level.skin_slope
    told = np.isfinite(crest) & np.isfinite(skin) & np.isfinite(turf) & table.usable
    near = np.abs(np.asarray(station_m)[:, None] - table.s) < SMOOTH_M / 2
    weight = near & told
    count = weight.sum(axis=1)

    def mean(values: np.ndarray) -> np.ndarray:
        total = weight @ np.where(told, np.nan_to_num(values), 0.0)
        return np.where(count * STATION_M >= LEAST_M, total / np.maximum(count, 1), np.nan)

    bare = np.nan_to_num(mean(bare_of(table, shape)))
    return Seen(mean(crest - skin), mean(crest - turf), mean(turf - skin), mean(bend), bare, count * STATION_M)


def bare_of(table: EdgeTable, shape: LipShape) -> np.ndarray:
    """Cover of the crest on the whole edge less that of each row, (ns,); 0 where nothing shows cover."""
    cells = told_cells(table, shape.cover.told_by)
    if cells is None:
        return np.zeros(len(table.s))
    crest, skin, turf = windows(cells, shape)
    gap = np.nanmean((turf - skin)[table.usable])
    bare = (np.nanmean(crest[table.usable]) - crest) / gap
    return np.nan_to_num(bare)


def _cover_here(shape: LipShape, bare: float) -> float:
    """Cover over the crest window at a station: the edge's own less THINNED of what is seen to be missing."""
    return float(np.clip(shape.cover_w - THINNED * bare, 0.0, 1.0))


def ruler_mark(
    table: EdgeTable, shape: LipShape, station_m: float, value_m: float, still: StillNoise, ruler_sd_m: float
) -> RulerMark | None:
    """A ruler's reading laid over what the survey sees at its station; None where it sees nothing there."""
    seen = see(table, shape, np.array([station_m]))
    if not np.isfinite(seen.rise[0]):
        return None
    variance = still.variance(shape.cover_w) * shape.lip_w**2 * still.length_m / seen.length_m[0]
    here = _cover_here(shape, float(seen.bare[0])) * (1 - LOWER_PER_M * float(np.clip(value_m, 0.0, TALL_M)))
    return RulerMark(shape.edge_id, value_m, float(seen.rise[0]), here, shape.lip_w, float(variance), ruler_sd_m)


def lip_of_edge(
    table: EdgeTable,
    edge: Edge,
    shape: LipShape,
    still: StillNoise,
    canopy: Canopy,
    turf_height_m: float | None = None,
    line_sigma_m: float = LINE_SIGMA_M,
) -> list[Station]:
    """The lip every metre along an edge, and last the whole edge.

    still         : from `one_date_noise` over all edges of the survey
    canopy        : from `calibrate`, with or without readings
    turf_height_m : a ruler's height of the turf, or None; bounds the bracket of an uncalibrated edge
    line_sigma_m  : one s.d. of the line about where this survey shows the grass begin, m: some 12 mm on a fitted line
                    (`EdgeFit.sigma_m`), LINE_SIGMA_M where nothing told
    """
    station = edge.stations(1.0)
    seen = see(table, shape, station)
    e, n = edge.at(station, shape.bump.crest)
    off = _steepness(table, shape) * line_sigma_m
    out = [
        _station(shape, seen, k, (float(station[k]), float(e[k]), float(n[k])), still, canopy, turf_height_m, off)
        for k in range(len(station))
    ]
    whole = 0.0 if canopy.calibration == "edge" else off * WHOLE_LINE_SHARE  # readings on the edge see its line's place too
    return [*out, _whole(table, shape, still, canopy, turf_height_m, whole)]


def _steepness(table: EdgeTable, shape: LipShape) -> float:
    """How much the crest window's mean changes per metre that the line is off, in heights of a lip."""
    profile = column_mean(levelled(table, shape.cover.offset_m).z, table.usable)
    steep = np.gradient(profile, ACROSS_M)[shape.crest_in]
    return float(np.nan_to_num(steep.mean())) / shape.lip_w


def more_readings(whole: Station, canopy: Canopy, shape: LipShape) -> int | None:
    """How many more readings on this edge would halve the uncertainty of its mean height; None: no number would."""
    scale = (shape.cover_w / shape.lip_w) ** 2
    return readings_to_halve(whole.canopy_part_m, whole.rest_part_m, canopy.reading_variance * scale)


def _whole(table, shape, still, canopy, turf_height_m, off_m) -> Station:
    """The mean over all usable rows of an edge."""
    level = levelled(table, shape.cover.offset_m)
    crest, skin, turf = windows(level.z, shape)
    told = np.isfinite(crest) & np.isfinite(skin) & np.isfinite(turf) & table.usable
    nothing = float("nan")
    if told.sum() * STATION_M < LEAST_M:
        seen = Seen(*(np.array([v]) for v in (nothing, nothing, nothing, nothing, 0.0, 0.0)))
    else:
        bend = np.nanmean((level.turf_slope - level.skin_slope)[told])
        means = ((crest - skin)[told].mean(), (crest - turf)[told].mean(), (turf - skin)[told].mean(), bend)
        seen = Seen(*(np.array([float(v)]) for v in (*means, 0.0, told.sum() * STATION_M)))
    return _station(shape, seen, 0, (None, nothing, nothing), still, canopy, turf_height_m, off_m)


def _station(shape, seen, k, place, still, canopy, turf_height_m, off_m) -> Station:
    """One station's figures and verdict; off_m: s.d. that the line's own place puts into a height."""
    share, unit, grass = _cover_here(shape, float(seen.bare[k])), shape.lip_w, canopy.height_m
    rise, fall, step = seen.rise[k], seen.fall[k], seen.step[k]
    if not np.isfinite(rise):
        return Station(shape.edge_id, *place, "not_enough_evidence", *[float("nan")] * 6, canopy.calibration, *[float("nan")] * 5)
    crest_m, width = shape.crest_offset_m, shape.width_m
    own = still.variance(share) * still.widening(share) ** 2 * still.length_m / float(seen.length_m[k])
    own, wrong_shape = SIDE_VARIANCE * own + off_m**2, SHAPE_SHARE[canopy.calibration]
    bend = BEND_ARM_M * float(np.nan_to_num(seen.bend[k]))
    lower = LOWER_PER_M * float(np.clip((rise - share * grass) / unit, 0.0, TALL_M))
    height = float(rise - share * grass * (1 - lower)) / unit
    drop = float(fall + (1 - share) * grass) / unit
    thin = float(np.hypot(THINNED_SD * seen.bare[k], lower * share)) * grass / unit
    hidden, rest = canopy.sigma_m * share / unit, float(np.sqrt(own + bend**2 + thin**2 + (wrong_shape * height) ** 2))
    sigma = float(np.hypot(hidden, rest))
    drop_sigma = float(
        np.sqrt(
            own
            + (canopy.sigma_m * (1 - share) / unit) ** 2
            + (shape.cover.sigma * grass / unit) ** 2
            + thin**2
            + (wrong_shape * drop) ** 2
            + FALL_FLOOR_M**2
        )
    )
    kind = kind_of(height, sigma, drop, drop_sigma)
    low, high = height - 1.959964 * sigma, height + 1.959964 * sigma
    if canopy.calibration == "none":
        blades = TALLEST_M if turf_height_m is None else turf_height_m
        low = min(low, float(rise - blades) / unit - 1.959964 * rest)
        high = max(high, float(rise) / unit + 1.959964 * rest)
    section = float(rise - share * step) / unit * float(shape.lip.sum()) * ACROSS_M
    if kind == "low_skin":
        height, hidden = float(step) - grass, canopy.sigma_m
        rest = float(np.sqrt(STEP_VARIANCE / SIDE_VARIANCE * own + bend**2))
        sigma = float(np.hypot(hidden, rest))
    return Station(
        shape.edge_id, *place, kind, height, sigma, low, high, drop, drop_sigma, canopy.calibration, crest_m, width,
        section, hidden, rest,
    )  # fmt: skip


def kind_of(rise_m: float, rise_sigma_m: float, fall_m: float, fall_sigma_m: float) -> str:
    """`lip` if it surely rises and surely falls behind, `low_skin` if it rises and surely does not fall, `flush` if
    it surely does not rise, else `not_enough_evidence`; surely is a probability of SURE or more, errors normal.

    No crest stands more than RISE_M below its skin: what reads lower took the grass for too tall, and is no surer sign of a
    flush edge for it. So flush is judged given that the crest stands higher than that.
    """
    rises = ndtr((rise_m - RISE_M) / rise_sigma_m)
    falls = ndtr((fall_m - FALL_M) / fall_sigma_m)
    if rises >= SURE and falls >= SURE:
        return "lip"
    if rises >= SURE and 1 - falls >= SURE:
        return "low_skin"
    possible = ndtr((rise_m + RISE_M) / rise_sigma_m)
    if rises <= (1 - SURE) * possible:
        return "flush"
    return "not_enough_evidence"
