"""How far a survey lies sideways of another one, from the height profiles across the grass edges.

On a 1 % plane 50 mm sideways is 0.5 mm of height, so slope and aspect tell nothing. Edges are steep. Each edge
tells the shift along its own normal only; edges of all bearings together tell both axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.errors import Refused
from pipeline.survey.edges.edge_level import SKIN_WINDOW, column_mean, levelled, window_mean, within
from pipeline.survey.edges.edge_shape import bump, ramp
from pipeline.survey.edges.edge_table import ACROSS_M, STATION_M, EdgeTable

PIECE_M, PROFILE_M = 3.0, 3.0  # one tau per piece; its profile from so far to either hand of its middle
READ = (-0.5, 1.0)
LEAST_ROWS, LEAST_CELLS = 4, 20
EDGE_SD_M = 0.008  # what growth, mowing and the grass's advance do to all of one edge's pieces alike
PIECE_SD_M = 0.004  # least s.d. of a piece beyond its formal one
SIGMA_FACTOR = 1.5  # true over formal error, measured on 72 simulated pairs
HUBER = 1.5
LIMIT_M, SIGMA_LIMIT_M = 0.150, 0.020
LEAST_SPAN_DEG, LEAST_PIECES = 60.0, 5


@dataclass(frozen=True)
class Piece:
    """One stretch of edge: how far the later survey's profile stands out along the normal.

    tau_m    : displacement of the later survey toward the grass, m
    variance : formal variance of tau_m, m2
    normal   : unit vector into the grass, east and north
    edge     : number of the edge
    """

    tau_m: float
    variance: float
    normal: tuple[float, float]
    edge: int


@dataclass(frozen=True)
class Shift:
    """What must be added to the later survey's points for it to agree with the earlier one, m.

    known   : False where the edges cannot tell (`reason`): e_m, n_m are then 0 and sigma_m what the source declares
    sigma_m : one s.d., the larger of the two axes
    """

    e_m: float
    n_m: float
    sigma_m: float
    known: bool
    reason: str
    pieces: int
    span_deg: float


def pieces_of(earlier: EdgeTable, later: EdgeTable, edge: Edge, number: int = 0) -> list[Piece]:
    """All pieces of one edge that both dates saw.

    Fitted per piece: later less earlier = c0 + c1 ramp + c2 bump - tau dp/dd, so that mowing and growth do not pose
    as a shift; p is the mean of the two dates' profiles, so that changing the dates only changes the sign.
    """
    d = earlier.d
    read = within(d, READ)
    skin = within(d, SKIN_WINDOW)
    change = later.z - earlier.z
    change = change - window_mean(change, skin)[:, None]
    both = (levelled(earlier).z + levelled(later).z) / 2
    usable = earlier.usable & later.usable
    out = []
    for k in range(int(len(earlier.s) * STATION_M / PIECE_M)):
        gap = np.abs(earlier.s - (k + 0.5) * PIECE_M)
        rows = usable & (gap < PIECE_M / 2) & np.isfinite(change[:, skin]).any(axis=1)
        if rows.sum() < LEAST_ROWS:
            continue
        slope = _steepness(column_mean(both, usable & (gap < PROFILE_M)))
        fitted = _fit(d[read], column_mean(change, rows)[read], slope[read])
        if fitted is not None:
            out.append(Piece(*fitted, normal_at(edge, (k + 0.5) * PIECE_M), number))
    return out


def shift_of(pieces: list[Piece], declared_sigma_m: float) -> Shift:
    """The shift that the pieces agree on.

    declared_sigma_m : s.d. of the shift between the two surveys before looking, each axis, m
    raises           : Refused("horizontal_shift") beyond LIMIT_M: a wrong CRS, foot or base station
    Not known where normals span under LEAST_SPAN_DEG, with fewer than LEAST_PIECES, or with sigma over SIGMA_LIMIT_M.
    """
    span = span_of(np.array([p.normal for p in pieces]).reshape(-1, 2))
    if len(pieces) < LEAST_PIECES:
        reason = f"{len(pieces)} pieces of {PIECE_M:g} m of edge were seen at both dates, {LEAST_PIECES} are needed"
        return Shift(0.0, 0.0, declared_sigma_m, False, reason, len(pieces), span)
    if span < LEAST_SPAN_DEG:
        reason = f"the edges face within {span:.0f} degrees of each other, {LEAST_SPAN_DEG:.0f} are needed"
        return Shift(0.0, 0.0, declared_sigma_m, False, reason, len(pieces), span)
    moved, covariance = agree(pieces)
    sigma = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    size = float(np.hypot(*moved))
    if size > LIMIT_M and (sigma <= SIGMA_LIMIT_M or size > LIMIT_M + 2 * sigma):
        raise Refused("horizontal_shift", refusal_of(-moved))
    if sigma > SIGMA_LIMIT_M:
        reason = f"the shift is known to {sigma * 1000:.0f} mm only, {SIGMA_LIMIT_M * 1000:.0f} are needed"
        return Shift(0.0, 0.0, declared_sigma_m, False, reason, len(pieces), span)
    return Shift(-float(moved[0]), -float(moved[1]), sigma, True, "", len(pieces), span)


def span_of(normals: np.ndarray) -> float:
    """Smallest angle of lines (not arrows) that holds all normals, degrees 0-180: opposite edges tell one axis."""
    if not len(normals):
        return 0.0
    bearing = np.sort(np.degrees(np.arctan2(normals[:, 1], normals[:, 0])) % 180.0)
    gaps = np.diff(np.append(bearing, bearing[0] + 180.0))
    return float(180.0 - gaps.max())


def refusal_of(add: np.ndarray) -> str:
    """What to tell the operator of a survey that would have to be moved by `add` (east, north), m."""
    size = float(np.hypot(*add))
    bearing = np.degrees(np.arctan2(add[0], add[1])) % 360.0
    return (
        f"the grass edges lie {size * 1000:.0f} mm away from the reference survey's (it would have to move toward "
        f"{bearing:.0f} degrees); up to {LIMIT_M * 1000:.0f} mm can be corrected. "
        "Look for a wrong coordinate system, a foot taken for another foot, or a wrong base station, and export again."
    )


def normal_at(edge: Edge, station_m: float) -> tuple[float, float]:
    tangent = edge.tangent(np.array([station_m]))[0] * (1.0 if edge.grass_left else -1.0)
    return -float(tangent[1]), float(tangent[0])


def _steepness(profile: np.ndarray) -> np.ndarray:
    """dp/dd of a profile, (nd,): differences of fourth order, or the step of cover would read a fifth too gentle."""
    out = np.full(profile.shape, np.nan)
    near, far = profile[3:-1] - profile[1:-3], profile[4:] - profile[:-4]
    out[2:-2] = (8 * near - far) / (12 * ACROSS_M)
    return out


def _fit(d: np.ndarray, change: np.ndarray, slope: np.ndarray) -> tuple[float, float] | None:
    """tau and its formal variance by Huber-weighted least squares; None where too few cells or no step are seen."""
    seen = np.isfinite(change) & np.isfinite(slope)
    if seen.sum() < LEAST_CELLS:
        return None
    x, y = d[seen], change[seen]
    design = np.column_stack([np.ones(len(x)), ramp(x), bump(x), -slope[seen]])
    if np.linalg.cond(design / np.maximum(np.linalg.norm(design, axis=0), 1e-12)) > 1e4:
        return None
    weight = np.ones(len(y))
    for _ in range(6):
        normal = design.T @ (weight[:, None] * design)
        found = np.linalg.solve(normal, design.T @ (weight * y))
        left = y - design @ found
        weight = _huber(left)
    spread = float(left @ (weight * left)) / (weight.sum() - 4)
    return float(found[3]), float(spread * np.linalg.inv(normal)[3, 3])


def _huber(left: np.ndarray) -> np.ndarray:
    scale = max(1.4826 * float(np.median(np.abs(left))), 1e-9)
    return np.minimum(1.0, HUBER * scale / np.maximum(np.abs(left), 1e-12))


def agree(pieces: list[Piece]) -> tuple[np.ndarray, np.ndarray]:
    """Displacement of the later survey (2,) and its covariance (2, 2), m.

    Generalized least squares: what is common to an edge (EDGE_SD_M) and what each piece errs, robustly from the pieces
    themselves. A closed edge tells its common part from a shift, a straight one does not; that is in the covariance.
    """
    tau = np.array([p.tau_m for p in pieces])
    normal = np.array([p.normal for p in pieces])
    edge = np.array([p.edge for p in pieces])
    common = EDGE_SD_M**2 * (edge[:, None] == edge)
    formal = np.array([p.variance for p in pieces])
    own, weight = formal + PIECE_SD_M**2, np.ones(len(tau))
    for _ in range(12):
        inverse = np.linalg.inv(np.diag(own / weight) + common)
        information = normal.T @ inverse @ normal
        moved = np.linalg.solve(information, normal.T @ inverse @ tau)
        left = tau - normal @ moved
        left = left - common @ inverse @ left
        extra = (1.4826 * float(np.median(np.abs(left)))) ** 2 - float(np.median(formal))
        own = formal + max(PIECE_SD_M**2, extra)
        weight = _huber(left / np.sqrt(own))
    return moved, SIGMA_FACTOR**2 * np.linalg.inv(information)
