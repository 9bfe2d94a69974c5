"""The operator's tables: columns, words, and a check that reports every fault at once. Opens no file."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass
from typing import Callable, Iterable

from pipeline.errors import Problem, did_you_mean, either
from pipeline.units import LENGTH_UNITS, VERTICAL_UNITS

ID = re.compile(r"[a-z0-9-]+")
LIST_SIGN = ";"
FIRST_YEAR = 1990  # before it nobody walked a field with a satellite receiver


@dataclass(frozen=True)
class Rows:
    """A table as read: header in file order, rows of text, each with its line number in the file."""

    file: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]


class Bad(ValueError):
    """One cell is not what its column holds. args: expected, what to do."""


@dataclass(frozen=True)
class Field:
    """One column of an input table: its reader, and whether it must be there and filled."""

    name: str
    read: Callable[[str], object]
    required: bool = False


# ---- readers: text to value, or Bad(expected, todo) ----------------------------------------------------


def text(raw: str) -> str:
    return raw


def ident(raw: str) -> str:
    if not ID.fullmatch(raw):
        hint = re.sub(r"[^a-z0-9-]+", "-", raw.lower()).strip("-")
        raise Bad("lower-case letters, digits and hyphens", f"Write it as {hint!r} here and wherever it is named.")
    return raw


def idents(raw: str) -> tuple[str, ...]:
    return tuple(ident(part) for part in _listed(raw))


def _listed(raw: str) -> list[str]:
    """The words of a cell that may hold several."""
    if "," in raw:
        apart = LIST_SIGN.join(part.strip() for part in raw.split(",") if part.strip())
        raise Bad(f"words separated by {LIST_SIGN}", f"Write {apart!r}.")
    return [part.strip() for part in raw.split(LIST_SIGN) if part.strip()]


def date(raw: str) -> dt.date:
    try:
        return dt.date.fromisoformat(raw)
    except ValueError:
        raise Bad("a date like 2026-04-15 (year-month-day)", "Rewrite the date.") from None


def survey_date(raw: str) -> dt.date:
    day = date(raw)
    if day.year < FIRST_YEAR:
        raise Bad(f"a day of {FIRST_YEAR} or later: no survey by satellite or drone is older", "Correct the year.")
    return day


def month(raw: str) -> str:
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", raw):
        raise Bad("a month like 2026-04 (year-month)", "Rewrite the month.")
    return raw


def clock(raw: str) -> dt.time:
    if not re.fullmatch(r"\d{1,2}:\d{2}", raw):
        raise Bad("a time of day like 17:30", "Rewrite the time, by 24 hours.")
    try:
        return dt.time(*map(int, raw.split(":")))
    except ValueError:
        raise Bad("a time of day from 00:00 to 23:59", "Correct the time.") from None


def number(low: float = -math.inf, high: float = math.inf, unit: str = "") -> Callable[[str], float]:
    span = _span(low, high)

    def read(raw: str) -> float:
        try:
            value = float(raw)
        except ValueError:
            todo = "Use a point as decimal mark and no unit." if "," in raw else "Write the bare figure without its unit."
            raise Bad(f"a number{unit and ' in ' + unit}", todo) from None
        if not math.isfinite(value) or not low <= value <= high:
            raise Bad(f"a number {span}{unit and ' in ' + unit}", "Check the figure and its unit.")
        return value

    return read


def _span(low: float, high: float) -> str:
    if math.isinf(high):
        return "of any size" if math.isinf(low) else f"of at least {low:g}"
    return f"from {low:g} to {high:g}"


# What people write in place of a word of ours: one of our words, what they write, what they may mean by it.
SAID_FOR = (
    ("photogrammetry", ("drone", "uav", "uas", "sfm", "photo", "photos", "camera"), "From pictures: photogrammetry. From a laser scanner: lidar."),
    ("lidar", ("laser", "scanner", "scan", "als", "tls"), "A laser scanner is lidar."),
    ("rover", ("gps", "gnss", "rtk", "walk", "pole"), "A walk with a satellite receiver is rover."),
    ("raster", ("dem", "dtm", "dsm", "tif", "tiff", "geotiff"), "Heights in a GeoTIFF are raster."),
    ("us-ft", ("foot", "feet", "ft.", "'", "usft", "ftus", "us ft", "us_ft", "us-feet", "us foot", "survey foot", "us survey foot"),
     "ft is the international foot, us-ft the US survey foot."),
    ("m", ("meter", "meters", "metre", "metres"), "Metres are m."),
    ("in", ("inch", "inches", '"'), "Inches are in."),
)  # fmt: skip


def one_of(*words: str) -> Callable[[str], str]:
    def read(raw: str) -> str:
        if raw not in words:
            meant = [sentence for ours, said, sentence in SAID_FOR if ours in words and raw.lower() in said]
            hint = f" {meant[0]}" if meant else did_you_mean(raw, words)
            raise Bad("one of " + ", ".join(words), f"Use one of these words.{hint}")
        return raw

    return read


def some_of(*words: str) -> Callable[[str], tuple[str, ...]]:
    each = one_of(*words)
    return lambda raw: tuple(each(part) for part in _listed(raw))


def height_reference(raw: str) -> str:
    if raw in ("ellipsoidal", "local"):
        return raw
    if not re.fullmatch(r"EPSG:\d{4,6}", raw.upper()):
        raise Bad("EPSG:<code> of a vertical datum, ellipsoidal or local", "Name the datum of the heights, e.g. EPSG:5703 for NAVD88.")
    return raw.upper()


def mix_unit(raw: str) -> str:
    if raw == "ton":
        raise Bad(either(MIX_UNITS), "A bare ton can be two things: write short_ton (2000 lb) or tonne.")
    return one_of(*MIX_UNITS)(raw)


LAYOUTS = ("baseball-90", "baseball-80", "baseball-70", "baseball-60", "baseball-50",
           "softball-65", "softball-60", "softball-55")  # fmt: skip
SOURCES = ("photogrammetry", "lidar", "rover", "raster")
PURPOSES = ("routine", "baseline", "before_work", "after_work")
STATES = ("dragged", "played", "wet", "dry", "topdressed", "mown", "shaggy", "dormant")
MOISTURES = ("dust", "crumbles", "holds", "smears")  # a squeezed handful, from dry to wet
WORKS = ("drag", "level", "open_up", "weed", "edge_clean", "edge_recut", "lip_cut", "sod", "mix_add", "roll", "water",
         "laser_grade", "rebuild", "bases", "close", "reopen", "other")  # fmt: skip
UNITS = tuple(LENGTH_UNITS)
SEEN = ("puddle", "soft", "trip", "hole", "weeds")  # what the eye sees
CORNERS = ("home", "first", "second", "third", "left", "right", "centre")
MIX_UNITS = ("short_ton", "tonne", "yd3_loose", "m3_loose")
ACTIONS = ("closed", "marked_off", "repaired", "accepted")

TABLES: dict[str, tuple[Field, ...]] = {
    "fields": (
        Field("field_id", ident, True), Field("crs", text, True), Field("layout", one_of(*LAYOUTS)),
        Field("home_e", number()), Field("home_n", number()), Field("second_e", number()), Field("second_n", number()),
        Field("features", text), Field("name", text), Field("site", ident), Field("other_layout", one_of(*LAYOUTS)),
        Field("pitch_ft", number(20, 70, "feet")), Field("infield", one_of("grass", "skinned")),
        Field("arc_m", number(8, 60, "metres")), Field("mix_depth", number(0)),
        Field("mix_depth_unit", one_of(*UNITS)), Field("notes", text),
    ),
    "surveys": (
        Field("survey_id", ident, True), Field("flown_on", survey_date, True), Field("fields", idents, True),
        Field("path", text, True), Field("source", one_of(*SOURCES), True), Field("crs", text),
        Field("vertical_unit", one_of(*VERTICAL_UNITS)), Field("height_reference", height_reference),
        Field("sigma_mm", number(0.1, 500, "millimetres")), Field("turf_height", number(0)),
        Field("turf_height_unit", one_of(*UNITS)), Field("surface_state", some_of(*STATES)),
        Field("checkpoints", idents), Field("purpose", one_of(*PURPOSES)), Field("notes", text),
    ),
    "works": (
        Field("work_id", ident, True), Field("field_id", ident, True), Field("done_on", date, True),
        Field("work", one_of(*WORKS), True), Field("ended_on", date), Field("zone", text),
        Field("pattern", one_of("straight", "spiral_in", "spiral_out", "arcs", "hand")),
        Field("bearing_deg", number(0, 180, "degrees")),
        Field("entry", one_of(*CORNERS)),
        Field("machine", text), Field("depth", number(0)), Field("depth_unit", one_of(*UNITS)),
        Field("moisture", one_of(*MOISTURES)), Field("hours", number(0, 2000, "hours")),
        Field("mix_amount", number(0)), Field("mix_unit", mix_unit), Field("sod_m2", number(0)),
        Field("cost", number(0)), Field("by", one_of("crew", "contractor")), Field("documents", text),
        Field("notes", text),
    ),
    "readings": (
        Field("reading_id", ident, True), Field("field_id", ident, True), Field("read_on", date, True),
        Field("kind", one_of("lip_rise", "turf_height", "level", "mix_depth", "distance", "rain", "moisture_hand", "seen"), True),
        Field("value", text, True), Field("unit", one_of(*UNITS)), Field("edge_id", text),
        Field("station_m", number(0)), Field("place", text), Field("e", number()), Field("n", number()),
        Field("instrument", text), Field("notes", text),
    ),
    "control": (
        Field("point_id", ident, True), Field("e", number(), True), Field("n", number(), True),
        Field("height", number(), True), Field("unit", one_of(*VERTICAL_UNITS), True), Field("crs", text, True),
        Field("height_reference", height_reference, True), Field("field_id", ident),
        Field("kind", one_of("benchmark", "checkpoint", "slab")), Field("sigma_mm", number(0, 1000, "millimetres")),
        Field("measured_on", date), Field("instrument", text), Field("description", text),
    ),
    "use": (
        Field("field_id", ident, True), Field("month", month, True), Field("games", number(0), True),
        Field("hours", number(0), True),
    ),
    "games": (
        Field("field_id", ident, True), Field("on", date, True), Field("starts", clock, True), Field("ends", clock, True),
        Field("layout", one_of(*LAYOUTS)), Field("kind", one_of("game", "practice", "tournament")),
    ),
    "sites": (
        Field("from_site", ident, True), Field("to_site", ident, True), Field("minutes", number(0), True),
        Field("load_minutes", number(0)),
    ),
    "walks": (
        Field("walk_id", ident, True), Field("field_id", ident, True), Field("walked_on", date, True),
        Field("item", text, True), Field("place", text, True), Field("finding", text, True),
        Field("action", one_of(*ACTIONS)), Field("closed_on", date), Field("role", text),
    ),
    "stock": (
        Field("site", ident, True), Field("material", text, True), Field("tonnes", number(0), True), Field("on", date, True),
    ),
}  # fmt: skip

NAMED_BY = {"fields": "field_id", "surveys": "survey_id", "works": "work_id", "readings": "reading_id",
            "control": "point_id", "walks": "walk_id"}  # fmt: skip
LOGGED = ("works", "readings", "walks")  # what a crew writes down; `log` adds rows to these
CREW_TABLE = "table"  # in a crew's file: which of them a row is for
CREW_COLUMNS = (CREW_TABLE, *dict.fromkeys(f.name for table in LOGGED for f in TABLES[table]))
WHEN = {"works": "done_on", "readings": "read_on", "walks": "walked_on"}  # their day


@dataclass(frozen=True)
class Read:
    """One row: its line number, the columns that could be read as values, and the filled cells as text."""

    row: int
    values: dict
    cells: dict[str, str]

    @property
    def given(self) -> set[str]:
        return set(self.cells)

    def __getitem__(self, column: str):
        return self.values[column]

    def get(self, column: str, default=None):
        return self.values.get(column, default)


def read(table: str, rows: Rows) -> tuple[tuple[Read, ...], list[Problem]]:
    """Every row of a table as values, with every fault found on the way. Faulty cells are left out of the row."""
    fields = {f.name: f for f in TABLES[table]}
    rows, problems = _lowered(rows, fields)
    problems += _header_problems(rows, fields)
    out = []
    for line, cells in rows.rows:
        values, filled = {}, {}
        for name, field in fields.items():
            raw = (cells.get(name) or "").strip()
            if raw:
                filled[name] = raw
            else:
                if field.required and name in rows.header:
                    problems.append(Problem(rows.file, line, name, "nothing", "a value", f"Fill in {name}.", code="empty-cell"))
                continue
            try:
                values[name] = field.read(raw)
            except Bad as bad:
                expected, todo = bad.args
                problems.append(Problem(rows.file, line, name, repr(raw), expected, todo, code="cell-not-allowed"))
        out.append(Read(line, values, filled))
    problems += _twins(table, rows.file, out)
    return tuple(out), problems


def _lowered(rows: Rows, fields: dict[str, Field]) -> tuple[Rows, list[Problem]]:
    """A header that only capitals set apart from ours is one fault; the cells are read all the same."""
    capitals = [n for n in rows.header if n not in fields and n.lower() in fields and n.lower() not in rows.header]
    if not capitals:
        return rows, []
    name = {n: n.lower() if n in capitals else n for n in rows.header}
    problem = Problem(rows.file, 1, None, "capitals in the header: " + ", ".join(capitals), ", ".join(name[n] for n in capitals), "Write the header in lower case.", code="capitals-in-header")
    lowered = tuple((line, {name[n]: text for n, text in cells.items()}) for line, cells in rows.rows)
    return Rows(rows.file, tuple(name[n] for n in rows.header), lowered), [problem]


def _header_problems(rows: Rows, fields: dict[str, Field]) -> list[Problem]:
    problems = []
    missing = [name for name in fields if name not in rows.header]
    for name in dict.fromkeys(rows.header):
        if name not in fields:
            todo = f"Remove or rename it.{did_you_mean(name, missing)}" if name else "Name the column or take it out."
            problems.append(Problem(rows.file, 1, name, "an unknown column" if name else "a column without a name", "one of " + ", ".join(fields), todo, code="unknown-column"))
    for name in sorted({n for n in rows.header if n and rows.header.count(n) > 1}):
        problems.append(Problem(rows.file, 1, name, "the column twice", "each column once", "Remove one of them.", code="column-twice"))
    for name, field in fields.items():
        if field.required and name not in rows.header:
            problems.append(Problem(rows.file, 1, name, "no such column", "this column in the header row", f"Add {name}.", code="missing-column"))
    return problems


def _twins(table: str, file: str, rows: Iterable[Read]) -> list[Problem]:
    name = NAMED_BY.get(table)
    seen: dict[str, int] = {}
    problems = []
    for row in rows if name else ():
        value = row.get(name)
        if value in seen:
            problems.append(Problem(file, row.row, name, f"{value!r} again (first in row {seen[value]})",
                                    "each one once", "Give this row an id of its own.", code="id-twice"))  # fmt: skip
        elif value is not None:
            seen[value] = row.row
    return problems
