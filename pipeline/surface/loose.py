"""What the state of the surface on the day of a survey does to its figures.

Loose topdressing lies up to 13 mm thick and moves at every drag: on a topdressed skin any place may carry none or all of it,
and nothing that a survey sees tells which. A wet skin swells and a played one is scuffed by amounts nobody has published.
"""

from __future__ import annotations

from typing import Collection

import numpy as np

LOOSE_M = (0.006, 0.013)  # 1/4 to 1/2 in of loose topdressing: trade pages
TOPDRESSED = "topdressed"
APART = (("wet", "dry"), ("dragged", "played"))  # states that move the skin's own heights
GRASS = frozenset({"mown", "shaggy", "dormant"})


def loose_sigma_m(states: Collection[str]) -> float:
    """One s.d. of a height by loose topdressing, m: anything between none and the most, uniform: 13 / sqrt 12 mm."""
    return LOOSE_M[1] / float(np.sqrt(12.0)) if TOPDRESSED in states else 0.0


def widened(sigma, loose_m: float):
    """An s.d. with the loose layer in it, in quadrature; NaN stays NaN."""
    return np.hypot(sigma, loose_m) if loose_m else sigma


def not_comparable(earlier: Collection[str], later: Collection[str]) -> list[tuple[str, str]]:
    """Why two surveys are not to be compared finely: pairs of words, (earlier, later); a word on both days is no reason.

    `(topdressed, topdressed)` stands where either was: the layer moves between any two days.
    """
    out = []
    for one, other in APART:
        for a, b in ((one, other), (other, one)):
            if a in earlier and b in later and a not in later and b not in earlier:
                out.append((a, b))
    if TOPDRESSED in earlier or TOPDRESSED in later:
        out.append((TOPDRESSED, TOPDRESSED))
    return out
