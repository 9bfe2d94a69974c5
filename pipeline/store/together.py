"""Several files replaced as one: all of them, or none; what stood there before stays beside them."""

from __future__ import annotations

import json
import os
import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import Iterator, Mapping

from pipeline.errors import BadInput, Problem
from pipeline.store.atomic import replacing

LOCK = ".being-written.json"


@contextmanager
def one_at_a_time(folder: Path) -> Iterator[Path]:
    """Nobody else writes into the folder meanwhile. What a writer that died left half done is put back first.

    raises: BadInput where another is at work
    """
    lock = folder / LOCK
    for _ in range(2):
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)
            break
        except FileExistsError:
            left = _left(lock)
            if left is None or _alive(left["process"]):
                raise BadInput([Problem(str(lock), None, None, "another command that is writing these tables", "one at a time", "Wait for it. If none is, delete this file and run again.")]) from None
            put_back(left["kept"])
            lock.unlink(missing_ok=True)
    else:
        raise BadInput([Problem(str(lock), None, None, "another command that is writing these tables", "one at a time", "Wait for it.")])
    try:
        with os.fdopen(handle, "w") as out:
            json.dump({"process": os.getpid(), "kept": {}}, out)
        yield lock
    finally:
        lock.unlink(missing_ok=True)


def replace_all(lock: Path, files: Mapping[Path, bytes]) -> dict[str, str | None]:
    """Write every file; returns file -> the copy of what stood there, None where there was none. On an error all are put back."""
    kept = {str(path): str(_copy(path)) if path.exists() else None for path in files}
    with replacing(lock) as temporary:
        temporary.write_text(json.dumps({"process": os.getpid(), "kept": kept}))
    try:
        for path, content in files.items():
            with replacing(path) as temporary:
                temporary.write_bytes(content)
    except BaseException:
        put_back(kept)
        raise
    return kept


def put_back(kept: Mapping[str, str | None]) -> None:
    """Every file as it stood before; the copies go."""
    for path, copy in kept.items():
        if copy is None:
            Path(path).unlink(missing_ok=True)
        elif Path(copy).exists():
            os.replace(copy, path)


def _copy(path: Path) -> Path:
    """A copy beside a file under the first free number."""
    k = 1
    while (copy := path.with_name(f"{path.name}.before-{k}")).exists():
        k += 1
    with replacing(copy) as temporary:
        shutil.copyfile(path, temporary)
    return copy


def _left(lock: Path) -> dict | None:
    """What a lock says; None where it cannot be read."""
    try:
        return json.loads(lock.read_text())
    except (OSError, ValueError):
        return None


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
