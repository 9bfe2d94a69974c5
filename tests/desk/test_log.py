"""What the crew wrote down, brought into the tables: every good row in, every bad one named, every old byte where it was."""

from __future__ import annotations

import builtins
import csv
import datetime as dt
import io
import json
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.desk.ask import asked
from pipeline.desk.log import log
from pipeline.errors import BadInput
from pipeline.notebook import COLUMNS, INTO
from pipeline.store.config import load
from pipeline.store.together import LOCK

FIELDS = "field_id,crs,layout,home_e,home_n,second_e,second_n,name,site\nmoth,EPSG:6564,softball-60,100000,100000,100000,100025.863,Moth Field,otterlamp\nheron,EPSG:6564,softball-60,101000,100000,101000,100025.863,Heron Field,otterlamp\n"
SURVEYS = "survey_id,flown_on,fields,path,source\n"
WORKS = 'work_id,done_on,field_id,work,hours,notes\nmoth-1,2025-04-02,moth,drag,0.5,"first, and short"\n\nmoth-2,2025-05-02,moth,level,,\n'
CONFIG = "# the owner's\nfields: fields.csv\nsurveys: surveys.csv\nworks: works.csv # by hand\nreadings: readings.csv\nresults: results\n"
READINGS = "\ufeffreading_id,field_id,read_on,kind,value\r\nr1,moth,2025-04-02,seen,puddle\r\n"


@pytest.fixture
def folder(tmp_path) -> Path:
    return made(tmp_path)


def made(at: Path) -> Path:
    at.mkdir(exist_ok=True)
    for name, text in (("config.yaml", CONFIG), ("fields.csv", FIELDS), ("surveys.csv", SURVEYS), ("works.csv", WORKS), ("readings.csv", READINGS)):
        (at / name).write_bytes(text.encode())
    return at


def saved(at: Path, *rows: dict, header=COLUMNS, name: str = "week.csv") -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, header, lineterminator="\r\n", restval="")
    writer.writeheader()
    writer.writerows(rows)
    (at / name).write_bytes(out.getvalue().encode())
    return str(at / name)


def tables_of(at: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(at.iterdir()) if p.name in ("config.yaml", "works.csv", "readings.csv", "walks.csv")}


DRAG = {"table": "works", "field_id": "moth", "done_on": "2026-04-14", "work": "drag", "hours": "0.5", "bearing_deg": "75", "entry": "first", "moisture": "holds"}
TRIP = {"table": "readings", "field_id": "moth", "read_on": "2026-04-14", "kind": "seen", "value": "trip", "place": "second", "e": "100001.5", "n": "100020.25"}
LOOSE = {"table": "walks", "field_id": "heron", "walked_on": "2026-04-14", "item": "anchor", "place": "second", "finding": "loose, and tall", "action": "marked_off"}


@pytest.mark.analytic
def test_rows_go_into_their_tables_and_every_old_byte_stays(folder, capsys):
    before = tables_of(folder)
    assert log(saved(folder, DRAG, TRIP, LOOSE), folder) == 0
    after = tables_of(folder)
    head = before["works.csv"].split(b"\n", 1)
    assert after["works.csv"] == head[0] + b",bearing_deg,entry,moisture\n" + head[1] + b"moth-2026-04-14-drag,2026-04-14,moth,drag,0.5,,75,first,holds\n"
    assert after["readings.csv"].startswith(b"\xef\xbb\xbfreading_id,field_id,read_on,kind,value,place,e,n\r\nr1,moth,2025-04-02,seen,puddle\r\n")
    assert after["readings.csv"].endswith(b"moth-2026-04-14-seen,moth,2026-04-14,seen,trip,second,100001.5,100020.25\r\n")
    assert b'"loose, and tall"' in after["walks.csv"] and after["config.yaml"] == before["config.yaml"].replace(b"# by hand\n", b"# by hand\nwalks: walks.csv\n")
    project, _ = load(folder)
    assert [len(project.tables[t]) for t in INTO] == [3, 2, 1]
    assert {p.name: p.read_bytes() for p in folder.glob("*.before-1")} == {f"{n}.before-1": before[n] for n in ("works.csv", "readings.csv", "config.yaml")}
    assert "Fields that changed: heron, moth" in capsys.readouterr().out and not (folder / LOCK).exists()


@pytest.mark.analytic
def test_the_same_file_again_changes_nothing_and_says_so(folder, capsys):
    file = saved(folder, DRAG, TRIP)
    assert log(file, folder) == 0
    before, copies = tables_of(folder), sorted(folder.glob("*.before-*"))
    assert log(file, folder) == 3
    assert tables_of(folder) == before and sorted(folder.glob("*.before-*")) == copies
    said = capsys.readouterr().out
    assert "row 2: works.csv, row 5 says the same" in said and "no row is new" in said


@pytest.mark.analytic
def test_a_row_that_says_what_another_says_is_one_whatever_its_id_and_way_of_writing(folder):
    again = {**DRAG, "work_id": "another", "hours": "0.50"}
    assert log(saved(folder, DRAG, again), folder) == 3
    assert len(load(folder)[0].tables["works"]) == 3
    assert log(saved(folder, {**DRAG, "notes": "twice"}), folder) == 0
    assert [r["work_id"] for r in load(folder)[0].tables["works"]][2:] == ["moth-2026-04-14-drag", "moth-2026-04-14-drag-2"]


BAD = [
    ({"work": "dragg"}, "work"), ({"field_id": "mooth"}, "field_id"), ({"done_on": "14.4.2026"}, "done_on"), ({"done_on": "2999-01-01"}, "done_on"), ({"hours": "2,5"}, "hours"),
    ({"mix_amount": "2"}, "mix_unit"), ({"mix_amount": "2", "mix_unit": "ton"}, "mix_unit"), ({"value": "trip"}, "value"), ({"table": "work"}, "table"), ({"table": ""}, "table"), ({"work_id": "moth-1"}, "work_id"),
    ({"bearing_deg": "270"}, "bearing_deg"), ({"field_id": ""}, "field_id"),
]  # fmt: skip


@pytest.mark.analytic
@pytest.mark.parametrize("change, column", BAD)
def test_a_bad_row_is_named_and_nothing_is_written(folder, capsys, change, column):
    before = tables_of(folder)
    assert log(saved(folder, TRIP, {**DRAG, **change}), folder) == 1
    said = capsys.readouterr().err
    assert f"week.csv, row 3, column {column}: found " in said and "nothing was written" in said
    assert tables_of(folder) == before and not list(folder.glob("*.before-*"))


@pytest.mark.analytic
def test_good_rows_are_kept_on_request_and_the_others_put_aside_to_be_mended(folder):
    bad = {**DRAG, "work": "dragg", "notes": 'said "so"'}
    assert log(saved(folder, DRAG, bad, LOOSE), folder, keep_good=True) == 3
    assert [len(load(folder)[0].tables[t]) for t in INTO] == [3, 1, 1]
    aside = folder / "week.to-mend-1.csv"
    assert "dragg" in aside.read_text()
    aside.write_text(aside.read_text().replace("dragg", "drag"))
    assert log(str(aside), folder) == 0
    assert load(folder)[0].tables["works"][-1]["notes"] == 'said "so"'


@pytest.mark.invariant
def test_what_a_writer_that_died_left_is_put_back_and_a_living_one_is_waited_for(folder):
    (folder / "works.csv.before-7").write_bytes((folder / "works.csv").read_bytes())
    (folder / "works.csv").write_bytes(b"half")
    (folder / LOCK).write_text(json.dumps({"process": 2**22 + 1, "kept": {str(folder / "works.csv"): str(folder / "works.csv.before-7")}}))
    with pytest.raises(BadInput):
        load(folder)
    assert log(saved(folder, DRAG), folder) == 0 and not (folder / LOCK).exists()
    assert [r["work_id"] for r in load(folder)[0].tables["works"]] == ["moth-1", "moth-2", "moth-2026-04-14-drag"]
    (folder / LOCK).write_text(json.dumps({"process": os.getpid(), "kept": {}}))
    with pytest.raises(BadInput, match="another command"):
        log(saved(folder, LOOSE), folder)


@pytest.mark.invariant
def test_an_error_while_writing_puts_every_table_back(folder, monkeypatch):
    from pipeline.desk import log as verb

    before = tables_of(folder)
    monkeypatch.setattr(verb, "look", lambda *_: (_ for _ in ()).throw(BadInput([])))
    with pytest.raises(BadInput):
        log(saved(folder, DRAG, TRIP, LOOSE), folder)
    assert tables_of(folder) == before and not (folder / LOCK).exists() and not list(folder.glob("*.before-*"))


@pytest.mark.invariant
@pytest.mark.parametrize("raw", [b"", b"table\n", b"\xff\xfe\x00a", b"table;field_id\nworks;moth\n", b"table,table\nworks,works\n", b"colour\nred\n", b'table,notes\nworks,"open\nfor ever', b"table,field_id\nworks,moth\0\n", b"field_id\nmoth\n"])
def test_a_file_that_is_none_of_ours_is_refused_whole(folder, raw):
    before = tables_of(folder)
    (folder / "week.csv").write_bytes(raw)
    try:
        assert log(str(folder / "week.csv"), folder) in (0, 1)
    except BadInput as bad:
        assert bad.problems
    assert tables_of(folder) == before


# ---- property tests: what the page can save, and what nobody should --------------------------------------

DAYS = st.dates(min_value=dt.date(2025, 1, 1), max_value=dt.date(2026, 4, 1)).map(str)
NOTES = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=30).map(str.strip)
NUMBERS = st.integers(0, 3000).map(lambda v: f"{v / 4:g}")
AT = {"e": st.floats(99000, 102000).map(lambda v: f"{v:.2f}"), "n": st.floats(99000, 101000).map(lambda v: f"{v:.2f}")}
PAGE_ROWS = st.one_of(
    st.fixed_dictionaries(
        {"table": st.just("works"), "field_id": st.sampled_from(("moth", "heron")), "done_on": DAYS, "work": st.sampled_from(("drag", "level", "edge_clean", "mix_add", "bases")), "by": st.just("crew")},
        optional={"hours": NUMBERS, "bearing_deg": st.integers(0, 180).map(str), "entry": st.sampled_from(("home", "first", "left", "centre")), "moisture": st.sampled_from(("dust", "crumbles", "holds", "smears")), "notes": NOTES},
    ),
    st.fixed_dictionaries({"table": st.just("readings"), "field_id": st.sampled_from(("moth", "heron")), "read_on": DAYS, "kind": st.just("seen"), "value": st.sampled_from(("puddle", "soft", "trip", "hole", "weeds")), **AT}, optional={"place": st.sampled_from(("second", "home"))}),
    st.fixed_dictionaries({"table": st.just("readings"), "field_id": st.just("moth"), "read_on": DAYS, "kind": st.just("moisture_hand"), "value": st.sampled_from(("dust", "crumbles", "holds", "smears"))}),
    st.fixed_dictionaries({"table": st.just("walks"), "field_id": st.just("heron"), "walked_on": DAYS, "item": st.just("second low spot"), "place": st.just("second"), "finding": st.just("mended"), "action": st.sampled_from(("marked_off", "closed", "repaired")), "role": st.just("crew")}),
)  # fmt: skip
FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])


@pytest.mark.invariant
@FEW
@given(rows=st.lists(PAGE_ROWS, min_size=1, max_size=8))
def test_whatever_the_page_can_save_is_taken(tmp_path_factory, rows):
    at = made(tmp_path_factory.mktemp("taken"))
    before = {t: len(load(at)[0].tables[t]) for t in INTO}
    said = {tuple(sorted((k, v) for k, v in r.items() if v)) for r in rows}
    assert log(saved(at, *rows), at) in (0, 3)
    after = {t: len(load(at)[0].tables[t]) for t in INTO}
    assert sum(after.values()) - sum(before.values()) == len(said)
    works = (at / "works.csv").read_bytes()
    assert works.split(b"\n", 1)[1].startswith(WORKS.encode().split(b"\n", 1)[1])


HOSTILE = st.one_of(st.binary(max_size=200), st.text(max_size=200).map(str.encode), st.lists(st.lists(st.sampled_from((*COLUMNS[:8], "works", "=1+1", "moth", "", '"', "\r", "😀" * 50, "9" * 400, "nan", "-1")), max_size=12), max_size=6).map(lambda rows: "\n".join(",".join(r) for r in rows).encode()))


@pytest.mark.invariant
@FEW
@given(raw=HOSTILE)
def test_no_file_however_hostile_changes_a_table_or_ends_in_a_fault_of_ours(tmp_path_factory, raw):
    at = made(tmp_path_factory.mktemp("hostile"))
    before = tables_of(at)
    (at / "week.csv").write_bytes(raw)
    try:
        ended = log(str(at / "week.csv"), at)
        assert ended in (0, 1)
    except BadInput as bad:
        assert bad.problems
    assert tables_of(at) == before and not (at / LOCK).exists()


# ---- typed in ----------------------------------------------------------------------------------------------


def typed(monkeypatch, *lines: str) -> None:
    left = iter(lines)

    def answer(_: str) -> str:
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr(builtins, "input", answer)


@pytest.mark.analytic
def test_a_sheet_typed_in_is_asked_again_where_it_cannot_be_read_and_written_once_read_back(folder, monkeypatch):
    typed(monkeypatch, "moth", "2026-04-14", "dragg", "level", "2,5", "2.5", "75", "", "holds", "1.2", "ton", "short_ton", "", "heron", "", "", "trip", "second", "", "", "yes")
    assert log("-", folder) == 0
    project, _ = load(folder)
    work, seen = project.tables["works"][-1], project.tables["readings"][-1]
    assert (work["work"], work["hours"], work["bearing_deg"], work["moisture"], work["mix_amount"], work["mix_unit"]) == ("level", 2.5, 75.0, "holds", 1.2, "short_ton")
    assert (seen["field_id"], str(seen["read_on"]), seen["value"], seen["place"]) == ("heron", "2026-04-14", "trip", "second")


@pytest.mark.analytic
@pytest.mark.parametrize("lines", [("moth", "2026-04-14", "drag"), ("moth", "2026-04-14", "drag", "", "", "", "", "", "", "", "no"), ("",)])
def test_what_is_not_finished_or_taken_back_is_not_written(folder, monkeypatch, lines):
    before = tables_of(folder)
    typed(monkeypatch, *lines)
    assert asked(load(folder)[0], None) is None
    typed(monkeypatch, *lines)
    assert log("-", folder) == 0 and tables_of(folder) == before
