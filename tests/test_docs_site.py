"""The docs as a site: made from the Markdown, every link leads somewhere, it opens from disk, and people of all kinds can read it."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from urllib.parse import unquote

import pypdfium2
import pytest
import typer
from axe_playwright_python.sync_playwright import Axe
from lxml import html

from pipeline.cli import app

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
LOOKED_AT = (("first-hour", 1280, "light"), ("words", 390, "light"), ("field-card-es", 1280, "dark"), ("gis", 1280, "light"))
CODE = re.compile(r"```\w*\n(.*?)```|`([^`\n]+)`", re.S)


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("docs site")
    runpy.run_path(str(DOCS / "make_site.py"))["site"](folder)
    return folder


@pytest.fixture(scope="module")
def trees(site) -> dict:
    return {path.name: html.fromstring(path.read_bytes()) for path in sorted(site.glob("*.html"))}


@pytest.mark.invariant
def test_every_page_of_the_docs_is_made_and_stands_in_every_list_of_pages(trees):
    wanted = {"index.html" if p.stem == "README" else f"{p.stem}.html" for p in DOCS.glob("*.md")}
    assert set(trees) == wanted
    for name, tree in trees.items():
        assert {a.get("href") for a in tree.xpath("//nav//a")} == wanted - {"index.html"}, name
        assert len(tree.xpath("//nav//a[@aria-current]")) == (name != "index.html"), name


@pytest.mark.invariant
def test_every_link_anchor_and_picture_leads_somewhere_on_the_disk(site, trees):
    for name, tree in trees.items():
        ids = tree.xpath("//@id")
        assert len(ids) == len(set(ids)), name
        for target in tree.xpath("//@href | //@src"):
            if target.startswith("data:"):
                continue
            file, _, anchor = unquote(target).partition("#")
            assert (site / (file or name)).is_file(), f"{name}: {target}"
            assert not anchor or anchor in trees[file or name].xpath("//@id"), f"{name}: {target}"


@pytest.mark.invariant
def test_commands_that_the_docs_tell_to_type_are_commands():
    known = set(typer.main.get_command(app).commands)
    told = {}
    for path in [ROOT / "README.md", *DOCS.glob("*.md")]:
        for block, span in CODE.findall(path.read_text(encoding="utf-8")):
            told |= dict.fromkeys(re.findall(r"(?:^|/|\s)skinplane ([a-z]+)\b", block or span, re.M), path.name)
    assert {"check", "run"} < set(told) and not {word: page for word, page in told.items() if word not in known}


@pytest.mark.independent
@pytest.mark.parametrize(("name", "lang"), [("field-card", "en"), ("field-card-es", "es")])
def test_the_field_card_is_one_sheet_of_paper(site, name, lang):
    """Read back by pdfium."""
    paper = pypdfium2.PdfDocument(site / f"{name}.pdf")
    said = paper[0].get_textpage().get_text_range()
    card = html.fromstring((site / f"{name}.html").read_bytes())
    assert len(paper) == 1 and card.get("lang") == lang
    assert all(" ".join(h.text_content().split()) in said for h in card.xpath("//main//h1 | //main//h2"))


@pytest.mark.independent
def test_the_site_in_a_browser_from_disk(site, browser):
    """By axe-core, WCAG 2.2 A and AA; as wide as the screen; found by a word; the card prints on one sheet."""
    for name, width, scheme in LOOKED_AT:
        page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
        said: list[str] = []
        page.on("console", lambda m: said.append(m.text))
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("request", lambda r: r.url.startswith(("file:", "data:")) or said.append(r.url))
        page.goto((site / f"{name}.html").as_uri())
        found = Axe().run(page, options={"runOnly": TAGS, "resultTypes": ["violations"], "preload": False}).response["violations"]
        assert not [(v["id"], v["nodes"][0]["html"]) for v in found] and not said, name
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        if name == "words":
            assert page.locator("nav > details").get_attribute("open") is None
            page.fill("#find", "zig-zag")
            assert page.locator("#found li").count() > 0 and "zig-zag" in page.locator("#found li").first.inner_text().lower()
            page.press("#find", "Enter")
            page.wait_for_url("**#*")
        if "card" in name:
            assert len(pypdfium2.PdfDocument(page.pdf(format="Letter"))) == 1
        page.close()
