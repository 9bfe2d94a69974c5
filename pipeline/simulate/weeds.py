"""Plants on the skin of one day: where they stand, how much they cover, how high, and whether they are dead."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.simulate.scene import Scene
from pipeline.simulate.shapes import smoothstep

RIM_M = 0.3  # over which a patch thins out


@dataclass(frozen=True)
class Stand:
    """Plants at points (n,): share of the ground they cover; their height, m, NaN where it goes with the turf's; dead or not."""

    share: np.ndarray
    height_m: np.ndarray
    dead: np.ndarray


def stand(scene: Scene, on: date, e: np.ndarray, n: np.ndarray) -> Stand:
    """What stands at points on a day; where patches overlap, the denser one."""
    share, tall, dead = np.zeros(np.shape(e)), np.full(np.shape(e), np.nan), np.zeros(np.shape(e), bool)
    for one in scene.truth.weeds:
        if not ((one.since is None or one.since <= on) and (one.until is None or on < one.until)):
            continue
        we, wn = scene.spot(one.at)
        here = one.share * smoothstep((one.radius_m - np.hypot(e - we, n - wn)) / RIM_M)
        more = here > share
        share = np.where(more, here, share)
        tall = np.where(more, np.nan if one.height_mm is None else one.height_mm / 1000.0, tall)
        dead = np.where(more, one.dead, dead)
    return Stand(share, tall, dead)
