"""trend.csv: rates over all dates of a field, by generalised least squares."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from pipeline.change.trend import Trend, fit_trends
from pipeline.jobs import Job
from pipeline.units import YEAR_DAYS

EPOCH_STARTS = ("laser_grade", "rebuild")
# What starts a measure anew beside an epoch; a work on one zone does so for that zone alone.
RESETS = {"lip": ("lip_cut", "sod"), "growth": ("lip_cut", "sod"), "mean_height": ("mix_add", "level"), "ring_depth": ("level",),
          "planarity": ("level",), "straightedge": ("level",), "slope": ("level",), "mix_depth": ("mix_add",), "encroachment": ("edge_recut", "lip_cut", "sod")}  # fmt: skip
OF_EDGES = ("lip", "growth", "encroachment")
LEAST_OWN_MM = 0.1  # a figure has some error of its own, or the fit has no weights
GRASS_ZONE = "turf_infield"  # what a survey sees of it is the grass


@dataclass(frozen=True)
class Series:
    """Figures of one measure at one place over the used surveys; NaN where a survey gives none.

    values, sigmas : (T,), mm
    shared         : (T,) part of each s.d. that all figures of the date share, mm
    reason         : why the figures cannot make a trend, whatever their number
    """

    measure: str
    name: str
    values: np.ndarray
    sigmas: np.ndarray
    shared: np.ndarray
    reason: str = ""


def trends(job: Job, surveys: dict[str, dict], rows: dict[str, list[dict]], pairs: list[dict] = ()) -> list[dict]:
    """A rate for each edge's lip, growth and grass come into the skin, each zone's mean height, each declared place's ring depth, the skin's planarity.

    surveys : survey.json of those not refused
    pairs   : records of the pairs, whose tie's s.d. all mean heights of a pair share
    A laser grade or a rebuild starts a new epoch, a lip cut or sod a new lip, added mix new heights: no trend runs across
    its own reset. Series of one measure are fitted together.
    """
    order, days = dated(surveys)
    if not order:
        return []
    years = np.array([(days[s] - days[order[0]]).days / YEAR_DAYS for s in order])
    works = job.rows["works"]
    families = series_of(surveys, rows, pairs)
    return [row for family in families for row in _rows(job, years, [since_reset(s, works, order, days) for s in family])]


def dated(surveys: dict[str, dict]) -> tuple[list[str], dict[str, dt.date]]:
    """Ids oldest first, and the day of each."""
    days = {s: dt.date.fromisoformat(r["flown_on"]) for s, r in surveys.items()}
    return sorted(days, key=lambda s: days[s]), days


def series_of(surveys: dict[str, dict], rows: dict[str, list[dict]], pairs: list[dict] = ()) -> tuple[list[Series], ...]:
    """All figures of a field over its surveys in the order of `dated`, a family for each measure; as `trends` says."""
    order, _ = dated(surveys)
    base = next((r["baseline"] for r in surveys.values() if "baseline" in r), "")
    skin = [z for z in rows["zones"] if z["zone"] == "skin"]
    return (
        levels(rows["lip"], order, "edge_id", "lip", "height_mm", "height_sigma_mm", whole="station_m"),
        _growths(rows["lip_change"], order, base),
        levels(rows["low_spots"], order, "low_spot_id", "ring_depth", "ring_depth_mm", "ring_depth_sigma_mm"),
        _heights(rows["change"], pairs, order, base),
        levels(skin, order, "zone", "planarity", "planarity_mm", "planarity_sigma_mm"),
        _encroached(rows.get("grass_edge", []), order, base),
    )


def levels(rows: list[dict], order: list[str], key: str, measure: str, value: str, sigma: str, whole: str | None = None) -> list[Series]:
    """Figures that each survey gives by itself."""
    out = []
    for name in sorted(dict.fromkeys(r[key] for r in rows if _told(r.get(value)))):
        mine = {r["survey_id"]: r for r in rows if r[key] == name and (whole is None or r.get(whole) is None)}
        got = [mine.get(s, {}) for s in order]
        values, sigmas = (_numbers(g.get(c) for g in got) for c in (value, sigma))
        out.append(Series(measure, name, values, sigmas, np.zeros(len(order))))
    return out


def _growths(rows: list[dict], order: list[str], base: str) -> list[Series]:
    """Growth of each whole edge since the baseline: growths add up, and need no tie."""
    whole = [r for r in rows if r["station_m"] is None and base in (r["from_survey"], r["to_survey"])]
    out = []
    for name in sorted({r["edge_id"] for r in whole if _told(r["growth_mm"]) and _told(r["growth_sigma_mm"])}):
        values, sigmas = _against(base, order, [r for r in whole if r["edge_id"] == name], "growth_mm", "growth_sigma_mm")
        out.append(Series("growth", name, values, _of_dates(sigmas, order, base), np.zeros(len(order))))
    return out


def _encroached(rows: list[dict], order: list[str], base: str) -> list[Series]:
    """Grass come into the skin along each whole edge since the baseline, whose own place is a date's like the others."""
    since = [{**r, "from_survey": base, "to_survey": r["survey_id"]} for r in rows if r["station_m"] is None and r["survey_id"] != base]
    out = []
    for name in sorted({r["edge_id"] for r in since if _told(r["since_baseline_mm"])}):
        values, sigmas = _against(base, order, [r for r in since if r["edge_id"] == name], "since_baseline_mm", "since_baseline_sigma_mm")
        out.append(Series("encroachment", name, values, _of_dates(sigmas, order, base), np.zeros(len(order))))
    return out


def _heights(rows: list[dict], pairs: list[dict], order: list[str], base: str) -> list[Series]:
    """Mean height of each zone since the baseline; what a pair's tie does not know all its zones share."""
    own = [r for r in rows if base in (r["from_survey"], r["to_survey"]) and r["zone"] != GRASS_ZONE]
    ties = {_other(p, base): p["tie_shift_sigma_mm"] for p in pairs if base in (p["from_survey"], p["to_survey"]) and not p["relative"]}
    shared = _numbers(ties.get(s) for s in order)
    out = []
    for name in sorted({r["zone"] for r in own}):
        mine = [r for r in own if r["zone"] == name and not r["relative"]]
        values, sigmas = _against(base, order, mine, "mean_mm", "mean_sigma_mm")
        alone = np.sqrt(np.maximum(sigmas**2 - np.nan_to_num(shared) ** 2, LEAST_OWN_MM**2))
        out.append(Series("mean_height", name, values, _of_dates(alone, order, base), np.nan_to_num(_of_dates(shared, order, base)),
                           "" if mine else "no absolute heights: stable ground carries the shape only"))  # fmt: skip
    return out


def _against(base: str, order: list[str], rows: list[dict], value: str, sigma: str) -> tuple[np.ndarray, np.ndarray]:
    """Figure less the baseline's and its s.d. at every survey, (T,) each; 0 at the baseline, whose s.d. is left NaN."""
    mine = {_other(r, base): (r, 1.0 if r["from_survey"] == base else -1.0) for r in rows}
    values = np.array([sign * _number(r.get(value)) for r, sign in (mine.get(s, ({}, 1.0)) for s in order)])
    sigmas = _numbers(mine.get(s, ({}, 1.0))[0].get(sigma) for s in order)
    if base in order and np.isfinite(values).any():
        values[order.index(base)] = 0.0
    return values, sigmas


def _of_dates(sigmas: np.ndarray, order: list[str], base: str) -> np.ndarray:
    """Each date's s.d., (T,), out of those of its differences to the baseline, whose error is in all of them.

    The baseline is a date like the others: it takes half the smallest variance, every other date what is left of its own.
    So a line through the differences, the baseline among them at 0, is the line through the dates.
    """
    held = np.isfinite(sigmas)
    if not held.any():
        return sigmas
    half = float(np.min(sigmas[held] ** 2)) / 2
    out = np.sqrt(np.maximum(sigmas**2 - half, half))
    if base in order:
        out[order.index(base)] = np.sqrt(half)
    return out


def since_reset(series: Series, works, order: list[str], days: dict[str, dt.date]) -> Series:
    """The series without the surveys before its last reset."""
    kinds = (*EPOCH_STARTS, *RESETS.get(series.measure, ()))
    whole = series.measure in OF_EDGES  # a work's zone is a piece of skin; an edge has none
    start = max((w["done_on"] for w in works if w["work"] in kinds and (whole or w.get("zone", "skin") in ("skin", series.name))), default=dt.date.min)
    gone = np.array([days[s] < start for s in order])
    return replace(series, values=np.where(gone, np.nan, series.values))


def _rows(job: Job, years: np.ndarray, family: list[Series]) -> list[dict]:
    """Rows of one measure, fitted together."""
    settings = job.settings.history
    out, fitted = [], []
    for s in family:
        held = np.isfinite(s.values) & np.isfinite(s.sigmas)
        row = {"measure": s.measure, ("edge_id" if s.measure in OF_EDGES else "zone"): s.name, "surveys": int(held.sum())}
        span = float(np.ptp(years[held])) if held.any() else 0.0
        out.append(row)
        if s.reason:
            row["reason"] = s.reason
        elif held.sum() < settings.trend_surveys_min or span < settings.trend_years_min:
            row["reason"] = f"too short: {int(held.sum())} surveys over {span:.1f} years"
        else:
            fitted.append((row, s))
    for group in _together([s for _, s in fitted]):
        found = _fit(years, [fitted[k][1] for k in group])
        for k, trend in zip(group, found):
            fitted[k][0].update(rate_mm_per_year=trend.rate, rate_sigma_mm_per_year=trend.rate_sigma, detected=trend.detected)
            if trend.reason:
                fitted[k][0]["reason"] = trend.reason
            if np.isfinite(trend.season):
                fitted[k][0].update(season_mm=trend.season, season_sigma_mm=trend.season_sigma)
    return out


def _together(series: list[Series]) -> list[list[int]]:
    """Series that share something of their dates are one fit; those that share nothing are one each, so that scatter in one
    does not widen the others."""
    tied = [k for k, s in enumerate(series) if s.shared.any()]
    return ([tied] if tied else []) + [[k] for k, s in enumerate(series) if not s.shared.any()]


def _fit(years: np.ndarray, series: list[Series]) -> list[Trend]:
    used = np.any([np.isfinite(s.values) for s in series], axis=0)
    values, sigmas = (np.column_stack([getattr(s, name)[used] for s in series]) for name in ("values", "sigmas"))
    return fit_trends(years[used], values, np.maximum(sigmas, LEAST_OWN_MM), series[0].shared[used])


def _other(row: dict, base: str) -> str:
    return row["to_survey"] if row["from_survey"] == base else row["from_survey"]


def _told(value) -> bool:
    return value is not None and bool(np.isfinite(value))


def _number(value) -> float:
    return np.nan if value is None else float(value)


def _numbers(values) -> np.ndarray:
    return np.array([_number(v) for v in values], float)
