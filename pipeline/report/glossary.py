"""The trade's words explained where a reader meets them: the first of each in a part of the page leads to its meaning."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser

from pipeline.report.words import Words

TRADE, STANDARD, OURS = "trade", "standard", "ours"
# Every term that is explained, and whose word it is.
TERMS = {
    "skin": TRADE, "lip": TRADE, "grass_edge": TRADE, "low_spot": TRADE, "mix": TRADE, "drag": TRADE, "plug": TRADE, "keep_out": TRADE, "windrow": TRADE, "laser_grade": TRADE,
    "work_package": TRADE, "baseline": STANDARD, "station": TRADE, "rtk": STANDARD, "point_cloud": STANDARD, "sd": STANDARD, "tolerance": TRADE,
    "check_point": STANDARD, "stable_ground": OURS, "tie": OURS, "trip": OURS, "hollow": OURS, "planarity": OURS, "condition": OURS, "escalation": TRADE, "contingency": TRADE,
}  # fmt: skip
SHUT = {"a", "b", "button", "caption", "code", "figcaption", "h1", "h2", "h3", "label", "legend", "noscript", "option", "script", "select", "style", "summary", "svg", "th"}
VOID = {"br", "hr", "img", "input", "link", "meta"}
PART, FOLD = "section", "details"


@dataclass
class Glossary:
    """Marks terms in what a page says and keeps those it met, for the list at the page's end."""

    words: Words
    met: dict[str, None] = field(default_factory=dict)

    def __call__(self, html: str) -> str:
        """A part of a page with its terms led to their meanings."""
        marker = _Marker(self)
        marker.feed(str(html))
        marker.close()
        return "".join(marker.out)

    @property
    def listed(self) -> list[tuple[str, str, str]]:
        """(id, the term, its meaning) of every term met, by name."""
        rows = [(term, forms(self.words, term)[0], self.words(f"gloss_{term}")) for term in self.met]
        return sorted(rows, key=lambda row: row[1].lower())


def forms(words: Words, term: str) -> list[str]:
    """How a term may stand in a sentence; the first is its name."""
    return words(f"term_{term}").split("|")


class _Marker(HTMLParser):
    """Passes a page's text through as it is but for the first of each term in a part of the page."""

    def __init__(self, glossary: Glossary):
        super().__init__(convert_charrefs=False)
        self.glossary, self.out, self.shut, self.done = glossary, [], [], set()
        self.folds, self.folded = 0, set()  # a term met in a fold, which may be shut, is led again in the open
        self.term_of = {form.lower(): term for term in TERMS for form in forms(glossary.words, term)}
        longest = sorted(self.term_of, key=len, reverse=True)
        self.pattern = re.compile(r"(?<![\w-])(" + "|".join(map(re.escape, longest)) + r")(?![\w-])", re.IGNORECASE)

    def handle_starttag(self, tag, attrs):
        if tag == PART:
            self.done = set()
        self.folds += tag == FOLD
        if tag not in VOID and (tag in SHUT or self.shut):
            self.shut.append(tag)
        self.out.append(self.get_starttag_text())

    def handle_startendtag(self, tag, attrs):
        self.out.append(self.get_starttag_text())

    def handle_endtag(self, tag):
        if self.shut and self.shut[-1] == tag:
            self.shut.pop()
        if tag == FOLD:
            self.folds, self.folded = self.folds - 1, set()
        self.out.append(f"</{tag}>")

    def handle_data(self, data):
        self.out.append(data if self.shut else self.pattern.sub(self._lead, data))

    def handle_entityref(self, name):
        self.out.append(f"&{name};")

    def handle_charref(self, name):
        self.out.append(f"&#{name};")

    def handle_comment(self, data):
        self.out.append(f"<!--{data}-->")

    def _lead(self, found: re.Match) -> str:
        term = self.term_of[found[1].lower()]
        if term in self.done or term in self.folded:
            return found[0]
        (self.folded if self.folds else self.done).add(term)
        self.glossary.met[term] = None
        meaning = escape(self.glossary.words(f"gloss_{term}"), quote=True)
        return f'<a class="term" href="#term-{term}" title="{meaning}">{found[0]}</a>'
