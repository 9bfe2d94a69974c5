"""Where the mix went and how deep it lies, as a reader gets it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from pipeline.report.balance_block import balance_block
from pipeline.report.field_page import field_page
from pipeline.report.mix_block import mix_block, ranged
from pipeline.report.figures import METRIC, US
from pipeline.report.findings import Limits, shown
from pipeline.report.todo import tasks
from pipeline.store import pages
from pipeline.surface.verdict import UNKNOWN
from report.scene import MATERIAL, SIGNED, TOLERANCES, WORDS, balanced, config, edge, given, layout, mix, sayer, seen, spot, stood, tables, zone

OWNED = config(units="metric", tolerances=TOLERANCES | {"mix_depth_min_mm": {"value": 75, **SIGNED}}, material=MATERIAL | {"reserve_mm": 25, "truck_t": 16})
CORES = tuple({"core_id": f"c{k}", "e": 507000.0 + k, "n": 175012.0, "depth_mm": 60.0 + k, "taken_on": "2026-04-01", "used": k > 0, "why": "" if k else "too far from the skin"}
              for k in range(11))  # fmt: skip


def said(*balances: dict) -> list[str]:
    made = given("metric", tables=tables(balance=list(balances)))
    return [line for pair in balance_block(made, made.standing, sayer("metric"))["pairs"] for line in pair["lines"]]


def of_mix(*rows: dict, **over):
    shape = layout().grid.shape
    made = given("metric", tables=tables(mix_depth=list(rows)), settings=OWNED, cores=CORES, mix_depth=np.full(shape, 0.068), mix_sigma=np.full(shape, 0.004), **over)
    return made, mix_block(made, made.standing, sayer("metric", tolerances=OWNED.tolerances))


@pytest.mark.analytic
def test_a_sum_within_its_range_is_called_untold_and_says_what_would_have_stood_out():
    """1.96 x 2.4 = 4.7 m3."""
    text = " ".join(said(balanced()))
    assert "cannot be told from this pair (−2 m³ ± 4)" in text.replace("\u00a0", " ")
    assert "more than about 5 m³" in text.replace("\u00a0", " ") and "a season seldom" in text
    assert "no movement stands out" in text


@pytest.mark.analytic
@pytest.mark.parametrize(("left", "words"), [(8.0, "More mix turned up"), (-8.0, "More mix went")])
def test_a_sum_beyond_its_range_says_which_way_and_where_to_look(left, words):
    text = " ".join(said(balanced(-9.0, left)))
    assert "The skin lost mix" in text and words in text


@pytest.mark.analytic
def test_without_a_tie_there_is_no_balance_and_the_reason_stands():
    made = given("metric", tables=tables(balance=[balanced(None, reason="the pair is not tied to stable ground")]))
    block = balance_block(made, made.standing, sayer("metric"))
    assert block["table"] == [] and "not tied to stable ground" in block["pairs"][0]["lines"][0]
    unweighed = said(balanced(-9.0, None, delivered_m3=None, delivered_sigma_m3=None, unexplained_sigma_m3=None, balanced=None, reason="no loose density"))
    assert "cannot be told: no loose density" in unweighed[0]


@pytest.mark.analytic
@pytest.mark.parametrize(("bearing", "side", "arrow"), [(0, "north", "↑"), (47, "north-east", "↗"), (181, "south", "↓"), (292.6, "north-west", "↖"), (359, "north", "↑")])
def test_a_movement_is_told_by_compass_arrow_and_part_of_the_field(bearing, side, arrow):
    text = said(balanced(moved_p=0.01, moved_bearing_deg=float(bearing), moved_bearing_sigma_deg=10.0, along_passes="agrees", out_of_corner="differs"))[1]
    assert f"toward the {side} {arrow}" in text and "± 20 degrees" in text
    assert "vary the bearing" in text and "not away from the corner" in text
    untold = said(balanced(moved_p=0.01, moved_bearing_deg=5.0, moved_bearing_sigma_deg=10.0))[1]
    assert "cannot be told" in untold
    assert "no movement" in said(balanced(moved_p=0.06, moved_bearing_deg=5.0, moved_bearing_sigma_deg=10.0))[1]


@pytest.mark.analytic
def test_both_the_date_before_and_the_baseline_are_held_against():
    made = given("metric", tables=tables(balance=[balanced(), balanced(-9.0, -8.0, "one"), balanced(earlier="elsewhere")]))
    block = balance_block(made, made.standing, sayer("metric"))
    assert [re.sub("\u00a0", " ", h) for h in block["heads"]] == ["Since 6 October 2025", "Since 7 April 2025"]
    assert [r[0] for r in block["table"]][-1] == "Unexplained" and block["table"][3][1] == "no ticket"


@pytest.mark.analytic
def test_thin_mix_is_work_with_tonnes_their_range_loads_and_a_blade():
    """8.7 and 19.5 t are 1 and 2 loads of 16 t."""
    made, block = of_mix(mix(), mix("second", 58.0, 4.0), mix("third", 78.0, 4.0, "watch"), mix("first", 95.0, 4.0, "good", blade_mm=0.0))
    text = " ".join(block["lead"] + block["thin"] + block["blade"]).replace("\u00a0", " ")
    assert "68 mm ± 6" in text and "10 cores" in text and "probability of 97 %" in text and "Board of Nowhere" in text
    assert "14 t (9\u2060–\u206020)" in text and "1\u2060–\u20602 truckloads" in text and "8.8 m³ (5.6\u2060–\u206012.6)" in text
    assert "Second base: 58 mm ± 8, thin" in text and "Third base: 78 mm ± 8, perhaps thin" in text and "First base" not in text.split("blade")[0]
    assert "12 mm deep anywhere" in text and "25 mm over the base" in text and "No blade at first base" in text
    assert block["dropped"] == ["Core c0 is not used: too far from the skin."] and not block["wanted"]
    assert block["svg"].count('class="core"') == 10
    titles = [t.title for t in tasks(made.standing, sayer("metric", tolerances=OWNED.tolerances), OWNED.material, {})]
    assert "Add mix" in titles and "Take cores of the mix" not in titles


@pytest.mark.analytic
def test_without_a_core_nothing_is_assumed_and_the_places_are_named():
    bare = mix(depth=None, verdict=UNKNOWN, basis="none", cores=0, told_pct=0.0, probability=None, thin_m2=None, tonnes=None, tonnes_low95=None, tonnes_high95=None,
               loose_m3=None, oldest_core=None, newest_core=None, reason="no core of the mix: nothing is assumed")  # fmt: skip
    first = next(p for p in layout().places if p.place_id == "first")
    made, block = of_mix(bare, cores_wanted=((first.e, first.n), (first.e, first.n - 2.0)))
    text = " ".join(block["lead"])
    assert "not known, and nothing is assumed" in text and "take 8 or more" in block["ask"] and not block["blade"]
    assert [w.replace("\u00a0", " ") for w in block["wanted"]] == ["At first base", "2 m from first base, foul side"]
    assert block["svg"].count("core-wanted") == 2
    found = tasks(made.standing, sayer("metric", tolerances=OWNED.tolerances), OWNED.material, {})
    assert found[-1].title == "Take cores of the mix" and not found[-1].unsafe
    assert made.standing.verdict == given(settings=OWNED).standing.verdict  # a lack of cores is no lack of the survey
    stated, spoken = of_mix({**bare, "basis": "stated", "depth_mm": 110.0, "depth_sigma_mm": 35.0})
    assert "110 mm ± 70" in " ".join(spoken["lead"]).replace("\u00a0", " ") and not spoken["blade"]


@pytest.mark.analytic
def test_thin_mix_makes_a_field_work_and_enough_of_it_does_not():
    rows = {"spots": [spot("first", 2.0)], "lips": edge(), "zones": [zone()]}
    for verdict, word in (("work", "work"), ("watch", "watch"), ("good", "good"), (UNKNOWN, "good")):
        held = seen(**rows).rows | {"mix_depth": [mix(verdict=verdict)]}
        assert shown("three", "2026-04-07", held, Limits(25.0, 50.0, 20.0, 60.0, 13.0, 75.0), {"outer": 40.0}).verdict == word
    assert stood(seen(**rows)).verdict == "good"


@pytest.mark.analytic
def test_a_range_is_printed_as_it_lies():
    assert ranged(13.6, 8.7, 19.5, METRIC.mass).replace("\u00a0", " ") == "14 t (9\u2060–\u206020)"
    assert ranged(0.1, -0.05, 0.3, METRIC.mass).replace("\u00a0", " ") == "0.10 t (0.00\u2060–\u20600.30)"
    assert "tons" in ranged(13.6, 8.7, 19.5, US.mass)


@pytest.mark.invariant
def test_the_page_holds_both_blocks_folded_and_the_map_its_scale_and_legend():
    made, _ = of_mix(mix())
    page = pages.render("field.html", field_page(made, WORDS))
    for heading in ("Where the mix went", "Mix depth"):
        assert re.search(rf"<details>\s*<summary>{heading} <span", page)
    drawing = re.search(r'<svg[^>]*aria-labelledby="mix-map-t.*?</svg>', page, re.S).group()
    assert 'class="scale"' in drawing and 'class="needle"' in drawing and "<desc" in drawing
    assert "80 % sure" in page and "below" in page


@pytest.mark.analytic
def test_a_balance_says_how_full_the_record_of_works_is_and_stands_when_rows_are_missing():
    """Between two and three lie 183 days, 26 weeks; the scene's one work lies in one of them and brings mix."""
    whole = [line for line in said(balanced(-9.0, 8.0)) if "on record" in line]
    assert whole and "in 1 of the 26 weeks" in whole[0] and "mix brought on 1 of those days" in whole[0]
    made = given("metric", tables=tables(balance=[balanced(-9.0, 8.0)]), works=())
    lines = balance_block(made, made.standing, sayer("metric"))["pairs"][0]["lines"]
    assert any("in 0 of the 26 weeks" in line and "none of it mix" in line for line in lines) and "More mix turned up" in lines[0]
