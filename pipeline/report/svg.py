"""Drawing in SVG: elements as text, and the frame that carries field coordinates to the page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

import numpy as np
import shapely

from pipeline.diamond.axes import Axes

WIDE = 640.0  # drawing units across a map
NICE = (1, 2, 5, 10, 20, 50, 100, 200)


def el(name: str, inner: str = "", **attributes) -> str:
    """One element; `_` in attribute names becomes `-`, None is left out, numbers are rounded to 0.01."""
    text = "".join(f' {k.rstrip("_").replace("_", "-")}="{_attribute(v)}"' for k, v in attributes.items() if v is not None)
    return f"<{name}{text}>{inner}</{name}>" if inner else f"<{name}{text}/>"


def _attribute(value) -> str:
    if isinstance(value, float):
        return f"{round(value, 2):g}"
    return escape(str(value), quote=True)


def words(x: float, y: float, text: str, **attributes) -> str:
    return el("text", escape(text), x=float(x), y=float(y), **attributes)


def barb(x0: float, y0: float, x1: float, y1: float, size: float) -> str:
    """Path of an arrow's head at the end of a line, its sides `size` along the line."""
    length = max(math.hypot(x1 - x0, y1 - y0), 1e-6)
    ux, uy = (x1 - x0) / length * size, (y1 - y0) / length * size
    return f"M{x1 - ux - uy * 0.6:.1f} {y1 - uy + ux * 0.6:.1f}L{x1:.1f} {y1:.1f}L{x1 - ux + uy * 0.6:.1f} {y1 - uy - ux * 0.6:.1f}"


def picture(width: float, height: float, name: str, title: str, about: str, inner: str, kind: str) -> str:
    """A whole drawing with its name and description for those who do not see it."""
    head = el("title", escape(title), id=f"{name}-t") + el("desc", escape(about), id=f"{name}-d")
    return el("svg", head + inner, viewBox=f"0 0 {width:g} {height:g}", role="img", aria_labelledby=f"{name}-t {name}-d",
              class_=kind, xmlns="http://www.w3.org/2000/svg")  # fmt: skip


@dataclass(frozen=True)
class Frame:
    """A field on the page, seen from behind home plate (second base up); north up where no home is known.

    axes   : the diamond's axes, or None
    left, top : page coordinates' origin in turned metres
    k      : drawing units a metre
    width, height : of the drawing
    """

    axes: Axes | None
    left: float
    top: float
    k: float
    width: float
    height: float

    @classmethod
    def around(cls, axes: Axes | None, shapes, margin_m: float, foot: float) -> Frame:
        """A frame that holds the shapes with a margin; `foot` drawing units are kept free below."""
        turned = shapely.transform(shapely.union_all(list(shapes)), lambda xy: np.column_stack(_turn(axes, xy[:, 0], xy[:, 1])))
        west, south, east, north = turned.bounds
        k = WIDE / (east - west + 2 * margin_m)
        return cls(axes, west - margin_m, north + margin_m, k, WIDE, (north - south + 2 * margin_m) * k + foot)

    def xy(self, e, n) -> tuple[np.ndarray, np.ndarray]:
        """Drawing coordinates of eastings and northings."""
        x, y = _turn(self.axes, e, n)
        return (x - self.left) * self.k, (self.top - y) * self.k

    def path(self, geometry) -> str:
        """The `d` of a line or polygon, or of many."""
        return "".join(self._part(g) for g in getattr(geometry, "geoms", (geometry,)) if not g.is_empty)

    def _part(self, geometry) -> str:
        if geometry.geom_type == "Polygon":
            return "".join(self._run(r, "Z") for r in (geometry.exterior, *geometry.interiors))
        return self._run(geometry, "")

    def _run(self, line, close: str) -> str:
        xy = np.asarray(line.coords)
        return self.run(xy[:, 0], xy[:, 1]) + close

    def run(self, e, n) -> str:
        x, y = self.xy(e, n)
        return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y))

    def matrix(self, west: float, north: float, cell_m: float) -> str:
        """Transform that lays an image of one unit a cell, its first row north, onto the page."""
        (x0, x1, x2), (y0, y1, y2) = self.xy(np.array([west, west + cell_m, west]), np.array([north, north, north - cell_m]))
        return "matrix({:.6f} {:.6f} {:.6f} {:.6f} {:.4f} {:.4f})".format(x1 - x0, y1 - y0, x2 - x0, y2 - y0, x0, y0)

    @property
    def north_deg(self) -> float:
        """Where grid north points on the page, degrees clockwise from up."""
        return 0.0 if self.axes is None else -math.degrees(self.axes.bearing_rad)


def _turn(axes: Axes | None, e, n) -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing with second base straight up from home; lengths stay."""
    return (np.asarray(e, float), np.asarray(n, float)) if axes is None else axes.local(e, n)


def scale_bar(frame: Frame, unit_m: float, unit: str, x: float, y: float) -> str:
    """A bar of a round length in the reader's unit, a fifth of the drawing at most."""
    length = max(v for v in NICE if v * unit_m * frame.k <= frame.width / 4)
    wide = length * unit_m * frame.k
    ticks = f"M{x:.1f} {y - 6:.1f}V{y:.1f}H{x + wide:.2f}V{y - 6:.1f}M{x + wide / 2:.2f} {y - 4:.1f}V{y:.1f}"
    bar = el("path", d=ticks, class_="scale", data_length=f"{length} {unit}", data_wide=f"{wide:.2f}")
    return bar + words(x + wide / 2, y + 23, f"{length}\u00a0{unit}", class_="small", text_anchor="middle")


def north(frame: Frame, x: float, y: float, label: str) -> str:
    """A plain needle with its letter, toward grid north."""
    needle = el("path", d="M0 16V-16M-5 -8L0 -16L5 -8", class_="needle")
    turn = math.radians(frame.north_deg)
    letter = words(x + 29 * math.sin(turn), y - 29 * math.cos(turn) + 4.5, label, class_="small", text_anchor="middle")
    return el("g", needle, transform=f"translate({x:.1f} {y:.1f}) rotate({frame.north_deg:.2f})") + letter
