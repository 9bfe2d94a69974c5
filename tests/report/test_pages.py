"""The pages as files: well-formed, in order, readable without eyes, without a network, in either system of units."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from pipeline.report.field_page import field_page, marked
from pipeline.report.overview import index_page
from pipeline.report.overview_places import FILES
from pipeline.store import pages
from report.plan_scene import plan_said
from report.season_scene import day_said, season_said
from report.scene import WORDS, config, edge, field_seen, given, quality, record, seen, spot, station, stood, tables
from support.page_text import without_links

SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 3_000_000
HEADINGS = [f"h{k}" for k in range(1, 7)]


def page(made) -> str:
    return pages.render("field.html", field_page(made, WORDS))


def refused():
    verdicts = [quality(s, "refused", "beside <its> field & far") for s in ("one", "two", "three")]
    bare = tables(survey_quality=verdicts, lip=[], low_spots=[], zones=[], change=[], low_spot_change=[], lip_change=[], rulebook=[], trend=[], balance=[])
    return replace(given(tables=bare), elevation=None, change=None, detected=None, readings_wanted={})


def walked():
    """A field walked with a rover: edges by their mean only, no map of change, no tie."""
    whole = tables(lip=[station(None, 34.0), station(None, 3.0, edge="home"), station(None, 30.0, kind="not_enough_evidence", edge="foul-first")])
    return replace(given(tables=whole), records={s: record(s, source="rover", tie={}, horizontal=None) for s in ("one", "two", "three")})


def overview() -> str:
    fields = [field_seen(stood(seen(survey="two"), seen([spot("second", 70.0)]))), field_seen(stood(seen()), "Other & Field", "other")]
    return pages.render("index.html", index_page(fields, config().tolerances, "Nowhere Parks", WORDS))


def planned() -> str:
    return pages.render("index.html", index_page([field_seen(stood(seen()))], config().tolerances, "Nowhere Parks", WORDS, season_said(), plan_said()))


def in_season() -> str:
    return pages.render("index.html", index_page([field_seen(stood(seen()))], config().tolerances, "Nowhere Parks", WORDS, season_said()))


PAGES = {
    "us": lambda: page(given()), "metric": lambda: page(given("metric")), "refused": lambda: page(refused()), "walked": lambda: page(walked()),
    "one": lambda: page(given(tables=tables(survey_quality=[quality("three")]))), "bare": lambda: page(given(settings=config(tolerances={}, material={}))),
    "index": overview, "season": in_season, "planned": planned, "day": lambda: pages.render("day.html", day_said()),
}  # fmt: skip


@pytest.fixture(scope="module", params=PAGES)
def html(request) -> str:
    return PAGES[request.param]()


@pytest.fixture(scope="module")
def tree(html) -> ET.Element:
    """The page read as XML: stricter than any browser."""
    return ET.fromstring(html.removeprefix("<!DOCTYPE html>\n"))


@pytest.mark.invariant
def test_a_page_is_well_formed_and_says_its_language(tree):
    assert tree.tag == "html" and tree.attrib["lang"] == "en" and tree.findtext("head/title")


@pytest.mark.invariant
def test_headings_step_down_one_by_one(tree):
    levels = [int(e.tag[1]) for e in tree.iter() if e.tag in HEADINGS]
    assert levels[0] == 1 and levels.count(1) == 1 and all(b - a <= 1 for a, b in zip(levels, levels[1:]))


@pytest.mark.invariant
def test_a_field_page_answers_in_its_order(tree, html):
    order = [e.attrib["id"] for e in tree.iter("h2")]
    if 'id="glossary"' in html:
        assert order.pop() == "glossary"
    if 'id="crew"' in html:
        assert order == ["first", "lost", "crew", "games"]
    elif 'id="rank"' in html:
        may = lambda *parts: [part for part in parts if f'id="{part}"' in html]
        assert order == ["unsafe", *may("week"), "rank", "map", "changed", *may("season", "plan", "backtest"), "refused", "unmeasured", "read", "files"]
        assert re.findall(r'<a href="#(\w+)">', html.split("</nav>")[0]) == [o for o in order if o != "backtest"]
    else:
        assert order == ["unsafe", *(["edges"] if 'id="edges"' in html else []), "changed", "next", "sure"]
        parts = re.findall(r'<a href="#(\w+)">', html.split("</nav>")[0])
        assert [p for p in parts if p in order] == order and all(f'id="{p}"' in html for p in parts)


@pytest.mark.invariant
def test_every_picture_is_named_and_described_or_hidden_from_screen_readers(tree):
    pictures = list(tree.iter(f"{SVG}svg")) + [e for e in tree.iter("svg")]
    for picture in pictures:
        if picture.attrib.get("aria-hidden") == "true":
            continue
        named = picture.attrib["aria-labelledby"].split()
        parts = {e.attrib.get("id"): e for e in picture}
        assert picture.attrib["role"] == "img" and [parts[n].tag.removeprefix(SVG) for n in named] == ["title", "desc"]
        assert all(parts[n].text for n in named)


@pytest.mark.invariant
def test_ids_are_unique_and_every_reference_has_its_target(tree):
    ids = [e.attrib["id"] for e in tree.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))
    for e in tree.iter():
        for attribute in ("aria-labelledby", "href"):
            for name in e.attrib.get(attribute, "").split():
                if attribute == "aria-labelledby" or name.startswith("#"):
                    assert name.removeprefix("#") in ids


@pytest.mark.invariant
def test_tables_have_captions_and_headed_rows_and_columns(tree):
    for table in tree.iter("table"):
        assert table.findtext("caption")
        heads = table.findall("thead/tr/th")
        assert heads and all(h.attrib["scope"] == "col" for h in heads)
        for line in table.findall("tbody/tr"):
            assert len(line) == len(heads) and line[0].tag == "th" and line[0].attrib["scope"] == "row"


@pytest.mark.invariant
def test_a_page_reaches_for_nothing_outside_itself_and_is_small(html):
    for address in re.findall(r'(?:href|src|srcset|action|poster)="([^"]*)"', html):
        assert address.startswith(("data:", "#", "fields/", "../../index.html")) or address.startswith("works/") or address in (*FILES, "work_package.html", "work_package.pdf", "keep_out.pdf", "week.html", "week.pdf")
    without_names = html.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?:|//[a-z]|@import|url\(", without_names)
    assert set(re.findall(r"<script[^>]*>", html)) <= {"<script>", '<script type="application/json" id="two-dates-data">'} | set(re.findall(r'<script type="application/json" id="[a-z-]+">', html))
    assert len(html.encode()) < MOST_BYTES


@pytest.mark.invariant
def test_nothing_unfilled_or_unread_stands_on_a_page(html):
    text = re.sub(r"<style>.*?</style>|<script.*?</script>|<svg.*?</svg>", "", html, flags=re.S)
    assert not re.search(r"\bNone\b|\bnan\b|[{}]|undefined", text)
    assert "&lt;its&gt;" in html or "<its>" not in html


@pytest.mark.invariant
def test_the_same_field_gives_the_same_bytes():
    assert page(given()) == page(given())


@pytest.mark.invariant
def test_what_an_operator_wrote_cannot_become_markup():
    html = page(given())
    assert "ankle &lt;deep&gt; &amp; cone" in html and "<deep>" not in html
    assert "beside &lt;its&gt; field &amp; far" in page(refused())


@pytest.mark.invariant
def test_a_metric_page_speaks_metric_and_an_american_one_american():
    def words_of(html: str) -> str:
        return re.sub(r"<style>.*?</style>|<script>.*?</script>|<[^>]+>", " ", html, flags=re.S).replace("\u00a0", " ")

    metric, us = words_of(page(given("metric"))), words_of(page(given("us")))
    assert not re.search(r"\d (in|ft|tons|cu yd|sq ft)\b", metric.replace("(0.4 in) of rain", "").replace("¼–½ in", "").replace("95 in 100", ""))
    assert not re.search(r"\d (m|m²|m³|t)\b", us.replace("mix added, 2 t", ""))
    limits = {"60", "50", "25", "20", "13"} | {"10", "6\u201313"}  # the owner's, as set; rain; the trade's caution
    assert {m.group(1) for m in re.finditer(r"([0-9.\u2013]+) mm\b", us)} <= limits


@pytest.mark.invariant
def test_a_survey_that_is_not_tied_prints_no_height_of_its_tie():
    tied, loose = (
        field_page(given("metric", tables=tables(survey_quality=[quality(s, verdict, "too few patches") for s in ("one", "two", "three")])), WORDS)
        for verdict in ("absolute", "relative_only")
    )
    assert {r[3] for r in tied["sure"]["surveys"]} == {"+20\u00a0mm\u00a0\u00b1\u00a08"} and {r[3] for r in loose["sure"]["surveys"]} == {""}
    assert loose["sure"]["surveys"][0][1] == "shape only: too few patches" and tied["sure"]["surveys"][0][1] == "heights comparable"


@pytest.mark.invariant
def test_the_first_lines_of_an_unsafe_field_say_why_and_what_to_do():
    head = field_page(given("metric"), WORDS)["head"]
    assert (head["verdict_word"], head["site"]) == ("Unsafe", "Mill Pond")
    assert head["headline"].replace("\u00a0", " ").startswith("Second base is 70 mm ± 4 low, over the trip limit of 60 mm.")
    assert head["act"] == "Close the 2 places or mark them off." and head["steps"] == "fill second base; take the lip off the outer edge"


@pytest.mark.invariant
def test_the_marks_on_the_map_are_those_in_the_text():
    made = given()
    keys = marked(made.standing)
    html = page(made)
    assert sorted(keys.values()) == ["1", "2", "3", "4", "A", "B", "C"]
    drawn = re.findall(r'class="mark [a-z-]+"><circle[^>]*/><text[^>]*>(\w+)</text>', html)
    assert sorted(drawn) == sorted([*keys.values(), *2 * [k for k in keys.values() if k.isalpha()]])  # letters on the edge unrolled and on its plan too


@pytest.mark.invariant
def test_cautions_of_the_trade_stand_on_every_field_page(html):
    if 'id="rank"' in html:
        return
    if 'id="crew"' in html:
        assert "A survey cannot clear a field for play: walk it." in html
        return
    said = text_of(html)
    assert "A survey cannot clear a field for play: walk it." in said and "Tolerances are the owner’s, not a standard’s." in said
    assert "A survey sees grass" in said and "Fly an empty field only" in said
    if 'class="todo"' in html:
        assert "811" in html and "silica" in html


@pytest.mark.invariant
def test_a_name_that_nobody_gave_is_an_error():
    from jinja2 import UndefinedError

    content = field_page(given(), WORDS)
    del content["sure"]
    with pytest.raises(UndefinedError):
        pages.render("field.html", content)


def text_of(html: str) -> str:
    return re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]+>", " ", without_links(html), flags=re.S).replace("\u00a0", " ")


@pytest.mark.invariant
@pytest.mark.parametrize("kept", ["unsafe", "changed", "unsettled"])
def test_where_the_tape_starts_is_said_once_in_the_block_that_first_names_a_mark(kept):
    lip = {"unsafe": tables()["lip"], "changed": [], "unsettled": edge(base=34.0, kind="not_enough_evidence")}[kept]
    grew = tables()["lip_change"] if kept == "changed" else []
    text = text_of(page(given(tables=tables(lip=lip or edge(), lip_change=grew, low_spots=[]))).split("<main>")[1])
    said = "tape laid counter-clockwise"
    blocks = dict(zip(("unsafe", "changed", "next", "sure"), re.split(r"What changed since|What next|How sure", text)))
    where = {"unsafe": "unsafe", "changed": "changed", "unsettled": "next"}[kept]
    assert blocks[where].count(said) >= 1 and blocks[where].count("along the outer edge from its end") == 1
    assert text.count("along the outer edge from its end") == 1


@pytest.mark.invariant
def test_surveys_of_one_day_are_named_by_their_ids_wherever_their_day_stands():
    twice = [{**quality(s), "flown_on": day} for s, day in (("one", "2025-04-07"), ("two", "2026-04-07"), ("three", "2026-04-07"))]
    html = page(given(tables=tables(survey_quality=twice)))
    text = text_of(html)
    for line in ("Newest survey that can be used: 7 April 2026 (three)", "What changed since 7 April 2026 (two)", "The skin on 7 April 2026 (three)",
                 "Change from 7 April 2026 (two) to 7 April 2026 (three)", "First seen on 7 April 2026 (three)", "Height along the outer edge, 7 April 2026 (three)"):
        assert line in text
    assert "(three)" not in text_of(page(given()))
