"""The crew's paper typed in: one question a line, the words that may be answered beside it; an empty answer is unknown."""

from __future__ import annotations

import sys
from typing import Callable, Iterable, Mapping, Sequence

from pipeline.desk.log_places import Ground
from pipeline.errors import Problem, did_you_mean
from pipeline.project import Project
from pipeline.tables import ACTIONS, CORNERS, MIX_UNITS, MOISTURES, SEEN, WORKS

NO, YES = ("n", "no"), ("y", "yes")


class Ended(Exception):
    """The answers ended before the last question."""


def asked(project: Project, grounds: Mapping[str, Ground], faults: Callable[[Mapping[str, str]], Sequence[Problem]]) -> list[dict[str, str]] | None:
    """Rows as the answers give them, once they are confirmed; None where they are not, or end too soon.

    faults : what is wrong with one row
    """
    asking = _Asking(faults)
    rows: list[dict[str, str]] = []
    print("One row of the sheet after another. An empty answer is unknown; an empty field ends.")
    day = ""
    try:
        while field := asking.word("Field", project.fields):
            day = asking.day(field, day)
            rows += _works(asking, field, day) + _seen(asking, field, day, grounds[field]) + _walks(asking, field, day)
        if not rows:
            return []
        print()
        for row in rows:
            print("  " + line_of(row))
        sure = asking.word(f"Write {'this row' if len(rows) == 1 else f'these {len(rows)} rows'}? yes or no", YES + NO, shown=False, needed=True)
        return rows if sure in YES else None
    except Ended:
        print("\nThe answers ended before the last question.", file=sys.stderr)
        return None


def line_of(row: Mapping[str, str]) -> str:
    """One row in a line, to be looked over."""
    return f"{row['table']}: " + ", ".join(v if c in ("field_id", "done_on", "read_on", "walked_on", "work") else f"{c} {v}" for c, v in row.items() if c != "table")


def _works(asking: "_Asking", field: str, day: str) -> list[dict[str, str]]:
    out: list[dict[str, str]] = []
    while work := asking.word("Work done" if not out else "Other work done", WORKS):
        row = {"table": "works", "field_id": field, "done_on": day, "work": work}
        for column, question, words in (
            ("hours", "Hours", ()), ("bearing_deg", "Bearing, 0 to 180 degrees from north", ()), ("entry", "Corner it began at", CORNERS),
            ("moisture", "A squeezed handful of the mix", MOISTURES), ("mix_amount", "Mix brought, the figure", ()),
        ):  # fmt: skip
            asking.into(row, column, question, words)
        if "mix_amount" in row:
            asking.into(row, "mix_unit", "Its unit", MIX_UNITS, needed=True)
        asking.into(row, "notes", "Note")
        out.append(row)
    return out


def _seen(asking: "_Asking", field: str, day: str, ground: Ground) -> list[dict[str, str]]:
    out: list[dict[str, str]] = []
    while word := asking.word("Seen" if not out else "Something else seen", SEEN):
        row = {"table": "readings", "field_id": field, "read_on": day, "kind": "seen", "value": word}
        asking.into(row, "place", "Where", sorted(set(ground.places.values())), needed=True)
        asking.into(row, "notes", "Note")
        out.append(row)
    return out


def _walks(asking: "_Asking", field: str, day: str) -> list[dict[str, str]]:
    out: list[dict[str, str]] = []
    while action := asking.word("Done about a hazard" if not out else "Done about another hazard", ACTIONS):
        row = {"table": "walks", "field_id": field, "walked_on": day, "action": action}
        asking.into(row, "place", "Where, as the page names it", needed=True)
        asking.into(row, "item", "What it is, as hole or lip", needed=True)
        asking.into(row, "finding", "What was found or done", needed=True)
        out.append(row)
    return out


class _Asking:
    """Questions on standard output, answers from standard input; a bad answer is named and asked for again."""

    def __init__(self, faults: Callable[[Mapping[str, str]], Sequence[Problem]]):
        self.faults = faults

    def line(self, question: str) -> str:
        print(question + ": ", end="", flush=True)
        try:
            answer = sys.stdin.readline()
        except UnicodeDecodeError:
            answer = "\ufffd\n"
        if not answer:
            raise Ended
        if not sys.stdin.isatty():
            print()
        return answer.strip()

    def word(self, question: str, words: Iterable[str], shown: bool = True, needed: bool = False) -> str:
        """One of the words, or nothing."""
        words = tuple(words)
        while True:
            answer = self.line(f"{question} ({', '.join(words)})" if shown else question).lower()
            if answer in words or (not answer and not needed):
                return answer
            print(f"  {answer!r}: one of {', '.join(words)}.{did_you_mean(answer, words)}" if answer else "  An answer is needed here.")

    def day(self, field: str, before: str) -> str:
        while True:
            answer = self.line("Day, as 2026-05-04" + (f"; empty: {before}" if before else "")) or before
            wrong = self.wrong({"table": "works", "field_id": field, "done_on": answer, "work": "other"}, "done_on")
            if not wrong:
                return answer
            print(f"  {wrong}")

    def into(self, row: dict[str, str], column: str, question: str, words: Sequence[str] = (), needed: bool = False) -> None:
        """Ask for one cell until it is good, or left empty."""
        question = f"{question} ({', '.join(words)})" if words else question
        while True:
            answer = self.line(question)
            answer = answer.lower() if words else answer
            if not answer and not needed:
                return
            wrong = "An answer is needed here." if not answer else self.wrong({**row, column: answer}, column)
            if not wrong:
                row[column] = answer
                return
            print(f"  {wrong}")

    def wrong(self, row: Mapping[str, str], column: str) -> str:
        """What is wrong with one cell of a row that is not whole yet; empty where nothing is."""
        found = next((p for p in self.faults(row) if p.column == column), None)
        return f"found {found.found}; expected {found.expected}. {found.todo}" if found else ""
