"""Did the work hold? A survey before and one after a work, and the newest, figure by figure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.report.figures import Z95
from pipeline.report.findings import LIP, Shown
from pipeline.report.saying import Sayer
from pipeline.report.standing import over_tolerance

BEFORE, AFTER = "before_work", "after_work"


@dataclass(frozen=True)
class Held:
    """The surveys around one work; `now` is None where the survey after the work is the newest."""

    before: Shown
    after: Shown
    now: Shown | None


def pairs(surveys: Sequence[Shown], purposes: dict[str, str]) -> list[Held]:
    """Each survey before a work with the next one after it."""
    out = []
    for i, before in enumerate(surveys):
        if purposes.get(before.survey_id) != BEFORE:
            continue
        after = next((s for s in surveys[i + 1 :] if purposes.get(s.survey_id) == AFTER), None)
        if after is not None:
            out.append(Held(before, after, None if after is surveys[-1] else surveys[-1]))
    return out


def table(held: Held, sayer: Sayer) -> list[tuple[str, ...]]:
    """Rows of measure and its figure at each of the two or three surveys, those without any figure left out."""
    dates = [s for s in (held.before, held.after, held.now) if s is not None]
    words = sayer.words
    rows = [
        (words("measure_planarity"), *(_zone(s, "planarity_mm", sayer) for s in dates)),
        (words("measure_straightedge"), *(_zone(s, "straightedge_mm", sayer) for s in dates)),
        *((words("measure_highest_lip", edge=sayer.placing.edge(e)), *(_highest(s, e, sayer) for s in dates)) for e in _edges(dates)),
        (words("measure_lip_over"), *(sayer.length(sum(e.over_m for e in s.edges)) if s.edges else "" for s in dates)),
        (words("measure_spots_over"), *(str(len(over_tolerance(s))) if s.rows["low_spots"] else "" for s in dates)),
    ]
    return [r for r in rows if any(r[1:])]


def verdict(held: Held, sayer: Sayer) -> str:
    """One sentence on the skin's planarity: better by how much, and what the newest survey says of it since."""
    before, after = _planarity(held.before), _planarity(held.after)
    if before is None or after is None:
        return sayer.words("held_unknown")
    text = [_step("held_work", before, after, sayer)]
    now = _planarity(held.now) if held.now is not None else None
    if now is not None:
        text.append(_step("held_since", after, now, sayer))
    return " ".join(text)


def _step(key: str, a: tuple[float, float], b: tuple[float, float], sayer: Sayer) -> str:
    change, sigma = b[0] - a[0], float(np.hypot(a[1], b[1]))
    way = "same" if abs(change) <= Z95 * sigma else "better" if change < 0 else "worse"
    return sayer.words(f"{key}_{way}", change=sayer.height(abs(change), sigma))


def _planarity(seen: Shown) -> tuple[float, float] | None:
    row = next((r for r in seen.rows["zones"] if r["zone"] == "skin"), None)
    if row is None or row["planarity_mm"] is None or row["planarity_sigma_mm"] is None:
        return None
    return row["planarity_mm"], row["planarity_sigma_mm"]


def _zone(seen: Shown, column: str, sayer: Sayer) -> str:
    row = next((r for r in seen.rows["zones"] if r["zone"] == "skin"), {})
    if column == "straightedge_mm" and row.get(column) is not None:
        return sayer.words("gap_and_noise", gap=sayer.height(row[column]), noise=sayer.height(row["straightedge_noise_mm"]))
    return sayer.height(row.get(column), row.get(column.replace("_mm", "_sigma_mm")))


def _edges(dates: list[Shown]) -> list[str]:
    return list(dict.fromkeys(e.edge_id for s in dates for e in s.edges))


def _highest(seen: Shown, edge_id: str, sayer: Sayer) -> str:
    mine = [r for r in seen.rows["lip"] if r["edge_id"] == edge_id and r["kind"] == LIP and r["station_m"] is not None]
    top = max(mine, key=lambda r: r["height_mm"], default=None)
    if top is None:
        told = any(r["height_mm"] is not None for r in seen.rows["lip"] if r["edge_id"] == edge_id)
        return sayer.words("no_lip_found" if told else "lip_not_told") if any(e.edge_id == edge_id for e in seen.edges) else ""
    return sayer.height(top["height_mm"], top["height_sigma_mm"])
