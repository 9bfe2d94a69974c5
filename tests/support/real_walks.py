"""Rover walks of eight dates on a beach: read and cleaned as any walk, crossed with one another, told by date and receiver.

Sand moves between dates and nothing on the beach is known to be stable: what the walks themselves show to be stable ties them.
"""

from __future__ import annotations

import csv
import gzip
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pyproj import Transformer

from pipeline.errors import Refused
from pipeline.store.points import read_walk
from pipeline.survey.noise import ROVER
from pipeline.survey.plane import MAD_TO_SD
from pipeline.survey.walks.crossing_network import solve
from pipeline.survey.walks.crossing_places import Places, places
from pipeline.survey.walks.crossings import DRIFT_M, NAMED_M, NAMED_SIGMAS, Crossings
from pipeline.survey.walks.walk import white_noise
from pipeline.survey.walks.walk_clean import Cleaned, clean

CRS = "EPSG:32611"
UPPER_PATH = 464715.0, 3671985.0, 464826.0, 3672140.0  # README: the most stable ground, heights above UPPER_PATH_M
UPPER_PATH_M = -29.4
RULE_WALKS, RULE_SPREAD_M = 4, 0.020  # README
# README: median offset of each walk, mm, in cells that at least four walks crossed with a spread under 20 mm.
README_MM = {
    ("2025-01-12", "a"): -4, ("2025-02-08", "a"): 4, ("2025-03-09", "a"): 5, ("2025-04-30", "a"): -3, ("2025-04-30", "b"): 24,
    ("2025-05-29", "a"): 1, ("2025-05-29", "b"): -17, ("2025-06-27", "a"): 5, ("2025-06-27", "b"): 2, ("2025-07-13", "a"): -10,
}  # fmt: skip
RECEIVERS = "a", "b"


@dataclass(frozen=True)
class Walked:
    """Walks that were not refused, oldest first.

    dates, cleaned, white_m : of each
    refused : date to the code of its refusal
    """

    dates: tuple[str, ...]
    cleaned: tuple[Cleaned, ...]
    white_m: tuple[float, ...]
    refused: dict[str, str]


def walks(data: Path, folder: Path) -> Walked:
    """Every date's rows in UTM 11N, cleaned, those logged on an earlier date left out; `folder` for files with our columns."""
    to_utm = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    raw, kept, refused = [], {}, {}
    for path in sorted((data / "rover").glob("walk-*.csv.gz")):
        walk = read_walk(str(_our_columns(path, folder)))
        walk = walk.at(*to_utm.transform(walk.x, walk.y), walk.z)
        date = path.name[5:15]
        try:
            kept[date] = clean(walk, raw)
        except Refused as reason:
            refused[date] = reason.code
        raw.append(walk)
    return Walked(tuple(kept), tuple(kept.values()), tuple(white_noise(c.walk) for c in kept.values()), refused)


@dataclass(frozen=True)
class Datum:
    """How one receiver's walk of one date stands against all others on ground that they show to be stable.

    offset_m, sigma_m : of the walk as a whole, positive = high; s.d. of it, the drift within the walk once included
    cells             : stable cells that it shares with others
    off, disputed     : rows in stretches that the crossings name as off, or as not to be settled
    """

    date: str
    receiver: str
    offset_m: float
    sigma_m: float
    cells: int
    rows: int
    off: int
    disputed: int

    @property
    def jumped(self) -> bool:
        """Off by more than crossings need to name a stretch, a date's own shift allowed for."""
        return abs(self.offset_m) > NAMED_M and abs(self.offset_m) > NAMED_SIGMAS * np.hypot(self.sigma_m, ROVER.shift_m)


@dataclass(frozen=True)
class Units:
    """Every date's receivers as walks of their own: names, and their heights in the cells where they meet."""

    names: tuple[tuple[str, str], ...]
    met: Places


def units(walked: Walked, told: Crossings, settled: bool = True) -> Units:
    """Each receiver of each date as one piece; `settled`: without the rows of stretches that are off."""
    names, tracks, white = [], [], []
    for i, (date, cleaned) in enumerate(zip(walked.dates, walked.cleaned)):
        kept = told.measures(i) if settled else np.ones(len(cleaned.walk), bool)
        for receiver in RECEIVERS:
            if receiver not in cleaned.walk.receivers:
                continue
            mine = cleaned.walk.receiver == cleaned.walk.receivers.index(receiver)
            if not (mine & kept).any():
                continue
            own = white_noise(cleaned.walk.take(mine))
            names.append((date, receiver))
            tracks.append(cleaned.walk.take(mine & kept))
            white.append(own if np.isfinite(own) else ROVER.white_m)
    return Units(tuple(names), places(tracks, [np.zeros(len(t), np.int64) for t in tracks], white))


def datums(walked: Walked, told: Crossings, settled: bool = True) -> list[Datum]:
    """One offset for each date and receiver, solved at once over the cells that README's rule calls stable."""
    found = units(walked, told, settled)
    met, count = found.met, len(found.names)
    rows = np.flatnonzero(_stable_by_rule(met)[met.cell])
    _, node = np.unique(met.cell[rows], return_inverse=True)
    track = np.bincount(met.piece[rows], minlength=count).astype(float)
    network = solve(node.ravel(), met.piece[rows], met.z[rows], met.variance[rows] + DRIFT_M**2, track)
    sigma = np.sqrt(np.diag(network.covariance) + DRIFT_M**2)
    out = []
    for k, (date, receiver) in enumerate(found.names):
        mine = [s for s in told.stretches if (walked.dates[s.walk], s.receiver) == (date, receiver)]
        cells = int(network.crossings[k])
        offset, sd = (float(network.offset[k]), float(sigma[k])) if cells else (float("nan"), float("nan"))
        rows_of = {v: sum(s.rows for s in mine if s.verdict == v) for v in ("off", "disputed")}
        out.append(Datum(date, receiver, offset, sd, cells, sum(s.rows for s in mine), rows_of["off"], rows_of["disputed"]))
    return out


def _stable_by_rule(met: Places) -> np.ndarray:
    """Cells that at least four walks crossed with a median absolute departure under 20 mm, (cells,) bool."""
    count = np.bincount(met.cell, minlength=len(met.e))
    first = np.cumsum(count) - count
    out = np.zeros(len(met.e), bool)
    for cell in np.flatnonzero(count >= RULE_WALKS):
        z = met.z[first[cell] : first[cell] + count[cell]]
        out[cell] = np.median(np.abs(z - np.median(z))) < RULE_SPREAD_M
    return out


@dataclass(frozen=True)
class Scatter:
    """Heights of one walk on the upper path less the other walks' there, their common offset taken off, (n,), m.

    dz, sigma : departure, and the s.d. claimed of it: rows, slope, roughness and drift of all that took part
    e, n      : where
    """

    date: str
    receiver: str
    dz: np.ndarray
    sigma: np.ndarray
    e: np.ndarray
    n: np.ndarray

    @property
    def in_sd(self) -> np.ndarray:
        return self.dz / self.sigma

    def shared_m2(self, least_m: float = 5.0, most_m: float = 20.0) -> tuple[float, int]:
        """Mean product of departures so far apart, drawn in to 3 robust s.d., m2; and the number of pairs."""
        limit = 3 * MAD_TO_SD * np.median(np.abs(self.dz))
        held = np.clip(self.dz, -limit, limit)
        away = np.hypot(self.e[:, None] - self.e, self.n[:, None] - self.n)
        pairs = (away > least_m) & (away <= most_m)
        return (float(np.outer(held, held)[pairs].mean()), int(pairs.sum() // 2)) if pairs.any() else (0.0, 0)


FEWEST_SCATTERED = 20


def scatters(walked: Walked, told: Crossings) -> list[Scatter]:
    """Each walk against the median of the others in the same cell of 1 m: it had no say in what is called stable."""
    found = units(walked, told)
    met = found.met
    west, south, east, north = UPPER_PATH
    path = (met.e > west) & (met.e < east) & (met.n > south) & (met.n < north)
    rows = np.flatnonzero(path[met.cell] & (met.z > UPPER_PATH_M))
    out = []
    for k, (date, receiver) in enumerate(found.names):
        mine = rows[met.piece[rows] == k]
        others = {c: rows[(met.cell[rows] == c) & (met.piece[rows] != k)] for c in met.cell[mine]}
        mine = np.array([r for r in mine if len(others[met.cell[r]]) >= 2], int)
        if len(mine) < FEWEST_SCATTERED:
            continue
        dz = np.array([met.z[r] - np.median(met.z[others[met.cell[r]]]) for r in mine])
        rest = np.array([_of_median(met.variance[others[met.cell[r]]]) for r in mine])
        sigma = np.sqrt(met.variance[mine] + DRIFT_M**2 + rest)
        out.append(Scatter(date, receiver, dz - np.median(dz), sigma, met.e[met.cell[mine]], met.n[met.cell[mine]]))
    return out


def _of_median(variance: np.ndarray) -> float:
    """Variance of the median of some heights, each with the drift of its own walk; of two it is their mean."""
    return float(np.mean(variance + DRIFT_M**2) / len(variance) * (1.0 if len(variance) == 2 else np.pi / 2))


def _our_columns(path: Path, folder: Path) -> Path:
    """The file as an operator would hand it over: `h` for the height, no number of the point."""
    out = folder / path.name.removesuffix(".gz")
    with gzip.open(path, "rt", newline="") as given, out.open("w", newline="") as made:
        rows = csv.reader(given)
        header = next(rows)
        at = [header.index(c) for c in ("receiver", "line", "lon", "lat", "ellipsoidal_height_m", "quality")]
        writer = csv.writer(made)
        writer.writerow(("receiver", "line", "lon", "lat", "h", "quality"))
        writer.writerows([row[k] for k in at] for row in rows)
    return out
