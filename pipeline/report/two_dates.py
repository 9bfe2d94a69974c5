"""Any two dates of a field beside one another, and what lies between them: the surfaces that the page carries.

Heights are whole millimetres over one plane, the skin's own on the first date, so that all dates are read alike and the
difference of two is exact. The script beside this file draws them; it holds no word and no colour of its own.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Callable, Mapping, Sequence

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.field_map import frame_of, foot, furniture, ground
from pipeline.report.figures import Units
from pipeline.report.raster import coarser
from pipeline.survey.plane import fit_plane

MOST_DATES = 8  # newest ones; the baseline comes beside them
LEAST_SHARE = 0.5  # of a picture's cell that must have been measured
LEAST_CELLS = 12  # no plane through fewer, nor anything to see
NONE = -32768  # of heights: not measured
S_STEP_MM, S_NONE = 0.25, 255  # one s.d. in one byte: steps of it, up to 63.5 mm
STEPS = {"us": (12.7, 25.4, 50.8), "metric": (10.0, 25.0, 50.0)}  # where the shades over and under the plane change, mm
MOVED = {"us": (6.35, 12.7, 25.4), "metric": (5.0, 10.0, 25.0)}  # where the shades of a difference change, mm


@dataclass(frozen=True)
class Surface:
    """One date. flown_on: ISO; z, sigma: (ny, nx) on the field's grid, m, NaN where not measured; tie_mm: one s.d. of its height as a whole, None where not known."""

    survey_id: str
    flown_on: str
    z: np.ndarray
    sigma: np.ndarray
    tie_mm: float | None


def kept_dates(survey_ids: Sequence[str], baseline: str | None) -> list[str]:
    """The newest dates and the baseline, oldest first.

    survey_ids : of the surveys that can be used, oldest first
    """
    newest = list(survey_ids[-MOST_DATES:])
    return [s for s in survey_ids if s in newest or s == baseline]


def carried(dates: Sequence[Surface], plane: Callable | None, layout: Layout, cell_m: float, units: Units, labels: Mapping[str, str]) -> dict:
    """What the script is handed: the dates' surfaces, the transform onto the drawing, colours and steps; empty with fewer than two. A date
    of which next to nothing was seen is left out, and takes no other with it.

    plane  : the skin's on the first date, `skin_plane`
    cell_m : wanted side of a picture's cell
    labels : survey id -> its day as readers know it
    """
    if len(dates) < 2 or plane is None:
        return {}
    frame = frame_of(layout)
    kept = [(d, block) for d, block in zip(dates, over_plane(dates, plane, layout, cell_m)) if np.isfinite(block[0]).sum() >= LEAST_CELLS]
    if len(kept) < 2:
        return {}
    dates, blocks = zip(*kept)
    side = blocks[0][2]
    return {
        "nx": blocks[0][0].shape[1], "ny": blocks[0][0].shape[0], "cell_m2": side * side, "width": frame.width, "height": round(frame.height, 1),
        "matrix": [float(v) for v in frame.matrix(layout.grid.west, layout.grid.north, side)[7:-1].split()],
        "dates": [{"id": d.survey_id, "label": labels[d.survey_id], "z": _heights(z), "s": _sigmas(s), "tie": d.tie_mm} for d, (z, s, _) in zip(dates, blocks)],
        "steps": STEPS[units.system], "moved": MOVED[units.system], "unit": {"name": units.height.name, "size": units.height.size, "finest": units.height.finest},
        "area": {"name": units.area.name, "size": units.area.size}, "plane": list(palette.PLANE), "lost": list(palette.LOST), "gained": list(palette.GAINED), "still": palette.STILL,
    }  # fmt: skip


def over_plane(dates: Sequence[Surface], plane: Callable, layout: Layout, cell_m: float) -> list[tuple[np.ndarray, np.ndarray, float]]:
    """Of each date: height over the plane and one s.d. of each picture's cell of the skin, m, NaN where not measured; the cells' side, m."""
    mask = layout.grid.mask(layout.skin)
    skin_share = coarser(np.where(mask, 1.0, np.nan), layout.grid, cell_m)[1]
    blocks = [_coarse(d, mask, skin_share, layout, cell_m) for d in dates]
    side = blocks[0][2]
    rows, cols = np.indices(skin_share.shape)
    flat = plane(layout.grid.west + (cols + 0.5) * side, layout.grid.north - (rows + 0.5) * side)
    return [(z - flat, s, side) for z, s, _ in blocks]


def _coarse(date: Surface, mask: np.ndarray, skin_share: np.ndarray, layout: Layout, cell_m: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean height and mean s.d. of each picture's cell of the skin, NaN where less than half of it was measured. The mean s.d.
    is what a cell's mean has when its errors are common, so no less than the truth."""
    z, share, side = coarser(np.where(mask, date.z, np.nan), layout.grid, cell_m)
    sigma = coarser(np.where(mask, date.sigma, np.nan), layout.grid, cell_m)[0]
    seen = (share > 0) & (share >= LEAST_SHARE * skin_share)
    return np.where(seen, z, np.nan), np.where(seen, sigma, np.nan), side


def skin_plane(date: Surface, layout: Layout) -> Callable | None:
    """Height of the skin's plane on a date as a function of eastings and northings, m; None where too little of it was measured."""
    e, n = layout.grid.mesh()
    held = layout.grid.mask(layout.skin) & np.isfinite(date.z)
    if held.sum() < LEAST_CELLS:
        return None
    return fit_plane(e[held], n[held], date.z[held], robust="huber").at


def _heights(over_m: np.ndarray) -> str:
    mm = np.clip(np.round(1000 * over_m), -32000, 32000)
    return base64.b64encode(np.where(np.isfinite(over_m), mm, NONE).astype("<i2").tobytes()).decode("ascii")


def _sigmas(sigma_m: np.ndarray) -> str:
    steps = np.clip(np.ceil(1000 * sigma_m / S_STEP_MM), 0, S_NONE - 1)
    return base64.b64encode(np.where(np.isfinite(sigma_m), steps, S_NONE).astype(np.uint8).tobytes()).decode("ascii")


def under(layout: Layout, edges) -> str:
    """The field's ground as the drawing begins, to lie below a picture."""
    return ground(layout, frame_of(layout), edges)


def over(layout: Layout, units: Units, north_word: str) -> str:
    """What lies over a picture: bases, plates, scale and north."""
    frame = frame_of(layout)
    return furniture(layout, frame) + foot(frame, units, north_word)
