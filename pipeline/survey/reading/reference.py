"""Which coordinates and heights a file's numbers are: from the file, from the table, or refused.

Nothing is guessed. What the file and the table both say must agree; what neither says is asked for; what the numbers
contradict is not believed. Every choice made is a sentence in `Reference.notes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable

from pyproj import CRS

from pipeline.coordinates import canonical, read_crs
from pipeline.errors import Refused
from pipeline.heights import heights_problem, reference_words
from pipeline.survey.reading.choose_crs import check_usable, choose_crs, step_to_field, table_crs
from pipeline.survey.reading.choose_heights import choose_reference, choose_unit, missing_too
from pipeline.survey.reading.facts import Facts, wkt_remarks
from pipeline.survey.reading.stated import Stated, check_kind
from pipeline.units import vertical_unit_of


@dataclass(frozen=True)
class Reference:
    """What a file's numbers are, decided.

    crs              : horizontal CRS of x and y, easting or longitude first
    z_factor         : metres in one unit of height
    vertical_unit    : `m`, `ft` or `us-ft`; the factor as text for another unit the file declares
    height_reference : `EPSG:5703` (the metre twin of any unit), `ellipsoidal`, `local`; None where nobody says
    sideways_m       : what the step to the field's datum is known to, horizontally, m; 0 on the same datum
    notes            : sentences for the operator: what was chosen, and why
    """

    crs: CRS
    z_factor: float
    vertical_unit: str
    height_reference: str | None
    sideways_m: float
    notes: tuple[str, ...]


def resolve(facts: Facts, stated: Stated, field_crs: str, place: tuple[float, float] | None = None) -> Reference:
    """The reference of one file, or the reason why there is none.

    field_crs : the field's CRS, its own or its working one
    place     : longitude, latitude of the field where they are known
    raises    : Refused `source_disagrees`, `no_sigma`, `no_points`, `no_crs`, `crs_disagrees`, `crs_does_not_fit`,
                `crs_not_usable`, `no_vertical_unit`, `vertical_unit_disagrees`, `no_height_reference`,
                `height_reference_disagrees`, `heights_implausible`
    """
    check_kind(facts, stated)
    field = canonical(read_crs(field_crs))
    table = table_crs(facts, stated)
    crs, notes = choose_crs(facts, table, missing_too(facts, stated))
    check_usable(facts, crs, field, place)
    sideways_m, step_notes = step_to_field(facts, crs, field, place)
    z_factor, unit_notes = choose_unit(facts, stated, table)
    reference, reference_notes = choose_reference(facts, stated, table)
    problem = heights_problem(facts.typical[2], facts.typical[5], z_factor, spread=False)
    if problem:
        raise Refused("heights_implausible", f"{facts.name}: {problem}")
    remarks = facts.remarks + wkt_remarks(facts.crs_wkt)
    unit = vertical_unit_of(z_factor) or f"{z_factor:.9g} m"
    return Reference(
        crs, z_factor, unit, reference, sideways_m,
        tuple(f"{facts.name}: {note}" for note in (*remarks, *notes, *step_notes, *unit_notes, *reference_notes)),
    )  # fmt: skip


def same_height_reference(surveys: Iterable[tuple[str, str | None]]) -> str | None:
    """Why one field's surveys cannot be compared in height, or None. A survey that states none is not judged here.

    surveys : survey_id and height_reference, in the order of their dates
    """
    first: tuple[str, str] | None = None
    for survey_id, reference in surveys:
        if reference is None:
            continue
        if first is None:
            first = survey_id, reference
        elif reference != first[1]:
            return (
                f"found heights {reference_words(reference)} in {survey_id}; expected {reference_words(first[1])} as "
                f"in {first[0]}, since all surveys of a field share one height reference. Have the cloud delivered "
                "in that one, or correct height_reference in surveys.csv."
            )
    return None


def check_heights(low_m: float, high_m: float, reference: Reference) -> None:
    """Raise Refused `heights_implausible` where screened ground cannot be one ball field's.

    low_m, high_m : lowest and highest ground of one field, outliers and objects gone, m
    """
    unit_m = reference.z_factor
    problem = heights_problem(low_m / unit_m, high_m / unit_m, unit_m)
    if problem:
        raise Refused("heights_implausible", problem)
