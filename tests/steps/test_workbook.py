"""The workbooks: formulas worked out anew by an independent engine, cells and tables read back by an independent reader."""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from steps.test_plan import LIPS, SETTINGS, SIGNED, config, rows, run, where  # noqa: F401

from pipeline import jobs
from pipeline.project import Project
from pipeline.report.workbook.tables import sign_of, unit_of
from pipeline.report.figures import US
from pipeline.settings import Config
from pipeline.steps import plan_told, workbook
from pipeline.store import arrays, pages, records, tables
from pipeline.store.where import Where
from pipeline.report.words import Words
from pipeline.tables import TABLES
from pipeline.units import FOOT_M, SHORT_TON_T
from pipeline.variables import TABLES as RESULTS

BOARD = {"set_by": "Board of Elsewhere", "set_on": "2024-02-02"}
COSTS = {
    "lip_cut": {"fixed": 200, "per_m": {"value": 20, **BOARD}, "hours_fixed": 2, "hours_per_m": 0.1, **SIGNED}, "level": {"hours_fixed": 4, "hours_per_m2": 0.005, **SIGNED},
    "rebuild": {"fixed": 3000, "per_m2": 4.5, "mobilisation": 1500, "minimum_lot": 6000, "by": "contractor", **SIGNED},
}  # fmt: skip
WORDS = Words(pages.sections("en"))


def settings(units: str = "us", money: float = 14000, **plan_too) -> Config:
    made = config(money=money, **plan_too)
    return Config(**{**made.model_dump(mode="json"), "costs": COSTS, "units": units, "report": {"title": "Nowhere Parks"}})


def made(at: Where, how: Config, names: dict[str, str] | None = None, field: str = "") -> Path:
    """A plan, then its workbook; with a field that field's."""
    record = run(at, how)
    plan_told.told(record, at, WORDS)
    given = {name: () for name in TABLES}
    given["fields"] = rows("fields", "field_id,crs,layout,home_e,home_n,second_e,second_n,name,site", *(f'{f},EPSG:6564,softball-60,0,0,0,25.86,"{(names or {}).get(f, f.title())}",otterlamp' for f in LIPS))
    given["surveys"] = rows("surveys", "survey_id,flown_on,fields,path,source", *(f"{f}-2026-04-07,2026-04-07,{f},{f}.laz,photogrammetry" for f in LIPS))
    for path, name in ((at.portfolio, "portfolio"), (at.season_queue, "season_queue"), (at.order, "order"), (at.hazards, "hazards")):
        tables.write(path, name, [{"field_id": f, "site": "otterlamp", "lip_max_mm": lip, "verdict": "unsafe" if f == "moth" else "good", "reason": "=1+1"} for f, lip in LIPS.items()] if name == "portfolio" else
                     [{"site": "otterlamp", "material": "mix", "tonnes": 10.0, "low95": 8.0, "high95": 12.0, "in_stock": 0.0}] if name == "order" else [])  # fmt: skip
    records.write(at.portfolio_said, {"ranked": [[f, "=1+1"] for f in ("moth", "kettle", "heron")]})
    workbook.run(jobs.job(jobs.given(Project(how, given, {}), "workbook", ".", field), field), at)
    return Path(at.paper(field, "workbook.xlsx") if field else at.workbook)


def recalculated(path: Path, out: Path) -> dict[str, dict[str, object]]:
    """Every cell after an independent engine (the `formulas` library) has worked all formulas out anew: sheet -> cell -> value."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the engine's own
        import formulas

        model = formulas.ExcelModel().loads(str(path)).finish()
        model.calculate()
        model.write(dirpath=str(out))
    return cells_of(next(out.iterdir()))


def cells_of(path: Path, **how) -> dict[str, dict[str, object]]:
    book = openpyxl.load_workbook(path, **how)
    return {name.upper(): {c.coordinate: c.value for row in book[name] for c in row} for name in book.sheetnames}


def stored(path: Path) -> dict[str, dict[str, object]]:
    return cells_of(path, data_only=True)


def formulas_of(path: Path) -> dict[tuple[str, str], str]:
    book = openpyxl.load_workbook(path)
    return {(s.title.upper(), c.coordinate): c.value for s in book for row in s for c in row if c.data_type == "f"}


def table(path: Path, sheet: str, held: dict[str, dict[str, object]]) -> list[dict[str, object]]:
    """Rows of a sheet's marked table, by its header without the unit; `at` is the row's number."""
    (marked,) = openpyxl.load_workbook(path)[sheet].tables.values()
    low, high = (re.fullmatch(r"([A-Z]+)(\d+)", c).groups() for c in marked.ref.split(":"))
    heads = {openpyxl.utils.get_column_letter(k): str(c.name).split(",")[0] for k, c in enumerate(marked.tableColumns, start=1)}
    return [{"at": r, **{name: held[sheet.upper()].get(f"{c}{r}") for c, name in heads.items()}} for r in range(int(low[1]) + 1, int(high[1]) + 1)]


def same(one, other) -> bool:
    return other == pytest.approx(one, abs=0.005) if isinstance(one, (int, float)) else (other or "") == (one or "")


def saved_with(path: Path, out: Path, **figures: float) -> Path:
    """The workbook as a clerk saves it: other figures in the cells of these names."""
    book = openpyxl.load_workbook(path)
    for name, figure in figures.items():
        sheet, cell = book.defined_names[name].attr_text.split("!")
        book[sheet.strip("'")][cell.replace("$", "")] = figure
    book.save(out)
    return out


@pytest.mark.independent
@pytest.mark.parametrize("units", ("us", "metric"))
def test_every_formula_gives_what_the_plan_says_when_another_engine_works_it_out(where, tmp_path, units):  # noqa: F811
    path = made(where, settings(units))
    held, again, live = stored(path), recalculated(path, tmp_path / "again"), formulas_of(path)
    assert len(live) > 60 and not [(k, live[k], held[k[0]][k[1]], again[k[0]][k[1]]) for k in live if not same(held[k[0]][k[1]], again[k[0]][k[1]])]
    record, told = records.read(where.plan_record), tables.read(where.capital_plan, "capital_plan")
    lines = {(r["Year"], r["Field"].lower()): r for r in table(path, "Plan", again)}
    assert set(lines) == {(r["year"], r["field_id"].split("-")[0] + " field") for r in told}
    for r in told:
        line = lines[r["year"], r["field_id"] + " field"]
        assert line["Cost"] == pytest.approx(r["cost"], abs=0.005) and line["Moved"] == 0 and line["Crew hours"] == pytest.approx(r["hours"], abs=0.005)
    assert any(r["treatment"] == "rebuild" for r in told), "the case must hold a contractor's coming"
    years = table(path, "Years", again)
    assert [y["Asked"] for y in years] == pytest.approx(record["spent"], abs=0.005) and [y["Crew hours asked"] for y in years] == pytest.approx(record["hours"])
    assert [y["Work"] + y["Comings"] for y in years] == pytest.approx(record["spent"], abs=0.005) and {y["Money"] for y in years} == {"within"}
    assert sum(r["Share of the coming"] for r in lines.values()) == pytest.approx(sum(record["comings"]), abs=0.005)
    assert {o["Reached?"] for o in table(path, "Least orders", again)} == {"reached"}


@pytest.mark.independent
def test_a_changed_unit_price_moves_lines_totals_and_the_word_and_nothing_else(where, tmp_path):  # noqa: F811
    path = made(where, settings())
    before, after = stored(path), recalculated(saved_with(path, tmp_path / "dearer.xlsx", cost_rebuild_fixed=13000.0), tmp_path / "again")
    one, other = table(path, "Plan", before), table(path, "Plan", after)
    rebuilt = [k for k, r in enumerate(one) if r["Work"] == "a rebuild"]
    assert rebuilt
    for k, (a, b) in enumerate(zip(one, other)):
        assert b["Cost"] - a["Cost"] == pytest.approx(10000 * 1.03 ** (a["Year"] - 2026) * 1.1 if k in rebuilt else 0.0, abs=0.01) and b["Moved"] == pytest.approx(b["Cost"] - a["Cost"], abs=0.01)
        assert (a["Work"], a["Crew hours"], a["Why"]) == (b["Work"], b["Crew hours"], b["Why"])
    for a, b in zip(table(path, "Years", before), table(path, "Years", after)):
        moved = sum(r["Moved"] for r in other if r["Year"] == a["Year"])
        assert b["Asked"] - a["Asked"] == pytest.approx(moved, abs=0.01) and (a["Money"], b["Money"]) == ("within", "over" if moved else "within")


@pytest.mark.independent
def test_rise_contingency_hours_coming_and_least_order_are_live_too(where, tmp_path):  # noqa: F811
    path = made(where, settings())
    figures = {"plan_escalation_pct": 0.0, "plan_contingency_pct": 0.0, "cost_rebuild_mobilisation": 100.0, "cost_rebuild_minimum_lot": 50000.0, "cost_level_hours_fixed": 400.0}
    after = recalculated(saved_with(path, tmp_path / "other.xlsx", **figures), tmp_path / "again")
    record, lines = records.read(where.plan_record), table(path, "Plan", after)
    for r in lines:
        if r["Work"] == "a rebuild":
            assert r["Cost"] == pytest.approx(3000 + 4.5 * record["sizes"][r["Field"].split()[0].lower()]["area_m2"], abs=0.01)
    assert {c["Cost of the coming"] for c in table(path, "Comings", after)} == {100.0} and {o["Reached?"] for o in table(path, "Least orders", after)} == {"below the least order"}
    levelled = {r["Year"] for r in lines if r["Work"] == "levelling by the crew"}
    assert levelled and {y["Year"] for y in table(path, "Years", after) if y["Hours"] == "over"} == levelled


@pytest.mark.independent
def test_money_carried_over_counts_for_the_next_year(where, tmp_path):  # noqa: F811
    path = made(where, settings(money=9000, carry_over=True))
    years = table(path, "Years", recalculated(path, tmp_path / "again"))
    assert [y["Left from the year before"] for y in years[1:]] == pytest.approx([y["Left"] for y in years[:-1]]) and {y["Money"] for y in years} == {"within"}
    assert [y["Asked"] for y in years] == pytest.approx(records.read(where.plan_record)["spent"], abs=0.005)


@pytest.mark.analytic
def test_each_unit_price_says_who_set_it_and_when_and_is_an_input_of_0_or_more(where):  # noqa: F811
    path = made(where, settings())
    book, found = openpyxl.load_workbook(path), {r["Place in config.yaml"]: r for r in table(path, "Costs", stored(path))}
    per_m = found["costs.lip_cut.per_m"]
    assert per_m["Figure"] == pytest.approx(20 * FOOT_M) and per_m["Unit"] == "USD per ft" and per_m["In metric"] == pytest.approx(20.0)
    assert per_m["Set by"] == "Board of Elsewhere" and per_m["Set on"] == dt.datetime(2024, 2, 2) and found["costs.lip_cut.fixed"]["Set by"] == "Board of Nowhere"
    assert found["costs.lip_cut.per_m2"]["Figure"] is None and found["costs.lip_cut.per_m2"]["Set by"].startswith("nobody")
    sheet = book["Costs"]
    checked = {str(r) for v in sheet.data_validations.dataValidation if (v.type, v.operator, v.formula1) == ("decimal", "greaterThanOrEqual", "0") for r in v.sqref.ranges}
    assert checked == {f"C{r['at']}" for r in found.values()} and all(sheet[c].border.left.style == "double" for c in checked)


@pytest.mark.invariant
@pytest.mark.parametrize("field", ("", "moth"))
def test_a_reader_who_listens_is_told_titles_headers_and_no_meaning_by_colour(where, field):  # noqa: F811
    write_designs(where)
    path = made(where, settings(), field=field)
    book = openpyxl.load_workbook(path)
    assert book.properties.title and book.properties.created == book.properties.modified == dt.datetime(2026, 4, 7)
    for sheet in book:
        (marked,) = sheet.tables.values()
        heads = [c.name for c in marked.tableColumns]
        assert marked.headerRowCount in (None, 1) and len(set(heads)) == len(heads) and all(heads), sheet.title
        assert not sheet.merged_cells.ranges and sheet["A1"].value and sheet.freeze_panes and not sheet._images and not sheet._charts
        fills = {c.fill.fgColor.rgb for row in sheet for c in row if c.fill.fill_type}
        assert not fills and not sheet.conditional_formatting
    parts = zipfile.ZipFile(path).infolist()
    assert {p.date_time[0] for p in parts} == {1980} and not [p.filename for p in parts if "vba" in p.filename or "drawing" in p.filename]


@pytest.mark.invariant
@pytest.mark.parametrize("field", ("", "moth"))
def test_the_same_tables_give_the_same_bytes(where, field):  # noqa: F811
    write_designs(where)
    first = made(where, settings(), field=field).read_bytes()
    assert made(where, settings(), field=field).read_bytes() == first


@pytest.mark.invariant
@pytest.mark.parametrize("name", ["@SUM(A1)", "=cmd", "+1", "-1", 'O\'Neil ""Old"" Field', "{=1}"])
def test_text_is_text_whatever_sign_it_begins_with(where, name):  # noqa: F811
    book = openpyxl.load_workbook(made(where, settings(), {"moth": name}))
    plain = name.replace('""', '"')
    cells = [c for s in book for row in s for c in row if c.value in (plain, "=1+1")]
    assert {c.value for c in cells} == {plain, "=1+1"} and all(c.data_type == "s" for c in cells)
    assert all(c.quotePrefix for c in cells if c.value[0] in "=+-@")


@pytest.mark.analytic
def test_tables_stand_in_the_reader_s_units_worst_first_with_each_column_explained(where):  # noqa: F811
    path = made(where, settings("us"))
    held = stored(path)
    fields = table(path, "Fields", held)
    assert [(r["Rank"], r["field id"]) for r in fields] == [(1, "moth"), (2, "kettle"), (3, "heron")] and fields[0]["lip max"] == pytest.approx(70 / 25.4)
    (order,) = table(path, "Mix order", held)
    assert [order[k] for k in ("mix", "low95", "high95")] == pytest.approx([v / SHORT_TON_T for v in (10.0, 8.0, 12.0)])
    (lip,) = [r for r in table(path, "Columns", held) if (r["Sheet"], r["Column"]) == ("Fields", "lip max")]
    assert lip["From"] == "portfolio.csv, column lip_max_mm" and lip["Unit"] == "in"


@pytest.mark.invariant
@pytest.mark.parametrize("field", ("", "moth"))
def test_every_column_of_every_sheet_is_explained_and_no_other(where, field):  # noqa: F811
    write_designs(where)
    path = made(where, settings("us"), field=field)
    rows_told = table(path, "Columns", stored(path))
    told = {(r["Sheet"], f"{r['Column']}, {r['Unit']}" if r["Unit"] else r["Column"]) for r in rows_told}
    heads = {(s.title, c.name) for s in openpyxl.load_workbook(path) if s.title not in ("Read me", "Columns") for m in s.tables.values() for c in m.tableColumns}
    assert told == heads and all(r["Meaning"] and r["From"] for r in rows_told)


@pytest.mark.analytic
@pytest.mark.parametrize("how, said", [(lambda: settings(money=100), "There is no plan"), (lambda: Config(**{k: v for k, v in SETTINGS.items() if k != "plan"}), "No plan was asked for")])
def test_without_a_plan_the_workbook_says_why_and_holds_the_rest(where, how, said):  # noqa: F811
    held = stored(made(where, how()))
    first = [v for v in held["READ ME"].values() if isinstance(v, str)]
    assert any(said in v for v in first), first
    assert "PLAN" not in held and "FIELDS" in held and "COSTS" in held
    if said == "There is no plan":
        assert any("2026" in v and "352" in v for v in first), "the least budget that would do: 320 with contingency"


def write_designs(at: Where, **other) -> list[dict]:
    """A field's designs, costs worked out by hand: 34 an hour, 48 a tonne of mix, 14 a cubic metre moved."""
    sizes = {"noise_m3": 0.1, "net_m3": 0.0, "net_sigma_m3": 0.2, "loads": 1.0, "planarity_after_mm": 4.0, "straightedge_after_mm": 6.0, "mix_reserve_t": 0.1, "feasible": True, "reason": ""}
    made = [
        {**sizes, "variant": "touch_up", "cut_m3": 0.0, "fill_m3": 0.5, "mix_tonnes": 0.85, "mix_low95_t": 0.6, "mix_high95_t": 1.1, "worked_m2": 30.0, "graded_m2": 700.0, "hours": 4.15,
         "cost_low": 4.15 * 34 + 0.6 * 48 + 0.3 * 14, "cost_high": 4.15 * 34 + 1.1 * 48 + 0.5 * 14},
        {"variant": "no_mix_bought", "feasible": False, "reason": "no plane keeps to the wishes"},
        {**sizes, "variant": "laser_plane", "cut_m3": 4.0, "fill_m3": 5.0, "mix_tonnes": 2.0, "mix_low95_t": 0.0, "mix_high95_t": 5.0, "worked_m2": 600.0, "graded_m2": 700.0, "hours": 0.0,
         "cost_low": 600 + 5.5 * 700, "cost_high": 600 + 5.5 * 700 + 5 * 48 + 900},
    ]  # fmt: skip
    for field_id in LIPS:
        arrays.write(at.graded(field_id), {"variants": made}, existing=np.zeros((2, 2)))
        tables.write(at.table(field_id, "handoffs"), "handoffs", [])
    return made


def of_field(**prices) -> Config:
    laser = {"fixed": 600, "per_m2": 5.5, "mobilisation": 900, "by": "contractor", **SIGNED}
    held = {"mix_per_t": 48, "move_per_m3": 14, "hour": 34, **SIGNED} | prices
    return Config(**{**settings().model_dump(mode="json"), "costs": {**COSTS, "laser_grade": laser}, "prices": {k: v for k, v in held.items() if v is not None}})


@pytest.mark.independent
def test_a_field_s_designs_cost_what_was_reported_and_move_with_a_price(where, tmp_path):  # noqa: F811
    designs = write_designs(where)
    path = made(where, of_field(), field="moth")
    held, again, live = stored(path), recalculated(path, tmp_path / "again"), formulas_of(path)
    assert len(live) >= 6 and not [k for k in live if not same(held[k[0]][k[1]], again[k[0]][k[1]])]
    costs = lambda cells, r: [cells["DESIGNS"][f"{c}{r['at']}"] for c in "NO"]
    one, none, laser = table(path, "Designs", again)
    assert one["Crew hours"] == pytest.approx(4.15) and laser["Crew hours"] == 0 and (none["Crew hours"], none["Note"]) == (None, "no plane keeps to the wishes")
    assert costs(again, one) == pytest.approx([designs[0]["cost_low"], designs[0]["cost_high"]], abs=0.005) and costs(again, laser) == pytest.approx([designs[2]["cost_low"], designs[2]["cost_high"]], abs=0.005)
    dearer = recalculated(saved_with(path, tmp_path / "dearer.xlsx", price_mix_per_t=(48 + 10) * SHORT_TON_T), tmp_path / "once more")
    assert np.subtract(costs(dearer, one), costs(again, one)) == pytest.approx([6.0, 11.0], abs=0.011) and np.subtract(costs(dearer, laser), costs(again, laser)) == pytest.approx([0.0, 50.0], abs=0.011)


@pytest.mark.independent
def test_a_design_whose_price_is_missing_says_so_until_somebody_fills_it_in(where, tmp_path):  # noqa: F811
    designs = write_designs(where)
    path = made(where, of_field(move_per_m3=None), field="moth")
    again = recalculated(path, tmp_path / "again")
    assert [again["DESIGNS"][f"{c}{table(path, 'Designs', again)[0]['at']}"] for c in "NO"] == ["price missing"] * 2
    filled = recalculated(saved_with(path, tmp_path / "filled.xlsx", price_move_per_m3=14 * 0.9144**3), tmp_path / "once more")
    assert filled["DESIGNS"][f"N{table(path, 'Designs', filled)[0]['at']}"] == pytest.approx(designs[0]["cost_low"], abs=0.005)


@pytest.mark.analytic
def test_a_field_s_workbook_holds_its_newest_survey_and_says_what_it_leaves_out(where):  # noqa: F811
    write_designs(where)
    lip = [{"survey_id": s, "edge_id": "outer", "station_m": 0.5, "kind": "lip", "height_mm": 30.0} for s in ("moth-2025-04-08", "moth-2026-04-07")]
    tables.write(where.table("moth", "lip"), "lip", lip)
    tables.write(where.table("moth", "works_record"), "works_record", [{"work_id": "w-1", "measure": m, "place": "outer", "before": 50.8, "unit": u} for m, u in (("lip", "mm"), ("slope", "pct"))])
    path = made(where, settings("us"), field="moth")
    held = stored(path)
    assert [r["survey id"] for r in table(path, "lip", held)] == ["moth-2026-04-07"] and any("Left out of lip: rows of older surveys, 1 of them" in str(v) for v in held["READ ME"].values())
    assert {(r["before"], r["unit"]) for r in table(path, "works record", held)} == {(2.0, "in"), (50.8, "pct")}
    assert table(path, "survey quality", held)[0]["flown on"] == dt.datetime(2026, 4, 7)
    assert path.stat().st_size < 2_000_000


@pytest.mark.invariant
def test_every_column_with_a_unit_in_its_name_gets_the_reader_s():
    left = []
    for name, columns in RESULTS.items():
        for c in columns:
            plain, unit = unit_of(c, US, "USD")
            if re.search(r"(^|_)(mm|m2|m3|t|tonnes)(_|$)", c.name) and (unit is None or unit.name in ("mm", "m", "t")) or re.search(r"(^| )(mm|m2|m3|tonnes)( |$)", plain):
                left.append(f"{name}.{c.name}: {plain}, {unit}")
    assert not left
    assert sign_of("growth of the crest against skin and grass, positive = grew") == "positive = grew" and sign_of("the survey") == ""
