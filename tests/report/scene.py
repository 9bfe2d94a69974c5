"""A made-up field written down row by row: what the pages are built from, without a survey, a step or a file."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from pipeline.diamond.layout import Drawing, Feature, Layout, build
from pipeline.report.field_input import FieldInput
from pipeline.report.findings import Limits, Shown, shown
from pipeline.report.hazards import hazards
from pipeline.report.field_page import sayer_of
from pipeline.report.overview import FieldSeen
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing, standing
from pipeline.report.two_dates import Surface
from pipeline.report.words import Words
from pipeline.settings import Config
from pipeline.store import pages
from pipeline.tables import TABLES, Read, Rows, read
from pipeline.variables import FIELD_TABLES, column_names

FIELD, CRS, HOME = "mill-pond", "EPSG:6550", (507000.0, 175000.0)
DAYS = {"one": "2025-04-07", "two": "2025-10-06", "three": "2026-04-07"}
LIMITS = Limits(25.0, 50.0, 20.0, 60.0, 13.0, 20.0)
SIGNED = {"set_by": "Board of Nowhere", "set_on": "2025-03-03"}
TOLERANCES = {
    name: {"value": value, **SIGNED}
    for name, value in (("lip_mm", 25), ("lip_trip_mm", 50), ("low_spot_mm", 20), ("low_spot_trip_mm", 60), ("planarity_mm", 13), ("straightedge_mm", 20))
}
MATERIAL = {"placed_t_per_m3": 1.7, "loose_t_per_m3": 1.55, **SIGNED}
WORDS = Words(pages.sections("en"))


def row(table: str, **given) -> dict:
    """A row of a result table as the store reads it: every column there, what is not given empty."""
    assert set(given) <= set(column_names(table)), sorted(set(given) - set(column_names(table)))
    return dict.fromkeys(column_names(table)) | given


def reads(table: str, *rows: dict) -> tuple[Read, ...]:
    """Rows of an operator's table as read; every cell must be one that `check` would let pass."""
    header = tuple(f.name for f in TABLES[table])
    found, problems = read(table, Rows(f"{table}.csv", header, tuple(enumerate(rows, start=2))))
    assert not problems, problems
    return found


@lru_cache
def layout(name: str = "softball-55", other: str | None = None) -> Layout:
    """A field whose second base lies north-east of home, with two slabs, on a coarse grid."""
    from shapely.geometry import box

    axis = np.array([np.sin(np.radians(30)), np.cos(np.radians(30))])
    second = tuple(float(v) for v in np.array(HOME) + axis * int(name.rsplit("-", 1)[1]) * 0.3048 * 2**0.5)
    slabs = tuple(
        Feature("stable", slab, box(HOME[0] + x, HOME[1] + y, HOME[0] + x + 2, HOME[1] + y + 2), {})
        for slab, x, y in (("dugout-first", 14.0, -2.0), ("a-very-long-name-for-a-small-slab-of-concrete", -12.0, 10.0))
    )
    return build(Drawing(FIELD, CRS, 0.5, name, other, HOME, second, features=slabs))


def config(**given) -> Config:
    return Config(**{"tolerances": TOLERANCES, "material": MATERIAL, "units": "us", **given})


def sayer(units: str = "us", ponds: dict | None = None, **given) -> Sayer:
    made = sayer_of(layout(), {"low_spots": []}, config(units=units, **given), WORDS)
    return replace(made, ponds=ponds or {})


def spot(place: str, depth: float | None, sigma: float | None = 2.0, survey: str = "three", **given) -> dict:
    """A low spot at a declared place, or a found pond."""
    at = next((p for p in layout().places if p.place_id == place), layout().places[0])
    return row("low_spots", **{
        "survey_id": survey, "low_spot_id": place, "near": place, "e": at.e, "n": at.n, "depth_mm": depth, "depth_sigma_mm": sigma,
        "ring_depth_mm": depth, "ring_depth_sigma_mm": sigma, "area_m2": 2.5, "volume_m3": 0.06, "volume_sigma_m3": 0.01, "fill_tonnes": 0.1,
        "tolerance_mm": 20.0, **given,
    })  # fmt: skip


def water(depth: float, volume: float, sigma: float = 4.0, full: float = 0.8, **given) -> dict:
    """Columns of a low spot in which water stands."""
    held = dict.fromkeys(("ponded_2mm_m3", "ponded_5mm_m3", "ponded_m3", "ponded_25mm_m3"), volume)
    return held | {"ponded_depth_mm": depth, "ponded_depth_sigma_mm": sigma, "ponded_area_m2": 4.0, "ponded_sigma_m3": 0.1 * volume, "full_at_mm": full,
                   "catchment_m2": 60.0, "pour_e": HOME[0], "pour_n": HOME[1] + 20.0, **given}  # fmt: skip


def station(at: float | None, height: float | None, sigma: float | None = 4.0, kind: str = "lip", edge: str = "outer", survey: str = "three", **given) -> dict:
    """One metre of an edge; `at` None: the mean over all of it."""
    line = next(e for e in layout().edges if e.edge_id == edge)
    e, n = (None, None) if at is None else (float(v) for v in line.at(np.array(at)))
    half = None if sigma is None else 1.96 * sigma
    ends = {} if height is None else {"rise_low95_mm": height - half, "rise_high95_mm": height + half}
    return row("lip", **{
        "survey_id": survey, "edge_id": edge, "station_m": at, "e": e, "n": n, "kind": kind, "height_mm": height, "height_sigma_mm": sigma,
        "calibration": "none", "edge_source": "fitted", **ends, **given,
    })  # fmt: skip


def edge(heights: dict[range, float] | None = None, base: float = 5.0, length: int = 40, **given) -> list[dict]:
    """Stations of one edge at a base height, some ranges of them at another."""
    special = {k: v for span, v in (heights or {}).items() for k in span}
    return [station(k + 0.5, special.get(k, base), **given) for k in range(length)]


def zone(name: str = "skin", planarity: float | None = 5.0, sigma: float | None = 1.0, verdict: str = "good", survey: str = "three", **given) -> dict:
    return row("zones", **{
        "survey_id": survey, "zone": name, "area_m2": 900.0, "planarity_mm": planarity, "planarity_sigma_mm": sigma, "slope_pct": 0.8,
        "slope_sigma_pct": 0.05, "fall_bearing_deg": 120.0, "verdict": verdict, **given,
    })  # fmt: skip


def grass(at: float | None, mm: float | None, sigma: float | None = 8.0, against: str = "layout", edge_id: str = "outer", survey: str = "three") -> list[dict]:
    """One row of grass_edge.csv: grass come in against the edge that was drawn, or since the first survey; None: not seen."""
    line = next(e for e in layout().edges if e.edge_id == edge_id)
    e, n = (None, None) if at is None else (float(v) for v in line.at(np.array(at)))
    area = None if mm is None else mm / 1000 * 5
    given = {"encroached_mm": mm, "encroached_sigma_mm": sigma, "skin_lost_m2": area, "since_last_mm": mm, "since_last_sigma_mm": sigma}
    if against == "layout":
        given |= {"encroached_sigma_mm": 200.0, "since_baseline_mm": mm, "since_baseline_sigma_mm": sigma, "since_baseline_m2": area}
    if mm is None:
        given = {"reason": "nothing tells grass from skin"}
    return [row("grass_edge", survey_id=survey, edge_id=edge_id, station_m=at, e=e, n=n, against=against, told_by="not_seen" if mm is None else "colour",
                seen_m=5.0 if mm is not None else 0.0, last_survey="two", **given)]  # fmt: skip


def quality(survey: str, verdict: str = "absolute", reason: str | None = None, **given) -> dict:
    figures = {} if verdict == "refused" else {
        "points_read": 900_000, "points_ground": 899_000, "covered_pct": 99.0, "tie_model": "drift", "tie_shift_mm": 20.0, "tie_shift_sigma_mm": 4.0,
        "tie_residual_mm": 6.0, "surface_sigma_mm": 9.0, "checkpoints": 0,
    }  # fmt: skip
    return row("survey_quality", survey_id=survey, flown_on=DAYS[survey], verdict=verdict, reason=reason, **figures, **given)


def seen(spots: list[dict] = (), lips: list[dict] = (), zones: list[dict] | None = None, limits: Limits = LIMITS, survey: str = "three") -> Shown:
    """What one survey shows; its edge is good where nothing is said of it."""
    rows = {"low_spots": spots, "lip": lips or edge(), "zones": [zone()] if zones is None else zones}
    rows = {name: [{**r, "survey_id": survey} for r in found] for name, found in rows.items()}
    return shown(survey, DAYS[survey], rows, limits, {"outer": 40.0})


def stood(*shown_by: Shown, walks: tuple[dict, ...] = (), limits: Limits = LIMITS) -> Standing:
    """A field over some surveys and walks."""
    rows = {"survey_quality": [quality(s.survey_id) for s in shown_by]} | {
        name: [r for s in shown_by for r in s.rows.get(name, ())] for name in ("lip", "low_spots", "zones", "grass_edge", "mix_depth")
    }
    return standing(FIELD, rows, [s.survey_id for s in shown_by], walked(*walks), limits, {"outer": 40.0})


def walked(*walks: dict) -> tuple[Read, ...]:
    """Rows of walks.csv; what a row leaves out stands at an ordinary value."""
    usual = {"field_id": FIELD, "walked_on": "2026-04-09", "item": "low spot", "place": "second", "finding": "looked at"}
    return reads("walks", *({"walk_id": f"walk-{k}", **usual, **w} for k, w in enumerate(walks)))


def hazards_of(*shown_by: Shown, walks: tuple[dict, ...] = (), limits: Limits = LIMITS, read: tuple[dict, ...] = ()):
    return hazards(FIELD, shown_by, walked(*walks), limits, reads("readings", *({"reading_id": f"r{k}", "field_id": FIELD, "kind": "seen", **r} for k, r in enumerate(read))))


def changed(zone_name: str, mean: float | None, sigma: float | None = 2.0, detected: bool = True, relative: bool = False, **given) -> dict:
    return row("change", **{
        "from_survey": "two", "to_survey": "three", "zone": zone_name, "mean_mm": mean, "mean_sigma_mm": sigma, "gain_m3": 2.0, "loss_m3": 3.0,
        "net_m3": -1.0, "net_sigma_m3": 2.0, "noise_m3": 2.0, "detected": detected, "relative": relative, "pair_tie_mm": 1.0, **given,
    })  # fmt: skip


def deeper(place: str, mm: float | None, sigma: float | None = 2.0, detected: bool = True) -> dict:
    return row("low_spot_change", from_survey="two", to_survey="three", low_spot_id=place, near=place, depth_change_mm=mm,
               depth_change_sigma_mm=sigma, detected=detected)  # fmt: skip


def grown(at: float | None, mm: float | None, sigma: float | None = 2.0, detected: bool = True, edge_id: str = "outer", canopy: float | None = 1.0) -> dict:
    """Of the range's upper end an eighth more: mix hidden between the blades."""
    low, high = (None, None) if mm is None or sigma is None else (mm - 1.96 * sigma, 1.125 * (mm + 1.96 * sigma))
    return row("lip_change", from_survey="two", to_survey="three", edge_id=edge_id, station_m=at, growth_mm=mm, growth_sigma_mm=sigma,
               detected=detected, canopy_change_mm=canopy, growth_low95_mm=low, growth_high95_mm=high)  # fmt: skip


def balanced(skin: float | None = -2.0, left: float | None = -1.0, earlier: str = "two", **given) -> dict:
    """A pair's balance; without a figure of the skin there is none."""
    told = {} if skin is None else {
        "skin_m3": skin, "skin_sigma_m3": 2.0, "edge_m3": 0.5, "edge_sigma_m3": 0.1, "beyond_m3": 0.1, "beyond_sigma_m3": 0.8, "delivered_m3": 0.0,
        "delivered_sigma_m3": 0.0, "unexplained_m3": left, "unexplained_sigma_m3": 2.4, "balanced": abs(left or 0.0) <= 1.96 * 2.4, "moved_p": 0.4,
    }  # fmt: skip
    return row("balance", from_survey=earlier, to_survey="three", **{"along_passes": "cannot_tell", "out_of_corner": "cannot_tell", **told, **given})


def mix(zone: str = "skin", depth: float | None = 68.0, sigma: float | None = 3.0, verdict: str = "work", survey: str = "three", **given) -> dict:
    """Depth of the mix of one zone, by ten cores."""
    known = {} if depth is None else {"depth_mm": depth, "depth_sigma_mm": sigma, "blade_mm": 12.0}
    return row("mix_depth", **{
        "survey_id": survey, "zone": zone, "basis": "cores", "cores": 10, "oldest_core": "2025-04-09", "newest_core": "2026-04-01", "told_pct": 100.0,
        "least_mm": 75.0, "probability": 0.97, "thin_m2": 300.0, "verdict": verdict, "tonnes": 13.6, "tonnes_low95": 8.7, "tonnes_high95": 19.5, "loose_m3": 8.8,
        **known, **given,
    })  # fmt: skip


def record(survey: str, verdict: str = "absolute", **given) -> dict:
    """survey.json of one survey, as far as the pages read it."""
    patches = [
        {"id": "home-plate", "residual_mm": 4.0, "expected_mm": 6.0, "used": True},
        {"id": "a-very-long-name-for-a-small-slab-of-concrete", "residual_mm": -22.0, "expected_mm": 5.0, "used": False},
    ]  # fmt: skip
    return {
        "survey_id": survey, "flown_on": DAYS[survey], "source": "photogrammetry", "verdict": verdict, "baseline": "one", "reason_code": "",
        "tie": {"model": "drift", "patches": patches, "moved": ["a-very-long-name-for-a-small-slab-of-concrete"]}, "figures": {"checkpoints": 0},
        "horizontal": {"e_mm": 3.0, "n_mm": -4.0, "sigma_mm": 8.0, "known": True}, "edges": [{"id": "outer", "source": "fitted"}],
        "removed": {"above": 1200, "below": 3}, "notes": ["one.laz: Heights are in metres, as the file says."], **given,
    }  # fmt: skip


def rule(item: str, measured: float | None, sigma: float | None, rule_mm: float | None, tolerance: float | None, verdict: str, reason: str = "", survey: str = "three", layout: str = "softball-55") -> dict:
    """One item of the rulebook check."""
    return row("rulebook", survey_id=survey, layout=layout, item=item, measured_mm=measured, sigma_mm=sigma, rule_mm=rule_mm, tolerance_mm=tolerance,
               rule_source="a book of Nowhere", verdict=verdict, reason=reason)  # fmt: skip


def book() -> list[dict]:
    """Nothing outside; one item of each other kind."""
    return [
        rule("home-first", 16764.0, 7.0, 16764.0, 25.0, "within", "by tape"), rule("first-second", None, None, 16764.0, 25.0, "not_seen", "not located: first"),
        rule("fall-home-first", -95.0, 9.0, 0.0, None, "cannot_tell", "no tolerance: base_line_pct; -0.57 % +/- 0.11 %"),
        rule("plate-level-across", -14.0, 7.0, 0.0, 10.0, "cannot_tell", "-14 +/- 12 mm against 10 mm"),
        rule("arc-centre-from-home", 10800.0, 40.0, None, None, "cannot_tell", "no rule to hold it against; no tolerance is kept for it: told, not judged; 0.4 ft beyond the front of the pitcher's plate"),
        rule("mound-height", None, None, 0.0, 25.0, "not_seen", "home plate was not seen"),
    ]  # fmt: skip


def tables(**given) -> dict[str, list[dict]]:
    """The tables of a field with an unsafe second base, a tall lip, a pond that noise may make, and two kinds of change."""
    lips = edge({range(8, 14): 62.0, range(24, 30): 34.0}) + edge(base=30.0, kind="not_enough_evidence", edge="foul-first", length=12)
    lips += edge(base=31.0, kind="low_skin", edge="home", length=9) + [station(0.5, None, None, "not_enough_evidence", "foul-third")]
    pond = spot("pond-1", 12.0, None, e=HOME[0] + 3, n=HOME[1] + 9, volume_m3=None, fill_tonnes=None, probability=None, reason="noise alone makes so deep a pond")
    wet = water(26.0, 0.05, pour_e=HOME[0] + 9, pour_n=HOME[1] + 14, lip_held_m3=0.03, lip_held_sigma_m3=0.004)
    made = {
        "survey_quality": [quality("one"), quality("two"), quality("three")],
        "lip": lips + edge(survey="two"), "low_spots": [spot("second", 70.0, **wet), spot("first", 30.0), spot("third", 19.5), pond, spot("second", 45.0, survey="two")],
        "zones": [zone(), zone("second", 4.0, verdict="unsafe"), zone(survey="two"), zone(survey="one")],
        "change": [changed("skin", -4.0), changed("second", -20.0), changed("first", 1.0, detected=False)],
        "low_spot_change": [deeper("second", 25.0), deeper("first", 1.0, detected=False)],
        "lip_change": [grown(None, 4.0), grown(12.5, 9.0), grown(None, 0.5, detected=False, edge_id="home")],
        "rulebook": book(),
        "grass_edge": [*grass(None, 40.0), *grass(12.5, 90.0), *grass(None, None, edge_id="home")],
        "trend": [
            row("trend", measure="ring_depth", zone="second", rate_mm_per_year=40.0, rate_sigma_mm_per_year=4.0, surveys=4, detected=True),
            row("trend", measure="lip", edge_id="outer", rate_mm_per_year=3.0, rate_sigma_mm_per_year=4.0, surveys=4, detected=False),
        ],
        "forecast": [
            row("forecast", measure="ring_depth", zone="second", on=day, value_mm=70 + 10 * k, low95_mm=58 + 10 * k, high95_mm=82 + 10 * k, surveys=4, by_use=False, season=False, last_inside=True)
            for k, day in enumerate(("2026-07-09", "2026-10-08"))
        ] + [row("forecast", measure="lip", edge_id="outer", surveys=2, reason="not enough surveys yet: 2 of 3")],
        "mix_depth": [], "balance": [balanced()], "works_record": [], "as_built": [], "progress": [],
    }  # fmt: skip
    assert set(made) == set(FIELD_TABLES)
    return made | given


def given(units: str = "us", **over) -> FieldInput:
    """What a page is made from; arguments replace single parts."""
    made, grid = layout(), layout().grid
    y, x = np.mgrid[: grid.ny, : grid.nx]
    height = 300.0 + 0.004 * x + 0.01 * np.sin(y / 5.0)
    height[10:14, 20:24] = np.nan
    wet = np.where(layout().grid.mask(made.zones["second"]), 0.02, 0.0)
    run = {"e": [HOME[0] + 0.2 * k for k in range(40)], "n": [HOME[1] + 6 + 0.1 * k for k in range(40)], "share": [0.9] * 20 + [0.4] * 20}
    change = np.where(layout().grid.mask(made.zones["second"]), -0.02, 0.0)
    detected = np.where(change < 0, -1, 0).astype(np.int8)
    surveys = reads("surveys", *(
        {"survey_id": s, "flown_on": day, "fields": FIELD, "path": f"{s}.laz", "source": "photogrammetry", "surface_state": state}
        for (s, day), state in zip(DAYS.items(), ("dragged;dry", "dormant;wet", "dragged;dry"))
    ))  # fmt: skip
    parts = {
        "row": reads("fields", {"field_id": FIELD, "crs": CRS, "layout": "softball-55", "name": "Mill Pond Field", "site": "mill-pond"})[0],
        "surveys": surveys,
        "works": reads("works", {
            "work_id": "w1", "field_id": FIELD, "done_on": "2026-02-01", "work": "mix_add", "mix_amount": "2", "mix_unit": "tonne", "by": "crew",
        }),
        "walks": (), "settings": config(units=units, report={"title": "Nowhere Parks"}), "layout": made, "edges": made.edges, "tables": tables(),
        "readings": reads("readings", {
            "reading_id": "r1", "field_id": FIELD, "read_on": "2026-03-30", "kind": "seen", "value": "hole", "place": "second", "notes": "ankle <deep> & cone",
        }),
        "records": {s: record(s) for s in DAYS},
        "provenance": {"pairs": [], "inputs": {"one": [{"path": "one.laz", "sha256": "0" * 64}]}, "versions": {"skinplane": "0.1.0"}},
        "readings_wanted": {"outer": 5, "foul-first": 12}, "elevation": height, "change": change, "detected": detected,
        "standing_water": wet, "water_paths": (run,),
    }  # fmt: skip
    return FieldInput(**parts | over)


def field_seen(now: Standing, name: str = "Mill Pond Field", field_id: str = FIELD, found: dict | None = None, units: str = "us") -> FieldSeen:
    return FieldSeen(field_id, name, "mill-pond", now, found or tables(), sayer(units), sayer("metric"), config().material)


def surface(survey: str, rise_m: float = 0.0, seed: int = 1, tie: float | None = 3.0, sigma: float = 0.002) -> Surface:
    """A tilted skin with noise, raised as a whole and dug at one place on date c."""
    grid = layout().grid
    e, n = grid.mesh()
    z = 100.0 + 0.01 * (e - grid.west) - 0.004 * (n - grid.north) + np.random.default_rng(seed).normal(0.0, 0.001, (grid.ny, grid.nx)) + rise_m
    if survey == "c":
        z[grid.ny // 2 - 3 : grid.ny // 2 + 3, grid.nx // 2 - 3 : grid.nx // 2 + 3] -= 0.040
    z[:4, :] = np.nan
    return Surface(survey, f"2025-0{'abc'.index(survey) + 1}-01", z, np.full(z.shape, sigma), tie)
