"""`log`: rows of a file into three tables, all or none; what stands there keeps its bytes."""

from __future__ import annotations

import os
import stat

import pytest
from support.log_scene import CONFIG, READINGS, WORKS, everything, project

from pipeline.desk import log as desk
from pipeline.desk.log import log
from pipeline.errors import BadInput
from pipeline.store.added import locked
from pipeline.store.config import load

WEEK = """table,work_id,field_id,done_on,work,hours,mix_amount,mix_unit,read_on,kind,value,place,walk_id,walked_on,item,finding,action,notes
works,,moth,2025-07-07,mix_add,2,1.5,tonne,,,,,,,,,,"by the gate, wet"
works,by-hand,wren,2025-07-07,drag,0.50,,,,,,,,,,,,
readings,,moth,,,,,,2025-07-07,seen,trip,outer,,,,,,
walks,,moth,,,,,,,,,first,,2025-07-08,hole,filled,repaired,
"""
TABLES = ("works.csv", "readings.csv", "walks.csv", "config.yaml")


@pytest.fixture
def folder(tmp_path):
    return project(tmp_path / "park")


def week(folder, text: str | bytes = WEEK, name: str = "week.csv"):
    path = folder.parent / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def added(folder, text=WEEK, keep_good: bool = False) -> int:
    return log([week(folder, text), folder], keep_good)


@pytest.mark.analytic
def test_rows_go_to_the_end_of_their_tables_in_the_tables_own_way(folder, capsys):
    assert added(folder) == 0
    header, *rows = (folder / "works.csv").read_bytes().split(b"\r\n")
    assert header == b"\xef\xbb\xbffield_id,work_id,done_on,work,hours,notes,mix_amount,mix_unit"
    assert rows == [
        b'moth,m-1,2025-05-05,drag,0.5,"first, slow",,', b"", b"wren,w-1,2025-05-05,drag,.50,,,", b"moth,m-2,2025-06-05,level,,,,",
        b'moth,moth-2025-07-07-mix-add,2025-07-07,mix_add,2,"by the gate, wet",1.5,tonne', b"wren,by-hand,2025-07-07,drag,0.50,,,",
    ]  # fmt: skip  # no end after the last line, as before
    assert (folder / "readings.csv").read_bytes() == READINGS + b"moth-2025-07-07-trip,moth,2025-07-07,seen,trip,outer\n"
    assert (folder / "config.yaml").read_text() == CONFIG.replace("readings: readings.csv\n", "readings: readings.csv\nwalks: walks.csv\n")
    assert (folder / "walks.csv").read_bytes().endswith(b"\nmoth-2025-07-08-walk,moth,2025-07-08,hole,first,filled,repaired,,\n")
    assert (folder / "works.csv.before-1").read_bytes() == WORKS and (folder / "config.yaml.before-1").read_text() == CONFIG
    said = capsys.readouterr().out
    assert "works.csv: 2 rows added: moth-2025-07-07-mix-add, by-hand." in said and "readings.csv.before-1" in said


@pytest.mark.invariant
def test_rows_without_a_new_column_leave_every_old_byte(folder):
    assert added(folder, "table,field_id,done_on,work,hours\nworks,moth,2025-07-07,drag,1\n") == 0
    now = (folder / "works.csv").read_bytes()
    assert now.startswith(WORKS) and now[len(WORKS) :] == b"\r\nmoth,moth-2025-07-07-drag,2025-07-07,drag,1,"


@pytest.mark.invariant
def test_a_file_added_twice_changes_nothing_and_says_so(folder, capsys):
    added(folder)
    before = everything(folder)
    capsys.readouterr()
    assert added(folder) == 0
    said = capsys.readouterr().out
    assert everything(folder) == before
    assert said.count("stands there already") == 4 and "no table was changed" in said and "week.csv, row 2: stands there already (works.csv, row 6)" in said


@pytest.mark.analytic
def test_a_twin_by_what_it_says_is_named_whatever_its_id_and_the_others_are_added(folder, capsys):
    text = "table,work_id,field_id,done_on,work,hours,notes\nworks,other,moth,2025-05-05,drag,0.50,\"first, slow\"\nworks,,wren,2025-05-06,drag,,\nworks,,wren,2025-05-06,drag,,\nworks,,wren,2025-05-06,drag,,evening\n"
    assert added(folder, text) == 0
    said = capsys.readouterr().out
    assert "row 2: stands there already (works.csv, row 2)" in said and "row 4: stands there already (row 3 of this file)" in said
    assert "2 rows added: wren-2025-05-06-drag, wren-2025-05-06-drag-2." in said


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("works,,moht,2025-07-07,drag,,,,,,,,,,,,,", "row 2, column field_id: found 'moht'; expected a field_id of the table of fields. Correct the name or add the field. Did you mean 'moth'?"),
        ("works,,moth,7 July,drag,,,,,,,,,,,,,", "column done_on: found '7 July'"),
        ("works,,moth,2999-07-07,drag,,,,,,,,,,,,,", "column done_on: found 2999-07-07; expected today"),
        ("works,,moth,1025-07-07,drag,,,,,,,,,,,,,", "a day of 1990 or later"),
        ("works,,moth,2025-07-07,dragg,,,,,,,,,,,,,", "Did you mean 'drag'?"),
        ("works,,moth,2025-07-07,mix_add,,3,ton,,,,,,,,,,", "short_ton (2000 lb) or tonne"),
        ("works,,moth,2025-07-07,mix_add,,3,,,,,,,,,,,", "column mix_unit: found nothing"),
        ("works,M 1,moth,2025-07-07,drag,,,,,,,,,,,,,", "Write it as 'm-1'"),
        ("works,m-1,moth,2025-07-07,drag,,,,,,,,,,,,,", "column work_id: found 'm-1' again (row 2 of works.csv says something else)"),
        ("works,,moth,2025-07-07,drag,,,,,,puddle,,,,,,,", "column value: found 'puddle'; expected an empty cell: works has no such column"),
        ("works,,moth,2025-07-07,drag,,,,,,,,,,,,,=1+1", "does not take for a formula"),
        ("readings,,moth,,,,,,2025-07-07,seen,pudle,first,,,,,,", "Did you mean 'puddle'?"),
        ("readings,,moth,,,,,,2025-07-07,seen,puddle,frist,,,,,,", "Did you mean 'first'?"),
        ("readings,,moth,,,,,,2025-07-07,seen,puddle,,,,,,,", "or e and n. Say where it was seen."),
        ("walks,,moth,,,,,,,,,first,,2025-07-08,hole,,repaired,", "column finding: found nothing"),
        ("walk,,moth,,,,,,,,,first,,2025-07-08,hole,filled,repaired,", "column table: found 'walk'; expected one of works, readings, walks. Say which table the row is for. Did you mean 'walks'?"),
        ("works,,moth,2025-07-07,drag,,,,,,,,,,,,,,,extra", "found 20 cells; expected at most 18"),
        ('works,,moth,2025-07-07,drag,,,,,,,,,,,,,"open', "a double quote that is not closed"),
    ],
)  # fmt: skip
def test_a_bad_row_is_named_and_nothing_is_written(folder, capsys, row, says):
    head, *rest = WEEK.splitlines()
    before = everything(folder)
    assert added(folder, "\n".join([head, row, *rest]) + "\n") == 1
    said = capsys.readouterr()
    assert says in said.err and "1 bad row; nothing was written." in said.err and "week.csv, row 2" in said.err
    assert everything(folder) == before


@pytest.mark.analytic
def test_the_good_rows_are_kept_on_request_and_the_bad_ones_laid_aside_to_be_mended(folder, capsys):
    lines = WEEK.splitlines()
    text = "\n".join([lines[0], "works,,moth,2025-07-07,dragg,,,,,,,,,,,,,", *lines[1:], 'works,,moth,2025-07-09,drag,,,,,,,,,,,,,"open']) + "\n"
    assert added(folder, text, keep_good=True) == 3
    aside = folder.parent / "week-to-mend.csv"
    assert aside.read_text(encoding="utf-8-sig").splitlines() == [lines[0], text.splitlines()[1], text.splitlines()[-1]]
    assert len(load(folder)[0].tables["works"]) == 5
    aside.write_text(aside.read_text(encoding="utf-8-sig").replace("dragg", "drag").replace('"open', "open"))
    assert log([aside, folder], False) == 0
    assert len(load(folder)[0].tables["works"]) == 7 and sorted(p.name for p in folder.glob("works.csv.before-*")) == ["works.csv.before-1", "works.csv.before-2"]


@pytest.mark.invariant
@pytest.mark.parametrize("broken", [b"", b"\n\n", WEEK.encode("utf-16"), WEEK.replace(",", ";").encode(), WEEK.replace(",", "\t").encode(), WEEK.split("\n", 1)[1].encode(), b"\x89PNG\r\n\x1a\n\0\0", WORKS, WEEK.replace("hours", "ours").encode(), WEEK.replace("hours", "notes").encode()])
def test_a_file_that_is_none_of_ours_is_refused_whole(folder, broken):
    before = everything(folder)
    with pytest.raises(BadInput):
        added(folder, broken)
    assert everything(folder) == before


@pytest.mark.invariant
def test_a_line_that_is_no_text_spoils_no_other(folder, capsys):
    assert added(folder, WEEK.encode() + b"works,,moth,2025-07-10,drag,,,,,,,,,,,,,caf\xe9\nworks,,moth,2025-07-10,drag,,,,,,,,,,,,,a\0b\n" + b"works," + b"x" * 200_000 + b"\n", keep_good=True) == 3
    said = capsys.readouterr()
    assert "row 6: found signs that are not UTF-8" in said.err and "row 7: found NUL bytes" in said.err and "row 8: found a row of 200,006 letters" in said.err
    assert (folder.parent / "week-to-mend.csv").read_bytes().split(b"works," + b"x" * 9)[0].endswith(b"caf\xe9\r\nworks,,moth,2025-07-10,drag,,,,,,,,,,,,,a\0b\r\n")


@pytest.mark.invariant
def test_everything_is_as_it_was_where_the_tables_cannot_be_read_afterwards(folder, monkeypatch):
    before = everything(folder)
    monkeypatch.setattr(desk, "with_rows", lambda old, rows, columns, name: old + b"\nmoth,m-1,no day")
    with pytest.raises(BadInput):
        added(folder)
    assert everything(folder) == before


@pytest.mark.invariant
def test_everything_is_as_it_was_where_the_last_of_the_tables_cannot_be_replaced(folder, monkeypatch):
    before, real, done = everything(folder), os.replace, []

    def failing(a, b):
        done.append(str(b))
        if str(b).endswith("config.yaml"):
            raise OSError(28, "No space left on device", str(b))
        real(a, b)

    monkeypatch.setattr("pipeline.store.added.os.replace", failing)
    with pytest.raises(BadInput, match="No space left"):
        added(folder)
    assert any(name.endswith("works.csv") for name in done) and everything(folder) == before


@pytest.mark.invariant
def test_two_at_once_do_not_write_over_each_other(folder):
    before = everything(folder)
    with locked(folder):
        with pytest.raises(BadInput, match="another command that adds rows at work"):
            added(folder)
    assert everything(folder) == before
    assert added(folder) == 0 and not (folder / ".log-lock").exists()


@pytest.mark.invariant
def test_rights_and_links_of_a_table_stay(folder):
    shared = folder.parent / "shared works.csv"
    (folder / "works.csv").rename(shared)
    (folder / "works.csv").symlink_to(shared)
    shared.chmod(0o640)
    assert added(folder) == 0
    assert (folder / "works.csv").is_symlink() and stat.S_IMODE(shared.stat().st_mode) == 0o640 and (folder.parent / "shared works.csv.before-1").exists()


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("config", "way"),
    [("", "readings: readings.csv\nwalks: walks.csv\n"), ("# none\n", "# none\nreadings: readings.csv\nwalks: walks.csv\n"),
     ("works: works.csv\nunits: us", "works: works.csv\nreadings: readings.csv\nwalks: walks.csv\nunits: us"), ("units: us", "units: us\nreadings: readings.csv\nwalks: walks.csv\n")],
)  # fmt: skip
def test_a_table_that_the_settings_do_not_name_is_made_and_named(tmp_path, config, way):
    folder = project(tmp_path / "park", readings=None, config=config)
    assert added(folder) == 0
    assert (folder / "config.yaml").read_text() == way
    assert len(load(folder)[0].tables["readings"]) == 1


@pytest.mark.analytic
def test_a_table_that_lies_there_unnamed_is_not_written_over(folder):
    (folder / "walks.csv").write_text("mine")
    before = everything(folder)
    with pytest.raises(BadInput, match="`walks: walks.csv`"):
        added(folder)
    assert everything(folder) == before


@pytest.mark.analytic
def test_settings_on_one_line_are_left_alone_and_the_line_to_write_is_said(tmp_path):
    folder = project(tmp_path / "park", config="{works: works.csv, readings: readings.csv}\n")
    before = everything(folder)
    with pytest.raises(BadInput, match="Write `walks: walks.csv` into it"):
        added(folder)
    assert everything(folder) == before


@pytest.mark.analytic
def test_a_table_with_every_cell_in_quotes_gets_such_rows(tmp_path):
    works = b'"work_id","field_id","done_on","work"\n"m-1","moth","2025-05-05","drag"\n'
    folder = project(tmp_path / "park", works=works)
    assert added(folder, "table,field_id,done_on,work,notes\nworks,moth,2025-07-07,level,\"a \"\"soft\"\" spot\"\n") == 0
    assert (folder / "works.csv").read_bytes() == (
        b'"work_id","field_id","done_on","work","notes"\n"m-1","moth","2025-05-05","drag",""\n"moth-2025-07-07-level","moth","2025-07-07","level","a ""soft"" spot"\n'
    )


@pytest.mark.analytic
def test_the_project_must_be_in_order_first(tmp_path):
    folder = project(tmp_path / "park", works=WORKS.replace(b"drag", b"drug", 1))
    with pytest.raises(BadInput, match="'drug'"):
        added(folder)
    with pytest.raises(BadInput, match="the file first, then the project"):
        log([folder / "works.csv"], False)
