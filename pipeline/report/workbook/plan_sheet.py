"""The sheet of the plan, a live cost on every line, and the sheet of its years."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.plan.treatments import LIP_CUT, NONE, REBUILD, TREATMENTS, cents
from pipeline.report.figures import Units
from pipeline.report.words import Words, titled
from pipeline.report.workbook.costs import Priced
from pipeline.sheets import FIGURE, MONEY, TEXT, Cell, Sheet

BY_LENGTH = (LIP_CUT, REBUILD)
YEAR, WHO, DOES, LENGTH, AREA, MIX, HOURS, COST, PLANNED, MOVED = range(10)  # columns


def plan_sheet(record: Mapping, rows: Sequence[Mapping], priced: Priced, words: Words, units: Units) -> Sheet:
    """A row for each piece of work, then one for each coming of a contractor to a site.

    record : build/plan/plan.json, with `sizes` (m2 and m of each field) and `sites`
    rows   : of capital_plan.csv
    """
    name = words("book_plan")
    lead = [words("book_plan_title"), words("book_plan_lead"), words("book_not_chosen_anew")]
    heads = [words(f"book_{k}", unit=u) for k, u in (("year", ""), ("field", ""), ("does", ""), ("length", units.length.name), ("area", units.area.name), ("mix", units.mass.name), ("hours", ""),
                                                    ("cost", record["currency"]), ("planned", record["currency"]), ("moved", record["currency"]), ("firmness", ""), ("pinned", ""), ("reason", ""))]  # fmt: skip
    out: list[list[Cell]] = []
    first = len(lead) + 3
    lines = {(line["year"], line["field_id"]): line for line in record["lines"]}
    for row in sorted((r for r in rows if r["treatment"] != NONE), key=lambda r: (r["year"], record["names"][r["field_id"]])):
        out.append(_work(row, lines[row["year"], row["field_id"]], record, priced, words, units, first + len(out)))
    for year, site, word in comings(record, rows):
        if priced.value[word, "mobilisation"] > 0:
            out.append(_coming(year, site, word, priced, words, first + len(out)))
    return Sheet(name, lead, heads, out, (8, 24, 26, 11, 12, 11, 9, 14, 14, 14, 14, 9, 80))


def _work(row: Mapping, line: Mapping, record: Mapping, priced: Priced, words: Words, units: Units, at: int) -> list[Cell]:
    word, sizes = row["treatment"], record["sizes"][row["field_id"]]
    length = (sizes["lip_m"] if word in BY_LENGTH else 0.0) / units.length.size
    area, mix = sizes["area_m2"] / units.area.size, line["tonnes"] / units.mass.size
    figures = {f: priced.value[word, f] for f in ("fixed", "per_m", "per_m2", "per_t")}
    bare = figures["fixed"] + figures["per_m"] * length + figures["per_m2"] * area + figures["per_t"] * mix
    cells = {f: priced.at[word, f] for f in figures}
    formula = f"ROUND(({cells['fixed']}+{cells['per_m']}*D{at}+{cells['per_m2']}*E{at}+{cells['per_t']}*F{at})*{_rise(priced, at)},2)"
    cost = float(cents(bare * _risen(priced, row["year"])))
    crew = "+".join([priced.at[word, "hours_fixed"], f"{priced.at[word, 'hours_per_m']}*D{at}", f"{priced.at[word, 'hours_per_m2']}*E{at}"])
    hours = priced.value[word, "hours_fixed"] + priced.value[word, "hours_per_m"] * length + priced.value[word, "hours_per_m2"] * area
    return [Cell(row["year"], TEXT), Cell(record["names"][row["field_id"]]), Cell(words(f"plan_does_{word}")), Cell(length, FIGURE), Cell(area, FIGURE), Cell(mix, FIGURE), Cell(hours, FIGURE, crew),
            Cell(cost, MONEY, formula), Cell(row["cost"], MONEY), Cell(cost - row["cost"], MONEY, f"H{at}-I{at}"), Cell(words(f"plan_{row['firmness']}")), Cell(bool(row["pinned"])), Cell(row["reason"])]  # fmt: skip


def _coming(year: int, site: str, word: str, priced: Priced, words: Words, at: int) -> list[Cell]:
    cost = float(cents(priced.value[word, "mobilisation"] * _risen(priced, year)))
    formula = f"ROUND({priced.at[word, 'mobilisation']}*{_rise(priced, at)},2)"
    return [Cell(year, TEXT), Cell(words("book_coming_to", site=titled(site))), Cell(words(f"plan_does_{word}")), Cell(), Cell(), Cell(), Cell(),
            Cell(cost, MONEY, formula), Cell(cost, MONEY), Cell(0.0, MONEY, f"H{at}-I{at}"), Cell(), Cell(), Cell(words("book_coming_why"))]  # fmt: skip


def _rise(priced: Priced, at: int) -> str:
    up, kept, first = (priced.terms[k][0] for k in ("escalation", "contingency", "first_year"))
    return f"(1+{up}/100)^(A{at}-{first})*(1+{kept}/100)"


def _risen(priced: Priced, year: int) -> float:
    up, kept, first = (priced.terms[k][1] for k in ("escalation", "contingency", "first_year"))
    return (1 + up / 100) ** (year - first) * (1 + kept / 100)


def comings(record: Mapping, rows: Sequence[Mapping]) -> list[tuple[int, str, str]]:
    """(year, site, treatment) of every coming of a contractor, once for all fields of a site."""
    return sorted({(r["year"], record["sites"][r["field_id"]], r["treatment"]) for r in rows if r["treatment"] != NONE})


def years_sheet(record: Mapping, plan: Sheet, priced: Priced, words: Words) -> Sheet:
    """Money and hours of each year against what the owner approved; least orders below."""
    lead = [words("book_years_title"), words("book_carried" if record["carry_over"] else "book_not_carried")]
    heads = [words(f"book_{k}", unit=u) for k, u in (("year", ""), ("approved", record["currency"]), ("asked", record["currency"]), ("left", record["currency"]), ("holds", ""), ("crew_hours", ""), ("hours_asked", ""), ("holds", ""))]  # fmt: skip
    first, out = len(lead) + 3, []
    last = plan.first + max(len(plan.rows), 1) - 1
    span = lambda column: f"'{plan.name}'!${column}${plan.first}:${column}${last}"
    before = 0.0
    for t in range(record["years"]):
        at, year = first + t, record["first_year"] + t
        mine = [r for r in plan.rows if r[YEAR].value == year]
        asked, hours = round(sum(r[COST].value for r in mine), 2), sum(r[HOURS].value or 0.0 for r in mine)
        left = record["money"][t] - asked + (before if record["carry_over"] else 0.0)
        carried = f"+D{at - 1}" if record["carry_over"] and t else ""
        out.append([Cell(year, TEXT), Cell(record["money"][t], "input"), Cell(asked, MONEY, f"SUMIFS({span('H')},{span('A')},A{at})"), Cell(left, MONEY, f"B{at}-C{at}{carried}"),
                    _word(left >= -0.005, f"D{at}>=-0.005", words), Cell(record["crew_hours"][t], "input"), Cell(hours, FIGURE, f"SUMIFS({span('G')},{span('A')},A{at})"),
                    _word(hours <= record["crew_hours"][t] + 1e-6, f"G{at}<=F{at}+0.000001", words)])  # fmt: skip
        before = left
    total = first + len(out)
    out.append([Cell(words("book_total")), *(Cell(sum(r[k].value for r in out), MONEY, f"SUM({c}{first}:{c}{total - 1})") for k, c in ((1, "B"), (2, "C"))), Cell(), Cell(),
                *(Cell(sum(r[k].value for r in out), FIGURE, f"SUM({c}{first}:{c}{total - 1})") for k, c in ((5, "F"), (6, "G"))), Cell()])  # fmt: skip
    out += _orders(record, plan, priced, words, total + 2, span)
    return Sheet(words("book_years"), lead, heads, out, (26, 16, 16, 16, 16, 12, 12, 16))


def _word(holds: bool, test: str, words: Words) -> Cell:
    within, over = words("book_within"), words("book_over")
    return Cell(within if holds else over, TEXT, f'IF({test},"{within}","{over}")')


def _orders(record: Mapping, plan: Sheet, priced: Priced, words: Words, first: int, span) -> list[list[Cell]]:
    """A row for each year and treatment with a least order; the year stands in the second column."""
    kinds = [w for w in TREATMENTS if priced.value.get((w, "minimum_lot"), 0.0) > 0]
    out: list[list[Cell]] = [[], [Cell(words("book_least_orders"), "head")]] if kinds else []
    for word in kinds:
        for t in range(record["years"]):
            year, at = record["first_year"] + t, first + len(out) - 1
            name = words(f"plan_does_{word}")
            ordered = round(sum(r[COST].value for r in plan.rows if r[YEAR].value == year and r[DOES].value == name and r[LENGTH].value is not None), 2)
            if not ordered:
                continue
            least = float(cents(priced.value[word, "minimum_lot"] * _risen(priced, year)))
            up, kept, start = (priced.terms[k][0] for k in ("escalation", "contingency", "first_year"))
            out.append([Cell(name), Cell(year, TEXT), Cell(ordered, MONEY, f"SUMIFS({span('H')},{span('A')},B{at},{span('C')},A{at},{span('D')},\">=0\")"),
                        Cell(least, MONEY, f"ROUND({priced.at[word, 'minimum_lot']}*(1+{up}/100)^(B{at}-{start})*(1+{kept}/100),2)"),
                        Cell(words("book_reached" if ordered >= least - 0.005 else "book_short"), TEXT, f'IF(C{at}>=D{at}-0.005,"{words("book_reached")}","{words("book_short")}")')])  # fmt: skip
    return out
