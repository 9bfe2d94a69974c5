"""forecast.csv: what the next surveys of each series would read, by quarters and years, from the series of trend.csv."""

from __future__ import annotations

import datetime as dt
from typing import Mapping, Sequence

import numpy as np

from pipeline.change.forecast import LEAST_SURVEYS, forecast, last_inside
from pipeline.change.use import hours_until, monthly
from pipeline.jobs import Job
from pipeline.steps.history_trend import LEAST_OWN_MM, OF_EDGES, Series, dated, levels, series_of, since_reset
from pipeline.units import YEAR_DAYS

AHEAD_YEARS = (0.25, 0.5, 0.75, 1.0, 2.0)  # four quarters, and two years
AT_LEAST_NONE = ("planarity", "straightedge", "slope", "mix_depth")  # no such figure is under nothing


def forecasts(job: Job, surveys: Mapping[str, dict], rows: Mapping[str, list[dict]], pairs: Sequence[dict] = ()) -> list[dict]:
    """Rows of forecast.csv: five days for every series with enough surveys, one with a reason for every other.

    Each series by itself, its own error and the one its date shares taken together. No season of another field and no rate of
    one is looked at: a field's forecast rests on its own surveys.
    """
    order, days = dated(surveys)
    if not order:
        return []
    years = np.array([(days[s] - days[order[0]]).days / YEAR_DAYS for s in order])
    coming = [days[order[-1]] + dt.timedelta(days=round(a * YEAR_DAYS)) for a in AHEAD_YEARS]
    ahead = years[-1] + np.array(AHEAD_YEARS)
    known = monthly(job.rows.get("use", ()))
    used, used_ahead = (hours_until(d, known, days[order[0]]) for d in ([days[s] for s in order], coming))
    play = (used, used_ahead) if np.isfinite(used).all() and np.isfinite(used_ahead).all() else (None, None)
    found = [since_reset(s, job.rows["works"], order, days) for family in families(surveys, rows, pairs) for s in family]
    return [row for s in found for row in _rows(s, years, ahead, coming, *play)]


def families(surveys: Mapping[str, dict], rows: Mapping[str, list[dict]], pairs: Sequence[dict]) -> tuple[list[Series], ...]:
    """The series of trend.csv, and those that are only carried on: gaps under the straightedge, the skin's fall in mm over a metre, the
    mix where cores speak for it."""
    order, _ = dated(surveys)
    skin = [z for z in rows["zones"] if z["zone"] == "skin"]
    falls = [{**z, "fall_mm": _per_metre(z.get("slope_pct")), "fall_sigma_mm": _per_metre(z.get("slope_sigma_pct"))} for z in skin]
    cored = [r for r in rows.get("mix_depth", ()) if r["basis"] == "cores"]
    return (
        *series_of(surveys, rows, pairs),
        levels(skin, order, "zone", "straightedge", "straightedge_mm", "straightedge_sigma_mm"),
        levels(falls, order, "zone", "slope", "fall_mm", "fall_sigma_mm"),
        levels(cored, order, "zone", "mix_depth", "depth_mm", "depth_sigma_mm"),
    )


def _per_metre(pct: float | None) -> float | None:
    return None if pct is None else 10.0 * pct


def _rows(series: Series, years: np.ndarray, ahead: np.ndarray, coming: Sequence[dt.date], used: np.ndarray | None, used_ahead: np.ndarray | None) -> list[dict]:
    sigmas = np.maximum(np.hypot(series.sigmas, series.shared), LEAST_OWN_MM)
    row = {"measure": series.measure, ("edge_id" if series.measure in OF_EDGES else "zone"): series.name}
    held = int((np.isfinite(series.values) & np.isfinite(series.sigmas)).sum())
    made = None if series.reason else forecast(years, series.values, sigmas, ahead, used, used_ahead)
    if made is None:
        return [{**row, "surveys": held, "reason": series.reason or f"not enough surveys yet: {held} of {LEAST_SURVEYS}"}]
    least = 0.0 if series.measure in AT_LEAST_NONE else -np.inf
    row |= {"surveys": made.surveys, "by_use": made.by_use, "season": made.season, "last_inside": last_inside(years, series.values, sigmas, used)}
    return [
        {**row, "on": day.isoformat(), "value_mm": max(float(v), least), "low95_mm": max(float(low), least), "high95_mm": max(float(high), least)}
        for day, v, low, high in zip(coming, made.value, made.low, made.high)
    ]  # fmt: skip
