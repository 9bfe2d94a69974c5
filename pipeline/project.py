"""A project as read: settings and tables together, checked against one another. Opens no file."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from pipeline.errors import Problem, did_you_mean, either
from pipeline.grading import faults
from pipeline.heights import normal_reference
from pipeline.owner import contradictions
from pipeline.planning import faults as plan_faults
from pipeline.settings import Config
from pipeline.tables import LAYOUTS, MOISTURES, SEEN, Read
from pipeline.units import LENGTH_UNITS, feet

HOME_TO_SECOND_SLACK_M = 0.60  # how far the given points may stand from the layout's diagonal
# Columns that hold the day of something that has happened.
DAYS = {"surveys": ("flown_on",), "works": ("done_on",), "readings": ("read_on",), "walks": ("walked_on", "closed_on"), "control": ("measured_on",)}
WEEK_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
TURF_MAX_M = 0.30  # turf higher than this is a figure in another unit (ours)


@dataclass(frozen=True)
class Project:
    """settings, and every table's rows by name.

    files  : each table's file, for messages; `config`: that of the settings
    lines  : line number of every key of config.yaml by its path, as far as they are known
    unread : tables that could not be read at all: what other tables name in them cannot be judged
    """

    config: Config
    tables: dict[str, tuple[Read, ...]]
    files: dict[str, str]
    lines: dict[tuple[str, ...], int] = field(default_factory=dict)
    unread: frozenset[str] = frozenset()

    @property
    def fields(self) -> dict[str, Read]:
        return {r["field_id"]: r for r in self.tables["fields"] if "field_id" in r.values}

    @property
    def knows_fields(self) -> bool:
        """Whether a name that is not among the fields is wrong: not where the table or its ids could not be read."""
        return "fields" not in self.unread and (bool(self.fields) or not self.tables["fields"])

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
        *_baselines(project), *_turf_problems(project), *_tolerance_problems(project), *_grading_problems(project), *_crew_problems(project), *_game_problems(project), *_plan_problems(project),
    ]  # fmt: skip


def in_the_future(project: Project, today: dt.date) -> list[Problem]:
    """Days that have not come yet: of what was flown, done, read, walked, measured or decided."""
    out = []
    for table, columns in DAYS.items():
        for row in project.tables.get(table, ()):
            for column in columns:
                day = row.get(column)
                if day is not None and day > today:
                    out.append(_problem(project, table, row, column, str(day), f"today, {today}, or earlier", "Correct the date, or write the row once it is done.", code="day-to-come"))
    for where, day in _set_on(project.config.model_dump()):
        if day > today:
            out.append(_setting_problem(project, where, str(day), f"today, {today}, or earlier", "Correct the date.", code="day-to-come"))
    return out


def newest_day(project: Project) -> dt.date | None:
    """The newest day of something that has happened, over all tables; None where they hold none."""
    days = [row.get(c) for table, columns in DAYS.items() for row in project.tables.get(table, ()) for c in (*columns, "ended_on")]
    return max((d for d in days if d is not None), default=None)


def _set_on(plain, where: tuple[str, ...] = ()):
    """Every `set_on` of the settings with the path of its key; that of a section once, not at each figure it signs."""
    pairs = plain.items() if isinstance(plain, dict) else enumerate(plain) if isinstance(plain, (list, tuple)) else ()
    own = plain.get("set_on") if isinstance(plain, dict) else None
    if own is not None:
        yield (*where, "set_on"), own
    for name, inner in pairs:
        for place, day in _set_on(inner, (*where, str(name))):
            if day != own:
                yield place, day


def _setting_problem(project: Project, where: tuple[str, ...], found: str, expected: str, todo: str, *, code: str) -> Problem:
    return Problem(project.files["config"], row_of(project.lines, where), ".".join(where), found, expected, todo, code=code)


def row_of(lines: dict[tuple[str, ...], int], where: tuple[str, ...]) -> int | None:
    """The line of a key of the settings, or of the nearest one above it that is written down."""
    return next((lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in lines), None)


def _problem(project: Project, table: str, row: Read, column: str, found: str, expected: str, todo: str, *, code: str) -> Problem:
    return Problem(project.files[table], row.row, column, found, expected, todo, code=code)


def _field_problems(project: Project) -> list[Problem]:
    out = []
    points = ("home_e", "home_n", "second_e", "second_n")
    for row in project.tables["fields"]:
        missing = [p for p in points if p not in row.given]
        if "layout" in row.given and missing:
            out.append(_problem(project, "fields", row, missing[0], "nothing", "the apex of home plate and the centre of second base",
                                "Fill in home_e, home_n, second_e and second_n, in the row's crs.", code="points-missing"))  # fmt: skip
        elif "layout" not in row.given and "features" not in row.given:
            hint = "" if missing else " Home and second are given: name the layout too."
            out.append(_problem(project, "fields", row, "layout", "nothing", "a layout with home and second, or a features file with a skin",
                                "Fill in layout (" + ", ".join(LAYOUTS) + ") or features." + hint, code="no-skin"))  # fmt: skip
        elif row.get("layout") is not None and row.get("other_layout") == row["layout"]:
            out.append(_problem(project, "fields", row, "other_layout", repr(row["other_layout"]), "a second base set that differs from layout",
                                "Leave it empty where the field has one base set.", code="same-base-set"))  # fmt: skip
        if ("mix_depth" in row.given) != ("mix_depth_unit" in row.given):
            out.append(_unit_missing(project, "fields", row, "mix_depth"))
    return out


def diagonal_problem(project: Project, field_id: str, distance_m: float) -> Problem | None:
    """Home to second as given against the layout's diagonal; needs the CRS, so the caller measures it in m."""
    row = project.fields[field_id]
    side = feet(int(row["layout"].rsplit("-", 1)[1]))
    if abs(distance_m - side * 2**0.5) <= HOME_TO_SECOND_SLACK_M:
        return None
    near = [n for n in LAYOUTS if abs(feet(int(n.rsplit("-", 1)[1])) * 2**0.5 - distance_m) <= HOME_TO_SECOND_SLACK_M]
    hint = f" The points fit {either(near)}." if near else ""
    if not hint and abs(distance_m / (side * 2**0.5) - 1 / 0.3048) < 0.05:
        hint = " The points look like feet under a crs in metres."
    if not hint and abs(distance_m / (side * 2**0.5) - 0.3048) < 0.02:
        hint = " The points look like metres under a crs in feet."
    return _problem(project, "fields", row, "second_e", f"second base {distance_m:.2f} m from home",
                    f"{side * 2**0.5:.2f} m for {row['layout']}", f"Check the layout and the four coordinates.{hint}", code="points-fit-no-layout")  # fmt: skip


def _survey_problems(project: Project) -> list[Problem]:
    out = []
    for row in project.tables["surveys"]:
        named = row.get("fields", ())
        if "all" in named and len(named) > 1:
            out.append(_problem(project, "surveys", row, "fields", repr(";".join(named)), "`all` alone, or field ids", "Name the fields or write all.", code="all-and-names"))
        for field_id in named if project.knows_fields else ():
            if field_id != "all" and field_id not in project.fields:
                out.append(_problem(project, "surveys", row, "fields", repr(field_id), "a field_id of the table of fields",
                                    f"Correct the name or add the field.{did_you_mean(field_id, project.fields)}", code="unknown-field"))  # fmt: skip
        if row.get("source") == "raster" and "sigma_mm" not in row.given:
            out.append(_problem(project, "surveys", row, "sigma_mm", "nothing", "one standard deviation of a raster cell, mm",
                                "Ask whoever made the raster: without it no change can carry an uncertainty.", code="raster-without-sigma"))  # fmt: skip
        if ("turf_height" in row.given) != ("turf_height_unit" in row.given):
            out.append(_unit_missing(project, "surveys", row, "turf_height"))
        control = {r.get("point_id") for r in project.tables.get("control", ())}
        for point in row.get("checkpoints", ()) if "control" not in project.unread else ():
            if point not in control:
                out.append(_problem(project, "surveys", row, "checkpoints", repr(point), "a point_id of the table of control points",
                                    f"Correct the name or add the point.{did_you_mean(point, {c for c in control if c})}", code="unknown-control-point"))  # fmt: skip
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
                                    "All surveys of a field share one height reference; convert the cloud or correct the cell.", code="heights-apart"))  # fmt: skip
    return out


def _named_fields(project: Project) -> list[Problem]:
    out = []
    if not project.knows_fields:
        return out
    for table in ("works", "readings", "control", "use", "games", "walks"):
        for row in project.tables.get(table, ()):
            field_id = row.get("field_id")
            if field_id is not None and field_id not in project.fields:
                out.append(_problem(project, table, row, "field_id", repr(field_id), "a field_id of the table of fields",
                                    f"Correct the name or add the field.{did_you_mean(field_id, project.fields)}", code="unknown-field"))  # fmt: skip
    return out


def _pairs_of_columns(project: Project) -> list[Problem]:
    """Amounts without their unit, works that end before they begin, ruler readings that are no number."""
    out = []
    for row in project.tables.get("works", ()):
        for amount, unit in (("mix_amount", "mix_unit"), ("depth", "depth_unit")):
            if amount in row.given and unit not in row.given:
                out.append(_unit_missing(project, "works", row, amount, unit))
        if "ended_on" in row.values and "done_on" in row.values and row["ended_on"] < row["done_on"]:
            out.append(_problem(project, "works", row, "ended_on", str(row["ended_on"]), f"{row['done_on']} or later", "Correct one of the two dates.", code="ends-before-it-begins"))
    for row in project.tables.get("readings", ()):
        out += _reading_problems(project, row)
    return out


def _reading_problems(project: Project, row: Read) -> list[Problem]:
    kind, value = row.get("kind"), row.get("value")
    if kind is None or value is None:
        return []
    words = {"moisture_hand": MOISTURES, "seen": SEEN}
    if kind in words:
        if value not in words[kind]:
            return [_problem(project, "readings", row, "value", repr(value), "one of " + ", ".join(words[kind]),
                             f"Use one of these words.{did_you_mean(value, words[kind])}", code="reading-value")]  # fmt: skip
        return []
    try:
        float(value)
    except ValueError:
        return [_problem(project, "readings", row, "value", repr(value), "a number", "Write the bare figure, the unit in column unit.", code="reading-value")]
    if "unit" not in row.given:
        return [_unit_missing(project, "readings", row, "value", "unit")]
    if kind == "lip_rise" and not ({"edge_id", "station_m"} <= row.given or {"e", "n"} <= row.given):
        return [_problem(project, "readings", row, "edge_id", "nothing", "edge_id and station_m, or e and n", "Say where the ruler stood.", code="reading-nowhere")]
    return []


def _unit_missing(project: Project, table: str, row: Read, amount: str, unit: str | None = None) -> Problem:
    unit = unit or f"{amount}_unit"
    if amount not in row.given:
        return _problem(project, table, row, amount, "a unit without a figure", f"a figure in {amount}", f"Fill in {amount} or empty {unit}.", code="figure-missing")
    return _problem(project, table, row, unit, "nothing", f"the unit of {amount}", f"Fill in {unit}.", code="unit-missing")


def _baselines(project: Project) -> list[Problem]:
    """One survey of a field is what the others are tied to."""
    out: dict[int, Problem] = {}
    for field_id in project.fields:
        marked = sorted((r for r in project.surveys_of(field_id) if r.get("purpose") == "baseline"), key=lambda r: r.row)
        for row in marked[1:]:
            found = f"'baseline' again for {field_id} (first in row {marked[0].row})"
            out.setdefault(row.row, _problem(project, "surveys", row, "purpose", found, "one baseline a field", "Leave one; the others are `routine`.", code="two-baselines"))
    return list(out.values())


def _turf_problems(project: Project) -> list[Problem]:
    """Turf higher than any that is mown."""
    out = []
    for row in project.tables["surveys"]:
        out += _too_high(project, "surveys", row, "turf_height", row.get("turf_height"), row.get("turf_height_unit"))
    for row in project.tables.get("readings", ()):
        if row.get("kind") == "turf_height":
            out += _too_high(project, "readings", row, "value", _number(row.get("value")), row.get("unit"))
    return out


def _too_high(project: Project, table: str, row: Read, column: str, value: float | None, unit: str | None) -> list[Problem]:
    if value is None or unit is None or value * LENGTH_UNITS[unit] <= TURF_MAX_M:
        return []
    most = TURF_MAX_M / LENGTH_UNITS[unit]
    return [_problem(project, table, row, column, f"turf {value:g} {unit} high", f"at most {most:.3g} {unit}", "Check the figure and its unit.", code="turf-too-tall")]


def _number(raw: str | None) -> float | None:
    try:
        return float(raw or "")
    except ValueError:
        return None


def _tolerance_problems(project: Project) -> list[Problem]:
    """Tolerances set for a field that is not there; limits that contradict each other."""
    out = []
    for name, owned in project.config.tolerances:
        for field_id in owned.fields if owned is not None and project.knows_fields else ():
            if field_id not in project.fields:
                out.append(_setting_problem(project, ("tolerances", name, "fields", field_id), repr(field_id), "a field_id of the table of fields",
                                            f"Correct the name.{did_you_mean(field_id, project.fields)}", code="unknown-field"))  # fmt: skip
    for lower, upper, least, found in contradictions(project.config.tolerances):
        out.append(_setting_problem(project, ("tolerances", upper), f"{found:g}", f"{least:g} or more, as {lower} is", f"Correct {lower} or {upper}.", code="limits-crossed"))
    return out


def _grading_problems(project: Project) -> list[Problem]:
    """Wishes for a graded surface that contradict each other, or that a field has nothing for."""
    ridges = {f: "layout" in row.values for f, row in project.fields.items()}
    found = faults(project.config.grading, project.config.material, ridges, project.knows_fields)
    return [_setting_problem(project, *fault, code="grading-contradiction") for fault in found]


def _crew_problems(project: Project) -> list[Problem]:
    """A season that cannot be: days no week has, a last week before the first, sites without a way to the yard."""
    crew, out = project.config.crew, []
    for name in crew.working_days:
        if name not in WEEK_DAYS:
            out.append(_setting_problem(project, ("crew", "working_days"), repr(name), "days among " + ", ".join(WEEK_DAYS), f"Use these words.{did_you_mean(name, WEEK_DAYS)}", code="setting-not-allowed"))
    if crew.first_week is not None and crew.last_week is not None and crew.last_week < crew.first_week:
        out.append(_setting_problem(project, ("crew", "last_week"), str(crew.last_week), f"{crew.first_week} or later", "Correct first_week or last_week.", code="ends-before-it-begins"))
    ways = {frozenset((r.get("from_site"), r.get("to_site"))) for r in project.tables.get("sites", ())}
    sites = sorted({r["site"] for r in project.tables["fields"] if "site" in r.values} | ({crew.yard} if crew.yard else set()))
    for k, one in enumerate(sites if ways and "sites" not in project.unread and project.knows_fields else ()):
        for other in sites[k + 1 :]:
            if frozenset((one, other)) not in ways:
                out.append(Problem(project.files["sites"], None, None, f"no way from {one} to {other}", "the minutes between any two sites of the fields and the yard", "Add a row; one way is enough.", code="no-way-between-sites"))
    return out


def _game_problems(project: Project) -> list[Problem]:
    """Games that end before they begin, that overlap another on their field, or on a base set that the field has not."""
    out, order = [], sorted((r for r in project.tables.get("games", ()) if {"field_id", "on", "starts", "ends"} <= r.values.keys()),
                            key=lambda r: (r["field_id"], r["on"], r["starts"], r.row))  # fmt: skip
    for row in order:
        field = project.fields.get(row["field_id"])
        has = [field.get(n) for n in ("layout", "other_layout") if field.get(n)] if field is not None else []
        if row["ends"] <= row["starts"]:
            out.append(_problem(project, "games", row, "ends", f"{row['ends']:%H:%M}", f"later than {row['starts']:%H:%M}", "Correct one of the two times.", code="ends-before-it-begins"))
        if has and row.get("layout") is not None and row["layout"] not in has:
            out.append(_problem(project, "games", row, "layout", repr(row["layout"]), either(has), "Correct the base set, or name it in the table of fields.", code="game-base-set"))
    for one, two in zip(order, order[1:]):
        if (one["field_id"], one["on"]) == (two["field_id"], two["on"]) and two["starts"] < one["ends"]:
            out.append(_problem(project, "games", two, "starts", f"{two['starts']:%H:%M}", f"{one['ends']:%H:%M} or later, when the game of row {one.row} ends", "Correct the times.", code="games-overlap"))
    day = project.config.day
    if day.last_at <= day.first_at:
        out.append(_setting_problem(project, ("day", "last_at"), day.last_at, f"later than day.first_at, {day.first_at}", "Correct one of the two times.", code="ends-before-it-begins"))
    return out


def _plan_problems(project: Project) -> list[Problem]:
    """Budgets, costs and pins that cannot stand."""
    config = project.config
    return [_setting_problem(project, *fault, code="plan-contradiction") for fault in plan_faults(config.plan, config.budget, config.costs, project.fields, project.knows_fields)]
