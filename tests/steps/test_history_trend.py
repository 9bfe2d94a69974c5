"""Rows of trend.csv from rows of pairs: what a series is, what its dates share, where it starts anew."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.settings import Config
from pipeline.steps.history_trend import trends

DAYS = [dt.date(2024, 4, 1) + dt.timedelta(days=d) for d in (0, 90, 185, 270, 365, 460)]
NAMES = [f"s{k}" for k in range(len(DAYS))]
YEARS = np.array([(d - DAYS[0]).days / 365.25 for d in DAYS])
ZONES = ("first", "home", "second", "skin", "third")
TIE, OWN = 4.0, 2.0  # mm, one date


def work(kind: str, on: str, zone: str | None = None) -> dict:
    return {"work": kind, "done_on": dt.date.fromisoformat(on)} | ({"zone": zone} if zone else {})


def run(change=(), lip_change=(), pairs=(), works=(), names=NAMES, days=DAYS, lip=(), low_spots=(), zones=()):
    job = SimpleNamespace(settings=Config(), rows={"works": list(works)})
    surveys = {s: {"flown_on": d.isoformat(), "baseline": names[0]} for s, d in zip(names, days)}
    rows = {"lip": list(lip), "low_spots": list(low_spots), "zones": list(zones), "change": list(change), "lip_change": list(lip_change)}
    return {(r["measure"], r.get("edge_id") or r.get("zone")): r for r in trends(job, surveys, rows, list(pairs))}


def grown(values: np.ndarray, sigmas: np.ndarray, edge: str = "outer") -> list[dict]:
    """Growth since the first survey; its own row is not there, as no survey is compared with itself."""
    return [
        {"from_survey": NAMES[0], "to_survey": s, "edge_id": edge, "station_m": None, "growth_mm": float(v), "growth_sigma_mm": float(g)}
        for s, v, g in zip(NAMES[1:], values[1:] - values[0], sigmas[1:])
    ]  # fmt: skip


def heights(values: np.ndarray, sigma: float, tie: float, relative: bool = False) -> tuple[list[dict], list[dict]]:
    """Rows of change and records of pairs from values (T, zones), each pair's whole s.d. and its tie's."""
    rows = [
        {"from_survey": NAMES[0], "to_survey": s, "zone": z, "mean_mm": float(v), "mean_sigma_mm": sigma, "relative": relative}
        for s, line in zip(NAMES[1:], values[1:] - values[0]) for z, v in zip(ZONES, line)
    ]  # fmt: skip
    pairs = [{"from_survey": NAMES[0], "to_survey": s, "relative": relative, "tie_shift_sigma_mm": tie} for s in NAMES[1:]]
    return rows, pairs


def drawn(rng, shared: float = TIE, own: float = OWN, rate: float = 3.0) -> np.ndarray:
    return rate * YEARS[:, None] + shared * rng.standard_normal((6, 1)) + own * rng.standard_normal((6, len(ZONES)))


@pytest.mark.analytic
def test_growth_against_the_baseline_gives_its_rate_with_the_baseline_among_the_dates():
    found = run(lip_change=grown(5.0 * YEARS, np.full(6, 2.0)))["growth", "outer"]
    assert found["rate_mm_per_year"] == pytest.approx(5.0)
    assert found["surveys"] == 6 and found["detected"]


@pytest.mark.independent
def test_without_a_shared_error_it_is_ordinary_least_squares_on_all_dates():
    """statsmodels OLS on the heights themselves, which nobody knows: differences to the baseline must give the same rate, and
    as sigma that of equal errors at every date, although the baseline's error is in all differences."""
    rng = np.random.default_rng(1)
    heights_at = 4.0 * YEARS + 1.5 * rng.standard_normal(6)
    found = run(lip_change=grown(heights_at, np.full(6, 2.0 * 2**0.5)))["growth", "outer"]
    theirs = sm.OLS(heights_at, sm.add_constant(YEARS)).fit()
    assert found["rate_mm_per_year"] == pytest.approx(theirs.params[1], rel=1e-6)
    assert found["rate_sigma_mm_per_year"] == pytest.approx(2.0 * theirs.bse[1] / np.sqrt(theirs.scale) * max(np.sqrt(theirs.scale) / 2, 1.0), rel=1e-6)


@pytest.mark.independent
def test_with_a_shared_error_it_is_generalised_least_squares_over_all_zones():
    """statsmodels GLS with every date's tie in the covariance of all zones."""
    values = drawn(np.random.default_rng(2))
    rows, pairs = heights(values, np.hypot(TIE, OWN) * 2**0.5, TIE * 2**0.5)
    found = run(change=rows, pairs=pairs)
    k = len(ZONES)
    date = np.repeat(np.arange(6), k)
    v = np.where(date[:, None] == date, TIE**2, 0.0) + OWN**2 * np.eye(6 * k)
    theirs = sm.GLS((values - values[0]).ravel(), np.kron(np.column_stack([np.ones(6), YEARS]), np.eye(k)), sigma=v).fit()
    for j, zone in enumerate(ZONES):
        row = found["mean_height", zone]
        assert row["rate_mm_per_year"] == pytest.approx(theirs.params[k + j], rel=1e-6)
        sigma = theirs.bse[k + j] / np.sqrt(theirs.scale) * np.sqrt(max(theirs.scale, 1.0))
        assert row["rate_sigma_mm_per_year"] == pytest.approx(sigma, rel=1e-4)


@pytest.mark.analytic
def test_the_interval_of_a_zones_rate_holds_and_ties_taken_as_independent_do_not():
    """The tie is twice the zones' own error. Taken for each zone's own and averaged away with the others it would not do: the
    mean rate of all zones would be sure to a fraction of what it is."""
    rng = np.random.default_rng(3)
    hit = mean_hit = naive_hit = total = 0
    for _ in range(220):
        rows, pairs = heights(drawn(rng), np.hypot(TIE, OWN) * 2**0.5, TIE * 2**0.5)
        found = [run(change=rows, pairs=pairs)["mean_height", z] for z in ZONES[:1]][0]
        every = [r for (m, _), r in run(change=rows, pairs=pairs).items() if m == "mean_height"]
        hit += abs(found["rate_mm_per_year"] - 3.0) < 1.96 * found["rate_sigma_mm_per_year"]
        mean = np.mean([r["rate_mm_per_year"] for r in every])
        naive = np.sqrt(np.mean([r["rate_sigma_mm_per_year"] ** 2 for r in every]) / len(every))
        floor = TIE / np.sqrt(np.sum((YEARS - YEARS.mean()) ** 2))
        naive_hit += abs(mean - 3.0) < 1.96 * naive
        mean_hit += abs(mean - 3.0) < 1.96 * np.hypot(floor, OWN / len(every) ** 0.5 / np.sqrt(np.sum((YEARS - YEARS.mean()) ** 2)))
        total += 1
    assert 0.92 <= hit / total <= 0.985
    assert 0.92 <= mean_hit / total <= 0.985
    assert naive_hit / total < 0.75


@pytest.mark.analytic
def test_relative_pairs_give_no_rate_of_height():
    rows, pairs = heights(drawn(np.random.default_rng(4)), 5.0, 4.0, relative=True)
    found = run(change=rows, pairs=pairs)["mean_height", "skin"]
    assert "rate_mm_per_year" not in found and "shape only" in found["reason"]


@pytest.mark.analytic
def test_a_cut_lip_and_added_mix_start_their_own_measure_anew_and_no_other():
    values = 4.0 * YEARS
    rows, pairs = heights(np.repeat(values[:, None], len(ZONES), axis=1), 5.0, 4.0)
    given = {"lip_change": grown(values, np.full(6, 2.0)), "change": rows, "pairs": pairs}
    cut = run(**given, works=[work("lip_cut", "2024-05-01")])
    assert cut["growth", "outer"]["surveys"] == 5 and cut["mean_height", "skin"]["surveys"] == 6
    assert cut["growth", "outer"]["rate_mm_per_year"] == pytest.approx(4.0)
    mixed = run(**given, works=[work("mix_add", "2024-05-01")])
    assert mixed["growth", "outer"]["surveys"] == 6 and mixed["mean_height", "skin"]["surveys"] == 5
    filled = run(**given, works=[work("level", "2024-05-01", "first")])
    assert filled["mean_height", "first"]["surveys"] == 5 and filled["mean_height", "second"]["surveys"] == 6
    graded = run(**given, works=[work("laser_grade", "2024-11-01")])
    assert graded["growth", "outer"]["reason"].startswith("too short") and graded["mean_height", "skin"]["reason"].startswith("too short")


@pytest.mark.analytic
def test_a_newer_baseline_turns_the_sign_of_what_came_before_it():
    """The baseline of a field may be its fourth survey: earlier ones are compared with it the other way round."""
    rows = [
        {"from_survey": s if k < 3 else "s3", "to_survey": "s3" if k < 3 else s, "edge_id": "outer", "station_m": None,
         "growth_mm": abs(5.0 * (YEARS[k] - YEARS[3])), "growth_sigma_mm": 2.0} for k, s in enumerate(NAMES) if k != 3
    ]  # fmt: skip
    job = SimpleNamespace(settings=Config(), rows={"works": []})
    surveys = {s: {"flown_on": d.isoformat(), "baseline": "s3"} for s, d in zip(NAMES, DAYS)}
    found = trends(job, surveys, {"lip": [], "low_spots": [], "zones": [], "change": [], "lip_change": rows}, [])
    assert found[0]["rate_mm_per_year"] == pytest.approx(5.0)


@pytest.mark.analytic
def test_two_years_of_surveys_tell_a_season_from_a_rate():
    days = [dt.date(2024, 1, 10) + dt.timedelta(days=int(d)) for d in np.arange(10) * 92]
    names = [f"s{k}" for k in range(10)]
    years = np.array([(d - days[0]).days / 365.25 for d in days])
    values = 3.0 * years + 6.0 * np.sin(2 * np.pi * years)
    rows = [
        {"from_survey": "s0", "to_survey": s, "edge_id": "outer", "station_m": None, "growth_mm": float(v - values[0]), "growth_sigma_mm": 1.5}
        for s, v in zip(names[1:], values[1:])
    ]  # fmt: skip
    found = run(lip_change=rows, names=names, days=days)["growth", "outer"]
    assert found["rate_mm_per_year"] == pytest.approx(3.0, abs=1e-6)
    assert found["season_mm"] == pytest.approx(6.0, abs=1e-6) and 0 < found["season_sigma_mm"] < 2
    short = run(lip_change=grown(5.0 * YEARS, np.full(6, 2.0)))["growth", "outer"]
    assert "season_mm" not in short
