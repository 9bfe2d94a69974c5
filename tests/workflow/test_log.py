"""From a saved sheet to pages: only what depends on it runs again, the runs turn, a hole is a hazard until it is mended."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from support.small_district import District, planned, run

from pipeline.desk.log import log

HEAD = "table,field_id,done_on,work,hours,bearing_deg,entry,read_on,kind,value,place,walked_on,item,finding,action\n"


@pytest.fixture(scope="module")
def week(ran, tmp_path_factory) -> District:
    """The small district, run, in a folder of its own."""
    root = tmp_path_factory.mktemp("a week") / "park"
    shutil.copytree(ran.root, root, symlinks=True)
    return District(root, root / "demo_inputs")


def add(made: District, *rows: str) -> int:
    path = made.root / "week.csv"
    path.write_text(HEAD + "".join(row + "\n" for row in rows))
    return log([path, made.folder], False)


def hazards(made: District) -> dict[str, str]:
    return pd.read_csv(made.results / "hazards.csv").set_index("hazard_id").state.to_dict()


@pytest.mark.invariant
def test_a_week_written_down_reruns_what_uses_it_and_shows_on_the_next_run(week):
    assert planned(week) == {}
    assert add(week, "readings,two-lamps,,,,,,2026-05-04,seen,hole,second-60,,,,") == 0
    jobs = planned(week)
    assert jobs["report"] == {"two-lamps"} and set(jobs) <= {"report", "season", "week", "portfolio", "bid", "workbook", "workbook_all", "board", "catalogue", "catalogue_root"}
    assert run(week, 2).status in (0, 3)
    assert hazards(week)["two-lamps-second-60-hole"] == "open"
    assert add(week, "walks,two-lamps,,,,,,,,,second-60,2026-05-05,hole,filled and tamped,repaired") == 0
    assert run(week, 2).status in (0, 3)
    assert hazards(week)["two-lamps-second-60-hole"] == "closed" and planned(week) == {}


@pytest.mark.invariant
def test_a_drag_written_down_measures_nothing_again(week):
    assert add(week, "works,moth,2026-05-04,drag,0.5,100,left,,,,,,,,") == 0
    jobs = planned(week)
    assert "grade" in jobs and not {"layout", "grid", "tie", "measure"} & set(jobs)
    assert all("two-lamps" not in name for names in jobs.values() for name in names)
