"""The week's page on a phone without a network: filled, closed, opened again, saved; and where the phone keeps nothing."""

from __future__ import annotations

import csv
import io
import random
import shutil
from pathlib import Path

import pytest

from pipeline.report.week.columns import COLUMNS, INTO
from pipeline.report.week.plan import frame_of
from pipeline.store import pages
from pipeline.store.tables import parse_rows
from pipeline.tables import TABLES, Rows, read
from browser.test_in_a_browser import CONTRAST
from report.scene import FIELD, layout
from report.week_scene import FIELDS, page as week_page

PHONE = {"width": 390, "height": 844}
NOW = "2026-04-15T07:30:00"
LEAST_PX = 48  # a target for a gloved finger
SMALL = """() => [...document.querySelectorAll('button, input, select, summary, textarea, .bar a')].filter(e => e.checkVisibility())
  .map(e => [e.getBoundingClientRect().height, e.textContent || e.name]).filter(([h]) => h < %d)""" % LEAST_PX
UNNAMED = """() => [...document.querySelectorAll('button, input, select, textarea, a')].filter(e => e.checkVisibility())
  .filter(e => !(e.textContent.trim() || e.closest('label') && e.closest('label').textContent.trim() || e.getAttribute('aria-label'))).map(e => e.outerHTML)"""
WIDE = "() => document.documentElement.scrollWidth - innerWidth"
NO_STORE = "Storage.prototype.setItem = () => { throw new DOMException('no', 'QuotaExceededError') }; Storage.prototype.getItem = () => null;"


@pytest.fixture(scope="module")
def sheet(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("a phone") / "week.html"
    pages.write(path, "week/week.html", week_page())
    return path


@pytest.fixture
def phone(browser, sheet, tmp_path):
    """Opens the page in one profile that outlives the browser, offline; complaints and requests must be none."""
    said, asked, held = [], [], []

    def open_page(script: str = "", **given):
        context = browser.browser_type.launch_persistent_context(
            tmp_path / "profile", executable_path=shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome"),
            args=["--no-sandbox"], viewport=PHONE, offline=True, accept_downloads=True, **given,
        )  # fmt: skip
        held.append(context)
        if script:
            context.add_init_script(script)
        page = context.new_page()
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("request", lambda r: asked.append(r.url))
        page.clock.set_fixed_time(NOW)
        page.goto(sheet.as_uri())
        return page

    yield open_page
    for context in held:
        context.close()
    assert not said and all(url.startswith(("file://", "data:", "blob:")) for url in asked), (said, asked)


def of(page, field_id: str):
    box = page.locator(f"details[data-field={field_id}]")
    if not box.evaluate("e => e.open"):
        box.locator("summary").click()
    return box


def saved(page, press: str = "#save") -> str:
    with page.expect_download() as found:
        page.locator(press).click()
    assert found.value.suggested_filename == "week-nowhere-parks-2026-04-15.csv"
    return Path(found.value.path()).read_bytes().decode("utf-8")


def by_table(text: str) -> dict[str, list[dict[str, str]]]:
    """Rows by table, each cell of which that table's own reader takes; cells of other tables must be empty."""
    found = parse_rows(text, "week.csv")
    assert found.header == COLUMNS
    out: dict[str, list[dict[str, str]]] = {table: [] for table in INTO}
    for _, cells in found.rows:
        mine = {f.name for f in TABLES[cells["table"]]}
        assert not {k for k, v in cells.items() if v and k not in mine | {"table"}}
        out[cells["table"]].append({k: v for k, v in cells.items() if k in mine})
    for table, rows in out.items():
        header = tuple(f.name for f in TABLES[table])
        assert not read(table, Rows(f"{table}.csv", header, tuple(enumerate(rows, start=2))))[1]
    return out


def fill(page) -> None:
    """Two fields: work done, the handful, a place on the plan, a hazard, a walk."""
    bad = of(page, FIELD)
    bad.get_by_role("button", name="holds: keeps its shape").click()
    bad.locator(".task button", has_text="level").first.click()
    bad.get_by_role("button", name="Done as planned", exact=False).first.click()
    bad.get_by_label("Mix used").fill("0,5")
    bad.get_by_label("Its unit").select_option("short_ton")
    bad.get_by_label("Note").fill('edge "A", by hand')
    bad.locator(".hazard").first.get_by_role("button", name="repaired").click()
    bad.get_by_role("button", name="puddle").click()
    second = next(p for p in layout().places if p.place_id == "second")
    frame, plan = frame_of(FIELDS[0]), bad.locator("svg.plan")
    plan.scroll_into_view_if_needed()
    size = plan.bounding_box()
    x, y = (float(v) / (frame.width if k == 0 else frame.height) for k, v in enumerate(frame.xy(second.e, second.n)))
    plan.click(position={"x": x * size["width"], "y": y * size["height"]})
    other = of(page, "other")
    other.get_by_label("Add other work").select_option("weed")
    other.get_by_label("Crew hours").fill("1.5")
    other.get_by_role("button", name="Walked the whole field").click()


@pytest.mark.independent
def test_what_is_entered_outlives_the_browser_and_is_saved_as_rows_the_tables_take(phone):
    page = phone()
    assert page.locator("#week").input_value() == "2026-04-13" and page.locator("#day").input_value() == "2026-04-15"
    fill(page)
    assert page.locator("#unsaved").text_content() == "6 entries not saved"
    page.context.close()  # the browser, not the page only
    page = phone()
    assert page.locator("#unsaved").text_content() == "6 entries not saved" and page.locator("#list li").count() == 6
    assert of(page, FIELD).locator(".tap").count() == 1 and of(page, FIELD).get_by_label("Mix used").input_value() == "0,5"
    found = by_table(text := saved(page))
    assert text.endswith("\r\n") and text.count("\r\n") == 7
    level, weed = found["works"]
    assert {k: v for k, v in level.items() if v and k != "work_id"} == {
        "field_id": FIELD, "done_on": "2026-04-15", "work": "level", "bearing_deg": "155", "entry": "second", "moisture": "holds", "hours": "1.2", "mix_amount": "0.5",
        "mix_unit": "short_ton", "by": "crew", "notes": 'edge "A", by hand',
    }  # fmt: skip
    assert (weed["field_id"], weed["work"], weed["hours"], weed["bearing_deg"], weed["moisture"]) == ("other", "weed", "1.5", "", "")
    hand, puddle = found["readings"]
    assert (hand["kind"], hand["value"]) == ("moisture_hand", "holds") and (puddle["kind"], puddle["value"], puddle["place"]) == ("seen", "puddle", "")
    second = next(p for p in layout().places if p.place_id == "second")
    assert abs(float(puddle["e"]) - second.e) < 0.2 and abs(float(puddle["n"]) - second.n) < 0.2  # a pixel is 0.1 m
    mended, walked = found["walks"]
    assert (mended["place"], mended["item"], mended["action"], mended["closed_on"]) == ("second", "low spot", "repaired", "2026-04-15")
    assert (walked["field_id"], walked["action"], walked["finding"]) == ("other", "", "nothing seen")
    ids = [r[f"{t.rstrip('s')}_id"] for t, rows in found.items() for r in rows]
    assert len(set(ids)) == len(ids)


@pytest.mark.invariant
def test_saved_entries_stay_until_they_are_cleared_on_purpose_and_can_be_saved_again(phone):
    page = phone()
    fill(page)
    first = saved(page)
    assert page.locator("#unsaved").text_content() == "Nothing unsaved" and page.locator("#save").is_disabled()
    assert of(page, FIELD).locator(".task button[aria-pressed=true]").is_disabled()
    page.reload()
    assert saved(page, "#again") == first
    page.locator("#show").click()
    assert page.locator("#text").input_value() == first.replace("\r\n", "\n")  # a text area's own line ends
    page.once("dialog", lambda d: d.dismiss())
    page.locator("#clear").click()
    assert page.locator("#again").is_visible()
    page.once("dialog", lambda d: d.accept())
    page.locator("#clear").click()
    assert page.locator("#again").is_hidden() and page.evaluate("keep.entries.length") == 0


@pytest.mark.invariant
def test_a_press_too_many_is_taken_back(phone):
    page = phone()
    bad = of(page, FIELD)
    for button in (bad.locator(".task button").first, bad.get_by_role("button", name="smears: wets the hand"), bad.locator(".hazard").first.get_by_role("button", name="closed to play")):
        button.click()
        button.click()
    bad.get_by_role("button", name="hole", exact=True).click()
    bad.locator("svg.plan").click()
    bad.get_by_label("or at a named place").select_option("first")
    assert bad.locator(".tap").count() == 2 and "hole, first base" in bad.locator(".seen-list").text_content()
    bad.get_by_role("button", name="Take the last one back").click()
    bad.locator(".seen-list").get_by_role("button", name="Remove").click()
    assert page.evaluate("keep.entries.length") == 0 and bad.locator(".tap").count() == 0


@pytest.mark.invariant
def test_one_press_ticks_what_was_planned_up_to_today_on_its_own_days(phone):
    page = phone()
    of(page, FIELD).get_by_role("button", name="All done as planned").click()
    level, drag = by_table(saved(page))["works"]
    assert (level["done_on"], level["hours"], level["bearing_deg"], level["entry"]) == ("2026-04-13", "1.2", "155", "second")
    assert (drag["done_on"], drag["hours"], drag["bearing_deg"], drag["entry"]) == ("2026-04-15", "0.5", "95", "first")
    assert of(page, FIELD).get_by_role("button", name="All done as planned").count() == 0
    page.locator("#week").select_option("2026-04-20")  # nothing of a week to come
    assert of(page, FIELD).get_by_role("button", name="All done as planned").count() == 0


@pytest.mark.invariant
def test_work_the_handful_forbids_is_said_and_still_written_down(phone):
    bad = of(phone(), FIELD)
    bad.get_by_role("button", name="smears: wets the hand").click()
    assert bad.locator(".off").count() == 2 and "keep off" in bad.locator(".off").first.text_content()
    assert bad.locator(".task button").first.is_enabled()


@pytest.mark.invariant
def test_what_the_tables_would_refuse_is_named_before_anything_is_saved(phone):
    page = phone()
    bad = of(page, FIELD)
    bad.locator(".task button").first.click()
    for label, value in (("Crew hours", "two"), ("Bearing driven", "400"), ("Mix used", "3")):
        bad.get_by_label(label).fill(value)
    assert bad.get_by_label("Crew hours").get_attribute("aria-invalid") == "true"
    page.locator("#save").click()
    said = page.locator("#wrong").text_content()
    assert "not a number" in said and "0 to 360" in said and "no unit" in said and page.locator("#unsaved").text_content() == "1 entry not saved"
    for label, value in (("Crew hours", "2"), ("Bearing driven", "270"), ("Mix used", "")):
        bad.get_by_label(label).fill(value)
    assert by_table(saved(page))["works"][0]["bearing_deg"] == "90"  # the same line


@pytest.mark.invariant
def test_where_the_phone_keeps_nothing_it_is_said_at_the_top_and_asked_before_leaving(phone):
    page = phone(NO_STORE)
    assert page.locator("#refused").is_visible() and "keeps nothing" in page.locator("#refused").text_content()
    of(page, FIELD).locator(".task button").first.click()
    asked = []
    page.on("dialog", lambda d: (asked.append(d.type), d.accept()))
    page.reload()
    assert asked == ["beforeunload"]


@pytest.mark.invariant
def test_entries_that_cannot_be_read_are_laid_aside_not_lost(phone):
    page = phone()
    page.evaluate("localStorage.setItem(keep.key, 'not ours')")
    page.reload()
    assert "laid aside" in page.locator("#refused").text_content()
    of(page, FIELD).locator(".task button").first.click()
    page.reload()
    assert page.evaluate("[keep.entries.length, localStorage.getItem(keep.key + ':unread')]") == [1, "not ours"]


@pytest.mark.invariant
def test_another_week_says_that_its_bearings_are_guesses_and_shows_its_own_work(phone):
    page = phone()
    assert "This week" in page.locator("#now").text_content()
    page.locator("#week").select_option("2026-04-20")
    assert "guesses" in page.locator("#now").text_content() and of(page, FIELD).locator(".task").count() == 2  # its drag, and the walk
    page.clock.set_fixed_time("2026-04-21T08:00:00")
    page.reload()
    assert page.locator("#week").input_value() == "2026-04-20"
    page.clock.set_fixed_time("2026-03-02T08:00:00")
    page.reload()
    assert "not begun" in page.locator("#now").text_content() and page.locator("#week").input_value() == "2026-04-13"
    page.clock.set_fixed_time("2026-06-02T08:00:00")
    page.reload()
    assert "is over" in page.locator("#now").text_content() and page.locator("#week").input_value() == "2026-04-20"


@pytest.mark.invariant
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_a_phone_and_a_gloved_finger_and_every_control_has_a_name(phone, scheme):
    page = phone(color_scheme=scheme)
    fill(page)
    assert page.evaluate(WIDE) <= 0 and page.evaluate(SMALL) == [] and page.evaluate(UNNAMED) == []
    assert min(page.evaluate(CONTRAST))[0] >= 7  # WCAG 2.2, enhanced: it is read in the sun


@pytest.mark.invariant
def test_the_keyboard_alone_ticks_a_work_and_keeps_its_place(phone):
    page = phone()
    page.locator(f"details[data-field={FIELD}] summary").focus()
    page.keyboard.press("Enter")
    page.locator(f"details[data-field={FIELD}] .task button").first.focus()
    page.keyboard.press("Space")
    assert page.evaluate("document.activeElement.getAttribute('aria-pressed')") == "true"
    page.keyboard.press("Tab")
    assert "Done as planned" in page.evaluate("document.activeElement.textContent")


@pytest.mark.invariant
def test_whatever_entries_there_are_the_file_is_one_that_the_tables_take(phone):
    page, draw = phone(), random.Random(7)
    texts = ["", "plain", 'a "quote"', "a, comma", "two\r\nlines", "\ttab", "=1+1", "½ ± “curly” 中 \U0001f4a7", '"', ",", " "]
    entries = []
    for k in range(400):
        entry = {"id": f"x-{k}", "field": draw.choice([FIELD, "other"]), "on": f"2026-0{draw.randint(1, 9)}-{draw.randint(10, 28)}", "saved": draw.random() < 0.3}
        kind = draw.choice(["work", "hand", "seen", "walk"])
        if kind == "work":
            entry |= {"task": draw.choice(["drag", "level", "mix_add", "other"]), "hours": draw.choice(["", "1", "1,5", " 2 ", "x", "-1"]), "bearing": draw.choice(["", "0", "180", "359.5", "361"]),
                      "entry": draw.choice(["", "first", "centre"]), "mix": draw.choice(["", "0.5"]), "unit": draw.choice(["", "tonne"]), "notes": draw.choice(texts)}  # fmt: skip
        elif kind == "hand":
            entry |= {"value": draw.choice(["dust", "smears"])}
        elif kind == "seen":
            entry |= {"value": draw.choice(["puddle", "trip"]), "e": "507010.25", "n": "175003.50", **({"place": "second"} if draw.random() < 0.5 else {})}
        else:
            entry |= {"item": "low spot", "place": "second", "finding": draw.choice(["seen", 'a "hole", deep']), **({"action": draw.choice(["closed", "repaired"])} if draw.random() < 0.7 else {})}
        entries.append({"kind": kind, **entry})
    text, kept = page.evaluate("(given) => { keep.entries = given; const good = given.filter(e => !rows.faults(e).length); return [rows.csv(good), good.length] }", entries)
    found = by_table(text)
    assert sum(map(len, found.values())) == kept and 100 < kept < 400
    notes = {r["notes"] for r in found["works"]}
    assert {'a "quote"', "a, comma", "two lines", "½ ± “curly” 中 \U0001f4a7", '"', ","} <= notes
    assert all(len(line) == len(COLUMNS) for line in csv.reader(io.StringIO(text, newline="")))
