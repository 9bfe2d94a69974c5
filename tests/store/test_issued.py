"""Reports as they were handed on: whole or not at all, never overwritten, an altered one noticed."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from pipeline.steps.since import address, handed_on
from pipeline.store import issued

TOLD = {"to": "the board", "note": "", "fields": ["moth"], "district": False}


@pytest.fixture
def page(tmp_path) -> Path:
    path = tmp_path / "report.html"
    path.write_text("as it was\n")
    return path


def kept(page: Path, on: str = "2026-04-10", **told) -> issued.Issue:
    return issued.keep(page.parent, on, {"fields/moth/report.html": page, "hazards.csv": page}, TOLD | told)


@pytest.mark.independent
def test_what_is_kept_is_what_was_there_and_common_tools_find_it_so(page):
    one = kept(page)
    page.write_text("made again\n")
    assert (one.name, one.manifest["number"], one.manifest["on"]) == ("0001-2026-04-10", 1, "2026-04-10") and one.altered == one.unlike == []
    assert (Path(one.path) / "fields/moth/report.html").read_text() == "as it was\n"
    if shutil.which("sha256sum"):
        assert subprocess.run(["sha256sum", "--check", "--strict", issued.SUMS], cwd=one.path, capture_output=True, check=False).returncode == 0


@pytest.mark.invariant
def test_each_has_a_number_of_its_own_and_the_last_one_with_a_page_is_found(page):
    kept(page)
    kept(page, fields=[], district=True)
    third = kept(page, "2026-05-01")
    found = issued.issues(page.parent)
    assert [i.name for i in found] == ["0001-2026-04-10", "0002-2026-04-10", "0003-2026-05-01"]
    assert issued.newest(found, "moth").number == 3 and issued.newest(found).number == 2 and issued.newest(found, "heron") is None
    assert third.manifest["before"] and issued.broken_chain(found) == [] and issued.issues(page.parent / "nowhere") == []


@pytest.mark.invariant
@pytest.mark.parametrize("harm, named", [
    (lambda f: (f / "hazards.csv").write_text("other\n"), ["hazards.csv"]), (lambda f: (f / "hazards.csv").unlink(), ["hazards.csv"]),
    (lambda f: (f / "more.csv").write_text("\n"), ["more.csv"]), (lambda f: (f / issued.MANIFEST).write_text("{}"), [issued.MANIFEST]), (lambda f: (f / issued.SUMS).unlink(), [issued.SUMS]),
])  # fmt: skip
def test_whatever_was_altered_is_named(page, harm, named):
    one = kept(page)
    harm(Path(one.path))
    assert issued.Issue(one.number, one.on, one.path).altered == named


@pytest.mark.invariant
def test_a_list_of_checksums_written_anew_breaks_the_chain(page):
    first = kept(page)
    kept(page)
    (Path(first.path) / issued.SUMS).write_text("")
    kept(page)
    assert [i.number for i in issued.broken_chain(issued.issues(page.parent))] == [1]
    shutil.rmtree(issued.issues(page.parent)[1].path)  # a gap is told as one, and blames none of the neighbours
    found = issued.issues(page.parent)
    assert issued.missing(found) == [2] and issued.broken_chain(found) == [] and issued.missing([]) == []


@pytest.mark.invariant
def test_where_a_file_cannot_be_copied_nothing_is_left(page):
    with pytest.raises(FileNotFoundError):
        issued.keep(page.parent, "2026-04-10", {"a": page, "z": page.parent / "not there"}, TOLD)
    assert list((page.parent / issued.FOLDER).iterdir()) == []


@pytest.mark.invariant
def test_nothing_is_ever_overwritten(page, monkeypatch):
    kept(page)
    monkeypatch.setattr(issued, "issues", lambda folder: [])  # as if another run had taken the number meanwhile
    page.write_text("another\n")
    with pytest.raises(OSError):
        kept(page)
    monkeypatch.undo()
    (one,) = issued.issues(page.parent)
    assert one.altered == [] and (Path(one.path) / "hazards.csv").read_text() == "as it was\n" and [p.name for p in Path(one.path).parent.iterdir()] == [one.name]


@pytest.mark.invariant
def test_a_table_with_fewer_columns_is_read_all_the_same(page):
    page.write_text("hazard_id,state,weather\nh1,open,fair\n")
    (row,) = kept(page).table("hazards.csv", "hazards")
    assert row["hazard_id"] == "h1" and row["state"] == "open" and row["tolerance"] is None and "weather" not in row


@pytest.mark.invariant
@pytest.mark.parametrize("harm", [lambda f: f.write_bytes(b"\xff\xfe\0h\0a"), lambda f: f.write_bytes(b""), lambda f: f.unlink()])
def test_a_kept_table_that_somebody_spoiled_is_named_and_stops_no_page(page, harm):
    page.write_text("hazard_id,field_id,state\nh1,moth,open\n")
    one = kept(page)
    assert handed_on(one, "moth", "results/index.html").unread == () and len(handed_on(one, "moth", "results/index.html").hazards) == 1
    harm(Path(one.path) / "hazards.csv")
    (Path(one.path) / "fields/moth/provenance.json").write_text("{")
    again = handed_on(issued.Issue(one.number, one.on, one.path), "moth", "results/index.html")
    assert again.unread == ("hazards.csv",) and "hazards.csv" in again.altered and again.hazards == []


@pytest.mark.analytic
def test_the_way_to_a_kept_page_holds_whatever_the_projects_folder_is_called():
    assert address("results/fields/moth/report.html", "50 % #1/issued/0001-2026-04-10/index.html") == "../../../50%20%25%20%231/issued/0001-2026-04-10/index.html"
    assert address("results/index.html", "results/fields/moth/report.html") == "fields/moth/report.html"
