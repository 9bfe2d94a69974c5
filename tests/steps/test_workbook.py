"""The workbook over all fields: its formulas recalculated by an independent engine, its text read back by an independent reader."""

from __future__ import annotations

import datetime as dt
import warnings
from pathlib import Path

import openpyxl
import pytest
from steps.test_plan import LIPS, SETTINGS, SIGNED, config, rows, run, where  # noqa: F401

from pipeline import jobs
from pipeline.project import Project
from pipeline.settings import Config
from pipeline.steps import workbook
from pipeline.store import tables
from pipeline.store.where import Where
from pipeline.tables import TABLES

COSTS = {
    "lip_cut": {"fixed": 200, "per_m": 20, "hours_fixed": 2, "hours_per_m": 0.1, **SIGNED}, "level": {"hours_fixed": 4, "hours_per_m2": 0.005, **SIGNED},
    "rebuild": {"fixed": 3000, "per_m2": 4.5, "mobilisation": 1500, "minimum_lot": 6000, **SIGNED},
}  # fmt: skip


def settings(units: str = "us", money: float = 14000) -> Config:
    made = config(money=money)
    return Config(**{**made.model_dump(mode="json"), "costs": COSTS, "units": units, "report": {"title": "Nowhere Parks"}})


def made(at: Where, how: Config, names: dict[str, str] | None = None) -> Path:
    """A plan, then its workbook."""
    run(at, how)
    given = {name: () for name in TABLES}
    given["fields"] = rows("fields", "field_id,crs,layout,home_e,home_n,second_e,second_n,name,site", *(f"{f},EPSG:6564,softball-60,0,0,0,25.86,{(names or {}).get(f, f.title())},otterlamp" for f in LIPS))
    given["surveys"] = rows("surveys", "survey_id,flown_on,fields,path,source", *(f"{f}-2026-04,2026-04-07,{f},{f}.laz,photogrammetry" for f in LIPS))
    for path, name in ((at.portfolio, "portfolio"), (at.season_queue, "season_queue"), (at.order, "order"), (at.hazards, "hazards")):
        tables.write(path, name, [{"field_id": "moth", "site": "otterlamp", "lip_max_mm": 70.0, "verdict": "unsafe", "reason": "=1+1"}] if name == "portfolio" else
                     [{"site": "otterlamp", "material": "mix", "tonnes": 10.0, "low95": 8.0, "high95": 12.0, "in_stock": 0.0}] if name == "order" else [])  # fmt: skip
    workbook.run(jobs.job(jobs.given(Project(how, given, {}), "workbook", ".")), at)
    return Path(at.workbook)


def recalculated(path: Path, out: Path) -> dict[str, dict[str, object]]:
    """Every cell after an independent engine (the `formulas` library) has worked all formulas out anew: sheet -> cell -> value."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the engine's own
        import formulas

        model = formulas.ExcelModel().loads(str(path)).finish()
        model.calculate()
        model.write(dirpath=str(out))
    book = openpyxl.load_workbook(next(out.iterdir()))
    return {name.upper(): {c.coordinate: c.value for row in book[name] for c in row} for name in book.sheetnames}


def stored(path: Path) -> dict[str, dict[str, object]]:
    book = openpyxl.load_workbook(path, data_only=True)
    return {name.upper(): {c.coordinate: c.value for row in book[name] for c in row} for name in book.sheetnames}


def formulas_of(path: Path) -> dict[tuple[str, str], str]:
    book = openpyxl.load_workbook(path)
    return {(s.title.upper(), c.coordinate): c.value for s in book for row in s for c in row if isinstance(c.value, str) and c.data_type == "f"}


def column(sheet: dict[str, object], letter: str) -> dict[int, object]:
    return {int(k[len(letter):]): v for k, v in sheet.items() if k.rstrip("0123456789") == letter}


@pytest.mark.independent
@pytest.mark.parametrize("units", ("us", "metric"))
def test_every_formula_gives_what_the_plan_says_when_another_engine_works_it_out(where, tmp_path, units):  # noqa: F811
    path = made(where, settings(units))
    held, again, live = stored(path), recalculated(path, tmp_path / "again"), formulas_of(path)
    assert len(live) > 20
    for sheet, cell in live:
        one, other = held[sheet][cell], again[sheet][cell]
        assert other == (pytest.approx(one, abs=0.005) if isinstance(one, (int, float)) else one), (sheet, cell, live[sheet, cell])
    planned = [r for r in tables.read(where.capital_plan, "capital_plan") if r["treatment"] != "none"]
    costs, years = column(again["PLAN"], "H"), column(again["YEARS"], "C")
    assert any(r["treatment"] == "rebuild" for r in planned), "the case must hold a contractor's coming"
    assert sum(v for v in costs.values() if isinstance(v, (int, float))) == pytest.approx(sum(r["cost"] for r in planned) + sum(1500 * 1.03 ** (y - 2026) * 1.1 for y in {r["year"] for r in planned if r["treatment"] == "rebuild"}), abs=0.02)
    assert all(column(again["PLAN"], "J")[k] == pytest.approx(0.0, abs=0.005) for k, v in costs.items() if isinstance(v, (int, float)))
    hours = {k: v for k, v in column(again["PLAN"], "G").items() if isinstance(v, (int, float))}
    assert sum(hours.values()) == pytest.approx(sum(r["hours"] for r in planned), abs=0.02)
    assert [years[k] for k in sorted(years) if isinstance(years[k], (int, float))][:3] == pytest.approx([sum(c for k, c in costs.items() if column(again["PLAN"], "A")[k] == y) for y in (2026, 2027, 2028)], abs=0.01)


@pytest.mark.independent
def test_a_changed_unit_price_moves_lines_totals_and_the_word(where, tmp_path):  # noqa: F811
    path = made(where, settings())
    before = stored(path)
    book = openpyxl.load_workbook(path)
    line = next(k for k, v in column(before["COSTS"], "A").items() if v == "a rebuild")
    book["Costs"][f"B{line}"] = 13000.0
    book.save(tmp_path / "dearer.xlsx")
    after = recalculated(tmp_path / "dearer.xlsx", tmp_path / "again")
    rebuilt = [k for k, v in column(before["PLAN"], "C").items() if v == "a rebuild" and isinstance(before["PLAN"].get(f"D{k}"), (int, float))]
    assert rebuilt
    for k in rebuilt:
        year = before["PLAN"][f"A{k}"]
        assert after["PLAN"][f"J{k}"] == pytest.approx(10000 * 1.03 ** (year - 2026) * 1.1, abs=0.01)
        row = next(r for r, v in column(before["YEARS"], "A").items() if v == year)
        assert before["YEARS"][f"E{row}"] == "within" and after["YEARS"][f"E{row}"] == "over"
        assert after["YEARS"][f"C{row}"] - before["YEARS"][f"C{row}"] == pytest.approx(after["PLAN"][f"J{k}"], abs=0.01)


@pytest.mark.invariant
def test_the_same_tables_give_the_same_bytes_and_carry_the_newest_survey_s_day(where):  # noqa: F811
    first = made(where, settings()).read_bytes()
    path = made(where, settings())
    assert path.read_bytes() == first
    assert openpyxl.load_workbook(path).properties.created == dt.datetime(2026, 4, 7)


@pytest.mark.invariant
def test_text_is_text_whatever_sign_it_begins_with(where):  # noqa: F811
    book = openpyxl.load_workbook(made(where, settings(), {"moth": "@SUM(A1)"}))
    cells = [c for s in book for row in s for c in row if c.value in ("@SUM(A1)", "=1+1")]
    assert {c.value for c in cells} == {"@SUM(A1)", "=1+1"} and all(c.data_type == "s" for c in cells)


@pytest.mark.analytic
def test_tables_stand_in_the_reader_s_units_with_each_column_explained(where):  # noqa: F811
    held = stored(made(where, settings("us")))
    heads = {v: k[0] for k, v in held["FIELDS"].items() if isinstance(v, str) and k[1:] == "3"}
    assert held["FIELDS"][heads["lip_max, in"] + "4"] == pytest.approx(70 / 25.4)
    order = held["MIX ORDER"]
    assert [order[f"{c}4"] for c in "CDE"] == pytest.approx([v / 0.90718474 for v in (10.0, 8.0, 12.0)])
    meant = {(a, b) for a, b in zip(column(held["COLUMNS"], "A").values(), column(held["COLUMNS"], "B").values())}
    for sheet, name in (("FIELDS", "Fields"), ("MIX ORDER", "Mix order"), ("SEASON", "Season")):
        shown = {v.split(",")[0] for k, v in held[sheet].items() if isinstance(v, str) and k.rstrip("0123456789") and k.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ") in ("3", "4") and "_" in v}
        assert shown <= {b for a, b in meant if a == name} | {"=1+1"}, (sheet, shown)


@pytest.mark.analytic
@pytest.mark.parametrize("how, said", [(lambda: settings(money=100), "No plan keeps to budgets"), (lambda: Config(**{k: v for k, v in SETTINGS.items() if k != "plan"}), "No plan was asked for")])
def test_without_a_plan_the_workbook_says_why_and_holds_the_rest(where, how, said):  # noqa: F811
    held = stored(made(where, how()))
    assert any(isinstance(v, str) and v.startswith(said) for v in held["READ ME"].values())
    assert "PLAN" not in held and "FIELDS" in held
