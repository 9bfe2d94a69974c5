"""A capital plan written down as its record: three fields, three years, every kind of reason."""

from __future__ import annotations

from pipeline.owner import Budget
from pipeline.report.plan_asked import Given
from pipeline.report.plan_block import plan_block
from report.scene import WORDS, reads

NAMES = {"heron": "Heron Field", "kettle": "Kettle Field", "moth": "Moth Field"}
PLACES = {"heron": {"ring_depth": "second"}, "kettle": {"mix": "skin", "ring_depth": "landing"}, "moth": {"lip": "outer", "planarity": "skin", "skin_lost": "infield"}}
COURSES = {
    "heron": {"limits": {"ring_depth": [20.0, 20.0]}, "planned": {"ring_depth": [[8.0, 4.0], [6.0, 3.0], [12.0, 6.0]]}, "untreated": {"ring_depth": [[8.0, 4.0], [16.0, 5.0], [24.0, 6.0]]}},
    "kettle": {"limits": {"mix": [0.0, 75.0], "ring_depth": [20.0, 20.0]},
               "planned": {"mix": [[17.0, 4.0], [-7.0, 4.0], [1.0, 9.0]], "ring_depth": [[3.0, 3.0], [7.0, 4.0], [11.0, 8.0]]},
               "untreated": {"mix": [[17.0, 4.0], [25.0, 6.0], [33.0, 9.0]], "ring_depth": [[12.0, 4.0], [18.0, 5.0], [24.0, 9.0]]}},
    "moth": {"limits": {"lip": [25.0, 25.0], "planarity": [13.0, 13.0], "skin_lost": [100.0, 100.0]},
             "planned": {"lip": [[4.0, 4.0], [8.0, 5.0], [12.0, 6.0]], "planarity": [[14.0, 2.0], [16.0, 3.0], [18.0, 4.0]], "skin_lost": [[40.0, 9.0], [50.0, 12.0], [60.0, 15.0]]},
             "untreated": {"lip": [[64.0, 6.0], [68.0, 7.0], [72.0, 8.0]], "planarity": [[14.0, 2.0], [16.0, 3.0], [18.0, 4.0]], "skin_lost": [[40.0, 9.0], [50.0, 12.0], [60.0, 15.0]]}},
}  # fmt: skip


def why(code: str, component: str = "ring_depth", **given) -> dict:
    return {"code": code, "component": component, "saved": 0.0, "per_1000": None, "treatment": "", "year": None, "other": None, "sure": None, "doubtful": False} | given


def line(year: int, field_id: str, treatment: str, reason: dict, left: list[float] | None = None, **given) -> dict:
    return {
        "year": year, "field_id": field_id, "treatment": treatment, "cost": 0.0, "hours": 0.0, "tonnes": 0.0, "expected_condition_after": 0.2, "firmness": "firm", "pinned": False,
        "loss_without": 1.0, "share": 0.9, "loss": 0.5, "why": reason, "left": left,
    } | given  # fmt: skip


LINES = [
    line(2026, "heron", "none", why("later", treatment="level", year=1)),
    line(2026, "kettle", "laser_grade", why("pinned", saved=0.2, per_1000=0.03, treatment="laser_grade"), [12.0, 4.0], cost=7000.0, pinned=True),
    line(2026, "moth", "lip_cut", why("forced", "lip", saved=5.0, per_1000=2.5, treatment="lip_cut"), [64.0, 6.0], cost=2000.0, hours=12.0),
    line(2027, "heron", "level", why("crew", saved=0.4, treatment="level"), [16.0, 5.0], hours=20.0, firmness="likely"),
    line(2027, "kettle", "mix_add", why("bought", "mix", saved=1.5, per_1000=0.5, treatment="mix_add", other=["moth", "rebuild", 0.1]), [25.0, 6.0], cost=3000.0, tonnes=40.0),
    line(2027, "moth", "none", why("not_now", "planarity", saved=0.3, per_1000=0.01, treatment="rebuild")),
    line(2028, "heron", "none", why("rests", treatment="level", year=1)),
    line(2028, "kettle", "laser_grade", why("bought", saved=0.1, per_1000=0.01, treatment="laser_grade"), [18.0, 6.0], cost=8000.0, firmness="survey_first"),
    line(2028, "moth", "none", why("no_means", "planarity", saved=0.3, per_1000=0.01, treatment="rebuild")),
]  # fmt: skip
def step(pct: int, state: str, **given) -> dict:
    """A budget step; of one without a plan only what is missing."""
    told = {} if state == "no_plan" else {
        "hours": 32.0, "loss": 2.0, "gap": 0.0, "changed": [], "over_trip": [], "perhaps_over_trip": [],
        **{f"condition_{w}{end}": v for w in ("mean", "end") for end, v in (("", 0.3), ("_low95", 0.1), ("_high95", 0.8))},
    }  # fmt: skip
    return {"budget_pct": pct, "money": 480.0 * pct, "state": state} | told | given


RECORD = {
    "state": "planned", "first_year": 2026, "years": 3, "starts": "2026-07-01", "newest": "2026-04-09", "currency": "USD", "names": NAMES, "places": PLACES, "courses": COURSES, "lines": LINES,
    "money": [16000.0] * 3, "crew_hours": [260.0] * 3, "spent": [9900.0, 3000.0, 8900.0], "hours": [12.0, 20.0, 0.0], "comings": [900.0, 0.0, 900.0], "loss": 2.0, "untreated": 10.0, "bound": 1.999, "gap": 0.0005,
    "drops": [0.0, 0.5, 0.001], "drops_bound": False, "forced": {"moth": ["lip"]}, "conditions": {"planned": [0.5, 0.2, 0.3], "untreated": [0.9, 1.4, 1.9]},
    "over_years": {f: {"planned": [], "untreated": [2028]} for f in NAMES},
    "others": {"worst_first": {"loss": 5.0, "spent": [3000.0, 0.0, 0.0], "works": {"level": 4, "lip_cut": 1}}, "in_turn": {"loss": 5.0, "spent": [3000.0, 0.0, 0.0], "works": {"level": 5, "lip_cut": 1}}},
    "tenth": {"more": {"loss": 2.0, "spent": [9900.0, 3000.0, 8900.0], "changed": []}, "less": {"loss": 2.2, "spent": [9900.0, 3000.0, 0.0], "changed": [{"field_id": "kettle", "year": 2028, "from": "laser_grade", "to": "none"}]}},
    "trip_judged": ["moth"], "contracted": ["laser_grade", "rebuild"],
    "budgets": [step(50, "no_plan", missing=1200.0), step(90, "solved", spent=12900.0, bought={"lip_cut": 1, "mix_add": 1, "level": 1}, perhaps_over_trip=["moth"],
                     changed=[{"field_id": "kettle", "year": 2028, "from": "laser_grade", "to": "none"}, {"field_id": "heron", "year": 2028, "from": "none", "to": "level"}]),
                step(100, "owner", spent=21800.0, bought={"lip_cut": 1, "mix_add": 1, "laser_grade": 2, "level": 1}), *(step(pct, state, spent=29000.0, bought={"rebuild": 1}, gap=gap, over_trip=["moth"], changed=[{"field_id": "moth", "year": 2028, "from": "none", "to": "rebuild"}]) for pct, state, gap in ((110, "rough", 0.04), (125, "solved", 0.001)))],
    "pins": [{"field_id": "kettle", "treatment": "laser_grade", "year": 2026, "not_before": None, "price": 0.1}, {"field_id": "heron", "treatment": "rebuild", "year": None, "not_before": 2028, "price": 0.0}],
    "pins_left": [{"field_id": "acorn", "treatment": None, "year": None, "not_before": None}], "levelling": {"share": 0.02, "sigma": 0.01, "assumed": False},
    "not_judged": {"heron": [["mix", "not_measured"]], "kettle": [], "moth": [["mix", "no_tolerance"]]}, "bids": [], "over_trip": {}, "begun": False, "worth": 0.0, "apart": {}, "no_rules": [], "pins_in_the_way": False, "not_offered": {"heron": {}, "kettle": {}, "moth": {"laser_grade": "no_design"}},
    "left_out": [], "old": ["moth"], "no_rate": ["skin_lost"], "assumed": ["discount"], "outcome": {"promised": 0, "measured": 0, "in_band": 0, "share": None, "trusted": None},
}  # fmt: skip
SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-12-15"}
PROMISED = {"plan_year": 2025, "field_id": "moth", "treatment": "lip_cut", "component": "lip", "plan": "2025-2025-04-01-01", "promised_mm": 4.0, "promised_low95_mm": -4.0, "promised_high95_mm": 12.0, "cost_planned": 1800.0}
OUTCOME = [
    {**PROMISED, "measured_mm": 6.0, "measured_sigma_mm": 3.0, "cost_actual": 1900.0, "in_band": True, "done_on": "2025-09-01"},
    {**PROMISED, "field_id": "heron", "treatment": "level", "component": "ring_depth", "cost_planned": 0.0, "measured_mm": 30.0, "measured_sigma_mm": 3.0, "cost_actual": None, "in_band": False, "done_on": "2025-10-01"},
    {**PROMISED, "field_id": "kettle", "treatment": "mix_add", "component": "mix", "cost_planned": 500.0, "measured_mm": None, "measured_sigma_mm": None, "cost_actual": None, "in_band": None, "done_on": None},
]  # fmt: skip
SCORED = {"promised": 3, "measured": 2, "in_band": 1, "share": 0.5, "trusted": False}


def given(outcome: list[dict] = OUTCOME) -> Given:
    budget = [Budget(year=2025 + t, money=16000, crew_hours=260, **SIGNED) for t in range(4)]
    works = reads("works", {"work_id": "w1", "field_id": "moth", "done_on": "2025-09-01", "work": "lip_cut", "cost": "1900"}, {"work_id": "w2", "field_id": "heron", "done_on": "2025-11-01", "work": "laser_grade", "cost": "5000"})
    return Given(budget, works, "07-01", "set by Board of Nowhere on 15 December 2025", outcome, {f: 75.0 for f in NAMES}, NAMES, "2026-2026-04-09-01")


def plan_said(units=None, **over) -> dict:
    """The page's block of that plan."""
    from pipeline.report.figures import METRIC

    return plan_block(RECORD | {"outcome": SCORED} | over, WORDS, units or METRIC, given())
