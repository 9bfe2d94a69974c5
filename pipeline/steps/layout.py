"""layout: one field's row and drawn shapes become its grid, skin, edges, zones, places and stable patches."""

from __future__ import annotations

from pathlib import PurePosixPath

from pipeline.coordinates import read_crs, unit_m, working_crs
from pipeline.diamond.carry import to_plain
from pipeline.diamond.cores import drawn_off_skin
from pipeline.diamond.layout import Drawing, build
from pipeline.errors import BadInput
from pipeline.jobs import Job
from pipeline.store import records, vectors
from pipeline.store.where import Where
from pipeline.tables import Read
from pipeline.units import feet


def run(job: Job, where: Where) -> None:
    """Read the field's shapes, build its layout, write it."""
    drawing, problems = read(job.field_row, job.tables_dir, job.settings.cell_size_m)
    if problems:
        raise BadInput(problems)
    layout = build(drawing)
    if off := drawn_off_skin(job.field_row.get("features", ""), drawing.features, layout.skin):
        raise BadInput(off)
    records.write(where.layout(job.field), to_plain(layout))


def read(row: Read, tables_dir: str, cell_m: float):
    """What a field's row and its drawn shapes say, in the working CRS, with every fault found."""
    crs = working_crs(row["crs"])
    to_m = unit_m(read_crs(row["crs"]))
    features, problems = (), []
    if "features" in row.values:
        features, problems = vectors.read(PurePosixPath(tables_dir) / row["features"], row["features"], crs)
    home = second = None
    if "layout" in row.values:
        home = row["home_e"] * to_m, row["home_n"] * to_m
        second = row["second_e"] * to_m, row["second_n"] * to_m
    return Drawing(
        row["field_id"], crs, cell_m, row.get("layout"), row.get("other_layout"), home, second,
        {"grass": True, "skinned": False, None: None}[row.get("infield")], row.get("arc_m"),
        feet(row["pitch_ft"]) if "pitch_ft" in row.values else None, features,
    ), problems  # fmt: skip
