"""The week's sheet: which week, what stands of each field, the plan whose taps are places, the paper, what the script is handed."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

import pipeline
from pipeline.report.papers.paper import Break, FieldPart, Heading, Lines
from pipeline.report.week.columns import COLUMNS
from pipeline.report.week.facts import bases_line, bearing_lines, gap_line, handful_line, hazard_lines, keep_line, last_line, mix_line
from pipeline.report.week.field_week import planned_of, weeks_of
from pipeline.report.week.page import project_of
from pipeline.report.week.phrases import HANDED
from pipeline.report.week.plan import frame_of, phone_plan, to_ground
from pipeline.store import pages, pdf
from pipeline.tables import MOISTURES, WORKS
from pipeline.units import FOOT_M
from pipeline.works.moisture import JUDGED, possible
from report.scene import FIELD, WORDS, field_seen, mix, seen, stood
from report.week_scene import ACROSS, DESIGNS, FIELDS, MONDAY, NEWEST, QUEUE, RUN, field_week, games, page, paper, queued, quiet, works

SCRIPTS = sorted((Path(pipeline.__file__).parent / "report" / "week").glob("*.js"))


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2060", "")


# ---- which week ---------------------------------------------------------------------------------------


@pytest.mark.analytic
def test_the_sheet_holds_the_planned_weeks_and_without_a_plan_the_first_week_after_the_newest_day():
    assert weeks_of(FIELDS, NEWEST) == [MONDAY, dt.date(2026, 4, 20)]
    assert weeks_of([quiet()], NEWEST) == [MONDAY] and weeks_of([quiet()], dt.date(2026, 4, 13)) == [dt.date(2026, 4, 20)]
    assert weeks_of([quiet()], None) == []


@pytest.mark.invariant
def test_two_parts_of_a_work_on_one_day_are_one_line_and_what_is_dropped_is_none():
    rows = [*QUEUE, queued("2026-04-15", "drag", 4, 0.25), queued("2026-04-15", "weed", 5, None), queued("2026-04-15", "weed", 6), queued("2026-04-15", "roll", 7, field_id="other")]
    found = planned_of(rows, FIELD)
    assert [(p.on.day, p.task, p.hours) for p in found] == [(13, "level", 1.2), (15, "drag", 0.75), (15, "weed", None), (22, "drag", 0.5)]
    assert [p.reason for p in found] == ["low", "", "", ""]  # upkeep needs no reason
    assert planned_of(QUEUE, FIELD, {(FIELD, "level", "unsafe"): "in feet"})[0].reason == "in feet"


# ---- what stands of a field ---------------------------------------------------------------------------


@pytest.mark.analytic
def test_the_bearing_is_a_corner_a_way_and_degrees_and_levelling_has_its_own():
    whole, across = bearing_lines(field_week())
    assert whole.startswith("Begin by first base (") and "drive west and back" in whole and whole.endswith("bearing 95°.")  # the run goes 20 m west
    assert across.startswith("To level, first across the low spots: begin by second base") and across.endswith("bearing 155°.")
    north = {**RUN, "line": [RUN["line"][0], [RUN["line"][0][0] + 5, RUN["line"][0][1] + 5]]}
    assert "drive north-east and back" in bearing_lines(field_week(designs={**DESIGNS, "passes": {**DESIGNS["passes"], "runs": [north]}}))[0]
    none = {**DESIGNS, "passes": {"reason": "no working width: machines", "runs": []}}
    assert "no working width: machines" in bearing_lines(field_week(designs=none))[0] and "no usable survey" in bearing_lines(quiet())[0]


@pytest.mark.analytic
def test_the_last_two_runs_by_machine_are_named_newest_first_and_handwork_is_none():
    assert plain(last_line(field_week())) == "Last times: 30 March 2026: 10°, from the right-field side; 22 September 2025: bearing not written down, from the left-field side."
    assert last_line(quiet()) == "No run is on record."


@pytest.mark.analytic
def test_a_gap_in_the_records_makes_the_bearing_a_guess():
    assert gap_line(field_week(), MONDAY, 3) == "" and gap_line(field_week(), MONDAY, 2) == ""  # two weeks to the day
    assert plain(gap_line(field_week(), MONDAY, 1)) == "No run over the skin is recorded since 30 March 2026: this bearing is a guess."
    assert "ever recorded" in gap_line(quiet(), MONDAY, 3)
    ended = works({"work_id": "a", "done_on": "2026-03-01", "ended_on": "2026-03-30", "work": "drag"})
    assert gap_line(field_week(works=ended), MONDAY, 3) == ""


@pytest.mark.analytic
def test_the_base_set_in_play_follows_the_games():
    said = bases_line(field_week(), MONDAY, WORDS)
    assert said == "60 ft bases from Wed 15 April, 09:00; 55 ft bases from Sat 18 April, 09:00."
    late = field_week(games=games(("2026-04-10", "softball-60"), ("2026-04-18", "softball-55")))
    assert bases_line(late, MONDAY, WORDS).endswith("Before that the 60 ft bases stand.")
    assert "the last was on 55 ft bases" in bases_line(field_week(), dt.date(2026, 5, 4), WORDS)
    assert "look which one stands" in bases_line(field_week(games=()), MONDAY, WORDS)
    assert bases_line(quiet(), MONDAY, WORDS) == "55 ft bases, the only set." and bases_line(quiet(main=""), MONDAY, WORDS) == ""


@pytest.mark.analytic
def test_what_is_to_be_found_first_is_counted_and_named():
    assert keep_line(field_week()) == "1 of 2 things in the ground to find and flag before any blade, with the keep-out sheet: second base anchor."
    many = [{**DESIGNS["keep_outs"][0], "name": f"h{k}", "kind": "irrigation_head"} for k in range(8)]
    assert keep_line(field_week(designs={**DESIGNS, "keep_outs": many})).endswith("head h3; 4 more.")
    found = [{**r, "found": True} for r in DESIGNS["keep_outs"]]
    assert keep_line(field_week(designs={**DESIGNS, "keep_outs": found})).startswith("all 2 things") and "nothing is drawn" in keep_line(quiet())


@pytest.mark.analytic
def test_mix_is_said_with_a_unit_that_is_one_thing_only():
    # 0.5 t is 0.5512 short tons; its range of 0.2 t between the ends is +/- 0.11; loose 0.5 / 1.55 m3 is 0.42 cu yd
    assert plain(mix_line(field_week(), "level")) == "Bring 0.55 short tons ± 0.11 of mix, about 0.42 cu yd loose."
    assert mix_line(field_week(), "drag") == "" and "not known" in mix_line(quiet(), "mix_add")
    dry = {**DESIGNS, "variants": [{**DESIGNS["variants"][0], "mix_tonnes": 0.0, "mix_low95_t": 0.0, "mix_high95_t": 0.0}]}
    assert mix_line(field_week(designs=dry), "level") == "No mix from the truck."
    assert "Bring 0.22 short tons" in plain(mix_line(field_week(designs={}), "level"))  # the two low spots of the survey, 0.1 t each
    thin = stood(replace(seen(), rows=seen().rows | {"mix_depth": [mix(tonnes=9.0)]}))
    assert "short tons" in mix_line(field_week(seen=field_seen(thin)), "mix_add")


@pytest.mark.invariant
def test_the_moisture_rule_is_that_of_the_table():
    assert handful_line(["drag"], WORDS) == "Squeeze a handful. Crumbles or holds: go ahead. Dust: wet it first. Smears: keep off."
    assert handful_line(["weed"], WORDS) == "Squeeze a handful. Dust, crumbles or holds: go ahead. Smears: keep off."
    assert handful_line(["water", "drag"], WORDS) == "Squeeze a handful. Crumbles: go ahead. Dust: wet it first. Holds or smears: keep off."
    assert handful_line(["bases"], WORDS) == ""


@pytest.mark.invariant
def test_open_hazards_come_with_what_to_do_and_a_field_without_has_none():
    said = hazard_lines(field_week())
    assert len(said) == len(field_week().seen.now.open) + 1 and "Second base is" in said[0] and said[-1].startswith("Close")
    assert hazard_lines(quiet()) == []


# ---- the plan -----------------------------------------------------------------------------------------


@pytest.mark.invariant
@pytest.mark.parametrize("crs_m", [1.0, FOOT_M])
def test_a_tap_on_the_plan_is_the_place_that_readings_would_be_read_at(crs_m):
    field, rng = field_week(crs_m=crs_m), np.random.default_rng(4)
    frame = frame_of(field)
    a, b, c, d, e, f = to_ground(frame, crs_m)
    east, north = (rng.uniform(v, v + 30, 20) for v in (507000.0, 175000.0))
    x, y = frame.xy(east, north)
    assert np.allclose((a * x + b * y + c) * crs_m, east, atol=1e-6) and np.allclose((d * x + e * y + f) * crs_m, north, atol=1e-6)  # as steps/measure_lip.py reads e, n


@pytest.mark.invariant
def test_the_plan_is_small_and_names_the_bases():
    svg = phone_plan(field_week())
    assert len(svg) < 20_000 and all(f">{WORDS(f'place_{p}')}<" in svg for p in ("home", "first", "second", "third")) and 'class="taps"' in svg


# ---- the paper ----------------------------------------------------------------------------------------


@pytest.mark.invariant
def test_the_paper_has_a_page_a_site_with_the_unsafe_field_first_and_lines_to_write_on():
    far = quiet(seen=replace(quiet().seen, site="away", name="Far", field_id="far"))
    made = paper((quiet(), far, field_week()))
    kinds = [b for b in made.blocks if not isinstance(b, Lines)]
    assert [b.text for b in kinds if isinstance(b, Heading)] == ["Site: Away", "Site: Mill Pond"] and sum(isinstance(b, Break) for b in kinds) == 1
    parts = [b for b in kinds if isinstance(b, FieldPart)]
    assert [p.name for p in parts] == ["Far", "Mill Pond Field", "Other <Field>"] and parts[1].warnings and not parts[2].warnings
    level, drag, other = parts[1].rows
    assert level[:2] == ("Level", "Mon 13 April, 1.2\u00a0h") and level[3] == "Low." and "short tons" in level[4] and level[5] and {"bearing", "corner", "handful"} <= set(level[2])
    assert drag[1] == "Wed 15 April, 0.5\u00a0h" and drag[3:] == ("", "", "") and other[0] == "Other work" and len(parts[2].rows) == 2
    assert plain(made.under[0]) == "From surveys and works up to 9 April 2026; for the first week that begins after it, that of 13 April 2026."


@pytest.mark.invariant
def test_without_a_plan_each_field_still_has_its_hazards_bearing_keep_outs_and_blank_lines():
    made = paper((field_week(planned=()),))
    part = next(b for b in made.blocks if isinstance(b, FieldPart))
    assert part.warnings and len(part.lines) == 3 and part.lines[0][0] == "Planned" and [r[0] for r in part.rows] == ["Drag", "Other work"] and made.under[1].startswith("No work is planned") and len(paper().under) == 1
    bare = paper((quiet(),), newest=None)
    assert bare.title == "The week’s sheet" and bare.day == "1970-01-01" and "Neither a survey nor a work" in bare.under[0]


@pytest.mark.independent  # PDFium reads what the typesetter wrote
def test_the_pdf_is_tagged_the_same_each_time_and_says_what_the_blocks_say(tmp_path):
    for name in "ab":
        pdf.write(tmp_path / name, "papers/paper.typ", paper().plain(pages.style()), paper().day)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes() and b"<pdfuaid:part>1</pdfuaid:part>" in (tmp_path / "a").read_bytes()
    document = pypdfium2.PdfDocument(tmp_path / "a")
    text = " ".join(" ".join(sheet.get_textpage().get_text_bounded() for sheet in document).split()).replace("\u00a0", " ")
    assert document.is_tagged() and len(document) == 1
    assert "Level Mon 13 April, 1.2 h" in text and "Smears: keep off." in text and "Other <Field>" in text and "Unsafe: first of all" in text


# ---- the page -----------------------------------------------------------------------------------------


def data(**given) -> dict:
    text = page(**given)["data"]
    assert not re.search("[<>&]", text)
    return json.loads(text)


@pytest.mark.invariant
def test_the_page_is_one_file_that_reaches_for_nothing():
    html = pages.render("week/week.html", page())
    assert not re.search(r"https?:|//[a-z]+\.|@import|url\(|\ssrc=|<link(?! rel=\"icon\" href=\"data:,\")", html.replace('xmlns="http://www.w3.org/2000/svg"', ""))
    assert "Other &lt;Field&gt;" in html and "<Field>" not in html and not re.search(r"fetch\(|XMLHttpRequest|WebSocket", html)


@pytest.mark.invariant
def test_the_header_of_the_saved_file_is_the_table_s_name_and_the_columns_of_three_tables():
    wanted = ("table work_id field_id done_on work ended_on zone pattern bearing_deg entry machine depth depth_unit moisture hours mix_amount mix_unit sod_m2 cost by documents notes "
              "reading_id read_on kind value unit edge_id station_m place e n instrument walk_id walked_on item finding action closed_on role")  # fmt: skip
    assert COLUMNS == tuple(wanted.split()) and data()["columns"] == list(COLUMNS)


@pytest.mark.invariant
def test_the_script_holds_no_language_of_its_own_and_says_every_phrase_it_is_handed():
    code = "\n".join(path.read_text() for path in SCRIPTS)
    said = set(re.findall(r'say\("(\w+)"', code)) | {f"{key}_{n}" for key in re.findall(r'count\("(\w+)"', code) for n in ("one", "many")}
    assert said == set(HANDED) and len(HANDED) == len(set(HANDED))
    spoken = [s for s in re.findall(r'"([^"\n]*)"', re.sub(r"//.*", "", code)) if re.search(r"[A-Za-z]{2,} +[a-z]{2,} +[a-z]{2,}", s)]
    assert not spoken


@pytest.mark.invariant
def test_the_script_s_names_in_braces_are_those_of_the_phrases():
    code = "\n".join(path.read_text() for path in SCRIPTS)
    for key, inside in re.findall(r'say\("(\w+)", \{([^}]*)\}', code):
        if "..." not in inside:
            assert set(re.findall(r"(?:^|, )(\w+)", inside)) >= set(re.findall(r"\{(\w+)\}", WORDS.phrases[key])), key


@pytest.mark.invariant
def test_the_script_is_handed_every_week_every_word_and_the_run_of_each_work():
    found = data()
    assert [w["start"] for w in found["weeks"]] == ["2026-04-13", "2026-04-20"]
    assert [t[:3] for t in found["weeks"][0]["tasks"]] == [[FIELD, "level", "2026-04-13"], [FIELD, "drag", "2026-04-15"]]
    assert found["fields"][FIELD]["runs"] == {"drag": [95, RUN["entry"]], "level": [155, ACROSS["entry"]]} and found["fields"]["other"]["runs"] == {}
    assert set(found["works"]) == set(WORKS) and set(found["moistures"]) == set(MOISTURES)
    assert found["off"] == {w: [m for m in MOISTURES if possible(w, m) == "not"] for w in JUDGED}
    assert "other" in found["weeks"][0]["gaps"] and FIELD not in found["weeks"][0]["gaps"]


@pytest.mark.invariant
def test_a_new_sheet_of_the_same_project_finds_what_the_old_one_kept():
    assert data()["project"] == data(fields=(quiet(),))["project"] == "nowhere-parks"
    assert project_of(FIELDS, "") == project_of(FIELDS[::-1], "") != project_of(FIELDS[:1], "")
