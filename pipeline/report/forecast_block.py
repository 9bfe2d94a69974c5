"""The block on what is coming: where a figure is on its way over its limit, and how well such bands have held."""

from __future__ import annotations

from typing import Iterable, Mapping, Sequence

from pipeline.report.figures import NBSP, TO, figure
from pipeline.report.findings import GAP, LIP, LOW_SPOT, MIX, PLANARITY
from pipeline.report.saying import Sayer
from pipeline.report.words import Words, opened

AGAINST = {"lip": LIP, "ring_depth": LOW_SPOT, "planarity": PLANARITY, "straightedge": GAP, "mix_depth": MIX}
TOLD = (*AGAINST, "growth", "encroachment", "slope")  # mean heights stand in the table of results alone
SKIN = "skin"
UNDER = ("mix_depth",)  # the less the worse
MOST = 5  # lines; more are counted
ENOUGH, TRUSTED = 10, 0.80  # series tried, and the share inside under which the bands are said not to be trusted


def forecast_block(rows: Sequence[Mapping], sayer: Sayer) -> dict:
    """Sentences, worst first, a table of all that is told, and what became of the surveys held back. Empty without rows."""
    if not rows:
        return {}
    words, told = sayer.words, series_of([r for r in rows if r["on"]])
    crossing = sorted(filter(None, (_crossing(s, sayer) for s in told if s[0]["measure"] in AGAINST)), key=lambda c: c[0])
    lines = [line for _, line in crossing[:MOST]]
    more = words.count("and_more", len(crossing) - MOST) + "." if len(crossing) > MOST else ""
    shown = [s for s in told if s[0]["measure"] in TOLD]
    days = [words.date(r["on"]) for r in shown[0]] if shown else []
    return {
        "lines": lines + ([opened(more)] if more else []), "none": "" if lines else words("forecast_none" if shown else "forecast_nothing"),
        "held": held_back(told, sayer), "use": words("forecast_by_use" if any(s[0]["by_use"] for s in told) else "forecast_no_use") if told else "",
        "heads": [words("col_place"), words("col_measure"), *days], "rows": [(_place(s[0], sayer), words(f"forecast_{s[0]['measure']}"), *(_band(r, sayer) for r in s)) for s in shown],
        "short": words.count("forecast_short", len({_key(r) for r in rows if not r["on"]})) if any(not r["on"] for r in rows) else "",
    }  # fmt: skip


def series_of(rows: Iterable[Mapping]) -> list[list[Mapping]]:
    """Rows of forecast.csv by series, each by day."""
    out: dict[tuple, list[Mapping]] = {}
    for row in rows:
        out.setdefault(_key(row), []).append(row)
    return [sorted(s, key=lambda r: str(r["on"])) for s in out.values()]


def held_back(told: Sequence[Sequence[Mapping]], sayer: Sayer) -> str:
    """One sentence: of the series whose last survey was forecast from those before it, how many bands held it."""
    inside, tried = tally(told)
    if not tried:
        return sayer.words("forecast_untried")
    return sayer.words("forecast_held", all=tried, inside=inside) + (" " + sayer.words("forecast_distrust") if doubtful(inside, tried) else "")


def tally(told: Iterable[Sequence[Mapping]]) -> tuple[int, int]:
    """Series whose last survey fell inside the band made of those before it, and series tried."""
    tried = [bool(s[0]["last_inside"]) for s in told if s[0]["last_inside"] is not None]
    return sum(tried), len(tried)


def doubtful(inside: int, tried: int) -> bool:
    """Whether so few inside, of enough tried, say that the bands are not to be trusted."""
    return tried >= ENOUGH and inside < TRUSTED * tried


def backtest(by_field: Mapping[str, Sequence[Mapping]], words: Words) -> str:
    """Over all fields: of how many series the last survey fell inside its band, and where few did; empty where none was tried.

    by_field : name of each field -> its rows of forecast.csv
    Series of one survey share its tie, so the share of one field says less than its number of series would.
    """
    counts = {name: tally(series_of([r for r in rows if r["on"]])) for name, rows in by_field.items()}
    inside, tried = (sum(c[k] for c in counts.values()) for k in (0, 1))
    if not tried:
        return ""
    poor = sorted(name for name, c in counts.items() if doubtful(*c))
    said = [words("index_backtest", all=tried, inside=inside, share=round(100 * inside / tried), fields=words.count("fields", sum(c[1] > 0 for c in counts.values())))]
    return " ".join(said + ([words("forecast_distrust")] if doubtful(inside, tried) else []) + ([words("index_backtest_poor", fields=words.listed(poor))] if poor else []))


def _key(row: Mapping) -> tuple:
    return row["measure"], row["edge_id"] or "", row["zone"] or ""


def _place(row: Mapping, sayer: Sayer) -> str:
    if row["edge_id"]:
        return sayer.placing.edge(row["edge_id"])
    return sayer.placing.spot(row["zone"], *sayer.ponds[row["zone"]]) if row["zone"] in sayer.ponds else sayer.placing.place(row["zone"])


def _band(row: Mapping, sayer: Sayer) -> str:
    """'41 mm (30-52)'; of a fall '1.1 % (0.9-1.3)'."""
    if row["measure"] == "slope":
        value, low, high = (f"{row[k] / 10:.2f}" for k in ("value_mm", "low95_mm", "high95_mm"))
        return f"{value}{NBSP}% ({low}{TO}{high})"
    low, high = (figure(row[k], None, sayer.units.height, named=False) for k in ("low95_mm", "high95_mm"))
    return f"{sayer.height(row['value_mm'])} ({low}{TO}{high})"


def _crossing(series: Sequence[Mapping], sayer: Sayer) -> tuple[tuple, str] | None:
    """Of a series with a limit, when it is expected over it, or may be; None where neither within what is told."""
    measure, kind = series[0]["measure"], AGAINST[series[0]["measure"]]
    owned, sign = sayer.owned(kind, False), -1.0 if measure in UNDER else 1.0
    if owned is None or (measure in UNDER and series[0]["zone"] != SKIN):  # its limit is held against the whole skin
        return None
    least = sign * owned.of(sayer.placing.layout.field_id)
    worst = "low95_mm" if measure in UNDER else "high95_mm"
    for rank, (column, key) in enumerate((("value_mm", "expected"), (worst, "possible"))):
        at = next((r for r in series if sign * r[column] > least), None)
        if at is not None:
            way = "under" if measure in UNDER else "over"
            return (rank, str(at["on"]), (least - sign * at["value_mm"]) / abs(least), *_key(at)), opened(sayer.words(
                f"forecast_{key}_{way}", where=_place(at, sayer), what=sayer.words(f"forecast_{measure}"), band=_band(at, sayer), day=sayer.words.date(at["on"]),
                limit=sayer.limit(kind, False)))  # fmt: skip
    return None
