"""Which rows of a rover's walk measure the ground: fixed, once a stand, not logged before, no height spike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.errors import Refused
from pipeline.survey.points import TICK_M
from pipeline.survey.walks.walk import FIXED, FLOAT, SINGLE, STILL_M, Walk, runs

STILL_REACH_M = 0.02  # a creeping pole stops standing still this far from where it stood
RUN_ROWS = 13  # rows that may be one spike
SPIKE_M, SPIKE_RISE = 0.10, 0.15  # a spike leaves both sides by more than this, plus so much a metre
JUMP_RISE = 0.5  # between two rows of one line, above SPIKE_M: no grass edge, mound or bank is so steep
END_M, END_RISE = 0.50, 1.0  # what a spike at a line's end must leave its one side by


@dataclass(frozen=True)
class Cleaned:
    """The rows of a walk that measure.

    walk      : fixed rows only, one for each stand, without spikes
    lost_fix  : (n,) bool, True where the receiver had no fixed position between this row and the one before
    removed   : rows taken out by reason: `not_finite, repeated, float, single, other_quality, standing_still,
                height_spike`; reasons with no row are left out
    rows_read : rows of the walk as logged; `rows_read` = rows kept + all removed
    says_quality : False where the file carries no `quality`, so that float rows cannot be told from fixed ones
    """

    walk: Walk
    lost_fix: np.ndarray
    removed: dict[str, int]
    rows_read: int
    says_quality: bool


def clean(walk: Walk, earlier: Sequence[Walk] = ()) -> Cleaned:
    """Keep what measures: fixed rows, each stand once, no row that was logged before, no height spike.

    walk    : coordinates in metres
    earlier : this field's walks of earlier dates in the same coordinates, whose rows may have been exported again
    raises  : Refused `no_fixed_points` where no row is fixed; `no_points` where nothing at all is left
    """
    reason = np.full(len(walk), "", dtype="<U14")
    reason[~(np.isfinite(walk.x) & np.isfinite(walk.y) & np.isfinite(walk.z))] = "not_finite"
    stand = stands(walk)
    reason[(reason == "") & (repeated(walk, earlier) | repeated_within(walk, stand))] = "repeated"
    if walk.quality is not None:
        words = np.select([walk.quality == FLOAT, walk.quality == SINGLE], ["float", "single"], "other_quality")
        not_fixed = (reason == "") & (walk.quality != FIXED)
        reason[not_fixed] = words[not_fixed]
        _require_fixed(walk)
    kept = np.flatnonzero(reason == "")
    if not len(kept):
        counts = ", ".join(f"{n:,} {word}" for word, n in _counts(reason).items()) or "no row"
        raise Refused("no_points", f"found no row that measures ({counts}); expected fixed rows of this walk. "
                      "Export the walk again, this date's lines alone.")  # fmt: skip
    thinned, first, last, reason = _one_a_stand(walk, kept, stand, reason)
    lost = _lost_between(walk, first, last)
    spike = spikes(thinned)
    reason[first[spike]] = "height_spike"
    lost = _carried(lost, ~spike)
    return Cleaned(thinned.take(~spike), lost, _counts(reason), len(walk), walk.quality is not None)


def _require_fixed(walk: Walk) -> None:
    fixed = int((walk.quality == FIXED).sum())
    if fixed or not len(walk):
        return
    raise Refused(
        "no_fixed_points",
        f"found {len(walk):,} rows, none of them fixed ({int((walk.quality == FLOAT).sum()):,} float, "
        f"{int((walk.quality == SINGLE).sum()):,} single); expected rows of quality {FIXED}. "
        "Float and single positions are off by decimetres to metres: walk again with a fixed solution.",
    )


def stands(walk: Walk) -> np.ndarray:
    """Number of the stand each row belongs to, (n,) int: rows follow each other less than STILL_M apart and stay
    within STILL_REACH_M of the stand's first row. A moving row is a stand of its own."""
    step = walk.steps()
    new = ~(step < STILL_M)
    out = np.cumsum(new)
    for start, stop in runs(out):
        if stop - start < 3:
            continue
        anchor = start
        for i in range(start + 1, stop):
            if np.hypot(walk.x[i] - walk.x[anchor], walk.y[i] - walk.y[anchor]) > STILL_REACH_M:
                new[i], anchor = True, i
    return np.cumsum(new) - 1 if len(walk) else np.zeros(0, np.int64)


def repeated(walk: Walk, earlier: Sequence[Walk]) -> np.ndarray:
    """Rows whose x, y and z stand in an earlier walk too, to a tenth of a millimetre, (n,) bool.

    Two measurements never agree so well in all three: such a row was logged on the earlier date and exported twice.
    """
    out = np.zeros(len(walk), bool)
    mine = _keys(walk)
    for other in earlier:
        out |= np.isin(mine, _keys(other))
    return out


def repeated_within(walk: Walk, stand: np.ndarray) -> np.ndarray:
    """Rows that stand earlier in the same walk, other than in the same stand, (n,) bool."""
    _, at, back = np.unique(_keys(walk), return_index=True, return_inverse=True)
    first = at[back]
    return (first < np.arange(len(walk))) & (stand[first] != stand)


def _keys(walk: Walk) -> np.ndarray:
    """x, y, z as one comparable thing, (n,)."""
    ticks = np.round(np.column_stack([walk.x, walk.y, walk.z]) / TICK_M)
    ticks = np.where(np.isfinite(ticks), ticks, -1.0).astype(np.int64)
    return np.ascontiguousarray(ticks).view([("x", np.int64), ("y", np.int64), ("z", np.int64)]).ravel()


def _one_a_stand(walk: Walk, kept: np.ndarray, stand: np.ndarray, reason: np.ndarray):
    """Each stand's median in place of its rows; also its first and last kept row, and the reasons brought forward."""
    start = np.flatnonzero(np.diff(stand[kept], prepend=-1))
    stop = np.append(start[1:], len(kept))
    first, last = kept[start], kept[stop - 1]
    x, y, z = walk.x[first].copy(), walk.y[first].copy(), walk.z[first].copy()
    for k in np.flatnonzero(stop - start > 1):
        rows = kept[start[k] : stop[k]]
        x[k], y[k], z[k] = np.median(walk.x[rows]), np.median(walk.y[rows]), np.median(walk.z[rows])
    reason = reason.copy()
    reason[np.setdiff1d(kept, first, assume_unique=True)] = "standing_still"
    return walk.take(first).at(x, y, z), first, last, reason


def _lost_between(walk: Walk, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """True where a row without a fixed position lies between a kept row and the kept row before it, (k,) bool."""
    if walk.quality is None:
        return np.zeros(len(first), bool)
    unfixed = np.concatenate([[0], np.cumsum(walk.quality != FIXED)])
    between = unfixed[first[1:]] - unfixed[last[:-1] + 1] > 0
    return np.concatenate([[False], between])


def _carried(flag: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """A flag on rows for the rows that stay: a flag on a row that goes passes to the next that stays."""
    total = np.concatenate([[0], np.cumsum(flag)])
    at = np.flatnonzero(kept)
    before = np.concatenate([[0], at[:-1] + 1]) if len(at) else at
    return total[at + 1] - total[before] > 0


def spikes(walk: Walk) -> np.ndarray:
    """Rows that jumped up, or down, and back again on their line, (n,) bool: a lifted pole, a position that slipped.

    Up to RUN_ROWS rows between two jumps of opposite sense (steeper than JUMP_RISE plus SPIKE_M) are spikes if their
    median leaves the rows before and the rows after the same way by more than SPIKE_M plus SPIKE_RISE a metre. A step
    or scarp leaves one side only; a bank walked up and down has no jump; a kerb is lower, a mound (1 in per ft)
    flatter. A longer run, or one off by less, is left to the crossings.
    """
    out = np.zeros(len(walk), bool)
    for start, stop in runs(walk.lines_walked()):
        rows = np.arange(start, stop)
        while len(rows) > 1:
            found = _islands(walk.x[rows], walk.y[rows], walk.z[rows])
            if not found.any():
                break
            out[rows[found]] = True
            rows = rows[~found]
    return out


def _islands(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Rows of one line between a jump and the jump back, (n,) bool; at a line's end one jump must do."""
    n = len(z)
    out = np.zeros(n, bool)
    rise = np.diff(z)
    jump = np.flatnonzero(np.abs(rise) > SPIKE_M + JUMP_RISE * np.hypot(np.diff(x), np.diff(y))) + 1
    if not len(jump):
        return out
    for a, b in zip(jump[:-1], jump[1:]):
        if b - a <= RUN_ROWS and rise[a - 1] * rise[b - 1] < 0:
            before, after = _leaves(x, y, z, a, b, -1), _leaves(x, y, z, a, b, +1)
            out[a:b] |= before * after > 0
    if jump[0] <= RUN_ROWS and _leaves(x, y, z, 0, jump[0], +1, END_M, END_RISE):
        out[: jump[0]] = True
    if n - jump[-1] <= RUN_ROWS and _leaves(x, y, z, jump[-1], n, -1, END_M, END_RISE):
        out[jump[-1] :] = True
    return out


def _leaves(x, y, z, a: int, b: int, way: int, least_m: float = SPIKE_M, rise: float = SPIKE_RISE) -> int:
    """+1 if rows a..b stand above the 2 (b - a) + 1 rows before (way -1) or after them (+1), -1 below, 0 neither.

    0 also where fewer rows than their own stand there: an island larger than the rest of its line is not one.
    """
    size = 2 * (b - a) + 1
    side = slice(max(a - size, 0), a) if way < 0 else slice(b, b + size)
    if len(z[side]) <= b - a:
        return 0
    up = np.median(z[a:b]) - np.median(z[side])
    away = np.hypot(np.median(x[side]) - np.median(x[a:b]), np.median(y[side]) - np.median(y[a:b]))
    return int(np.sign(up)) if abs(up) > least_m + rise * away else 0


def _counts(reason: np.ndarray) -> dict[str, int]:
    words, n = np.unique(reason[reason != ""], return_counts=True)
    return {str(word): int(k) for word, k in zip(words, n)}
