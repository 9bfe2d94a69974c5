"""What a field's page says of its forecasts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.report.forecast_block import backtest, forecast_block
from report.scene import row, sayer


def rows(measure, values, half=5.0, inside=True, **where):
    days = ("2026-07-01", "2026-10-01", "2027-01-01", "2027-04-01", "2028-04-01")
    return [row("forecast", measure=measure, on=d, value_mm=v, low95_mm=v - half, high95_mm=v + half, surveys=5, by_use=False, season=False, last_inside=inside, **where) for d, v in zip(days, values)]


@pytest.mark.analytic
def test_what_is_expected_over_its_limit_comes_before_what_may_be():
    speak = sayer("metric")
    low = speak.tolerances.low_spot_mm.of("mill-pond")
    may, will = rows("ring_depth", [low - 3] * 5, zone="first"), rows("ring_depth", [low - 9, low - 7, low + 2, low + 4, low + 9], zone="second")
    found = forecast_block(may + will, speak)
    assert len(found["lines"]) == 2 and found["none"] == ""
    assert found["lines"][0].startswith("Second base: depth") and "1\u00a0January 2027" in found["lines"][0]
    assert "its band reaches over" in found["lines"][1] and "1\u00a0July 2026" in found["lines"][1]
    assert len(found["rows"]) == 2 and all(len(r) == len(found["heads"]) for r in found["rows"])


@pytest.mark.analytic
def test_of_one_day_the_furthest_over_is_first_and_mix_is_held_against_the_skin_as_a_whole():
    speak = sayer("metric")
    low = speak.tolerances.low_spot_mm
    thin = low.model_copy(update={"value": 75.0, "fields": {}})
    speak = replace(speak, tolerances=speak.tolerances.model_copy(update={"mix_depth_min_mm": thin}))
    found = forecast_block(rows("ring_depth", [low.of("mill-pond") + 1] * 5, zone="first") + rows("ring_depth", [low.of("mill-pond") + 30] * 5, zone="second"), speak)
    assert [line.split(":")[0] for line in found["lines"]] == ["Second base", "First base"]
    mix = forecast_block(rows("mix_depth", [66.0] * 5, zone="first") + rows("mix_depth", [66.0] * 5, zone="skin"), speak)
    assert len(mix["lines"]) == 1 and "under the least wanted" in mix["lines"][0]


@pytest.mark.analytic
def test_the_surveys_held_back_are_counted_once_a_series_and_few_inside_are_not_trusted():
    speak = sayer("metric")
    good = [r for k in range(10) for r in rows("lip", [1.0] * 5, inside=k > 0, edge_id="outer" if k == 0 else "home", zone=f"z{k}")]
    assert "9 of 10 fell inside" in forecast_block(good, speak)["held"]
    bad = [r for k in range(10) for r in rows("lip", [1.0] * 5, inside=k > 4, edge_id="outer", zone=f"z{k}")]
    assert "not to be trusted yet" in forecast_block(bad, speak)["held"]
    assert "nobody knows" in forecast_block(rows("lip", [1.0] * 5, inside=None, edge_id="outer"), speak)["held"]


@pytest.mark.analytic
def test_a_field_without_enough_surveys_says_so():
    found = forecast_block([row("forecast", measure="lip", edge_id="outer", surveys=2, reason="not enough surveys yet: 2 of 3")], sayer())
    assert found["rows"] == [] and found["lines"] == [] and "three since" in found["none"] and found["short"].startswith("1 series")
    assert forecast_block([], sayer()) == {}


@pytest.mark.analytic
def test_over_all_fields_the_held_are_added_up_and_a_field_where_few_held_is_named():
    good = [r for k in range(10) for r in rows("lip", [1.0] * 5, inside=True, edge_id=f"e{k}")]
    poor = [r for k in range(10) for r in rows("lip", [1.0] * 5, inside=k > 4, edge_id=f"e{k}")]
    said = backtest({"Good Field": good, "Poor Field": poor, "New Field": []}, sayer().words)
    assert "of 20 series" in said and "15 (75 %)" in said and "2 fields" in said and "not to be trusted yet" in said and said.endswith("Too few did on Poor Field.")
    assert "trusted" not in backtest({"Good Field": good}, sayer().words) and backtest({"New Field": rows("lip", [1.0] * 5, inside=None, edge_id="e")}, sayer().words) == ""


@pytest.mark.analytic
def test_a_fall_is_told_in_percent():
    found = forecast_block(rows("slope", [11.0] * 5, half=2.0, zone="skin"), sayer("metric"))
    assert found["rows"][0][2] == "1.10\u00a0% (0.90\u2060–\u20601.30)" and found["lines"] == []
