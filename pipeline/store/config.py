"""config.yaml and the tables it names, as a `Project`, with every fault at once."""

from __future__ import annotations

from pathlib import Path

import yaml
from pydantic import ValidationError

from pipeline.errors import BadInput, Problem
from pipeline.project import Project
from pipeline.project import check as check_together
from pipeline.settings import Config
from pipeline.store.said import of_settings, of_spans, of_yaml
from pipeline.store.tables import read_rows
from pipeline.tables import TABLES, read

NAME = "config.yaml"


def find(given: str | Path) -> Path:
    """The config file that a file or its folder names. Raises BadInput when there is none."""
    path = Path(given)
    if path.is_dir():
        path = path / NAME
    if not path.is_file():
        raise BadInput([Problem(str(given), None, None, "no config.yaml", "a config file, or a folder that holds config.yaml", "Give the path of one.", code="no-config")])
    return path


def load(given: str | Path) -> tuple[Project, Path]:
    """The project and the folder its paths are relative to. Raises BadInput with every fault of every table."""
    path = find(given)
    config, problems, lines = read_config(path)
    tables, files, unread = {}, {"config": path.name}, set()
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
            unread.add(name)
            continue
        tables[name], found = read(name, rows)
        problems += found
    project = Project(config, tables, files, lines, frozenset(unread))
    if (path.parent / config.results).is_file():
        problems.append(Problem(path.name, lines.get(("results",)), "results", f"{config.results!r}, a file", "a folder", "Name a folder of its own, say `results`.", code="results-is-a-file"))
    problems += check_together(project)
    if problems:
        raise BadInput(sorted(problems, key=lambda p: (p.file, p.row or 0, p.column or "")))
    return project, path.parent


def read_config(path: Path) -> tuple[Config, list[Problem], dict[tuple[str, ...], int]]:
    """The settings, the faults found and the line of every key; with a fault, only the tables' paths are taken over,
    so that the tables' own faults can be told in the same breath."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        lines, doubled = _lines(text)
        plain = yaml.load(text, Loader=_Loader) or {}  # a kind of safe loader
    except UnicodeDecodeError:
        return Config(), [Problem(path.name, None, None, "signs that are not UTF-8", "UTF-8 text", "Save the file as UTF-8.", code="not-utf-8")], {}
    except (yaml.YAMLError, ValueError) as error:
        return Config(), [of_yaml(path.name, error)], {}
    except RecursionError:
        return Config(), [Problem(path.name, None, None, "sections without end within sections", "keys with values", "Start from config/templates/config.yaml.", code="not-yaml")], {}
    problems = [
        Problem(path.name, row, ".".join(key), f"the key again (first in row {lines[key]})", "each key once", "Remove one of them.", code="key-twice") for key, row in doubled
    ]
    if not isinstance(plain, dict):
        return Config(), [Problem(path.name, 1, None, "no keys", "keys with values", "Start from config/templates/config.yaml.", code="not-yaml")], lines
    problems += of_spans(path.name, lines, plain.get("tolerances"))
    try:
        return Config(**plain), problems, lines
    except ValidationError as error:
        paths = {k: v for k, v in plain.items() if k in (*TABLES, "results") and isinstance(v, str)}
        faults = (of_settings(path.name, lines, fault) for fault in error.errors())
        return Config(**paths), [*problems, *dict.fromkeys(faults)], lines
    except TypeError:
        return Config(), [Problem(path.name, None, None, "a key that is no word", "words as keys", "Quote or correct it.", code="not-yaml")], lines


class _Loader(yaml.SafeLoader):
    """YAML with dates left as text, so that a day no month has is named where it stands."""


_Loader.yaml_implicit_resolvers = {
    sign: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for sign, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def _lines(text: str) -> tuple[dict[tuple[str, ...], int], list[tuple[tuple[str, ...], int]]]:
    """Line number of every key path of a YAML text, and the keys that stand a second time, each with its line."""
    out: dict[tuple[str, ...], int] = {}
    doubled: list[tuple[tuple[str, ...], int]] = []

    def walk(node, path: tuple) -> None:
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                here, line = path + (str(key.value),), key.start_mark.line + 1
                if here in out:
                    doubled.append((here, line))
                    continue
                out[here] = line
                walk(value, here)
        elif isinstance(node, yaml.SequenceNode):
            for i, value in enumerate(node.value):
                out.setdefault(path + (str(i),), value.start_mark.line + 1)
                walk(value, path + (str(i),))

    root = yaml.compose(text, Loader=_Loader)
    if root is not None:
        walk(root, ())
    return out, doubled
