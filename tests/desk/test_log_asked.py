"""`log` without a file: the sheet typed in, line by line."""

from __future__ import annotations

import io

import pytest
from support.log_scene import everything, project

from pipeline.desk.log import log
from pipeline.store.config import load


@pytest.fixture
def folder(tmp_path):
    return project(tmp_path / "park")


def typed(monkeypatch, folder, *answers: str) -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(a + "\n" for a in answers)))
    return log([folder], False)


@pytest.mark.analytic
def test_a_sheet_typed_in_becomes_rows_of_three_tables(monkeypatch, folder, capsys):
    status = typed(
        monkeypatch, folder,
        "moth", "2025-07-07",
        "mix_add", "2", "", "", "holds", "1.5", "tonne", "by the gate",
        "drag", "0.5", "120", "left", "", "", "",
        "",
        "puddle", "first base", "", "",
        "repaired", "second", "hole", "filled and tamped", "",
        "wren", "", "", "", "",  # the same day, nothing done
        "", "yes",
    )  # fmt: skip
    assert status == 0
    tables = load(folder)[0].tables
    assert [r.cells for r in tables["works"][3:]] == [
        {"work_id": "moth-2025-07-07-mix-add", "field_id": "moth", "done_on": "2025-07-07", "work": "mix_add", "hours": "2", "moisture": "holds", "mix_amount": "1.5", "mix_unit": "tonne", "notes": "by the gate"},
        {"work_id": "moth-2025-07-07-drag", "field_id": "moth", "done_on": "2025-07-07", "work": "drag", "hours": "0.5", "bearing_deg": "120", "entry": "left"},
    ]  # fmt: skip
    assert tables["readings"][-1].cells["place"] == "first base" and tables["walks"][0]["action"] == "repaired"
    said = capsys.readouterr().out
    assert "Work done (drag, level," in said and "A squeezed handful of the mix (dust, crumbles, holds, smears)" in said
    assert "  works: moth, 2025-07-07, mix_add, hours 2, moisture holds, mix_amount 1.5, mix_unit tonne, notes by the gate" in said


@pytest.mark.analytic
def test_a_bad_answer_is_named_and_asked_for_again(monkeypatch, folder, capsys):
    status = typed(
        monkeypatch, folder,
        "moht", "moth", "7/7", "2999-01-01", "2025-07-07",
        "dragg", "drag", "half", "0.5", "270", "90", "north", "left", "wet", "crumbles", "x", "2", "ton", "", "tonne", "=1+1", "",
        "", "pudle", "puddle", "frist", "", "first", "", "", "", "", "yes",
    )  # fmt: skip
    assert status == 0
    row = load(folder)[0].tables["works"][-1].cells
    assert (row["hours"], row["bearing_deg"], row["entry"], row["moisture"], row["mix_amount"], row["mix_unit"]) == ("0.5", "90", "left", "crumbles", "2", "tonne")
    said = capsys.readouterr().out
    for words in ("'moht': one of moth, wren.", "found '7/7'; expected a date", "expected today", "from 0 to 180", "A bare ton can be two things", "An answer is needed here.", "does not take for a formula", "Did you mean 'first'?"):
        assert words in said, words


@pytest.mark.invariant
@pytest.mark.parametrize("answers", [(), ("moth", "2025-07-07", "drag"), ("moth", "2025-07-07", "drag", *[""] * 9, "no"), ("moth", "2025-07-07", "drag", *[""] * 9)])
def test_what_is_not_confirmed_is_not_written(monkeypatch, folder, capsys, answers):
    before = everything(folder)
    assert typed(monkeypatch, folder, *answers) == 1
    assert everything(folder) == before and "Nothing was written." in capsys.readouterr().err


@pytest.mark.invariant
def test_no_answer_at_all_is_nothing_new(monkeypatch, folder, capsys):
    before = everything(folder)
    assert typed(monkeypatch, folder, "") == 0
    assert everything(folder) == before and "Nothing new" in capsys.readouterr().out
