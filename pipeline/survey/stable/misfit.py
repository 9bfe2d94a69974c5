"""How far two dates disagree on stable ground: each patch's misfit, their covariance, each against the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.survey.noise import Noise
from pipeline.survey.stable.drift import LONG_RANGE_M, drift_basis, mean_covariance
from pipeline.survey.stable.patches import Footprint, PatchHeight, spread_places

PATCH_MOVES_M = 0.001  # s.d. of a patch at each date: frost, roots
SHORT_PLACES = 200  # where the mean of the short parts over a patch is worked out


@dataclass(frozen=True)
class Misfit:
    """One patch, later minus earlier.

    earlier_m, later_m : its height at the two dates, m
    sigma_m            : one s.d. of the difference from white noise, short parts and the patch's own movement, m
    """

    patch: Footprint
    earlier_m: float
    later_m: float
    sigma_m: float

    @property
    def value_m(self) -> float:
        return self.later_m - self.earlier_m


def misfits(
    patches: list[Footprint],
    earlier: dict[str, PatchHeight],
    later: dict[str, PatchHeight],
    pair: Noise,
) -> list[Misfit]:
    """The patches that both dates measured, later minus earlier.

    earlier, later : patch id to its height
    pair           : error model of the difference, `noise.of_difference`
    """
    out = []
    for patch in patches:
        a, b = earlier.get(patch.patch_id), later.get(patch.patch_id)
        if a is None or b is None or not (np.isfinite(a.height_m) and np.isfinite(b.height_m)):
            continue
        places = spread_places(patch.shape, SHORT_PLACES)
        short = mean_covariance(pair.shorter_than(LONG_RANGE_M), places, places)
        own = a.sigma_m**2 + b.sigma_m**2 + short + 2 * PATCH_MOVES_M**2
        out.append(Misfit(patch, a.height_m, b.height_m, float(np.sqrt(own))))
    return out


@dataclass(frozen=True)
class MisfitSystem:
    """The misfits and their covariance, the drift's apart from the rest; each misfit against the others.

    values : (K,) m; drift, rest : (K, K) m2
    """

    values: np.ndarray
    drift: np.ndarray
    rest: np.ndarray

    @classmethod
    def of(cls, found: list[Misfit], shared: Noise, prior: np.ndarray, centre: tuple[float, float]) -> MisfitSystem:
        basis = patch_basis([m.patch for m in found], centre)
        rest = np.diag(np.array([m.sigma_m**2 for m in found]))
        for i, a in enumerate(found):
            for j, b in enumerate(found[: i + 1]):
                r = mean_covariance(shared, a.patch.places, b.patch.places) + shared.session_m**2
                rest[i, j] += r
                if j < i:
                    rest[j, i] += r
        return cls(np.array([m.value_m for m in found]), basis * prior @ basis.T, rest)

    @property
    def count(self) -> int:
        return len(self.values)

    def only(self, kept: np.ndarray) -> MisfitSystem:
        """The same system with some misfits."""
        return MisfitSystem(self.values[kept], self.drift[np.ix_(kept, kept)], self.rest[np.ix_(kept, kept)])

    def inverse(self, inflation: float = 1.0) -> np.ndarray:
        return np.linalg.inv(self.drift + inflation * self.rest)

    def left_out(self) -> tuple[np.ndarray, np.ndarray]:
        """Each misfit less its prediction from the others, and that residual's s.d., (K,) each, m."""
        if self.count < 2:
            return np.full(self.count, np.nan), np.full(self.count, np.nan)
        inverse = self.inverse()
        own = np.diag(inverse)
        return inverse @ self.values / own, 1.0 / np.sqrt(own)

    @property
    def misfit_q(self) -> float:
        residual, sd = self.left_out()
        return float(np.mean((residual / sd) ** 2)) if self.count >= 2 else float("nan")


def patch_basis(patches, centre: tuple[float, float]) -> np.ndarray:
    """Mean drift basis of each patch, (K, 4)."""
    rows = [drift_basis(p.places[:, 0], p.places[:, 1], centre).mean(axis=0) for p in patches]
    return np.array(rows).reshape(len(rows), 4)
