"""How many held-back last surveys the forecast's 95 % bands hold, on invented fields whose truth is known.

    python benchmarks/forecast.py                    every condition, 250 fields each; some minutes
    python benchmarks/forecast.py --fields 1000 --only steady use

A field: four edges' lip and lip growth since the baseline, six places' ring depth, four zones' mean height since the baseline, the
skin's evenness, gap under the straightedge and fall, through the very step that writes forecast.csv: what it says of the survey
held back is counted. A survey errs by its own scatter and, in the heights, by one tie that all zones share. Wanted: 90-98 %.

conditions : steady wear; `use`, wear by hours of play told in a table, `untold`, the same without the table; `lumps`, wear whose
             rate differs from span to span by half of itself; `reset`, work two thirds of the way; `epoch`, a laser grade there;
             `season`, a swing of 3 mm within the year; `worse` and `better`, true scatter 1.3 and 0.8 times what is stated
far        : share of the 95 % bands that hold a survey one and two years after the last, steady wear
distrust   : share of fields whose page would say that too few fell inside, though the bands are right
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pipeline.report.forecast_block import ENOUGH, TRUSTED  # noqa: E402
from pipeline.settings import Config  # noqa: E402
from pipeline.steps.history_forecast import forecasts  # noqa: E402

FIRST = dt.date(2022, 3, 20)
TIE_MM = 4.0
OWN_MM = {"lip": 3.5, "growth": 2.5, "ring_depth": 3.0, "mean_height": 1.5, "planarity": 0.8, "straightedge": 1.5, "slope": 0.06}  # of slope %
LEVEL = {"lip": (8, 45), "growth": (0, 0), "ring_depth": (0, 45), "mean_height": (0, 0), "planarity": (4, 14), "straightedge": (8, 25), "slope": (0.3, 1.4)}
RATE = {"lip": 6.0, "growth": 6.0, "ring_depth": 8.0, "mean_height": -5.0, "planarity": 1.5, "straightedge": 2.5, "slope": 0.04}  # a year, about
PLACES = {"lip": 4, "growth": 4, "ring_depth": 6, "mean_height": 4, "planarity": 1, "straightedge": 1, "slope": 1}
MONTH_HOURS = (0, 0, 15, 45, 60, 65, 55, 50, 40, 25, 8, 0)
RESET = {"lip": "lip_cut", "growth": "lip_cut", "ring_depth": "level", "planarity": "level", "straightedge": "level", "slope": "level", "mean_height": "level"}


@dataclass(frozen=True)
class Kind:
    """What one condition changes."""

    by_use: bool = False
    told: bool = False
    lumps: float = 0.0
    reset: str = ""
    season: float = 0.0
    error: float = 1.0


KINDS = {
    "steady": Kind(), "use": Kind(by_use=True, told=True), "untold": Kind(by_use=True), "lumps": Kind(lumps=0.5), "reset": Kind(reset="works"),
    "epoch": Kind(reset="laser_grade"), "season": Kind(season=3.0), "worse": Kind(error=1.3), "better": Kind(error=0.8),
}  # fmt: skip


def flown(rng: np.random.Generator, count: int) -> list[dt.date]:
    """Days of so many surveys, quarterly or so, a quarter of them skipped."""
    out, at = [], FIRST
    while len(out) < count:
        if rng.uniform() > 0.25 or not out:
            out.append(at + dt.timedelta(days=int(rng.integers(-20, 21))))
        at += dt.timedelta(days=91)
    return out


def use_rows(rng: np.random.Generator, days: list[dt.date]) -> list[dict]:
    """A table of use: every month alike in its season, each its own factor."""
    return [{"month": f"{y}-{m + 1:02d}", "hours": float(h * rng.uniform(0.5, 1.5))} for y in range(FIRST.year, days[-1].year + 1) for m, h in enumerate(MONTH_HOURS)]


def worn(rng: np.random.Generator, days: list[dt.date], use: list[dict], kind: Kind) -> np.ndarray:
    """Wear up to each day, (T,), in years' worth of it."""
    years = np.array([(d - days[0]).days / 365.25 for d in days])
    if kind.by_use:
        from pipeline.change.use import hours_until, monthly

        return hours_until(days, monthly(use), days[0]) / sum(MONTH_HOURS)
    steps = np.diff(years, prepend=0.0)
    return np.cumsum(steps * (1 + kind.lumps * rng.standard_normal(len(steps)))) if kind.lumps else years


def surveyed(rng: np.random.Generator, count: int, kind: Kind, days: list[dt.date], worked: int) -> tuple[dict, dict, list, list, list]:
    """Records, rows, pairs, works and use of one field."""
    use = use_rows(rng, days)
    wear = worn(rng, days, use, kind)
    names = [f"s{k:02d}" for k in range(count)]
    surveys = {s: {"flown_on": d.isoformat(), "baseline": names[0]} for s, d in zip(names, days)}
    wave = kind.season * np.sin(2 * np.pi * np.array([d.timetuple().tm_yday for d in days]) / 365.25)
    tie = TIE_MM * rng.standard_normal(count)
    rows: dict[str, list[dict]] = {"lip": [], "lip_change": [], "low_spots": [], "change": [], "zones": [{"survey_id": s, "zone": "skin"} for s in names]}
    for measure, places in PLACES.items():
        for place in range(places):
            rate = RATE[measure] * rng.gamma(4, 0.25)
            true = rng.uniform(*LEVEL[measure]) + rate * wear + wave * (measure not in ("slope", "planarity"))
            if kind.reset in ("laser_grade",) or kind.reset and measure in RESET:
                true = true - (np.arange(count) >= worked) * 0.7 * true[min(worked, count - 1)]
            sigma = OWN_MM[measure] * rng.uniform(0.7, 1.4)
            _told(rows, names, measure, f"{measure[:2]}{place}", true + kind.error * sigma * rng.standard_normal(count), sigma, tie * kind.error)
    pairs = [{"from_survey": names[0], "to_survey": s, "tie_shift_sigma_mm": TIE_MM * 2**0.5, "relative": False} for s in names[1:]]
    kinds = {"works": ("level", "lip_cut"), "laser_grade": ("laser_grade",), "": ()}[kind.reset]
    return surveys, rows, pairs, [{"work": w, "done_on": days[worked] - dt.timedelta(days=3)} for w in kinds], use if kind.told else []


def _told(rows: dict, names: list[str], measure: str, place: str, seen: np.ndarray, sigma: float, tie: np.ndarray) -> None:
    """Puts the figures where the step looks for them."""
    if measure == "lip":
        rows["lip"] += [{"survey_id": s, "edge_id": place, "station_m": None, "height_mm": v, "height_sigma_mm": sigma} for s, v in zip(names, seen)]
    elif measure == "ring_depth":
        rows["low_spots"] += [{"survey_id": s, "low_spot_id": place, "ring_depth_mm": v, "ring_depth_sigma_mm": sigma} for s, v in zip(names, seen)]
    elif measure == "growth":
        since = seen - seen[0]
        rows["lip_change"] += [{"from_survey": names[0], "to_survey": s, "edge_id": place, "station_m": None, "growth_mm": v, "growth_sigma_mm": sigma * 2**0.5} for s, v in zip(names[1:], since[1:])]
    elif measure == "mean_height":
        since, both = seen + tie - seen[0] - tie[0], np.hypot(sigma, TIE_MM) * 2**0.5
        rows["change"] += [{"from_survey": names[0], "to_survey": s, "zone": place, "mean_mm": v, "mean_sigma_mm": both, "relative": False} for s, v in zip(names[1:], since[1:])]
    else:
        value, its = ("slope_pct", "slope_sigma_pct") if measure == "slope" else (f"{measure}_mm", f"{measure}_sigma_mm")
        for z, v in zip(rows["zones"], seen):
            z |= {value: max(v, 0.0), its: sigma}


def tried(rng: np.random.Generator, count: int, kind: Kind) -> list[tuple[str, bool]]:
    """Measure of each series of one field that has a survey to hold back, and whether its band held it."""
    days = flown(rng, count)
    told = surveyed(rng, count, kind, days, max(count * 2 // 3 - 2, 1) if kind.reset else count)
    surveys, rows, pairs, works, use = told
    found = forecasts(SimpleNamespace(settings=Config(), rows={"works": works, "use": use}), surveys, rows, pairs)
    first = {(r["measure"], r.get("edge_id"), r.get("zone")): r for r in found if r.get("last_inside") is not None}
    return [(m, bool(r["last_inside"])) for (m, _, _), r in first.items()]


def far(rng: np.random.Generator, count: int, fields: int) -> list[float]:
    """Of bands one and two years on, the share that holds a survey then."""
    inside: list[tuple[bool, bool]] = []
    for _ in range(fields):
        days = flown(rng, count)
        later = [days[-1] + dt.timedelta(days=round(y * 365.25)) for y in (1, 2)]
        surveys, rows, _, _, _ = surveyed(rng, count + 2, Kind(), days + later, count)
        last = sorted(surveys)[count:]
        held = {s: v for s, v in surveys.items() if s not in last}
        then = {(r["low_spot_id"], s): r["ring_depth_mm"] for r in rows["low_spots"] if (s := r["survey_id"]) in last}
        few = {k: [r for r in v if r.get("survey_id") not in last and r.get("to_survey") not in last] for k, v in rows.items()}
        made = forecasts(SimpleNamespace(settings=Config(), rows={"works": [], "use": []}), held, few)
        for place in {p for p, _ in then}:
            bands = [r for r in made if r["measure"] == "ring_depth" and r["zone"] == place and r.get("on")][-2:]
            inside.append(tuple(b["low95_mm"] <= then[place, s] <= b["high95_mm"] for b, s in zip(bands, last)))
    return list(np.mean(inside, axis=0))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--fields", type=int, default=250)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--only", nargs="*", choices=(*KINDS, "far"), default=[*KINDS, "far"])
    given = asked.parse_args()
    counts = (4, 5, 6, 8, 12, 16)
    print("share of held-back last surveys inside their 95 % band, by surveys flown; distrust in brackets")
    print(f"{'':10s}" + "".join(f"{c:>14d}" for c in counts))
    by: dict[str, list[bool]] = {}
    for name in (k for k in given.only if k != "far"):
        line = []
        for count in counts:
            rng = np.random.default_rng([given.seed, count, list(KINDS).index(name)])
            fields = [f for _ in range(given.fields) if (f := tried(rng, count, KINDS[name]))]
            flat = [hit for f in fields for hit in f]
            if name in ("steady", "use", "lumps"):
                for measure, hit in flat:
                    by.setdefault(measure, []).append(hit)
            wrong = np.mean([sum(h for _, h in f) < TRUSTED * len(f) for f in fields if len(f) >= ENOUGH] or [0.0])
            line.append(f"{np.mean([h for _, h in flat]):.3f} ({wrong:.2f})" if flat else "-")
        print(f"{name:10s}" + "".join(f"{x:>14s}" for x in line), flush=True)
    if by:
        print("by measure (steady, use, lumps): " + ", ".join(f"{m} {np.mean(h):.3f}" for m, h in by.items()))
    if "far" in given.only:
        rows = {c: far(np.random.default_rng([given.seed, c, 99]), c, given.fields) for c in counts}
        for k, years in enumerate((1, 2)):
            print(f"{f'{years} year':10s}" + "".join(f"{rows[c][k]:>14.3f}" for c in counts))


if __name__ == "__main__":
    main()
