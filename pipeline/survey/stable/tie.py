"""The tie of a survey to stable ground: its height error over the whole field, and how well that is known.

Kriging with a prior on the drift: shift, tilt and dome may be anything plausible, what is left over is shared by
neighbours, and the patches say what it was that day. A pair of dates is tied to each other directly, with the
error model of their difference. Sources: Omre 1987; Rasmussen & Williams 2006, 2.7 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.survey.noise import Noise
from pipeline.survey.stable.drift import (
    LONG_RANGE_M,
    TABLE_STEP_M,
    covariance_table,
    covariance_with_places,
    drift_basis,
    drift_prior,
    mean_covariance,
)  # fmt: skip
from pipeline.survey.stable.jump import refuse_jump
from pipeline.survey.stable.misfit import Misfit, MisfitSystem, misfits, patch_basis
from pipeline.survey.stable.patches import Footprint, PatchHeight, spread_places

MIN_PATCHES = 5  # four drift terms: with four patches nothing exposes a moved slab
MAX_GAP_DEG = 180.0
NEAR_CENTRE_M = 3.0  # a patch so near the field's centre has no bearing worth the name
MAX_SIGMA_M = 0.010
MOVED_SD = 3.5
SKIN_PLACES = 150  # that stand for the skin
MAX_INFLATION = 9.0


@dataclass(frozen=True)
class PatchVerdict:
    """What the other patches say of one.

    misfit_m    : later minus earlier, m
    residual_m  : misfit less what the other used patches predict for it, m; NaN where there are no others
    expected_m  : one s.d. of that residual, m
    used        : False for the patch named as moved
    """

    patch_id: str
    misfit_m: float
    residual_m: float
    expected_m: float
    used: bool


@dataclass(frozen=True)
class Tie:
    """Posterior of a survey's height error u(x): subtract u, and what is left has the covariance given here.

    model     : `reference` (the field's own zero), `drift`, `none` (no patch: u is 0 and as wide as its prior)
    centre    : origin of tilt and dome, m
    prior     : (4,) variances of shift, tilts, dome, m2
    shared    : the residual neighbours share, ranges of at least LONG_RANGE_M, inflated where the patches ask for it
    patches   : the used footprints, K
    weights   : (K,) inverse covariance of the misfits times the misfits, 1/m
    inverse   : (K, K) that inverse, 1/m2
    verdicts  : one for each patch, in the order given
    misfit_q  : mean squared residual over its variance, 1 where the model is right; NaN below two patches
    codes     : why only relative figures may be published, keys of errors.RELATIVE; empty: absolute
    shift_m   : mean over the skin of what is added to the survey, -u, m, and its s.d. `shift_sigma_m`
    """

    model: str
    centre: tuple[float, float]
    prior: np.ndarray
    shared: Noise
    patches: tuple[Footprint, ...]
    weights: np.ndarray
    inverse: np.ndarray
    verdicts: tuple[PatchVerdict, ...]
    misfit_q: float
    codes: tuple[str, ...]
    shift_m: float
    shift_sigma_m: float

    @property
    def verdict(self) -> str:
        return "relative_only" if self.codes else "absolute"

    @property
    def moved(self) -> tuple[str, ...]:
        """Patches left out because the others disagree with them."""
        return tuple(v.patch_id for v in self.verdicts if not v.used)

    @property
    def residual_m(self) -> float:
        """Root mean square of the used patches' residuals, each predicted from the others, m; NaN below two."""
        left = [v.residual_m for v in self.verdicts if v.used and np.isfinite(v.residual_m)]
        return float(np.sqrt(np.mean(np.square(left)))) if left else float("nan")

    def response(self, e: np.ndarray, n: np.ndarray) -> np.ndarray:
        """Prior covariance of u at places, (k,) each, with the mean of u over each used patch, (K, k), m2."""
        e, n = np.ascontiguousarray(e, float), np.ascontiguousarray(n, float)
        drift = np.ascontiguousarray((drift_basis(e, n, self.centre) * self.prior).T)
        out = np.empty((len(self.patches), len(e)))
        if not len(self.patches) or not len(e):
            return out
        all_e = np.concatenate([[e.min(), e.max()], *(p.places[:, 0] for p in self.patches)])
        all_n = np.concatenate([[n.min(), n.max()], *(p.places[:, 1] for p in self.patches)])
        table = covariance_table(self.shared, float(np.hypot(np.ptp(all_e), np.ptp(all_n))))
        for k, patch in enumerate(self.patches):
            own = drift_basis(patch.places[:, 0], patch.places[:, 1], self.centre).mean(axis=0)
            out[k] = np.einsum("ji,j->i", drift, own) + covariance_with_places(e, n, patch.places, table, TABLE_STEP_M)
        return out

    def left_of(self, noise: Noise) -> Noise:
        """The parts of a survey's or a pair's noise that the tie does not already account for."""
        return noise if self.model == "reference" else noise.shorter_than(LONG_RANGE_M)

    def at(self, e: np.ndarray, n: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """u and its s.d. at places, each the shape of e, m."""
        shape = np.shape(e)
        e, n = np.ravel(e), np.ravel(n)
        k0 = self.response(e, n)
        before = np.einsum("ij,j->i", drift_basis(e, n, self.centre) ** 2, self.prior) + self.shared.correlated_variance
        after = before - np.einsum("ki,ki->i", np.einsum("kl,li->ki", self.inverse, k0), k0)
        return np.einsum("k,ki->i", self.weights, k0).reshape(shape), np.sqrt(np.maximum(after, 0.0)).reshape(shape)

    def mean_over(self, places: np.ndarray) -> tuple[float, float]:
        """Mean of u over places (q, 2) and its s.d., m; some 150 places stand for an area."""
        k0 = self.response(places[:, 0], places[:, 1]).mean(axis=1)
        f0 = drift_basis(places[:, 0], places[:, 1], self.centre).mean(axis=0)
        before = f0**2 @ self.prior + mean_covariance(self.shared, places, places)
        return float(self.weights @ k0), float(np.sqrt(max(before - k0 @ self.inverse @ k0, 0.0)))

    def drift(self) -> tuple[np.ndarray, np.ndarray]:
        """Posterior mean (4,) and covariance (4, 4) of shift, tilt east, tilt north, dome, m at DOME_RADIUS_M."""
        basis = patch_basis(self.patches, self.centre)
        gain = self.prior[:, None] * basis.T
        return gain @ self.weights, np.diag(self.prior) - gain @ self.inverse @ gain.T


def reference(centre: tuple[float, float]) -> Tie:
    """The baseline's own tie: it is the zero all others are tied to."""
    nothing = Noise(0.0, (), 0.0, 0.0, 0.0, 0.0)
    return Tie("reference", centre, np.zeros(4), nothing, (), np.zeros(0), np.zeros((0, 0)), (), float("nan"), (),
               0.0, 0.0)  # fmt: skip


def tie_to_baseline(found: list[Misfit], pair: Noise, centre: tuple[float, float], skin: np.ndarray) -> Tie:
    """A survey tied to the field's baseline, as `tie_pair`.

    raises : Refused("jump_on_stable_ground") when the patches stand more than 150 mm off
    """
    refuse_jump(
        np.array([m.earlier_m for m in found]), np.array([m.later_m for m in found]), [m.patch.patch_id for m in found]
    )
    return tie_pair(found, pair, centre, skin)


def tie_over_skin(
    layout: Layout, patches: list[Footprint], earlier: dict[str, PatchHeight], later: dict[str, PatchHeight], pair: Noise
) -> Tie:
    """A later survey of a field tied to an earlier one by those of the patches that both measured, as `tie_pair`."""
    return tie_pair(misfits(patches, earlier, later, pair), pair, layout.centre, spread_places(layout.skin, SKIN_PLACES))


def tie_pair(
    found: list[Misfit],
    pair: Noise,
    centre: tuple[float, float],
    skin: np.ndarray,
    prior: np.ndarray | None = None,
) -> Tie:
    """The tie of a later survey to an earlier one that their misfits give.

    found  : from `misfits`
    pair   : error model of later minus earlier
    centre : origin of tilt and dome, the field's centre, m
    skin   : (q, 2) places spread over the skin, about 150, m
    prior  : (4,) variances of shift, tilt east, tilt north and dome, m2 at DOME_RADIUS_M; None: `drift_prior`
    The patch that the others contradict most is left out, once, and named; then all covariances but the drift's are
    multiplied by the misfits' own mean square, where that is over 1.
    """
    prior = drift_prior(pair) if prior is None else np.asarray(prior, float)
    shared = pair.longer_than(LONG_RANGE_M)
    first = MisfitSystem.of(found, shared, prior, centre)
    used = np.ones(len(found), bool)
    if len(found) >= MIN_PATCHES:
        used[_moved(first)] = False
    system = first.only(used)
    q = system.misfit_q
    inflation = min(max(q, 1.0), MAX_INFLATION) if system.count >= MIN_PATCHES else 1.0
    inverse = system.inverse(inflation)
    tie = Tie(
        "drift" if system.count else "none", centre, prior, shared.scaled(inflation**0.5),
        tuple(m.patch for m, u in zip(found, used) if u), inverse @ system.values, inverse,
        _verdicts(found, used, first, system), q, (), 0.0, 0.0,
    )  # fmt: skip
    return _judged(tie, skin)


def _moved(system: MisfitSystem) -> np.ndarray:
    """True for the patch the others contradict most, if beyond MOVED_SD s.d. even when the others' own scatter is
    granted: where all disagree the survey is bad, and no patch is to blame."""
    residual, sd = system.left_out()
    score = np.abs(residual / sd)
    worst = np.arange(system.count) == np.argmax(score)
    granted = max(system.only(~worst).misfit_q, 1.0)
    return worst & (score > MOVED_SD * np.sqrt(granted))


def _verdicts(
    found: list[Misfit], used: np.ndarray, first: MisfitSystem, system: MisfitSystem
) -> tuple[PatchVerdict, ...]:
    """Used patches against the other used ones; the one left out against all of them."""
    residual, sd = first.left_out()
    residual, sd = residual.copy(), sd.copy()
    residual[used], sd[used] = system.left_out()
    return tuple(
        PatchVerdict(m.patch.patch_id, m.value_m, float(r), float(s), bool(u))
        for m, r, s, u in zip(found, residual, sd, used)
    )


def _judged(tie: Tie, skin: np.ndarray) -> Tie:
    """The tie with its figure over the skin and the reasons why it may carry relative figures only."""
    value, sigma = tie.mean_over(skin)
    codes = []
    if len(tie.patches) < MIN_PATCHES:
        codes.append("too_few_patches")
    if tie.patches and widest_gap_deg([p.centre for p in tie.patches], tie.centre) > MAX_GAP_DEG:
        codes.append("one_sided_patches")
    if sigma > MAX_SIGMA_M:
        codes.append("tie_too_uncertain")
    return replace(tie, codes=tuple(codes), shift_m=-value, shift_sigma_m=sigma)


def widest_gap_deg(points: list[tuple[float, float]], centre: tuple[float, float]) -> float:
    """Widest gap between neighbouring bearings from the centre, degrees; 360 with one point or none."""
    d = np.array(points, float).reshape(-1, 2) - np.array(centre)
    d = d[np.hypot(d[:, 0], d[:, 1]) > NEAR_CENTRE_M]
    if not len(d):
        return 360.0
    bearing = np.sort(np.degrees(np.arctan2(d[:, 0], d[:, 1])) % 360.0)
    return float(np.max(np.diff(np.append(bearing, bearing[0] + 360.0))))
