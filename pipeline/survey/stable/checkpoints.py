"""How far a survey stands from heights measured independently: the accuracy standards' figures, each under its name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.survey.stable.patches import Footprint, PatchHeight, height_from_points

NSSDA_FACTOR = 1.9600  # FGDC-STD-007.3-1998, vertical: 95 % if errors are normal and unbiased
BIAS_SHARE = 0.25  # a mean of more than 25 % of the RMSE may indicate bias (PERS, May 2014, p. 397)
# Checkpoints asked for: FGDC-STD-007.3-1998 (and the ASPRS standard of 2014), and ASPRS edition 2 of 2023.
MIN_1998, MIN_2023 = 20, 30
GROUND_SLOPE = 0.05  # prior s.d. of the slope about a checkpoint
REACH_M = 0.30  # points so near to a checkpoint speak for its height


@dataclass(frozen=True)
class Accuracy:
    """Survey minus checkpoint.

    count    : checkpoints compared
    mean_m   : mean residual
    sd_m     : sample s.d. about the mean, n - 1; NaN from one
    rmse_m   : root mean square about 0, n
    checkpoint_sigma_m : root mean square of the checkpoints' own s.d.; NaN where none is stated
    """

    count: int
    mean_m: float
    sd_m: float
    rmse_m: float
    checkpoint_sigma_m: float

    @property
    def biased(self) -> bool:
        """True when the mean is more than BIAS_SHARE of the RMSE."""
        return abs(self.mean_m) > BIAS_SHARE * self.rmse_m

    @property
    def nssda_95_m(self) -> float:
        """NSSDA (1998) vertical accuracy, 1.96 RMSE. Print it under that name only: 95 % needs unbiased normal errors,
        and the 2023 edition of the ASPRS standard no longer uses it."""
        return NSSDA_FACTOR * self.rmse_m

    @property
    def rmse_v_m(self) -> float:
        """Vertical RMSE with the checkpoints' own error added, ASPRS 2023 (formula from memory); NaN if not stated."""
        return float(np.hypot(self.rmse_m, self.checkpoint_sigma_m))

    @property
    def enough_1998(self) -> bool:
        return self.count >= MIN_1998

    @property
    def enough_2023(self) -> bool:
        return self.count >= MIN_2023


def accuracy(residuals_m: np.ndarray, checkpoint_sigmas_m: np.ndarray | None = None) -> Accuracy:
    """The figures of residuals, survey minus checkpoint, (n,), m; NaN takes no part.

    checkpoint_sigmas_m : (n,) one s.d. of each checkpoint's height, m; NaN where not stated
    """
    r = np.asarray(residuals_m, float)
    held = np.isfinite(r)
    r = r[held]
    nan = float("nan")
    if not len(r):
        return Accuracy(0, nan, nan, nan, nan)
    own = nan
    if checkpoint_sigmas_m is not None:
        s = np.asarray(checkpoint_sigmas_m, float)[held]
        own = float(np.sqrt(np.mean(s**2)))
    sd = float(r.std(ddof=1)) if len(r) > 1 else nan
    return Accuracy(len(r), float(r.mean()), sd, float(np.sqrt(np.mean(r**2))), own)


def height_at(e: np.ndarray, n: np.ndarray, z: np.ndarray, at: tuple[float, float], white_m: float) -> PatchHeight:
    """A survey's height at a checkpoint from its ground points within REACH_M, (k,) each, m; see `height_from_points`.

    white_m : declared s.d. of one point, m
    returns : height NaN where fewer than three points are near
    """
    disc = shapely.Point(at).buffer(REACH_M)
    return height_from_points(e, n, z, Footprint("checkpoint", disc, np.array([at]), GROUND_SLOPE), white_m)
