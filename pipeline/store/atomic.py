"""Nothing half-written: a file appears under its name only when it is whole."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import Iterator


@contextmanager
def replacing(path: str | Path) -> Iterator[Path]:
    """A temporary path beside `path`; renamed onto it when the block ends well, removed when it does not."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=path.suffix)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


@contextmanager
def replacing_folder(path: str | Path) -> Iterator[Path]:
    """The same for a whole folder: what stood there before goes when the new one is whole."""
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}-"))
    try:
        yield temporary
        os.chmod(temporary, 0o755)
        if path.exists():
            shutil.rmtree(path)
        os.replace(temporary, path)
    except BaseException:
        shutil.rmtree(temporary, ignore_errors=True)
        raise


@contextmanager
def new_folder(path: str | Path) -> Iterator[Path]:
    """A folder that is not there yet, or is empty: made beside under another name, there when the block ends well, gone when it does not.

    raises: FileExistsError, OSError where something stands there
    """
    path = Path(path)
    first = next(p for p in (path.absolute(), *path.absolute().parents) if p.exists())
    missing = [p for p in path.absolute().parents if p.is_relative_to(first) and p != first]
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}-"))
    try:
        yield temporary
        os.chmod(temporary, 0o755)
        os.rename(temporary, path)  # onto an empty folder, or none; refused by the system where something is in it
    except BaseException:
        shutil.rmtree(temporary, ignore_errors=True)
        for made in missing:
            if not any(made.iterdir()):
                made.rmdir()
        raise


def write_text(path: str | Path, text: str) -> None:
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def read_text(path: str | Path) -> str:
    return Path(path).read_text(encoding="utf-8")
