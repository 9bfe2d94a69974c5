"""Depth of mix of a zone: the mean over what the cores speak for, with the s.d. that its cells' shared errors leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.surface.mix_depth import MixDepth

TOLD_SHARE = 0.60  # of a zone that cores must speak for, as of a zone's mean change
NAN = float("nan")


@dataclass(frozen=True)
class ZoneMix:
    """depth_m, sigma_m: mean depth of mix and one s.d., m; blade_m: how deep a blade may go anywhere in it; told: share of its
    ground that cores speak for; reason: why there is no figure, or ``."""

    depth_m: float
    sigma_m: float
    blade_m: float
    told: float
    reason: str


def zone_mix(mix: MixDepth, drawn: np.ndarray, cells: np.ndarray, reserve_m: float | None) -> ZoneMix:
    """One zone.

    drawn     : (draws, told cells) of `depth_draws`: their spread is what is not known of the mean
    cells     : (ny, nx) bool, the zone
    reserve_m : mix kept over the base; None: no word on a blade
    raises    : ValueError where the draws are not of this ground
    """
    if drawn.shape[1] != mix.told.sum():
        raise ValueError(f"{drawn.shape[1]} cells drawn, {int(mix.told.sum())} are told")
    asked = cells & mix.asked
    used = asked & mix.told
    share = float(used.sum() / asked.sum()) if asked.any() else 0.0
    if mix.reason or share < TOLD_SHARE:
        return ZoneMix(NAN, NAN, NAN, share, mix.reason or f"cores speak for {share:.0%} of it; {TOLD_SHARE:.0%} are needed")
    means = drawn[:, used[mix.told]].mean(axis=1)
    blade = NAN if reserve_m is None else float(mix.blade_m(reserve_m)[used].min())
    return ZoneMix(float(mix.depth_m[used].mean()), float(means.std(ddof=1)), blade, share, "")
