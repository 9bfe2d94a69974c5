"""The treatments a plan chooses from, what each resets, and how a field leaves the hands of those who did it."""

from __future__ import annotations

from typing import Mapping

import numpy as np

NONE, LEVEL, LIP_CUT, MIX_ADD, LASER_GRADE, REBUILD = "none", "level", "lip_cut", "mix_add", "laser_grade", "rebuild"
TREATMENTS = (NONE, LEVEL, LIP_CUT, MIX_ADD, LASER_GRADE, REBUILD)  # a schedule holds their places in this list
LIP, PLANARITY, RING, MIX, LOST = "lip", "planarity", "ring_depth", "mix", "skin_lost"
COMPONENTS = (LIP, PLANARITY, RING, MIX, LOST)

RESETS: Mapping[str, tuple[str, ...]] = {
    NONE: (), LEVEL: (), LIP_CUT: (LIP,), MIX_ADD: (MIX,), LASER_GRADE: (PLANARITY, RING), REBUILD: COMPONENTS,
}  # fmt: skip
LEVELLED = (PLANARITY, RING)  # what the crew's levelling takes a share of

MOST_TREATMENTS = 3
WEAR_MM = 15.0  # mix brought beyond the owner's least depth, for the years after (ours, no source)
# (mean, one s.d.) that a field is left with, mm: common practice, no source. Planarity and ring depth where no finish is set.
_LEFT = {LIP: (3.0, 3.0), PLANARITY: (3.0, 1.5), RING: (0.0, 3.0), MIX: (-WEAR_MM, 8.0), LOST: (0.0, 20.0)}


def cents(money):
    """Money to the cent, a half cent up, as every spreadsheet rounds it."""
    return np.floor(np.asarray(money, float) * 100 + 0.5 + 1e-6) / 100


def as_built(finish_mm: float | None) -> dict[str, tuple[float, float]]:
    """(mean, one s.d.) of each component after the treatment that resets it, mm; of the mix its deficit, negative = deeper
    than the least. finish_mm: the owner's finish tolerance, kept 19 times in 20: half of it is one s.d."""
    left = dict(_LEFT)
    if finish_mm is not None:
        left[PLANARITY], left[RING] = (finish_mm / 2, finish_mm / 4), (0.0, finish_mm / 2)
    return left
