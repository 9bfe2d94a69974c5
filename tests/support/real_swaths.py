"""Overlapping swaths of one flight as two surveys of one day: nothing changed, whatever is claimed is false.

Places drawn by hand as an operator would, pavement and yards with kerbs and trees; and all the flat ground of the three files,
found by a rule that looks at neither offset nor change.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from scipy.ndimage import binary_opening
from scipy.special import betaincinv
from support.chain import Chain, Shape, square
from support.real_files import at_proposed

from pipeline import jobs
from pipeline.change.difference import Change
from pipeline.change.zones import ZoneChange, zone_changes
from pipeline.diamond.layout import Layout
from pipeline.steps import surveyed
from pipeline.steps.change import difference
from pipeline.steps.change_noise import pair_noises
from pipeline.steps.change_patches import moved_ground
from pipeline.steps.surveyed import Surveyed
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.stable.correlated import linear_covariance
from pipeline.survey.stable.tie import Tie

SWATHS = {"swath-706": 706, "swath-707": 707}


@dataclass(frozen=True)
class Place:
    """Even ground that both swaths saw, as a skin, and squares of 2 m beside it where both saw pavement.

    bounds : west, south, east, north, m
    stable : middles of the squares; with none the pair stays relative
    """

    name: str
    bounds: tuple[float, float, float, float]
    stable: tuple[tuple[float, float], ...] = ()

    @property
    def shapes(self) -> list[Shape]:
        return [Shape("skin", shapely.box(*self.bounds)), *(Shape("stable", square(e, n, 2.0)) for e, n in self.stable)]


CAR_PARK = 770551, 6277531, 770573, 6277547
YARD = 770505, 6277555, 770515, 6277566
BESIDE_CAR_PARK = (
    (770575, 6277541), (770565, 6277549), (770562, 6277549), (770552, 6277549), (770551, 6277529), (770556, 6277529),
    (770569, 6277529), (770575, 6277538),
)  # fmt: skip
BESIDE_YARD = (
    (770520, 6277570), (770505, 6277568), (770503, 6277562), (770503, 6277556), (770506, 6277553), (770523, 6277559), (770520, 6277573),
)  # fmt: skip
PLACES = {
    "swaths/77055_627755.laz": (
        Place("car-park", CAR_PARK), Place("road", (770588, 6277501, 770599, 6277527)), Place("car-park-tied", CAR_PARK, BESIDE_CAR_PARK),
    ),
    "swaths/77050_627760.laz": (Place("street", (770538, 6277551, 770549, 6277563)), Place("yard", YARD), Place("yard-tied", YARD, BESIDE_YARD)),
}  # fmt: skip


def swath_pair(data: Path, folder: Path, tile: str) -> tuple[Chain, dict, float]:
    """One tile's two swaths as two surveys of the same day, for all places drawn on it."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = _split(data / tile, folder)
    surveys = [
        {"survey_id": name, "flown_on": "2020-03-01", "path": str(path), "vertical_unit": "m", "height_reference": "EPSG:5720"}
        for name, path in paths.items()
    ]  # fmt: skip
    fields = {p.name: p.shapes for p in PLACES.get(tile, ())} | flat_fields(data / tile)
    return at_proposed(folder, "EPSG:2154", fields, surveys, "history")


def _split(path: Path, folder: Path) -> dict[str, Path]:
    """A cloud's swaths, each as a file of its own."""
    import laspy

    whole, out = laspy.read(path), {}
    for name, source in SWATHS.items():
        part = laspy.LasData(whole.header)
        part.points = whole.points[np.asarray(whole.point_source_id) == source]
        out[name] = folder / f"{name}.laz"
        part.write(out[name])
    return out


def swath_change(chain: Chain, field: str) -> tuple[Layout, Change, Tie]:
    """The change that the chain sees between the two swaths, and the pair's tie."""
    layout = chain.layout(field)
    kept = {name: surveyed.read(chain.where, layout, name) for name in SWATHS}
    job = jobs.job(jobs.given(chain.project, "change", str(chain.folder), field, ""), field, "")
    noise, gone = pair_noises(job, layout, kept).of(*SWATHS), moved_ground(job, layout, kept).between(*SWATHS)
    return layout, *difference(layout, *kept.values(), noise, gone)


# ---- all flat ground --------------------------------------------------------------------------------------

TILES = "swaths/77050_627755.laz", "swaths/77050_627760.laz", "swaths/77055_627755.laz"
FLAT_RANGE_M, FLAT_POINTS = 0.15, 4  # README's rule for flat ground: cells of 1 m, both swaths
STABLE_SIDE_M, STABLE_COUNT, CLEAR_M = 2.0, 8, 0.3
SIDES_M = (3.0, 4.0, 5.0)


def flat_fields(path: Path) -> dict[str, list[Shape]]:
    """A tile's flat ground as a skin, without stable ground and with: eight squares of it, as far apart as they come."""
    west, south, flat = flat_cells(path)
    ground = shapely.union_all([shapely.box(west + c, south + r, west + c + 1, south + r + 1) for r, c in zip(*np.nonzero(flat))])
    pads = _far_apart(west, south, flat)
    less = shapely.difference(ground, shapely.union_all(pads).buffer(CLEAR_M))
    name = path.stem.replace("_", "-")
    return {
        f"flat-{name}": [*_parts("skin", ground), _edge(ground)],
        f"flat-{name}-tied": [*_parts("skin", less), _edge(less), *(Shape("stable", pad) for pad in pads)],
    }


def _parts(role: str, shape: shapely.Geometry) -> list[Shape]:
    return [Shape(role, part) for part in shapely.get_parts(shape)]


def _edge(ground: shapely.Geometry) -> Shape:
    """One short line for a grass edge, so that the ground's many rims are not taken for some."""
    west, south, east, _ = max(shapely.get_parts(ground), key=shapely.area).bounds
    return Shape("grass_edge", shapely.LineString([(west, south), (min(east, west + 6.0), south)]), "rim")


def flat_cells(path: Path) -> tuple[float, float, np.ndarray]:
    """West, south and (50, 50) bool from the south-west up: cells of 1 m that are flat in both swaths, 3 x 3 or more together.

    Producer's ground (class 2) by laspy; a range of heights tells neither of an offset nor of a change of level.
    """
    import laspy

    las = laspy.read(path)
    ground = np.asarray(las.classification) == 2
    x, y, z, source = (np.asarray(v)[ground] for v in (las.x, las.y, las.z, las.point_source_id))
    west, south = np.floor(x.min() / 50) * 50, np.floor(y.min() / 50) * 50
    row, col = np.clip(np.floor(y - south), 0, 49).astype(int), np.clip(np.floor(x - west), 0, 49).astype(int)
    flat = np.ones((50, 50), bool)
    for one in SWATHS.values():
        mine = source == one
        count, low, high = np.zeros((50, 50)), np.full((50, 50), np.inf), np.full((50, 50), -np.inf)
        at = row[mine], col[mine]
        np.add.at(count, at, 1)
        np.minimum.at(low, at, z[mine])
        np.maximum.at(high, at, z[mine])
        flat &= (count >= FLAT_POINTS) & (high - low < FLAT_RANGE_M)
    return float(west), float(south), binary_opening(flat, np.ones((3, 3), bool))


def _far_apart(west: float, south: float, flat: np.ndarray) -> list[shapely.Polygon]:
    """Squares of flat ground, each the furthest from those before; the first one the most south-westerly."""
    whole = flat[:-1, :-1] & flat[1:, :-1] & flat[:-1, 1:] & flat[1:, 1:]
    at = np.column_stack(np.nonzero(whole)).astype(float) + 1.0
    chosen = [int(np.argmin(at.sum(axis=1)))]
    while len(chosen) < STABLE_COUNT:
        chosen.append(int(np.argmax(np.min([np.hypot(*(at - at[k]).T) for k in chosen], axis=0))))
    return [square(west + at[k, 1], south + at[k, 0], STABLE_SIDE_M) for k in chosen]


def squares(layout: Layout, change: Change, side_m: float) -> list[ZoneChange]:
    """Every square of skin as a zone of its own, judged together; those too little seen left out."""
    grid, skin = layout.grid, layout.grid.mask(layout.skin)
    e, n = grid.mesh()
    col, row = (np.floor((v - start) / side_m).astype(int) for v, start in ((e, grid.west), (n, grid.south)))
    zones = {}
    for i in range(col.max() + 1):
        for k in range(row.max() + 1):
            cells = (col == i) & (row == k) & skin
            if cells.sum() * grid.cell_area_m2 >= 0.6 * side_m**2:
                zones[f"{i}-{k}"] = cells
    found, _ = zone_changes(change, zones)
    return [z for z in found if np.isfinite(z.p)]


LEVEL_95 = 1.959963984540054


@dataclass(frozen=True)
class Held:
    """How many 95 % intervals held zero: count, of how many, root mean square of change over s.d."""

    inside: int
    total: int
    rms: float

    @classmethod
    def of(cls, in_sd: np.ndarray) -> Held:
        return cls(int((np.abs(in_sd) <= LEVEL_95).sum()), len(in_sd), float(np.sqrt(np.mean(np.square(in_sd)))))

    @property
    def share(self) -> float:
        return self.inside / self.total

    @property
    def interval(self) -> tuple[float, float]:
        """Binomial 95 % interval of the share (Clopper & Pearson 1934, from memory), as if no two zones shared an error."""
        k, n = self.inside, self.total
        low = betaincinv(k, n - k + 1, 0.025) if k else 0.0
        return float(low), float(betaincinv(k + 1, n - k, 0.975) if k < n else 1.0)

    def reaches(self, low: float = 0.92, high: float = 0.98) -> bool:
        """Whether the share, or its interval, lies in low..high."""
        return self.interval[0] <= high and self.interval[1] >= low


def in_sd(found: list[ZoneChange]) -> np.ndarray:
    """Mean change of each zone over its s.d."""
    return np.array([z.mean_m / z.mean_sigma_m for z in found])


# ---- what the strips show of their own noise --------------------------------------------------------------

STRIP_SIDE_M = 2.0
STRIP_MM = np.arange(0.0, 12.1, 0.25)


@dataclass(frozen=True)
class StripNoise:
    """One correlated part of the pair, s.d. in mm: the likeliest, the ends of its 95 % interval, and as declared."""

    range_m: float
    found_mm: float
    low_mm: float
    high_mm: float
    declared_mm: float


def strip_noise(pairs: list[tuple[Layout, Surveyed, Surveyed]]) -> StripNoise:
    """The longest part by restricted likelihood over all pairs' means of squares, shift and tilt unknown, the rest as declared.

    source : Harville 1977 (from memory); interval where the likelihood falls by half of chi-square's 95 %, 1.92
    """
    systems = [_system(*pair) for pair in pairs]
    declared = of_difference(pairs[0][1].cell_noise, pairs[0][2].cell_noise).parts
    (sd, range_m), rest = declared[-1], declared[:-1]
    likelihood = np.array([sum(_restricted(s, (*rest, (mm / 1000, range_m))) for s in systems) for mm in STRIP_MM])
    inside = STRIP_MM[likelihood >= likelihood.max() - 1.92]
    return StripNoise(range_m, float(STRIP_MM[likelihood.argmax()]), float(inside[0]), float(inside[-1]), 1000 * sd)


def _system(layout: Layout, earlier: Surveyed, later: Surveyed):
    """Means of squares, m; their plane's design; their own covariance; the unit covariance of each declared part by its range."""
    grid, dz = layout.grid, later.z - earlier.z
    held = layout.grid.mask(layout.skin) & np.isfinite(dz)
    e, n = grid.mesh()
    col, row = (np.floor((v - start) / STRIP_SIDE_M).astype(int) for v, start in ((e, grid.west), (n, grid.south)))
    name = np.where(held, row * (col.max() + 1) + col, -1)
    squares = [name == k for k in np.unique(name[held])]
    weights = np.array([w / w.sum() for w in squares if w.sum() * grid.cell_area_m2 >= 0.6 * STRIP_SIDE_M**2])
    white = np.nan_to_num(np.hypot(earlier.white, later.white))
    own = np.diag([((w * white) ** 2).sum() for w in weights])
    mean, east, north = ((weights * np.where(held, v, 0.0)).sum(axis=(1, 2)) for v in (dz, e - e[held].mean(), n - n[held].mean()))
    design = np.column_stack([np.ones(len(weights)), east, north])
    ranges = [r for _, r in of_difference(earlier.cell_noise, later.cell_noise).parts]
    return mean, design, own, {r: linear_covariance(weights, Noise(0.0, ((1.0, r),), 0.0, 0.0, 0.0, 0.0), grid.cell_m, 0.0) for r in ranges}


def _restricted(system, parts: tuple[tuple[float, float], ...]) -> float:
    y, x, own, unit = system
    v = own + sum(sd**2 * unit[r] for sd, r in parts)
    inverse = np.linalg.inv(v)
    on_plane = x.T @ inverse @ x
    left = y @ inverse @ y - (x.T @ inverse @ y) @ np.linalg.solve(on_plane, x.T @ inverse @ y)
    return -0.5 * float(np.linalg.slogdet(v)[1] + np.linalg.slogdet(on_plane)[1] + left)
