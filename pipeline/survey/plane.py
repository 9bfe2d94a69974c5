"""A plane through scattered heights, by least squares or robustly, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MAD_TO_SD = 1.0 / 0.6744897501960817  # of a normal distribution
HUBER_K = 1.345  # 95 % efficient on normal errors (Huber 1981, from memory)
TUKEY_C = 4.685  # the same for Tukey's biweight
STEPS = 50
SETTLED = 1e-10  # of the residual scale: a step that moves no fitted height by more is the last


@dataclass(frozen=True)
class Plane:
    """z = a + b x + c y, kept at the points' centre so that coordinates of 2,000,000 m cost no digits.

    x0, y0     : centre of the points, m
    z0         : height of the plane there, m
    b, c       : rise per metre of x and of y
    covariance : (3, 3) of (z0, b, c), from the residuals taken as independent; where neighbours share errors
                 it is too small, and the caller brings the covariance of the noise instead
    sigma      : residual s.d., m (robust scale of a robust fit); NaN from three points
    count      : points
    """

    x0: float
    y0: float
    z0: float
    b: float
    c: float
    covariance: np.ndarray
    sigma: float
    count: int

    @property
    def a(self) -> float:
        """Height of the plane at x = y = 0, m."""
        return self.z0 - self.b * self.x0 - self.c * self.y0

    @property
    def coefficients(self) -> tuple[float, float, float]:
        return self.a, self.b, self.c

    @property
    def standard_errors(self) -> tuple[float, float, float]:
        """One s.d. of a, b and c."""
        return (self.sigma_at(0.0, 0.0).item(), *np.sqrt(np.diag(self.covariance)[1:]).tolist())

    @property
    def slope(self) -> float:
        """Steepest rise, m per m, >= 0."""
        return float(np.hypot(self.b, self.c))

    def at(self, x, y) -> np.ndarray:
        """Height of the plane, same shape as x and y, m."""
        return self.z0 + self.b * (np.asarray(x, float) - self.x0) + self.c * (np.asarray(y, float) - self.y0)

    def sigma_at(self, x, y) -> np.ndarray:
        """One s.d. of the plane's height, same shape as x and y, m."""
        u, v = np.asarray(x, float) - self.x0, np.asarray(y, float) - self.y0
        f = np.stack(np.broadcast_arrays(1.0, u, v), axis=-1)
        return np.sqrt(np.einsum("...i,ij,...j->...", f, self.covariance, f))


def fit_plane(x, y, z, weights=None, robust: str | None = None) -> Plane:
    """The plane through points.

    x, y, z : same shape, m; points where any is NaN take no part
    weights : relative weights, 1 / variance, same shape; None: equal
    robust  : None least squares, "huber", or "tukey" (started from least absolute residuals, so that a fifth of the
              points standing together at one end does not tip it)
    raises  : ValueError with fewer than three points, or all on one line
    source  : least squares (X'X)^-1 X'z; M-estimate by reweighting with the scale from the median absolute
              residual, covariance by Huber's first formula (Huber 1981, 7.6, from memory)
    """
    x, y, z = (np.asarray(v, float).ravel() for v in (x, y, z))
    w = np.ones_like(z) if weights is None else np.asarray(weights, float).ravel()
    held = np.isfinite(x) & np.isfinite(y) & np.isfinite(z) & np.isfinite(w) & (w > 0)
    x, y, z, w = x[held], y[held], z[held], w[held]
    if len(z) < 3:
        raise ValueError(f"a plane needs three points, found {len(z)}")
    x0, y0 = float(np.average(x, weights=w)), float(np.average(y, weights=w))
    design = np.column_stack([np.ones_like(z), x - x0, y - y0])
    root = np.sqrt(w / w.mean())
    beta, covariance, sigma = _least_squares(design * root[:, None], z, root)
    if robust is not None:
        beta, covariance, sigma = _robust(design * root[:, None], z * root, beta, robust)
    return Plane(x0, y0, float(beta[0]), float(beta[1]), float(beta[2]), covariance, sigma, len(z))


def _least_squares(design: np.ndarray, z: np.ndarray, root: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Coefficients, their covariance, residual s.d.; z less its mean first, so that 1,000 m of height costs nothing."""
    level = z.mean()
    target = (z - level) * root
    beta, _, rank, _ = np.linalg.lstsq(design, target, rcond=1e-9)
    if rank < 3:
        raise ValueError("the points lie on one line; no plane is determined")
    residual = target - design @ beta
    free = len(z) - 3
    sigma = float(np.sqrt(residual @ residual / free)) if free else float("nan")
    covariance = np.linalg.inv(design.T @ design) * sigma**2
    return beta + np.array([level, 0.0, 0.0]), covariance, sigma


def _robust(
    design: np.ndarray, z: np.ndarray, beta: np.ndarray, kind: str
) -> tuple[np.ndarray, np.ndarray, float]:
    """M-estimate by reweighted least squares; points and heights already carry the root of their weight."""
    if kind not in ("huber", "tukey"):
        raise ValueError(f"robust is 'huber' or 'tukey', found {kind!r}")
    level = beta.copy()
    z = z - design @ level
    shape = _huber
    beta, scale = _reweighted(design, z, np.zeros(3), _huber if kind == "huber" else _least_absolute)
    if kind == "tukey":
        shape = _tukey
        beta, scale = _reweighted(design, z, beta, shape)
    if scale == 0.0:
        return level + beta, np.zeros((3, 3)), 0.0
    t = (z - design @ beta) / scale
    weight, slope = shape(t)
    n = len(z)
    mean_slope = slope.mean()
    if mean_slope <= 0:
        raise ValueError("the points agree on no plane")
    correction = 1.0 + 3.0 / n * slope.var() / mean_slope**2
    spread = (weight * t) @ (weight * t) * scale**2 / max(n - 3, 1)
    covariance = correction**2 * spread / mean_slope**2 * np.linalg.inv(design.T @ design)
    return level + beta, covariance, scale


def _reweighted(design, z, beta, shape) -> tuple[np.ndarray, float]:
    """Coefficients and robust scale after at most STEPS reweightings."""
    scale = 0.0
    for _ in range(STEPS):
        residual = z - design @ beta
        scale = float(MAD_TO_SD * np.median(np.abs(residual)))
        if scale == 0.0:
            break
        weight = shape(residual / scale)[0]
        moved = design.T * weight
        new = np.linalg.solve(moved @ design, moved @ z)
        step = np.abs(design @ (new - beta)).max()
        beta = new
        if step <= SETTLED * scale:
            break
    return beta, scale


def _huber(t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weight and derivative of Huber's function at residuals over the scale."""
    inside = np.abs(t) <= HUBER_K
    return np.where(inside, 1.0, HUBER_K / np.maximum(np.abs(t), HUBER_K)), inside.astype(float)


def _least_absolute(t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weight of all but the least absolute residuals: Huber's with a twentieth of his constant."""
    inside = np.abs(t) <= HUBER_K / 20
    return np.where(inside, 1.0, HUBER_K / 20 / np.maximum(np.abs(t), HUBER_K / 20)), inside.astype(float)


def _tukey(t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weight and derivative of Tukey's biweight at residuals over the scale."""
    u = (t / TUKEY_C) ** 2
    inside = u < 1
    return np.where(inside, (1 - u) ** 2, 0.0), np.where(inside, (1 - u) * (1 - 5 * u), 0.0)
