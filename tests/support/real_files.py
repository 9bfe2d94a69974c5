"""The chain on real, openly licensed clouds: fields drawn on them by hand, run as an operator would run them.

The tests hold the figures to what others measured, `benchmarks/real_files.py` prints them. Where the files come from, their
licences and what was measured on them stand in the README beside them. No file here is of a ball field.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from support.chain import Chain, Shape, run, square, write_project

from pipeline.coordinates import working_crs
from pipeline.frame import Grid
from pipeline.store.points import open_points
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import Reference, resolve
from pipeline.survey.reading.stated import Stated
from pipeline.survey.reading.whereabouts import look

LIMITS_MM = {"lip_mm": 25, "lip_trip_mm": 50, "low_spot_mm": 20, "low_spot_trip_mm": 60, "planarity_mm": 13}
TOLERANCES = {name: {"value": mm, "set_by": "nobody: a test", "set_on": "2026-01-01"} for name, mm in LIMITS_MM.items()}
PROPOSAL = re.compile(r"Set cell_size_m to ([0-9.]+) or more")


def project(folder: Path, crs: str, fields: dict, surveys: list[dict], cell_m: float, last: str = "portfolio") -> Chain:
    return run(write_project(folder, crs, fields, surveys, cell_size_m=cell_m, tolerances=TOLERANCES, units="metric"), last)


def proposed(chain: Chain) -> dict[tuple[str, str], float]:
    """Field and survey to the smallest cell that its refusal names, m."""
    out = {}
    for field in chain.project.fields:
        for row in chain.project.surveys_of(field):
            record = chain.record(field, row["survey_id"])
            assert (record["verdict"], record["reason_code"]) == ("refused", "too_sparse"), record["reason"]
            out[field, row["survey_id"]] = float(PROPOSAL.search(record["reason"])[1])
    return out


def at_proposed(folder: Path, crs: str, fields: dict, surveys: list[dict], last: str = "portfolio") -> tuple[Chain, dict, float]:
    """The project on 0.10 m, which is refused, and on the widest cell of the refusals: the latter's chain, refusals, cell."""
    refused = proposed(project(folder / "fine", crs, fields, surveys, 0.10, "tie"))
    cell_m = max(refused.values())
    return project(folder / "wide", crs, fields, surveys, cell_m, last), refused, cell_m


# ---- lawns: one survey in international feet, heights without a unit -----------------------------------


@dataclass(frozen=True)
class Window:
    """A square of turf and the plane that the README found in it.

    east, north  : its middle, ft; side : ft
    slope_pct    : rise to the east and to the north, %, or None where only the fall is printed
    fall_pct     : of the plane
    residual_mm  : s.d. of the points about it
    """

    file: str
    east: float
    north: float
    side: float
    slope_pct: tuple[float, float] | None
    fall_pct: float
    residual_mm: float

    @property
    def field(self) -> str:
        return f"{Path(self.file).stem.replace('_', '-')}-{self.side:.0f}-{self.east:.0f}-{self.north:.0f}"


def _turf(east, north, slope_e, slope_n, residual_ft) -> Window:
    return Window("park/athletic_field.laz", east, north, 60, (slope_e, slope_n), float(np.hypot(slope_e, slope_n)), residual_ft * 304.8)


TURF = [
    _turf(636220, 852080, 0.25, 0.83, 0.060), _turf(636100, 852120, 0.11, 0.70, 0.059), _turf(636420, 852220, 0.52, 1.59, 0.066),
    _turf(636350, 852380, -0.44, -1.42, 0.070),
]  # fmt: skip
OVER_THE_CROWN = Window("park/athletic_field.laz", 636300, 852330, 60, None, np.nan, 0.137 * 304.8)
LAWN = [
    Window("park/autzen_trim.laz", 636156, 849140, 150, None, 0.04, 0.055 * 304.8),
    Window("park/autzen_trim.laz", 636151, 849165, 100, None, np.nan, 0.050 * 304.8),
    Window("park/autzen_trim.laz", 636101, 849235, 60, None, np.nan, 0.043 * 304.8),
]
# Medians of 20 x 20 ft along x = 636350, ft: two falls that meet in a crown.
CROWN = {
    852000: 415.16, 852060: 415.68, 852120: 416.01, 852180: 416.40, 852240: 417.16, 852270: 417.65, 852300: 418.01, 852330: 417.72,
    852360: 417.32, 852390: 416.86,
}  # fmt: skip
PITCH = shapely.box(636250, 851985, 636400, 852430)
FOOT_M = 0.3048


def turf(data: Path, folder: Path) -> tuple[Chain, dict, float]:
    """The crowned pitch and five windows on it, one file, one survey for all of them."""
    fields = {"pitch": [Shape("skin", PITCH)], **_windows([*TURF, OVER_THE_CROWN])}
    return at_proposed(folder, "EPSG:2994", fields, [_in_feet(data / TURF[0].file)])


def lawn(data: Path, folder: Path) -> tuple[Chain, dict, float]:
    """Three windows on mown grass."""
    return at_proposed(folder, "EPSG:2994", _windows(LAWN), [_in_feet(data / LAWN[0].file)])


def _windows(windows: list[Window]) -> dict[str, list[Shape]]:
    return {w.field: [Shape("skin", square(w.east, w.north, w.side))] for w in windows}


def _in_feet(path: Path) -> dict:
    return {"survey_id": "flight", "flown_on": "2010-06-01", "path": str(path), "vertical_unit": "ft", "height_reference": "EPSG:5703"}


def plane_of_points(data: Path, window: Window) -> tuple[float, float, float]:
    """Rise to the east and north, %, and s.d. about the plane, mm, of all points in a window: laspy and statsmodels."""
    import laspy
    import statsmodels.api as sm

    las = laspy.read(data / window.file)
    x, y, z = (np.asarray(v, float) for v in (las.x, las.y, las.z))
    here = (abs(x - window.east) < window.side / 2) & (abs(y - window.north) < window.side / 2)
    design = np.column_stack([np.ones(here.sum()), x[here] - window.east, y[here] - window.north])
    fit = sm.RLM(z[here], design, M=sm.robust.norms.TukeyBiweight()).fit()
    near = fit.resid[abs(fit.resid) < 5 * fit.scale]
    return float(100 * fit.params[1]), float(100 * fit.params[2]), float(near.std() * FOOT_M * 1000)


def scatter_mm(chain: Chain, field: str) -> float:
    """What the chain says of the points about the plane: their own noise and the unevenness together."""
    noise = chain.record(field, "flight")["figures"]["white_point_mm"]
    return float(np.hypot(noise, float(chain.table(field, "zones")[0]["planarity_mm"])))


def crown_profile(chain: Chain) -> dict[int, float]:
    """Median of the elevation raster in 20 x 20 ft about the places of CROWN, ft."""
    z = chain.raster(chain.where.raster("pitch", "flight", "elevation"), "pitch")
    e, n = chain.layout("pitch").grid.mesh()
    half, east = 10 * FOOT_M, 636350 * FOOT_M
    return {y: float(np.nanmedian(z[(abs(e - east) < half) & (abs(n - y * FOOT_M) < half)])) / FOOT_M for y in CROWN}


# ---- a bike track at two dates: xy metres, z US survey feet, no stable ground --------------------------

DATES = {"y2010": "park/bmx-2010.laz", "y2023": "park/bmx-2023.laz"}
US_FOOT_M = 1200 / 3937


def metres(path: Path) -> np.ndarray:
    """A bike track's points as laspy reads them, (n, 3), m."""
    import laspy

    las = laspy.read(path)
    return np.column_stack([las.x, las.y, np.asarray(las.z) * US_FOOT_M])


def bike_track(data: Path, folder: Path) -> tuple[Chain, dict, float]:
    """The ground both dates saw, a metre in from its edge."""
    seen = [shapely.MultiPoint(metres(data / file)[:, :2]).convex_hull for file in DATES.values()]
    skin = shapely.intersection_all(seen).buffer(-1.0)
    surveys = [{"survey_id": name, "flown_on": f"{name[1:]}-06-01", "path": str(data / file)} for name, file in DATES.items()]
    return at_proposed(folder, "EPSG:2991", {"track": [Shape("skin", skin)]}, surveys)


@dataclass(frozen=True)
class Compared:
    """Relative change of the track in cells both computations have, (k,), m; and what `independent` took off, m.

    ours, sigma : change.tif and change_sigma.tif
    theirs      : means over the cells of a difference of two Delaunay surfaces, less their own robust plane
    shift       : mean over the cells of the plane that was taken off: the figure nobody may print
    cell_m2     : area of a cell
    """

    ours: np.ndarray
    sigma: np.ndarray
    theirs: np.ndarray
    shift: float
    cell_m2: float


def compare_track(data: Path, chain: Chain) -> Compared:
    """The change map against scipy's LinearNDInterpolator on both clouds and statsmodels' Tukey plane."""
    import statsmodels.api as sm

    grid, first, last = chain.layout("track").grid, *DATES
    ours, sigma = (chain.raster(chain.where.change("track", first, last, name), "track") for name in ("change", "change_sigma"))
    theirs = _delaunay_change(data, grid)
    e, n = grid.mesh()
    held = grid.mask(chain.layout("track").skin) & np.isfinite(ours) & np.isfinite(theirs)
    design = np.column_stack([np.ones(held.sum()), e[held] - e.mean(), n[held] - n.mean()])
    plane = design @ sm.RLM(theirs[held], design, M=sm.robust.norms.TukeyBiweight()).fit().params
    return Compared(ours[held], sigma[held], theirs[held] - plane, float(plane.mean()), grid.cell_area_m2)


@dataclass(frozen=True)
class AlongNormals:
    """Change along the ground's normals at the middles of cells, (k,), m; both without their robust plane of heights.

    ours, sigma : change.tif and change_sigma.tif times the upward part of the normal
    theirs      : distance of two clouds along the normal, and its own s.d. `their_sigma` from the scatter in the cylinders
    steepness   : of the ground there, m per m
    """

    ours: np.ndarray
    sigma: np.ndarray
    theirs: np.ndarray
    their_sigma: np.ndarray
    steepness: np.ndarray


NORMAL_RADIUS_M = 3.0  # 1.1 points / m2: thirty to a normal
FEWEST_IN_CYLINDER = 4


def track_along_normals(data: Path, chain: Chain) -> AlongNormals:
    """The change map against the distance of the two clouds along the same normals, in cylinders as large as the cells."""
    import statsmodels.api as sm

    grid, first, last = chain.layout("track").grid, *DATES
    ours, sigma = (chain.raster(chain.where.change("track", first, last, name), "track") for name in ("change", "change_sigma"))
    held = grid.mask(chain.layout("track").skin) & np.isfinite(ours)
    e, n = (v[held] for v in grid.mesh())
    normal, distance, spread = cloud_distance(*(metres(data / file) for file in DATES.values()), np.column_stack([e, n]), grid.cell_m / np.sqrt(np.pi))
    up, told = normal[:, 2], np.isfinite(distance)
    design = np.column_stack([np.ones(len(e)), e - e.mean(), n - n.mean()])
    theirs = distance / up
    plane = design @ sm.RLM(theirs[told], design[told], M=sm.robust.norms.TukeyBiweight()).fit().params
    parts = ours[held] * up, sigma[held] * up, (theirs - plane) * up, spread, np.hypot(normal[:, 0], normal[:, 1]) / up
    return AlongNormals(*(v[told] for v in parts))


def cloud_distance(first: np.ndarray, second: np.ndarray, at: np.ndarray, radius_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Normals (k, 3), distance (k,) of the second cloud from the first along them, and its s.d., m; NaN with too few points.

    at : (k, 2) places; the normal is that of the plane through the first cloud within NORMAL_RADIUS_M, upward; the distance that
         of the mean places of each cloud's points in a cylinder about the normal, nothing but scipy's tree and numpy's SVD
    source : Lague, Brodu & Leroux 2013, ISPRS J. 82, sections 3.1 and 3.2 (from memory)
    """
    from scipy.spatial import cKDTree

    flat = [cKDTree(cloud[:, :2]) for cloud in (first, second)]
    normals, distance, spread = np.full((len(at), 3), np.nan), np.full(len(at), np.nan), np.full(len(at), np.nan)
    for k, place in enumerate(at):
        near = first[flat[0].query_ball_point(place, NORMAL_RADIUS_M)]
        if len(near) < 3 * FEWEST_IN_CYLINDER:
            continue
        normal = np.linalg.svd(near - near.mean(axis=0))[2][2]
        normals[k] = normal = normal * np.sign(normal[2])
        core = np.append(place, near[:, 2].mean() - (place - near[:, :2].mean(axis=0)) @ normal[:2] / normal[2])
        along = []
        for cloud, tree in zip((first, second), flat):
            apart = cloud[tree.query_ball_point(place, 3 * radius_m)] - core
            height = apart @ normal
            along.append(height[np.linalg.norm(apart - height[:, None] * normal, axis=1) <= radius_m])
        if min(map(len, along)) >= FEWEST_IN_CYLINDER:
            distance[k] = along[1].mean() - along[0].mean()
            spread[k] = np.sqrt(sum(v.var(ddof=1) / len(v) for v in along))
    return normals, distance, spread


def _delaunay_change(data: Path, grid, fine: int = 9) -> np.ndarray:
    """2023 minus 2010 by linear interpolation, mean over fine x fine places of each cell, (ny, nx), m; NaN near the rim."""
    from scipy.interpolate import LinearNDInterpolator

    step = (np.arange(fine) + 0.5) / fine - 0.5
    e, n = (np.expand_dims(v, (2, 3)) for v in grid.mesh())
    e, n = np.broadcast_arrays(e + step[:, None] * grid.cell_m, n + step * grid.cell_m)
    middle = grid.west, grid.south
    heights = []
    for file in DATES.values():
        points = metres(data / file)
        heights.append(LinearNDInterpolator(points[:, :2] - middle, points[:, 2])(e - middle[0], n - middle[1]))
    dz = heights[1] - heights[0]
    known = np.isfinite(dz).mean(axis=(2, 3))
    return np.where(known > 0.8, np.nansum(dz, axis=(2, 3)) / np.maximum(fine**2 * known, 1), np.nan)


# ---- a whole complex in one file, and two files whose headers say everything ---------------------------

COMPLEX = "field/open_field.laz"
COMPLEX_FIELDS = {"east": (484925, 6632722), "north": (484850, 6632905)}
COMPLEX_SIDE_M = 40.0


def complex_of_two(data: Path, folder: Path) -> tuple[Chain, dict, float]:
    """Two fields of one file of 700,000 points."""
    fields = {name: [Shape("skin", square(*at, COMPLEX_SIDE_M))] for name, at in COMPLEX_FIELDS.items()}
    flight = {"survey_id": "flight", "flown_on": "2021-03-01", "path": str(data / COMPLEX), "vertical_unit": "m", "height_reference": "EPSG:5720"}
    return at_proposed(folder, "EPSG:2154", fields, [flight])


def dutch_corner(data: Path, folder: Path) -> tuple[Chain, dict, float]:
    """A corner of ground in a file that declares both its units and its height datum: the row says nothing."""
    flight = {"survey_id": "flight", "flown_on": "2020-01-01", "path": str(data / "small/rd_nap.laz")}
    return at_proposed(folder, "EPSG:28992", {"corner": [Shape("skin", shapely.box(85708, 447233, 85722, 447241))]}, [flight])


def hillside(data: Path, folder: Path) -> Chain:
    """A few thousand points over a square kilometre, US survey feet all three ways: far too sparse for any field."""
    flight = {"survey_id": "flight", "flown_on": "2010-01-01", "path": str(data / "small/usft_zone5.laz")}
    skin = square(6328400, 2070000, 3000)
    return project(folder, "EPSG:2229", {"hillside": [Shape("skin", skin)]}, [flight], 1.0)


def carried(path: Path, field_crs: str) -> tuple[Reference, np.ndarray]:
    """What the headers settle with an empty row, and all points in the field's working CRS, (n, 3), m."""
    file, crs = open_points(path), working_crs(field_crs)
    reference = resolve(file.facts, Stated("lidar"), crs)
    whole = look(file.facts, reference, Grid(crs, 0, 0, 1.0, 1, 1))
    projection = fit(reference, Grid.covering(whole.bounds, crs, 0.5))
    parts = []
    for chunk in file.chunks():
        raw = np.column_stack([chunk.x, chunk.y, chunk.z]) * chunk.scale + chunk.offset
        parts.append(np.column_stack([*projection.apply(raw[:, 0], raw[:, 1]), raw[:, 2] * projection.z_factor]))
    return reference, np.concatenate(parts)
