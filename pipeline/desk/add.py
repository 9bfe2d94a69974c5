"""`add`: a survey's file comes into a project, with its row in surveys.csv."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.coordinates import lon_lat, read_crs
from pipeline.desk.add_whereabouts import Over, nearest, over
from pipeline.desk.asking import Asking, NotUsable, cell, words
from pipeline.desk.headers import sparse
from pipeline.desk.look import layout_of
from pipeline.diamond.layout import Layout
from pipeline.errors import BadInput, Problem, Refused, did_you_mean
from pipeline.project import Project
from pipeline.store import files
from pipeline.store.added import locked, replace_all, with_rows
from pipeline.store.brought import brought
from pipeline.store.config import find, load
from pipeline.store.points import open_points
from pipeline.store.points_said import Said, said
from pipeline.survey.reading.facts import KINDS, Facts
from pipeline.survey.reading.stated import Stated
from pipeline.tables import SOURCES, TABLES

CLOUDS = "clouds"
READ = {f.name: f.read for f in TABLES["surveys"]}
# What a refusal can be answered with: the option, and the question.
ANSWERS = {
    "no_crs": ("crs", "Its coordinate system, as EPSG:6565"),
    "no_vertical_unit": ("vertical_unit", "Unit of its heights: m, ft (international foot) or us-ft (US survey foot)"),
    "no_height_reference": ("height_reference", "What its heights count from: EPSG:5703 (NAVD88) or another datum's code, ellipsoidal, local"),
    "no_sigma": ("sigma_mm", "One standard deviation of a cell, mm"),
}  # fmt: skip


@dataclass(frozen=True)
class Given:
    """The options as typed; None where nothing was."""

    survey_id: str | None = None
    flown_on: str | None = None
    fields: str | None = None
    source: str | None = None
    crs: str | None = None
    vertical_unit: str | None = None
    height_reference: str | None = None
    sigma_mm: str | None = None
    turf_height: str | None = None
    surface_state: str | None = None
    purpose: str | None = None
    notes: str | None = None
    link: bool = False


def add(file: Path, config: Path, given: Given, can_ask: bool | None = None) -> int:
    """Bring one file and its row. Exit status: 0. raises: BadInput, and nothing was changed then"""
    if not files.is_file(file):
        raise BadInput([Problem("add", None, None, f"{file}, no such file", "a cloud (LAS, LAZ, COPC), a walk (CSV) or a raster (GeoTIFF)", "skinplane add FILE CONFIG: the file first, then the project.", code="no-such-file")])
    with locked(find(config).parent):
        project, folder = load(config)
        layouts = _layouts(project, folder)
        _require_new(project, folder, file)
        try:
            facts = open_points(file).facts
        except Refused as refused:
            raise BadInput([_unusable(file, refused)]) from None
        ask = Asking("add", can_ask)
        told_by_file = said(file, facts.kind, facts.has_rgb, _longitude(layouts))
        print(f"{file.name}: {_kind(facts)}.")
        row, covered = _row(ask, given, project, layouts, file, facts, told_by_file)
        ask.settle()
        _bring(project, folder, config, file, row, given.link)
        for line in _told(project, config, row, covered, facts):
            print(line)
        return 0


def _layouts(project: Project, folder: Path) -> dict[str, Layout]:
    out, problems = {}, []
    for field_id, row in sorted(project.fields.items()):
        layout, faults = layout_of(project, folder, field_id, row)
        problems += faults
        if layout is not None:
            out[field_id] = layout
    if problems:
        raise BadInput(problems)
    return out


def _longitude(layouts: dict[str, Layout]) -> float:
    """Of the project's fields, degrees: all of them lie within one day's flying."""
    grid = next(iter(layouts.values())).grid
    return lon_lat(read_crs(grid.crs), (grid.west + grid.east) / 2, (grid.south + grid.north) / 2)[0]


def _require_new(project: Project, folder: Path, file: Path) -> None:
    """raises: BadInput where the same points are a survey's already"""
    named = {name: files.named(folder, row["path"]) for name, row in project.surveys.items()}
    for earlier, _, path in files.twins({**named, "": [str(file)]}):
        if path == str(file):
            raise BadInput([Problem("add", None, None, f"{file.name}, the points of {earlier} ({project.files['surveys']} row {project.surveys[earlier].row})", "a cloud that is not in the project yet", "Nothing was changed.", code="survey-there-already")])


def _kind(facts: Facts) -> str:
    colour = ", with colour" if facts.has_rgb else ", with intensity" if facts.has_intensity else ""
    return f"{KINDS[facts.kind]} of {facts.n_points:,} {'cells' if facts.kind == 'raster' else 'points'}{colour}"


# ---- the row ------------------------------------------------------------------------------------------


def _row(ask: Asking, given: Given, project: Project, layouts: dict[str, Layout], file: Path, facts: Facts, by_file: Said) -> tuple[dict[str, str], list[Over]]:
    source = _source(ask, given, by_file)
    day = _day(ask, given, by_file)
    if source is None:
        ask.settle()
    stated = Stated(source, given.crs, given.vertical_unit, given.height_reference, float(given.sigma_mm) if given.sigma_mm and _is(given.sigma_mm, "sigma_mm") else None)
    for name in ("crs", "vertical_unit", "height_reference", "sigma_mm"):
        if getattr(given, name) is not None:
            ask.get(f"--{name.replace('_', '-')}", getattr(given, name), "", cell(READ[name]))
    ask.settle()
    covered, stated = _covered(ask, given, project, layouts, file, facts, stated)
    fields = ask.get("--fields", given.fields, "Fields it is for, ids with ;", _known(project), default=";".join(o.field_id for o in covered if 100 * o.share >= project.config.grid.cover_min_pct)) if covered else None
    if stated.height_reference is None and ask.can and not any(o.referenced for o in covered):
        earlier = next((r["height_reference"] for r in reversed(project.tables["surveys"]) if "height_reference" in r.values and set(project.fields_of(r)) & {o.field_id for o in covered}), "")
        answer = ask.get("--height-reference", None, "What its heights count from (EPSG:5703 is NAVD88; ellipsoidal; local)", cell(READ["height_reference"]), needed=False, default=earlier)
        stated = replace(stated, height_reference=answer)
    if not covered:
        ask.settle()
    survey_id = ask.get("--id", given.survey_id, "Id of the survey", _free(project), default=_name(project, fields, day) if day and fields else "")
    turf = ask.get("--turf-height", given.turf_height, "Height of the grass that day, as 1.2 in", _turf, needed=False)
    state = ask.get("--surface-state", given.surface_state, "State of the skin, words with ; (dragged, played, wet, dry, topdressed, mown, shaggy, dormant)", cell(READ["surface_state"]), needed=False)
    purpose = ask.get("--purpose", given.purpose, "Purpose (routine, baseline, before_work, after_work)", cell(READ["purpose"]), needed=False, default="routine" if ask.can else "")
    notes = ask.get("--notes", given.notes, "Notes", words, needed=False, ask=False)
    row = {"survey_id": survey_id, "flown_on": day and day.isoformat(), "fields": fields, "source": source, "crs": stated.crs, "vertical_unit": stated.vertical_unit,
           "height_reference": stated.height_reference, "sigma_mm": stated.sigma_mm and f"{stated.sigma_mm:g}", "surface_state": state, "purpose": purpose, "notes": notes,
           "turf_height": turf and turf[0], "turf_height_unit": turf and turf[1]}  # fmt: skip
    return {k: v for k, v in row.items() if v}, covered


def _is(text: str, name: str) -> bool:
    try:
        cell(READ[name])(text)
    except NotUsable:
        return False
    return True


def _source(ask: Asking, given: Given, by_file: Said) -> str | None:
    read = cell(READ["source"])
    if given.source is None and by_file.source:
        print(f"  source {by_file.source}, as the file shows.")
        return by_file.source
    hint = f"; it looks like {by_file.guess[0]}: {by_file.guess[1]}" if by_file.guess else ""
    return ask.get("--source", given.source, f"How it was made ({', '.join(SOURCES)}){hint}", read, default=by_file.guess[0] if by_file.guess and ask.can else "")


def _day(ask: Asking, given: Given, by_file: Said) -> dt.date | None:
    def read(text: str) -> dt.date:
        cell(READ["flown_on"])(text)
        day = dt.date.fromisoformat(text)
        if day > dt.date.today():
            raise NotUsable(f"today, {dt.date.today()}, or earlier", "It has not come yet.")
        return day

    if given.flown_on is None and by_file.flown:
        print(f"  flown on {by_file.flown} by the sun over the field, from its points' own clock.")
        return by_file.flown
    if given.flown_on is not None and by_file.flown and given.flown_on != str(by_file.flown):
        print(f"  Its points' own clock says {by_file.flown}; {given.flown_on} is taken, as you say. Look again: dates order everything.")
    hint = f"; {by_file.likely[0]} by {by_file.likely[1]}" if by_file.likely else ""
    sure = " (write the day you know)" if by_file.likely and not by_file.sound and ask.can else ""
    return ask.get("--date", given.flown_on, f"Day it was flown or walked, as 2026-04-15{hint}{sure}", read, default=str(by_file.likely[0]) if by_file.likely and by_file.sound and ask.can else "")


def _covered(ask: Asking, given: Given, project: Project, layouts: dict[str, Layout], file: Path, facts: Facts, stated: Stated) -> tuple[list[Over], Stated]:
    """The fields its box meets, and what had to be asked for to know; an empty list where something is missing and cannot be asked."""
    while True:
        found: list[Over] = []
        refusal: Refused | None = None
        for field_id, layout in layouts.items():
            try:
                found.append(over(facts, stated, layout, project.fields[field_id]["crs"]))
            except Refused as refused:
                refusal = refusal or refused
        met = [o for o in found if o.share > 0]
        if met:
            return met, stated
        if refusal is None:
            raise BadInput([Problem("add", None, None, f"{file.name}, {nearest(found)}", "points over a field of the project", "Correct its coordinates with --crs, or add the field first.", code="no-field-covered")])
        option, question = ANSWERS.get(refusal.code, ("", ""))
        if not option or (not ask.can and getattr(given, option) is not None):
            raise BadInput([_unusable(file, refusal)])
        if not ask.can:
            ask.problems.append(Problem("add", None, f"--{option.replace('_', '-')}", "nothing, in the file and here", question[0].lower() + question[1:], f"Ask whoever made the file; nothing is guessed ({refusal.code}).", code="option-missing"))
            return [], stated
        answer = ask.get(f"--{option.replace('_', '-')}", None, question, cell(READ[option]))
        stated = replace(stated, **{option: float(answer) if option == "sigma_mm" else answer})


def _unusable(file: Path, refused: Refused) -> Problem:
    return Problem("add", None, None, f"{file.name} ({refused.code})", "a file that can be used as a survey", refused.reason, code="unusable-cloud")


def _known(project: Project):
    check = cell(READ["fields"])

    def read(text: str) -> str:
        check(text)
        for part in (p.strip() for p in text.split(";")):
            if part != "all" and part not in project.fields:
                raise NotUsable("field ids of the table of fields: " + ", ".join(sorted(project.fields)), f"{part!r} is none.{did_you_mean(part, project.fields)}")
        return text

    return read


def _free(project: Project):
    check = cell(READ["survey_id"])

    def read(text: str) -> str:
        check(text)
        if text in project.surveys:
            raise NotUsable("an id that no survey has yet", f"{text!r} stands in row {project.surveys[text].row}.")
        return text

    return read


def _name(project: Project, fields: str, day: dt.date) -> str:
    """`<field or site>-<year>-<month>`, with the day where that is taken, then -2, -3, ..."""
    named = [f.strip() for f in fields.split(";")]
    sites = {project.fields[f].get("site") for f in named if f in project.fields}
    first = named[0] if len(named) == 1 and named[0] != "all" else next(iter(sites)) if len(sites) == 1 and None not in sites else "flight"
    names = [f"{first}-{day:%Y-%m}", f"{first}-{day}", *(f"{first}-{day}-{n}" for n in range(2, 1000))]
    return next(n for n in names if n not in project.surveys)


def _turf(text: str) -> tuple[str, str]:
    """`1.2 in` as figure and unit."""
    figure, unit = text.rstrip("abcdefghijklmnopqrstuvwxyz-").strip(), text[len(text.rstrip("abcdefghijklmnopqrstuvwxyz-")):]
    cell(READ["turf_height_unit"])(unit)
    cell(READ["turf_height"])(figure)
    return figure, unit


# ---- into the project ---------------------------------------------------------------------------------


def _bring(project: Project, folder: Path, config: Path, file: Path, row: dict[str, str], link: bool) -> None:
    """The file under clouds/, then the row; as before where either fails."""
    table = folder / project.files["surveys"]
    with brought(file, folder / CLOUDS, link) as path:
        row["path"] = Path(os.path.relpath(path, folder)).as_posix()  # as a run looks for it: from config.yaml's folder, wherever the table lies
        columns = [f.name for f in TABLES["surveys"]]
        try:
            done = replace_all({table: with_rows(table.read_bytes(), [row], columns, str(table))})
        except OSError as error:
            raise BadInput([Problem(os.path.relpath(error.filename or table), None, None, f"a file that cannot be written ({error.strerror})", "one that can", "Nothing was changed.", code="cannot-write")]) from None
        try:
            after, _ = load(config)
            if [r.cells for r in after.tables["surveys"]] != [*(r.cells for r in project.tables["surveys"]), row]:
                raise BadInput([Problem(project.files["surveys"], None, None, "other rows than were written", "the rows from before and the new one", "Everything is as it was; save the table anew as CSV UTF-8 and try again.", code="written-otherwise")])
        except BaseException:
            done.back()
            raise
    kept = f" As it was: {os.path.relpath(done.copies[0])}." if done.copies else ""
    how = "linked" if link else "there already" if not path.is_symlink() and os.path.samefile(path, file) else "copied"
    print(f"{project.files['surveys']}: row of {row['survey_id']} added; {row['path']} {how}.{kept}")


def _told(project: Project, config: Path, row: dict[str, str], covered: list[Over], facts: Facts) -> list[str]:
    out = []
    wanted = row["fields"].split(";")
    least = project.config.grid.cover_min_pct
    for one in covered:
        if one.field_id not in wanted and wanted != ["all"]:
            out.append(f"  {one.field_id}: its box holds {100 * one.share:.0f} % of the skin; under {least:g} % a field is refused, so it is not named.")
    first = covered[0]
    out += [f"  {line}" for line in sparse([facts], row["source"], facts.n_points / first.per_m2, project.config.cell_size_m, project.config.grid.points_per_cell_min)]
    if "height_reference" not in row and not first.referenced:
        out.append("  Nobody states what its heights count from: write height_reference once it is known; one for all surveys of a field.")
    if "turf_height" not in row and row["source"] in ("photogrammetry", "lidar"):
        out.append("  No turf height: a lip's height will rest on an assumed one. A ruler reading of that day goes into turf_height.")
    return [*out, f"Next: skinplane check {config}, then skinplane run {config}."]
