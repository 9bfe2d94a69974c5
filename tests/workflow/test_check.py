"""`check`: one line a survey and field, what is odd below it, a refusal foretold."""

from __future__ import annotations

import pytest

from pipeline.desk.check import check


@pytest.mark.analytic
def test_check_says_what_each_file_is_and_who_would_be_refused(ran, capsys):
    assert check(ran.folder) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("2 fields, 5 surveys,") and lines[-1] == "1 survey would be refused; everything else would run."
    by_survey = {line.split("  ")[0]: line for line in lines if not line.startswith(" ")}
    assert "849,450 points, EPSG:6565" in by_survey["moth-2025-04"] and "US survey feet" in by_survey["moth-2025-04"]
    assert "would be refused (misses_field)" in by_survey["two-lamps-2025-07"]
    assert all(".." not in line for line in lines) and max(map(len, lines)) < 400
