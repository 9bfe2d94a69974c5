"""The last work on a field between its two surveys: the skin before, the skin after and what lies between, as still pictures, with the figures."""

from __future__ import annotations

from typing import Mapping

import numpy as np

from pipeline.report import palette
from pipeline.report.changed import work_line
from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import foot, frame_of, furniture, ground
from pipeline.report.figures import Z95, figure
from pipeline.report.raster import laid
from pipeline.report.saying import Sayer
from pipeline.report.svg import picture
from pipeline.report.two_dates import LEAST_CELLS, MOVED, STEPS, over_plane
from pipeline.report.words import opened
from pipeline.report.works_block import measure_name, told_works, unit_of

FINE = 4  # dots to a cell: hatching is finer than a cell
HATCH, DOTS = 8, 6
MOST_ROWS = 8


def before_after_block(given: FieldInput, sayer: Sayer) -> dict:
    """Title, three drawings with their names, a table of figures; empty where no work has surveys on both sides that the page carries."""
    if given.first_plane is None:
        return {}
    carried = {s.survey_id: s for s in given.surfaces}
    record = next((r for r in told_works(given) if r["before"]["survey_id"] in carried and r["after"]["survey_id"] in carried), None)
    if record is None:
        return {}
    pair = [carried[record[k]["survey_id"]] for k in ("before", "after")]
    (one, s1, side), (other, s2, _) = over_plane(pair, given.first_plane, given.layout, given.settings.report.map_cell_m)
    moved = 1000 * (other - one)
    if np.isfinite(moved).sum() < LEAST_CELLS:
        return {}
    words = sayer.words
    days = [sayer.day(s.flown_on, s.survey_id) for s in pair]
    titles = [words("before_title", day=days[0]), words("after_title", day=days[1]), words("two_title", earlier=days[0], later=days[1])]
    dots = [heights(even(one), sayer.units.system), heights(even(other), sayer.units.system), differences(moved, 1000 * Z95 * np.hypot(s1, s2), sayer.units.system)]
    what = opened(work_line({w["work_id"]: w for w in given.works}[record["work_id"]], sayer))
    names = ("skin-before", "skin-after", "skin-moved")
    rows = _rows(record, sayer)
    relative = words("before_after_relative") if any(s.tie_mm is None for s in pair) else ""
    return {
        "relative": relative, "what": what, "first": days[0], "second": days[1], "shares": words.count("before_after_shares", len(record["shares"])) if record["shares"] else "",
        "pictures": [{"svg": _drawn(n, t, d, side / (FINE if n == names[2] else 1), given, sayer), "title": t} for n, t, d in zip(names, titles, dots)],
        "rows": rows, "heads": [words("before_after_measure"), *titles[:2], words("before_after_change"), words("before_after_told")],
    }  # fmt: skip


def even(over_m: np.ndarray) -> np.ndarray:
    """Mean of a cell and its neighbours, for the eye: the noise of single cells would hide the shape. What was not measured stays so."""
    padded = np.pad(over_m, 1, constant_values=np.nan)
    near = np.stack([padded[r : r + over_m.shape[0], c : c + over_m.shape[1]] for r in range(3) for c in range(3)])
    held = np.isfinite(near)
    mean = np.where(held, near, 0.0).sum(axis=0) / np.maximum(held.sum(axis=0), 1)
    return np.where(np.isfinite(over_m), mean, np.nan)


def heights(over_m: np.ndarray, system: str) -> np.ndarray:
    """RGBA (ny, nx, 4) of heights over the plane, m: the shades of the two dates side by side; clear where not measured."""
    steps = [-v for v in reversed(STEPS[system])] + list(STEPS[system])
    shades = np.array([(*palette.rgb(c), 255) for c in palette.PLANE] + [(0, 0, 0, 0)], np.uint8)
    level = np.searchsorted(steps, np.nan_to_num(1000 * over_m), side="right")
    return shades[np.where(np.isfinite(over_m), level, len(palette.PLANE))]


def differences(moved_mm: np.ndarray, half_mm: np.ndarray, system: str) -> np.ndarray:
    """RGBA (FINE ny, FINE nx, 4): lost hatched, gained dotted, still where a cell moved by no more than its own 95 % range or too little to matter.

    moved_mm, half_mm : later less earlier and its 95 % half-width, (ny, nx), mm; NaN where not measured twice
    """
    told = np.isfinite(moved_mm) & np.isfinite(half_mm)
    size = np.abs(np.where(told, moved_mm, 0.0))
    moved = told & (size > np.where(told, half_mm, np.inf)) & (size >= MOVED[system][0])
    deep = np.clip(np.searchsorted(MOVED[system], size, side="right") - 1, 0, 2)
    fine = lambda a: np.repeat(np.repeat(a, FINE, axis=0), FINE, axis=1)
    told, moved, deep, lost = fine(told), fine(moved), fine(deep), fine(np.where(told, moved_mm, 0.0) < 0)
    r, c = np.indices(told.shape)
    sign = np.where(lost, (r + c) % HATCH < 2, (r % DOTS < 2) & ((c + (r // DOTS) % 2 * (DOTS // 2)) % DOTS < 2))
    out = np.zeros((*told.shape, 4), np.uint8)
    out[told] = (*palette.rgb(palette.STILL), 255)
    for way, colours in ((lost, palette.LOST), (~lost, palette.GAINED)):
        shades = np.array([(*palette.rgb(v), 255) for v in colours], np.uint8)
        mark = shades[np.where(deep == 2, 0, 2)]
        out = np.where((moved & way)[..., None], np.where(sign[..., None], mark, shades[deep]), out)
    return out


def _drawn(name: str, title: str, rgba: np.ndarray, side_m: float, given: FieldInput, sayer: Sayer) -> str:
    frame = frame_of(given.layout)
    inner = ground(given.layout, frame, given.edges) + laid(frame, rgba, given.layout.grid, side_m, "dots")
    inner += furniture(given.layout, frame) + foot(frame, sayer.units, sayer.words("north"))
    return picture(frame.width, frame.height, name, title, sayer.words("before_after_about"), inner, "map")


def _rows(record: Mapping, sayer: Sayer) -> list[tuple[str, ...]]:
    """Measure, before, after, change, whether it is more than noise: what changed first."""
    told = [c for c in record["measures"] if c["change"] is not None]
    told.sort(key=lambda c: not c["detected"])
    out = []
    for c in told[:MOST_ROWS]:
        unit = unit_of(c["measure"], sayer)
        sides = (figure(c[k], c[f"{k}_sigma"], unit) for k in ("before", "after"))
        out.append((opened(measure_name(c, sayer)), *sides, figure(c["change"], c["change_sigma"], unit, signed=True), sayer.words("before_after_yes" if c["detected"] else "before_after_no")))
    return out
