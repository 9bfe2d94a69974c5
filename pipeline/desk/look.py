"""What `check` and `run` look at beside the tables' cells: coordinates, drawn shapes, clouds, and the calendar."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import shapely

from pipeline.coordinates import read_crs, scale_problem, unit_m, working_crs
from pipeline.diamond.anchors import ahead, twice
from pipeline.diamond.cores import drawn_off_skin, read_problems
from pipeline.diamond.days import day_of
from pipeline.diamond.fixed import fixed_faults
from pipeline.diamond.layout import Drawing, Layout, build
from pipeline.errors import BadInput, Problem
from pipeline.project import Project, diagonal_problem, in_the_future, newest_day
from pipeline.steps import layout as layout_step
from pipeline.steps import simulate
from pipeline.store import files
from pipeline.survey.stable.patches import SHRINK_M, footprint
from pipeline.survey.stable.tie import MIN_PATCHES
from pipeline.tables import Read

SCENARIO = "scenario.yaml"  # beside config.yaml: the clouds are made, not flown
FAR_M = 200.0  # from home plate: further than any fence (ours)


def look(project: Project, folder: Path) -> dict[str, Layout]:
    """The layouts of all fields. Raises BadInput with every fault of coordinates, shapes, paths and days at once."""
    require_filled(project)
    problems: list[Problem] = []
    if not files.is_file(folder / SCENARIO):  # a story may play in any year
        problems += in_the_future(project, dt.date.today())
    layouts = {}
    for field_id, row in sorted(project.fields.items()):
        layout, faults = layout_of(project, folder, field_id, row)
        problems += faults
        if layout is not None:
            layouts[field_id] = layout
    problems += _missing_clouds(project, folder) + _same_clouds(project, folder)
    if problems:
        raise BadInput(sorted(problems, key=lambda p: (p.file, p.row or 0, p.column or "")))
    return layouts


def require_filled(project: Project) -> None:
    """Raise BadInput where the templates were copied and nothing was written into them."""
    if not project.tables["fields"] and not project.tables["surveys"]:
        both = f"{project.files['fields']} and {project.files['surveys']}"
        raise BadInput([Problem(both, None, None, "nothing filled in yet", "a row for each field and each survey", "docs/tables-in.md says what each column holds.", code="nothing-filled-in")])


def made_by(folder: Path) -> dict[str, str]:
    """Of an invented scenario, the cloud's file -> the survey it is made for; empty where there is none."""
    scenario = folder / SCENARIO
    return simulate.files(scenario) if files.is_file(scenario) else {}


def layout_of(project: Project, folder: Path, field_id: str, row: Read) -> tuple[Layout | None, list[Problem]]:
    """One field's layout, and all that is wrong with its coordinates and shapes; no layout where anything is."""
    problems = [p for p in (_crs_problem(project, row), features_problem(project, folder, row)) if p]
    if problems and problems[0].column == "crs":
        return None, problems
    known = row if not problems else replace(row, values={k: v for k, v in row.values.items() if k != "features"})
    drawing, faults = layout_step.read(known, str(folder), project.config.cell_size_m)
    problems += faults
    if drawing.home is not None:
        away = shapely.Point(drawing.home).distance(shapely.Point(drawing.second))
        problems += [p for p in (diagonal_problem(project, field_id, away), _scale_problem(project, row, drawing)) if p]
    if drawing.layout is None and not any(f.role == "skin" for f in drawing.features):
        if not problems:
            problems.append(Problem(row["features"], None, "role", "no skin", "a polygon with the role skin", "Draw the skin, or name the layout in the table of fields.", code="no-skin"))
        return None, problems
    problems += _far_shapes(row, drawing) + _located(project, folder, row, drawing)
    problems += fixed_faults(row.get("features", ""), drawing.features, project.config.grading.on(field_id).of("slope_max_pct"))
    if problems:
        return None, problems
    layout = build(drawing)
    problems += _cores(project, folder, row, drawing, layout)
    return (None if problems else layout), problems


def features_problem(project: Project, folder: Path, row: Read) -> Problem | None:
    """The file of a field's shapes is not there."""
    named = row.get("features")
    if named is None or files.is_file(folder / named):
        return None
    return Problem(project.files["fields"], row.row, "features", f"{named!r}, no such file", "a GeoPackage or GeoJSON", "Correct the path or bring the file.", code="no-such-file")


def _crs_problem(project: Project, row: Read) -> Problem | None:
    if "crs" not in row.values:
        return None
    try:
        working_crs(row["crs"])
    except ValueError as error:
        return Problem(project.files["fields"], row.row, "crs", repr(row["crs"]), "a projected CRS such as EPSG:6565", f"{error}.", code="field-crs")
    return None


def _scale_problem(project: Project, row: Read, drawing: Drawing) -> Problem | None:
    said = scale_problem(read_crs(drawing.crs), *drawing.home)
    if said is None:
        return None
    return Problem(project.files["fields"], row.row, "crs", repr(row["crs"]), "a CRS in which lengths are true at the field", f"{said}.", code="lengths-not-true")


def _far_shapes(row: Read, drawing: Drawing) -> list[Problem]:
    """Shapes that cannot belong to the field: the grid would have to reach out to them."""
    if drawing.home is not None:
        start, words = shapely.Point(drawing.home), "home plate"
    else:
        start, words = shapely.union_all([f.geometry for f in drawing.features if f.role == "skin"]).centroid, "the middle of the skin"
    out = []
    for feature in drawing.features:
        away = start.distance(feature.geometry)
        if away > FAR_M:
            out.append(Problem(row["features"], None, None, f"{feature.role} {feature.name!r} {away:,.0f} m from {words}", f"at most {FAR_M:g} m",
                               "Check its coordinates and the file's CRS, or take it out.", code="shape-far-away"))  # fmt: skip
    return out


def _located(project: Project, folder: Path, row: Read, drawing: Drawing) -> list[Problem]:
    """Two anchors drawn for one base, and things located on a day still to come: of a story, later than anything in its tables."""
    file, story = row.get("features", ""), files.is_file(folder / SCENARIO)
    newest, what = (newest_day(project), "the newest day in the tables") if story else (dt.date.today(), "today")
    return twice(file, drawing.features, drawing.layout) + ([] if newest is None else ahead(file, drawing.features, newest, what))


def _cores(project: Project, folder: Path, row: Read, drawing: Drawing, layout: Layout) -> list[Problem]:
    """Cores of the mix that cannot be of this field, and drawn ones of days still to come."""
    file = row.get("features", "")
    out = drawn_off_skin(file, drawing.features, layout.skin)
    if "readings" in project.files:
        crs_m = unit_m(read_crs(row["crs"]))
        out += read_problems(project.files["readings"], project.rows_of("readings", row["field_id"]), layout.places, layout.skin, crs_m)
    today = dt.date.today()
    for feature in drawing.features if not files.is_file(folder / SCENARIO) else ():
        day = day_of(feature.props.get("taken_on")) if feature.role == "mix_core" else None
        if day is not None and day > today:
            out.append(Problem(file, None, "taken_on", f"mix_core {feature.name!r} of {day}", f"today, {today}, or earlier", "Correct the date.", code="day-to-come"))
    return out


def stable_ground(layout: Layout) -> list[str]:
    """What the operator should know of a field's stable ground before any survey, in sentences."""
    lost = [p.patch_id for p in layout.patches if footprint(p.patch_id, p.polygon) is None]
    out = [f"stable {name!r} is too narrow: nothing is left of it once {SHRINK_M * 100:g} cm are taken off every side." for name in lost]
    held = len(layout.patches) - len(lost)
    if held < MIN_PATCHES:
        out.insert(0, f"{held} of {MIN_PATCHES} patches of stable ground: only shape can be compared.")
    return out


def _missing_clouds(project: Project, folder: Path) -> list[Problem]:
    made = made_by(folder)
    return [
        Problem(project.files["surveys"], row.row, "path", repr(row["path"]), "a file, or a pattern that names files", "Correct the path or bring the file.", code="no-such-file")
        for row in project.tables["surveys"]
        if row["path"] not in made and not files.named(folder, row["path"])
    ]  # fmt: skip


def _same_clouds(project: Project, folder: Path) -> list[Problem]:
    """One cloud under two surveys of a field would be a change of nothing with nobody to say so."""
    rows = project.surveys
    out: dict[str, Problem] = {}
    for earlier, later, path in files.twins({name: files.named(folder, row["path"]) or [str(folder / row["path"])] for name, row in rows.items()}):
        shared = sorted(set(project.fields_of(rows[earlier])) & set(project.fields_of(rows[later])))
        if shared:
            found = f"{rows[later]['path']!r}, the same points as {earlier} (row {rows[earlier].row})"
            out.setdefault(later, Problem(project.files["surveys"], rows[later].row, "path", found, f"a cloud of its own for {', '.join(shared)}",
                                          f"Correct the path ({Path(path).name}) or remove the row.", code="same-cloud-twice"))  # fmt: skip
    return list(out.values())
