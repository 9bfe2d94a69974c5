"""Coordinate reference systems: which one a text names, its unit, its twins, and the CRS a field works in.

Coordinates are always easting, northing or longitude, latitude, whatever order a CRS declares its axes in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import pyproj
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from pipeline.units import VERTICAL_UNITS, vertical_unit_of

pyproj.network.set_network_enabled(False)  # no download at run time, and the same answer with and without a network

SAME_M = 1e-4  # two projections are one when their numbers agree to this
TWIN_M = 0.02  # published false origins of twins are rounded to whole or tenths of feet
LARGEST_SCALE_ERROR = 0.005  # of a length: state planes and UTM stay under 0.001, a web map is out by 0.3
UNIT_WORDS = {"m": "metres", "ft": "international feet", "us-ft": "US survey feet"}
WKT_UNITS = {"m": "metre", "ft": "foot", "us-ft": "US survey foot"}
UNIT_NAMES = {"metre": "m", "meter": "m", "m": "m", "foot": "ft", "international foot": "ft", "us survey foot": "us-ft",
              "foot us": "us-ft", "u.s. survey foot": "us-ft", "us-ft": "us-ft"}  # fmt: skip


def read_crs(text: str) -> CRS:
    """The CRS a text names: `EPSG:6565`, `EPSG:6565+6360` or WKT.

    raises : ValueError with a sentence for the operator
    """
    try:
        return CRS.from_user_input(text.strip())
    except (CRSError, AttributeError) as error:
        found = repr(text if len(str(text)) <= 60 else str(text)[:57] + "...")
        expected = "expected an EPSG code such as EPSG:6565"
        raise ValueError(f"found {found}, which names no known coordinates; {expected}") from error


def horizontal(crs: CRS) -> CRS:
    """The horizontal part of a CRS, without heights and without a datum shift that somebody bound to it."""
    while crs.is_bound or crs.is_compound:
        crs = crs.source_crs if crs.is_bound else crs.sub_crs_list[0]
    if len(crs.axis_info) == 3 and not crs.is_geocentric:
        crs = crs.to_2d()
    return crs


def unit_m(crs: CRS) -> float:
    """Metres in one unit of a projected CRS's axes; NaN where the axes are not lengths."""
    crs = horizontal(crs)
    return crs.axis_info[0].unit_conversion_factor if crs.is_projected else math.nan


def unit_words(factor_m: float) -> str:
    """The words for a length unit of so many metres."""
    word = vertical_unit_of(factor_m)
    return UNIT_WORDS[word] if word else f"units of {factor_m:.9g} m"


def code(crs: CRS) -> str:
    """`EPSG:6565` where EPSG has this very CRS, else WKT 2."""
    epsg = epsg_code(crs)
    return f"EPSG:{epsg}" if epsg else crs.to_wkt("WKT2_2019")


def label(crs: CRS) -> str:
    """How a sentence names a CRS: `EPSG:6565 (NAD83(2011) / Pennsylvania South (ftUS))`."""
    if crs.is_compound:
        return " + ".join(label(part) for part in crs.sub_crs_list)
    epsg = epsg_code(crs)
    if not epsg:
        return f"{crs.name!r} (no EPSG code)"
    return f"EPSG:{epsg} ({CRS.from_epsg(epsg).name})"


def canonical(crs: CRS) -> CRS:
    """The horizontal part, as EPSG has it where EPSG has it."""
    crs = horizontal(crs)
    epsg = epsg_code(crs)
    return CRS.from_epsg(epsg) if epsg else crs


def epsg_code(crs: CRS) -> int | None:
    """EPSG's code for a CRS, also for one written out without a code; None where EPSG has none."""
    direct = crs.to_epsg()
    if direct or not crs.is_projected or crs.is_compound or crs.is_bound:
        return direct
    return _code_by_numbers(crs.to_wkt())


@lru_cache(maxsize=256)
def _code_by_numbers(wkt: str) -> int | None:
    crs = CRS.from_wkt(wkt)
    for other in _siblings(crs):
        if same(crs, other):
            return other.to_epsg()
    return None


def same(one: CRS, other: CRS) -> bool:
    """Whether two CRSs give the same numbers for the same place on the same datum; heights are not looked at."""
    one, other = horizontal(one), horizontal(other)
    if one.equals(other, ignore_axis_order=True):
        return True
    if not (one.is_projected and other.is_projected and _same_datum(one, other)):
        return one.is_geographic and other.is_geographic and _same_datum(one, other)
    unit = unit_m(one)
    return abs(unit / unit_m(other) - 1) < 1e-9 and _apart_m(one, other) < SAME_M


def twins(crs: CRS) -> dict[str, CRS]:
    """The same projection on the same datum in EPSG's other length units: `m`, `ft`, `us-ft` as far as they exist."""
    crs = horizontal(crs)
    if not crs.is_projected:
        return {}
    return {word: CRS.from_epsg(epsg) for word, epsg in _twin_codes(crs.to_wkt())}


@lru_cache(maxsize=256)
def _twin_codes(wkt: str) -> tuple[tuple[str, int], ...]:
    crs = CRS.from_wkt(wkt)
    found: dict[str, tuple[float, int]] = {}
    for other in _siblings(crs):
        word = vertical_unit_of(unit_m(other))
        if word is None or vertical_unit_of(unit_m(crs)) == word:
            continue
        apart = _apart_m(crs, other)
        if apart < TWIN_M and (word not in found or (apart, other.to_epsg()) < found[word]):
            found[word] = (apart, other.to_epsg())
    return tuple((word, found[word][1]) for word in VERTICAL_UNITS if word in found)


def working_crs(text: str) -> str:
    """The CRS a field works in: its own with the metre as unit, `EPSG:6564` for `EPSG:6565`, WKT where EPSG has none.

    raises : ValueError with a sentence, where the text names no projected CRS that points east and north
    """
    crs = canonical(read_crs(text))
    problem = not_a_plane(crs)
    if problem:
        raise ValueError(f"found {label(crs)}, {problem}; expected a projected CRS such as a state plane or UTM zone")
    if vertical_unit_of(unit_m(crs)) == "m":
        return code(crs)
    twin = twins(crs).get("m")
    return code(twin) if twin is not None else in_unit(crs, "m").to_wkt("WKT2_2019")


def in_unit(crs: CRS, word: str) -> CRS:
    """The same projection in another length unit: EPSG's where EPSG has it, else derived.

    word : `m`, `ft` or `us-ft`
    """
    crs = horizontal(crs)
    if vertical_unit_of(unit_m(crs)) == word:
        return crs
    known = twins(crs).get(word)
    if known is not None:
        return known
    factor = VERTICAL_UNITS[word]
    unit = "metre" if word == "m" else {"type": "LinearUnit", "name": WKT_UNITS[word], "conversion_factor": factor}
    plain = crs.to_json_dict()
    plain.pop("id", None)
    plain["conversion"].pop("id", None)
    plain["name"] = f"{crs.name}, in {UNIT_WORDS[word]}"
    for axis in plain["coordinate_system"]["axis"]:
        axis["unit"] = unit
    for parameter, was in zip(plain["conversion"]["parameters"], crs.coordinate_operation.params):
        if was.unit_category == "linear":
            parameter["value"] = round(was.value * was.unit_conversion_factor / factor, 9)
            parameter["unit"] = unit
    return CRS.from_json_dict(plain)


def unit_contradiction(axis) -> str | None:
    """How an axis's unit contradicts itself: called a foot and so many metres long; None where it does not."""
    word = UNIT_NAMES.get(axis.unit_name.lower().replace("_", " "))
    if word is None or abs(axis.unit_conversion_factor / VERTICAL_UNITS[word] - 1) < 1e-5:
        return None
    return f"a unit called {axis.unit_name!r} of {axis.unit_conversion_factor:.9g} m"


def not_a_plane(crs: CRS) -> str | None:
    """Why a horizontal CRS cannot carry a field's plan, or None."""
    if crs.is_geocentric:
        return "which is geocentric"
    if crs.is_geographic:
        return "which is in degrees"
    if not crs.is_projected:
        return f"which is a {crs.type_name[:-4].lower()} system, not a projection"
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        return "whose axes do not point east and north"
    contradiction = unit_contradiction(crs.axis_info[0])
    return f"with {contradiction}" if contradiction else None


def scale_problem(crs: CRS, e: float, n: float) -> str | None:
    """Why lengths measured in a CRS are wrong at a place, or None.

    A web map's metre is 0.77 m at 40 degrees north: every area and every tonne would be out by 70 %.
    """
    lon, lat = lon_lat(crs, e, n)
    factors = pyproj.Proj(horizontal(crs)).get_factors(lon, lat)
    worst = max((factors.meridional_scale, factors.parallel_scale), key=lambda k: abs(k - 1))
    if abs(worst - 1) <= LARGEST_SCALE_ERROR:
        return None
    return (
        f"found {label(crs)}, in which a length comes out {worst:.3f} times as long as on the ground here; expected "
        "a state plane, UTM or other survey projection of the place"
    )


def lon_lat(crs: CRS, x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude, degrees, on the CRS's own datum; inf where there is no such place.

    Good to some 100 m between datums: for areas of use and for words, never for a survey.
    """
    to_base, degrees, meridian = _base(horizontal(crs).to_wkt())
    lon, lat = (math.inf, math.inf) if to_base is None else to_base.transform(x, y)
    return lon * degrees + meridian, lat * degrees


def numbers_at(crs: CRS, lon: float, lat: float) -> tuple[float, float]:
    """The coordinates a place has in a CRS, in its own unit, as good as `lon_lat`; inf for none."""
    to_base, degrees, meridian = _base(horizontal(crs).to_wkt())
    if to_base is None:
        return math.inf, math.inf
    return to_base.transform((lon - meridian) / degrees, lat / degrees, direction="INVERSE")


@lru_cache(maxsize=512)
def _base(wkt: str) -> tuple[Transformer | None, float, float]:
    """The step to a CRS's own longitude and latitude, degrees in one unit of these, degrees of its meridian."""
    crs = CRS.from_wkt(wkt)
    base = crs.geodetic_crs
    meridian = base.prime_meridian.longitude * math.degrees(base.prime_meridian.unit_conversion_factor)
    try:
        to_base = Transformer.from_crs(crs, base, always_xy=True)
    except ProjError:  # a method the library does not have
        to_base = None
    return to_base, math.degrees(base.axis_info[0].unit_conversion_factor), meridian


def holds(crs: CRS, lon: float, lat: float, margin_deg: float) -> bool | None:
    """Whether a place lies in the CRS's area of use, grown by a margin; None where the CRS states no area."""
    area = crs.area_of_use
    if area is None:
        return None
    if not (math.isfinite(lon) and math.isfinite(lat)):
        return False
    width = (area.east - area.west) % 360 if area.west > area.east else area.east - area.west
    along = (lon - area.west + margin_deg) % 360
    inside = along <= width + 2 * margin_deg or width + 2 * margin_deg >= 360
    return inside and area.south - margin_deg <= lat <= area.north + margin_deg


@dataclass(frozen=True)
class Known:
    """One projected CRS of EPSG: its code and name."""

    epsg: int
    name: str


def projected_at(lon: float, lat: float, near_deg: float = 0.75, no_wider_deg: float = 360.0) -> tuple[Known, ...]:
    """All projected CRSs of EPSG whose area of use comes near a place, by code: neighbouring zones are in use too.

    no_wider_deg : of longitude, across which an area of use may reach
    """
    box = AreaOfInterest(lon - near_deg, lat - near_deg, lon + near_deg, lat + near_deg)
    found = [info for info in query_crs_info("EPSG", [PJType.PROJECTED_CRS], box, contains=False) if _across(info.area_of_use) <= no_wider_deg]
    return tuple(sorted((Known(int(info.code), info.name) for info in found), key=lambda known: known.epsg))


def _across(area) -> float:
    """Degrees of longitude an area of use reaches over, the date line minded."""
    return 360.0 if area is None else area.east - area.west if area.east >= area.west else area.east - area.west + 360.0


def _siblings(crs: CRS) -> list[CRS]:
    """EPSG's projected CRSs on the same datum with the same projection, lengths aside."""
    base = crs.geodetic_crs.to_epsg(20)
    if base is None:
        return []
    prefix, shape = CRS.from_epsg(base).name + " / ", _shape(crs)
    named = (int(i.code) for i in query_crs_info("EPSG", [PJType.PROJECTED_CRS]) if i.name.startswith(prefix))
    return [other for other in map(CRS.from_epsg, named) if _shape(other) == shape and _same_datum(crs, other)]


def _shape(crs: CRS) -> tuple:
    """A projection's method and angles, degrees: what two of its length units have in common."""
    operation = crs.coordinate_operation
    angles = sorted(
        (p.name, round(math.degrees(p.value * p.unit_conversion_factor), 6))
        for p in operation.params
        if p.unit_category == "angular"
    )
    return operation.method_name, tuple(angles)


def _same_datum(one: CRS, other: CRS) -> bool:
    a, b = one.geodetic_crs, other.geodetic_crs
    if a.equals(b, ignore_axis_order=True):
        return True
    code_a = a.to_epsg(20)
    return code_a is not None and code_a == b.to_epsg(20)


def _apart_m(one: CRS, other: CRS) -> float:
    """How far apart two projections on one datum put the same places at most, m."""
    worst = 0.0
    for lon, lat in _places(one):
        ends = []
        for crs in (one, other):
            x, y = Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True).transform(lon, lat)
            ends.append((x * unit_m(crs), y * unit_m(crs)))
        worst = max(worst, math.dist(*ends))
    return worst if math.isfinite(worst) else math.inf


def _places(crs: CRS) -> list[tuple[float, float]]:
    """Two places at which a projection is tried: in its area of use, else beside its origin."""
    area = crs.area_of_use
    if area is not None and area.west < area.east:
        return [(area.west + f * (area.east - area.west),
                 area.south + f * (area.north - area.south)) for f in (0.4, 0.7)]
    lon = lat = 0.0
    for parameter in crs.coordinate_operation.params:
        degrees = parameter.value * parameter.unit_conversion_factor * 180 / math.pi
        if parameter.name.startswith("Longitude of"):
            lon = degrees
        elif parameter.name.startswith(("Latitude of natural", "Latitude of false", "Latitude of projection")):
            lat = degrees
    return [(lon + 0.3, lat + 0.2), (lon - 0.5, lat + 1.1)]
