"""The sheet of a field's designs: what each moves and buys, and its cost as a live formula of the unit prices."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.owner import Cost, Prices
from pipeline.plan.treatments import LASER_GRADE, LEVEL, cents
from pipeline.report.figures import Units
from pipeline.report.words import Words
from pipeline.report.workbook.costs import Asked, Priced, asked, cost_name, price
from pipeline.sheets import FIGURE, MONEY, TEXT, Cell, Sheet, first_row, letter
from pipeline.works.design import LASER_PLANE

DESIGNS = ("design", "cut", "fill", "noise", "net", "net_sigma", "mix_order", "mix_low", "mix_high", "loads", "worked", "graded", "hours", "cost_low", "cost_high", "reported_low", "reported_high", "even_after", "gap_after", "note")
UNIT = {"cut": "volume", "fill": "volume", "noise": "volume", "net": "volume", "net_sigma": "volume", "mix_order": "mass", "mix_low": "mass", "mix_high": "mass", "worked": "area", "graded": "area",
        "even_after": "height", "gap_after": "height"}  # fmt: skip
MONEYED = ("cost_low", "cost_high", "reported_low", "reported_high")
HELD = {"cut": "cut_m3", "fill": "fill_m3", "noise": "noise_m3", "net": "net_m3", "net_sigma": "net_sigma_m3", "mix_order": "mix_tonnes", "mix_low": "mix_low95_t", "mix_high": "mix_high95_t",
        "worked": "worked_m2", "graded": "graded_m2", "even_after": "planarity_after_mm", "gap_after": "straightedge_after_mm"}  # fmt: skip
LEAST_ORDER_T = 0.05  # less mix than this is none, as the designs' own cost has it
FIGURES = ((LEVEL, "hours_fixed"), (LEVEL, "hours_per_m2"), (LASER_GRADE, "fixed"), (LASER_GRADE, "per_m2"), (LASER_GRADE, "mobilisation"))
PRICES = ("mix_per_t", "move_per_m3", "hour")


def design_figures(costs: Mapping[str, Cost], prices: Prices, words: Words, units: Units, currency: str) -> list[Asked]:
    """All that the designs' costs hang on; those nobody set stand empty."""
    return [*(asked(w, f, costs.get(w, Cost()), words, units, currency) for w, f in FIGURES), *(price(p, prices, words, units, currency) for p in PRICES)]


def design_unit(column: str, units: Units, currency: str) -> str:
    return currency if column in MONEYED else getattr(units, UNIT[column]).name if column in UNIT else ""


def designs_sheet(designs: Sequence[Mapping], costs: Mapping[str, Cost], priced: Priced, words: Words, units: Units, currency: str) -> Sheet:
    """A row a design. designs: rows of quantities.csv before they are rounded."""
    lead = [words("book_designs_title"), words("book_designs_lead"), *([] if designs else [words("book_empty")])]
    named = lambda c: words("book_column_unit", name=words(f"book_{c}"), unit=design_unit(c, units, currency)) if design_unit(c, units, currency) else words(f"book_{c}")
    rows = [_row(d, priced, words, units, at) for at, d in enumerate(designs, start=first_row(lead))]
    return Sheet(words("book_designs"), lead, [named(c) for c in DESIGNS], rows, [26, *[13] * (len(DESIGNS) - 2), 60])


def _row(d: Mapping, priced: Priced, words: Words, units: Units, at: int) -> list[Cell]:
    name = Cell(words(f"grade_variant_{d['variant']}"))
    if not d["feasible"]:
        return [name, *[Cell()] * (len(DESIGNS) - 2), Cell(words.told(d["reason"]))]
    size = {c: d[HELD[c]] / getattr(units, UNIT[c]).size if d.get(HELD[c]) is not None else None for c in HELD}
    at_column = {c: f"{letter(k)}{at}" for k, c in enumerate(DESIGNS)}
    hours, low, high = _costs(d, size, at_column, priced)
    cells = {c: Cell(v, FIGURE) for c, v in size.items()} | {
        "design": name, "loads": Cell(d["loads"], TEXT), "hours": _live(*hours, priced, words, FIGURE), "cost_low": _live(*low, priced, words), "cost_high": _live(*high, priced, words),
        "reported_low": Cell(d["cost_low"], MONEY), "reported_high": Cell(d["cost_high"], MONEY), "note": Cell(words.told(d["reason"])),
    }  # fmt: skip
    return [cells[c] for c in DESIGNS]


def _live(needs: Sequence[str], value: float | None, formula: str, priced: Priced, words: Words, look: str = MONEY) -> Cell:
    """A formula, or, while a price that it needs is missing, the word for that."""
    if value is None:
        return Cell(words("book_no_quantity"))
    rounded = f"ROUND({formula},2)" if look == MONEY else formula
    whole = f'IF(COUNT({",".join(needs)})<{len(needs)},"{words("book_no_price")}",{rounded})' if needs else rounded
    there = all(n in priced.given for n in needs)
    return Cell((float(cents(value)) if look == MONEY else value) if there else words("book_no_price"), look, whole)


def _costs(d: Mapping, size: Mapping, cell: Mapping[str, str], priced: Priced) -> list[tuple[list[str], float | None, str]]:
    """Hours, low and high cost: each the prices it needs, its value (None where a quantity is missing), its formula."""
    of, level, by_laser = priced.value, lambda f: cost_name(LEVEL, f), d["variant"] == LASER_PLANE
    works = bool(size["worked"])
    if by_laser or not works:
        hours = ([], 0.0, "0")
    else:
        hours = ([level("hours_fixed"), level("hours_per_m2")], of[level("hours_fixed")] + of[level("hours_per_m2")] * size["worked"], f"{level('hours_fixed')}+{level('hours_per_m2')}*{cell['worked']}")
    out, mix = [hours], d.get("mix_tonnes")
    buys = (mix is None or mix > LEAST_ORDER_T) and (by_laser or works)
    for end in ("low", "high"):
        needs, value, terms = [], 0.0, []
        if buys:
            tonnes = size[f"mix_{end}"]
            needs, value, terms = ["price_mix_per_t"], None if tonnes is None else tonnes * of["price_mix_per_t"], [f"price_mix_per_t*{cell[f'mix_{end}']}"]
        if by_laser:
            fixed, area, coming = (cost_name(LASER_GRADE, f) for f in ("fixed", "per_m2", "mobilisation"))
            needs += [fixed, area]
            more = of[fixed] + of[area] * size["graded"] + (of[coming] if end == "high" else 0.0)
            terms += [f"{fixed}+{area}*{cell['graded']}" + (f"+{coming}" if end == "high" else "")]
        elif works:
            less = 2 * size["noise"] if end == "low" else 0.0
            needs += [*hours[0], "price_hour", "price_move_per_m3"]
            more = hours[1] * of["price_hour"] + max(size["cut"] + size["fill"] - less, 0.0) * of["price_move_per_m3"]
            terms += [f"{cell['hours']}*price_hour", f"MAX({cell['cut']}+{cell['fill']}" + (f"-2*{cell['noise']}" if end == "low" else "") + ",0)*price_move_per_m3"]
        else:
            more = 0.0
        out.append((needs, None if value is None else value + more, "+".join(terms) or "0"))
    return out
