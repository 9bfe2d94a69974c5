"""Rows added to the operator's own tables: what stands in them keeps its bytes, a copy of before stands beside, all tables or none."""

from __future__ import annotations

import csv
import os
import re
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import Iterator, Mapping, Sequence

from pipeline.errors import BadInput, Problem
from pipeline.store.each_line import BOM, printed, split_lines
from pipeline.store.tables import parse_rows

LOCK = ".log-lock"


def with_rows(old: bytes, rows: Sequence[Mapping[str, str]], columns: Sequence[str], name: str) -> bytes:
    """A table's bytes with rows at its end, in its own order of columns, line ends and way of quoting.

    rows    : column -> text; columns: the table's own, in the order in which missing ones are added after those it has
    returns : old rows unchanged, or, where a column is new, each with the separators that the longer header asks for
    """
    lines = split_lines(old)
    begin = BOM if old.startswith(BOM) else b""
    at = next(k for k, (raw, _) in enumerate(lines) if raw.removeprefix(BOM).strip(b" \t,\""))
    header = list(parse_rows(lines[at][0].removeprefix(BOM).decode() + "\n", name).header)
    every = all(re.fullmatch(rb'\s*(?:"[^"]*"\s*,\s*)*"[^"]*"\s*', raw.removeprefix(begin)) for raw, _ in lines[at : at + 2] if raw.strip())
    new = [c for c in columns if c not in header and any(row.get(c) for row in rows)]
    if new:
        more = (b"," if header else b"") + printed(new, every)
        lines = [(raw + more, end) if k == at else (_longer(raw, len(header) + len(new), every) if k > at else raw, end) for k, (raw, end) in enumerate(lines)]
    end = next((end for _, end in lines if end), b"\n")
    text = [printed([row.get(c, "") for c in header + new], every) for row in rows]
    body = b"".join(raw + e for raw, e in lines)
    return body + b"".join(t + end for t in text) if lines[-1][1] else body + b"".join(end + t for t in text)


def _longer(raw: bytes, count: int, every: bool) -> bytes:
    """A row with empty cells at its end, as many as it lacks; a blank line stays blank."""
    if not raw.strip(b" \t,\""):
        return raw
    has = len(next(csv.reader([raw.decode()])))
    return raw + (b',""' if every else b",") * (count - has)


def fresh(columns: Sequence[str]) -> bytes:
    """A table that holds its header and no row."""
    return printed(list(columns), False) + b"\n"


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """One at a time in a folder. raises: BadInput where another is at it, or the folder cannot be written to."""
    import fcntl

    path = folder / LOCK
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise BadInput([Problem(str(folder), None, None, f"a folder that cannot be written to ({error.strerror})", "one that can", "See that you may write there.", code="cannot-write")]) from None
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if not path.exists() or not os.path.samestat(os.fstat(handle), path.stat()):  # the one before has just taken it away
                raise BlockingIOError
        except OSError:
            raise BadInput([Problem(str(folder), None, None, "another command that adds rows at work here", "one at a time", "Wait until it has ended.", code="at-work-here")]) from None
        try:
            yield
        finally:
            path.unlink(missing_ok=True)
    finally:
        os.close(handle)


class Replaced:
    """Files replaced together: `back` puts all of them back as they were."""

    def __init__(self) -> None:
        self.before: list[tuple[Path, bytes | None]] = []
        self.copies: list[Path] = []

    def back(self) -> None:
        """raises: OSError where a file could not be put back; the others are, and the copies of before stay"""
        failed: OSError | None = None
        for path, data in reversed(self.before):
            try:
                if data is None:
                    path.unlink(missing_ok=True)
                elif path.read_bytes() != data:
                    _put(path, data, path)
            except OSError as error:
                failed = error
        if failed is not None:
            raise failed
        for copy in self.copies:
            copy.unlink(missing_ok=True)
        self.before, self.copies = [], []


def replace_all(files: Mapping[Path, bytes]) -> Replaced:
    """Put new bytes under every name, all or none; what stood there is kept beside as `<name>.before-<n>`."""
    done = Replaced()
    ready: list[tuple[Path, Path]] = []
    try:
        for path, data in files.items():
            path = Path(os.path.realpath(path))  # a link stays a link
            ready.append((path, _written(path, data)))
        for path, _ in ready:
            if path.exists():
                copy = _free(path)
                _put(copy, path.read_bytes(), path)
                done.copies.append(copy)
        for path, temporary in ready:
            before = path.read_bytes() if path.exists() else None
            done.before.append((path, before))
            os.replace(temporary, path)
    except BaseException:
        done.back()
        for _, temporary in ready:
            temporary.unlink(missing_ok=True)
        raise
    return done


def _free(path: Path) -> Path:
    """The first `<name>.before-<n>` above all that are there."""
    taken = [int(m[1]) for p in path.parent.iterdir() if (m := re.fullmatch(re.escape(path.name) + r"\.before-(\d+)", p.name))]
    return path.with_name(f"{path.name}.before-{max(taken, default=0) + 1}")


def free_name(path: Path) -> Path:
    """A name that is not taken: the path itself, else with -2, -3, ... before its ending."""
    n, out = 1, path
    while os.path.lexists(out):
        n += 1
        out = path.with_name(f"{path.stem}-{n}{path.suffix}")
    return out


def _written(path: Path, data: bytes) -> Path:
    """The bytes under a name of their own beside `path`, on the disk, with the rights of what stands there."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=path.suffix)
    with os.fdopen(handle, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
    os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o644)
    return Path(name)


def _put(path: Path, data: bytes, like: Path) -> None:
    temporary = _written(path, data)
    if like.exists():
        os.chmod(temporary, like.stat().st_mode & 0o777)
    os.replace(temporary, path)
