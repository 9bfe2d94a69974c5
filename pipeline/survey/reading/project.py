"""The step from a file's coordinates to a field's grid as a polynomial: as exact as it has to be, and fast.

Carrying 20 million points through a projection library takes longer than decoding them; over one field a bicubic
says the same to a hundredth of a millimetre.
"""

from __future__ import annotations

import numpy as np

from pipeline.coordinates import label, lon_lat, read_crs
from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.points import Projection
from pipeline.survey.reading.reference import Reference
from pipeline.transform import NoExactStep, Step, step_between

TOLERANCE_M = 5e-5  # half a tick: what the polynomial may differ from the library by
MARGIN_M = 1.0  # beyond the grid's outline
NODES, ALONG = 12, 20  # nodes of the fit along a side; points of the outline along a side
TESTED = 40, 25  # points tried across and along: 1,000


def fit(reference: Reference, grid: Grid) -> Projection:
    """The polynomial from a file's x, y to the grid's easting and northing, tried at 1,000 points.

    raises : Refused `crs_not_usable` where there is no exact step, or it bends too much for a bicubic
    """
    step = field_step(reference, grid)
    box = _box(step, grid)
    cx, cy = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    half = max(box[2] - box[0], box[3] - box[1]) / 2
    u, v = _lattice(box, NODES, NODES, chebyshev=True)
    e, n = step(u, v)
    terms = _terms((u - cx) / half, (v - cy) / half)
    origin = grid.west, grid.north  # solved near zero, so that 2,000,000 m cost no digits
    coefficients = np.linalg.lstsq(terms, np.column_stack([e - origin[0], n - origin[1]]), rcond=None)[0]
    east, north = coefficients[:, 0], coefficients[:, 1]
    east[0] += origin[0]
    north[0] += origin[1]
    projection = Projection(
        (cx, cy), half, tuple(east.tolist()), tuple(north.tolist()), reference.z_factor, box
    )  # fmt: skip
    worst = largest_error_m(projection, step)
    if not worst <= TOLERANCE_M:
        raise Refused(
            "crs_not_usable",
            f"found that the step from {label(reference.crs)} to the field's coordinates bends by {worst * 1000:.2g} "
            f"mm more than a smooth one over {grid.nx * grid.cell_m:.0f} x {grid.ny * grid.cell_m:.0f} m; expected "
            f"at most {TOLERANCE_M * 1000:g} mm. Have the points exported in the field's coordinates.",
        )
    return projection


def field_step(reference: Reference, grid: Grid) -> Step:
    """The exact step from a file's coordinates to the grid's.

    raises : Refused `crs_not_usable`
    """
    target = read_crs(grid.crs)
    place = lon_lat(target, (grid.west + grid.east) / 2, (grid.south + grid.north) / 2)
    try:
        return step_between(reference.crs, target, place)
    except NoExactStep as error:
        raise Refused("crs_not_usable", f"{error}. Have the points exported in {label(target)}.") from error


def largest_error_m(projection: Projection, step: Step) -> float:
    """How far the polynomial leaves the exact step at 1,000 points of its box at most, m; inf where there is none."""
    x, y = _lattice(projection.box, *TESTED, chebyshev=False)
    e, n = step(x, y)
    fe, fn = projection.apply(x, y)
    off = np.hypot(fe - e, fn - n)
    return float(off.max()) if np.isfinite(off).all() else float("inf")


def _box(step: Step, grid: Grid) -> tuple[float, float, float, float]:
    """The grid's outline, grown by MARGIN_M, carried back to source coordinates: xmin, ymin, xmax, ymax."""
    along = np.linspace(0.0, 1.0, ALONG)
    west, south, east, north = grid.west - MARGIN_M, grid.south - MARGIN_M, grid.east + MARGIN_M, grid.north + MARGIN_M
    e = np.concatenate([west + along * (east - west)] * 2 + [np.full(ALONG, west), np.full(ALONG, east)])
    n = np.concatenate([np.full(ALONG, south), np.full(ALONG, north)] + [south + along * (north - south)] * 2)
    x, y = step.back(e, n)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise Refused(
            "crs_not_usable",
            f"found {label(step.source)}, which has no numbers for the field's place; expected coordinates that are "
            "in use there. Ask whoever made the file which coordinates these are.",
        )
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def _lattice(box: tuple, across: int, along: int, chebyshev: bool) -> tuple[np.ndarray, np.ndarray]:
    """Points of a box, (across * along,): evenly spaced, edges included, or at the nodes a polynomial fits best at."""
    if chebyshev:
        a, b = (0.5 - 0.5 * np.cos(np.pi * (np.arange(k) + 0.5) / k) for k in (across, along))
    else:
        a, b = np.linspace(0.0, 1.0, across), np.linspace(0.0, 1.0, along)
    x, y = np.meshgrid(box[0] + a * (box[2] - box[0]), box[1] + b * (box[3] - box[1]))
    return x.ravel(), y.ravel()


def _terms(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """The ten products of `Projection` in its order, (n, 10)."""
    return np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v, u**3, u * u * v, u * v * v, v**3])
