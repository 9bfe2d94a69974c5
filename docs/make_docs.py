"""Writes docs/tables-in.md, docs/settings.md, docs/results.md, docs/explained.md and docs/terms.md from the code. A test holds them together.

    .venv/bin/python docs/make_docs.py

What the code does not say of a column stands in docs/columns.json.
"""

import inspect
import json
import math
import runpy
from pathlib import Path

from pipeline import tables
from pipeline.columns import Column
from pipeline.desk.log_rows import COLUMNS, LONGEST
from pipeline.diamond.features import ROLES
from pipeline.settings import SHARED, Config
from pipeline.steps.history_layers import COLUMNS as LAYERS
from pipeline.store.explained import pages
from pipeline.store.where import Where
from pipeline.variables import DECIMALS, FIELD_TABLES, RASTERS, TABLES

HERE = Path(__file__).resolve().parent
SAID = json.loads((HERE / "columns.json").read_text(encoding="utf-8"))
MADE = "<!-- made by docs/make_docs.py; do not edit by hand -->\n"

READ_AS = {
    tables.text: "text",
    tables.ident: "id: `a-z`, `0-9`, `-`",
    tables.idents: "ids with `;`",
    tables.date: "date, 2026-04-15",
    tables.survey_date: "date, 2026-04-15",
    tables.month: "month, 2026-04",
    tables.clock: "time of day, 17:30",
    tables.height_reference: "`EPSG:<code>`, `ellipsoidal`, `local`",
    tables.mix_unit: "`short_ton`, `tonne`, `yd3_loose`, `m3_loose`",
}
UNITS = {
    "word": "word", "date": "date", "text": "text", "flag": "`true`, `false`", "count": "number", "m": "m", "mm": "mm", "m2": "m²",
    "m3": "m³", "t": "t", "pct": "%", "deg": "degrees", "p": "0 to 1", "rate4": "m²", "value": "see text",
}  # fmt: skip


def unit_of(column: Column) -> str:
    """A result column's unit. Money and hours are kept to two decimals, as areas are, and are none."""
    if column.kind == "m2" and "m2" not in column.name:
        return "hours" if "hours" in column.name else "money"
    return UNITS[column.kind]


def kind_of(field: tables.Field) -> str:
    """What a cell of an input column holds, as words for a reader."""
    if field.read in READ_AS:
        return READ_AS[field.read]
    inner = inspect.getclosurevars(field.read).nonlocals
    if "each" in inner:
        return _listed(inspect.getclosurevars(inner["each"]).nonlocals["words"]) + "; several with `;`"
    if "words" in inner:
        return _listed(inner["words"])
    unit = f" {inner['unit']}" if inner["unit"] else ""
    return "number" + ("" if math.isinf(inner["low"]) and math.isinf(inner["high"]) else f" {inner['span']}") + unit


def _listed(words) -> str:
    return ", ".join(f"`{w}`" for w in words)


def table(head: tuple[str, ...], rows) -> str:
    """A Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join(lines + ["| " + " | ".join(_cell(c) for c in row) + " |" for row in rows]) + "\n"


def _cell(text: str) -> str:
    """A bar would end the cell, and an angle outside code would begin a tag."""
    parts = text.replace("|", "\\|").split("`")
    return "`".join(p if k % 2 else p.replace("<", "&lt;") for k, p in enumerate(parts))


def tables_in() -> str:
    """The operator's tables and drawn shapes."""
    parts = [MADE + "# What goes in: tables and shapes\n", PREAMBLE_IN]
    for name, columns in tables.TABLES.items():
        said = SAID["in"][name]
        rows = [(f"**`{c.name}`**" if c.required else f"`{c.name}`", kind_of(c), said[c.name]) for c in columns]
        parts += [f"## {name}.csv\n", SAID["tables"][name] + "\n", table(("column", "holds", "is"), rows)]
    parts.append(CREW.format(columns=_listed(COLUMNS[1:]), longest=f"{LONGEST:,}"))
    drawn = [(f"`{role}`", ", ".join(kinds), SAID["roles"][role]) for role, kinds in ROLES.items()]
    parts += ["## Drawn shapes\n", PREAMBLE_DRAWN, table(("`role`", "shape", "is"), drawn)]
    return "\n".join(parts)


PREAMBLE_IN = """UTF-8, comma, header row, point as decimal mark, each cell on one line; an empty cell is unknown. **Bold** columns are
required. Unknown columns are errors; so are days still to come, two surveys of a field with the same points, two baselines of
a field, turf over 0.3 m. `ft` is the international foot, `us-ft` the US survey foot. `skinplane check` names every fault at once: file, row, column, found, expected, what to do. Paths are
relative to config.yaml's folder. Settings: [settings.md](settings.md). Words: [words.md](words.md).
"""
CREW = """## What a crew writes down

`skinplane log FILE CONFIG` takes a CSV (UTF-8, commas, header row) of rows for three tables. The column `table` says which: `works`,
`readings` or `walks`. Beside it stand any of those tables' columns under their own names, in any order: {columns}.
Cells of another table's columns stay empty. `e` and `n` of a reading are in the field's own `crs`, as in readings.csv; a place's
name does as well. `skinplane log CONFIG` asks for the same line by line.

- Every row is held against its columns' rules, the fields, their edges and places, and the calendar. Bad rows are named all at
  once: row, column, found, expected, what to do. Nothing is written then; with `--keep-good` the others are, and the bad ones go
  into `FILE-to-mend.csv`.
- A row that says what another says (every column but its name) is not added again. So a file added twice changes nothing, and a
  thing done twice on one day is told apart in the notes. A name that another row has is a fault.
- A row without a name is called `<field>-<date>-<word>`, with -2, -3 ... where that is taken.
- New rows stand at the end, in the table's own order of columns, line ends and quotes; old rows keep their bytes. A column that
  the table lacks is put after its last one, with an empty cell for every old row. A table that config.yaml does not name is made
  beside it and named there, in a line of its own.
- All files change or none. As they were they stay beside as `works.csv.before-1`, -2 ...; where the project cannot be read
  afterwards, everything is put back. Two at once are refused.
- Text of a cell: at most {longest} letters, no control signs, nothing that a spreadsheet takes for a formula (a first `=` or `@`).
"""
PREAMBLE_DRAWN = """The file under `features` (GeoPackage or GeoJSON, its CRS stated) holds shapes with the attribute `role` and optionally
`name`. A name is lowered and other signs turned to `-`; two of one role may not come out alike.
"""


def settings() -> str:
    """Every key of config.yaml."""
    whole = Config.model_json_schema()
    sections = {n: _section(p, whole) for n, p in whole["properties"].items()}
    plain = [_key("", n, p) for n, p in whole["properties"].items() if sections[n] is None]
    parts = [MADE + "# config.yaml\n", PREAMBLE_SETTINGS, table(("key", "default", "allowed", "is"), plain)]
    read = {name for names in SHARED.values() for name in names} | set(SHARED)
    unread = []
    for name, model in sections.items():
        if model is not None and name in read:
            parts += [f"## `{name}`\n", model["description"].replace("\n", " ") + "\n"]
            parts.append(table(("key", "default", "allowed", "is"), [_key(name, n, p) for n, p in model["properties"].items()]))
        elif model is not None:
            unread.append((f"`{name}`", model["description"], _listed(k for k in model["properties"] if k not in ("set_by", "set_on"))))
    parts += ["## Checked, not read by any step yet\n", table(("section", "is", "keys"), unread)]
    return "\n".join(parts)


PREAMBLE_SETTINGS = """Every key has a default or may be left out; an unknown key is an error with a likely word beside it. A figure of the
owner's carries who set it and when: `lip_mm: {value: 25, set_by: ..., set_on: 2026-03-01, fields: {heron: 30}}` under
`tolerances` (`fields` gives single fields another value); elsewhere `{value, set_by, set_on}`, or a bare number under the
section's own `set_by` and `set_on`. None is ever invented. A trip limit is at least its tolerance, no `set_on` lies in the
future, no key stands twice. Files are metric whatever `units` says; `units` is for pages.
"""


def _section(prop: dict, whole: dict) -> dict | None:
    """The model behind a key that holds a section, one of several, or a list of them."""
    inner = prop.get("additionalProperties") or prop.get("items") or prop
    ref = inner.get("$ref") if isinstance(inner, dict) else None
    return whole["$defs"][ref.rsplit("/", 1)[1]] if ref else None


def _key(section: str, name: str, prop: dict) -> tuple[str, ...]:
    said = prop.get("description", "")
    if f"{section}.{name}".lstrip(".") in SAID["knobs_not_read"]:
        said += " *Not read yet" + (": the default stands whatever is written here.*" if prop.get("default") is not None else ".*")
    if section == "tolerances" and name not in SAID["tolerances_judged"]:
        said += f" *{SAID['tolerance_notes'].get(name, 'Printed on the page, judges nothing yet.')}*"
    return f"`{name}`", _default(prop), _limits(prop), said


def _default(prop: dict) -> str:
    value = prop.get("default")
    return "" if value is None or value == {} or value == [] else f"`{json.dumps(value) if not isinstance(value, str) else value}`" if value != "" else ""


def _limits(prop: dict) -> str:
    if "enum" in prop:
        return _listed(prop["enum"])
    for choice in prop.get("anyOf", ()):
        if "enum" in choice:
            return _listed(choice["enum"])
        if choice.get("type") not in (None, "null"):
            prop = {**choice, **{k: v for k, v in prop.items() if k != "anyOf"}}
    signs = (("minimum", "≥ "), ("exclusiveMinimum", "> "), ("maximum", "≤ "), ("exclusiveMaximum", "< "))
    return ", ".join(f"{sign}{prop[k]:g}" for k, sign in signs if k in prop)


def results() -> str:
    """Every file, column and raster that comes out."""
    parts = [MADE + "# What comes out: files, columns, rasters\n", PREAMBLE_OUT, "## Files\n", table(("path", "holds"), _files())]
    parts += ["## Rasters\n", PREAMBLE_RASTERS, table(("name", "unit", "type", "no data", "holds"), _rasters())]
    for name in (*FIELD_TABLES, *(t for t in TABLES if t not in FIELD_TABLES)):
        rows = []
        for c in TABLES[name]:
            step = f", to {10 ** -DECIMALS[c.kind]:g}" if c.kind in DECIMALS else ""
            rows.append((f"**`{c.name}`**" if c.key else f"`{c.name}`", unit_of(c) + step, SAID["more"].get(f"{name}.{c.name}", c.meaning)))
        parts += [f"## {name}.csv\n", SAID["results"][name] + "\n", table(("column", "unit", "is"), rows)]
    layers = [(f"`{n}`", kinds["geometry"], SAID["layers"][n]) for n, kinds in LAYERS.items()]
    parts += ["## field.gpkg\n", "Every layer is there, also where it is empty; in the working CRS.\n", table(("layer", "shape", "holds"), layers)]
    for file in ("survey.json", "provenance.json"):
        said = SAID[file.replace(".", "_")]
        parts += [f"## {file}\n", table(("key", "is"), [(f"`{k}`", v) for k, v in said.items()])]
    return "\n".join(parts)


PREAMBLE_OUT = """Everything in the **working CRS**: the field's own with the metre as unit. Tables: UTF-8, comma, rows sorted by their
**bold** key columns, empty = unknown or not measured, never zero. `_sigma` is one standard deviation; `low95`, `high95` bound 95 %. Signs:
change, growth and shift are later minus earlier, up and gained positive; depths positive = low; bearings clockwise from grid
north, `fall_bearing_deg` downhill. Same inputs, settings and versions give the same bytes. How each figure is made:
[method.md](method.md). Words: [words.md](words.md).
"""
PREAMBLE_RASTERS = """GeoTIFF laid out as COG on the field's one fixed grid: never rotated, edges whole multiples of the cell. Nothing is filled
in. `elevation`, `sigma` and `count` again as a CF-1.8 cube over time in `elevation.nc`.
"""


def _files() -> list[tuple[str, str]]:
    at = Where()
    return [
        (f"`{at.index}`", "the page a district opens: what is unsafe, what changed, what next, the fields worst first, a map, the capital plan with what was asked, approved, done, promised and measured"),
        (f"`{at.portfolio}`, `{at.hazards}`, `{at.progress}`", "below; the last under progress_pooled"),
        (f"`{at.board_paper}`", "the board's paper on the capital plan, two sheets whatever the number of fields: what is asked for, what it buys, what is unsafe now, why each line, how sure"),
        (f"`{at.season_queue}`, `{at.order}`", "one crew's season over all fields, and the mix to order, below"),
        (f"`{at.week('html')}`", "the crew's sheet of the week for a phone without a network: takes what was done and seen, keeps it on the phone, saves it as one CSV"),
        (f"`{at.week('pdf')}`", "the same on paper for the first week after the newest day in surveys and works: a sheet a site, more where its fields do not fit on one"),
        (f"`{at.day('<date>', 'csv')}`, `.html`", "what `skinplane day` makes: the crew's day around the games, below under day"),
        (f"`{at.workbook}`", "all fields as a workbook in the reader's units: unit prices and budgets to change, the plan with live costs, comings, years, least orders, then the tables below; its last sheet says what each column means. A changed price prices the plan anew, it does not choose anew"),
        (f"`{at.report('<field>')}`", "the field's page"),
        (f"`{at.paper('<field>', 'workbook.xlsx')}`", "the field's tables as a workbook, of surveys and pairs the newest, with live costs of its designs; what is left out is named on its first sheet"),
        (f"`{at.table('<field>', '<table>')}`", _listed(FIELD_TABLES)),
        (f"`{at.cube('<field>')}`", "CF cube of all surveys not refused"),
        (f"`{at.paper('<field>', 'work_package.pdf')}`, `work_package.html`", "what a crew carries onto the field: what, where, with how much, in which order, what not to hit, what to check; one to four sheets"),
        (f"`{at.paper('<field>', 'keep_out.pdf')}`", "the sheet that is walked before any blade: what lies in the ground, by two tapes; where to probe the mix"),
        (f"`{at.work_records('<field>')}/<work>.pdf`", "one sheet a work with a survey on both sides: what was wrong, what was done, what changed, as built, how it held; then the places levelled by hand"),
        (f"`{at.vectors('<field>')}`", "layers for a map, below"),
        (f"`{at.styles('<field>')}/<layer>.sld`", "how each of those layers is drawn, OGC Styled Layer Descriptor 1.0"),
        (f"`{at.provenance('<field>')}`", "what the field's results were made from, below"),
        (f"`{at.record('<field>', '<survey>')}`", "what became of one survey, below; of a refused one all there is"),
        (f"`{at.raster('<field>', '<survey>', '<raster>')}`", "`elevation`, `sigma`, `count`"),
        (f"`{at.surface('<field>', '<survey>')}/<raster>.tif`", "`pond_depth`; `mix_depth`, `mix_depth_sigma`, `blade_depth` on that day; the folder of a refused survey is empty"),
        (f"`{at.change('<field>', '<from>', '<to>', '<raster>')}`", "`change`, `change_sigma`, `detected` of each pair"),
        (f"`{at.grade('<field>')}/<raster>.tif`", "`design` and `cut_fill` of the design the crew works to; an empty folder where none is set out"),
        (f"`{at.grade('<field>')}/stakeout.csv`, `stakeout_bare.csv`, `about.json`", "points of that design in the field's own coordinates and foot, with a header and bare (point, northing, easting, height, description), and what they are in"),
        (f"`{at.grade('<field>')}/design.xml`", "that design as triangles, LandXML 1.2, in the same coordinates and foot"),
        (f"`{at.grade('<field>')}/design.dxf`", "the plan as DXF: triangles, level lines, grass edges, what to keep off with its ground kept free, stakes, runs; one layer each, same coordinates and foot"),
        (f"`{at.grade('<field>')}/passes.gpx`", "runs, low spots and things to keep off for a phone, GPX 1.1; good to a few metres, never to set out by"),
        (f"`{at.grade('<field>')}/control.csv`", "the field's control points in the same coordinates and foot"),
        (f"`{at.grade('<field>')}/lip_work.csv`", "work along the grass edge, below"),
        (f"`{at.table('<field>', 'quantities')}`", "three designs beside one another, below"),
        (f"`{at.table('<field>', 'handoffs')}`", "what the designs hand to others to decide, below"),
        (f"`{at.bid('<year>', '<field>')}/`", "what contractors are asked with where `plan.pins` puts a `laser_grade` into a year: `bid.pdf`, `prices.csv` (the blank schedule), and the laser design's exports as in `grade/`; `no_bid.txt` where there is no such design"),
        (f"`{at.capital_plan}`, `{at.plan_outcome}`", "which field gets what in which year, and what earlier plans promised against what was measured, below"),
        (f"`{at.budget_steps}`", "the capital plan at other budgets, below"),
        (f"`{at.plans}/<first year>-<day>-<n>.csv`", "every capital plan as it was made, the day being that of the newest survey; never overwritten"),
        (f"`{at.catalogue}`, `{at.district}`", "the catalogue for a GIS, STAC 1.0: its root, and what is over all fields: [catalogue.md](catalogue.md)"),
        (f"`{at.collection('<field>')}`, `items/<item>.json`", "the same of one field: its collection and an item a survey, pair, surface, design, bid, and all dates"),
        (f"`{at.build}/`, `{at.logs}/`", "beside the results: what later steps read, and what each job said; no reader needs them"),
    ]


def _rasters() -> list[tuple[str, ...]]:
    empty = {None: "none", -128: "-128"}
    return [(f"`{v.name}`", v.unit, v.dtype, empty.get(v.nodata, "NaN"), "; ".join(filter(None, (v.long_name, v.sign)))) for v in RASTERS.values()]


def terms() -> str:
    """Every name and word in one list."""
    return MADE + runpy.run_path(str(HERE / "make_terms.py"))["terms"](table)


def explained() -> str:
    """The pages of `skinplane explain`, errors then words."""
    parts = [MADE + "# What each code and word stands for\n", PREAMBLE_EXPLAINED]
    for kind, head in (("errors", "Errors"), ("words", "Words of the tables and pages")):
        of_kind = [page for page in pages().values() if page.kind == kind]
        parts.append(f"## {head}\n")
        parts += [f"### {page.code}\n\n" + "".join(f"- *{name}*: {_cell(text)}\n" for name, text in page.parts.items()) for page in of_kind]
    return "\n".join(parts)


PREAMBLE_EXPLAINED = """What `skinplane explain CODE` says: of every code in brackets at the end of an error line, and of every verdict, kind, reason and
refusal. What was found and why it matters, how to mend it, an example.
"""


def made() -> dict[str, str]:
    """File name -> text of every generated page."""
    return {"tables-in.md": tables_in(), "settings.md": settings(), "results.md": results(), "explained.md": explained(), "terms.md": terms()}


if __name__ == "__main__":
    for name, text in made().items():
        (HERE / name).write_text(text, encoding="utf-8")
