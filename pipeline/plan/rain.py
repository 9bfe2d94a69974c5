"""Water that stands on a field after so much rain, from what each low spot holds after 2, 5, 10 and 25 mm."""

from __future__ import annotations

from typing import Iterable, Mapping

import numpy as np

RAINS_MM = (0.0, 2.0, 5.0, 10.0, 25.0)
COLUMNS = ("ponded_2mm_m3", "ponded_5mm_m3", "ponded_m3", "ponded_25mm_m3")


def standing_m3(rows: Iterable[Mapping], rain_mm: float) -> float | None:
    """m3 over all low spots of one survey after `rain_mm` of which nothing soaks in, straight between the figures told; beyond 25 mm as
    after 25. A low spot without the other rains holds no more than noise and counts as none; None where no low spot has any figure."""
    seen = [r for r in rows if r.get("ponded_m3") is not None]
    if not seen:
        return None
    held = [r for r in seen if all(r.get(c) is not None for c in COLUMNS)]
    return float(sum(np.interp(rain_mm, RAINS_MM, [0.0, *(r[c] for c in COLUMNS)]) for r in held))
