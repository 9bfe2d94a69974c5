"""What a file of points says about itself, before anyone judges it.

A file may say the same thing twice, in a WKT record and in GeoTIFF keys, and say it differently. All that is said
is kept; `reference.resolve` decides, or refuses to.

source: OGC 19-008r4 (GeoTIFF 1.1) for the keys' meaning; LAS 1.4 R15 carries the same keys.
"""

from __future__ import annotations

from dataclasses import dataclass

from pyproj import CRS
from pyproj.exceptions import CRSError

from pipeline.coordinates import in_unit, same, unit_contradiction, unit_m
from pipeline.heights import ELLIPSOIDAL, vertical_of
from pipeline.units import VERTICAL_UNITS, vertical_unit_of

KINDS = {"las": "a LAS cloud", "csv": "a table of points", "bare": "a bare table of points", "walk": "a rover walk",
         "raster": "a raster"}  # fmt: skip
MODEL_TYPE, GEODETIC, PROJECTED, LINEAR_UNIT, VERTICAL, VERTICAL_UNIT = 1024, 2048, 3072, 3076, 4096, 4099
EPSG_CODES = range(1024, 32767)
UNIT_CODES = {9001: "m", 9002: "ft", 9003: "us-ft"}  # EPSG units of measure
# GeoTIFF 1.0 had vertical codes of its own (its section 6.3.4.1, from memory): the two North American datums.
OLD_VERTICAL_CODES = {5102: 5702, 5103: 5703}
OLD_ELLIPSOIDS = range(5001, 5034)


@dataclass(frozen=True)
class Facts:
    """One file's own account of its points.

    name       : the file's name, for sentences
    kind       : `las`, `csv` (headed e, n, z or lon, lat, h), `walk` (such a table with quality, receiver or line),
                 `bare` (point, northing, easting, height, description) or `raster`
    n_points   : points; of a raster, cells with or without a height
    bounds     : x, y, z least, x, y, z greatest as the file states them, file units; NaN where it does not
    typical    : the same of a sample of the points without its outer 2 % on each side
    scale, offset : of the stored integers, x, y, z; (1, 0) where the file stores no integers
    crs_wkt    : WKT as the file has it, or None
    crs_error  : why the file's coordinate record cannot be read, or None
    geokeys    : GeoTIFF keys with a short value, (key, value)
    height_unit: `m`, `ft` or `us-ft` where a raster's band states it
    has_rgb, has_intensity : whether the points carry colour, intensity (all zero counts as no colour)
    columns    : a table's columns
    pixel      : a raster's cell, along x and along y, file units
    remarks    : sentences about what is odd and how it was read
    """

    name: str
    kind: str
    n_points: int
    bounds: tuple[float, float, float, float, float, float]
    typical: tuple[float, float, float, float, float, float]
    scale: tuple[float, float, float] = (1.0, 1.0, 1.0)
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    crs_wkt: str | None = None
    crs_error: str | None = None
    geokeys: tuple[tuple[int, int], ...] = ()
    height_unit: str | None = None
    has_rgb: bool = False
    has_intensity: bool = False
    columns: tuple[str, ...] = ()
    pixel: tuple[float, float] | None = None
    remarks: tuple[str, ...] = ()

    @property
    def in_degrees(self) -> bool:
        """Whether a table's own columns say longitude and latitude."""
        return "lon" in self.columns

    @property
    def reach(self) -> tuple[float, float, float, float]:
        """The box of x and y that the points fill: as stated where that holds their sample, else the sample's."""
        stated, seen = self.bounds, self.typical
        holds = stated[0] <= seen[0] and stated[1] <= seen[1] and stated[3] >= seen[3] and stated[4] >= seen[4]
        box = stated if holds else seen
        return box[0], box[1], box[3], box[4]

    @property
    def middle(self) -> tuple[float, float, float]:
        """Middle of the typical box, file units."""
        low, high = self.typical[:3], self.typical[3:]
        return tuple((a + b) / 2 for a, b in zip(low, high))


def readable_wkt(text: str) -> tuple[str | None, str | None]:
    """WKT fit for `Facts.crs_wkt`, and why it is not: one of the two is None.

    text : the record as the file holds it, perhaps empty
    """
    bare = text.strip("\0 \t\r\n'\"")
    if not bare:
        return None, "its WKT record is there but empty"
    try:
        CRS.from_wkt(bare)
    except CRSError:
        return None, f"its WKT record cannot be read (it begins {bare[:40]!r})"
    return bare, None


@dataclass(frozen=True)
class CrsSaid:
    """One thing a file says about its coordinates, and where it says it."""

    crs: CRS
    where: str


@dataclass(frozen=True)
class HeightSaid:
    """One thing a file says about its heights: metres in a unit, what they count from; None for what it leaves open."""

    unit_m: float | None
    reference: str | None
    where: str


def crs_said(facts: Facts) -> tuple[CrsSaid, ...]:
    """All that a file says about its horizontal coordinates, what differs only."""
    said = []
    if facts.crs_wkt:
        said.append(CrsSaid(CRS.from_wkt(facts.crs_wkt), "its WKT record" if facts.kind == "las" else "its header"))
    from_keys = _crs_of_keys(dict(facts.geokeys))
    if from_keys is not None:
        said.append(CrsSaid(from_keys, "its GeoTIFF keys"))
        word = UNIT_CODES.get(dict(facts.geokeys).get(LINEAR_UNIT))
        if word and from_keys.is_projected and vertical_unit_of(unit_m(from_keys)) != word:
            said.append(CrsSaid(in_unit(from_keys, word), "the unit in its GeoTIFF keys"))
    out: list[CrsSaid] = []
    for one in said:
        if not any(same(one.crs, other.crs) for other in out):
            out.append(one)
    return tuple(out)


def _crs_of_keys(keys: dict[int, int]) -> CRS | None:
    """The CRS that GeoTIFF keys name by an EPSG code; None for a user-defined or damaged one."""
    for key in (PROJECTED, GEODETIC):
        if keys.get(key) in EPSG_CODES:
            try:
                crs = CRS.from_epsg(keys[key])
            except CRSError:
                return None
            return None if key == GEODETIC and keys.get(MODEL_TYPE) == 1 else crs
    return None


def heights_said(facts: Facts) -> tuple[HeightSaid, ...]:
    """All that a file says about its heights."""
    said = []
    if facts.crs_wkt:
        where = "its WKT record" if facts.kind == "las" else "its header"
        crs = CRS.from_wkt(facts.crs_wkt)
        vertical = vertical_of(crs)
        if vertical is not None:
            unit = None if contradictory_heights(crs) else vertical.unit_m
            said.append(HeightSaid(unit, vertical.reference, where))
    keys = dict(facts.geokeys)
    from_keys = _heights_of_keys(keys)
    if from_keys is not None:
        said.append(from_keys)
    if facts.height_unit:
        said.append(HeightSaid(VERTICAL_UNITS[facts.height_unit], None, "its band"))
    return tuple(said)


def _heights_of_keys(keys: dict[int, int]) -> HeightSaid | None:
    """The vertical key names the datum; the unit key, where there is one, names the unit."""
    datum = keys.get(VERTICAL)
    unit = VERTICAL_UNITS.get(UNIT_CODES.get(keys.get(VERTICAL_UNIT), ""))
    reference = None
    if datum in OLD_ELLIPSOIDS:
        reference = ELLIPSOIDAL
    elif datum in EPSG_CODES:
        try:
            vertical = vertical_of(CRS.from_epsg(OLD_VERTICAL_CODES.get(datum, datum)))
        except (CRSError, ValueError):
            vertical = None
        if vertical is not None:
            reference, unit = vertical.reference, unit or vertical.unit_m
    return None if unit is None and reference is None else HeightSaid(unit, reference, "its GeoTIFF keys")


def contradictory_heights(crs: CRS) -> str | None:
    """How the height unit of a CRS contradicts itself, or None."""
    crs = crs.source_crs if crs.is_bound else crs
    return unit_contradiction(crs.axis_info[-1]) if len(crs.axis_info) == 3 else None


def wkt_remarks(wkt: str | None) -> tuple[str, ...]:
    """What in a WKT record was read in a way worth a sentence."""
    if wkt is None:
        return ()
    crs, out = CRS.from_wkt(wkt), []
    if vertical_of(crs) is None and any(word in wkt.upper() for word in ("VERT_CS[", "VERTCS[", "VERTCRS[")):
        out.append("Its WKT record speaks of heights where the standard allows none; that part was not used.")
    contradiction = contradictory_heights(crs)
    if contradiction:
        out.append(f"Its WKT record gives heights {contradiction}; that unit was not used.")
    bound = crs.is_bound or (crs.is_compound and any(part.is_bound for part in crs.sub_crs_list))
    if bound:
        out.append("Its WKT record binds a datum shift to the coordinates; that shift was not used.")
    return tuple(out)
