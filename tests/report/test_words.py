"""Every phrase that is asked for is there, every phrase that is there is asked for."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path
from string import Formatter
from typing import get_args

import pytest

import pipeline
from pipeline.report.change_block import REASONS
from pipeline.report.figures import plain_text, spoken
from pipeline.report.placing import COMPASS, SECTORS
from pipeline.report.quality import HELD
from pipeline.report.rulebook_block import NOTES, PLACES
from pipeline.report.words import OF_TABLES, Words, opened, titled
from pipeline.settings import Language
from pipeline.surface.rulebook import ORDER as ITEMS
from pipeline.surface.verdict import ORDER
from pipeline.tables import LAYOUTS, SOURCES, STATES, WORKS
from report.scene import WORDS, layout

PACKAGE = Path(pipeline.__file__).parent
REPORT = PACKAGE / "report"
LANGUAGES = get_args(Language)


def asked() -> tuple[set[str], set[str], set[str]]:
    """Keys that code and templates name in full, and the beginnings and ends of those they put together."""
    whole, begun, ended = set(), set(), {"_one", "_many"}
    for path in (*REPORT.rglob("*.py"), *(PACKAGE / "steps").glob("*.py"), *(PACKAGE / "desk").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                whole.add(node.value)
            if isinstance(node, ast.JoinedStr):
                begun |= beginnings(node)
                ended |= {last.value for last in node.values[-1:] if isinstance(last, ast.Constant)}
    for path in REPORT.rglob("*.html"):
        text = path.read_text()
        whole |= set(re.findall(r'w\("([^"]+)"\)', text)) | set(re.findall(r"w\('([^']+)'\)", text)) | set(re.findall(r'"(col_\w+)"', text))
        whole |= set(re.findall(r'w\("([^"]+)", ', text))
        begun |= set(re.findall(r'w\("([^"]+)" ~', text))
    return whole, {b for b in begun if re.fullmatch(r"[a-z]+_[a-z0-9_]*", b)}, {e for e in ended if re.fullmatch(r"_[a-z]+", e)}


def beginnings(text: ast.JoinedStr) -> set[str]:
    """What an f-string begins with: its constant, or either of the two that it chooses from."""
    first = text.values[0]
    if isinstance(first, ast.Constant):
        return {first.value}
    chosen = getattr(first, "value", None)
    if isinstance(chosen, ast.IfExp) and len(text.values) > 1 and isinstance(text.values[1], ast.Constant):
        return {f"{part.value}{text.values[1].value}" for part in (chosen.body, chosen.orelse) if isinstance(part, ast.Constant)}
    return set()


def called() -> set[str]:
    """Keys in full inside calls of `words(...)`, `self.words(...)`, `w(...)`."""
    out = set()
    for path in (*REPORT.rglob("*.py"), *(PACKAGE / "desk").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant) and isinstance(node.args[0].value, str):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
                owner = getattr(getattr(node.func, "value", None), "attr", getattr(getattr(node.func, "value", None), "id", ""))
                if name in ("words", "w"):
                    out.add(node.args[0].value)
                elif name in ("count", "_more") and (owner in ("words", "self", "w")):
                    out |= {f"{node.args[0].value}_one", f"{node.args[0].value}_many"}
    for path in REPORT.rglob("*.html"):
        out |= set(re.findall(r'\bw\("([^"~]+)"[),]', path.read_text()))
    return {key for key in out if " " not in key and not key.startswith("is_")}


@pytest.mark.invariant
def test_every_phrase_that_is_asked_for_is_there():
    missing = sorted(key for key in called() if not WORDS.knows(key))
    assert not missing


@pytest.mark.invariant
def test_every_phrase_that_is_there_is_asked_for():
    whole, begun, ended = asked()

    def put_together(key: str) -> bool:
        stem, _, end = key.rpartition("_")
        return key.startswith(tuple(begun)) or stem in whole and ("_" in stem or f"_{end}" in ended)

    assert not [k for k in WORDS.phrases if k not in whole and not put_together(k)]


@pytest.mark.invariant
def test_every_word_of_the_tables_and_every_place_of_every_layout_has_a_phrase():
    verbs = {
        "work": WORKS, "state": STATES, "source": SOURCES, "seen": ("puddle", "soft", "trip", "hole", "weeds"), "verdict": ORDER, "verdict_means": ORDER,
        "action": ("closed", "marked_off", "repaired", "accepted"), "amount": ("short_ton", "tonne", "yd3_loose", "m3_loose"), "by": ("crew", "contractor"),
        "survey": ("absolute", "relative_only", "refused"), "edges": ("drawn", "fitted", "layout"), "calibration": ("none", "field", "edge"),
        "compass": COMPASS, "by_": SECTORS, "side_": SECTORS, "month": range(1, 13), "tolerance": HELD, "relative": REASONS,
        "item": ITEMS, "practice": PLACES.values(), "rule_note": NOTES.values(), "rule": ("outside", "within", "cannot_tell"),
    }  # fmt: skip
    missing = [f"{stem.rstrip('_')}_{word}" for stem, found in verbs.items() for word in found if not WORDS.knows(f"{stem.rstrip('_')}_{word}")]
    for name in LAYOUTS:
        made = layout(name)
        missing += [f"place_{z}" for z in (*made.zones, *(p.place_id for p in made.places)) if not WORDS.knows(f"place_{z}") and z != "skin"]
        missing += [f"edge_{e.edge_id}" for e in made.edges if not WORDS.knows(f"edge_{e.edge_id}")]
    assert not missing


@pytest.mark.invariant
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_key_stands_twice_in_the_file_of_phrases(language):
    def once(pairs):
        keys = [k for k, _ in pairs]
        assert len(keys) == len(set(keys)), [k for k in keys if keys.count(k) > 1]
        return dict(pairs)

    json.loads((REPORT / f"words_{language}.json").read_text(), object_pairs_hook=once)


@pytest.mark.invariant
@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_another_language_says_all_that_english_says_with_the_same_names_and_tags(language):
    english, other = (json.loads((REPORT / f"words_{code}.json").read_text()) for code in ("en", language))
    assert {s: list(v) for s, v in english.items()} == {s: list(v) for s, v in other.items() if s != OF_TABLES} and set(LANGUAGES) == {p.stem[6:] for p in REPORT.glob("words_*.json")}
    told = {english_text: (english_text, said) for english_text, said in other[OF_TABLES].items()}
    pairs = {key: (phrase, other[section][key]) for section, phrases in english.items() for key, phrase in phrases.items()} | told
    held = lambda text: ({name for _, name, _, _ in Formatter().parse(text) if name}, sorted(re.findall(r"</?\w+", text)))
    assert not {key: pair for key, pair in pairs.items() if held(pair[0]) != held(pair[1])}
    alike = [key for key, (a, b) in pairs.items() if a == b and re.search(r"[a-z]{4,}", re.sub(r"\{\w+\}", "", a))]
    assert len(alike) < 40, alike  # ids, names of files, units


@pytest.mark.invariant
@pytest.mark.parametrize("language", LANGUAGES)
def test_the_line_that_explains_the_units_names_them_as_they_are_printed(language):
    """A bare `ton` is refused in the tables, since it is three things; no page prints one either."""
    words = Words(json.loads((REPORT / f"words_{language}.json").read_text()))
    units = spoken("us", words)
    assert all(plain_text(f"{unit.name}: ") in plain_text(words("units_us")) for unit in (units.height, units.length, units.mass, units.volume)) and units.mass.name != "ton"


@pytest.mark.analytic
def test_a_reason_of_a_table_is_said_part_by_part_and_an_unknown_one_stays():
    words = Words({"a": {}, OF_TABLES: {"not located: {place}": "sin ubicar: {place}", "whole skin": "toda la tierra", "{a} of {b} places": "{a} de {b} lugares"}})
    assert words.told("whole skin; not located: third base; 3 of 12 places; made anew") == "toda la tierra; sin ubicar: third base; 3 de 12 lugares; made anew"
    assert WORDS.told("not located: third base") == "not located: third base"


@pytest.mark.invariant
def test_a_key_in_two_sections_or_a_key_that_is_not_there_is_an_error():
    with pytest.raises(ValueError, match="two sections"):
        Words({"a": {"x": "1"}, "b": {"x": "2"}})
    with pytest.raises(KeyError):
        WORDS("nobody-wrote-this")
    with pytest.raises(KeyError):
        WORDS("first_seen")


@pytest.mark.analytic
def test_lists_counts_dates_and_names_read_aloud():
    assert [WORDS.listed(p) for p in ((), ("a",), ("a", "b"), ("a", "b", "c"))] == ["", "a", "a and b", "a, b and c"]
    assert WORDS.count("fields", 1) == "One field" and WORDS.count("fields", 6) == "6 fields"
    assert WORDS.date("2026-04-07") == "7\u00a0April 2026"
    assert titled("mill-pond") == "Mill Pond" and titled("otterlamp") == "Otterlamp" and titled("") == ""
    assert opened("an edge") == "An edge" and opened("") == ""


@pytest.mark.invariant
def test_no_word_says_that_a_field_is_safe():
    said = [p for p in WORDS.phrases.values() if re.search(r"\bsafe\b", p)]
    assert said == [WORDS("verdict_means_good")] and "does not say that a field is safe" in said[0]
