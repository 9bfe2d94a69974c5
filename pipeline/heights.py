"""What heights count from: vertical datums, their units, and heights no ball field can have.

A height reference names a datum only, `EPSG:5703` for NAVD88 in whatever unit; the unit stands beside it.
No geoid is ever applied: the step from the ellipsoid to a datum is the surveyor's, not a guess of ours.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from pyproj import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError

from pipeline.units import LENGTH_UNITS, vertical_unit_of

ELLIPSOIDAL, LOCAL = "ellipsoidal", "local"
LOWEST_M, HIGHEST_M = -450.0, 6000.0  # the Dead Sea's shore, and above the highest towns
LARGEST_SPREAD_M = 150.0  # over one field, objects and outliers gone
_OTHER_UNITS = {"international feet": "ft", "metres": "m", "millimetres": "mm", "centimetres": "cm", "inches": "in"}


@dataclass(frozen=True)
class Vertical:
    """What a CRS says about heights.

    reference : `EPSG:5703`, `ellipsoidal`, or a datum's name where EPSG does not know it
    unit_m    : metres in one unit
    """

    reference: str
    unit_m: float


def vertical_of(crs: CRS) -> Vertical | None:
    """What a CRS says about heights; None for a horizontal one.

    raises : ValueError with a sentence where its vertical axis counts downward
    """
    while crs.is_bound:
        crs = crs.source_crs
    if crs.is_compound:
        parts = [part for part in crs.sub_crs_list if part.is_vertical]
        return _vertical(parts[0]) if parts else None
    if crs.is_vertical:
        return _vertical(crs)
    if len(crs.axis_info) == 3 and not crs.is_geocentric:
        return Vertical(ELLIPSOIDAL, crs.axis_info[2].unit_conversion_factor)
    return None


def _vertical(crs: CRS) -> Vertical:
    while crs.is_bound:
        crs = crs.source_crs
    axis = crs.axis_info[0]
    if axis.direction != "up":
        raise ValueError(f"found {crs.name!r}, which counts downward; expected heights that count upward")
    return Vertical(_datums().get(_datum(crs), crs.name), axis.unit_conversion_factor)


def normal_reference(text: str) -> str:
    """`height_reference` as results carry it: `EPSG:6360` (US feet) and `EPSG:8228` (feet) are `EPSG:5703`.

    raises : ValueError with a sentence
    """
    word = text.strip()
    if word.lower() in (ELLIPSOIDAL, LOCAL):
        return word.lower()
    expected = "expected an EPSG code of a vertical datum such as EPSG:5703, or ellipsoidal, or local"
    try:
        crs = CRS.from_user_input(word)
    except CRSError as error:
        raise ValueError(f"found {text!r}, which names no known heights; {expected}") from error
    if not crs.is_vertical:
        raise ValueError(f"found {text!r}, {crs.name}, which says nothing about heights alone; {expected}")
    return _vertical(crs).reference


@lru_cache(maxsize=1)
def _datums() -> dict[str, str]:
    """EPSG's vertical datums by plain name: the code of the CRS that counts upward from it in metres.

    By the datum and not by the CRS, since writers name that after a geoid model, a unit or their own fancy.
    """
    found: dict[str, tuple[bool, int]] = {}
    for info in query_crs_info("EPSG", [PJType.VERTICAL_CRS]):
        crs = CRS.from_epsg(int(info.code))
        axis, name = crs.axis_info[0], _datum(crs)
        if axis.direction == "up":
            rank = vertical_unit_of(axis.unit_conversion_factor) != "m", int(info.code)
            found[name] = min(rank, found.get(name, rank))
    return {name: f"EPSG:{epsg}" for name, (_, epsg) in found.items()}


def _datum(crs: CRS) -> str:
    """A vertical CRS's datum by name, without what writers change: case, spaces, underscores."""
    name = crs.name if crs.datum is None else crs.datum.name
    return re.sub(r"[^a-z0-9]", "", name.lower())


def reference_words(reference: str | None) -> str:
    """How a sentence says what heights count from: `above EPSG:5703 (NAVD88 height)`."""
    if reference is None:
        return "of no stated reference"
    if reference == ELLIPSOIDAL:
        return "above the ellipsoid"
    if reference == LOCAL:
        return "above a local mark"
    if reference.startswith("EPSG:"):
        return f"above {reference} ({CRS.from_user_input(reference).name})"
    return f"above {reference!r}"


def heights_problem(low: float, high: float, unit_m: float, spread: bool = True) -> str | None:
    """Why heights cannot be those of one ball field, with the likeliest reason; None where they can.

    low, high : of the points on the field, in their own unit, outliers gone
    unit_m    : metres in that unit as declared
    spread    : whether the points lie on one field, so that the spread between low and high tells too
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return f"found heights {low} to {high}; expected numbers"
    if _plausible(low, high, unit_m, spread):
        return None
    found = f"found heights of {low * unit_m:.1f} to {high * unit_m:.1f} m"
    expected = f"expected {LOWEST_M:.0f} to {HIGHEST_M:.0f} m"
    if spread:
        expected += f" and at most {LARGEST_SPREAD_M:.0f} m between the lowest and the highest ground of one field"
    fits = [f"{words} ({low * LENGTH_UNITS[unit]:.1f} to {high * LENGTH_UNITS[unit]:.1f} m)"
            for words, unit in _OTHER_UNITS.items() if _plausible(low, high, LENGTH_UNITS[unit], spread)]  # fmt: skip
    likely = f"The numbers would fit {fits[0]}" if fits else "The numbers fit no usual unit"
    return f"{found}; {expected}. {likely}: ask the surveyor for the unit and the reference of the heights."


def _plausible(low: float, high: float, unit_m: float, spread: bool) -> bool:
    inside = LOWEST_M <= low * unit_m and high * unit_m <= HIGHEST_M
    return inside and (not spread or (high - low) * unit_m <= LARGEST_SPREAD_M)
