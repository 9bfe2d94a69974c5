"""Work package and keep-out sheet: what they tell, that they are whole PDFs, and that nothing on them hangs on a clock."""

from __future__ import annotations

import re
from dataclasses import replace

import pypdfium2
import pytest
import shapely
from shapely.geometry import Point

from pipeline.report.papers.ink import inked
from pipeline.report.papers.paper import A4, LETTER, Blanks, Break, Caution, Heading, Lines, Paper, Picture, Steps, Table, Ticks
from pipeline.report.papers.crew import papers
from pipeline.store import pages, pdf
from report.scene import HOME, WORDS, given, spot, tables
from report.test_grade_block import record, variant

TAPES = {"first": "home-plate", "first_m": 19.4, "second": "pitchers-plate", "second_m": 14.0, "sigma_m": 0.06, "crossing_deg": 60.0, "left": True}
ANCHOR = {"kind": "base_anchor", "name": "second", "end": "", "e": HOME[0] + 12, "n": HOME[1] + 20, "free_m": 0.6, "found": False, "computed": True,
          "located_on": "", "located_by": "", "ahead": False, "kept_free": Point(HOME[0] + 12, HOME[1] + 20).buffer(0.6).wkt, "tapes": TAPES}  # fmt: skip
HEAD = {**ANCHOR, "kind": "irrigation_head", "name": "h-1", "e": HOME[0] + 4, "free_m": 0.32, "kept_free": Point(HOME[0] + 4, HOME[1] + 20).buffer(0.32).wkt, "found": True, "computed": False, "located_on": "2026-03-30", "located_by": "A. Nobody", "tapes": None}
RUN = {"run": 1, "purpose": "whole_skin", "bearing_deg": 30.0, "entry": "first", "length_m": 20.0, "minutes": 0.6, "blade_up_m": 0.0,
       "line": [[HOME[0], HOME[1] + 5], [HOME[0] + 10, HOME[1] + 22]]}  # fmt: skip
HAUL = {"order": 1, "kind": "carry", "from_e": HOME[0] + 5, "from_n": HOME[1] + 9, "to_e": HOME[0] + 12, "to_n": HOME[1] + 19, "way_m": 12.0, "cut_m3": 0.3,
        "fill_m3": 0.26, "loose_m3": 0.33, "cut_mm": 14.0, "passes": 2, "loads": 2, "minor": False}  # fmt: skip
LIP = {"edge_id": "outer", "from_m": 8.0, "to_m": 14.0, "length_m": 6.0, "kind": "lip", "e": HOME[0] + 9, "n": HOME[1] + 20, "height_mm": 62.0, "height_sigma_mm": 4.0,
       "width_mm": 400.0, "remedy": "cut", "out_m3": 0.08, "out_sigma_m3": 0.01, "sod_m2": 2.0, "sod_most_m2": 3.0, "goes_back": "screened", "goes_to": "second",
       "away_m": 4.0, "unsafe": True, "reason": ""}  # fmt: skip
STAKE = {"point": 1, "e": HOME[0] + 12, "n": HOME[1] + 20, "existing_m": 300.0, "design_m": 300.05, "description": "second, home side", "away_m": 0.75, "by_hand": True, "cut_m": 0.0, "fill_m": 0.05}


def design(**over) -> dict:
    row = variant("touch_up", cut_m3=0.0, mix_tonnes=0.5, mix_low95_t=0.4, mix_high95_t=0.6, mix_reserve_t=0.05, loads=1)
    at = next(p for p in given().layout.places if p.place_id == "second")
    filled = {"name": "second", "e": at.e, "n": at.n, "reach_m": 1.5, "fill_m3": 0.29, "tonnes": 0.5, "tonnes_sigma": 0.04}
    return record(row, chosen="touch_up", keep_outs=[ANCHOR, HEAD], stakes=[STAKE], filled=[filled], lip_work=[LIP], probe_places=[[HOME[0] + 5, HOME[1] + 12]],
                  hauls={"machine": "groomer", "lines": [HAUL], "reason": ""},
                  passes={"reason": "", "machine": "groomer", "width_m": 1.8, "runs": [RUN], "last_bearings": [10.0], "last_entries": ["first"], "hand_m2": 40.0}) | over  # fmt: skip


def made(units: str = "us", **over) -> tuple[Paper, Paper]:
    return papers(given(units, designs=design(**over)), WORDS)


def text_of(paper: Paper) -> str:
    """All that stands on a paper, plainly spaced."""
    def walk(value):
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            for k, v in value.items():
                if k not in ("svg", "kind"):
                    yield from walk(v)
        elif isinstance(value, (list, tuple)):
            for v in value:
                yield from walk(v)

    return " ".join(walk(paper.plain(pages.style()))).replace("\u00a0", " ").replace("\u2060", "")


def printed(path) -> str:
    return " ".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(path)).replace("\u00a0", " ")


@pytest.mark.analytic
def test_a_crew_reads_what_where_with_how_much_and_what_not_to_hit():
    text = text_of(made()[0])
    assert "Fill second base" in text and "Mix: 0.55 tons ± 0.09 (0.38 cu yd in place) to the plane of the ground around." in text  # 0.5 t, 0.29 m3
    assert "second base, home side, 2 ft 6 in from the middle" in text and "Stakes 1." in text and "fill 2.0 in" in text and "by hand: no blade" in text  # 0.05 m is 1.97 in
    assert "1 of 2 things in the ground is not found this season" in text
    assert "(unsafe)" in text and "cut sod, lower, re-lay" in text and "second base, screened" in text
    assert "14 mm" not in text and "0.55 in (2 passes)" in text and "0.43 cu yd" in text  # the haul: 14 mm, 0.33 m3 loose
    assert "from the truck as far as the grass edge does not give it: 0.55 tons ± 0.11, and 0.06 tons more in reserve." in text
    assert "The grass edge gives 0.10 cu yd ± 0.03 of mix (in place) to the low spots first" in text  # 0.08 m3
    assert "Lift the base and plug the sleeve first" in text


@pytest.mark.analytic
def test_metric_readers_get_metric_papers():
    text = text_of(made("metric")[0])
    assert "fill 50 mm" in text and "Mix: 0.50 t ± 0.08 (0.29 m³ in place)" in text and " in)" not in text
    assert made("metric")[0].size == A4 and made("us")[0].size == LETTER


@pytest.mark.invariant
def test_what_matters_for_safety_is_on_the_first_block_and_nothing_clears_the_field():
    package = made()[0]
    assert isinstance(package.blocks[0], Caution) and package.blocks[0].lines[0].startswith("Unsafe now: ") and "Keep people away" in package.blocks[0].lines[0]
    assert any("811" in line for line in package.blocks[0].lines)
    text = text_of(package)
    assert "does not clear the field for play" in text and "silica" in text and re.search(r"smears: wets the hand( no)+ ", text)


@pytest.mark.invariant
def test_a_low_spot_the_design_leaves_out_is_ordered_for_by_hand():
    rows = tables(low_spots=[spot("second", 70.0), spot("landing", 40.0, fill_tonnes=0.2)])
    package = papers(given(designs=design(), tables=rows), WORDS)[0]
    assert "For a low spot filled by hand beside the design: 0.22 tons." in text_of(package)


@pytest.mark.invariant
def test_a_field_with_nothing_to_do_is_told_so_and_keeps_its_runs():
    quiet = tables(low_spots=[spot("second", 2.0)], lip=[], mix_depth=[])
    package, sheet = papers(given(designs=design(chosen="", stakes=[], filled=[], lip_work=[], hauls={"machine": "", "lines": [], "reason": ""}), tables=quiet), WORDS)
    text = text_of(package)
    assert "Nothing is surely over its limit" in text and "1 straight run" in text and "What to bring" not in text


@pytest.mark.invariant
def test_the_keep_out_sheet_numbers_each_place_and_leaves_room_to_write():
    sheet = made()[1]
    table = next(b for b in sheet.blocks if isinstance(b, Table) and b.heads[0] == "no.")
    assert [r[0] for r in table.rows] == ["1", "2"] and table.rows[0][1] == "anchor, second base"
    assert all(r[k] == "" for r in table.rows for k in table.blank)
    assert "63\u00a0ft\u00a08\u00a0in" in table.rows[0][2]  # 19.4 m is 63 ft 7.8 in
    assert table.rows[1][5] == "30\u00a0March 2026, A. Nobody"
    assert "Probe the mix before any cut" in text_of(sheet)
    picture = next(b for b in sheet.blocks if isinstance(b, Picture))
    assert ">1</text>" in picture.svg and ">2</text>" in picture.svg


@pytest.mark.invariant
def test_a_field_without_a_survey_has_papers_all_the_same():
    bare = given(designs={"survey": "", "reason": "no usable survey", "chosen": "", "variants": [], "conflicts": [], "probe_places": []}, tables={k: [] for k in tables()}, surveys=(), records={}, elevation=None, change=None, detected=None)
    package, sheet = papers(bare, WORDS)
    assert "Nothing is known to lie in this ground" in text_of(sheet) and package.day == "1970-01-01"


@pytest.mark.independent  # PDFium reads what the typesetter wrote
def test_the_pdf_says_what_the_blocks_say_and_is_tagged(tmp_path):
    for name, paper in zip(("package", "sheet"), made()):
        path = tmp_path / f"{name}.pdf"
        pdf.write(path, "papers/paper.typ", paper.plain(pages.style()), paper.day)
        document = pypdfium2.PdfDocument(path)
        assert document.is_tagged() and document.get_metadata_value("Title") == paper.title
        assert 1 <= len(document) <= 4
        wide, high = document[0].get_size()
        assert (round(wide), round(high)) == (612, 792)  # US letter, points
        text = " ".join(printed(path).split())
        assert paper.title in text and f"sheet 1 of {len(document)}" in text and "Squeeze a handful" in text or name == "sheet"
        assert b"<pdfuaid:part>1</pdfuaid:part>" in path.read_bytes()


@pytest.mark.invariant
def test_the_same_paper_gives_the_same_bytes(tmp_path):
    paper = made()[0]
    for name in "ab":
        pdf.write(tmp_path / name, "papers/paper.typ", paper.plain(pages.style()), paper.day)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    assert b"20260407" in (tmp_path / "a").read_bytes()


@pytest.mark.invariant
def test_every_kind_of_block_is_set_and_odd_signs_pass_through(tmp_path):
    odd = 'a # sign, $x$, *stars*, _under_, <tag>, "quotes", \\back, @at, [box], “curly”, ½ ± ²'
    svg = '<svg viewBox="0 0 10 10" xmlns="http://www.w3.org/2000/svg" class="map"><rect class="skin" width="9" height="9"/></svg>'
    blocks = [Heading(odd), Lines([odd, odd]), Lines([odd], small=True), Caution(odd, [odd]), Steps([(odd, [odd]), (odd, [])]), Ticks([odd]),
              Table(odd, [odd, "b"], [[odd, ""], ["", "c"]], right=(1,), blank=(1,), wide=(0,)), Picture(svg, odd, odd, odd, 20.0), Break(), Blanks(odd, [odd])]  # fmt: skip
    paper = Paper("en", odd, [odd], [odd], blocks, odd, "{here}/{all}", "2026-04-07", A4)
    pdf.write(tmp_path / "x.pdf", "papers/paper.typ", paper.plain(pages.style()), paper.day)
    text = " ".join(printed(tmp_path / "x.pdf").split())
    assert text.count("*stars*") >= 12 and text.count("#") >= 12 and "2/2" in text


@pytest.mark.invariant
def test_a_drawing_on_paper_has_no_name_of_a_colour_left_and_no_rule_of_a_small_screen():
    svg = inked(next(b for b in made()[0].blocks if isinstance(b, Picture)).svg, pages.style())
    assert "var(" not in svg and "system-ui" not in svg and "23px" not in svg and ".skin{fill:#" in svg
    with pytest.raises(KeyError):
        inked('<svg><path fill="var(--no-such-colour)"/></svg>', "")


@pytest.mark.invariant
def test_a_paper_that_cannot_be_set_leaves_no_file(tmp_path):
    paper = made()[0]
    broken = replace(paper, blocks=[Picture("<svg", "t", "a")])
    with pytest.raises(Exception):
        pdf.write(tmp_path / "x.pdf", "papers/paper.typ", broken.plain(pages.style()), paper.day)
    assert not list(tmp_path.iterdir())


@pytest.mark.invariant
def test_a_lip_that_feeds_a_low_spot_is_worked_before_it_and_the_spot_says_so():
    package = made()[0]
    steps = next(b for b in package.blocks if isinstance(b, Steps))
    titles = [lead for lead, _ in steps.items]
    assert titles.index("Take the lip off the outer edge") < titles.index("Fill second base") and titles[-1].startswith("Finish")
    lines = " ".join(steps.items[titles.index("Fill second base")][1])
    assert "First the mix that comes out of the grass" in lines and "0.10\u00a0cu\u00a0yd" in lines.replace("cu yd", "cu\u00a0yd")  # 0.08 m3


@pytest.mark.invariant
def test_a_whole_skin_is_staked_on_a_plan_and_its_low_spots_are_filled_by_hauls():
    grid = [{**STAKE, "point": k, "e": HOME[0] + 3 * k, "description": "grade", "by_hand": False, "cut_m": 0.0105 * k, "fill_m": 0.0} for k in range(1, 4)]
    rows = [variant("no_mix_bought")]
    package = papers(given("metric", designs=design(chosen="no_mix_bought", variants=rows, filled=[], stakes=grid)), WORDS)[0]
    svg = next(b.svg for b in package.blocks if isinstance(b, Picture) and "stake-plan" in b.svg)
    assert re.findall(r">(−?\+?\d+)</text>", svg)[:3] == ["−11", "−21", "−32"]  # mm; halves away from zero
    text = text_of(package)
    assert "Filled by what is carried here" in text and "By hand: no blade here." not in text and "For a low spot filled by hand" not in text


@pytest.mark.invariant
def test_what_lies_under_an_edge_that_is_cut_stops_the_spade():
    outer = next(e for e in given().edges if e.edge_id == "outer")
    square = lambda at: shapely.to_wkt(shapely.Point(*(float(v) for v in outer.at(at))).buffer(0.3), rounding_precision=2)
    lights, head = {**ANCHOR, "kind": "cable", "name": "lights", "kept_free": square(10.0)}, {**HEAD, "kept_free": square(13.0)}
    text = text_of(made(keep_outs=[lights, head])[0])
    assert re.search(r"STOP, not found this season: A: cable lights at 3\d–3\d ft\.", text) and re.search(r"By hand only at: A: irrigation head h 1 at \d+–\d+ ft\.", text)


@pytest.mark.invariant
def test_work_since_the_survey_and_what_gave_way_stand_in_the_first_box():
    told = [{"variant": "touch_up", "family": "grass_edge", "place": "outer 21 m", "asked": 6.0, "possible": 26.2, "unit": "mm", "alone": True}]
    first = made(works_since=["w1"], conflicts=told)[0].blocks[0]
    assert any("The ground was worked after this survey" in line for line in first.lines) and any("1.03" in line for line in first.lines)


@pytest.mark.invariant
def test_probing_comes_before_any_cut():
    from report.scene import mix

    rows = tables(mix_depth=[mix(depth=None, sigma=None, verdict="not_enough_evidence", cores=0, told_pct=0.0, tonnes=None, loose_m3=None, reason="no core")])
    package = papers(given(designs=design(), tables=rows), WORDS)[0]
    steps = next(b for b in package.blocks if isinstance(b, Steps))
    assert steps.items[0][0] == "Take cores of the mix"


@pytest.mark.invariant
def test_a_cable_s_strip_is_drawn_whole_on_every_plan():
    strip = {**ANCHOR, "kind": "cable", "name": "lights", "kept_free": "POLYGON ((507002 175004, 507020 175004, 507020 175005, 507002 175005, 507002 175004))"}
    package, sheet = made(keep_outs=[ANCHOR, strip])
    for paper in (package, sheet):
        for block in (b for b in paper.blocks if isinstance(b, Picture)):
            assert block.svg.count('class="off"') == 2
    assert "never with a steel rod" in text_of(sheet) and "never with a steel rod" not in text_of(made(keep_outs=[ANCHOR])[1])


@pytest.mark.independent  # PDFium
def test_signs_that_no_font_holds_become_question_marks_and_the_paper_is_made(tmp_path):
    paper = replace(made()[0], title="中央 💧 \x07 field", blocks=[Lines(["Łódź Ελλάς Поле “½” 中"])])
    pdf.write(tmp_path / "x.pdf", "papers/paper.typ", paper.plain(pages.style()), paper.day)
    text = printed(tmp_path / "x.pdf")
    assert "?? ? ? field" in text and "Łódź Ελλάς Поле “½” ?" in text
