"""The field card as a paper: its Markdown as the blocks that the crew's papers are made of, on one sheet."""

from __future__ import annotations

import re
from pathlib import Path

from markdown_it import MarkdownIt

from pipeline.report.papers.paper import LETTER, Caution, Heading, Lines, Paper, Picture, Table, Ticks
from pipeline.store import pages, pdf

TEMPLATE = "papers/paper.typ"
DAY = re.compile(r"<!-- card of (\d{4}-\d{2}-\d{2})\b")
SIZES_PT = (10.0, 9.6, 9.2, 8.8, 8.4)
PICTURE_MM = 46.0
SHEET = {"en": "Sheet {here} of {all}", "es": "Hoja {here} de {all}"}


def plain(token) -> str:
    """Text without its marks."""
    return "".join(c.content if c.type in ("text", "code_inline") else " " if c.type == "softbreak" else "" for c in token.children or ())


def paper(source: Path, lang: str, size_pt: float) -> Paper:
    """The card as blocks. source : its Markdown; pictures it names lie beside it. Raises ValueError for a block a card has no form for"""
    text = source.read_text(encoding="utf-8")
    tokens = MarkdownIt().enable("table").parse(text)
    title, under, blocks = "", [], []
    kinds, items, rows, quoted = [], [], [], []
    for token in tokens:
        if token.type.endswith("_open"):
            kinds.append(token.type.removesuffix("_open"))
            if token.type == "tr_open":
                rows.append([])
        elif token.type.endswith("_close"):
            kinds.pop()
            if token.type == "bullet_list_close":
                blocks.append(Ticks(tuple(items)))
                items = []
            elif token.type == "blockquote_close":
                blocks.append(Caution(quoted[0], tuple(quoted[1:])))
                quoted = []
            elif token.type == "table_close":
                blocks.append(Table("", rows[0], rows[1:], wide=tuple(range(1, len(rows[0])))))
                rows = []
        elif token.type == "inline":
            image = next((c for c in token.children if c.type == "image"), None)
            if image is not None:
                blocks.append(_picture(source.parent / image.attrGet("src"), image))
            elif "heading" in kinds and not title:
                title = plain(token)
            elif "heading" in kinds:
                blocks.append(Heading(plain(token)))
            elif "blockquote" in kinds:
                quoted.append(plain(token))
            elif "list_item" in kinds:
                items.append(plain(token))
            elif "th" in kinds or "td" in kinds:
                rows[-1].append(plain(token))
            elif not blocks and not under:
                under.append(plain(token))
            else:
                blocks.append(Lines((plain(token),)))
        elif token.type not in ("html_block",):
            raise ValueError(f"{source.name}: found {token.type}; a card has headings, paragraphs, lists, a table, quotes and pictures")
    return Paper(lang, title, (), under, tuple(blocks), title, SHEET[lang], DAY.search(text)[1], LETTER, size_pt)


def _picture(path: Path, image) -> Picture:
    return Picture(path.read_text(encoding="utf-8"), image.attrGet("title"), plain(image), "", PICTURE_MM)


def write(source: Path, path: Path, lang: str) -> None:
    """One sheet, in the largest letters that hold. Raises ValueError where none do"""
    for size in SIZES_PT:
        made = paper(source, lang, size)
        content = made.plain(pages.style())
        if pdf.sheets(TEMPLATE, content) == 1:
            pdf.write(path, TEMPLATE, content, made.day)
            return
    raise ValueError(f"{source.name}: does not fit on one sheet; say less")
