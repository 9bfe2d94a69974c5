"""What one low spot is said by, and what the low spots of a survey are read from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pipeline.diamond.axes import Axes
from pipeline.frame import Grid
from pipeline.surface.masks import Masks
from pipeline.surface.ponds import Ponding
from pipeline.surface.survey_error import SurveyError


@dataclass(frozen=True)
class LowSpot:
    """One row of low_spots.csv; positive depths are low, NaN is unknown.

    depth_mm     : ring depth at a declared place, else pond depth
    ring_depth, pond_depth, plane_depth : the three figures; pond depth is the greatest in the place's disc, plane depth
                   the disc's mean (of a pond its deepest cell) below the skin's L1 plane, negative where it is high
    area_m2      : of a place, what lies 6 mm or more below the ring's plane; of a pond, its water
    volume_m3    : of a place, ground missing under the ring's plane inside the ring, signed; of a pond, its water
    ponded_m3    : water left by 10 mm of rain, no more than the ground draining into it first brings (with what fuller
                   ponds above pass on); nothing seeps away, nothing runs in from beyond the grass edge
    fill_tonnes  : volume at the placed density, where the volume is above its s.d. (of a place 1.96 of them); _low, _high
                   its 95 % range, fill_loose_m3 the same mix loose
    probability  : that the true depth is over the tolerance
    evidence     : `enough` or `not_enough_evidence`, and why in `reason`
    """

    low_spot_id: str
    near: str
    e: float
    n: float
    depth_mm: float
    depth_sigma_mm: float
    ring_depth_mm: float
    ring_depth_sigma_mm: float
    pond_depth_mm: float
    pond_depth_sigma_mm: float
    plane_depth_mm: float
    plane_depth_sigma_mm: float
    area_m2: float
    volume_m3: float
    volume_sigma_m3: float
    ponded_m3: float
    fill_tonnes: float
    fill_tonnes_low: float
    fill_tonnes_high: float
    fill_loose_m3: float
    tolerance_mm: float
    probability: float
    evidence: str
    reason: str


@dataclass(frozen=True)
class LowSpots:
    """All low spots of one survey.

    spots     : declared places in their order, then found ponds, deepest first as `pond-1`, ...
    cells     : of each found pond, its flat cell indices (`same_ponds` matches dates by them)
    ponding   : the flood they were read from
    unlisted  : found ponds left out because noise alone makes as many as deep
    ponds_of  : of each spot, which of the flood's ponds (indices) are its
    sure      : of each of the flood's ponds, whether it is more than noise, and measured
    """

    spots: tuple[LowSpot, ...]
    cells: dict[str, np.ndarray]
    ponding: Ponding
    unlisted: int
    ponds_of: dict[str, tuple[int, ...]] = field(default_factory=dict)
    sure: tuple[bool, ...] = ()


@dataclass(frozen=True)
class SpotInput:
    """What the low spots of one survey are read from.

    z, white         : (ny, nx) height and one s.d. of each cell's independent error, m; NaN where nothing was measured
    places           : declared places (place_id, near, e, n, disc_m, ring_in_m, ring_out_m)
    canopy_m, canopy_sigma_m : height that grass adds in this survey and its s.d., taken off outside the skin before the
                       flood: grass is no wall to water. Unknown grass: 0.04 x the noise's `canopy_reach`, and 0.015
    tolerance_m      : the owner's low-spot tolerance; None: none was set
    placed_t_per_m3, loose_t_per_m3 : density of the placed and of the loose mix; None: not given
    built            : height the ground is meant to have over a plane (a mound), (ny, nx), m; None: none
    axes             : of the diamond, to name what is found; None: by the compass
    loose_m          : one s.d. of any height by loose topdressing, m
    """

    grid: Grid
    z: np.ndarray
    white: np.ndarray
    masks: Masks
    places: tuple
    error: SurveyError
    canopy_m: float
    canopy_sigma_m: float
    tolerance_m: float | None
    placed_t_per_m3: float | None = None
    built: np.ndarray | None = field(default=None, compare=False)
    loose_t_per_m3: float | None = None
    axes: Axes | None = None
    loose_m: float = 0.0
