"""Low spots through the dates: where each depth stands on the chart, which places are told, what was done there and whether it held."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from pipeline.report.figures import METRIC, Z95
from pipeline.report.lip_chart import LimitLine
from pipeline.report.spot_chart import BOTTOM, HEIGHT, TOP, Depth, Done, scale_of, spot_chart
from pipeline.report.spot_history import spot_history_block
from report.scene import given, row, sayer, spot, tables
from report.test_works_block import measure, plain, record
from report.scene import reads, FIELD

DATES = ("one", "two", "three")
LIMITS = [LimitLine(20.0, "tolerance", False), LimitLine(60.0, "trip", True)]


def depth(day: str, mm: float, sigma: float = 2.0) -> Depth:
    return Depth(dt.date.fromisoformat(day), day, mm, sigma)


def history(depths: dict[str, tuple], works=(), records=(), trend=()):
    spots = [spot(place, d, survey=s) for place, ds in depths.items() for s, d in zip(DATES, ds) if d is not None]
    made = given("metric", tables=tables(low_spots=spots, trend=list(trend)), works=works, worked={"works": list(records)})
    return spot_history_block(made, made.standing, sayer("metric"))


@pytest.mark.analytic
def test_deeper_stands_lower_and_every_range_and_limit_lies_inside_the_shared_scale():
    found = [depth("2025-04-01", 10.0), depth("2025-10-01", 30.0), depth("2026-04-01", 50.0)]
    ends = scale_of(found, LIMITS)
    assert ends[0] < 0 and ends[1] > max(60.0, 50.0 + 2 * Z95)
    svg = spot_chart("d", found, (), LIMITS, ends, METRIC, "t", "a")
    y = [float(v) for v in re.findall(r'<circle cx="[\d.]+" cy="([\d.]+)"', svg)]
    per_mm = (HEIGHT - TOP - BOTTOM) / (ends[1] - ends[0])
    assert y[1] - y[0] == pytest.approx(20 * per_mm, abs=0.11) and y[2] > y[1] > y[0]
    assert float(re.search(r'H[\d.]+" class="trip"|M[\d.]+ ([\d.]+)H[\d.]+" class="trip"', svg).group(1)) == pytest.approx(TOP + (60 - ends[0]) * per_mm, abs=0.06)


@pytest.mark.analytic
def test_work_stands_at_its_day_between_the_surveys_whole_where_done_here_and_not_outside_them():
    found = [depth("2025-01-01", 10.0), depth("2025-12-31", 10.0)]
    done = [Done(dt.date(2025, 7, 2), "levelled", True), Done(dt.date(2025, 3, 1), "mix added", False), Done(dt.date(2026, 3, 1), "rebuilt", True)]
    svg = spot_chart("d", found, done, (), scale_of(found, ()), METRIC, "t", "a")
    x = [float(v) for v in re.findall(r'<circle cx="([\d.]+)"', svg)]
    at = float(re.search(r'd="M([\d.]+) [\d.]+V[\d.]+" class="done"', svg).group(1))
    assert at == pytest.approx((x[0] + x[1]) / 2, abs=0.3) and svg.count('class="done around"') == 1 and "rebuilt" not in svg


@pytest.mark.invariant
def test_every_place_measured_twice_is_told_worst_first_and_one_seen_once_is_not():
    told = history({"second": (40.0, 55.0, 70.0), "first": (None, 12.0, 25.0), "third": (5.0, 4.0, 6.0), "home": (None, None, 3.0)})
    assert [plain(c["title"]) for c in told["charts"]] == ["Second base: 70 mm ± 4 low, unsafe", "First base: 25 mm ± 4 low, work"]
    assert [plain(c["title"]) for c in told["rest"]] == ["Third base: 6 mm ± 4 low, good"] and told["more"].startswith("One more place")
    assert "7 April 2025 40 mm ± 4; 6 October 2025 55 mm ± 4; 7 April 2026 70 mm ± 4" in plain(told["charts"][0]["svg"])
    assert history({"home": (None, None, 3.0)}) == {}


@pytest.mark.invariant
def test_a_depth_of_an_older_survey_says_so_where_the_newest_has_none():
    told = history({"second": (12.0, 14.0, None), "first": (3.0, 4.0, 5.0)})
    assert [plain(c["title"]) for c in told["charts"]] == ["Second base: 14 mm ± 4 low, not enough evidence (last seen on 6 October 2025)"]


@pytest.mark.analytic
def test_what_was_put_in_and_whether_it_held_stands_with_its_place_though_it_is_good_now():
    works = reads("works", {"work_id": "w1", "field_id": FIELD, "done_on": "2025-08-12", "work": "level", "zone": "third", "by": "crew"})
    low = measure("ring_depth", "third", {"rate": 1.0, "sigma": 0.6, "since": 3}, before=21.0, before_sigma=2.0, after=5.0, after_sigma=2.0, change=-16.0, change_sigma=2.5, detected=True)
    told = history({"third": (21.0, 5.0, 6.0)}, works, [record(low, work="level", done_on="2025-08-12", hours=1.5, tonnes=0.4, cost=None, documents=None)])
    (chart,) = told["charts"]
    assert plain(chart["works"][0]) == ("12 August 2025: levelled (1.5 hours and 0.4 t of mix). Low spot at third base -16 mm ± 5 (from 21 mm to 5 mm). "
                                        "How it held: low spot at third base shows no loss (+1.0 mm ± 1.2 a month, worse positive).").replace("0.4 t", "0.40 t")  # fmt: skip
    assert chart["svg"].count('class="done"') == 1


@pytest.mark.analytic
def test_a_rate_is_told_only_where_it_differs_from_none():
    rate = lambda detected: [row("trend", measure="ring_depth", zone="second", rate_mm_per_year=30.0, rate_sigma_mm_per_year=3.0, surveys=3, detected=detected)]
    said = [plain(history({"second": (40.0, 55.0, 70.0)}, trend=rate(d))["charts"][0]["said"]) for d in (True, False)]
    assert said == ["Deepens by 30 mm ± 6 a year (3 surveys).", ""]
