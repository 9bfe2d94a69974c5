"""Points on their way from a file to a grid, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TICK_M = 1e-4  # stored coordinates count tenths of a millimetre


@dataclass(frozen=True)
class Chunk:
    """Some points of one file, as decoded: integers with scale and offset, or floats with (1, 0).

    x, y, z   : (n,) int32 or float64, in the file's own axes and units before scale and offset
    scale     : x, y, z scale; coordinate = raw * scale + offset
    offset    : x, y, z offset
    klass     : (n,) uint8 LAS classification, or None
    rgb       : (n, 3) uint8 colour (16-bit colours brought to 8), or None where the file has none
    intensity : (n,) uint16, or None
    """

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    klass: np.ndarray | None = None
    rgb: np.ndarray | None = None
    intensity: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.x)


@dataclass(frozen=True)
class Projection:
    """Source x, y to working easting, northing by a bicubic fitted over one field, heights by a factor.

    centre    : source x, y at the middle of the fitted box
    half      : half the box's larger side, source units
    east      : (10,) coefficients of easting over u = (x - cx) / half, v = (y - cy) / half in the order
                1, u, v, u2, uv, v2, u3, u2v, uv2, v3; m
    north     : (10,) the same for northing, m
    z_factor  : metres per source height unit
    box       : source x, y bounds (xmin, ymin, xmax, ymax) outside which no point can fall on the field
    """

    centre: tuple[float, float]
    half: float
    east: tuple[float, ...]
    north: tuple[float, ...]
    z_factor: float
    box: tuple[float, float, float, float]

    def apply(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Working easting and northing of source coordinates, same shape, m."""
        u = (np.asarray(x, float) - self.centre[0]) / self.half
        v = (np.asarray(y, float) - self.centre[1]) / self.half
        terms = (1.0, u, v, u * u, u * v, v * v, u**3, u * u * v, u * v * v, v**3)
        e = sum(c * t for c, t in zip(self.east, terms))
        n = sum(c * t for c, t in zip(self.north, terms))
        return e, n


@dataclass(frozen=True)
class Ground:
    """The ground points of one survey on one field, in the field's working CRS.

    west, south : origin, m (the field grid's west and south edges)
    z0          : height datum of the stored heights, whole m
    x, y        : (n,) int32, TICK_M from west and south
    z           : (n,) int32, TICK_M above z0
    rgb         : (n, 3) uint8 or None
    intensity   : (n,) uint16 or None
    """

    west: float
    south: float
    z0: float
    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    rgb: np.ndarray | None = None
    intensity: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.x)

    def metres(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Easting, northing, height of every point, (n,) float64, m."""
        return self.west + self.x * TICK_M, self.south + self.y * TICK_M, self.z0 + self.z * TICK_M

    def take(self, chosen: np.ndarray) -> Ground:
        """The points that a mask or an index array chooses."""
        return Ground(
            self.west, self.south, self.z0, self.x[chosen], self.y[chosen], self.z[chosen],
            None if self.rgb is None else self.rgb[chosen],
            None if self.intensity is None else self.intensity[chosen],
        )  # fmt: skip

    def moved(self, east_m: float, north_m: float) -> Ground:
        """All points moved sideways, whole TICK_M."""
        dx, dy = round(east_m / TICK_M), round(north_m / TICK_M)
        return Ground(
            self.west, self.south, self.z0, self.x + np.int32(dx), self.y + np.int32(dy), self.z, self.rgb, self.intensity
        )
