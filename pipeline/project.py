"""A project as read: settings and tables together, checked against one another. Opens no file."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.errors import Problem, did_you_mean
from pipeline.heights import normal_reference
from pipeline.settings import Config
from pipeline.tables import LAYOUTS, Read
from pipeline.units import feet

HOME_TO_SECOND_SLACK_M = 0.60  # how far the given points may stand from the layout's diagonal


@dataclass(frozen=True)
class Project:
    """settings, and every table's rows by name; `files` gives each table's file for messages."""

    config: Config
    tables: dict[str, tuple[Read, ...]]
    files: dict[str, str]

    @property
    def fields(self) -> dict[str, Read]:
        return {r["field_id"]: r for r in self.tables["fields"] if "field_id" in r.values}

    @property
    def surveys(self) -> dict[str, Read]:
        return {r["survey_id"]: r for r in self.tables["surveys"] if "survey_id" in r.values}

    def fields_of(self, survey: Read) -> tuple[str, ...]:
        """The fields a survey's row is for; `all` = every field of the table."""
        named = survey["fields"]
        return tuple(sorted(self.fields)) if named == ("all",) else tuple(dict.fromkeys(named))

    def surveys_of(self, field_id: str) -> tuple[Read, ...]:
        """A field's surveys, oldest first, then by row."""
        whole = [s for s in self.tables["surveys"] if {"survey_id", "flown_on", "fields"} <= s.values.keys()]
        mine = [s for s in whole if field_id in self.fields_of(s)]
        return tuple(sorted(mine, key=lambda s: (s["flown_on"], s.row)))

    def baseline_order(self, field_id: str) -> tuple[str, ...]:
        """Surveys in the order in which they would be the field's baseline if those before them are refused:
        rows with purpose `baseline`, newest first, then the others, earliest first."""
        rows = self.surveys_of(field_id)
        wanted = [r for r in reversed(rows) if r.get("purpose") == "baseline"]
        return tuple(r["survey_id"] for r in [*wanted, *(r for r in rows if r not in wanted)])

    def rows_of(self, table: str, field_id: str) -> tuple[Read, ...]:
        """A table's rows that name this field, in file order."""
        return tuple(r for r in self.tables.get(table, ()) if r.get("field_id") == field_id)


def check(project: Project) -> list[Problem]:
    """Faults that no single cell shows: names that name nothing, points that fit no layout, rows that contradict."""
    return [
        *_field_problems(project), *_survey_problems(project), *_named_fields(project), *_pairs_of_columns(project),
        *_tolerance_fields(project),
    ]  # fmt: skip


def _problem(project: Project, table: str, row: Read, column: str, found: str, expected: str, todo: str) -> Problem:
    return Problem(project.files[table], row.row, column, found, expected, todo)


def _field_problems(project: Project) -> list[Problem]:
    out = []
    points = ("home_e", "home_n", "second_e", "second_n")
    for row in project.tables["fields"]:
        missing = [p for p in points if p not in row.given]
        if "layout" in row.given and missing:
            out.append(_problem(project, "fields", row, missing[0], "nothing", "the apex of home plate and the centre of second base",
                                "Fill in home_e, home_n, second_e and second_n, in the row's crs."))  # fmt: skip
        elif "layout" not in row.given and "features" not in row.given:
            hint = "" if missing else " Home and second are given: name the layout too."
            out.append(_problem(project, "fields", row, "layout", "nothing", "a layout with home and second, or a features file with a skin",
                                "Fill in layout (" + ", ".join(LAYOUTS) + ") or features." + hint))  # fmt: skip
        elif row.get("layout") is not None and row.get("other_layout") == row["layout"]:
            out.append(_problem(project, "fields", row, "other_layout", repr(row["other_layout"]), "a second base set that differs from layout",
                                "Leave it empty where the field has one base set."))  # fmt: skip
        if ("mix_depth" in row.given) != ("mix_depth_unit" in row.given):
            out.append(_unit_missing(project, "fields", row, "mix_depth"))
    return out


def diagonal_problem(project: Project, field_id: str, distance_m: float) -> Problem | None:
    """Home to second as given against the layout's diagonal; needs the CRS, so the caller measures it in m."""
    row = project.fields[field_id]
    side = feet(int(row["layout"].rsplit("-", 1)[1]))
    if abs(distance_m - side * 2**0.5) <= HOME_TO_SECOND_SLACK_M:
        return None
    near = min(LAYOUTS, key=lambda n: abs(feet(int(n.rsplit("-", 1)[1])) * 2**0.5 - distance_m))
    error = abs(feet(int(near.rsplit("-", 1)[1])) * 2**0.5 - distance_m)
    hint = f" The points fit {near}." if error <= HOME_TO_SECOND_SLACK_M else ""
    if not hint and abs(distance_m / (side * 2**0.5) - 1 / 0.3048) < 0.05:
        hint = " The points look like feet under a crs in metres."
    if not hint and abs(distance_m / (side * 2**0.5) - 0.3048) < 0.02:
        hint = " The points look like metres under a crs in feet."
    return _problem(project, "fields", row, "second_e", f"second base {distance_m:.2f} m from home",
                    f"{side * 2**0.5:.2f} m for {row['layout']}", f"Check the layout and the four coordinates.{hint}")  # fmt: skip


def _survey_problems(project: Project) -> list[Problem]:
    out = []
    for row in project.tables["surveys"]:
        named = row.get("fields", ())
        if "all" in named and len(named) > 1:
            out.append(_problem(project, "surveys", row, "fields", repr(";".join(named)), "`all` alone, or field ids", "Name the fields or write all."))
        for field_id in named:
            if field_id != "all" and field_id not in project.fields:
                out.append(_problem(project, "surveys", row, "fields", repr(field_id), "a field_id of the table of fields",
                                    f"Correct the name or add the field.{did_you_mean(field_id, project.fields)}"))  # fmt: skip
        if row.get("source") == "raster" and "sigma_mm" not in row.given:
            out.append(_problem(project, "surveys", row, "sigma_mm", "nothing", "one standard deviation of a raster cell, mm",
                                "Ask whoever made the raster: without it no change can carry an uncertainty."))  # fmt: skip
        if ("turf_height" in row.given) != ("turf_height_unit" in row.given):
            out.append(_unit_missing(project, "surveys", row, "turf_height"))
        control = {r.get("point_id") for r in project.tables.get("control", ())}
        for point in row.get("checkpoints", ()):
            if point not in control:
                out.append(_problem(project, "surveys", row, "checkpoints", repr(point), "a point_id of the table of control points",
                                    f"Correct the name or add the point.{did_you_mean(point, {c for c in control if c})}"))  # fmt: skip
    return out + _height_references(project)


def _height_references(project: Project) -> list[Problem]:
    """One height reference for all surveys of a field, as far as the table states them."""
    out = []
    for field_id in project.fields:
        first: Read | None = None
        for row in project.surveys_of(field_id):
            stated = row.get("height_reference")
            if stated is None:
                continue
            if first is None:
                first = row
            elif normal_reference(stated) != normal_reference(first["height_reference"]):
                out.append(_problem(project, "surveys", row, "height_reference", repr(stated),
                                    f"{first['height_reference']!r} as in row {first.row}, for {field_id}",
                                    "All surveys of a field share one height reference; convert the cloud or correct the cell."))  # fmt: skip
    return out


def _named_fields(project: Project) -> list[Problem]:
    out = []
    for table in ("works", "readings", "control", "use", "games", "walks"):
        for row in project.tables.get(table, ()):
            field_id = row.get("field_id")
            if field_id is not None and field_id not in project.fields:
                out.append(_problem(project, table, row, "field_id", repr(field_id), "a field_id of the table of fields",
                                    f"Correct the name or add the field.{did_you_mean(field_id, project.fields)}"))  # fmt: skip
    return out


def _pairs_of_columns(project: Project) -> list[Problem]:
    """Amounts without their unit, works that end before they begin, ruler readings that are no number."""
    out = []
    for row in project.tables.get("works", ()):
        for amount, unit in (("mix_amount", "mix_unit"), ("depth", "depth_unit")):
            if amount in row.given and unit not in row.given:
                out.append(_unit_missing(project, "works", row, amount, unit))
        if "ended_on" in row.values and "done_on" in row.values and row["ended_on"] < row["done_on"]:
            out.append(_problem(project, "works", row, "ended_on", str(row["ended_on"]), f"{row['done_on']} or later", "Correct one of the two dates."))
    for row in project.tables.get("readings", ()):
        out += _reading_problems(project, row)
    return out


def _reading_problems(project: Project, row: Read) -> list[Problem]:
    kind, value = row.get("kind"), row.get("value")
    if kind is None or value is None:
        return []
    words = {"moisture_hand": ("dust", "crumbles", "holds", "smears"), "seen": ("puddle", "soft", "trip", "hole", "weeds")}
    if kind in words:
        if value not in words[kind]:
            return [_problem(project, "readings", row, "value", repr(value), "one of " + ", ".join(words[kind]),
                             f"Use one of these words.{did_you_mean(value, words[kind])}")]  # fmt: skip
        return []
    try:
        float(value)
    except ValueError:
        return [_problem(project, "readings", row, "value", repr(value), "a number", "Write the bare figure, the unit in column unit.")]
    if "unit" not in row.given:
        return [_unit_missing(project, "readings", row, "value", "unit")]
    if kind == "lip_rise" and not ({"edge_id", "station_m"} <= row.given or {"e", "n"} <= row.given):
        return [_problem(project, "readings", row, "edge_id", "nothing", "edge_id and station_m, or e and n", "Say where the ruler stood.")]
    return []


def _unit_missing(project: Project, table: str, row: Read, amount: str, unit: str | None = None) -> Problem:
    unit = unit or f"{amount}_unit"
    if amount not in row.given:
        return _problem(project, table, row, amount, "a unit without a figure", f"a figure in {amount}", f"Fill in {amount} or empty {unit}.")
    return _problem(project, table, row, unit, "nothing", f"the unit of {amount}", f"Fill in {unit}.")


def _tolerance_fields(project: Project) -> list[Problem]:
    """Tolerances set for a field that is not there."""
    out = []
    for name, owned in project.config.tolerances:
        for field_id in owned.fields if owned is not None else ():
            if field_id not in project.fields:
                out.append(Problem(project.files["config"], None, f"tolerances.{name}.fields", repr(field_id), "a field_id of the table of fields",
                                   f"Correct the name.{did_you_mean(field_id, project.fields)}"))  # fmt: skip
    return out
