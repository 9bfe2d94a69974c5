"""The shape of one edge's lip, its cover and its windows: chosen on the first two dates, then kept for the series."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from pipeline.survey.edges.edge_cover import Cover, cover
from pipeline.survey.edges.edge_level import SKIN_WINDOW, TURF_WINDOW, column_mean, levelled, window_mean, within
from pipeline.survey.edges.edge_shape import DEFAULT_BUMP, SHARPNESS, Bump, bump
from pipeline.survey.edges.edge_table import EdgeTable

CREST_WINDOW = (-0.10, 0.15)  # about the crest
CREST_CELLS = 3  # of its five that must be seen
PRIOR_SD = (0.05, 0.03, 0.06)  # of crest, w_in, w_out about DEFAULT_BUMP, m
LOW, HIGH = (-0.10, 0.05, 0.10), (0.45, 0.40, 0.90)  # crest less the grass's beginning, w_in, w_out, m
FIT_WINDOW = (-0.3, 0.9)
FIT_SD_M = 0.0015  # of a cell of an edge's mean profile about the shape: real lips are not exactly of this form
STILL_TURF_M, STILL_TURF_REFERENCE = 1.35, (0.65, 1.05)  # the contrast laid where no lip is
STILL_SKIN_M = -1.85
STILL_CELLS = 4
HALF_HEIGHT = float(np.log(2.0) ** (1.0 / SHARPNESS))


@dataclass(frozen=True)
class LipShape:
    """What is kept for an edge's series; d is the edge tables' distance from the line, + in the grass.

    d     : (nd,) columns, m
    bump  : crest and half-widths, m
    cover : phi across the edge, and where the grass begins
    lip   : (nd,) B, a lip of unit height
    """

    edge_id: str
    d: np.ndarray
    bump: Bump
    cover: Cover
    lip: np.ndarray

    @property
    def crest_in(self) -> np.ndarray:
        return within(self.d, CREST_WINDOW, self.bump.crest)

    @property
    def cover_w(self) -> float:
        """Mean cover in the crest window."""
        return float(self.cover.share[self.crest_in].mean())

    @property
    def lip_w(self) -> float:
        """Mean of a lip of unit height over the crest window."""
        return float(self.lip[self.crest_in].mean())

    @property
    def crest_offset_m(self) -> float:
        """The crest's distance from where the grass begins, + in the grass, m."""
        return self.bump.crest - self.cover.offset_m

    @property
    def width_m(self) -> float:
        """Width at half the height, m."""
        return HALF_HEIGHT * (self.bump.w_in + self.bump.w_out)

    @property
    def weights(self) -> np.ndarray:
        """w of the contrast, (nd,): w.1 = w.phi = 0 and w.B = 1 over the windows, so a shift and mowing cancel."""
        skin, turf = (within(self.d, w, self.cover.offset_m) for w in (SKIN_WINDOW, TURF_WINDOW))
        share = self.cover_w
        w = self.crest_in / self.crest_in.sum() - share * turf / turf.sum() - (1 - share) * skin / skin.sum()
        return w / self.lip_w


def freeze(first: EdgeTable, second: EdgeTable | None = None) -> LipShape:
    """The shape for an edge's series from its first two dates (from the only one while there is no second).

    On the mean of both dates: an error that makes the first lip too high makes growth too low, so choosing on the
    first alone favours a sign; the mean's error and the difference's are uncorrelated. Where no lip stands the
    priors decide.
    source : least squares with Gaussian priors, crest 0.13 +/- 0.05, half-widths 0.13 +/- 0.03 and 0.30 +/- 0.06 m
    """
    tables = [first] if second is None else [first, second]
    seen = cover(tables)
    d = first.d
    heights = [column_mean(levelled(t, seen.offset_m).z, t.usable) for t in tables]
    mean = np.mean(heights, axis=0)
    shape = _fit_bump(d, mean, seen)
    return LipShape(first.edge_id, d, shape, seen, bump(d, shape))


def contrast(values: np.ndarray, shape: LipShape, cover_w: float | None = None) -> np.ndarray:
    """Crest against skin and turf, in heights of a lip, per row (ns,): the unit of `values`.

    values  : (ns, nd) heights or height changes
    cover_w : cover in the crest window to take instead of the shape's own
    (mean over the crest window - phi_W mean over turf - (1 - phi_W) mean over skin) / B_W
    NaN where a window is not seen to one half.
    """
    share = shape.cover_w if cover_w is None else cover_w
    crest, skin, turf = windows(values, shape)
    return (crest - share * turf - (1 - share) * skin) / shape.lip_w


def windows(values: np.ndarray, shape: LipShape) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means over crest, skin and turf windows, each (ns,)."""
    offset = shape.cover.offset_m
    return (
        window_mean(values, shape.crest_in, CREST_CELLS),
        window_mean(values, within(shape.d, SKIN_WINDOW, offset)),
        window_mean(values, within(shape.d, TURF_WINDOW, offset)),
    )


def still_contrasts(values: np.ndarray, shape: LipShape) -> tuple[np.ndarray, np.ndarray]:
    """The same contrast laid where no lip is, in turf and on skin, each per row (ns,): nothing but error and relief.

    Rows where a neighbouring edge or the field's end leaves no room are NaN.
    """
    offset, crest = shape.cover.offset_m, shape.bump.crest

    def laid(moved_m: float, reference: tuple[float, float]) -> np.ndarray:
        mean = window_mean(values, within(shape.d, CREST_WINDOW, crest + moved_m), CREST_CELLS)
        return (mean - window_mean(values, within(shape.d, reference, offset), STILL_CELLS)) / shape.lip_w

    return laid(STILL_TURF_M, STILL_TURF_REFERENCE), laid(STILL_SKIN_M, SKIN_WINDOW)


def _fit_bump(d: np.ndarray, height: np.ndarray, seen: Cover) -> Bump:
    """Crest and half-widths of the lip in a mean profile, heights in m over the local ground."""
    turf = window_mean(height[None], within(d, TURF_WINDOW, seen.offset_m))[0]
    standing = height - seen.share * turf
    read = within(d, FIT_WINDOW, seen.offset_m) & np.isfinite(standing)
    prior = np.array([DEFAULT_BUMP.crest + seen.offset_m, DEFAULT_BUMP.w_in, DEFAULT_BUMP.w_out])
    if read.sum() < 8:
        return Bump(*(float(v) for v in prior))
    x, y = d[read], standing[read]

    def miss(q: np.ndarray) -> np.ndarray:
        return np.concatenate([(y - q[0] * bump(x, Bump(*q[1:]))) / FIT_SD_M, (q[1:] - prior) / PRIOR_SD])

    moved = np.array([seen.offset_m, 0.0, 0.0])
    bounds = np.concatenate([[-0.3], LOW + moved]), np.concatenate([[0.5], HIGH + moved])
    start = np.concatenate([[min(max(float(y.max()), 0.001), 0.3)], prior])
    found = least_squares(miss, start, bounds=bounds, x_scale=(0.01, 0.05, 0.05, 0.1))
    return Bump(*(float(v) for v in found.x[1:]))
