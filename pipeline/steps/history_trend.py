"""trend.csv: rates over all dates of a field, by generalised least squares."""

from __future__ import annotations

import datetime as dt

import numpy as np

from pipeline.change.trend import fit_trends
from pipeline.jobs import Job

YEAR_DAYS = 365.25
EPOCH_STARTS = ("laser_grade", "rebuild")


def trends(job: Job, surveys: dict[str, dict], rows: dict[str, list[dict]]) -> list[dict]:
    """A rate for each edge's lip, each declared place's ring depth and the skin's planarity.

    A laser grade or a rebuild starts a new epoch: no trend runs across it.
    """
    days = {s: dt.date.fromisoformat(r["flown_on"]) for s, r in surveys.items()}
    start = max((w["done_on"] for w in job.rows["works"] if w["work"] in EPOCH_STARTS), default=dt.date.min)
    used = [s for s in sorted(days, key=lambda s: days[s]) if days[s] >= start]
    series = [
        *_series(rows["lip"], used, "edge_id", "lip", "height_mm", "height_sigma_mm", whole="station_m"),
        *_series(rows["low_spots"], used, "low_spot_id", "ring_depth", "ring_depth_mm", "ring_depth_sigma_mm"),
        *_series([z for z in rows["zones"] if z["zone"] == "skin"], used, "zone", "planarity", "planarity_mm", "planarity_sigma_mm"),
    ]  # fmt: skip
    years = np.array([(days[s] - days[used[0]]).days / YEAR_DAYS for s in used]) if used else np.zeros(0)
    return [_row(job, measure, name, years, values, sigmas) for measure, name, values, sigmas in series]


def _series(rows: list[dict], surveys: list[str], key: str, measure: str, value: str, sigma: str, whole: str | None = None):
    """Figures of each name over the surveys: (measure, name, values (T,), sigmas (T,)); NaN where there is none."""
    names = dict.fromkeys(r[key] for r in rows if r.get(value) is not None and np.isfinite(r[value]))
    for name in sorted(names):
        mine = {r["survey_id"]: r for r in rows if r[key] == name and (whole is None or r.get(whole) is None)}
        got = [mine.get(s, {}) for s in surveys]
        yield measure, name, *(np.array([np.nan if g.get(c) is None else g[c] for g in got], float) for c in (value, sigma))


def _row(job: Job, measure: str, name: str, years: np.ndarray, values: np.ndarray, sigmas: np.ndarray) -> dict:
    held = np.isfinite(values) & np.isfinite(sigmas)
    row = {"measure": measure, ("edge_id" if measure == "lip" else "zone"): name, "surveys": int(held.sum())}
    span = float(np.ptp(years[held])) if held.any() else 0.0
    settings = job.settings.history
    if held.sum() < settings.trend_surveys_min or span < settings.trend_years_min:
        return {**row, "reason": f"too short: {int(held.sum())} surveys over {span:.1f} years"}
    (trend,) = fit_trends(years[held], values[held][:, None], sigmas[held][:, None], np.zeros(int(held.sum())))
    return {**row, "rate_mm_per_year": trend.rate, "rate_sigma_mm_per_year": trend.rate_sigma, "detected": trend.detected}
