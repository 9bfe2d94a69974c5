"""A survey that stands decimetres off on stable ground: what the likeliest mix-up is."""

from __future__ import annotations

import numpy as np

from pipeline.errors import Refused
from pipeline.units import FOOT_M

JUMP_M = 0.150
SAME_M = 0.5  # heights agree with a foot mix-up when so near to it: datums differ by decimetres
ROD_M = (1.4, 2.3)  # lengths of a rover's pole (common practice, no source)
GEOID_M = (5.0, 120.0)  # geoid and ellipsoid part by up to 107 m; near 0 only along two lines around the earth


def refuse_jump(earlier_m: np.ndarray, later_m: np.ndarray, names: list[str]) -> None:
    """Raise Refused("jump_on_stable_ground") when the survey stands more than JUMP_M off on its patches.

    earlier_m, later_m : (K,) heights of the patches in the reference and in this survey, m
    names              : (K,) patch ids
    The median over the patches decides: one rebuilt slab is a moved patch, not a jump.
    """
    earlier, later = np.asarray(earlier_m, float), np.asarray(later_m, float)
    shift = float(np.median(later - earlier)) if len(later) else 0.0
    if abs(shift) <= JUMP_M:
        return
    raise Refused(
        "jump_on_stable_ground",
        f"found stable ground ({', '.join(names)}) {abs(shift):.3f} m {'higher' if shift > 0 else 'lower'} than at the"
        f" reference date, expected within {JUMP_M:.3f} m. Likeliest: {likeliest_cause(earlier, later)}",
    )


def likeliest_cause(earlier_m: np.ndarray, later_m: np.ndarray) -> str:
    """What most often makes heights differ by so much, and what to check, in a sentence.

    The two kinds of foot cannot be it: they part by 2 mm in 1,000 m. Sideways, at eastings of 2,000,000 ft, they
    part by 4 ft, and that is found before any height is compared.
    """
    earlier, later = np.asarray(earlier_m, float), np.asarray(later_m, float)
    shift = float(np.median(later - earlier))
    for factor, words in (
        (FOOT_M, "metres were read as feet: check `vertical_unit`, its heights are 0.3048 of the reference's."),
        (1 / FOOT_M, "feet were read as metres: check `vertical_unit`, its heights are 3.2808 times the reference's."),
    ):
        if abs(float(np.median(later - factor * earlier))) <= SAME_M:
            return words
    if GEOID_M[0] <= abs(shift) <= GEOID_M[1]:
        return (
            "heights above the ellipsoid against heights above sea level, a constant of tens of metres: check"
            " `height_reference` of both surveys."
        )
    if ROD_M[0] <= abs(shift) <= ROD_M[1]:
        return "the length of the rover's rod, not taken off or taken off twice: check the antenna height of the walk."
    return (
        "another height datum, benchmark or base position: check `height_reference` and the base's height; if the"
        " stable ground itself was rebuilt, draw new patches and begin with a new baseline."
    )
