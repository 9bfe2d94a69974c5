"""Which pond of one date is which of another: by the ground they share."""

from __future__ import annotations

import numpy as np

LEAST_SHARED = 0.25  # of the smaller pond


def same_ponds(dates: list[list[np.ndarray]]) -> list[list[str]]:
    """One id for every pond of every date.

    dates   : in order of time, of each date its ponds' cells (flat indices), deepest first
    returns : the ids in the same order. `pond-1`, ... deepest first at the first date; later a pond takes the id of the
              pond it shares most ground with (each id once, LEAST_SHARED of the smaller at least), compared with the
              last date at which that id was seen; what shares none gets the next number, deepest first
    """
    last: list[np.ndarray] = []
    out = []
    for ponds in dates:
        numbers = _claims(last, ponds)
        for k, cells in enumerate(ponds):
            if numbers[k] is None:
                numbers[k] = len(last)
                last.append(cells)
            else:
                last[numbers[k]] = cells
        out.append([f"pond-{n + 1}" for n in numbers])
    return out


def _claims(last: list[np.ndarray], ponds: list[np.ndarray]) -> list[int | None]:
    """The earlier pond each pond continues, or None; the largest shared ground is served first."""
    pairs = []
    for k, cells in enumerate(ponds):
        for j, known in enumerate(last):
            shared = len(np.intersect1d(cells, known, assume_unique=True))
            if shared >= LEAST_SHARED * min(len(cells), len(known)) and shared:
                pairs.append((-shared, j, k))
    numbers: list[int | None] = [None] * len(ponds)
    taken = set()
    for _, j, k in sorted(pairs):
        if numbers[k] is None and j not in taken:
            numbers[k] = j
            taken.add(j)
    return numbers
