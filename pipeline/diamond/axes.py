"""The diamond's own axes: origin at the rear point of home plate, y toward second base, x toward first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Axes:
    """home_e, home_n: rear point of home plate, m; bearing_rad: home to second, clockwise from grid north."""

    home_e: float
    home_n: float
    bearing_rad: float

    @classmethod
    def through(cls, home: tuple[float, float], second: tuple[float, float]) -> Axes:
        """Axes from the two points an operator gives: rear point of home plate, middle of second base."""
        return cls(home[0], home[1], float(np.arctan2(second[0] - home[0], second[1] - home[1])))

    def world(self, x, y) -> tuple[np.ndarray, np.ndarray]:
        """Easting and northing of diamond coordinates, m."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        s, c = np.sin(self.bearing_rad), np.cos(self.bearing_rad)
        return self.home_e + x * c + y * s, self.home_n - x * s + y * c

    def local(self, e, n) -> tuple[np.ndarray, np.ndarray]:
        """Diamond x, y of eastings and northings, m."""
        de, dn = np.asarray(e, float) - self.home_e, np.asarray(n, float) - self.home_n
        s, c = np.sin(self.bearing_rad), np.cos(self.bearing_rad)
        return de * c - dn * s, de * s + dn * c

    def geometry(self, shape):
        """A shapely geometry in diamond coordinates, carried to the working CRS."""
        import shapely

        return shapely.transform(shape, lambda xy: np.column_stack(self.world(xy[:, 0], xy[:, 1])))
