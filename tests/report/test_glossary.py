"""The trade's words are led to their meanings, and nothing else of a page is touched."""

from __future__ import annotations

import re

import pytest
from report.scene import WORDS

from pipeline.report.glossary import TERMS, Glossary, forms


@pytest.mark.analytic
def test_the_first_of_a_term_in_each_part_leads_to_its_meaning():
    glossed = Glossary(WORDS)
    out = glossed("<section><p>A lip &amp; another lip.</p></section><section><p>Lips at 2&nbsp;mm</p></section>")
    meaning = WORDS("gloss_lip")
    assert out == (
        f'<section><p>A <a class="term" href="#term-lip" title="{meaning}">lip</a> &amp; another lip.</p></section>'
        f'<section><p><a class="term" href="#term-lip" title="{meaning}">Lips</a> at 2&nbsp;mm</p></section>'
    )
    assert glossed.listed == [("lip", "lip", meaning)]


@pytest.mark.invariant
def test_headings_links_drawings_and_scripts_stay_as_they_are():
    html = (
        '<h2 id="a">The lip</h2><a href="#x">lip <b>lip</b></a><svg viewBox="0 0 1 1"><path d="M0 0"/><text>lip</text></svg><br/>'
        '<script type="application/json">{"lip": "<b>"}</script><summary>lip</summary><p>a slip, a lip-like thing, equip</p><!-- lip -->'
    )
    assert Glossary(WORDS)(html) == html


@pytest.mark.invariant
def test_a_term_in_a_fold_is_led_again_in_the_open():
    out = Glossary(WORDS)("<section><details><p>lip, lip</p></details><p>lip, lip</p><details><p>lip</p></details></section>")
    assert [part.count("<a ") for part in out.split("</details>")] == [1, 1, 0]


@pytest.mark.invariant
def test_a_term_within_a_longer_term_is_not_taken_for_it():
    glossed = Glossary(WORDS)
    glossed("<p>The grass edge and the stable ground.</p>")
    assert list(glossed.met) == ["grass_edge", "stable_ground"]


@pytest.mark.invariant
def test_every_term_has_forms_of_its_own_and_a_meaning_in_one_sentence():
    every = [form.lower() for term in TERMS for form in forms(WORDS, term)]
    assert len(every) == len(set(every))
    assert all(not WORDS(f"gloss_{term}").endswith(".") and len(WORDS(f"gloss_{term}")) < 140 for term in TERMS)
    assert {key.removeprefix("term_") for key in WORDS.phrases if re.match("term_", key)} == set(TERMS)
