"""Every kind of page under an outside engine for accessibility, and the field page walked by keyboard alone.

The engine is axe-core, packed in the wheel axe-playwright-python: WCAG 2.2 levels A and AA, and its best practices.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from axe_playwright_python.sync_playwright import Axe

from pipeline.report import palette
from pipeline.report.field_page import field_page
from pipeline.report.figures import US
from pipeline.report.foresight_page import foresight_page
from pipeline.report.overview import index_page
from pipeline.report.papers.crew import papers
from pipeline.store import pages
from browser.test_in_a_browser import LAPTOP, PHONE, unfold
from report.plan_scene import plan_said
from report.scene import WORDS, config, deeper, field_seen, given, layout, seen, spot, stood, surface, tables
from report.season_scene import day_said, season_said
from report.test_foresight_page import ASKED, foreseen, pad
from report.test_papers import ANCHOR, HEAD, design
from report.test_works_block import LOW, PLANE, record
from report.week_scene import page as week_page

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RULES = {"runOnly": TAGS, "resultTypes": ["violations", "passes"], "rules": {"target-size": {"enabled": True}}}
NARROW = RULES | {"rules": RULES["rules"] | {"color-contrast": {"enabled": False}}}  # its colours are those of the wide page
INK = {"runOnly": {"type": "rule", "values": ["color-contrast"]}, "resultTypes": ["violations", "passes"]}  # what a dark page changes
DRAWN_LIGHT = {"exclude": [["svg"]]}  # drawings keep their light ground in the dark: judged once
SEEN = [(LAPTOP, "light", RULES), (PHONE, "light", NARROW), (LAPTOP, "dark", INK)]
KINDS = ("field", "index", "day", "foresee", "week", "package")
LEAST_PX = 24  # WCAG 2.2, 2.5.8: a target's least side, or as much room about it
NAMED = """() => [...document.querySelectorAll('svg[role=img]')].filter(s => s.checkVisibility()).filter(s =>
  !s.getAttribute('aria-labelledby').split(' ').every(id => document.getElementById(id)?.textContent.trim())).length"""
ALL_SHOWN = """() => [...document.querySelectorAll('details:not(.screen) > :not(summary)')].filter(e => !e.closest('details.screen'))
  .every(e => e.checkVisibility({contentVisibilityAuto: true}) || getComputedStyle(e).display === 'none')"""
CANVASES = "() => [...document.querySelectorAll('canvas')].filter(c => c.checkVisibility()).map(c => [c.getAttribute('role'), c.getAttribute('aria-label') || ''])"
REACHED = """() => { const e = document.activeElement; if (e === document.body) return null; const s = getComputedStyle(e), r = e.getBoundingClientRect();
  return {what: e.tagName, id: e.id, text: (e.labels?.[0] || e).textContent.trim().slice(0, 40), ring: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2,
    side: Math.min(r.width, r.height), inLine: getComputedStyle(e).display === 'inline', y: r.top + scrollY} }"""


def worked():
    """A field with a work between two of the surveys that its page carries, depths at three dates, and things in the ground."""
    depths = {"first": (31.0, 12.0, 14.0), "second": (40.0, 55.0, 70.0), "third": (5.0, 4.0, 6.0)}
    spots = [spot(place, d, survey=s) for place, ds in depths.items() for s, d in zip(("one", "two", "three"), ds)]
    return given(
        surfaces=tuple(replace(surface(day, seed=k), survey_id=s) for k, (day, s) in enumerate((("a", "one"), ("b", "two"), ("c", "three")))),
        designs={"keep_outs": [ANCHOR, HEAD]}, tables=tables(low_spot_change=[deeper("first", 10.0)], low_spots=spots), worked={"works": [record(PLANE, LOW)]},
    )  # fmt: skip


@pytest.fixture(scope="module")
def kinds(tmp_path_factory) -> dict:
    """One page of every kind that is made, where each would stand in `results`."""
    root = tmp_path_factory.mktemp("every kind of page")
    two = stood(seen(survey="two"), seen([spot("second", 70.0), spot("first", 30.0)]))
    package, _ = papers(given(designs=design()), WORDS)
    foreseen_page = foresight_page(layout(), ASKED, foreseen(), [pad(0.003)], None, (), config().tolerances, "us", WORDS)
    made = {
        "field": ("field.html", field_page(worked(), WORDS)),
        "index": ("index.html", index_page([field_seen(two), field_seen(stood(seen()), "Other", "other")], config().tolerances, "Nowhere Parks", WORDS, season_said(), plan_said(US))),
        "day": ("day.html", day_said()), "foresee": ("foresee.html", foreseen_page), "week": ("week/week.html", week_page()),
        "package": ("papers/paper.html", {"paper": package, "colours": palette.css(), "back": WORDS("paper_back"), "pdf": "work_package.pdf", "as_pdf": WORDS("paper_as_pdf")}),
    }  # fmt: skip
    for kind, (template, content) in made.items():
        pages.write(root / f"{kind}.html", template, content)
    return {kind: root / f"{kind}.html" for kind in made}


def show(browser, path, size=LAPTOP, scheme="light"):
    page = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    page.goto(path.as_uri())
    return page


@pytest.mark.independent
@pytest.mark.parametrize("kind", KINDS)
def test_an_outside_engine_finds_nothing_on_any_kind_of_page(browser, kinds, kind):
    for size, scheme, rules in SEEN:
        page = show(browser, kinds[kind], size, scheme)
        unfold(page)
        found = Axe().run(page, context=DRAWN_LIGHT if scheme == "dark" else None, options=rules).response
        assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found["violations"]] == [], (size, scheme)
        assert rules is NARROW or any(p["id"] == "color-contrast" for p in found["passes"])
        assert rules is INK or len(found["passes"]) > 15
        page.close()


@pytest.mark.independent
def test_the_outside_engine_does_find_what_is_wrong(browser, kinds):
    page = show(browser, kinds["day"])
    page.evaluate("() => { document.querySelector('main').insertAdjacentHTML('afterbegin', '<h6>x</h6><input>') }")
    assert {"label", "heading-order"} <= {v["id"] for v in Axe().run(page, options=RULES).response["violations"]}
    page.close()


@pytest.mark.independent
def test_a_field_page_is_walked_and_worked_by_keyboard_alone(browser, kinds):
    """Every stop in order down the page, each with a ring and room for a finger, none of them a trap; every control does its work."""
    page = show(browser, kinds["field"])
    stops = []
    for _ in range(400):
        page.keyboard.press("Tab")
        at = page.evaluate(REACHED)
        if at is None:
            break
        stops.append(at)
    assert page.evaluate(REACHED) is None and len({(s["what"], s["id"], s["text"], s["y"]) for s in stops}) == len(stops)
    assert all(s["ring"] for s in stops) and [s for s in stops if not s["inLine"] and s["side"] < LEAST_PX] == []
    assert stops[0]["text"] == WORDS("skip") and {"A", "SUMMARY", "SELECT", "INPUT", "DIV"} <= {s["what"] for s in stops}
    assert page.evaluate(NAMED) == 0 and all(role == "img" and len(said) > 5 for role, said in page.evaluate(CANVASES)) and page.evaluate(CANVASES)
    _worked(page)
    page.close()


def _worked(page) -> None:
    hidden = page.locator(".keep-outs").first
    assert not hidden.is_visible()
    page.locator("#keep-outs").focus()
    page.keyboard.press("Space")
    assert hidden.is_visible() and page.locator(".keep-outs-read").is_visible()
    first, second = page.locator("#two-dates select").all()
    before = page.locator("#two-dates [role=status]").inner_text()
    first.focus()
    page.keyboard.press("ArrowUp")
    assert page.locator("#two-dates [role=status]").inner_text() != before and first.input_value() != second.input_value()
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.querySelector('details').open")
    page.locator("nav a").last.focus()
    page.keyboard.press("Enter")
    assert page.url.endswith("#sure") and -1 <= page.locator("#sure").bounding_box()["y"] < 200


@pytest.mark.independent
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_the_script_draws_is_seen_in_light_and_in_the_dark(browser, kinds, scheme):
    """A filter lifts a drawing over what is not lifted with it: what the page shows must change when the canvas is taken away."""
    page = show(browser, kinds["field"], scheme=scheme)
    stack = page.locator("#two-dates .stack").first
    with_it = stack.screenshot()
    page.locator("#two-dates canvas").first.evaluate("e => e.style.visibility = 'hidden'")
    assert with_it != stack.screenshot()
    page.close()


@pytest.mark.independent
def test_what_is_folded_lies_open_on_paper_but_for_what_is_only_looked_up_and_is_folded_again_after(browser, kinds):
    page = show(browser, kinds["field"])
    shut = "() => document.querySelectorAll('details:not([open])').length"
    count = page.evaluate(shut)
    page.emulate_media(media="print")
    page.wait_for_function(ALL_SHOWN)  # fails where anything stays folded
    assert page.locator("details.screen").count() > 2 and not any(e.is_visible() for e in page.locator("details.screen").all()) and page.locator("p.paper").is_visible()
    assert count > 5 and page.locator(".keep-outs").first.is_visible() and not page.locator("#keep-outs").is_visible()
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    assert page.evaluate(shut) == 0
    page.evaluate("() => dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(shut) == count
    page.close()
