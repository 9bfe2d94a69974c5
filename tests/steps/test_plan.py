"""The plan on three small fields written as tables: what it writes, what it keeps, what it says when the purse is empty."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline import jobs
from pipeline.diamond.carry import to_plain
from pipeline.fingerprint import PACKAGE, sources
from pipeline.project import Project
from pipeline.report.plan_block import plan_block
from pipeline.report.words import Words
from pipeline.settings import Config
from pipeline.steps import plan
from pipeline.steps.plan_told import told
from pipeline.store import kept, pages, records, tables
from pipeline.store.where import Where
from pipeline.tables import TABLES, read
from pipeline.variables import FIELD_TABLES
from report.scene import layout

SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-03-03"}
WORDS = Words(pages.sections("en"))
LIPS = {"heron": 12.0, "kettle": 31.0, "moth": 70.0}  # mm; moth is over its trip limit
SETTINGS = {
    "tolerances": {n: {"value": v, **SIGNED} for n, v in {"lip_mm": 25, "lip_trip_mm": 50, "low_spot_mm": 20, "planarity_mm": 13}.items()},
    "costs": {"lip_cut": {"fixed": 200, "per_m": 20, "hours_fixed": 2, **SIGNED}, "level": {"hours_fixed": 10, **SIGNED}, "rebuild": {"fixed": 30000, "mobilisation": 1500, **SIGNED}},
    "plan": {"first_year": 2026, "years": 3, "fiscal_year_start": "07-01", "escalation_pct": 3, "contingency_pct": 10, "discount": 0.97, **SIGNED},
}  # fmt: skip


def config(money: float = 1000, **plan_too) -> Config:
    budget = [{"year": 2026 + t, "money": money, "crew_hours": 30, **SIGNED} for t in range(3)]
    return Config(**{**SETTINGS, "plan": {**SETTINGS["plan"], **plan_too}, "budget": budget})


def rows(name: str, header: str, *lines: str):
    from pipeline.store.tables import parse_rows

    return read(name, parse_rows("\n".join([header, *lines]) + "\n", name))[0]


@pytest.fixture
def where(tmp_path) -> Where:
    """Tables of the three fields, one survey each."""
    at = Where(str(tmp_path / "results"))
    made = layout("softball-60")
    for field_id in LIPS:
        records.write(at.layout(field_id), to_plain(made))
        write(at, field_id, {"2026-04-07": LIPS[field_id]})
        tables.write(at.table(field_id, "quantities"), "quantities", [])
    return at


def write(at: Where, field_id: str, lips: dict[str, float]) -> None:
    """A field's tables: one survey a day, each with six metres of lip, a hollow and an even skin."""
    surveys = {f"{field_id}-{day}": (day, lip) for day, lip in lips.items()}
    mine = {
        "survey_quality": [{"survey_id": s, "flown_on": day, "verdict": "absolute"} for s, (day, _) in surveys.items()],
        "lip": [{"survey_id": s, "edge_id": "outer", "station_m": m + 0.5, "kind": "lip", "height_mm": lip, "height_sigma_mm": 4.0} for s, (_, lip) in surveys.items() for m in range(6)],
        "zones": [{"survey_id": s, "zone": "skin", "planarity_mm": 6.0, "planarity_sigma_mm": 1.0} for s in surveys],
        "low_spots": [{"survey_id": s, "low_spot_id": "second", "ring_depth_mm": 18.0, "ring_depth_sigma_mm": 2.0} for s in surveys],
        "trend": [{"measure": "lip", "edge_id": "outer", "rate_mm_per_year": 4.0, "rate_sigma_mm_per_year": 1.0}],
    }  # fmt: skip
    for name in FIELD_TABLES:
        tables.write(at.table(field_id, name), name, mine.get(name, []))


def run(at: Where, settings: Config, works: tuple[str, ...] = ()) -> dict:
    given = {name: () for name in TABLES}
    given["fields"] = rows("fields", "field_id,crs,layout,home_e,home_n,second_e,second_n,name,site", *(f"{f},EPSG:6564,softball-60,0,0,0,25.86,{f.title()} Field,otterlamp" for f in LIPS))
    given["works"] = rows("works", "work_id,field_id,done_on,work,cost", *works)
    given["use"] = rows("use", "field_id,month,games,hours", "heron,2026-03,2,10", "moth,2026-03,4,30", "kettle,2024-01,9,90")
    plan.run(jobs.job(jobs.given(Project(settings, given, {}), "plan", ".")), at)
    record = records.read(at.plan_record)
    told(record, at, WORDS)
    return record


@pytest.mark.analytic
def test_an_unsafe_lip_comes_first_and_every_line_has_a_reason(where):
    record = run(where, config())
    found = {(r["year"], r["field_id"]): r for r in tables.read(where.capital_plan, "capital_plan")}
    assert record["state"] == "planned" and record["gap"] <= 2e-3 and len(found) == 9 and all(r["reason"] for r in found.values())
    assert found[2026, "moth"]["treatment"] == "lip_cut" and found[2026, "moth"]["reason"].startswith("Must be done now: over the trip limit. The lip along the outer edge would be ")
    assert found[2026, "moth"]["cost"] == pytest.approx((200 + 20 * 6) * 1.1)
    assert found[2026, "moth"]["loss_without"] > found[2026, "moth"]["loss"]
    assert record["use"] == pytest.approx({"heron": 0.5, "kettle": 1.0, "moth": 1.5})  # what was played longer ago than a year does not count
    for t, spent in enumerate(record["spent"]):
        assert spent <= 1000 and record["hours"][t] <= 30
    assert {n for n, _ in record["not_judged"]["heron"]} == {"mix", "skin_lost"}
    assert record["trip_judged"] == ["heron", "kettle", "moth"] and record["contracted"] == ["rebuild"]  # nobody says who cuts the lip: the crew


@pytest.mark.invariant
def test_the_same_plan_twice_is_kept_once_and_another_beside_it(where):
    run(where, config())
    first = {p: Path(p).read_bytes() for p in (where.capital_plan, where.plan_record, where.plan_outcome)}
    run(where, config())
    assert {p: Path(p).read_bytes() for p in first} == first
    assert [k.name for k in kept.kept(where.plans)] == ["2026-2026-04-07-01"]
    before = Path(kept.kept(where.plans)[0].path).read_bytes()
    run(where, config(money=400))
    assert [k.name for k in kept.kept(where.plans)] == ["2026-2026-04-07-01", "2026-2026-04-07-02"]
    assert Path(kept.kept(where.plans)[0].path).read_bytes() == before


@pytest.mark.analytic
def test_what_was_promised_is_held_against_the_survey_after_the_work(where):
    run(where, config())
    (promised,) = [r for r in tables.read(where.capital_plan, "capital_plan") if (r["year"], r["field_id"]) == (2026, "moth")]
    write(where, "moth", {"2026-04-07": 70.0, "2027-06-20": promised["promised_mm"] + 1.0})
    done = ("moth-9,moth,2026-09-01,lip_cut,410",)
    record = run(where, config(), done)
    told = {r["field_id"]: r for r in tables.read(where.plan_outcome, "plan_outcome") if r["plan_year"] == 2026}
    assert told["moth"]["in_band"] is True and told["moth"]["cost_actual"] == 410 and told["moth"]["done_on"] == "2026-09-01" and told["moth"]["plan"] == "2026-2026-04-07-01"
    assert told["moth"]["promised_mm"] == promised["promised_mm"]
    assert record["outcome"]["measured"] == 1 and record["outcome"]["trusted"] is True
    write(where, "moth", {"2026-04-07": 70.0, "2027-06-20": 48.0})
    record = run(where, config(), done)
    assert record["outcome"]["trusted"] is False and plan_block(record, WORDS)["outcome"].endswith("not to be trusted yet.")


@pytest.mark.analytic
def test_safety_work_beyond_the_purse_names_the_least_that_would_do(where):
    record = run(where, config(money=100))
    assert record["state"] == "infeasible" and record["short_money"] == pytest.approx([252, 0, 0])  # 320 with contingency, 100 there
    assert tables.read(where.capital_plan, "capital_plan") == [] and kept.kept(where.plans) == []
    said = " ".join(plan_block(record, WORDS)["lead"]).replace("\u00a0", " ")
    assert "2026: USD 352, USD 252 more than the USD 100 there are." in said and "Until there is money for it, close Moth Field." in said


@pytest.mark.analytic
def test_pins_that_no_budget_holds_are_told_as_what_stands_in_the_way(where):
    record = run(where, config(money=500, pins=[{"field_id": "heron", "treatment": "rebuild", "year": 2026}]))
    assert record["state"] == "infeasible" and record["pins_in_the_way"] is True and sum(record["short_money"]) > 30000
    assert "Without the pins there is a plan that keeps to the rest." in plan_block(record, WORDS)["lead"]
    assert run(where, config(money=100))["pins_in_the_way"] is False


@pytest.mark.analytic
def test_money_is_left_where_it_buys_less_than_the_owner_asks_and_the_line_says_so(where):
    bare = lambda made: Config(**{**made.model_dump(exclude_none=True), "costs": {k: v for k, v in SETTINGS["costs"].items() if k != "level"}})
    free = run(where, bare(config(money=40000)))
    asks = run(where, bare(config(money=40000, least_points_per_1000=1000)))
    found = {(r["year"], r["field_id"]): r for r in tables.read(where.capital_plan, "capital_plan")}
    assert sum(asks["spent"]) < sum(free["spent"]) and found[2026, "moth"]["treatment"] == "lip_cut"  # safety work is bought whatever it is worth
    assert any(line["why"]["code"] == "beneath" for line in asks["lines"])
    assert any("1 000" in s.replace("\u00a0", " ") for s in plan_block(asks, WORDS)["sure"]["how"])


@pytest.mark.analytic
def test_years_between_two_levellings_are_kept_from_works_on(where):
    apart = config()
    costs = {**SETTINGS["costs"], "level": {"hours_fixed": 1, "least_years": 2, **SIGNED}}
    apart = Config(**{**apart.model_dump(exclude_none=True), "costs": costs})
    run(where, apart, ("heron-9,heron,2026-03-01,level,",))
    found = {(r["year"], r["field_id"]): r["treatment"] for r in tables.read(where.capital_plan, "capital_plan")}
    for f in LIPS:
        years = [y for y in (2026, 2027, 2028) if found[y, f] == "level"]
        assert all(b - a >= 2 for a, b in zip(years, years[1:]))
    assert found[2026, "heron"] != "level"  # March 2026 lies in the plan year of 2025


@pytest.mark.analytic
def test_a_hollow_over_its_trip_limit_is_told_and_waits_for_no_plan(where):
    low = Config(**{**config().model_dump(exclude_none=True), "tolerances": {**SETTINGS["tolerances"], "low_spot_trip_mm": {"value": 12, **SIGNED}, "low_spot_mm": {"value": 10, **SIGNED}}})
    record = run(where, low)
    assert record["over_trip"] == {f: "second" for f in LIPS} and record["forced"] == {"moth": ["lip"]}
    assert sum("waits for no plan" in s for s in plan_block(record, WORDS)["lead"]) == 3


@pytest.mark.analytic
def test_a_plan_whose_first_year_is_over_says_so(where):
    write(where, "moth", {"2027-08-01": 70.0})
    record = run(where, config())
    assert record["begun"] is True and any("out of date" in s for s in plan_block(record, WORDS)["lead"])
    assert run(where, config(first_year=2026))["first_year"] == 2026


@pytest.mark.analytic
def test_no_plan_asked_for_writes_headers_and_no_block(where):
    record = run(where, Config(**{k: v for k, v in SETTINGS.items() if k != "plan"}))
    assert record["state"] == "not_asked" and tables.read(where.capital_plan, "capital_plan") == [] and plan_block(record, WORDS) == {}


@pytest.mark.analytic
def test_pins_are_obeyed_and_priced_and_the_block_says_it_all(where):
    pins = [{"field_id": "heron", "treatment": "level", "year": 2027}, {"field_id": "kettle", "treatment": "lip_cut", "not_before": 2028}]
    record = run(where, config(pins=pins))
    found = {(r["year"], r["field_id"]): r for r in tables.read(where.capital_plan, "capital_plan")}
    assert found[2027, "heron"]["treatment"] == "level" and found[2027, "heron"]["pinned"]
    assert all(found[y, "kettle"]["treatment"] != "lip_cut" for y in (2026, 2027))
    assert [p["price"] >= 0 for p in record["pins"]] == [True, True] and record["pins"][1]["price"] > 0.05
    block = plan_block(record, WORDS)
    rows = [row for year in block["years"] for row in year["rows"]]
    assert len(rows) == sum(r["treatment"] != "none" for r in found.values()) and len(block["years"]) == 3 and len(block["compared"]) >= 3
    assert sum(len(year["waits"]) for year in block["years"]) + len(rows) == len(found)
    assert all(len(row) == len(block["heads"]) for row in rows) and "{" not in json.dumps([block["lead"], block["fields"], block["pins"], block["compared"], block["steps"]["rows"]])
    assert {line.split(":")[0] for line in block["fields"]} == {"Heron Field", "Kettle Field", "Moth Field"}


@pytest.mark.invariant
def test_other_words_for_the_same_choices_are_no_other_plan(where):
    record = run(where, config())
    other = {k: v for k, v in pages.sections("en").items()}
    other["capital plan"] = other["capital plan"] | {"plan_reason_forced": "Now."}
    before = Path(where.capital_plan).read_text()
    assert told(record, where, Words(other)) == "2026-2026-04-07-01" and Path(where.capital_plan).read_text() != before
    assert [k.name for k in kept.kept(where.plans)] == ["2026-2026-04-07-01"]
    assert not any("report" in p.parts for p in sources(PACKAGE / "steps" / "plan.py"))  # so an edit of words makes no plan again


@pytest.mark.invariant
def test_the_plan_reads_fields_and_no_field_reads_the_plan():
    snakefile = (Path(__file__).resolve().parent.parent.parent / "Snakefile").read_text()
    readers = [rule for rule in snakefile.split("\nrule ")[1:] if any(w in rule.split("output:")[0] for w in ("capital_plan", "plan_record", "plan_outcome"))]
    assert [rule.split(":")[0] for rule in readers] == ["all", "portfolio", "workbook_all", "board"]
