"""`new`: a project folder with one field, from options and questions; whole or not at all."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Sequence, get_args

from pipeline.coordinates import label, lon_lat, read_crs, unit_m, working_crs
from pipeline.desk import new_config, new_sketch
from pipeline.desk.asking import Asking, NotUsable, cell, one_of, words
from pipeline.desk.check import asked_for
from pipeline.desk.look import look, stable_ground
from pipeline.desk.new_answers import counted, read_between, read_day, read_point, read_second, read_shapes_file, read_system
from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.owner import Tolerances
from pipeline.settings import Language
from pipeline.store import vectors
from pipeline.store.added import fresh, with_rows
from pipeline.store.atomic import new_folder
from pipeline.store.config import load
from pipeline.survey.stable.tie import MIN_PATCHES
from pipeline.tables import LAYOUTS, TABLES
from pipeline.tables import ident as read_ident
from pipeline.tables import number as read_number

MADE = ("fields", "surveys", "works", "readings", "control", "walks")  # tables that a project begins with
ASKED = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm")  # what most verdicts rest on
DRAWINGS = "drawings"
COLUMNS = {table: {f.name: f.read for f in TABLES[table]} for table in TABLES}


@dataclass(frozen=True)
class Given:
    """The options as typed; None where nothing was."""

    title: str | None = None
    units: str | None = None
    language: str | None = None
    crew_language: str | None = None
    crs: str | None = None
    field: str | None = None
    name: str | None = None
    site: str | None = None
    layout: str | None = None
    base_ft: str | None = None
    pitch_ft: str | None = None
    arc_m: str | None = None
    infield: str | None = None
    home: str | None = None
    second: str | None = None
    lon_lat: bool = False
    shapes: Path | None = None
    tolerances: Sequence[str] = ()
    set_by: str | None = None
    set_on: str | None = None
    cell_m: str | None = None


def new(folder: Path, given: Given, can_ask: bool | None = None) -> int:
    """Make the project and say what it holds and what it lacks. Exit status: 0. raises: BadInput, and nothing is there then"""
    if os.path.lexists(folder) and not (folder.is_dir() and not any(folder.iterdir())):
        raise BadInput([Problem("new", None, None, f"{folder}, which is there already", "a folder that is not there yet, or is empty", "Name another one; nothing was changed.", code="folder-taken")])
    ask = Asking("new", can_ask)
    if ask.can:
        print("A project with one field. An empty answer leaves out what may be left out; Ctrl-C stops, and nothing is made.")
    field_id = ask.get("--field", given.field, "Field's id, in small letters, digits and -", cell(read_ident))
    name = ask.get("--name", given.name, "Field's name", words, needed=False)
    site = ask.get("--site", given.site, "Site it belongs to (fields side by side, flown in one flight), an id as above", cell(read_ident), needed=False)
    crs = ask.get("--crs", given.crs, "Coordinate system, as EPSG:6565, or a cloud of the field that states it", read_system)
    layout, base_ft = _layout(ask, given)
    sizes = [ask.get(f"--{key.replace('_', '-')}", getattr(given, key), what, cell(COLUMNS["fields"][key]), needed=False, ask=layout is None and base_ft is not None)
             for key, what in (("pitch_ft", "Pitching distance, ft"), ("arc_m", "Radius of the outer arc, m"), ("infield", "Infield, grass or skinned"))]  # fmt: skip
    how = f"two numbers with a comma, in {counted(crs)} or as longitude, latitude" if ask.can else f"two numbers in {counted(crs)}, or longitude,latitude with --lon-lat"
    points = _points(ask, given, crs, how, layout, base_ft)
    shapes = ask.get("--shapes", str(given.shapes) if given.shapes else None, "File of shapes drawn already (slabs that do not move with role = stable)", read_shapes_file, needed=False)
    tolerances = _tolerances(ask, given)
    title = ask.get("--title", given.title, "Whose fields these are, as a line over every page", words, needed=False)
    units = ask.get("--units", given.units, "Units of the pages, us or metric", one_of(("us", "metric")), default="us")
    tongue = one_of(get_args(Language))
    language = ask.get("--language", given.language, "Language of the pages, en or es", tongue, default="en")
    crew_language = ask.get("--crew-language", given.crew_language, "Language of what the crew carries, en or es", tongue, default=language or "en")
    cell_m = ask.get("--cell-m", given.cell_m, "Cell of every raster, m", read_between(0.02, 5), needed=False, ask=False)
    ask.settle()

    pitch_ft, arc_m, infield = sizes
    row = {"field_id": field_id, "crs": crs, "name": name, "site": site, "layout": layout, "pitch_ft": pitch_ft if layout else None, "arc_m": arc_m if layout else None,
           "infield": infield if layout else None, "features": f"{DRAWINGS}/{field_id}.geojson"}  # fmt: skip
    if layout:
        row |= {key: f"{value:.3f}" for key, value in zip(("home_e", "home_n", "second_e", "second_n"), (*points[0], *points[1]))}
    said = {"units": units, "language": language, "crew_language": crew_language if crew_language != language else None, "cell_size_m": cell_m, "readings": "readings.csv", "control": "control.csv", "walks": "walks.csv", "fields": "fields.csv", "surveys": "surveys.csv",
            "works": "works.csv", "results": "results", "tolerances": tolerances, "report": {"title": title} if title else {}}  # fmt: skip
    plan = new_sketch.Sizes.of(layout, float(base_ft) if base_ft else None, float(pitch_ft) if pitch_ft else None, float(arc_m) if arc_m else None, infield)
    to_m = unit_m(read_crs(crs))
    guess = new_sketch.drawn(plan, *[(x * to_m, y * to_m) for x, y in points])
    out = {"config.yaml": new_config.text(title or "", said), **_tables(row), **_drawings(field_id, crs, layout, guess, shapes, pitch_ft is not None)}
    with new_folder(folder) as made:
        for path, text in out.items():
            (made / path).parent.mkdir(exist_ok=True)
            (made / path).write_text(text, encoding="utf-8", newline="\n")
        project, _ = load(made)
        layouts = look(project, made)
    for line in told(folder, field_id, crs, layout, points, layouts[field_id], project):
        print(line)
    asked_for(project)
    print(f"Next: skinplane add FILE {folder}  (a cloud or walk), then skinplane check {folder} and skinplane run {folder}.")
    return 0


def _points(ask: Asking, given: Given, crs: str | None, how: str, layout: str | None, base_ft: str | None) -> list:
    """Home plate and second base; at questions an empty second base goes back to home plate, for either may be the wrong one."""
    again = ask.can and given.home is None and given.second is None
    while True:
        home = ask.get("--home", given.home, f"Rear point of home plate, {how}", read_point(crs, given.lon_lat or ask.can))
        second = ask.get("--second", given.second, "Middle of second base, likewise", read_second(crs, given.lon_lat or ask.can, home, layout, base_ft), needed=not again, empty="home plate again")
        if second is not None or not again:
            return [home, second]


def _layout(ask: Asking, given: Given) -> tuple[str | None, str | None]:
    """A layout's name, or a base distance in feet."""
    if given.base_ft is not None:
        return None, ask.get("--base-ft", given.base_ft, "", cell(read_number(20, 120, "feet")))

    def read(text: str) -> str:
        return text if text in LAYOUTS else _base(text)

    def _base(text: str) -> str:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not 20 <= value <= 120:
            raise NotUsable("one of " + ", ".join(LAYOUTS) + ", or a base distance in feet", f"Use one of these.{did_you_mean(text, LAYOUTS)}")
        return text

    said = ask.get("--layout", given.layout, "Layout (" + ", ".join(LAYOUTS) + ") or base distance in feet", read)
    return (said, None) if said in LAYOUTS or said is None else (None, said)


def _tolerances(ask: Asking, given: Given) -> dict[str, dict]:
    """Figures of the owner, each with who set it and when. None is invented: what is not said is left out."""
    named = dict(part.partition("=")[::2] for part in given.tolerances)
    fields = Tolerances.model_fields
    for key in [k for k in named if k not in fields]:
        ask.problems.append(Problem("new", None, "--tolerance", repr(key), "a key of tolerances, as lip_mm=25", f"Correct it.{did_you_mean(key, fields)}", code="option-not-allowed"))
    by = ask.get("--set-by", given.set_by, "Tolerances are the owner's. Who set them", words, needed=bool(named), ask=bool(named) or not given.tolerances)
    if by is None:
        return {}
    on = ask.get("--set-on", given.set_on, "When, as 2026-03-01", read_day)
    out = {}
    for key, info in fields.items():
        low, high = info.json_schema_extra["minimum"], info.json_schema_extra["maximum"]
        value = ask.get(f"--tolerance {key}", named.get(key), info.description.rstrip("."), read_between(low, high), needed=False, ask=key in ASKED and not named)
        if value is not None:
            out[key] = {"value": value, "set_by": by, "set_on": on}
    return out


# ---- files --------------------------------------------------------------------------------------------


def _tables(row: dict) -> dict[str, str]:
    out = {}
    for table in MADE:
        columns = [f.name for f in TABLES[table]]
        data = fresh(columns)
        out[f"{table}.csv"] = (with_rows(data, [{k: v for k, v in row.items() if v}], columns, table) if table == "fields" else data).decode()
    return out


def _drawings(field_id: str, crs: str, layout: str | None, guess: list, shapes: Path | None, pitch: bool) -> dict[str, str]:
    """The field's shapes, and the first guess as a sketch beside them. Without a layout's name the guess has to stand for the field."""
    brought, problems = vectors.read(shapes, shapes.name, working_crs(crs)) if shapes else ((), [])
    if problems:
        raise BadInput(problems)
    kept = new_sketch.as_features(brought)
    if layout is None:  # where the pitcher's plate lies nobody said unless they gave its distance: a patch beside it would tie to loose mix
        guess = [g for g in guess if pitch or g[1] != "pitchers-plate"]
        have = {f.role for f in brought} - {"stable"}
        kept = [({"role": role, "name": name}, shape) for role, name, shape in guess if role and role not in have] + kept
    return {f"{DRAWINGS}/{field_id}.geojson": new_sketch.geojson(field_id, crs, kept),
            f"{DRAWINGS}/{field_id}-sketch.geojson": new_sketch.geojson(f"{field_id}-sketch", crs, new_sketch.as_sketch(guess))}  # fmt: skip


# ---- what is said -------------------------------------------------------------------------------------


def told(folder: Path, field_id: str, crs: str, layout: str | None, points, drawn, project) -> list[str]:
    """What was made, what is a guess in it, and what is lost until it is drawn."""
    (e, n), (e2, n2) = points
    to_m = unit_m(read_crs(crs))
    lon, lat = lon_lat(read_crs(crs), e, n)
    drawing = f"{folder / DRAWINGS / field_id}.geojson"
    out = [
        f"Made {folder} with the field {field_id} in {label(read_crs(crs))}: home plate at {lat:.5f}, {lon:.5f} (latitude, longitude), second base {math.hypot(e2 - e, n2 - n) * to_m:.2f} m from it, bearing {math.degrees(math.atan2(e2 - e, n2 - n)) % 360:.0f} degrees, skin {drawn.skin.area:,.0f} m².",
        "",
        f"The grass edges and the skin are a first guess from sizes in print, no survey of your field: {folder / DRAWINGS / field_id}-sketch.geojson.",
        f"Draw them from the first survey's picture into {drawing} (role grass_edge, skin).",
    ]
    if layout:
        out.append("Until then a run lays the guess onto the grass it finds, within 0.70 m; an arc built elsewhere gives no lip, or one read beside the true edge, and grass crept in cannot be told.")
    else:
        out.append("Without a layout's name that guess stands in the file as if it were drawn: lip and grass crept in are wrong by as much as it is. Low spots at the bases, base sets and the rulebook's items are not told.")
    for sentence in stable_ground(drawn):
        out.append(sentence[0].upper() + sentence[1:])
    if len(drawn.patches) < MIN_PATCHES:
        out.append(f"Draw {MIN_PATCHES - len(drawn.patches)} or more slabs, pads or footings around the field into the same file (role stable): until then the sinking of a whole skin is not seen.")
    return [*out, ""]
