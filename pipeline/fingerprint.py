"""Which code and data files a step depends on, as one short hash.

The workflow does not look behind a rule's shell command; this hash among the rule's params makes a code edit
rerun what depends on it. Comments and docstrings do not count. Data files count where the code that reads them stands.
"""

from __future__ import annotations

import ast
import hashlib
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent


@cache
def fingerprint(verb: str) -> str:
    """Hash of `steps/<verb>.py`, all it imports inside the package, and the data files beside those."""
    digest = hashlib.sha256()
    for path in sorted(sources(PACKAGE / "steps" / f"{verb}.py")):
        digest.update(path.relative_to(PACKAGE).as_posix().encode())
        digest.update(_meaning(path).encode() if path.suffix == ".py" else path.read_bytes())
    return digest.hexdigest()[:16]


def sources(start: Path) -> set[Path]:
    """A file, every file of the package it imports, however deep, and the data files in the same folders."""
    found, queue = set(), [start]
    while queue:
        path = queue.pop()
        if path not in found:
            found.add(path)
            queue += _imported(path)
    folders = {path.parent for path in found} - {PACKAGE}
    data = {f for folder in folders for f in folder.iterdir() if f.is_file() and f.suffix in (".html", ".css", ".js", ".csv", ".json", ".svg", ".typ")}
    return found | data


def _imported(path: Path) -> list[Path]:
    out = []
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "pipeline":
            out += _files(node.module) or []
            for name in node.names:
                out += _files(f"{node.module}.{name.name}") or []
        elif isinstance(node, ast.Import):
            for name in node.names:
                if name.name.split(".")[0] == "pipeline":
                    out += _files(name.name) or []
    return out


def _files(module: str) -> list[Path] | None:
    base = PACKAGE.parent.joinpath(*module.split("."))
    if base.with_suffix(".py").is_file():
        return [base.with_suffix(".py")]
    return [base / "__init__.py"] if (base / "__init__.py").is_file() else None


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _meaning(path: Path) -> str:
    """The syntax tree without docstrings, as text."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)) and body:
            first = body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str):
                node.body = body[1:] or [ast.Pass()]
    return ast.dump(tree)
