"""What the headers of a survey's files say of themselves, against each of its fields."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path
from typing import Sequence

import shapely

from pipeline.coordinates import lon_lat, read_crs
from pipeline.diamond.layout import Layout
from pipeline.errors import Refused
from pipeline.project import Project
from pipeline.steps.reading import stated
from pipeline.store import files
from pipeline.store.points import open_points
from pipeline.survey.cells.cover import CELL_MAX_M
from pipeline.survey.reading.facts import Facts
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.whereabouts import Look, require_on_field
from pipeline.survey.reading.whereabouts import look as look_at
from pipeline.tables import Read

PLAIN = ("as the file says.", "as surveys.csv says.", "as surveys.csv and the file say.")  # ends of sentences that only repeat


CLOUDS = ("photogrammetry", "lidar")
BOX_OVER_COVERED = 4.0  # a flight over several fields fills no more than a part of its box: only a cloud sparse beyond that is told of (ours)


@dataclass(frozen=True)
class Seen:
    """One survey of one field as its header shows it: a line to print, whether it would be refused, and what
    the operator may not expect; where table and file say plainly what they are, nothing more is said."""

    survey_id: str
    field_id: str
    text: str
    refused: bool
    notes: tuple[str, ...] = ()
    box_m2: float = 0.0


def headers(project: Project, folder: Path, survey: Read, layouts: dict[str, Layout]) -> list[Seen]:
    """One line a field of a survey, as far as its files are there."""
    name, row = survey["survey_id"], f"{project.files['surveys']} row {survey.row}"
    paths = files.named(folder, survey["path"])
    if not paths:
        return [Seen(name, "-", "the cloud is not made yet", False)]
    try:
        facts = [open_points(path).facts for path in paths]
    except Refused as refused:
        return [_refused(name, "-", row, refused)]
    out = []
    for field_id in project.fields_of(survey):
        try:
            seen = _on_field(facts, survey, layouts[field_id], project.fields[field_id]["crs"], project.config.grid.cover_min_pct)
            thin = sparse(facts, survey["source"], seen.box_m2, project.config.cell_size_m, project.config.grid.points_per_cell_min)
            out.append(replace(seen, notes=(*seen.notes, *thin)))
        except Refused as refused:
            passed_over = refused.code == "misses_field" and survey["fields"] == ("all",)
            out.append(Seen(name, field_id, "not flown over", False) if passed_over else _refused(name, field_id, row, refused))
    return out


def _refused(survey_id: str, field_id: str, row: str, refused: Refused) -> Seen:
    return Seen(survey_id, field_id, f"would be refused ({refused.code}), {row}: {refused.reason}", True)


def _on_field(facts: list[Facts], survey: Read, layout: Layout, own: str, least_pct: float) -> Seen:
    """All files of a survey that reach the field, together. Raises Refused as the step that reads them would."""
    place = lon_lat(read_crs(layout.grid.crs), *layout.centre)
    looks: list[Look] = []
    missed: Refused | None = None
    for one in facts:
        reference = resolve(one, stated(survey), own, place)
        try:
            require_on_field(one, reference, layout.grid)
        except Refused as refused:
            missed = refused
            continue
        looks.append(look_at(one, reference, layout.grid))
    if not looks:
        raise missed
    share = skin_share([look.bounds for look in looks], layout)
    if 100 * share < least_pct:
        raise Refused("covers_too_little" if share > 0 else "misses_field",
                      f"found {looks[0].name} over {share:.0%} of the skin by the box its header states; expected at least {least_pct:g} %. "
                      "Check path and fields in surveys.csv, or fly the whole field.")  # fmt: skip
    points = f"{sum(look.n_points for look in looks):,} points" + (f" in {len(looks)} files" if len(looks) > 1 else "")
    text = f"{points}, {looks[0].crs}, heights in {looks[0].height}, box over {share:.0%} of the skin"
    notes = tuple(dict.fromkeys(n for look in looks for n in look.notes if not n.endswith(PLAIN)))
    box_m2 = shapely.union_all([shapely.box(*look.bounds) for look in looks]).area
    return Seen(survey["survey_id"], layout.field_id, text, False, notes, box_m2)


def sparse(facts: Sequence[Facts], source: str, box_m2: float, cell_m: float, least: float) -> list[str]:
    """A sentence where a cloud has surely too few points for the cells; box_m2: the area that its headers state."""
    per_m2 = sum(one.n_points for one in facts) / max(box_m2, 1e-9)
    if source not in CLOUDS or any(one.kind in ("walk", "raster", "bare") for one in facts) or BOX_OVER_COVERED * per_m2 * cell_m**2 >= least:
        return []
    wide = ceil(10 * (least / per_m2) ** 0.5) / 10
    todo = (f"Set cell_size_m in config.yaml to some {wide:g} (for all surveys), or fly lower; on so wide a cell no lip can be told."
            if wide <= CELL_MAX_M else f"No cell up to {CELL_MAX_M:g} m would do: fly lower, or walk the field with a rover.")  # fmt: skip
    return [f"About {per_m2:.2g} points a m² over its whole box, {per_m2 * cell_m**2:.2g} in a cell of {cell_m:g} m; a run refuses it under {least:g}. {todo}"]


def skin_share(boxes: list[tuple[float, float, float, float]], layout: Layout) -> float:
    """Share of a field's skin under boxes (west, south, east, north, working CRS, m): more of it no survey can see."""
    under = shapely.union_all([shapely.box(*box) for box in boxes])
    return float(shapely.intersection(layout.skin, under).area / layout.skin.area)
