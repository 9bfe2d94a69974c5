"""Radius and centre of the skin's arc, the home circle and the mound, from where the grass was really seen to begin.

Practice sets the arc's centre in three places (front or back of the pitcher's plate, or 18 in before it), so it is
fitted and told, not assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from pipeline.diamond.axes import Axes
from pipeline.diamond.edges import Edge
from pipeline.surface.rulebook_item import Measured, not_seen
from pipeline.surface.rulebook_rules import arc_centres
from pipeline.survey.edges.edge_fit import FAR, SMOOTH_M, EdgeFit, beginning
from pipeline.survey.edges.edge_table import EdgeTable
from pipeline.survey.noise import matern32
from pipeline.survey.plane import HUBER_K
from pipeline.units import FOOT_M

LEAST_ROWS = 12
LEAST_SWEEP_DEG = 40.0
STEPS = 30
MOST_RADIUS_M = 1000.0
LEAST_SIGMA_M = 1e-4
SETTLED_M = 1e-7
LONGEST_LAG_M = 12.0
LEAST_RANGE_M, MOST_RANGE_M = 3.0, 8.0  # over which a real edge wanders about its circle (an assumption)
LAG_M = 0.5
MATERN_E = 1.24  # Matern 3/2 falls to 1/e at so many ranges
CLIPPED = 3.0
SQUARED_RANGES = 1.25 * 2 / 3**0.5  # integral of Matern 3/2 squared, both ways, in ranges: degrees of freedom of the wander
LEAST_PIECES = 3.0
OFTEN = 1.96


@dataclass(frozen=True)
class MeasuredLine:
    """Where grass was seen to begin along one edge.

    station : (k,) along the edge, m, rising;  e, n : (k,) m;  sigma_m : (k,) one s.d. across the edge, m
    round_m : length of a closed edge, m; 0 for an open one
    """

    edge_id: str
    station: np.ndarray
    e: np.ndarray
    n: np.ndarray
    sigma_m: np.ndarray
    round_m: float = 0.0


@dataclass(frozen=True)
class Circle:
    """A circle through a measured line.

    e, n, radius_m : m
    covariance     : (3, 3) of them, m2
    chi2, free     : of the line about it by the line's own s.d., and the rows less three
    wander_m       : s.d. of the real line about the circle beyond the line's own
    sweep_deg      : bearings the line covers, seen from the centre
    """

    e: float
    n: float
    radius_m: float
    covariance: np.ndarray
    chi2: float
    free: int
    wander_m: float
    sweep_deg: float


def measured_line(edge: Edge, fit: EdgeFit) -> MeasuredLine:
    """The rows along an edge where a survey shows the grass begin. edge : the one that was handed to `fit_edge`."""
    seen = np.isfinite(fit.offset_m) & np.isfinite(fit.sigma_m) & edge.usable(fit.station)
    s = fit.station[seen]
    e, n = edge.at(s, fit.offset_m[seen])
    return MeasuredLine(edge.edge_id, s, e, n, fit.sigma_m[seen], edge.length_m if edge.closed else 0.0)


def line_from_table(edge: Edge, table: EdgeTable) -> MeasuredLine | None:
    """The same from a survey's table along an edge, where its points are no longer at hand; None where nothing tells grass."""
    told_by, offset, sigma = beginning(table, FAR)
    if not told_by:
        return None
    seen = np.isfinite(offset) & np.isfinite(sigma) & table.usable
    e, n = edge.at(table.s[seen], offset[seen])
    return MeasuredLine(edge.edge_id, table.s[seen], e, n, sigma[seen], edge.length_m if edge.closed else 0.0)


def fit_circle(line: MeasuredLine) -> Circle | None:
    """The circle of a measured line, or None with fewer than LEAST_ROWS rows or LEAST_SWEEP_DEG of arc.

    Distances across the circle, Huber's weights, Gauss-Newton from Kasa's algebraic circle (1976, from memory). Rows share
    their error over SMOOTH_M, and a laid edge leaves its circle by some centimetres over some metres: both stand in the
    covariance, the second as it is found in the residuals and widened by Student's factor for the few pieces it is found
    from (sandwich formula; Huber 1981, from memory).
    """
    if len(line.station) < LEAST_ROWS:
        return None
    e0, n0 = float(line.e.mean()), float(line.n.mean())
    x, y = line.e - e0, line.n - n0
    p = _algebraic(x, y)
    s2 = np.maximum(line.sigma_m, LEAST_SIGMA_M) ** 2
    for _ in range(STEPS):
        r = np.hypot(x - p[0], y - p[1])
        left = r - p[2]
        wander2 = max(float(np.median(np.abs(left)) * 1.4826) ** 2 - float(np.median(s2)), 0.0)
        scale = np.sqrt(s2 + wander2)
        weight = np.minimum(1.0, HUBER_K * scale / np.maximum(np.abs(left), 1e-12)) / scale**2
        jac = np.column_stack([(p[0] - x) / r, (p[1] - y) / r, -np.ones_like(r)])
        step = np.linalg.lstsq(jac * np.sqrt(weight)[:, None], -left * np.sqrt(weight), rcond=None)[0]
        p = p + step
        if not p[2] < MOST_RADIUS_M:
            return None
        if np.abs(step).max() < SETTLED_M:
            break
    r = np.hypot(x - p[0], y - p[1])
    left = r - p[2]
    sweep = _sweep(np.degrees(np.arctan2(x - p[0], y - p[1])))
    if sweep < LEAST_SWEEP_DEG or np.linalg.matrix_rank(jac) < 3:
        return None
    gap = np.abs(line.station[:, None] - line.station)
    gap = np.minimum(gap, line.round_m - gap) if line.round_m else gap
    shared = np.sqrt(np.outer(s2, s2)) * np.exp(-(gap**2) / (4 * SMOOTH_M**2))
    gain = np.linalg.solve((jac.T * weight) @ jac, jac.T * weight)
    wander2, range_m = _wander(left, gap, shared, jac @ gain, scale)
    pieces = (line.station[-1] - line.station[0]) / (SQUARED_RANGES * range_m) - 3.0
    few = float(student.ppf(0.975, max(pieces, LEAST_PIECES))) / OFTEN
    total = shared + few**2 * wander2 * matern32(gap / range_m)
    chi2 = float((left**2 / s2).sum())
    return Circle(e0 + p[0], n0 + p[1], float(p[2]), gain @ total @ gain.T, chi2, len(left) - 3, float(np.sqrt(wander2)), sweep)


def arc_items(line: MeasuredLine | None, axes: Axes | None, pitch_m: float, sideways_m: float) -> dict[str, Measured]:
    """Radius of the outer arc and where its centre lies from home plate, m.

    sideways_m : one s.d. of the survey's sideways shift against the given points, each axis
    """
    names = ("arc-radius", "arc-centre-from-home", "arc-centre-aside")
    circle = None if line is None else fit_circle(line)
    if circle is None:
        return {name: not_seen("the outer edge was not seen along enough of its arc") for name in names}
    about = _about(circle)
    out = {"arc-radius": Measured(circle.radius_m, float(np.sqrt(circle.covariance[2, 2])), about)}
    if axes is None:
        return out | {name: not_seen("no home plate is given") for name in names[1:]}
    x, y = axes.local(circle.e, circle.n)
    s, c = np.sin(axes.bearing_rad), np.cos(axes.bearing_rad)
    turn = np.array([[c, -s], [s, c]])
    sx, sy = np.sqrt(np.diag(turn @ circle.covariance[:2, :2] @ turn.T) + sideways_m**2)
    out["arc-centre-from-home"] = Measured(float(y), float(sy), _practice(float(y), float(sy), pitch_m))
    return out | {"arc-centre-aside": Measured(float(x), float(sx))}


def circle_radius(line: MeasuredLine | None, what: str, times: float = 1.0) -> Measured:
    """Radius (times 2: diameter) of a circle that the grass leaves; `what` is named where it was not seen."""
    circle = None if line is None else fit_circle(line)
    if circle is None:
        return not_seen(f"no grass edge was seen along enough of the {what}")
    return Measured(times * circle.radius_m, times * float(np.sqrt(circle.covariance[2, 2])), _about(circle))


def _about(circle: Circle) -> str:
    if circle.wander_m <= 0:
        return f"a circle within what the line is known to (chi2 {circle.chi2:.0f} on {circle.free})"
    return f"the edge leaves its circle by {1000 * circle.wander_m:.0f} mm (s.d.; chi2 {circle.chi2:.0f} on {circle.free})"


def _practice(y: float, sigma: float, pitch_m: float) -> str:
    """Which of the places used in practice the centre agrees with."""
    fits = [name for name, at in arc_centres(pitch_m).items() if abs(y - at) <= OFTEN * sigma]
    if fits:
        return "agrees with " + " or ".join(fits)
    near, at = min(arc_centres(pitch_m).items(), key=lambda p: abs(y - p[1]))
    return f"{abs(y - at) / FOOT_M:.1f} ft {'beyond' if y > at else 'short of'} the {near}"


def _algebraic(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    design = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    a, b, c = np.linalg.lstsq(design, x**2 + y**2, rcond=None)[0]
    return np.array([a, b, np.sqrt(max(c + a * a + b * b, 1e-12))])


def _sweep(bearing_deg: np.ndarray) -> float:
    """Degrees covered: a full turn less the widest gap."""
    at = np.sort(bearing_deg % 360.0)
    return float(360.0 - np.diff(np.append(at, at[0] + 360.0)).max())


def _wander(left: np.ndarray, gap: np.ndarray, shared: np.ndarray, hat: np.ndarray, scale: np.ndarray) -> tuple[float, float]:
    """Variance and range of the real line about its circle, m2 and m.

    The range is where the residuals' covariance falls to 1/e, the variance that whose expected mean square after the fit is
    the one found: E r'r = tr((I - H) C (I - H)'), H the fit's hat matrix.
    """
    r = np.clip(left, -CLIPPED * scale, CLIPPED * scale)
    step = np.rint(gap / LAG_M).astype(int)
    product = np.outer(r, r)
    lags = [h for h in range(int(min(LONGEST_LAG_M, gap.max() / 2) / LAG_M)) if (step == h).any()]
    covariance = np.array([product[step == h].mean() for h in lags])
    below = np.flatnonzero(covariance < covariance[0] / np.e)
    reach = lags[below[0]] * LAG_M if len(below) else LONGEST_LAG_M
    range_m = float(np.clip(reach / MATERN_E, LEAST_RANGE_M, MOST_RANGE_M))
    away = np.eye(len(r)) - hat
    own, unit = (float(np.trace(away @ c @ away.T)) for c in (shared, matern32(gap / range_m)))
    return max((float((r**2).sum()) - own) / unit, 0.0), range_m
