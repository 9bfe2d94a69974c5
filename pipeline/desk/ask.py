"""A sheet of paper typed in: one question a line, the words allowed beside it, nothing written until it is read back."""

from __future__ import annotations

import datetime as dt

from pipeline.errors import did_you_mean
from pipeline.notebook import COLUMNS, INTO, TABLE
from pipeline.project import Project
from pipeline.tables import MOISTURES, TABLES, Bad, Rows

FIELDS = {t: {f.name: f for f in fields} for t, fields in TABLES.items() if t in INTO}
SEEN = ("puddle", "soft", "trip", "hole", "weeds")
ENTRY = ("home", "first", "second", "third", "left", "right", "centre")
MIX_UNITS = ("short_ton", "tonne", "yd3_loose", "m3_loose")
# What is asked of a piece of work: column, question, words allowed.
OF_WORK = (
    ("hours", "hours", ()), ("bearing_deg", "bearing driven, 0 to 180 degrees from grid north", ()), ("entry", "corner begun at", ENTRY), ("moisture", "a squeezed handful", MOISTURES),
    ("mix_amount", "mix brought, the figure", ()), ("mix_unit", "its unit", MIX_UNITS), ("notes", "notes", ()),
)  # fmt: skip
OF_SEEN = (("value", "what was seen", SEEN), ("place", "where (a place such as second, or empty)", ()), ("notes", "notes", ()))


class Ended(Exception):
    """No more lines."""


def asked(project: Project, today: dt.date | None) -> Rows | None:
    """Rows as they were typed; None where the one who typed them takes them back. An input that ends before the last question adds nothing."""
    rows: list[dict[str, str]] = []
    day = ""
    print("One line a question; empty: not known. A field left empty ends the list.")
    try:
        while field := _answer("field", tuple(sorted(project.fields)), FIELDS["works"]["field_id"].read):
            day = _answer(f"day, as 2026-04-18{f' (empty: {day})' if day else ''}", (), FIELDS["works"]["done_on"].read) or day
            if not day:
                print("  A day is needed.")
                continue
            work = _answer("work (empty: something seen)", _words("works", "work"), FIELDS["works"]["work"].read)
            rows.append(_row("works", {"field_id": field, "done_on": day, "work": work, "by": "crew"}, OF_WORK) if work else
                        _row("readings", {"field_id": field, "read_on": day, "kind": "seen"}, OF_SEEN))  # fmt: skip
            if not work and not rows[-1].get("value"):
                rows.pop()
                print("  Nothing was seen: nothing noted.")
        if not rows:
            return None
        _read_back(rows)
        if _answer("write it? yes or no", ("yes", "no")) != "yes":
            return None
    except Ended:
        print("\nThe lines ended before the last question.")
        return None
    return Rows("what was typed", COLUMNS, tuple(enumerate(rows, start=1)))


def _row(table: str, known: dict[str, str], asked_for) -> dict[str, str]:
    out = {TABLE: table, **known}
    for column, question, words in asked_for:
        if column == "mix_unit" and not out.get("mix_amount"):
            continue
        while not (answer := _answer(question, words, FIELDS[table][column].read)) and column == "mix_unit":
            print("  An amount needs its unit.")
        if answer:
            out[column] = answer
    return out


def _answer(question: str, words: tuple[str, ...] = (), reader=None) -> str:
    """One answer, asked again until it can be read; empty for none."""
    while True:
        try:
            said = input(f"{question}{' [' + ', '.join(words) + ']' if words else ''}: ").strip()
        except EOFError:
            raise Ended from None
        if not said:
            return ""
        try:
            if reader is not None:
                reader(said)
            if not words or said in words:
                return said
            print(f"  Found {said!r}; expected one of {', '.join(words)}.{did_you_mean(said, words)}")
        except Bad as bad:
            print(f"  Found {said!r}; expected {bad.args[0]}. {bad.args[1]}")


def _words(table: str, column: str) -> tuple[str, ...]:
    """The words a column allows, as its own refusal lists them."""
    try:
        FIELDS[table][column].read("?")
    except Bad as bad:
        return tuple(bad.args[0].removeprefix("one of ").split(", "))
    return ()


def _read_back(rows: list[dict[str, str]]) -> None:
    print("Noted:")
    for k, row in enumerate(rows, start=1):
        print(f"  {k}. " + ", ".join(f"{c} {row[c]}" for c in COLUMNS if row.get(c) and c not in (TABLE, "kind", "by")))
