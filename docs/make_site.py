"""Writes the docs as a small static site: plain pages that open from disk without a network, and the field card as a paper.

    .venv/bin/python docs/make_site.py [FOLDER]      build/docs where nothing is said

The order of the pages, and their groups, are those of docs/README.md.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import dataclass, field
from html import escape
from itertools import count
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markdown_it import MarkdownIt

from pipeline.report import palette
from pipeline.store import pages

HERE = Path(__file__).resolve().parent
SITE = HERE / "site"
HOME = "README.md"
LISTED = re.compile(r"^\| \[([\w-]+\.md)\]")


@dataclass
class Section:
    """A heading with what stands under it, as the search looks through it."""

    anchor: str
    heading: str
    text: list[str] = field(default_factory=list)


@dataclass
class Page:
    """One Markdown file. sections : its headings in order, the first being the page's own"""

    name: str
    html: str
    sections: list[Section]
    heads: list[tuple[str, str]]  # (anchor, heading) of the second level

    @property
    def title(self) -> str:
        return self.sections[0].heading

    @property
    def file(self) -> str:
        return page_file(self.name)

    @property
    def lang(self) -> str:
        return "es" if self.name.endswith("-es.md") else "en"

    @property
    def card(self) -> bool:
        return self.name.startswith("field-card")


def page_file(name: str) -> str:
    """'words.md' is words.html; the list of pages is the site's first page."""
    return "index.html" if name == HOME else name.removesuffix(".md") + ".html"


def groups(listing: str) -> list[tuple[str, list[str]]]:
    """(heading, names of pages) as docs/README.md lists them."""
    found: list[tuple[str, list[str]]] = []
    for line in listing.splitlines():
        named = LISTED.match(line)
        if line.startswith("## "):
            found.append((line[3:].strip(), []))
        elif named and found:
            found[-1][1].append(named[1])
    return [(heading, names) for heading, names in found if names]


def slug(heading: str, used: set[str]) -> str:
    """A heading's anchor as Markdown viewers make it; twins get -1, -2 ..."""
    plain = re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")
    anchor = next(a for a in (plain, *(f"{plain}-{k}" for k in range(1, 999))) if a not in used)
    used.add(anchor)
    return anchor


def read(name: str, text: str, titles: dict[str, str]) -> Page:
    """A page from its Markdown. titles : of all pages, by name. Raises ValueError where it has no heading"""
    reader = MarkdownIt("commonmark", {"html": True}).enable("table")
    tokens = reader.parse(text)
    sections, heads, used = [], [], set()
    columns: list[str] = []
    at, in_head = 0, False
    for k, token in enumerate(tokens):
        said = plain(tokens[k + 1]) if token.type in ("heading_open", "th_open", "td_open") else ""
        if token.type == "heading_open":
            anchor = slug(said, used)
            token.attrSet("id", anchor)
            sections.append(Section(anchor, said))
            heads += [(anchor, said)] if token.tag == "h2" else []
        elif token.type in ("inline", "fence") and sections and tokens[k - 1].type != "heading_open":
            sections[-1].text.append(plain(token) if token.type == "inline" else token.content)
        elif token.type == "thead_open":
            columns, in_head = [], True
        elif token.type == "thead_close":
            in_head = False
        elif token.type == "tr_open":
            at = 0
        elif token.type in ("th_open", "td_open"):
            _cell(tokens, k, columns, at, said, in_head)
            at += 1
        _links(token.children or [], titles)
    if not sections:
        raise ValueError(f"{name}: found no heading; expected one at its top")
    html = reader.renderer.render(tokens, reader.options, {})
    return Page(name, framed(html), sections, heads)


def _cell(tokens: list, k: int, columns: list[str], at: int, said: str, in_head: bool) -> None:
    """A head names its column; a cell carries that name for narrow screens; the first of a row names the row."""
    if in_head:
        columns.append(said)
        if said:
            tokens[k].attrSet("scope", "col")
        else:
            _as(tokens, k, "td")
        return
    if at == 0:
        _as(tokens, k, "th")
        tokens[k].attrSet("scope", "row")
    else:
        tokens[k].attrSet("data-label", columns[at])


def _as(tokens: list, k: int, tag: str) -> None:
    """Another tag for the cell that begins at a token."""
    close = next(t for t in tokens[k:] if t.type in ("td_close", "th_close"))
    tokens[k].tag = close.tag = tag


def plain(token) -> str:
    """What a reader sees of a piece of text, without its marks."""
    return "".join(c.content if c.type in ("text", "code_inline") else " " if c.type == "softbreak" else "" for c in token.children or ())


def _links(children: list, titles: dict[str, str]) -> None:
    """Links lead to pages; one that reads as the name of a file reads as that page's title."""
    for k, child in enumerate(children):
        if child.type == "link_open":
            target = child.attrGet("href")
            if children[k + 1].content in titles:
                children[k + 1].content = titles[children[k + 1].content]
            child.attrSet("href", link(target))


def link(target: str) -> str:
    """A link between Markdown files as one between pages."""
    name, mark, anchor = target.partition("#")
    return page_file(name) + mark + anchor if re.fullmatch(r"[\w-]+\.md", name) else target


def framed(html: str) -> str:
    """Tables and listings in frames that scroll by themselves and can be reached by keyboard."""
    number = count(1)
    html = re.sub(r"<table>", lambda _: f'<div class="wide" tabindex="0" role="region" aria-label="table {next(number)}"><table>', html).replace("</table>", "</table></div>")
    return html.replace("<pre>", '<pre tabindex="0">')


def index(every: list[Page]) -> str:
    """What the search looks through, as a script: pages opened from disk may load no data."""
    rows = [[p.file, s.anchor, p.title, s.heading, re.sub(r"\s+", " ", " ".join(s.text))] for p in every for s in p.sections]
    return "const PLACES=" + json.dumps(rows, ensure_ascii=False, separators=(",", ":")) + ";\n" + (SITE / "find.js").read_text(encoding="utf-8")


def site(folder: Path) -> list[Path]:
    """Write the site; what was written."""
    listing = (HERE / HOME).read_text(encoding="utf-8")
    ordered = groups(listing)
    texts = {name: (HERE / name).read_text(encoding="utf-8") for name in (HOME, *(n for _, names in ordered for n in names))}
    titles = {name: re.search(r"^# (.+)$", text, re.M)[1] for name, text in texts.items()}
    every = [read(name, text, titles) for name, text in texts.items()]
    by_name = {page.name: page for page in every}
    nav = [(heading, [by_name[n] for n in names]) for heading, names in ordered]
    template = Environment(loader=FileSystemLoader(SITE), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True).get_template("page.html")
    folder.mkdir(parents=True, exist_ok=True)
    out = {page.file: template.render(page=page, nav=nav, home=by_name[HOME]) for page in every}
    out["style.css"] = palette.css() + pages.style() + (SITE / "site.css").read_text(encoding="utf-8")
    out["find.js"] = index(every)
    out |= {picture.name: picture.read_text(encoding="utf-8") for picture in sorted(HERE.glob("*.svg"))}
    for name, text in out.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [folder / name for name in out] + [card(folder, page) for page in every if page.card]


def card(folder: Path, page: Page) -> Path:
    """The field card on one sheet of paper."""
    import runpy

    path = folder / page.file.replace(".html", ".pdf")
    runpy.run_path(str(HERE / "make_card.py"))["write"](HERE / page.name, path, page.lang)
    return path


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "build" / "docs"
    made = site(folder)
    print(f"{sum(p.suffix == '.html' for p in made)} pages: open {escape(str(folder))}/index.html in a browser.")


if __name__ == "__main__":
    main()
