"""`issue` keeps nothing of which it cannot tell that it is the tables' own."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.desk import issue as issuing
from pipeline.desk.engine import Ended
from pipeline.errors import BadInput
from pipeline.store.added import locked
from pipeline.store.config import load

DEMO = Path(__file__).resolve().parents[2] / "demo_inputs"


@pytest.mark.invariant
def test_where_nobody_can_tell_what_is_out_of_date_nothing_is_handed_on(tmp_path, monkeypatch):
    project, _ = load(DEMO)
    asked = lambda status, waiting: monkeypatch.setattr(issuing, "planned", lambda *_: (Ended(status, said=["clouds/x.laz is missing"]), waiting))
    told = lambda district: issuing._waiting(project, DEMO, tmp_path, ["moth"], district)
    asked(0, [("report", {"field": "moth"}), ("history", {"field": "heron"}), ("season", {})])
    assert told(False) == "" and told(True) == "season"
    asked(0, [("history", {"field": "moth"})])
    assert told(False) == "history moth"
    asked(1, [])
    with pytest.raises(BadInput, match=r"clouds/x.laz is missing.*results-out-of-date"):
        told(False)


@pytest.mark.invariant
def test_two_at_once_do_not_take_one_number(tmp_path):
    (tmp_path / "config.yaml").write_text("")
    with locked(tmp_path), pytest.raises(BadInput, match="at-work-here"):
        issuing.issue(tmp_path, ())
