"""The pages in a real browser: Chromium lays them out, the checks ask it what a reader would see."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from report.plan_scene import RECORD, plan_said
from report.season_scene import season_said
from report.scene import FIELD, WORDS, config, deeper, field_seen, given, seen, spot, stood, surface, tables

from pipeline.report.field_page import field_page
from pipeline.report.figures import US
from pipeline.report.overview import index_page
from pipeline.store import pages

PHONE, LAPTOP, PAPER = (390, 844), (1280, 800), (700, 1000)  # PAPER: A4 less its margins at 96 px an inch
FOUND = ("index", "us", "metric")

# Contrast of every visible piece of text with what lies behind it: WCAG 2.2, relative luminance and contrast ratio.
CONTRAST = """() => {
  const parse = c => { const m = c.match(/[\\d.]+/g).map(Number); return {rgb: m.slice(0, 3), a: m.length > 3 ? m[3] : 1} };
  const light = rgb => rgb.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05) };
  const behind = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.a === 1) return c.rgb } return [255, 255, 255] };
  const out = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || ['TITLE', 'DESC', 'title', 'desc', 'STYLE'].includes(e.tagName) || !e.checkVisibility()) continue;
    const style = getComputedStyle(e), drawn = e.tagName === 'text', disc = drawn && e.closest('.mark, g.place') && e.previousElementSibling;
    const ink = parse(drawn ? style.fill : style.color).rgb;
    out.push([ratio(ink, disc ? parse(getComputedStyle(disc).fill).rgb : behind(e)), walk.currentNode.data.trim().slice(0, 40)]);
  }
  return out;
}"""

# Words of a drawing that reach over its frame, and pairs of words of a chart that lie on one another.
CLIPPED = """() => [...document.querySelectorAll('svg[role=img]')].flatMap(svg => {
  const box = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(t => {
    const r = t.getBoundingClientRect();
    return r.left < box.left - 1 || r.right > box.right + 1 || r.top < box.top - 1 || r.bottom > box.bottom + 1;
  }).map(t => t.textContent);
})"""
COLLIDING = """() => [...document.querySelectorAll('svg.chart')].flatMap(svg => {
  const words = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
  return words.flatMap(([a, p], k) => words.slice(k + 1).filter(([b, q]) =>
    Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 4).map(([b]) => a + ' / ' + b));
})"""
CONTROLS = "() => [...document.querySelectorAll('a[href], summary, button, input, select, [tabindex=\"0\"]')].filter(e => e.checkVisibility()).length"
FOCUSED = """() => { const e = document.activeElement, s = getComputedStyle(e), r = e.getBoundingClientRect();
  return e === document.body ? null : {index: [...document.querySelectorAll('*')].indexOf(e), ring: s.outlineStyle !== 'none' && s.outlineWidth !== '0px',
    seen: r.right > 0 && r.left < innerWidth && r.width > 0} }"""


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> dict[str, Path]:
    """The index and a field's page in either system of units, where they would stand in `results`."""
    root = tmp_path_factory.mktemp("results with a space")
    out = {"index": root / "index.html", "us": root / "fields" / FIELD / "report.html", "metric": root / "fields" / "metric" / "report.html"}
    two = stood(seen(survey="two"), seen([spot("second", 70.0), spot("first", 30.0)]))
    found = tables(low_spot_change=[deeper(p, 10.0 + k) for k, p in enumerate(("first", "second", "third", "home", "landing", "short-stop"))])
    fields = [field_seen(two, found=found), replace(field_seen(stood(seen()), "A Field With a Rather Long Name to Wrap", "metric"), site="far-side")]
    pages.write(out["index"], "index.html", index_page(fields, config().tolerances, "Nowhere Parks", WORDS, season_said(), plan_said(US), record=RECORD))
    for units in ("us", "metric"):
        pages.write(out[units], "field.html", field_page(given(units, surfaces=tuple(surface(s, seed=k) for k, s in enumerate("abc"))), WORDS))
    return out


@pytest.fixture
def opened(browser, site):
    """Opens a page at a size; whatever it asks for or complains of is kept, and must be nothing."""
    contexts, asked, said = [], [], []

    def open_page(name: str, size=LAPTOP, scheme="light", media="screen"):
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda r: asked.append(r.url))
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.emulate_media(media=media, color_scheme=scheme)
        page.goto(site[name].as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not said and all(url.startswith(("file://", "data:")) for url in asked)


def unfold(page) -> None:
    page.evaluate("() => document.querySelectorAll('details').forEach(d => d.open = true)")


@pytest.mark.independent
@pytest.mark.parametrize("name", FOUND)
@pytest.mark.parametrize("size, media", [(PHONE, "screen"), (LAPTOP, "screen"), (PAPER, "print")], ids=["phone", "laptop", "paper"])
def test_nothing_reaches_over_the_side_and_no_word_of_a_drawing_is_cut(opened, name, size, media):
    page = opened(name, size, media=media)
    unfold(page)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= size[0]
    assert page.evaluate(CLIPPED) == [] and page.evaluate(COLLIDING) == []
    if size == PHONE:
        assert page.evaluate("() => [...document.querySelectorAll('.wide:not(.drawn)')].filter(e => e.scrollWidth > e.clientWidth).length") == 0


@pytest.mark.independent
@pytest.mark.parametrize("name", ("index", "us"))
@pytest.mark.parametrize("scheme, media", [("light", "screen"), ("dark", "screen"), ("dark", "print")], ids=["light", "dark", "dark-print"])
def test_all_text_stands_out_from_what_lies_behind_it(opened, name, scheme, media):
    """At least 4.5 : 1, success criterion 1.4.3 of WCAG 2.2; on paper the light colours stand whatever the screen's."""
    page = opened(name, scheme=scheme, media=media)
    unfold(page)
    found = page.evaluate(CONTRAST)
    assert len(found) > 40 and [f for f in found if f[0] < 4.5] == []
    paper = [int(v) for v in re.findall(r"\d+", page.evaluate("() => getComputedStyle(document.body).backgroundColor"))]
    assert (max(paper) < 60) == (scheme == "dark" and media == "screen")


@pytest.mark.independent
@pytest.mark.parametrize("name", ("index", "us"))
def test_every_control_is_reached_by_the_tab_key_and_shows_it(opened, name):
    page = opened(name)
    wanted = page.evaluate(CONTROLS)
    reached = []
    for _ in range(wanted + 2):
        page.keyboard.press("Tab")
        if (at := page.evaluate(FOCUSED)) is not None:
            reached.append(at)
    assert len({at["index"] for at in reached}) == wanted and all(at["ring"] and at["seen"] for at in reached)


@pytest.mark.independent
def test_what_is_folded_away_opens_with_a_key(opened):
    page = opened("us")
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.querySelector('details').open")


@pytest.mark.independent
def test_the_index_leads_to_a_field_and_back(opened):
    page = opened("index")
    page.locator(".box a").first.click()
    assert page.url.endswith(f"/fields/{FIELD}/report.html") and page.locator("h1").inner_text() == "Mill Pond Field"
    page.get_by_text("All fields").click()
    assert page.url.endswith("/index.html")


@pytest.mark.independent
@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
def test_verdict_reason_and_first_act_stand_on_the_first_screen(opened, size):
    page = opened("us", size)
    for text in ("Unsafe", "Second base is", "Close the 2 places", "fill second base"):
        box = page.locator(".verdict").get_by_text(text, exact=text == "Unsafe").first.bounding_box()
        assert box["y"] + box["height"] <= size[1]
    box = opened("index", size).locator(".box").first.bounding_box()
    assert box["y"] + box["height"] <= size[1]


@pytest.mark.independent
def test_one_site_is_chosen_by_key_counted_aloud_kept_in_the_address_and_taken_back(opened, site):
    page = opened("index")
    ranked, shown = page.locator("tr.ranked"), lambda: page.locator("tr.ranked:visible").count()
    assert ranked.count() == shown() == 2 and page.locator("#site-said").get_attribute("role") == "status" and page.locator("#site-said").inner_text() == ""
    page.get_by_label("Show one site").focus()
    page.keyboard.press("f")  # an option by its first letter
    assert shown() == 1 and page.locator("#site-said").inner_text().startswith("1 of 2 fields are shown: Far Side.") and page.url.endswith("#site=far-side")
    assert not page.locator(".box").first.is_visible() and page.locator("[data-empty=unsafe]").is_visible() and page.locator("svg [data-site]").first.get_attribute("data-site") == "far-side mill-pond"
    assert all(who.get_attribute("data-site") in (None, "far-side") for who in page.locator(".who tbody tr:visible").all())
    page.get_by_role("link", name="Capital plan").click()
    assert shown() == 1  # a jump within the page takes nothing back
    page.goto(site["index"].as_uri() + "#site=mill-pond")
    page.reload()
    assert shown() == 1 and page.locator(".box").first.is_visible() and page.get_by_label("Show one site").input_value() == "mill-pond"
    page.get_by_label("Show one site").select_option("")
    assert shown() == 2 and page.locator("#site-said").inner_text() == "All 2 fields are shown." and "#" not in page.url


@pytest.mark.independent
def test_a_budget_is_chosen_by_key_and_says_what_it_buys(opened):
    page = opened("index")
    slider, step = page.get_by_label("Budget, in per cent"), lambda: page.locator("#budget-steps .step:visible")
    assert step().count() == 1 and "The owner’s budget" in step().inner_text() and not page.locator("#all-steps table").is_visible()
    slider.focus()
    page.keyboard.press("Home")
    assert "No plan pays for what must be done" in step().inner_text() and slider.get_attribute("aria-valuetext").startswith("At 50")
    page.keyboard.press("ArrowRight")
    assert "Falls off: Kettle Field" in step().inner_text() and page.locator(".step-mark.at").get_attribute("data-step") == "1" and step().count() == 1
    page.emulate_media(media="print")
    assert page.locator("#all-steps table").is_visible() and not page.locator("#budget").is_visible()


@pytest.mark.independent
def test_without_a_script_every_field_and_every_budget_is_there(browser, site):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(site["index"].as_uri() + "#site=far-side")
    assert page.locator("tr.ranked:visible").count() == 2 and page.locator("#all-steps tbody tr:visible").count() == 5
    assert not page.locator("#site").is_visible() and not page.locator("#budget").is_visible()
    context.close()


@pytest.mark.independent
def test_the_page_prints(opened):
    pdf = opened("us", media="print").pdf(format="A4")
    assert pdf.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 14  # what is folded lies open, but for what is only looked up
