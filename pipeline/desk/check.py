"""`check`: settings, tables, drawn shapes and the header of every cloud, before anything runs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.coordinates import lon_lat, read_crs, scale_problem
from pipeline.diamond.layout import Layout, build
from pipeline.errors import BadInput, Problem, Refused
from pipeline.project import Project, diagonal_problem
from pipeline.steps import layout as layout_step
from pipeline.steps import simulate
from pipeline.steps.reading import stated
from pipeline.store import files
from pipeline.store.config import load
from pipeline.store.points import open_points
from pipeline.survey.reading.reference import resolve
from pipeline.survey.reading.whereabouts import look as look_at
from pipeline.survey.reading.whereabouts import require_on_field
from pipeline.tables import Read

FINE, BAD, REFUSED = 0, 1, 3
SCENARIO = "scenario.yaml"
PLAIN = ("as the file says.", "as surveys.csv says.", "as surveys.csv and the file say.")  # ends of sentences that only repeat


@dataclass(frozen=True)
class Seen:
    """One survey of one field as its header shows it: a line to print, whether it would be refused, and what
    the operator may not expect; where table and file say plainly what they are, nothing more is said."""

    survey_id: str
    field_id: str
    text: str
    refused: bool
    notes: tuple[str, ...] = ()


def check(config: Path) -> int:
    """Print what every cloud's header says. Exit status: 0 fine, 3 some survey would be refused; BadInput otherwise."""
    project, folder = load(config)
    layouts = look(project, folder)
    print(f"{len(project.fields)} fields, {len(project.surveys)} surveys, {len(project.tables['works'])} works: tables and shapes are in order.")
    asked_for(project)
    refused = 0
    for survey in project.tables["surveys"]:
        for seen in headers(project, folder, survey, layouts):
            refused += seen.refused
            print(f"{seen.survey_id}  {seen.field_id}: {seen.text}", *(f"    {note}" for note in seen.notes), sep="\n")
    if refused:
        print(f"{refused} survey{'s' * (refused != 1)} would be refused; everything else would run.")
    return REFUSED if refused else FINE


def look(project: Project, folder: Path) -> dict[str, Layout]:
    """The layouts of all fields. Raises BadInput with every fault of coordinates, shapes and paths at once."""
    problems: list[Problem] = []
    layouts = {}
    for field_id, row in sorted(project.fields.items()):
        found = _crs_problem(project, row)
        if found:
            problems.append(found)
            continue
        drawing, faults = layout_step.read(row, str(folder), project.config.cell_size_m)
        problems += faults
        if drawing.home is not None:
            away = ((drawing.home[0] - drawing.second[0]) ** 2 + (drawing.home[1] - drawing.second[1]) ** 2) ** 0.5
            problems += [p for p in (diagonal_problem(project, field_id, away), _scale_problem(project, row, drawing)) if p]
        if drawing.layout is None and not any(f.role == "skin" for f in drawing.features) and not faults:
            problems.append(Problem(row["features"], None, "role", "no skin", "a polygon with the role skin", "Draw the skin, or name the layout in the table of fields."))
        elif not faults:
            layouts[field_id] = build(drawing)
    problems += _missing_clouds(project, folder)
    if problems:
        raise BadInput(problems)
    return layouts


def _crs_problem(project: Project, row: Read) -> Problem | None:
    from pipeline.coordinates import working_crs

    try:
        working_crs(row["crs"])
    except ValueError as error:
        return Problem(project.files["fields"], row.row, "crs", repr(row["crs"]), "a projected CRS such as EPSG:6565", f"{error}.")
    return None


def _scale_problem(project: Project, row: Read, drawing) -> Problem | None:
    said = scale_problem(read_crs(drawing.crs), *drawing.home)
    if said is None:
        return None
    return Problem(project.files["fields"], row.row, "crs", repr(row["crs"]), "a CRS in which lengths are true at the field", f"{said}.")


def _missing_clouds(project: Project, folder: Path) -> list[Problem]:
    made = simulate.files(folder / SCENARIO) if files.is_file(folder / SCENARIO) else {}
    return [
        Problem(project.files["surveys"], row.row, "path", repr(row["path"]), "a file, or a pattern that names files", "Correct the path or bring the file.")
        for row in project.tables["surveys"]
        if row["path"] not in made and not files.named(folder, row["path"])
    ]  # fmt: skip


def asked_for(project: Project) -> None:
    """Name the tolerances nobody set: what needs them will read `not_enough_evidence`."""
    wanted = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm")
    missing = [name for name in wanted if getattr(project.config.tolerances, name) is None]
    if missing:
        print(f"No tolerance set: {', '.join(missing)}. They are the owner's to set, under `tolerances` of config.yaml.")


def headers(project: Project, folder: Path, survey: Read, layouts: dict[str, Layout]) -> list[Seen]:
    """What a survey's files say about themselves, against each of its fields."""
    out = []
    paths = files.named(folder, survey["path"])
    if not paths:
        return [Seen(survey["survey_id"], "-", "the cloud is not made yet", False)]
    for path in paths:
        try:
            facts = open_points(path).facts
        except Refused as refused:
            return [Seen(survey["survey_id"], "-", f"would be refused ({refused.code}): {refused.reason}", True)]
        for field_id in project.fields_of(survey):
            layout = layouts[field_id]
            try:
                place = lon_lat(read_crs(layout.grid.crs), *layout.centre)
                reference = resolve(facts, stated(survey), layout.grid.crs, place)
                require_on_field(facts, reference, layout.grid)
                seen = look_at(facts, reference, layout.grid)
            except Refused as refused:
                out.append(Seen(survey["survey_id"], field_id, f"would be refused ({refused.code}): {refused.reason}", True))
                continue
            text = f"{seen.n_points:,} points, {seen.crs}, heights in {seen.height}, {seen.covered:.0%} of the grid's box"
            notes = tuple(n for n in seen.notes if not n.endswith(PLAIN))
            out.append(Seen(survey["survey_id"], field_id, text, False, notes))
    return out


