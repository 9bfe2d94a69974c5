"""What is known of one survey's own shift, tilt and bowl where it is tied to another: the tie tells their difference only.

Both surveys drift, each by as much as its noise says; the difference is shared out by that. A difference larger than both
together are declared to have shows that the declared figures are too small that day, of one or of the other: both are
widened by as much, as a Birge ratio does.
"""

from __future__ import annotations

import numpy as np

from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import Noise

UNKNOWN_M = 1.0  # s.d. of a difference that the patches say nothing of


def own_drift(survey: Noise, base: Noise, difference: np.ndarray, covariance: np.ndarray, prior: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean (4,), m, and covariance (4, 4), m2, of a survey's shift, tilt east, tilt north and dome at DOME_RADIUS_M.

    survey, base : their error models
    difference, covariance : survey less base, (4,), and (4, 4), as the tie has them after its own prior, (4,) variances; what
                   the patches say by themselves is worked out again, so that no prior counts twice
    source       : conditional mean of normals, P (P + B + N)^-1 d, and covariance P - P (P + B + N)^-1 P (elementary);
                   the ratio: Birge 1932 (from memory)
    """
    own, other = (np.diag(SurveyError.of(n, (0.0, 0.0)).drift).copy() for n in (survey, base))
    seen, noise = _by_patches(np.asarray(difference, float), covariance, np.asarray(prior, float))
    ratio = np.maximum(seen**2 / (own + other + np.diag(noise)), 1.0)
    ratio[0] = 1.0  # a shift moves every place alike
    own, other = np.diag(own * ratio), np.diag(other * ratio)
    gain = np.linalg.solve(own + other + noise, own).T
    left = own - gain @ own
    return gain @ seen, (left + left.T) / 2


def _by_patches(mean: np.ndarray, covariance: np.ndarray, prior: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The difference (4,) and its covariance (4, 4) as the patches alone have them, the tie's prior taken out again."""
    free = np.flatnonzero(prior > 0)  # a walk has no dome
    told = covariance[np.ix_(free, free)]
    weight = np.linalg.inv(told) - np.diag(1.0 / prior[free])
    value, vector = np.linalg.eigh((weight + weight.T) / 2)
    weight = (vector * np.maximum(value, 0.0)) @ vector.T + np.eye(len(free)) / UNKNOWN_M**2
    out, noise = np.zeros(4), np.eye(4) * UNKNOWN_M**2
    noise[np.ix_(free, free)] = np.linalg.inv(weight)
    out[free] = noise[np.ix_(free, free)] @ np.linalg.solve(told, mean[free])
    return out, noise
