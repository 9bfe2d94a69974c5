"""A capital plan over any number of fields as the plan's step records it, made up without planning."""

from __future__ import annotations

from pipeline.report.papers.board import BoardInput
from pipeline.settings import Config
from report.scene import SIGNED, row

TREATED = ("lip_cut", "laser_grade", "level", "mix_add", "rebuild")
CODES = ("forced", "pinned", "bought", "crew", "pays")


def settings(units: str = "us") -> Config:
    figures = {"lip_mm": 25, "lip_trip_mm": 50, "low_spot_mm": 20, "mix_depth_min_mm": 75}
    return Config(
        units=units, currency="USD", report={"title": "Nowhere Parks"}, tolerances={n: {"value": v, **SIGNED} for n, v in figures.items()}, costs={"lip_cut": {"per_m": 20, **SIGNED}},
        budget=[{"year": 2026, "money": 9000, "crew_hours": 40, "set_by": "Another Board", "set_on": "2025-12-01"}], plan={"escalation_pct": 3, **SIGNED},
    )  # fmt: skip


def line(field_id: str, year: int, k: int) -> dict:
    """One line with work, a different one for each k."""
    code = CODES[k % 5]
    why = {"code": code, "component": ("lip", "ring_depth", "planarity", "mix", "skin_lost")[k % 5], "saved": 1.0 + k % 7, "per_1000": 0.5, "treatment": TREATED[k % 5], "year": None, "other": None}
    return {"year": year, "field_id": field_id, "treatment": TREATED[k % 5], "cost": 0.0 if code == "crew" else 1000.0 + k, "hours": 3.0, "tonnes": 0.0, "firmness": ("firm", "likely", "survey_first")[k % 3], "why": why}


def bare(field_id: str, year: int, code: str) -> dict:
    return {"year": year, "field_id": field_id, "treatment": "none", "cost": 0.0, "hours": 0.0, "tonnes": 0.0, "firmness": "firm",
            "why": {"code": code, "component": "lip", "saved": 0.0, "per_1000": None, "treatment": "", "year": None, "other": None}}  # fmt: skip


def record(fields: int = 6, years: int = 5, name: str = "Field {k}", **over) -> dict:
    """Every field is treated in the years whose number its own leaves by three; half of them stay over a tolerance with nothing done."""
    ids = [f"f-{k}" for k in range(fields)]
    lines = [line(f, 2026 + t, k + t) if (k + t) % 3 == 0 else bare(f, 2026 + t, "not_needed" if k % 2 else "not_now") for k, f in enumerate(ids) for t in range(years)]
    falling = [0.9 / (t + 1) for t in range(years)]
    return {
        "state": "planned", "newest": "2026-04-09", "first_year": 2026, "years": years, "starts": "2026-07-01", "currency": "USD", "money": [20000.0] * years, "spent": [12000.0] * years, "crew_hours": [260.0] * years,
        "hours": [40.0] * years, "comings": [900.0] * years, "names": {f: name.format(k=k) for k, f in enumerate(ids)}, "not_judged": {f: [["mix", "not_measured"]] + [["skin_lost", "not_sure"]] * (k % 2) for k, f in enumerate(ids)},
        "left_out": [], "no_rate": [], "levelling": {"assumed": True, "share": 0.02, "sigma": 0.01}, "forced": {}, "bids": [], "over_trip": {}, "begun": False, "worth": 0.0, "apart": {}, "no_rules": [], "pins_in_the_way": False, "not_offered": {f: {"rebuild": "no_cost"} for f in ids}, "old": [], "assumed": ["contingency_pct"],
        "pins_left": [], "loss": 20.0, "bound": 19.9, "gap": 0.0003, "untreated": 80.0, "drops": [0.01] * years, "drops_bound": False, "lines": lines,
        "others": {"worst_first": {"loss": 40.0, "spent": [9000.0] * years}, "in_turn": {"loss": 50.0, "spent": [9500.0] * years}},
        "tenth": {"more": {"loss": 19.0, "spent": [13000.0] * years, "changed": []}, "less": {"loss": 22.0, "spent": [11000.0] * years, "changed": [{"field_id": ids[0], "year": 2026, "from": "lip_cut", "to": "level"}] * 9}},
        "pins": [{"field_id": f, "treatment": "rebuild", "year": None, "not_before": 2028, "price": 0.4} for f in ids[: 1 + fields // 5]],
        "conditions": {"planned": falling, "planned_low95": [v / 2 for v in falling], "planned_high95": [2 * v for v in falling], "untreated": [1.0 + t for t in range(years)],
                       "untreated_low95": [0.5 + t for t in range(years)], "untreated_high95": [2.0 + t for t in range(years)], "worst_first": [1.0] * years, "in_turn": [1.1] * years},
        "over_years": {f: {"planned": [2025 + years] if k % 4 == 0 else [], "untreated": [2025 + years] if k % 2 == 0 else []} for k, f in enumerate(ids)},
        "places": {f: {"lip": "outer", "planarity": "skin", "ring_depth": "second", "mix": "skin", "skin_lost": "home"} for f in ids},
        "outcome": {"promised": 0, "measured": 0, "in_band": 0, "share": None, "trusted": None},
    } | over  # fmt: skip


def unsafe(fields: int, name: str = "Field {k}") -> dict:
    """As the page over all fields says it: of so many fields two places each."""
    what = ["Second base is 2.72 in ± 0.15 low, over the trip limit of 60 mm (2.36 in).", "Lip along the outer edge, 30–128 ft, highest by second base: up to 2.7 in ± 0.5 high, over the trip limit of 50 mm (1.97 in) on 20 ft of it."]
    return {"unsafe": [{"name": name.format(k=k), "site": "", "link": "", "what": what, "act": "Close the 2 places or mark them off.", "steps": ""} for k in range(fields)], "unsafe_none": "Nothing over a trip limit was found on any field."}


def promised(measured: int, kept: int) -> tuple[list[dict], dict]:
    """Rows of plan_outcome.csv and their score: one more planned and not done; lips promised at 4 mm, one s.d. 4."""
    rows = [row("plan_outcome", plan_year=2025, field_id=f"f-{k}", treatment="lip_cut", component="lip", plan="2025-2025-04-07-01", promised_mm=4.0, promised_low95_mm=-3.84, promised_high95_mm=11.84,
                measured_mm=5.0 if k < kept else 40.0, measured_sigma_mm=2.0, cost_planned=1000.0, cost_actual=1100.0, in_band=k < kept, done_on="2025-09-01") for k in range(measured)]  # fmt: skip
    rows.append(row("plan_outcome", plan_year=2025, field_id="f-0", treatment="laser_grade", component="ring_depth", plan="2025-2025-04-07-01", promised_mm=4.0, promised_low95_mm=0.0, promised_high95_mm=8.0, cost_planned=5000.0))
    return rows, {"promised": measured + 1, "measured": measured, "in_band": kept, "share": kept / measured, "trusted": kept / measured >= 0.8}


def given(made: dict, unsafe_fields: int = 1, units: str = "us", outcome: list[dict] | None = None, name: str = "Field {k}") -> BoardInput:
    words = ("unsafe", "work", "good")
    portfolio = [row("portfolio", field_id=f, verdict=words[k % 3]) for k, f in enumerate(made.get("names", {}))]
    return BoardInput(made, portfolio, unsafe(unsafe_fields, name), outcome or [], settings(units))
