"""In which unit a file's heights are, and what they count from: the file's word, the table's, or both alike."""

from __future__ import annotations

from pyproj import CRS

from pipeline.coordinates import unit_words
from pipeline.errors import Refused
from pipeline.heights import ELLIPSOIDAL, Vertical, normal_reference, reference_words, vertical_of
from pipeline.survey.reading.facts import Facts, HeightSaid, heights_said, wkt_remarks
from pipeline.survey.reading.stated import Stated
from pipeline.units import VERTICAL_UNITS


def choose_unit(facts: Facts, stated: Stated, table: CRS | None) -> tuple[float, list[str]]:
    """Metres in one unit of height, and a sentence on who says so.

    table  : the table's CRS, which may say heights too
    raises : Refused `no_vertical_unit`, `vertical_unit_disagrees`
    """
    of_table, vertical = {}, _of_table(table)
    if stated.vertical_unit is not None:
        of_table["vertical_unit"] = VERTICAL_UNITS[stated.vertical_unit]
    if vertical is not None:
        of_table["crs"] = vertical.unit_m
    of_file = {one.where: one.unit_m for one in _of_file(facts) if one.unit_m is not None}
    if not of_table and not of_file:
        odd = "".join(f" {remark}" for remark in wkt_remarks(facts.crs_wkt))
        raise Refused(
            "no_vertical_unit",
            f"{facts.name}: found no unit of height in the file and none in surveys.csv; expected m, ft or "
            f"us-ft.{odd} A horizontal coordinate system says nothing about heights: ask whoever made the file and "
            "write vertical_unit.",
        )
    unit_m = next(iter((of_table or of_file).values()))
    table_agrees = all(_alike(unit_m, other) for other in of_table.values())
    file_agrees = (any if of_table else all)(_alike(unit_m, other) for other in of_file.values())
    if not table_agrees or (of_file and not file_agrees):
        found = [f"{unit_words(v)} in {column} of surveys.csv" for column, v in of_table.items()]
        found += [f"{unit_words(v)} in the file ({where})" for where, v in of_file.items()]
        raise Refused(
            "vertical_unit_disagrees",
            f"{facts.name}: found heights in {' and '.join(found)}; expected all alike. Ask whoever made the file; "
            "metres taken for feet, or feet for metres, are wrong by a factor of 3.28.",
        )
    return unit_m, [f"Heights are in {unit_words(unit_m)}, as {_who(of_table, of_file)}."]


def choose_reference(facts: Facts, stated: Stated, table: CRS | None) -> tuple[str | None, list[str]]:
    """What the heights count from, None where nobody says, and sentences on who says so.

    table  : the table's CRS, which may say heights too
    raises : Refused `no_height_reference`, `height_reference_disagrees`
    """
    cell, vertical = _cell(facts, stated), _of_table(table)
    of_table = [r for r in (cell, vertical and vertical.reference) if r]
    of_file = [one.reference for one in _of_file(facts) if one.reference]
    if cell is None and (facts.in_degrees or ELLIPSOIDAL in of_table + of_file):
        raise Refused(
            "no_height_reference",
            f"{facts.name}: found heights as a satellite receiver gives them, above the ellipsoid or already brought "
            "to a datum, and no height_reference in surveys.csv; expected which. The two differ by tens of metres: "
            "write ellipsoidal, or the EPSG code of the datum, such as EPSG:5703.",
        )
    unknown = [r for r in of_file if r != ELLIPSOIDAL and not r.startswith("EPSG:")] if of_table else []
    of_file = [r for r in of_file if r not in unknown]
    every = list(dict.fromkeys(of_table + of_file))
    if len(every) > 1:
        raise Refused(
            "height_reference_disagrees",
            f"{facts.name}: found heights {' and '.join(map(reference_words, every))} in the file and surveys.csv; "
            "expected one. Correct height_reference if the file is right; no geoid is applied here.",
        )
    if not every:
        return None, ["Nobody states what the heights count from; write height_reference in surveys.csv."]
    notes = [f"The file calls its height datum {r!r}, which EPSG does not know; surveys.csv decides." for r in unknown]
    return every[0], [*notes, f"Heights are {reference_words(every[0])}, as {_who(of_table, of_file)}."]


def missing_too(facts: Facts, stated: Stated) -> str:
    """A sentence on what nobody says about the heights, with a space before it; empty where nothing is missing."""
    lacks = []
    if stated.vertical_unit is None and not any(one.unit_m for one in _of_file(facts)):
        lacks.append("vertical_unit")
    if stated.height_reference is None and facts.in_degrees:
        lacks.append("height_reference")
    return f" {' and '.join(lacks)} must be written too." if lacks else ""


def _cell(facts: Facts, stated: Stated) -> str | None:
    try:
        return None if stated.height_reference is None else normal_reference(stated.height_reference)
    except ValueError as error:
        raise Refused("no_height_reference", f"{facts.name}: in height_reference of surveys.csv {error}.") from error


def _of_file(facts: Facts) -> tuple[HeightSaid, ...]:
    try:
        return heights_said(facts)
    except ValueError as error:
        raise Refused("crs_not_usable", f"{facts.name}: {error}. Have the file exported with heights.") from error


def _of_table(table: CRS | None) -> Vertical | None:
    return None if table is None else vertical_of(table)


def _alike(one: float, other: float) -> bool:
    """Whether two units are one; the two feet, 2e-6 apart, are not."""
    return abs(one / other - 1) < 2e-7


def _who(of_table, of_file) -> str:
    if of_table and of_file:
        return "surveys.csv and the file say"
    return "surveys.csv says" if of_table else "the file says"
