"""The linear programme: least mix moved and bought for a surface of a form that keeps the wishes.

Least absolute volume, not least squares: a shave of a millimetre everywhere is no work order. The largest slope is a
second-order cone, exact in every direction.
source : method after L1 levelling with linear programming; formulas as in docs/method.md
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp

from pipeline.works.grading.forms import Form
from pipeline.works.grading.wishes import BASE_LINE, BEND, DIRECTION, EDGE, FIXED, LEAST_FALL, Levels, Line, Wishes, Worth

SOLVED = ("Solved", "AlmostSolved")
IMPOSSIBLE = ("PrimalInfeasible", "AlmostPrimalInfeasible")
PIECE_M = 2.0  # of a line that is to be level
OUT_OF_BALANCE = 1e-3  # of the volume moved, and m3: more is no rounding of the solver's


@dataclass(frozen=True)
class Ground:
    """Cells to be graded: x, y (m), height z (m) and how deep a blade may go (m, 0 where nobody knows), each (n,); area of one, m2."""

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    blade_m: np.ndarray
    area_m2: float


@dataclass(frozen=True)
class Solved:
    """parameters : of the form; height : of the cells, m; cut_m3, fill_m3, bought_m3, taken_m3 >= 0; cost in the worth's unit"""

    parameters: np.ndarray
    height: np.ndarray
    cut_m3: float
    fill_m3: float
    bought_m3: float
    taken_m3: float
    cost: float


@dataclass(frozen=True)
class Row:
    """One family of limits a' x <= b, with what each row is called and where it lies."""

    family: str
    matrix: sp.csr_matrix
    limit: np.ndarray
    names: tuple[str, ...]


class Unsolved(Exception):
    """The solver ended without an answer; says with what."""


def rows(form: Form, wishes: Wishes) -> list[Row]:
    """Every wish but the largest slope, as rows over the form's parameters."""
    out = []
    for family, levels in ((FIXED, wishes.fixed), (EDGE, wishes.edges)):
        if len(levels.x):
            out.append(_levels(family, form, levels))
    if wishes.lines:
        out += _lines(form, wishes.lines)
    if form.fall is not None:
        asked = np.abs(form.fall).sum(axis=1) > 0
        w, gx, gy = form.fall[asked], form.gx[asked], form.gy[asked]
        along = -(sp.diags(w[:, 0]) @ gx + sp.diags(w[:, 1]) @ gy)
        names = tuple(f"{x:.1f} {y:.1f}" for x, y in form.at[asked])
        if wishes.least is not None:
            out.append(Row(LEAST_FALL, (-along).tocsr(), np.full(len(w), -wishes.least), names))
        if wishes.within_deg is not None:
            across = sp.diags(-w[:, 1]) @ gx + sp.diags(w[:, 0]) @ gy
            wide = np.tan(np.radians(wishes.within_deg)) * along
            out.append(Row(DIRECTION, sp.vstack([across - wide, -across - wide]).tocsr(), np.full(2 * len(w), wishes.sideways), names * 2))
    if form.bends is not None and wishes.kappa is not None and form.bends.shape[0]:
        most = np.full(2 * form.bends.shape[0], wishes.kappa * form.spacing_m**2)
        out.append(Row(BEND, sp.vstack([form.bends, -form.bends]).tocsr(), most, ("",) * len(most)))
    return out


def _lines(form: Form, lines: tuple[Line, ...]) -> list[Row]:
    """Steepness of the surface along lines, piece by piece, where they lie on its ground."""
    parts, limits, names = [], [], []
    for line in lines:
        count = max(round(np.hypot(line.x1 - line.x0, line.y1 - line.y0) / PIECE_M), 1)
        x, y = np.linspace(line.x0, line.x1, count + 1), np.linspace(line.y0, line.y1, count + 1)
        on = form.holds(x, y)
        both = np.nonzero(on[:-1] & on[1:])[0]
        if not len(both):
            continue
        ends = [sp.csr_matrix(form.points(x[both + k], y[both + k])) for k in (0, 1)]
        rise = (ends[1] - ends[0]) / np.hypot(x[1] - x[0], y[1] - y[0])
        parts += [rise, -rise]
        limits += [np.full(2 * len(both), line.most)]
        names += [line.name] * 2 * len(both)
    return [Row(BASE_LINE, sp.vstack(parts).tocsr(), np.concatenate(limits), tuple(names))] if parts else []


def _levels(family: str, form: Form, levels: Levels) -> Row:
    at = sp.csr_matrix(form.points(levels.x, levels.y))
    limit = np.concatenate([levels.height + levels.tolerance_m, -levels.height + levels.tolerance_m])
    return Row(family, sp.vstack([at, -at]).tocsr(), limit, levels.name * 2)


def solve(ground: Ground, form: Form, wishes: Wishes, worth: Worth) -> Solved | None:
    """The cheapest surface; None where no surface keeps all wishes.

    With fill that shrinks the rows let a cell be filled and cut at once, and so lose a surplus that may not leave: a balance
    that only closes in this way is none, and the answer is None.
    """
    n, p = len(ground.z), form.parameters
    a, r = ground.area_m2, worth.ratio
    level = float(ground.z.mean())
    z = ground.z - level
    b = form.heights
    # variables: parameters, fill of each cell (m), bought, taken (m3)
    cost = np.concatenate([-worth.move * a * np.asarray(b.sum(axis=0)).ravel(), np.full(n, 2 * worth.move * a), [worth.buy, worth.take]])
    eye, blank = sp.identity(n, format="csr"), lambda k, width: sp.csr_matrix((k, width))
    balance = sp.hstack([sp.csr_matrix(a / r * np.asarray(b.sum(axis=0))), sp.csr_matrix(np.full((1, n), a * (1 - 1 / r))), sp.csr_matrix([[-1.0, 1 / r]])])
    equal, equals = [balance], [a / r * z.sum()]
    for k, may in enumerate((worth.may_buy, worth.may_take)):
        if not may:
            equal.append(sp.csr_matrix(([1.0], ([0], [p + n + k])), shape=(1, p + n + 2)))
            equals.append(0.0)
    below = [
        sp.hstack([blank(n, p), -eye, blank(n, 2)]),  # fill >= 0
        sp.hstack([b, -eye, blank(n, 2)]),  # cut >= 0
        sp.hstack([-b, blank(n, n + 2)]),  # the blade stays in the mix
        sp.hstack([blank(2, p + n), -sp.identity(2)]),
    ]
    limits = [np.zeros(n), z, ground.blade_m - z, np.zeros(2)]
    for row in rows(form, _lowered(wishes, level)):
        below.append(sp.hstack([row.matrix, blank(len(row.limit), n + 2)]))
        limits.append(row.limit)
    cones, cone_limits, sizes = _steepest(form, wishes.most, n + 2)
    x = minimum(cost, sp.vstack(equal), np.array(equals), sp.vstack(below), np.concatenate(limits), cones, cone_limits, sizes)
    if x is None:
        return None
    height = b @ x[:p]
    u = height - z
    fill, cut = a * float(np.maximum(u, 0).sum()), a * float(np.maximum(-u, 0).sum())
    bought, taken = (float(max(v, 0.0)) for v in x[-2:])
    if abs(fill - (cut - taken) / r - bought) > OUT_OF_BALANCE * (1 + cut + fill):
        return None
    return Solved(x[:p] + level * form.unit, height + level, cut, fill, bought, taken, worth.move * (cut + fill) + worth.buy * bought + worth.take * taken)


def least_slack(ground: Ground, form: Form, wishes: Wishes, worth: Worth, family: str) -> tuple[float, str] | None:
    """By how much one family of wishes has to give way, all others kept, and where it binds; None where that alone does not do.

    returns : metres for levels, m per m for a fall, 1/m times the node spacing squared for curvature; name of the place
    """
    found = rows(form, _lowered(wishes, float(ground.z.mean())))
    row = next((r for r in found if r.family == family), None)
    if row is None:
        return None
    x = _slackened(ground, form, wishes, worth, found, family, np.zeros(len(row.limit), int), None)
    if x is None:
        return None
    over = row.matrix @ x[: form.parameters] - row.limit
    return float(x[-1]), row.names[int(np.argmax(over))]


def edge_slacks(ground: Ground, form: Form, wishes: Wishes, worth: Worth, most_m: float) -> np.ndarray | None:
    """By how much each level of the grass edge has to give way, (edges,), m, 0 to most_m: the least sum, so that an edge gives way
    where it must and nowhere else."""
    found = rows(form, _lowered(wishes, float(ground.z.mean())))
    count = len(wishes.edges.x)
    x = _slackened(ground, form, wishes, worth, found, EDGE, np.tile(np.arange(count), 2), most_m)
    return None if x is None else np.clip(x[-count:], 0.0, most_m)


def _slackened(ground: Ground, form: Form, wishes: Wishes, worth: Worth, found: list[Row], family: str, of: np.ndarray, most: float | None) -> np.ndarray | None:
    """Parameters, and last the slacks of one family with the least sum. of: which slack each row of the family has; most: of each."""
    n, p, q = len(ground.z), form.parameters, int(of.max()) + 1
    z, b = ground.z - float(ground.z.mean()), form.heights
    held = not worth.may_buy  # then what is filled has to come out of what is cut, and that asks for the fill of every cell
    more = n if held else 0
    wide = lambda m, slack=None: sp.hstack([m, sp.csr_matrix((m.shape[0], more)), sp.csr_matrix((m.shape[0], q)) if slack is None else slack])
    own = sp.csr_matrix((np.full(len(of), -1.0), (np.arange(len(of)), of)), shape=(len(of), q))
    below, limits = [wide(-b), wide(sp.csr_matrix((q, p)), -sp.identity(q))], [ground.blade_m - z, np.zeros(q)]
    if most is not None:
        below.append(wide(sp.csr_matrix((q, p)), sp.identity(q)))
        limits.append(np.full(q, most))
    for row in found:
        below.append(wide(row.matrix, own if row.family == family else None))
        limits.append(row.limit)
    if held:
        eye, r = sp.identity(n, format="csr"), worth.ratio
        below += [sp.hstack([b, -eye, sp.csr_matrix((n, q))]), sp.hstack([sp.csr_matrix((n, p)), -eye, sp.csr_matrix((n, q))])]
        limits += [z, np.zeros(n)]
        below.append(sp.csr_matrix(np.concatenate([np.asarray(b.sum(axis=0)).ravel() / r, np.full(n, 1 - 1 / r), np.zeros(q)])[None]))
        limits.append(np.array([z.sum() / r]))
    cones, cone_limits, sizes = _steepest(form, wishes.most, more + q)
    cost = np.concatenate([np.zeros(p + more), np.ones(q)])
    return minimum(cost, sp.csr_matrix((0, p + more + q)), np.empty(0), sp.vstack(below), np.concatenate(limits), cones, cone_limits, sizes)


def minimum(cost, equal, equals, below, limits, cones, cone_limits, sizes) -> np.ndarray | None:
    """min cost x where equal x = equals, below x <= limits and cone_limits - cones x lies in second-order cones; None where
    nothing does.

    raises : Unsolved
    """
    import clarabel

    matrix = sp.csc_matrix(sp.vstack([equal, below, cones]))
    right = np.concatenate([equals, limits, cone_limits])
    kinds = [clarabel.ZeroConeT(len(equals)), clarabel.NonnegativeConeT(len(limits)), *(clarabel.SecondOrderConeT(s) for s in sizes)]
    settings = clarabel.DefaultSettings()
    settings.verbose, settings.max_threads = False, 1
    scale = float(np.abs(cost).max()) or 1.0
    solver = clarabel.DefaultSolver(sp.csc_matrix((len(cost), len(cost))), cost / scale, matrix, right, kinds, settings)
    answer = solver.solve()
    status = str(answer.status)
    if status in IMPOSSIBLE:
        return None
    if status not in SOLVED:
        raise Unsolved(status)
    return np.asarray(answer.x)


def _steepest(form: Form, most: float | None, further: int):
    """Rows that hold (most, gx, gy) in a second-order cone at every place."""
    p, k = form.parameters, form.gx.shape[0]
    if most is None:
        return sp.csr_matrix((0, p + further)), np.empty(0), []
    order = np.arange(3 * k).reshape(3, k).T.ravel()
    stacked = sp.vstack([sp.csr_matrix((k, p)), form.gx, form.gy]).tocsr()[order]
    right = np.tile([most, 0.0, 0.0], k)
    return sp.hstack([-stacked, sp.csr_matrix((3 * k, further))]), right, [3] * k


def _lowered(wishes: Wishes, level: float) -> Wishes:
    down = lambda given: replace(given, height=given.height - level)
    return replace(wishes, fixed=down(wishes.fixed), edges=down(wishes.edges))
