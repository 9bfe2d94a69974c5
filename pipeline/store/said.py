"""What readers of other people's make say of a broken file, in the words of whoever wrote it."""

from __future__ import annotations

from typing import Any, get_args

import yaml

from pipeline.errors import Problem, did_you_mean, either
from pipeline.owner import Figure, Owned, outside_span
from pipeline.project import row_of
from pipeline.settings import Config

# ---- YAML ---------------------------------------------------------------------------------------------

# What the reader's own sentence holds, and what was found.
BROKEN_YAML = (
    ("character '\\t'", "a tab"), ("mapping values are not allowed", "a second colon, or a line set in too far"), ("expected ':'", "a key without a colon"),
    ("<stream end>", "a quote or bracket that is never closed"), ("end of stream", "a quote or bracket that is never closed"), ("expected ',' or", "a quote or bracket that is never closed"), ("undefined alias", "a * that begins no text"),
    ("special characters are not allowed", "a sign that no text may hold"), ("unacceptable character", "a sign that no text may hold"), ("day is out of range", "a day that no month has"),
    ("month must be", "a month that no year has"), ("could not determine a constructor", "a ! that begins no text"), ("unhashable", "a bracket in place of a key"),
)  # fmt: skip


def of_yaml(file: str, error: Exception) -> Problem:
    """A text that is no YAML."""
    mark = getattr(error, "problem_mark", None)
    sentence = " ".join(filter(None, (getattr(error, "context", None), getattr(error, "problem", None) or str(error))))
    found = next((words for sign, words in BROKEN_YAML if sign in sentence), "a line that cannot be read")
    todo = "Write dates as 2026-04-15." if isinstance(error, ValueError) and not isinstance(error, yaml.YAMLError) else "Mend this line or the one above it; set lines in with spaces."
    return Problem(file, mark.line + 1 if mark else None, None, found, "keys with values (YAML)", todo, code="not-yaml")


# ---- settings -----------------------------------------------------------------------------------------

EXPECTED = {
    "missing": "a value", "finite_number": "a number", "bool_parsing": "true or false", "bool_type": "true or false", "string_too_short": "a name",
    **dict.fromkeys(("float_type", "float_parsing"), "a number"), **dict.fromkeys(("int_type", "int_parsing", "int_from_float", "int_parsing_size"), "a whole number"),
    **dict.fromkeys(("string_type", "string_unicode"), "a text; put it in quotes"), **dict.fromkeys(("tuple_type", "list_type"), "a list"),
    **dict.fromkeys(("date_type", "date_parsing", "date_from_datetime_parsing", "date_from_datetime_inexact"), "a date like 2026-03-01"),
}  # fmt: skip
LIMITS = (("ge", "of at least"), ("gt", "over"), ("le", "of at most"), ("lt", "under"))


def of_settings(file: str, lines: dict[tuple[str, ...], int], fault: dict[str, Any]) -> Problem:
    """One fault of the settings, as the model's own check reports it."""
    where = tuple(str(p) for p in fault["loc"])
    more = fault.get("ctx", {})
    row = row_of(lines, where)
    key = ".".join(where)
    if fault["type"] == "extra_forbidden":
        return Problem(file, row, key, "an unknown key", "one of the keys of docs/settings.md", f"Remove or rename it.{did_you_mean(where[-1], _known(where[:-1]))}", code="unknown-key")
    found = fault["input"]
    nothing = fault["type"] == "missing" or found is None
    todo, code = f"Correct {key}.", "empty-setting" if nothing else "setting-not-allowed"
    if where[-1] in ("set_by", "set_on") and (nothing or found == ""):
        todo, code = "Say who set this figure and when (set_by, set_on).", "unsigned-figure"
    elif fault["type"] == "missing":
        todo = f"Fill in {key}."
    return Problem(file, row, key, "nothing" if nothing else _short(found), _expected(where, "missing" if nothing else fault["type"], more), todo, code=code)


def of_spans(file: str, lines: dict[tuple[str, ...], int], plain) -> list[Problem]:
    """Tolerances whose figure cannot be in the unit that their name says."""
    found = [(("tolerances", *where), value, expected) for where, value, expected in outside_span(plain)]
    return [Problem(file, row_of(lines, where), ".".join(where), _short(value), expected, "Check the figure and its unit.", code="figure-in-another-unit") for where, value, expected in found]


def _short(found) -> str:
    text = f"{found:g}" if isinstance(found, float) else repr(found)
    return text if len(text) <= 60 else text[:57] + "..."


def _expected(where: tuple[str, ...], kind: str, more: dict) -> str:
    if kind == "missing" and where[-1] in ("set_by", "set_on"):
        return "a name" if where[-1] == "set_by" else EXPECTED["date_type"]
    if kind in EXPECTED:
        return EXPECTED[kind]
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        inner = _model(where)
        return "{value: ..., set_by: ..., set_on: ...}" if inner in (Owned, Figure) else "keys with values"
    if kind == "literal_error":
        return "one of " + more["expected"].replace("'", "").replace(" or ", ", ")
    limits = [f"{words} {more[sign]:g}" for sign, words in LIMITS if sign in more]
    return f"a number {either(limits)}" if limits else "another value"


def _model(where: tuple[str, ...]):
    """The model that stands at a place of the settings; None where the keys are the writer's own or there is none."""
    model = Config
    for name in where:
        if model is None:
            return None
        info = model.model_fields.get(name) if hasattr(model, "model_fields") else None
        if info is None:
            continue  # a key of a table of models, or a place in a list
        model = next((a for a in _inner(info.annotation) if hasattr(a, "model_fields")), None)
    return model


def _inner(annotation) -> list:
    """A type and all that stand within it."""
    return [annotation, *(t for a in get_args(annotation) for t in _inner(a))]


def _known(where: tuple[str, ...]) -> list[str]:
    """The keys allowed at a place of the settings, as far as they are fixed."""
    model = _model(where)
    return list(model.model_fields) if model is not None else []
