"""Which horizontal coordinates a file's numbers are: the file's word, the table's, or both alike."""

from __future__ import annotations

from typing import Iterable

from pyproj import CRS

from pipeline.coordinates import canonical, horizontal, label, not_a_plane, read_crs, same
from pipeline.errors import Refused
from pipeline.heights import vertical_of
from pipeline.survey.reading.facts import CrsSaid, Facts, crs_said
from pipeline.survey.reading.fits import fits_area, label_problem
from pipeline.survey.reading.stated import Stated
from pipeline.transform import NoExactStep, step_between

WORTH_SAYING_M = 0.1  # a step between datums known better than this passes without a sentence


def table_crs(facts: Facts, stated: Stated) -> CRS | None:
    """The CRS of the table's cell, None for an empty one.

    raises : Refused `crs_not_usable` where it names none, or heights that count downward
    """
    if stated.crs is None:
        return None
    try:
        crs = read_crs(stated.crs)
        vertical_of(crs)
    except ValueError as error:
        raise Refused("crs_not_usable", f"{facts.name}: in crs of surveys.csv {error}.") from error
    return crs


def choose_crs(facts: Facts, table: CRS | None, missing_too: str = "") -> tuple[CRS, list[str]]:
    """The horizontal CRS: the file's, the table's, or both alike; and a sentence on who says so.

    missing_too : a sentence on what else nobody says, so that an operator hears of it at once
    raises      : Refused `no_crs`, `crs_disagrees`
    """
    said = crs_said(facts)
    if not said:
        return _from_table(facts, table, missing_too)
    agreeing = [one for one in said if table is not None and same(one.crs, table)]
    if table is not None and not agreeing:
        raise Refused(
            "crs_disagrees",
            f"{facts.name}: found {_all_said(said)} in the file and {label(horizontal(table))} in surveys.csv; "
            "expected both alike. Empty crs in surveys.csv if the file is right; if it is wrong, have its label "
            "corrected.",
        )
    if len(said) > 1 and table is None:
        fitting = [one.crs for one in said if fits_area(horizontal(one.crs), *facts.middle[:2])]
        hint = f" The numbers only fit {label(horizontal(fitting[0]))}." if len(fitting) == 1 else ""
        raise Refused(
            "crs_disagrees",
            f"{facts.name}: the file contradicts itself: found {_all_said(said)}; expected one.{hint} Ask whoever "
            "made the file which it is and write that one as crs in surveys.csv.",
        )
    crs = canonical(agreeing[0].crs if agreeing else said[0].crs)
    if len(said) > 1:
        return crs, [f"The file names {_all_said(said)}; surveys.csv decides for {label(crs)}."]
    return crs, [f"Coordinates are {label(crs)}, as the file says."]


def _from_table(facts: Facts, table: CRS | None, missing_too: str) -> tuple[CRS, list[str]]:
    if table is None:
        because = f" ({facts.crs_error})" if facts.crs_error else ""
        asks = "the geographic CRS of lon and lat" if facts.in_degrees else "an EPSG code"
        raise Refused(
            "no_crs",
            f"{facts.name}: found no coordinate system in the file{because} and none in surveys.csv; expected one. "
            f"Ask whoever made the file and write {asks} as crs in surveys.csv.{missing_too}",
        )
    crs = canonical(table)
    if facts.kind in ("csv", "walk", "bare") and facts.in_degrees != crs.is_geographic:
        columns = "lon, lat" if facts.in_degrees else "e, n"
        kind = "a geographic CRS, such as EPSG:6318," if facts.in_degrees else "a projected CRS"
        raise Refused(
            "crs_disagrees",
            f"{facts.name}: found columns {columns} and crs {label(crs)} in surveys.csv; expected {kind} with these "
            "columns. Correct crs, or the names of the columns.",
        )
    because = f"; {facts.crs_error}" if facts.crs_error else ""
    return crs, [f"Coordinates are {label(crs)}, as surveys.csv says{because}."]


def _all_said(said: Iterable[CrsSaid]) -> str:
    return " and ".join(f"{label(horizontal(one.crs))} ({one.where})" for one in said)


def check_usable(facts: Facts, crs: CRS, field: CRS, place: tuple[float, float] | None) -> None:
    """Raise Refused where the numbers belie their label (`crs_does_not_fit`), or no plan can be made of them."""
    problem = label_problem(facts, crs, field, place)
    if problem:
        raise Refused("crs_does_not_fit", problem)
    unusable = not_a_plane(crs)
    if unusable and not (crs.is_geographic and facts.kind != "raster"):
        raise Refused(
            "crs_not_usable",
            f"{facts.name}: found {label(crs)}, {unusable}; expected eastings and northings such as {label(field)}. "
            f"Have the {'raster made' if facts.kind == 'raster' else 'points exported'} in those.",
        )


def step_to_field(facts: Facts, crs: CRS, field: CRS, place: tuple[float, float] | None) -> tuple[float, list[str]]:
    """What the step to the field's datum is known to, m, and a sentence where that is worth one.

    raises : Refused `crs_not_usable` where no exact step is known
    """
    try:
        step = step_between(crs, field, place)
    except NoExactStep as error:
        raise Refused(
            "crs_not_usable",
            f"{facts.name}: {error}. Have the points exported in {label(field)}, or give the field the CRS of its "
            "surveys.",
        ) from error
    if step.accuracy_m <= WORTH_SAYING_M:
        return step.accuracy_m, []
    return step.accuracy_m, [
        f"The step from {label(crs)} to {label(field)} is known to {step.accuracy_m:g} m only: the points may lie "
        "sideways by as much until the survey is tied."
    ]
