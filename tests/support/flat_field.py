"""Small invented fields that the tests of the surface share: a plane, hollows in it, and the error of a survey."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from pipeline.frame import Grid
from pipeline.surface.masks import Masks
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, WEAK_PHOTOGRAMMETRY, Noise

# One s.d. of a 0.1 m cell's own error at the declared spacings: white / sqrt(points in it) times the median's price.
SOURCES = {"good": (GOOD_PHOTOGRAMMETRY, 0.0015), "weak": (WEAK_PHOTOGRAMMETRY, 0.0045), "lidar": (LIDAR, 0.0060)}
EXACT = Noise(0.0, (), 0.0, 0.0, 0.0, 0.0)
NOWHERE = Grid("EPSG:6550", 5070000, 1750000, 0.1, 1, 1)  # a corner far from the origin, as in real coordinates


def square(side_m: float, cell_m: float = 0.1) -> Grid:
    """A square field."""
    n = int(round(side_m / cell_m))
    return Grid("EPSG:6550", round(507000 / cell_m), round(175000 / cell_m), cell_m, n, n)


def middle(grid: Grid) -> tuple[float, float]:
    return (grid.west + grid.east) / 2, (grid.north + grid.south) / 2


def error_of(source: str, grid: Grid) -> tuple[SurveyError, np.ndarray]:
    """A source's error model on a field, and its cells' own s.d."""
    noise, white = SOURCES[source]
    return SurveyError.of(noise, middle(grid)), np.full(grid.shape, white)


def no_error(grid: Grid) -> tuple[SurveyError, np.ndarray]:
    return SurveyError.of(EXACT, middle(grid)), np.zeros(grid.shape)


def plane(grid: Grid, east: float = 0.0, north: float = 0.0, height: float = 300.0) -> np.ndarray:
    """Heights of a plane that rises `east` and `north` metres per metre, about the field's middle."""
    e, n = grid.mesh()
    e0, n0 = middle(grid)
    return height + east * (e - e0) + north * (n - n0)


def bowl(grid: Grid, e: float, n: float, depth: float, rim: float) -> np.ndarray:
    """Depth of a paraboloid hollow, 0 beyond its rim."""
    ee, nn = grid.mesh()
    return depth * np.maximum(1 - ((ee - e) ** 2 + (nn - n) ** 2) / rim**2, 0.0)


def hollow(grid: Grid, e: float, n: float, depth: float, sd: float) -> np.ndarray:
    """Depth of a Gaussian hollow."""
    ee, nn = grid.mesh()
    return depth * np.exp(-((ee - e) ** 2 + (nn - n) ** 2) / (2 * sd**2))


def place(e: float, n: float, name: str = "second", near: str = "second base", disc=0.9, ring=(1.5, 2.7)):
    return SimpleNamespace(place_id=name, near=near, e=e, n=n, disc_m=disc, ring_in_m=ring[0], ring_out_m=ring[1])


def all_skin(grid: Grid, rim_m: float = 0.5) -> Masks:
    """Skin all over, with a band of grass along the raster's border."""
    rim = int(round(rim_m / grid.cell_m))
    skin = np.zeros(grid.shape, bool)
    skin[rim:-rim, rim:-rim] = True
    inner = np.zeros(grid.shape, bool)
    inner[rim + 3 : -rim - 3, rim + 3 : -rim - 3] = True
    none = np.zeros(grid.shape, bool)
    return Masks(skin, ~skin, skin & ~inner, none, none)
