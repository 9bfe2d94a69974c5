"""The whole chain on two demo fields: what it leaves, what it says, what it does again and what not."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from support.page_text import without_links
from support.small_district import ROOT, add_survey, district, planned, run, settings, verb

from pipeline.store.where import Where
from pipeline.variables import FIELD_TABLES

WHERE = Where("results")


@pytest.fixture
def another_row(ran):
    """The same project with the row of a newer survey added to surveys.csv, which is taken away again."""
    before = (ran.folder / "surveys.csv").read_text()
    add_survey(ran.folder, "moth-2025-12", "2026-07-07")
    yield ran
    (ran.folder / "surveys.csv").write_text(before)


@pytest.fixture
def edited(tmp_path):
    """A copy of the program, to be edited."""
    for name in ("pipeline", "config"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "Snakefile", tmp_path)
    return tmp_path


@pytest.mark.analytic
def test_a_refused_survey_stops_nobody_and_says_so(ran):
    assert ran.status == 3, ran.said
    record = json.loads((ran.root / WHERE.record("two-lamps", "two-lamps-2025-07")).read_text())
    assert record["verdict"] == "refused" and "165 m east of the field" in record["reason"]
    assert sorted(p.name for p in (ran.root / WHERE.survey("two-lamps", "two-lamps-2025-07")).glob("[!.]*")) == ["survey.json"]
    quality = pd.read_csv(ran.root / WHERE.table("two-lamps", "survey_quality"))
    assert list(quality["verdict"]) == ["relative_only", "refused", "relative_only"]
    assert "165 m east" in (ran.root / WHERE.report("two-lamps")).read_text()
    last = ran.said.strip().splitlines()
    assert any("two-lamps-2025-07" in line for line in last) and any(line.startswith("UNSAFE  Moth Field") for line in last)


@pytest.mark.analytic
def test_everything_that_is_promised_is_there(ran):
    for field in ("moth", "two-lamps"):
        for table in FIELD_TABLES:
            assert (ran.root / WHERE.table(field, table)).is_file()
        for path in (WHERE.cube(field), WHERE.vectors(field), WHERE.provenance(field), WHERE.report(field), WHERE.paper(field, "workbook.xlsx")):
            assert (ran.root / path).stat().st_size > 0
        assert len(pd.read_csv(ran.root / WHERE.table(field, "quantities"))) == 3 and (ran.root / WHERE.grade(field)).is_dir()
        for name in ("elevation", "sigma", "count"):
            assert (ran.root / WHERE.raster(field, f"{field}-2026-04", name)).is_file()
        for name in ("change", "change_sigma", "detected"):
            assert (ran.root / WHERE.change(field, f"{field}-2025-04", f"{field}-2026-04", name)).is_file()
        for name in ("mix_depth", "mix_depth_sigma", "blade_depth"):
            assert (ran.root / WHERE.surface(field, f"{field}-2026-04") / f"{name}.tif").is_file()
    assert not list((ran.root / WHERE.surface("two-lamps", "two-lamps-2025-07")).glob("[!.]*"))
    for path in (WHERE.index, WHERE.portfolio, WHERE.hazards, WHERE.season_queue, WHERE.order, WHERE.week("html"), WHERE.week("pdf"), WHERE.capital_plan, WHERE.plan_outcome, WHERE.plan_record, WHERE.board_paper, WHERE.workbook, WHERE.catalogue, WHERE.district):
        assert (ran.root / path).is_file()


@pytest.mark.independent
def test_the_design_that_is_set_out_is_the_one_in_the_table(ran):
    """Read back by rasterio: cut and fill of the raster are those of the row; only moth's hollows move, second base by what the
    scenario dug there (45 mm and 60 mm a year, a bowl of s.d. 0.8 m: 2 pi s^2 d, of which 1.5 m reach holds most)."""
    rows = pd.read_csv(ran.root / WHERE.table("moth", "quantities")).set_index("variant")
    with rasterio.open(ran.root / WHERE.grade("moth") / "cut_fill.tif") as file:
        moved, cell = file.read(1), abs(file.transform.a * file.transform.e)
        assert file.tags()["variant"] == "touch_up" and file.tags()["survey"] == "moth-2026-04"
    assert np.nansum(np.maximum(moved, 0)) * cell == pytest.approx(rows.loc["touch_up", "fill_m3"], abs=2e-3) and np.nanmin(moved) >= -1e-6
    dug = 2 * np.pi * 0.8**2 * (0.045 + 0.060)
    assert 0.4 * dug < rows.loc["touch_up", "fill_m3"] < 1.3 * dug
    assert rows.loc["no_mix_bought", "cut_m3"] == pytest.approx(1.15 * rows.loc["no_mix_bought", "fill_m3"], rel=0.08)


@pytest.mark.independent
def test_the_base_that_the_crew_found_off_is_outside_and_nothing_else_is(ran):
    """Truth: the scenario sets third base of the short set 60 mm too far out along its line; 18,288 mm is 60 ft."""
    found = pd.read_csv(ran.root / WHERE.table("two-lamps", "rulebook"))
    last = found[found["survey_id"] == "two-lamps-2026-04"].set_index(["layout", "item"])
    third = last.loc["softball-60", "third-home"]
    assert third["verdict"] == "outside" and abs(third["measured_mm"] - (18288 + 60)) < 3 * third["sigma_mm"]
    off = last[last["verdict"] == "outside"]
    assert list(off.index) == [("softball-60", "first-third"), ("softball-60", "third-home")]  # the diagonal to it as well
    assert set(last.loc["softball-65"].loc[["home-first", "third-home", "home-second"], "verdict"]) == {"within"}  # taped
    assert set(last.loc["softball-60"].loc[["home-first", "first-second", "second-third"], "verdict"]) <= {"within", "cannot_tell"}
    page = (ran.root / WHERE.report("two-lamps")).read_text().replace("\u00a0", " ")
    assert "Check by hand against the rulebook: third base to home plate (60 ft bases)" in page or "third base to home plate (60 ft bases)" in page
    assert "Tape it by hand before you move anything" in page and "rose or sank since another day" in page
    moth = pd.read_csv(ran.root / WHERE.table("moth", "rulebook"))  # built right: one figure in twenty may fall outside by chance
    assert (moth["verdict"] == "outside").sum() <= 0.05 * moth["verdict"].isin(["within", "outside", "cannot_tell"]).sum()
    assert not (moth[moth["survey_id"] == "moth-2026-04"]["verdict"] == "outside").any()


@pytest.mark.analytic
def test_the_ticket_is_in_the_balance_and_no_tie_no_balance(ran):
    """12.2 short tons at 1.70 t/m3: 12.2 x 0.90718474 / 1.70 = 6.510 m3."""
    row = pd.read_csv(ran.root / WHERE.table("moth", "balance")).iloc[0]
    assert row["delivered_m3"] == pytest.approx(6.510, abs=6e-4)
    summed = row["skin_m3"] + row["edge_m3"] + row["beyond_m3"] - row["delivered_m3"]
    assert row["unexplained_m3"] == pytest.approx(summed, abs=0.003) and row["unexplained_sigma_m3"] > row["skin_sigma_m3"]
    untied = pd.read_csv(ran.root / WHERE.table("two-lamps", "balance")).iloc[0]
    assert pd.isna(untied["skin_m3"]) and pd.isna(untied["unexplained_m3"]) and "not tied to stable ground" in untied["reason"]
    said = without_links((ran.root / WHERE.report("two-lamps")).read_text())
    assert "cannot be told from this pair: the pair is not tied" in said


@pytest.mark.analytic
def test_a_core_from_before_the_mix_came_says_nothing_of_it(ran):
    """Moth Field was probed in October and topped up in November: in April nothing is known of its mix."""
    rows = pd.read_csv(ran.root / WHERE.table("moth", "mix_depth"))
    skin = rows[rows["zone"] == "skin"].set_index("survey_id")
    assert skin.loc["moth-2026-04", "verdict"] == "not_enough_evidence" and skin.loc["moth-2026-04", "cores"] == 0
    assert skin.loc["moth-2025-04", "cores"] == 0  # nor of half a year earlier
    assert set(skin["basis"]) == {"stated"} and skin["depth_mm"].notna().all() and skin["blade_mm"].isna().all()
    assert "the mix was renewed 2025-11" in (ran.root / WHERE.report("moth")).read_text()


@pytest.mark.invariant
def test_a_second_run_does_nothing(ran):
    assert planned(ran) == {}


@pytest.mark.invariant
def test_a_report_handed_on_is_kept_and_its_pages_alone_run_again(ran):
    """One field is handed on; a day before its newest survey, before the last issue, or an unknown field is refused and leaves nothing."""
    kept = ran.folder / "issued"
    try:
        done = verb(ran, "issue", "moth", "--to", "the board", "--on", "2026-05-01")
        assert done.returncode == 0, done.stderr
        (folder,) = kept.iterdir()
        told = json.loads((folder / "manifest.json").read_text())
        assert folder.name == "0001-2026-05-01" and (told["to"], told["fields"], told["district"]) == ("the board", ["moth"], False) and told["rows"]["moth"]["readings"]
        same = lambda a, b: a.read_bytes() == b.read_bytes()
        assert all(same(folder / f"fields/moth/{n}", ran.results / f"fields/moth/{n}") for n in ("report.html", "work_package.pdf", "lip.csv", "provenance.json", "surveys/moth-2026-04/survey.json"))
        todo = planned(ran)
        assert todo["report"] == {"moth"} and "portfolio" in todo and not {"layout", "grid", "tie", "measure", "change", "grade", "history", "season", "plan"} & set(todo)
        for bad in (["nowhere"], ["moth", "--on", "2026-01-01"], ["moth", "--on", "2026-04-30"]):
            refused = verb(ran, "issue", *bad)
            assert refused.returncode == 1 and "nothing was run" in refused.stderr
        assert len(list(kept.iterdir())) == 1
    finally:
        shutil.rmtree(kept, ignore_errors=True)
    assert planned(ran) == {}


@pytest.mark.invariant
def test_a_new_row_runs_that_survey_s_and_that_field_s_jobs_only(another_row):
    todo = planned(another_row)
    assert todo == {
        "simulate": {"moth-2025-12"}, "grid": {"moth-2025-12"}, "tie": {"moth/moth-2025-12"}, "measure": {"moth/moth-2025-12"},
        "change": {"moth"}, "grade": {"moth"}, "history": {"moth"}, "report": {"moth"}, "season": set(), "week": set(), "portfolio": set(), "plan": set(), "board": set(), "workbook": {"moth"}, "workbook_all": set(),
        "catalogue": {"moth"}, "catalogue_root": set(),
    }  # fmt: skip


@pytest.mark.invariant
def test_an_edit_of_the_pages_runs_the_pages_only(ran, edited):
    style = edited / "pipeline" / "report" / "style.css"
    style.write_text(style.read_text() + "\n/* wider */\n")
    assert planned(ran, edited) == {"report": {"moth", "two-lamps"}, "season": set(), "week": set(), "portfolio": set(), "board": set(), "workbook": {"moth", "two-lamps"}, "workbook_all": set(), "catalogue": {"moth", "two-lamps"}, "catalogue_root": set()}  # the plan is told in the pages' words, not made of them


@pytest.mark.invariant
def test_an_edit_of_the_maths_runs_what_imports_it_and_a_comment_runs_nothing(ran, edited):
    trend = edited / "pipeline" / "change" / "trend.py"
    trend.write_text("# A remark.\n" + trend.read_text())
    assert planned(ran, edited) == {}
    trend.write_text(trend.read_text() + "\n\nLATER = 1\n")
    todo = planned(ran, edited)
    assert todo["history"] == {"moth", "two-lamps"} and not {"simulate", "grid", "tie", "measure", "change"} & set(todo)


@pytest.mark.invariant
def test_an_edit_of_the_settings_runs_the_verbs_that_read_them(ran):
    before = settings(ran.folder, lambda config: config["tolerances"]["lip_trip_mm"].update(value=55))
    try:
        assert set(planned(ran)) == {"grade", "history", "report", "season", "week", "portfolio", "plan", "board", "workbook", "workbook_all", "catalogue", "catalogue_root"}  # the trip limit says which lip is worked first
        settings(ran.folder, lambda config: config["tolerances"]["low_spot_mm"].update(value=22))
        assert not {"simulate", "grid", "tie"} & set(planned(ran)) and "measure" in planned(ran)
    finally:
        (ran.folder / "config.yaml").write_text(before)


@pytest.mark.invariant
def test_another_game_makes_the_season_and_the_week_anew_and_no_field_s_page(ran):
    games = ran.folder / "games.csv"
    before = games.read_text()
    try:
        games.write_text(before + "two-lamps,2026-04-16,17:00,18:30,,practice\n")
        todo = set(planned(ran))
        assert {"season", "week"} <= todo <= {"season", "week", "portfolio", "board", "workbook_all", "catalogue_root"}
    finally:
        games.write_text(before)


@pytest.mark.invariant
def test_one_core_and_another_folder_give_the_same_bytes(ran, tmp_path):
    """Two Lamps Field alone, on one core: all its files are those that the two-core run of both fields left."""
    names = {"two-lamps-2025-04", "two-lamps-2025-07", "two-lamps-2026-04"}
    alone = run(district(tmp_path, {"two-lamps"}, names, ran.folder / "clouds"), 1)
    assert alone.status == 3, alone.said
    mine, theirs = (sums(made.results / "fields" / "two-lamps") for made in (alone, ran))
    assert mine and mine == theirs


def sums(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.analytic
def test_bad_tables_stop_everything_before_it_starts(tmp_path):
    made = district(tmp_path, {"moth"}, {"moth-2025-04"})
    surveys = made.folder / "surveys.csv"
    surveys.write_text(surveys.read_text().replace("photogrammetry", "photogrametry").replace("2025-04-08", "08.04.2025"))
    done = run(made, 1)
    assert done.status == 1 and not made.results.exists()
    assert "did you mean 'photogrammetry'" in done.said.lower() and "flown_on" in done.said and "2 problems found" in done.said

