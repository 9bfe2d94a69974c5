"""What is written down gives work to do to those jobs alone that use it."""

from __future__ import annotations

import pytest
from test_tables import FIELDS, project

from pipeline import jobs
from pipeline.steps.measure_lip import EDGE_WORKS
from pipeline.surface.mix_cores import RENEWING
from pipeline.surface.rulebook_tape import MOVED_BY

F2 = FIELDS + "f2,EPSG:6564,baseball-90,400000,80000,400000,80038.795\n"
VERBS = ("measure", "change", "grade", "history", "report", "plan", "season", "portfolio", "week")
WORKS, READINGS = "work_id,field_id,done_on,work\n", "reading_id,field_id,read_on,kind,value,unit,edge_id,station_m,place\n"
WALKS = "walk_id,field_id,walked_on,item,place,finding\n"


def handed(**texts: str) -> dict[str, str]:
    """Verb and field -> what its job is handed."""
    made, problems = project(**{"fields": F2, "works": WORKS, "readings": READINGS, "walks": WALKS, **texts})
    assert not problems
    one = {(v, f): jobs.given(made, v, ".", f, "s3" if v == "measure" else "") for v in ("measure", "change", "grade", "history", "report") for f in ("f1", "f2")}
    return {f"{v} {f}": text for (v, f), text in one.items()} | {v: jobs.given(made, v, ".") for v in VERBS[5:]}


def reruns(**texts: str) -> set[str]:
    before, after = handed(), handed(**texts)
    return {name for name in before if before[name] != after[name]}


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("texts", "those"),
    [
        ({"readings": READINGS + "r1,f1,2026-05-01,seen,hole,,,,second\n"}, {"report f1", "season", "portfolio", "week"}),
        ({"readings": READINGS + "r1,f1,2026-05-01,moisture_hand,dust,,,,\n"}, set()),
        ({"readings": READINGS + "r1,f1,2026-05-01,rain,18,mm,,,\n"}, set()),
        ({"readings": READINGS + "r1,f1,2026-05-01,lip_rise,12,mm,outer,3.0,\n"}, {"measure f1", "report f1"}),  # the page would be made again anyway
        ({"readings": READINGS + "r1,f1,2026-05-01,level,1.2,m,,,\n"}, {"history f1", "report f1"}),
        ({"works": WORKS + "w1,f1,2026-05-01,drag\n"}, {"change f1", "grade f1", "history f1", "report f1", "plan", "season", "portfolio", "week"}),
        ({"works": WORKS + "w1,f1,2026-05-01,level\n"}, {"measure f1", "change f1", "grade f1", "history f1", "report f1", "plan", "season", "portfolio", "week"}),
        ({"walks": WALKS + "k1,f1,2026-05-01,hole,second,filled\n"}, {"history f1", "report f1", "season", "portfolio", "week"}),
    ],
)  # fmt: skip
def test_a_new_row_reruns_what_uses_it_and_no_other_field(texts, those):
    assert reruns(**texts) == those


@pytest.mark.invariant
def test_every_work_that_a_measurement_asks_for_is_handed_to_it():
    column, words = jobs.TAKEN["measure", "works"]
    assert column == "work" and set(words) == {*EDGE_WORKS, *RENEWING, *MOVED_BY}
