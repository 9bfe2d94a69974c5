"""The page of all terms: whatever name or word the product uses, its meaning, and whose word it is. Used by make_docs.py.

Whose a word is stands in `report/glossary.py` for the trade's terms and in docs/origins.json for names; a name in neither, as a whole or
without its unit and statistic, is ours.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Callable

import typer

from pipeline import errors, tables
from pipeline.cli import app
from pipeline.report.glossary import OURS, TERMS, forms
from pipeline.report.words import Words
from pipeline.settings import Config
from pipeline.store import pages
from pipeline.store.where import Where
from pipeline.variables import RASTERS, TABLES

HERE = Path(__file__).resolve().parent
SAID = json.loads((HERE / "columns.json").read_text(encoding="utf-8"))
ORIGINS = {name: whose for whose, names in json.loads((HERE / "origins.json").read_text(encoding="utf-8")).items() for name in names}
# Units and statistics at the end of a name: `lip_mm` is a lip, `planarity_sigma_mm` a planarity.
TAIL = re.compile(r"(_(mm|m|m2|m3|t|pct|deg|s|p|per_\w+|sigma|low95|high95|min|max|mean|rmse|unit|csv|m_per_s))+$")
LEAD = re.compile(r"^- ((?:`[^`]+`(?: or |, | and )?)+)(?: \([^)]*\))?: (.+)$")


def whose(name: str) -> str:
    """`trade`, `standard` or `ours`."""
    return ORIGINS.get(name) or ORIGINS.get(TAIL.sub("", name)) or OURS


def terms(table: Callable) -> str:
    """The page. table : (heads, rows) -> Markdown"""
    parts = []
    for heading, heads, rows in SECTIONS:
        parts += [f"## {heading}\n", table((*heads, "whose word"), rows())]
    return PREAMBLE + "\n".join(parts)


PREAMBLE = """# Every term in one list

For reading through: each name and word that the pages, files, tables and commands use, with what it means and whose word it is. `trade`:
what groundskeepers, surveyors and builders say. `standard`: from an open standard, or a general term of surveying, statistics or
computing. `ours`: chosen here, because neither had a word. A name made of one of theirs and a unit counts as theirs.

"""


def _glossary() -> list[tuple]:
    words = Words(pages.sections("en"))
    return sorted((forms(words, t)[0], words(f"gloss_{t}"), owner) for t, owner in TERMS.items())


def _commands() -> list[tuple]:
    rows = []
    for name, command in sorted(typer.main.get_command(app).commands.items()):
        if command.hidden:
            continue
        rows.append((f"`{name}`", (command.help or "").strip().split("\n")[0], whose(name)))
        options = [(max(p.opts, key=len), p) for p in command.params if p.opts[0].startswith("-")]
        rows += [(f"`{name} {flag}`", getattr(p, "help", "") or "", whose(flag.lstrip("-"))) for flag, p in options if flag != "--help"]
    return rows


def _settings() -> list[tuple]:
    whole = Config.model_json_schema()
    rows = []
    for name, prop in whole["properties"].items():
        inner = prop.get("additionalProperties") or prop.get("items") or prop
        ref = inner.get("$ref") if isinstance(inner, dict) else None
        model = whole["$defs"][ref.rsplit("/", 1)[1]] if ref else None
        rows.append((f"`{name}`", ((model or prop).get("description") or prop.get("description", "")).replace("\n", " "), whose(name)))
        rows += [(f"`{name}.{key}`", p.get("description", ""), whose(key)) for key, p in (model["properties"].items() if model else ())]
    return rows


def _columns_in() -> list[tuple]:
    rows = []
    for name, columns in tables.TABLES.items():
        rows.append((f"`{name}.csv`", SAID["tables"][name].split(". ")[0], whose(name)))
        rows += [(f"`{name}.{c.name}`", SAID["in"][name][c.name], whose(c.name)) for c in columns]
    return rows


def _columns_out() -> list[tuple]:
    rows = []
    for name, columns in TABLES.items():
        rows.append((f"`{name}.csv`", SAID["results"][name].split(". ")[0], whose(name)))
        rows += [(f"`{name}.{c.name}`", SAID["more"].get(f"{name}.{c.name}", c.meaning), whose(c.name)) for c in columns]
    return rows


def _files() -> list[tuple]:
    rasters = [(f"`{v.name}.tif`", v.long_name, whose(v.name)) for v in RASTERS.values()]
    layers = [(f"layer `{n}`", said, whose(n)) for n, said in SAID["layers"].items()]
    roles = [(f"role `{r}`", said, whose(r)) for r, said in SAID["roles"].items()]
    at = Where()
    files = [at.index, at.week("html"), at.board_paper, at.workbook, at.season_queue, at.catalogue]
    named = [(f"`{Path(p).name}`", "see results.md", whose(Path(p).stem)) for p in files]
    return [*named, *rasters, *layers, *roles]


def _input_words() -> list[tuple]:
    """Words that cells of the operator's tables may hold."""
    import inspect

    found: dict[str, list[str]] = {}
    for name, columns in tables.TABLES.items():
        for column in columns:
            inner = inspect.getclosurevars(column.read).nonlocals if inspect.isfunction(column.read) else {}
            if "each" in inner:
                inner = inspect.getclosurevars(inner["each"]).nonlocals
            for word in inner.get("words", ()):
                found.setdefault(str(word), []).append(f"`{name}.{column.name}`")
    return [(f"`{word}`", "a word of " + ", ".join(dict.fromkeys(where)), whose(word)) for word, where in found.items()]


def _result_words() -> list[tuple]:
    """Words of results, as docs/words.md explains them; refusals in the code's own words."""
    rows: dict[str, str] = dict(errors.REFUSALS) | dict(errors.RELATIVE)
    heading = ""
    for line in _joined((HERE / "words.md").read_text(encoding="utf-8")):
        if line.startswith("## "):
            heading = line[3:].strip()
        elif found := LEAD.match(line.strip()):
            for word in re.findall(r"`([^`]+)`", found[1]):
                rows.setdefault(word, f"{heading}: {found[2]}")
    return [(f"`{word}`", said, whose(word)) for word, said in rows.items()]


def _joined(text: str) -> list[str]:
    """Lines with the ones that go on a point joined to it."""
    return re.sub(r"\n +(?![ -])", " ", text).splitlines()


SECTIONS = (
    ("Terms of the pages", ("term", "is"), _glossary),
    ("Commands", ("command, option", "does"), _commands),
    ("Settings", ("key", "is"), _settings),
    ("Tables that go in", ("table, column", "is"), _columns_in),
    ("Words that go in", ("word", "stands in"), _input_words),
    ("Files, rasters, layers, drawn shapes", ("name", "is"), _files),
    ("Tables that come out", ("table, column", "is"), _columns_out),
    ("Words that come out", ("word", "means"), _result_words),
)
