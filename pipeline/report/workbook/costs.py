"""The sheet of unit prices and budgets: what a clerk may change, and where each figure stands for the formulas of other sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping

from pipeline.owner import Cost, Prices
from pipeline.plan.treatments import LASER_GRADE, MIX_ADD, NONE, TREATMENTS
from pipeline.report.figures import Units
from pipeline.report.words import Words
from pipeline.sheets import DAY, INPUT, TEXT, Cell, Sheet, place

FIGURES = ("fixed", "per_m", "per_m2", "per_t", "mobilisation", "minimum_lot", "hours_fixed", "hours_per_m", "hours_per_m2")
BY_MIX = (MIX_ADD, LASER_GRADE)  # priced by the mix's own price where they have none


@dataclass(frozen=True)
class Priced:
    """The sheet, and what others need of it. at: (treatment, figure) -> the cell's name; value: likewise its figure;
    terms: `escalation`, `contingency`, `first_year` -> name and value."""

    sheet: Sheet
    at: Mapping[tuple[str, str], str]
    value: Mapping[tuple[str, str], float]
    terms: Mapping[str, tuple[str, float]]


def in_units(figure: str, value: float, units: Units) -> float:
    """A unit price, or hours a unit, in the reader's units: a price per metre becomes one per foot."""
    size = {"per_m": units.length.size, "per_m2": units.area.size, "per_t": units.mass.size}.get(figure.removeprefix("hours_"), 1.0)
    return value * size


def costs_sheet(costs: Mapping[str, Cost], prices: Prices, terms: Mapping[str, float], first_year: int, words: Words, units: Units, currency: str) -> Priced:
    """terms: `escalation_pct`, `contingency_pct` as the owner set them, 0 where nobody did."""
    name, lead = words("book_costs"), [words("book_costs_title"), words("book_costs_lead", currency=currency), words("book_input")]
    units_of = {"per_m": units.length.name, "per_m2": units.area.name, "per_t": words(f"book_ton_{units.system}")}
    heads = [words("book_treatment"), *(words(f"book_{f}", unit=units_of.get(f.removeprefix("hours_"), "")) for f in FIGURES), words("book_set_by"), words("book_set_on")]
    at, value, rows = {}, {}, []
    first = len(lead) + 3
    mix_row = first + len(TREATMENTS) - 1
    for word in (w for w in TREATMENTS if w != NONE):
        cost, row, here = costs.get(word), [Cell(words(f"plan_does_{word}"))], first + len(rows)
        for k, figure in enumerate(FIGURES, start=1):
            own = cost.of(figure) if cost is not None else None
            at[word, figure] = place(name, k, here)
            if figure == "per_t" and own is None and word in BY_MIX and prices.of("mix_per_t") is not None:
                value[word, figure] = in_units(figure, prices.of("mix_per_t"), units)
                row.append(Cell(value[word, figure], INPUT, place(name, k, mix_row)))
            else:
                value[word, figure] = in_units(figure, own or 0.0, units)
                row.append(Cell(value[word, figure] if own is not None else None, INPUT))
        stated = next((f for f in (getattr(cost, n) for n in FIGURES) if f is not None), None) if cost is not None else None
        rows.append([*row, Cell(stated.set_by if stated else words("book_nobody")), Cell(stated.set_on if stated else None, DAY)])
    mix = prices.mix_per_t
    rows.append([Cell(words("book_mix_price")), *(Cell(in_units("per_t", mix.value, units), INPUT) if f == "per_t" and mix is not None else Cell() for f in FIGURES),
                 Cell(mix.set_by if mix else words("book_nobody")), Cell(mix.set_on if mix else None, DAY)])  # fmt: skip
    rows.append([])
    out = {}
    for term, (key, given) in {"escalation": ("book_escalation", terms["escalation_pct"]), "contingency": ("book_contingency", terms["contingency_pct"]), "first_year": ("book_first_year", first_year)}.items():
        out[term] = place(name, 1, first + len(rows)), float(given)
        rows.append([Cell(words(key)), Cell(given, INPUT if term != "first_year" else TEXT)])
    return Priced(Sheet(name, lead, heads, rows, (34, *[14] * len(FIGURES), 30, 12)), at, value, out)
