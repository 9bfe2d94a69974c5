"""What the tables say of a survey's files, as the maths asks for it."""

from __future__ import annotations

from pipeline.survey.reading.stated import Stated
from pipeline.tables import Read


def stated(row: Read) -> Stated:
    """One row of surveys.csv, as far as it says what the files' numbers are."""
    return Stated(row["source"], row.get("crs"), row.get("vertical_unit"), row.get("height_reference"), row.get("sigma_mm"))
