"""Any file that the week's page can save is accepted; any other is refused with the tables as they were."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from support.log_scene import HOME, everything, project

from pipeline.desk.log import log
from pipeline.desk.log_rows import COLUMNS, FORMULA
from pipeline.errors import BadInput
from pipeline.store.config import load
from pipeline.tables import ACTIONS, CORNERS, LOGGED, MIX_UNITS, MOISTURES, SEEN, WORKS

FEW = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
DAYS = st.dates(dt.date(1990, 1, 1), dt.date(2026, 1, 1)).map(str)
FIELDS = st.sampled_from(["moth", "wren"])
# What a page's text box holds once the page has made line ends and tabs spaces and cut its ends.
NOTES = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=80).map(str.strip).filter(lambda t: not FORMULA.match(t))
NUMBERS = st.one_of(st.integers(0, 2000).map(str), st.floats(0, 2000, allow_nan=False).map(lambda v: f"{v:.2f}"))
EMPTY = st.just("")


def number(low: float, high: float):
    return st.one_of(EMPTY, st.floats(low, high).map(lambda v: f"{v:.2f}".rstrip("0").rstrip(".")), st.integers(int(low), int(high)).map(str))


@st.composite
def work(draw) -> dict:
    mix = draw(number(0, 100))
    return {
        "table": "works", "field_id": draw(FIELDS), "done_on": draw(DAYS), "work": draw(st.sampled_from(WORKS)), "hours": draw(number(0, 2000)),
        "bearing_deg": draw(number(0, 180)), "entry": draw(st.sampled_from(("", *CORNERS))), "moisture": draw(st.sampled_from(("", *MOISTURES))),
        "mix_amount": mix, "mix_unit": draw(st.sampled_from(MIX_UNITS)) if mix else "", "by": "crew", "notes": draw(NOTES),
    }  # fmt: skip


@st.composite
def reading(draw) -> dict:
    out = {"table": "readings", "field_id": draw(FIELDS), "read_on": draw(DAYS)}
    if draw(st.booleans()):
        return out | {"kind": "moisture_hand", "value": draw(st.sampled_from(MOISTURES))}
    e, n = (draw(st.floats(-40, 120).map(lambda v, k=k: f"{HOME[k] + v:.2f}")) for k in (0, 1))
    return out | {"kind": "seen", "value": draw(st.sampled_from(SEEN)), "place": draw(st.sampled_from(("", "first", "short-stop"))), "e": e, "n": n}


@st.composite
def walk(draw) -> dict:
    day, action = draw(DAYS), draw(st.sampled_from(("", *ACTIONS)))
    words = NOTES.filter(bool)
    return {"table": "walks", "field_id": draw(FIELDS), "walked_on": day, "item": draw(words), "place": draw(words), "finding": draw(words),
            "action": action, "closed_on": day if action == "repaired" else "", "role": "crew"}  # fmt: skip


def saved(rows: list[dict], columns: list[str], names: bool) -> bytes:
    """The file as the page writes it."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    called = {"works": "work_id", "readings": "reading_id", "walks": "walk_id"}
    writer.writerows({**r, called[r["table"]]: f"x-{k}"} if names else r for k, r in enumerate(rows))
    return out.getvalue().encode()


@pytest.mark.invariant
@FEW
@given(st.lists(st.one_of(work(), reading(), walk()), max_size=12), st.permutations(COLUMNS), st.booleans())
def test_any_file_the_page_can_save_is_accepted_and_adds_its_rows_once(rows, columns, names):
    used = {c for r in rows for c, v in r.items() if v}
    columns = [c for c in columns if c == "table" or c in used or len(c) % 2 == 0]
    if names:
        columns += [c for c in ("work_id", "reading_id", "walk_id") if c not in columns]
    with tempfile.TemporaryDirectory() as root:
        folder, path = project(Path(root) / "park"), Path(root) / "week.csv"
        before = {t: len(load(folder)[0].tables[t]) for t in LOGGED}
        path.write_bytes(saved(rows, columns, names))
        assert log([path, folder], False) == 0
        after = load(folder)[0].tables
        whole = {(r["table"], frozenset((c, _same(c, v)) for c, v in r.items() if v)) for r in rows}
        assert sum(len(after[t]) - before[t] for t in LOGGED) == len(whole)
        once = everything(folder)
        assert log([path, folder], False) == 0 and everything(folder) == once


def _same(column: str, text: str):
    """A figure is the same figure however it is written."""
    return float(text) if column in ("hours", "bearing_deg", "mix_amount", "e", "n") else text


GOOD = saved([{"table": "works", "field_id": "moth", "done_on": "2025-07-07", "work": "drag", "hours": "1"}], list(COLUMNS), False)
CELLS = st.one_of(st.text(max_size=12), st.sampled_from(["=cmd|' /C calc'!A0", "@SUM(1)", "\0", '"', "nan", "1e999", "-1", "moth", "works", "drag", "2025-07-07", "2025-13-40", "x" * 3000, "\u202e", "\x1b[2J", "ton", "../.."]))


@pytest.mark.invariant
@FEW
@given(st.binary(max_size=400))
@example(b"\xff\xfe" + "table,field_id\n".encode("utf-16-le"))
@example(b"table," * 50000)
def test_any_bytes_leave_the_tables_as_they_were(data):
    refused(data)


@pytest.mark.invariant
@FEW
@given(st.lists(st.dictionaries(st.sampled_from(COLUMNS[1:]), CELLS, max_size=8), min_size=1, max_size=4))
def test_any_cells_in_rows_of_works_are_refused_or_are_good_rows(rows):
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    writer.writerows({**r, "table": "works", "hours": "many"} for r in rows)  # `many` is no figure: not one row is good
    refused(out.getvalue().encode("utf-8", "surrogatepass"))


@pytest.mark.invariant
@FEW
@given(st.integers(0, len(GOOD)), st.binary(min_size=1, max_size=3))
def test_a_good_file_with_bytes_put_in_is_added_whole_or_not_at_all(at, more):
    data = GOOD[:at] + more + GOOD[at:]
    with tempfile.TemporaryDirectory() as root:
        folder, path = project(Path(root) / "park"), Path(root) / "week.csv"
        before = everything(folder)
        path.write_bytes(data)
        try:
            status = log([path, folder], False)
        except BadInput:
            status = 1
        if status == 1:
            assert everything(folder) == before
        else:
            now = (folder / "works.csv").read_bytes()
            assert status == 0 and (now == before["works.csv"] or (len(load(folder)[0].tables["works"]) == 4 and b"2025-05-05,drag,0.5" in now))


def refused(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as root:
        folder, path = project(Path(root) / "park"), Path(root) / "week.csv"
        before = everything(folder)
        path.write_bytes(data)
        try:
            assert log([path, folder], False) == 1
        except BadInput as bad:
            assert bad.problems
        assert everything(folder) == before

