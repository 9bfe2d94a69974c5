"""Stretches of a walk that sit high or low while every row says fixed: found where tracks cross.

Within one walk the ground is the same at every crossing. Between walks of several dates it is not: there only ground
that is known to be stable, or shows by itself that it is, ties the dates to each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np
import shapely
from scipy import sparse

from pipeline.survey.noise import ROVER
from pipeline.survey.walks.crossing_network import Network, solve, weighted_median
from pipeline.survey.walks.crossing_places import Places, pieces, places
from pipeline.survey.walks.stable_cells import stable_by_evidence
from pipeline.survey.walks.walk_clean import Cleaned

NAMED_SIGMAS, NAMED_M = 5.0, 0.030  # a stretch is named when it is off by more than both
NAMED_CROSSINGS = 3  # cells a stretch must share before it can be said to be the wrong one
SAME_SIGMAS, SAME_M = 3.0, 0.010  # pieces that follow each other are one stretch when they differ by less than either
WITNESSES = 2  # stretches that must agree with one another before the one that differs is said to be the wrong one
DRIFT_M = ROVER.parts[0][0]  # within a stretch the height wanders by this: no offset is known better


@dataclass(frozen=True)
class Stretch:
    """Track over which the receiver's height stood the same way off.

    walk      : index of the walk
    receiver, line : names
    first_row, last_row : rows of the file
    rows      : cleaned rows in it
    crossings : cells in which it meets another stretch
    witnesses : stretches it meets that are not named themselves
    offset_m  : positive = stands high against most of the track it hangs together with; NaN where it meets nothing
    sigma_m   : one s.d., the drift within the stretch included; NaN where it meets nothing
    verdict   : `agrees`; `off`: named, and enough others say so; `disputed`: it differs, from too few to say which is
                wrong; `not_crossed`: nothing is known
    """

    walk: int
    receiver: str
    line: str
    first_row: int
    last_row: int
    rows: int
    crossings: int
    witnesses: int
    offset_m: float
    sigma_m: float
    verdict: str


@dataclass(frozen=True)
class Crossings:
    """What the crossings of some walks say.

    stretches    : in the order of walks and rows
    stretch_of   : for each walk (n,) int index into `stretches`
    stable_cells : cells of stable ground that tie walks of different dates
    met          : (k,) int stretch that crosses another in a cell, one row for each piece and cell
    met_e, met_n : (k,) where, m
    met_m        : (k,) its height there less the adjusted ground, m
    scale        : spread of the crossings over what noise, slope and roughness explain
    """

    stretches: tuple[Stretch, ...]
    stretch_of: tuple[np.ndarray, ...]
    stable_cells: int
    met: np.ndarray
    met_e: np.ndarray
    met_n: np.ndarray
    met_m: np.ndarray
    scale: float

    def named(self) -> tuple[Stretch, ...]:
        """Stretches that are off or disputed."""
        return tuple(s for s in self.stretches if s.verdict in ("off", "disputed"))

    def measures(self, walk: int) -> np.ndarray:
        """True for the rows of a walk whose stretch is not off, (n,) bool. Disputed ones stay: nobody knows."""
        off = np.array([s.verdict == "off" for s in self.stretches], bool)
        return ~off[self.stretch_of[walk]]


def crossings(walks: Sequence[Cleaned], white_m: Sequence[float], stable: shapely.Geometry | None = None) -> Crossings:
    """Offsets of all stretches of some walks of one field.

    walks   : cleaned, one CRS, m; each walk is one date
    white_m : s.d. of one row of each, m; NaN takes the declared one
    stable  : ground known not to move between dates; None: taken from the walks themselves, where
              enough of them agree (`stable_by_evidence`)
    """
    cut = [pieces(c.walk, c.lost_fix) for c in walks]
    white = [w if np.isfinite(w) else ROVER.white_m for w in white_m]
    met = places([c.walk for c in walks], cut, white)
    quiet = np.zeros(len(met.e), bool)
    if len(walks) > 1:
        quiet = shapely.contains_xy(stable, met.e, met.n) if stable is not None else None
    unknown, network, rows, quiet = _adjusted(met, quiet)
    return _told(walks, cut, met, unknown, network, rows, int(quiet.sum()))


def _adjusted(met: Places, quiet: np.ndarray | None) -> tuple[np.ndarray, Network, np.ndarray, np.ndarray]:
    """Unknown of each piece, their offsets, the rows of `met` that took part, and the stable cells.

    Pieces that follow each other join while they agree; stable ground, where it has to be found, is looked for again
    with the offsets taken off.
    """
    look = quiet is None
    unknown = np.arange(len(met.walk_of))
    offset = np.zeros(len(unknown))
    while True:  # each round has fewer unknowns than the last
        if look:
            quiet = stable_by_evidence(met, offset[unknown])
        rows, node = _shared(met, unknown, quiet)
        network = _solve(met, unknown, rows, node)
        joined = _join(met, unknown, network)
        if joined.max(initial=-1) == unknown.max(initial=-1):
            return unknown, network, rows, quiet
        offset = np.bincount(joined, network.offset[unknown]) / np.bincount(joined)
        unknown = joined


def _solve(met: Places, unknown: np.ndarray, rows: np.ndarray, node: np.ndarray) -> Network:
    track = np.bincount(unknown[met.piece], minlength=unknown.max(initial=-1) + 1)  # cells: about metres of path
    return solve(node, unknown[met.piece[rows]], met.z[rows], met.variance[rows], track.astype(float))


def _shared(met: Places, unknown: np.ndarray, quiet: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of `met` whose ground another unknown shares, and the node each belongs to.

    The node is the cell where it is stable, else the cell on that walk's date.
    """
    walk = np.where(quiet[met.cell], -1, met.walk_of[met.piece])
    _, node = np.unique(np.column_stack([met.cell, walk]), axis=0, return_inverse=True)
    node = node.ravel()
    pairs = np.unique(np.column_stack([node, unknown[met.piece]]), axis=0)
    many = np.bincount(pairs[:, 0], minlength=node.max(initial=-1) + 1) > 1
    rows = np.flatnonzero(many[node])
    _, node = np.unique(node[rows], return_inverse=True)
    return rows, node.ravel()


def _join(met: Places, unknown: np.ndarray, network: Network) -> np.ndarray:
    """Unknowns after joining neighbours that agree, the most alike first, each at most once a round."""
    left = np.flatnonzero((met.line_of[1:] == met.line_of[:-1]) & (unknown[1:] != unknown[:-1]))
    a, b = unknown[left], unknown[left + 1]
    c = network.covariance
    differ = np.abs(network.offset[a] - network.offset[b])
    sigma = np.sqrt(np.maximum(c[a, a] + c[b, b] - 2 * c[a, b], 0.0) + 2 * DRIFT_M**2)
    crossed = network.crossings > 0
    together = (network.component[a] == network.component[b]) & crossed[a] & crossed[b]
    alike = np.where(together, (differ < SAME_SIGMAS * sigma) | (differ < SAME_M), ~crossed[a] & ~crossed[b])
    merged = np.arange(unknown.max(initial=-1) + 1)
    taken = np.zeros(len(merged), bool)
    for k in np.lexsort((left, differ / sigma)):
        if alike[k] and not taken[a[k]] and not taken[b[k]]:
            merged[b[k]] = a[k]
            taken[[a[k], b[k]]] = True
    _, new = np.unique(merged[unknown], return_inverse=True)
    return new.ravel()


def _told(walks, cut, met: Places, unknown, network: Network, rows, stable_cells: int) -> Crossings:
    """The network's answer in the walks' own rows and names."""
    sigma = np.sqrt(np.diag(network.covariance) + DRIFT_M**2)
    crossed = network.crossings > 0
    large, outvoted = _large(met, unknown, network, sigma)
    large &= crossed
    witnesses = _witnesses(met, unknown, rows, large)
    sure = (witnesses >= WITNESSES) & (network.crossings >= NAMED_CROSSINGS) & outvoted
    verdict = np.select([~crossed, large & sure, large], ["not_crossed", "off", "disputed"], "agrees")
    first = np.concatenate([[0], np.cumsum([p.max(initial=-1) + 1 for p in cut])]).astype(np.int64)
    out, stretch_of = [], []
    told = np.zeros(len(crossed), np.int64)
    for i, (cleaned, piece) in enumerate(zip(walks, cut)):
        walk, mine = cleaned.walk, unknown[piece + first[i]]
        codes, begin, back, size = np.unique(mine, return_index=True, return_inverse=True, return_counts=True)
        last = len(mine) - 1 - np.unique(mine[::-1], return_index=True)[1]
        order = np.argsort(begin)
        rank = np.argsort(order) + len(out)
        told[codes] = rank
        stretch_of.append(rank[back.ravel()])
        for k in order:
            code, a = codes[k], begin[k]
            out.append(Stretch(
                i, walk.receivers[walk.receiver[a]], walk.lines[walk.line[a]], int(walk.row[a]),
                int(walk.row[last[k]]), int(size[k]), int(network.crossings[code]), int(witnesses[code]),
                float(network.offset[code]) if crossed[code] else float("nan"),
                float(sigma[code]) if crossed[code] else float("nan"), str(verdict[code]),
            ))  # fmt: skip
    code, cell = unknown[met.piece[rows]], met.cell[rows]
    height = network.residual + network.offset[code]
    return Crossings(tuple(out), tuple(stretch_of), stable_cells, told[code], met.e[cell], met.n[cell], height,
                     network.scale)  # fmt: skip


def _large(met: Places, unknown: np.ndarray, network: Network, sigma: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unknowns that are off by NAMED_M and NAMED_SIGMAS, and those that are further off than their date, (k,) bool.

    From all dates together, where a walk as a whole may stand off by its shift: that is the tie's to take out. And
    from the middle of the same date's own track, where it may not, as long as that middle itself is not off. Where
    all dates together side with the stretch against its own date, nobody knows which is wrong.
    """
    k = len(sigma)
    walk = np.zeros(k, np.int64)
    walk[unknown] = met.walk_of
    track = np.bincount(unknown[met.piece], minlength=k)
    group, back = np.unique(np.column_stack([network.component, walk]), axis=0, return_inverse=True)
    back = back.ravel()
    dates = np.bincount(group[:, 0], minlength=k)[network.component]
    between = np.where(dates > 1, ROVER.shift_m, 0.0)
    own = np.array([weighted_median(network.offset[back == g], track[back == g]) for g in range(len(group))])[back]

    def beyond(value: np.ndarray, sd: np.ndarray) -> np.ndarray:
        return (np.abs(value) > NAMED_M) & (np.abs(value) > NAMED_SIGMAS * sd)

    far = beyond(network.offset, np.hypot(sigma, between))
    large = far | (beyond(network.offset - own, sigma) & ~beyond(own, between))
    return large, np.abs(network.offset) >= np.abs(own)


def _witnesses(met: Places, unknown: np.ndarray, rows: np.ndarray, large: np.ndarray) -> np.ndarray:
    """How many different unknowns, themselves not far off, each unknown meets in a cell, (k,) int."""
    pair = np.unique(np.column_stack([met.cell[rows], unknown[met.piece[rows]]]), axis=0)
    count = len(large)
    out = np.zeros(count, np.int64)
    if not len(pair):
        return out
    seen = sparse.csr_array((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(int(pair[:, 0].max()) + 1, count))
    meets = (seen.T @ seen).tocoo()
    held = (meets.row != meets.col) & ~large[meets.col]
    np.add.at(out, meets.row[held], 1)
    return out
