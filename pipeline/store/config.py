"""config.yaml and the tables it names, as a `Project`, with every fault at once."""

from __future__ import annotations

from pathlib import Path

import yaml
from pydantic import ValidationError

from pipeline.errors import BadInput, Problem, did_you_mean
from pipeline.project import Project
from pipeline.project import check as check_together
from pipeline.settings import Config
from pipeline.store.tables import read_rows
from pipeline.tables import TABLES, read

NAME = "config.yaml"


def find(given: str | Path) -> Path:
    """The config file that a file or its folder names. Raises BadInput when there is none."""
    path = Path(given)
    if path.is_dir():
        path = path / NAME
    if not path.is_file():
        raise BadInput([Problem(str(given), None, None, "no config.yaml", "a config file, or a folder that holds config.yaml", "Give the path of one.")])
    return path


def load(given: str | Path) -> tuple[Project, Path]:
    """The project and the folder its paths are relative to. Raises BadInput with every fault of every table."""
    path = find(given)
    config, problems = read_config(path)
    tables, files = {}, {"config": path.name}
    for name in TABLES:
        file = getattr(config, name)
        if file is None:
            tables[name] = ()
            continue
        files[name] = file
        try:
            rows = read_rows(path.parent / file, file)
        except BadInput as bad:
            problems += bad.problems
            tables[name] = ()
            continue
        tables[name], found = read(name, rows)
        problems += found
    project = Project(config, tables, files)
    problems += check_together(project)
    if problems:
        raise BadInput(sorted(problems, key=lambda p: (p.file, p.row or 0, p.column or "")))
    return project, path.parent


def read_config(path: Path) -> tuple[Config, list[Problem]]:
    """The settings and the faults found; with a fault, only the tables' paths are taken over, so that the
    tables' own faults can be told in the same breath."""
    try:
        text = path.read_text(encoding="utf-8")
        plain = yaml.safe_load(text) or {}
    except UnicodeDecodeError:
        return Config(), [Problem(path.name, None, None, "signs that are not UTF-8", "UTF-8 text", "Save the file as UTF-8.")]
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        what = getattr(error, "problem", None) or "text that is no YAML"
        return Config(), [Problem(path.name, mark.line + 1 if mark else None, None, what, "YAML", "Mend the line; indent with spaces.")]
    if not isinstance(plain, dict):
        return Config(), [Problem(path.name, 1, None, "no keys", "keys with values", "Start from config/templates/config.yaml.")]
    try:
        return Config(**plain), []
    except ValidationError as error:
        lines = _lines(text)
        paths = {k: v for k, v in plain.items() if k in TABLES and isinstance(v, str)}
        return Config(**paths), [_problem(path.name, lines, fault) for fault in error.errors()]
    except TypeError:
        return Config(), [Problem(path.name, None, None, "a key that is no word", "words as keys", "Quote or correct it.")]


def _problem(file: str, lines: dict[tuple, int], fault: dict) -> Problem:
    where = tuple(str(p) for p in fault["loc"])
    row = next((lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in lines), None)
    key = ".".join(where)
    if fault["type"] == "extra_forbidden":
        return Problem(file, row, key, "an unknown key", "one of the keys of config/schema.json",
                       f"Remove or rename it.{did_you_mean(where[-1], _known(where[:-1]))}")  # fmt: skip
    found = "nothing" if fault["type"] == "missing" or fault["input"] is None else repr(fault["input"])
    expected = fault["msg"][0].lower() + fault["msg"][1:]
    todo = "Say who set this figure and when (set_by, set_on)." if where[-1] in ("set_by", "set_on") else f"Correct {key}."
    return Problem(file, row, key, found, expected, todo)


def _known(where: tuple[str, ...]) -> list[str]:
    """The keys allowed at a place of the config, as far as they are fixed."""
    model = Config
    for name in where:
        info = model.model_fields.get(name)
        inner = [a for a in (getattr(info.annotation, "__args__", ()) or (info.annotation,)) if hasattr(a, "model_fields")] if info else []
        if not inner:
            return []
        model = inner[0]
    return list(model.model_fields)


def _lines(text: str) -> dict[tuple, int]:
    """Line number of every key path of a YAML text."""
    out: dict[tuple, int] = {}

    def walk(node, path: tuple) -> None:
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                out[path + (str(key.value),)] = key.start_mark.line + 1
                walk(value, path + (str(key.value),))
        elif isinstance(node, yaml.SequenceNode):
            for i, value in enumerate(node.value):
                out[path + (str(i),)] = value.start_mark.line + 1
                walk(value, path + (str(i),))

    root = yaml.compose(text)
    if root is not None:
        walk(root, ())
    return out
