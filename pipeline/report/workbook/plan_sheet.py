"""The sheets of the plan, a live cost on every line: fields and years, contractors' comings, years against budgets, least orders."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.owner import Budget
from pipeline.plan.treatments import NONE, TREATMENTS, cents
from pipeline.report.figures import Units, plain_text
from pipeline.report.plan_reasons import line_reason
from pipeline.report.words import Words, titled
from pipeline.report.workbook.costs import BY_LENGTH, BY_MIX, CONTINGENCY, ESCALATION, Priced, cost_name
from pipeline.sheets import DAY, FIGURE, INPUT, MONEY, TEXT, TOTAL, WHOLE, Cell, Sheet, first_row, letter

PLAN = ("year", "field", "site", "does", "length", "area", "mix", "hours", "cost", "coming_share", "whole", "planned", "moved", "firmness", "pinned", "reason")
COMINGS = ("year", "site", "does", "fields", "coming", "planned", "moved")
YEARS = ("year", "approved", "set_by", "set_on", "carried_in", "lines", "comings", "asked", "left", "money_word", "crew_hours", "hours_asked", "hours_word", "planned", "moved")
ORDERS = ("year", "does", "ordered", "least", "least_word")
WIDTHS = {"year": 10, "field": 24, "site": 18, "does": 24, "set_by": 30, "set_on": 12, "firmness": 14, "reason": 90, "pinned": 9, "money_word": 12, "hours_word": 12, "least_word": 22}
OF = {"cost": "currency", "coming_share": "currency", "whole": "currency", "planned": "currency", "moved": "currency", "coming": "currency", "approved": "currency", "carried_in": "currency",
      "lines": "currency", "comings": "currency", "asked": "currency", "left": "currency", "ordered": "currency", "least": "currency", "length": "length", "area": "area", "mix": "mass"}  # fmt: skip


def unit_in(column: str, units: Units, currency: str) -> str:
    """The unit of a column of these sheets, empty where it has none."""
    kind = OF.get(column, "")
    return currency if kind == "currency" else getattr(units, kind).name if kind else ""


def heads_of(columns: Sequence[str], units: Units, currency: str, words: Words) -> list[str]:
    named = lambda c: words("book_column_unit", name=words(f"book_{c}"), unit=unit_in(c, units, currency)) if unit_in(c, units, currency) else words(f"book_{c}")
    return [named(c) for c in columns]


def widths_of(columns: Sequence[str]) -> list[float]:
    return [WIDTHS.get(c, 14) for c in columns]


class Sheets:
    """Makes the sheets of one plan. record: build/plan/plan.json; rows: of capital_plan.csv; priced: the sheet of unit prices."""

    def __init__(self, record: Mapping, rows: Sequence[Mapping], priced: Priced, words: Words, units: Units):
        self.record, self.rows, self.priced, self.words, self.units, self.currency = record, rows, priced, words, units, record["currency"]
        self.comings_here = sorted({(r["year"], record["sites"][r["field_id"]], r["treatment"]) for r in rows if cost_name(r["treatment"], "mobilisation") in priced.names})
        self.plan_lead = [words("book_plan_title"), words("book_plan_lead"), words("book_not_chosen_anew")]
        self.comings_lead = [words("book_comings_title"), words("book_coming_why"), *([] if self.comings_here else [words("book_empty")])]
        spans = lambda name, lead, columns, count: {c: Sheet(name, lead, (), [()] * count).span(k) for k, c in enumerate(columns)}
        self.in_plan = spans(words("book_plan"), self.plan_lead, PLAN, len(rows))
        self.in_comings = spans(words("book_comings"), self.comings_lead, COMINGS, len(self.comings_here))

    def rise(self, at: int) -> str:
        """Prices of the year in column A over those of the first year, contingency in it."""
        return f"(1+{ESCALATION}/100)^(A{at}-{self.record['first_year']})*(1+{CONTINGENCY}/100)"

    def risen(self, year: int) -> float:
        of = self.priced.value
        return (1 + of[ESCALATION] / 100) ** (year - self.record["first_year"]) * (1 + of[CONTINGENCY] / 100)

    def shared(self, word: str, figure: str, year: int) -> float:
        """What a contractor's coming, or a least order, is in a year."""
        return float(cents(self.priced.value[cost_name(word, figure)] * self.risen(year)))

    def site(self, row: Mapping) -> str:
        return titled(self.record["sites"][row["field_id"]])

    def plan(self) -> Sheet:
        """A row a field and year."""
        lines = {(line["year"], line["field_id"]): line for line in self.record["lines"]}
        order = sorted(self.rows, key=lambda r: (r["year"], self.record["names"][r["field_id"]], r["field_id"]))
        out = [self._line(row, lines[row["year"], row["field_id"]], at) for at, row in enumerate(order, start=first_row(self.plan_lead))]
        return Sheet(self.words("book_plan"), self.plan_lead, heads_of(PLAN, self.units, self.currency, self.words), out, widths_of(PLAN))

    def _line(self, row: Mapping, line: Mapping, at: int) -> list[Cell]:
        word, record, words = row["treatment"], self.record, self.words
        said = [Cell(row["year"], TEXT), Cell(record["names"][row["field_id"]]), Cell(self.site(row)), Cell(words(f"plan_does_{word}"))]
        told = [Cell(words(f"plan_{row['firmness']}")), Cell(bool(row["pinned"])), Cell(plain_text(line_reason(line, record, words, self.units)))]
        if word == NONE:
            return [*said, *[Cell()] * 3, Cell(0.0, FIGURE), *[Cell(0.0, MONEY)] * 5, *told]
        sizes = record["sizes"][row["field_id"]]
        takes = {"": (1.0, ""), "per_m2": (sizes["area_m2"] / self.units.area.size, "F")}
        takes |= {"per_m": (sizes["lip_m"] / self.units.length.size, "E")} if word in BY_LENGTH else {}
        takes |= {"per_t": (line["tonnes"] / self.units.mass.size, "G")} if word in BY_MIX else {}
        bare, of_money = self._sum(word, {per or "fixed": t for per, t in takes.items()}, at)
        hours, of_hours = self._sum(word, {f"hours_{per or 'fixed'}": t for per, t in takes.items() if per != "per_t"}, at)
        cost, share = float(cents(bare * self.risen(row["year"]))), 0.0
        coming = Cell(0.0, MONEY)
        if (row["year"], record["sites"][row["field_id"]], word) in self.comings_here:
            alike = sum((r["year"], r["treatment"], record["sites"][r["field_id"]]) == (row["year"], word, record["sites"][row["field_id"]]) for r in self.rows)
            share = self.shared(word, "mobilisation", row["year"]) / alike
            of, mine = self.in_comings, self.in_plan
            coming = Cell(share, MONEY, f"SUMIFS({of['coming']},{of['year']},A{at},{of['site']},C{at},{of['does']},D{at})/COUNTIFS({mine['year']},A{at},{mine['site']},C{at},{mine['does']},D{at})")
        length, mix = (Cell(takes[k][0], FIGURE) if k in takes else Cell() for k in ("per_m", "per_t"))
        return [*said, length, Cell(takes["per_m2"][0], FIGURE), mix, Cell(hours, FIGURE, of_hours), Cell(cost, MONEY, f"ROUND(({of_money})*{self.rise(at)},2)"), coming,
                Cell(cost + share, MONEY, f"I{at}+J{at}"), Cell(row["cost"], MONEY), Cell(round(cost - row["cost"], 2), MONEY, f"ROUND(I{at}-L{at},2)"), *told]  # fmt: skip

    def _sum(self, word: str, takes: Mapping[str, tuple[float, str]], at: int) -> tuple[float, str]:
        """Figures times what they are for: now, and as a formula."""
        names = {cost_name(word, figure): t for figure, t in takes.items()}
        return sum(self.priced.value[n] * size for n, (size, _) in names.items()), "+".join(f"{n}*{column}{at}" if column else n for n, (_, column) in names.items())

    def comings(self) -> Sheet:
        """A row for each site, year and treatment to which somebody comes with machines: once for all fields there."""
        out, mine = [], self.in_plan
        for at, (year, site, word) in enumerate(self.comings_here, start=first_row(self.comings_lead)):
            alike = sum((r["year"], r["treatment"], self.record["sites"][r["field_id"]]) == (year, word, site) for r in self.rows)
            cost = self.shared(word, "mobilisation", year)
            out.append([Cell(year, TEXT), Cell(titled(site)), Cell(self.words(f"plan_does_{word}")), Cell(alike, WHOLE, f"COUNTIFS({mine['year']},A{at},{mine['site']},B{at},{mine['does']},C{at})"),
                        Cell(cost, MONEY, f"ROUND({cost_name(word, 'mobilisation')}*{self.rise(at)},2)"), Cell(cost, MONEY), Cell(0.0, MONEY, f"ROUND(E{at}-F{at},2)")])  # fmt: skip
        return Sheet(self.words("book_comings"), self.comings_lead, heads_of(COMINGS, self.units, self.currency, self.words), out, widths_of(COMINGS))

    def years(self, budget: Sequence[Budget]) -> Sheet:
        """Money and hours of each year against what the owner approved."""
        record, words, carries = self.record, self.words, bool(self.record["carry_over"])
        lead = [words("book_years_title"), words("book_carried" if carries else "book_not_carried"), words("book_not_chosen_anew")]
        signed, mine, of, out, before = {b.year: b.money for b in budget}, self.in_plan, self.in_comings, [], 0.0
        first = first_row(lead)
        for t in range(record["years"]):
            at, year, has = first + t, record["first_year"] + t, record["money"][t]
            here = [r for r in self.rows if r["year"] == year]
            lines, coming = sum(r["cost"] for r in here), sum(self.shared(w, "mobilisation", y) for y, _, w in self.comings_here if y == year)
            hours, spent = sum(line["hours"] for line in record["lines"] if line["year"] == year), lines + coming
            brought = before if carries else 0.0
            left = has + brought - spent
            by = signed.get(year)
            out.append([
                Cell(year, TEXT), Cell(has, INPUT), Cell(by.set_by if by else None), Cell(by.set_on if by else None, DAY), Cell(brought, MONEY, f"I{at - 1}") if carries and t else Cell(0.0, MONEY),
                Cell(round(lines, 2), MONEY, f"SUMIFS({mine['cost']},{mine['year']},A{at})"), Cell(round(coming, 2), MONEY, f"SUMIFS({of['coming']},{of['year']},A{at})"),
                Cell(round(spent, 2), MONEY, f"F{at}+G{at}"), Cell(round(left, 2), MONEY, f"ROUND(B{at}+E{at}-H{at},2)"), self._word(left >= -0.005, f"I{at}>=0"),
                Cell(record["crew_hours"][t], INPUT), Cell(hours, FIGURE, f"SUMIFS({mine['hours']},{mine['year']},A{at})"), self._word(hours <= record["crew_hours"][t] + 1e-6, f"L{at}<=K{at}+0.000001"),
                Cell(round(record["spent"][t], 2), MONEY), Cell(round(spent - record["spent"][t], 2), MONEY, f"ROUND(H{at}-N{at},2)"),
            ])  # fmt: skip
            before = left
        summed = {"approved", "lines", "comings", "asked", "crew_hours", "hours_asked", "planned", "moved"}
        total = [Cell(words("book_total"), TOTAL), *(Cell(sum(r[k].value for r in out), TOTAL, f"SUM({letter(k)}{first}:{letter(k)}{first + len(out) - 1})") if c in summed else Cell(None, TOTAL)
                                                     for k, c in enumerate(YEARS) if k)]  # fmt: skip
        return Sheet(words("book_years"), lead, heads_of(YEARS, self.units, self.currency, words), out, widths_of(YEARS), total, fixed=True)

    def _word(self, holds: bool, test: str, yes: str = "book_within", no: str = "book_over") -> Cell:
        within, over = self.words(yes), self.words(no)
        return Cell(within if holds else over, TEXT, f'IF({test},"{within}","{over}")')

    def orders(self) -> Sheet:
        """A row for each year and treatment of which a contractor takes no less than a least order."""
        lead, mine, out = [self.words("book_orders_title"), self.words("book_orders_lead")], self.in_plan, []
        kinds = sorted({(r["year"], r["treatment"]) for r in self.rows if cost_name(r["treatment"], "minimum_lot") in self.priced.names}, key=lambda k: (k[0], TREATMENTS.index(k[1])))
        for at, (year, word) in enumerate(kinds, start=first_row(lead)):
            ordered, least = sum(r["cost"] for r in self.rows if (r["year"], r["treatment"]) == (year, word)), self.shared(word, "minimum_lot", year)
            out.append([Cell(year, TEXT), Cell(self.words(f"plan_does_{word}")), Cell(round(ordered, 2), MONEY, f"SUMIFS({mine['cost']},{mine['year']},A{at},{mine['does']},B{at})"),
                        Cell(least, MONEY, f"ROUND({cost_name(word, 'minimum_lot')}*{self.rise(at)},2)"), self._word(ordered >= least - 0.005, f"C{at}>=D{at}-0.005", "book_reached", "book_short")])  # fmt: skip
        lead += [] if out else [self.words("book_empty")]
        return Sheet(self.words("book_orders"), lead, heads_of(ORDERS, self.units, self.currency, self.words), out, widths_of(ORDERS))
