"""What changed between two surveys, in sentences; of a pair without a tie the shape alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.report import changed as said
from pipeline.report.change_block import change_block
from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP
from report.scene import changed, config, deeper, given, grown, reads, record, sayer, tables


def plain(text: str) -> str:
    return text.replace(NBSP, " ").replace("\u2060", "")


def pair(zones=(), spots=(), edges=()) -> said.Pair:
    return said.Pair.of({"change": list(zones), "low_spot_change": list(spots), "lip_change": list(edges)}, "two", "three")


def detected(**rows) -> list[str]:
    return [plain(t) for t in said.detected(pair(**rows), sayer("metric"))]


@pytest.mark.invariant
def test_only_what_was_detected_is_said_the_skin_first_then_by_size():
    zones = [changed("skin", -4.0), changed("second", -20.0), changed("first", 9.0), changed("third", 30.0, detected=False)]
    spots = [deeper("second", 25.0), deeper("home", -6.0), deeper("third", 9.0, detected=False)]
    edges = [grown(None, 12.0), grown(12.5, 15.0), grown(7.5, 3.0, detected=False), grown(None, 1.0, detected=False, edge_id="home")]
    assert detected(zones=zones, spots=spots, edges=edges) == [
        "The skin as a whole lost 4 mm ± 4.",
        "Second base is 25 mm ± 4 deeper against the ground around it; its ground lost 20 mm ± 4.",
        "The lip along the outer edge grew 12 mm ± 4 on average; most about the 13 m mark: 15 mm ± 4.",
        "First base gained 9 mm ± 4.",
        "Home plate is 6 mm ± 4 shallower against the ground around it.",
    ]  # fmt: skip


@pytest.mark.invariant
def test_signs_are_later_minus_earlier():
    assert detected(zones=[changed("skin", 4.0)]) == ["The skin as a whole gained 4 mm ± 4."]
    assert detected(edges=[grown(12.5, -9.0)]) == ["The lip along the outer edge came down 9 mm ± 4 about the 13 m mark."]


@pytest.mark.invariant
def test_the_tables_rounding_makes_no_detected_change_look_undetected():
    """3.9 mm with an s.d. of 2.0 was detected before both were rounded to 0.1 mm."""
    assert detected(spots=[deeper("second", 3.9, 2.0)]) == ["Second base is 4 mm ± 4 deeper against the ground around it."]
    assert "± 8" in detected(spots=[deeper("second", 3.9, 4.0)])[0]  # but no more than rounding is taken off


@pytest.mark.invariant
def test_what_did_not_change_is_one_line_and_what_was_not_compared_is_named():
    quiet = plain(said.quiet(pair([changed("skin", 1.0, detected=False), changed("first", 1.0, detected=False)], [deeper("second", 9.0)],
                                  [grown(None, 1.0, detected=False), grown(None, None, None, False, "home")]), sayer()))  # fmt: skip
    assert quiet == ("No change detected at: the skin as a whole, first base and the lip along the outer edge. "
                     "Not compared, because too little of it was seen on one of the dates: the home circle.")  # fmt: skip
    still = [changed(z, 0.0, detected=False) for z in ("skin", "first", "second", "third", "home")]
    assert said.quiet(pair(still), sayer()) == "Compared: the skin as a whole and 4 other places."
    assert said.chance(pair(spots=[deeper("second", 9.0), deeper("first", 1.0, detected=False)]), sayer()).startswith("The depths of 2 places")
    assert said.chance(pair(still), sayer()) == ""


@pytest.mark.analytic
def test_volumes_carry_noise_and_range():
    assert plain(said.volumes(pair([changed("skin", -1.0)]), sayer("metric"))) == (
        "On the skin 2.0 m³ gained and 3.0 m³ lost, noise included; noise alone would show about 2.0 m³ of each. Net −1 m³ ± 4."
    )
    assert said.volumes(pair([changed("skin", None, gain_m3=None)]), sayer()) == ""


@pytest.mark.analytic
def test_truck_tickets_are_held_against_the_net():
    """3.4 t at 1.7 t/m3 placed are 2.0 m3; a cubic yard loose at 1.55 t/m3 is 0.7646 x 1.55 / 1.7 = 0.697 m3 placed."""
    def row(amount, unit):
        return reads("works", {"work_id": "w", "field_id": "mill-pond", "done_on": "2026-02-01", "work": "mix_add", "mix_amount": str(amount), "mix_unit": unit})[0]

    material = config().material
    assert said.placed_volume(row(3.4, "tonne"), material) == pytest.approx(2.0)
    assert said.placed_volume(row(1.0, "yd3_loose"), material) == pytest.approx(0.6971, abs=1e-4)
    assert said.placed_volume(row(1.0, "short_ton"), material) == pytest.approx(0.90718474 / 1.7)
    agree, apart = (said.tickets([row(a, "tonne")], material, pair([changed("skin", 1.0, net_m3=2.1, net_sigma_m3=0.4)]), sayer("metric")) for a in (3.4, 9.0))
    assert plain(agree).endswith("about 2.0 m³ once placed. The surveys show a net of +2.1 m³ ± 0.8: the two agree within the range.")
    assert "the two do not agree" in apart
    assert said.tickets([row(3.4, "tonne")], material, pair([changed("skin", 1.0, relative=True)]), sayer()) == ""
    assert said.tickets([], material, pair([changed("skin", 1.0)]), sayer()) == ""


@pytest.mark.invariant
def test_surface_states_and_grass_are_cautions_only_where_they_differ():
    rows = given().surveys
    assert "dormant and wet" in said.states(rows[1], rows[2], sayer()) and "6–13 mm" in plain(said.states(rows[1], rows[2], sayer()))
    assert said.states(rows[0], rows[2], sayer()) == ""
    assert "wet against dry" in said.states(rows[1], rows[2], sayer()) and "Not comparable" in said.states(rows[1], rows[2], sayer())
    unsaid, dressed = (
        reads("surveys", {"survey_id": "four", "flown_on": "2026-05-04", "fields": "mill-pond", "path": "f.laz", "source": "lidar", "surface_state": state})[0]
        for state in ("", "dragged;dry;topdressed")
    )  # fmt: skip
    assert plain(said.states(rows[2], unsaid, sayer())).startswith("How the surface was on 4 May 2026 is not written down")
    assert "loose topdressing" in said.states(rows[2], dressed, sayer())
    tall = pair(edges=[grown(None, 0.0, detected=False, canopy=-8.0), grown(None, 0.0, detected=False, edge_id="home", canopy=14.0)])
    assert "between −8 mm and +14 mm higher" in plain(said.grass(tall, sayer("metric")))
    assert said.grass(pair(edges=[grown(None, 0.0, canopy=4.0)]), sayer()) == ""


@pytest.mark.invariant
def test_works_between_two_surveys_are_those_after_the_first_up_to_the_day_of_the_second():
    rows = reads("works", *({"work_id": f"w{k}", "field_id": "f", "done_on": day, "work": "drag"} for k, day in
                            enumerate(("2025-10-06", "2025-10-07", "2026-04-07", "2026-04-08"))))  # fmt: skip
    assert [r["work_id"] for r in said.done_between(rows, "2025-10-06", "2026-04-07")] == ["w1", "w2"]
    same = str(rows[1]["done_on"])
    assert [r["work_id"] for r in said.done_between(rows, same, same)] == [r["work_id"] for r in rows if str(r["done_on"]) == same]
    line = said.work_line(given().works[0], sayer())
    assert plain(line) == "1 February 2026: mix added, 2 t, by the crew."


def relative() -> FieldInput:
    """The same field, its last two surveys tied to too little ground."""
    zones = [changed("skin", 0.0, detected=False, relative=True, net_m3=777.0, pair_tie_mm=555.0), changed("second", -20.0, relative=True)]
    whole = given(tables=tables(change=zones))
    return replace(
        whole, records={s: record(s, "relative_only", reason_code="too_few_patches") for s in whole.records},
        provenance=whole.provenance | {"pairs": [{"from_survey": "two", "to_survey": "three", "codes": ["too_few_patches", "one_sided_patches"]}]},
    )  # fmt: skip


@pytest.mark.invariant
def test_a_pair_without_a_tie_speaks_of_shape_only_and_prints_no_absolute_figure():
    given = relative()
    block = change_block(given, given.standing, sayer("metric"))
    why, mend = block["relative"]
    assert why.startswith("Only the shape can be compared") and "too few patches of stable ground were seen and the stable ground lies on one side" in why
    assert "stable ground in every survey" in mend and block["tickets"] == ""
    assert "What the whole skin gained or lost is not known" in block["volumes"] and "Net" not in block["volumes"]
    assert block["map_title"].startswith("Change of shape from")
    assert plain(block["found"][0]) == "Second base is 25 mm ± 4 deeper against the ground around it; its ground lost 20 mm ± 4 against the skin’s own plane."
    everything = " ".join(str(part) for name, part in block.items() if name != "svg")
    assert "777" not in everything and "555" not in everything and "skin as a whole lost" not in everything and "skin as a whole gained" not in everything


@pytest.mark.invariant
def test_a_map_is_drawn_only_where_it_shows_a_change():
    whole = given()
    assert change_block(whole, whole.standing, sayer())["svg"]
    nothing = given(tables=tables(change=[changed("skin", 0.5, detected=False)], low_spot_change=[], lip_change=[grown(None, 4.0)]))
    block = change_block(nothing, nothing.standing, sayer())
    assert block["svg"] == "" and len(block["found"]) == 1
    grew = given(tables=tables(change=[changed("skin", 0.5, detected=False)], lip_change=[grown(12.5, 9.0)]))
    assert "Broad strokes" in change_block(grew, grew.standing, sayer())["strokes"]
    assert change_block(replace(whole, change=None, detected=None), whole.standing, sayer())["svg"] == ""


@pytest.mark.invariant
def test_one_survey_has_nothing_to_compare_with():
    from report.scene import quality

    one = given(tables=tables(survey_quality=[quality("three")]))
    assert "nothing to compare it with" in change_block(one, one.standing, sayer())["nothing"]
    none = given(tables=tables(survey_quality=[quality("three", "refused", "no")]))
    assert "there is nothing to compare" in change_block(none, none.standing, sayer())["nothing"]
