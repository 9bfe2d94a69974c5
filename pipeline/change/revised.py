"""What a report said earlier and what the same figure is now.

Revised means: the same quantity of the same survey (or pair) at the same place has another value, by more than one count of the
last decimal its table is written with. A figure of a survey that has come since is none: it is new.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose, isfinite
from typing import Iterable, Mapping, Sequence

Tables = Mapping[str, Sequence[Mapping]]

REFUSED = "refused"
COUNTS = {"mm": 0.1, "m": 0.001, "m3": 0.001, "t": 0.01, "pct": 0.01, "count": 0.0}  # one count of a table's last decimal, by unit


@dataclass(frozen=True, order=True)
class Key:
    """What a figure is of. survey: its own, of a pair the later one; earlier: of a pair the earlier one, else ''; place: '' of the field"""

    measure: str
    survey: str
    earlier: str = ""
    place: str = ""


@dataclass(frozen=True)
class Told:
    """A figure as it was told. value: a number, a word, or None where nothing was told; half: half its 95 % range or None; unit: of COUNTS, or word"""

    value: float | str | None
    half: float | None
    unit: str


@dataclass(frozen=True)
class Revised:
    """One figure then and now."""

    key: Key
    was: Told
    now: Told


@dataclass(frozen=True)
class Figures:
    """Which column of a table is a figure. half: column of one s.d., or of the two ends of the 95 % range, or nothing"""

    measure: str
    table: str
    place: str
    value: str
    half: str | tuple[str, str] | None
    unit: str


# In the order in which they are told: what decides first.
OF_FIELD = (("verdict", "verdict", "word"), ("lip_max", "lip_max_mm", "mm"), ("lip_over", "lip_over_tolerance_m", "m"), ("spots_over", "low_spots_over_tolerance", "count"), ("mix_needed", "mix_needed_tonnes", "t"))
OF_SURVEY = (
    Figures("lip", "lip", "edge_id", "height_mm", "height_sigma_mm", "mm"),
    Figures("low_spot", "low_spots", "low_spot_id", "depth_mm", "depth_sigma_mm", "mm"),
    Figures("fill", "low_spots", "low_spot_id", "fill_tonnes", ("fill_tonnes_low", "fill_tonnes_high"), "t"),
    Figures("planarity", "zones", "zone", "planarity_mm", "planarity_sigma_mm", "mm"),
    Figures("slope", "zones", "zone", "slope_pct", "slope_sigma_pct", "pct"),
    Figures("zone", "zones", "zone", "verdict", None, "word"),
    Figures("mix", "mix_depth", "zone", "depth_mm", "depth_sigma_mm", "mm"),
    Figures("mix_missing", "mix_depth", "zone", "tonnes", ("tonnes_low95", "tonnes_high95"), "t"),
)  # fmt: skip
OF_PAIR = (
    Figures("growth", "lip_change", "edge_id", "growth_mm", "growth_sigma_mm", "mm"),
    Figures("deeper", "low_spot_change", "low_spot_id", "depth_change_mm", "depth_change_sigma_mm", "mm"),
    Figures("change", "change", "zone", "mean_mm", "mean_sigma_mm", "mm"),
    Figures("net", "change", "zone", "net_m3", "net_sigma_m3", "m3"),
)  # fmt: skip
MEASURES = (*(name for name, _, _ in OF_FIELD), *(f.measure for f in (*OF_SURVEY, *OF_PAIR)))
_Z95 = 1.96


def figures(tables: Tables, field: Mapping | None = None) -> dict[Key, Told]:
    """Every figure of a field's tables by what it is of.

    tables : lip, low_spots, zones, mix_depth, change, lip_change, low_spot_change; of an edge its highest metre that is told as lip, of
             its growth the whole edge
    field  : the field's row of portfolio.csv, or None
    """
    out: dict[Key, Told] = {}
    if field is not None and field.get("last_survey"):
        for measure, column, unit in OF_FIELD:
            out[Key(measure, field["last_survey"])] = Told(field.get(column), None, unit)
    for spec in (*OF_SURVEY, *OF_PAIR):
        for row in _rows(spec, tables.get(spec.table, ())):
            pair = spec in OF_PAIR
            key = Key(spec.measure, row["to_survey"] if pair else row["survey_id"], row["from_survey"] if pair else "", row[spec.place])
            out[key] = Told(row.get(spec.value), _half(spec.half, row), spec.unit)
    return out


def _rows(spec: Figures, rows: Sequence[Mapping]) -> Iterable[Mapping]:
    """Rows that stand for a place: of a lip the highest metre of each edge, of its growth the whole edge, else all."""
    if spec.measure == "growth":
        return [r for r in rows if r["station_m"] is None]
    if spec.measure != "lip":
        return rows
    best: dict[tuple[str, str], Mapping] = {}
    for r in rows:
        at = r["survey_id"], r["edge_id"]
        if r["kind"] == "lip" and r["station_m"] is not None and r["height_mm"] is not None and (at not in best or r["height_mm"] > best[at]["height_mm"]):
            best[at] = r
    return best.values()


def _half(given, row: Mapping) -> float | None:
    if given is None:
        return None
    if isinstance(given, str):
        return None if row.get(given) is None else _Z95 * row[given]
    low, high = (row.get(name) for name in given)
    return None if low is None or high is None else (high - low) / 2


def revised(before: Mapping[Key, Told], now: Mapping[Key, Told], surveys: Iterable[str]) -> list[Revised]:
    """Figures that are otherwise now, in the order of MEASURES, the newest survey's last.

    before, now : as `figures` gives them
    surveys     : those that both reports use: a figure of any other is new or gone, not revised
    """
    both, out = set(surveys), []
    pairs = {(k.earlier, k.survey) for k in now if k.earlier}
    for key in sorted(before.keys() | now.keys(), key=lambda k: (MEASURES.index(k.measure), k.survey, k.earlier, k.place)):
        if key.survey not in both or (key.earlier and key.earlier not in both):
            continue
        if key.earlier and key not in before or key.measure in _FIELD and (key not in before or key not in now):
            continue  # a pair that is new since one between was refused; the field's own figures once another survey is its newest
        if key.earlier and (key.earlier, key.survey) not in pairs:
            continue  # a pair that is none any more since a survey came in between: nobody compares the two now
        unit = (before.get(key) or now[key]).unit
        nothing = Told(None, None, unit)
        was, is_ = before.get(key, nothing), now.get(key, nothing)
        if not same(was, is_):
            out.append(Revised(key, was, is_))
    return out


_FIELD = {name for name, _, _ in OF_FIELD}


def same(a: Told, b: Told) -> bool:
    """Whether two figures are the same to one count of their last decimal, range included."""
    if a.unit == "word" or isinstance(a.value, str) or isinstance(b.value, str):
        return a.value == b.value
    count = COUNTS[a.unit]
    return _near(a.value, b.value, count) and _near(a.half, b.half, 2 * _Z95 * count)


def _near(a: float | None, b: float | None, count: float) -> bool:
    known = [v is not None and isfinite(v) for v in (a, b)]
    return (abs(a - b) <= count or isclose(abs(a - b), count, rel_tol=1e-6)) if all(known) else not any(known)


@dataclass(frozen=True)
class Surveys:
    """Surveys of two reports. new: in use now and not in the earlier one, or refused there; refused: used then, refused now; gone: used
    then, in no table now; both: in use in both; turned_away: new ones that were refused. Ids, oldest first."""

    new: tuple[str, ...]
    turned_away: tuple[str, ...]
    refused: tuple[str, ...]
    gone: tuple[str, ...]
    both: tuple[str, ...]


def surveys(before: Sequence[Mapping], now: Sequence[Mapping]) -> Surveys:
    """What became of the surveys since. before, now: rows of survey_quality.csv"""
    then, today = ({r["survey_id"]: r for r in sorted(rows, key=lambda r: (str(r["flown_on"]), r["survey_id"]))} for rows in (before, now))
    used = lambda rows, s: s in rows and rows[s]["verdict"] != REFUSED
    return Surveys(
        tuple(s for s in today if used(today, s) and not used(then, s)), tuple(s for s in today if not used(today, s) and s not in then),
        tuple(s for s in today if used(then, s) and not used(today, s)), tuple(s for s in then if used(then, s) and s not in today),
        tuple(s for s in today if used(then, s) and used(today, s)),
    )  # fmt: skip
