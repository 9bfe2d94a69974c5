"""The tables of the board's paper: the years, the lines of the plan as far as they fit, and what was promised before."""

from __future__ import annotations

from typing import TYPE_CHECKING, Mapping, Sequence

from pipeline.plan.outcome import TRUSTED
from pipeline.plan.reasons import FORCED, NOT_NEEDED, PAYS, PINNED
from pipeline.plan.treatments import NONE
from pipeline.report.figures import PLUS_MINUS, TO, Units, Z95, counted, printed, rounded
from pipeline.report.papers.board_said import done, named
from pipeline.report.papers.paper import Block, Lines, Table
from pipeline.report.plan_measures import part
from pipeline.report.plan_reasons import little, money, points
from pipeline.report.words import Words, opened

if TYPE_CHECKING:
    from pipeline.report.papers.board import Room

MOST_LEFT = 6  # years named of what is not shown


def years_table(record: Mapping, most: int, words: Words) -> Table:
    """A row a year and one for all; years beyond `most` in one row."""
    cash = lambda v: money(v, record["currency"])
    first, ends, years = record["first_year"], record["conditions"], record["years"]
    own = years if years <= most else most - 1

    def row(name: str, of: slice, end: int | None) -> list[str]:
        whole = lambda key: sum(record[key][of])
        hours = words("board_hours", hours=counted(round(whole("hours"))), of=counted(round(whole("crew_hours"))))
        return [name, cash(whole("money")), cash(whole("spent")), cash(whole("comings")), hours, *(points(ends[k][end]) if end is not None else "" for k in ("planned", "untreated"))]

    rows = [row(str(first + t), slice(t, t + 1), t) for t in range(own)]
    if own < years:
        rows.append(row(f"{first + own}{TO}{first + years - 1}", slice(own, years), years - 1))
    heads = [words(f"board_head_{k}") for k in ("year", "approved", "asked", "coming", "hours", "planned", "untreated")]
    return Table("", heads, [*rows, row(words("board_all_years"), slice(0, years), None)], right=(1, 2, 3, 4, 5, 6), wide=(0,))


def done_table(record: Mapping, room: Room, words: Words) -> list[Block]:
    """Lines of the plan by year, within one what must be first and then what takes most off; what does not fit is counted."""
    must = {FORCED: 0, PINNED: 1}
    lines = sorted(done(record), key=lambda r: (r["year"], must.get(r["why"]["code"], 2), -r["why"]["saved"], r["field_id"]))
    if not lines:
        return [Lines([words("board_nothing")])]
    shown, left = lines[: room.lines], lines[room.lines :]
    heads = [words(f"board_head_{k}") for k in ("year", "field", "work", "takes", "firm", "why")]
    rows = [[str(r["year"]), record["names"][r["field_id"]], opened(words(f"plan_does_{r['treatment']}")), _takes(r, record, words), words(f"plan_{r['firmness']}"), short_reason(r, record, words)] for r in shown]
    said = [words("board_left", what=_left(left, record, words))] if left else []
    waits = _waits(record, room.names, words)
    return ([Table("", heads, rows, right=(3,), wide=(1, 2, 5, 5, 5))] if rows else []) + [Lines([" ".join([*said, *waits, words("board_whole")])], small=True)]


def _takes(line: Mapping, record: Mapping, words: Words) -> str:
    """Money, else crew hours, or both."""
    cash = [money(line["cost"], record["currency"])] if line["cost"] >= 0.5 else []
    hours = [words("board_hours_of", hours=printed(line["hours"], 0))] if line["hours"] >= 0.5 else []
    return ", ".join([*cash, *hours])


def short_reason(line: Mapping, record: Mapping, words: Words) -> str:
    """Why a line stands, in a few words."""
    why = line["why"]
    about = part(why["component"], record["places"][line["field_id"]][why["component"]], words) if why["component"] else ""
    begun = [words(f"board_why_{why['code']}", part=about)] if why["code"] in (FORCED, PINNED) else []
    if not about or why["saved"] <= 0.005:
        return " ".join([*begun, words("board_why_none")])
    key = "board_why_forced_saves" if why["code"] == FORCED else "board_why_pays" if why["code"] == PAYS else "board_why_saves"
    out = [*begun, opened(words(key, part=about, saved=points(why["saved"])))]
    if little(line, record):
        out.append(words("board_why_little"))
    return " ".join(out)


def _left(left: Sequence[Mapping], record: Mapping, words: Words) -> str:
    """'12 in 2026 for USD 40 000; 31 in 2027 ...': the pieces of work that are not shown, by year."""
    years = sorted({r["year"] for r in left})
    of = lambda some: [r for r in left if r["year"] in some]
    groups = [(str(y), of({y})) for y in years[:MOST_LEFT]]
    if years[MOST_LEFT:]:
        groups.append((f"{years[MOST_LEFT]}{TO}{years[-1]}", of(set(years[MOST_LEFT:]))))
    return "; ".join(words("board_left_year", number=len(rows), year=year, takes=_takes({k: sum(r[k] for r in rows) for k in ("cost", "hours")}, record, words)) for year, rows in groups)


def _waits(record: Mapping, most: int, words: Words) -> list[str]:
    """Fields that get nothing in the first year: those that need nothing, and those that wait."""
    first = [r for r in record["lines"] if r["year"] == record["first_year"] and r["treatment"] == NONE]
    out = []
    for key, rows in (("board_rests", [r for r in first if r["why"]["code"] == NOT_NEEDED]), ("board_waits", [r for r in first if r["why"]["code"] != NOT_NEEDED])):
        if rows:
            out.append(words(key, year=record["first_year"], fields=named([record["names"][r["field_id"]] for r in rows], most, words)))
    return out


def promised_blocks(outcome: Sequence[Mapping], record: Mapping, room: Room, units: Units, words: Words) -> list[Block]:
    """What plans of years that have begun promised, what was done, what was measured; whether forecasts are to be trusted."""
    said, found = [], record["outcome"]
    done_of = [r for r in outcome if r["done_on"] is not None]
    if outcome:
        told = [r for r in done_of if r["cost_actual"] is not None]
        said.append(words("board_begun", number=len(outcome), done=len(done_of), measured=found["measured"]))
        if told:
            said.append(words("board_begun_cost", actual=money(sum(r["cost_actual"] for r in told), record["currency"]), planned=money(sum(r["cost_planned"] for r in told), record["currency"]), number=len(told)))
    if not found["measured"]:
        said.append(words("plan_outcome_none"))
    else:
        said.append(words("board_kept", kept=found["in_band"], measured=found["measured"], share=printed(100 * found["share"], 0)))
        said.append(words("board_trusted", share=printed(100 * TRUSTED, 0)) if found["trusted"] else words("plan_outcome_distrust"))
    measured = sorted((r for r in outcome if r["measured_mm"] is not None), key=lambda r: (bool(r["in_band"]), -r["plan_year"], r["field_id"]))
    samples = [_promised(r, record, units, words) for r in measured[: min(room.names, 3)]]
    return [Lines([" ".join([*said, *samples])])]


def _promised(row: Mapping, record: Mapping, units: Units, words: Words) -> str:
    unit = units.height
    low, high = (printed(row[f"promised_{end}95_mm"] / unit.size, unit.finest) for end in ("low", "high"))
    measured, half = rounded(row["measured_mm"] / unit.size, Z95 * row["measured_sigma_mm"] / unit.size, unit.finest)
    return words("board_promised_line", field=record["names"].get(row["field_id"], row["field_id"]), year=row["plan_year"], does=words(f"plan_does_{row['treatment']}"),
                 measure=words(f"board_measure_{row['component']}"), low=low, high=high, measured=f"{measured} {PLUS_MINUS} {half}", unit=unit.name, band=words("board_in" if row["in_band"] else "board_out"))  # fmt: skip
