"""The sheet of unit prices: what a clerk may change, who set it and when, and the name by which formulas of other sheets take it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Mapping, Sequence

from pipeline.owner import Cost, Figure, Plan, Prices
from pipeline.plan.treatments import LASER_GRADE, LIP_CUT, MIX_ADD, NONE, REBUILD, TREATMENTS
from pipeline.report.figures import Unit, Units
from pipeline.report.words import Words
from pipeline.sheets import DAY, FINE, INPUT, Cell, Sheet, first_row, letter, place

BY_LENGTH, BY_MIX = (LIP_CUT, REBUILD), (MIX_ADD, LASER_GRADE, REBUILD)
AT_MIX_PRICE = (MIX_ADD, LASER_GRADE)  # priced by the mix's own price where they have none
MONEY, HOURS, SHARED = ("fixed", "per_m", "per_m2", "per_t"), ("hours_fixed", "hours_per_m", "hours_per_m2"), ("mobilisation", "minimum_lot")
ESCALATION, CONTINGENCY, MIX_PRICE = "plan_escalation_pct", "plan_contingency_pct", "price_mix_per_t"
COLUMNS = ("work", "what", "figure", "per", "set_by", "set_on", "in_settings", "key")
AT = COLUMNS.index("figure")


@dataclass(frozen=True)
class Asked:
    """One figure of the owner's. name: of its cell, for formulas; key: as config.yaml has it; size: so many of the files' unit in one
    of the reader's (1 where it hangs on none); follows: name of the cell whose figure stands where the owner set none."""

    name: str
    key: str
    work: str
    what: str
    per: str
    given: Figure | None
    size: float = 1.0
    follows: str = ""


@dataclass(frozen=True)
class Priced:
    """The sheet; names: name of a cell -> its place; value: name -> figure in the reader's units, 0 where nobody set one; given: names
    whose figure is there."""

    sheet: Sheet
    names: Mapping[str, str]
    value: Mapping[str, float]
    given: frozenset[str]


def cost_name(treatment: str, figure: str) -> str:
    """The name of the cell that holds a figure of a treatment."""
    return f"cost_{treatment}_{figure}"


def figures_of(treatment: str, cost: Cost) -> tuple[str, ...]:
    """Figures that a plan reads of a treatment. What is shared is a contractor's, or whose figure is set."""
    skip = {*(() if treatment in BY_LENGTH else ("per_m", "hours_per_m")), *(() if treatment in BY_MIX else ("per_t",))}
    shared = [f for f in SHARED if cost.by == "contractor" or cost.of(f) is not None]
    return tuple(f for f in (*MONEY, *HOURS, *shared) if f not in skip)


def asked(treatment: str, figure: str, cost: Cost, words: Words, units: Units, currency: str) -> Asked:
    """A figure of a treatment, in the reader's units."""
    unit = {"per_m": units.length, "per_m2": units.area, "per_t": units.mass}.get(figure.removeprefix("hours_"))
    of = words("book_hours_unit") if figure in HOURS else currency
    per = words("book_a_unit", of=of, unit=one(unit, units, words)) if unit is not None else of
    follows = MIX_PRICE if figure == "per_t" and treatment in AT_MIX_PRICE else ""
    return Asked(cost_name(treatment, figure), f"costs.{treatment}.{figure}", words(f"plan_does_{treatment}"), words(f"book_what_{figure}"), per, getattr(cost, figure), unit.size if unit is not None else 1.0, follows)


def price(figure: str, prices: Prices, words: Words, units: Units, currency: str) -> Asked:
    """A unit price that hangs on no treatment."""
    unit = {"mix_per_t": units.mass, "move_per_m3": units.volume}.get(figure)
    per = words("book_a_unit", of=currency, unit=words("book_hours_unit") if unit is None else one(unit, units, words))
    return Asked(f"price_{figure}", f"prices.{figure}", words("book_price"), words(f"book_what_{figure}"), per, getattr(prices, figure), unit.size if unit is not None else 1.0)


def one(unit: Unit, units: Units, words: Words) -> str:
    """A unit's name for one of it."""
    return words("book_ton_us") if unit is units.mass and units.system == "us" else unit.name


def plan_figures(costs: Mapping[str, Cost], prices: Prices, plan: Plan, words: Words, units: Units, currency: str) -> list[Asked]:
    """All that the plan's costs and hours hang on."""
    out = [asked(w, f, costs[w], words, units, currency) for w in TREATMENTS if w != NONE and w in costs for f in figures_of(w, costs[w])]
    out.append(price("mix_per_t", prices, words, units, currency))
    return out + [Asked(n, n.replace("_", ".", 1), words("book_all_work"), words(f"book_what_{n}"), words(f"book_per_{n}"), getattr(plan, n.removeprefix("plan_"))) for n in (ESCALATION, CONTINGENCY)]


def costs_sheet(figures: Sequence[Asked], lead: Sequence[str], words: Words) -> Priced:
    """A row a figure; the cell of the figure is the only one to change."""
    name, first = words("book_costs"), first_row(lead)
    own = {a.name: a.given.value * a.size for a in figures if a.given is not None}
    value, names, rows = {}, {}, []
    for at, a in enumerate(figures, start=first):
        follows = a.follows if a.given is None and a.follows in own else ""
        value[a.name] = own.get(a.name, own.get(follows, 0.0))
        names[a.name] = place(name, AT, at)
        cell = Cell(value[a.name], INPUT, follows) if follows else Cell(own.get(a.name), INPUT)
        ours = f"{letter(AT)}{at}"
        held = round(value[a.name] / a.size, 6) if follows or a.name in own else ""
        by = a.given.set_by if a.given is not None else words("book_follows") if follows else words("book_nobody")
        rows.append([Cell(a.work), Cell(a.what), cell, Cell(a.per), Cell(by), Cell(_day(a.given), DAY), Cell(held, FINE, f'IF({ours}="","",ROUND({ours}/{a.size!r},6))'), Cell(a.key)])
    heads = [words(f"book_{c}") for c in COLUMNS]
    return Priced(Sheet(name, lead, heads, rows, (26, 40, 14, 20, 40, 12, 18, 36), fixed=True), names, value, frozenset(n for n in value if n in own or value[n]))


def _day(given: Figure | None) -> dt.date | None:
    return given.set_on if given is not None else None
