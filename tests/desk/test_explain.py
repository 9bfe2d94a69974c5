"""Every code that the program can raise and every word that its tables hold has a page; no page stands for nothing."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from pipeline import errors
from pipeline.desk import explain
from pipeline.errors import BadInput
from pipeline.store.explained import PARTS, pages
from pipeline.surface import verdict
from pipeline.variables import TABLES

PACKAGE = Path(explain.__file__).resolve().parent.parent
RAISERS = {"Problem", "_problem", "_setting_problem"}
CODE = re.compile(r"[a-z]+(-[a-z0-9]+)*")
# Columns of result tables that hold one of a few words, which their own meaning lists.
TOLD = re.compile(r"^(verdict|\w+_verdict|kind|calibration|tie_model|state|firmness|done|variant|basis|told_by|against|covered_told_by|along_passes|out_of_corner)$")
MORE_WORDS = ("step", "drawn", "layout", "stated", "opening", "upkeep", "repair", "last_inside")  # of columns that hold yet other text


def codes_in_the_code() -> tuple[set[str], list[str]]:
    """Every code some call can give, and calls that give none which can be read here."""
    found, bare = set(), []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in RAISERS:
                given = next((k.value for k in node.keywords if k.arg == "code"), None)
                if isinstance(given, ast.Constant):
                    found.add(given.value)
                elif not isinstance(given, ast.Name):  # a helper that hands its own `code` on
                    bare.append(f"{path.name}:{node.lineno}")
            if isinstance(node, ast.Assign) and any("code" in ast.unparse(t) for t in node.targets):
                found |= {n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant) and isinstance(n.value, str) and "-" in n.value and CODE.fullmatch(n.value)}
    return found, bare


def words_of_the_tables() -> set[str]:
    out = set()
    for columns in TABLES.values():
        for column in columns:
            if column.kind == "word" and TOLD.match(column.name):
                listing = re.split(r"[:;]|, against| where |, with|, and ", re.sub(r"\([^)]*\)", "", column.meaning))[0]
                words = [w.strip() for w in re.split(r",| or ", listing) if w.strip()]
                out |= {w for w in words if re.fullmatch(r"[a-z_]+", w)}
    return out - {"over"}


@pytest.mark.invariant
def test_every_fault_has_a_code_with_a_page_and_every_page_of_errors_a_fault():
    found, bare = codes_in_the_code()
    assert not bare, f"no code given: {bare}"
    assert found == {code for code, page in pages().items() if page.kind == "errors"}
    assert all(CODE.fullmatch(code) for code in found)


@pytest.mark.invariant
def test_every_word_of_the_tables_and_every_refusal_has_a_page():
    wanted = words_of_the_tables() | set(errors.REFUSALS) | set(errors.RELATIVE) | set(verdict.ORDER)
    assert {"unsafe", "absolute", "low_skin", "survey_first", "too_flat", "touch_up", "dropped"} <= words_of_the_tables()
    have = {code for code, page in pages().items() if page.kind == "words"}
    assert not wanted - have
    assert have - wanted <= set(MORE_WORDS)


@pytest.mark.invariant
def test_a_page_is_three_short_parts():
    for code, page in pages().items():
        assert tuple(page.parts) == PARTS
        assert all(4 < len(text) < 400 and text.rstrip().endswith((".", "`", "?")) for text in page.parts.values()), code


@pytest.mark.analytic
def test_a_code_is_found_as_it_is_printed_and_a_slip_is_answered(capsys):
    explain.explain("[unknown-key]")
    assert "UNKNOWN" not in (said := capsys.readouterr().out) and "MEND" in said and "cell_size_m" in said
    explain.explain("no-vertical-unit")
    explain.explain("Not enough evidence")  # as the page writes it
    assert capsys.readouterr().out.startswith("no_vertical_unit\n")
    with pytest.raises(BadInput, match=r"Did you mean 'unknown-key'\? \[unknown-code\]"):
        explain.explain("unknwon-key")
    explain.explain("")
    said = capsys.readouterr().out
    assert all(code in said for code in pages())
