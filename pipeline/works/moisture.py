"""What a squeezed handful of mix says about today's work. Common practice, no source: who knows the mix decides.

Squeeze a handful from 2 cm down: it runs apart (`dust`), falls to crumbs at a touch (`crumbles`), keeps its shape
(`holds`), or smears and wets the hand (`smears`).
"""

from __future__ import annotations

from pipeline.tables import MOISTURES, WORKS

ALLOWED, WET_FIRST, NOT = "allowed", "wet_first", "not"

# Bare ground that is moved or rolled wants moisture to bind and dies under a wheel when it smears; dust is wetted first, for the
# work's sake and for the lungs'. What touches no mix is not judged by it.
_ON_MIX = (WET_FIRST, ALLOWED, ALLOWED, NOT)
_ROWS = {
    "drag": _ON_MIX, "level": _ON_MIX, "laser_grade": _ON_MIX, "rebuild": _ON_MIX, "mix_add": _ON_MIX, "roll": _ON_MIX, "open_up": _ON_MIX,
    "edge_clean": _ON_MIX,  # dry dust flies, smearing mix is rubbed into the grass
    "edge_recut": _ON_MIX, "lip_cut": _ON_MIX, "sod": _ON_MIX,  # sod is cut and laid on moist ground
    "weed": (ALLOWED, ALLOWED, ALLOWED, NOT),  # by hand; feet mark a smearing skin
    "water": (ALLOWED, ALLOWED, NOT, NOT),
}  # fmt: skip
JUDGED = tuple(w for w in WORKS if w in _ROWS)


def possible(work: str, moisture: str) -> str:
    """ALLOWED, WET_FIRST or NOT for a word of `works.csv` and a word of the handful.

    raises: KeyError for a work that does not hang on moisture (`bases`, `close`, `reopen`, `other`), ValueError for no such word
    """
    return _ROWS[work][MOISTURES.index(moisture)]


def window(works: tuple[str, ...]) -> tuple[str, ...]:
    """Words of the handful in which all of these works are possible as it is; works that do not hang on it say nothing."""
    return tuple(m for m in MOISTURES if all(possible(w, m) == ALLOWED for w in works if w in _ROWS))
