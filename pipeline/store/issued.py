"""Reports that were handed on, each whole in a folder of its own: never overwritten, and an altered one is noticed.

A folder holds the files as they were handed on, under the names they had in the results; `manifest.json`, what was handed on when, to
whom and made from what; `SHA256SUMS`, the checksum of every other file, as the common tools write and check it. Each manifest names the
checksum of the list before it.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Mapping

from pipeline.store import records
from pipeline.store.tables import read_rows, value_of
from pipeline.variables import TABLES

FOLDER, MANIFEST, SUMS = "issued", "manifest.json", "SHA256SUMS"
_NAME = re.compile(r"(\d{4,})-(\d{4}-\d\d-\d\d)")


@dataclass(frozen=True)
class Issue:
    """One report that was handed on. number: from 1; on: ISO day; path: its folder"""

    number: int
    on: str
    path: str

    @property
    def name(self) -> str:
        return Path(self.path).name

    @cached_property
    def manifest(self) -> dict:
        """What its manifest says; empty where that cannot be read any more."""
        try:
            return records.read(Path(self.path) / MANIFEST)
        except (OSError, ValueError):
            return {}

    def holds(self, field_id: str) -> bool:
        """Whether a field's page was handed on with it; of all fields with ''."""
        return field_id in self.manifest.get("fields", ()) if field_id else bool(self.manifest.get("district"))

    @property
    def files(self) -> list[str]:
        """Every file of its folder that is there now, sorted."""
        return sorted(str(p) for p in Path(self.path).rglob("*") if p.is_file())

    @cached_property
    def altered(self) -> list[str]:
        """Names of what is no longer as it was handed on: changed, missing or added; all of it where the list of checksums is gone."""
        return altered(self.path)

    @property
    def unlike(self) -> list[str]:
        """As `altered`, but told from the manifest and the files' names alone: quick where many reports lie side by side."""
        told = {*self.manifest.get("files", ()), MANIFEST, SUMS}
        there = {Path(f).relative_to(self.path).as_posix() for f in self.files}
        wrong = set() if _sum_of(self.path, MANIFEST) == _listed(self.path).get(MANIFEST) else {MANIFEST}
        return sorted(wrong | (told ^ there))

    def has(self, name: str) -> bool:
        return (Path(self.path) / name).is_file()

    def record(self, name: str) -> dict:
        """One of its JSON files; empty where it is not there or cannot be read any more."""
        try:
            return records.read(Path(self.path) / name)
        except (OSError, ValueError):
            return {}

    def table(self, name: str, table: str) -> list[dict]:
        """One of its tables as values, read once. Columns that have come since are empty, so that an old table can be read; none where it
        is not there.

        raises: BadInput, ValueError where it cannot be read any more
        """
        if name not in self._tables:
            self._tables[name] = self._table(name, table)
        return self._tables[name]

    @cached_property
    def _tables(self) -> dict[str, list[dict]]:
        return {}

    def _table(self, name: str, table: str) -> list[dict]:
        path = Path(self.path) / name
        if not path.is_file():
            return []
        kinds = {c.name: c.kind for c in TABLES[table]}
        found = read_rows(path, one_line=False)
        return [dict.fromkeys(kinds) | {k: value_of(text, kinds[k]) for k, text in row.items() if k in kinds} for _, row in found.rows]


def folder_in(tables_dir: str | Path) -> Path:
    """The folder of all of them: beside config.yaml, since results can be deleted and made again and these cannot."""
    return Path(tables_dir) / FOLDER


def issues(tables_dir: str | Path) -> list[Issue]:
    """All that were handed on, in the order of their numbers; none where there is no such folder."""
    folder = folder_in(tables_dir)
    found = [(p, m) for p in folder.iterdir() if p.is_dir() and (m := _NAME.fullmatch(p.name))] if folder.is_dir() else []
    return sorted((Issue(int(m[1]), m[2], str(p)) for p, m in found), key=lambda i: i.number)


def newest(found: list[Issue], field_id: str = "") -> Issue | None:
    """The last one that a field's page, or with '' the page over all fields, was handed on with."""
    return next((i for i in reversed(found) if i.holds(field_id)), None)


def keep(tables_dir: str | Path, on: str, copies: Mapping[str, str | Path], manifest: Mapping) -> Issue:
    """Keep files as handed on, whole or not at all.

    copies   : name in the folder -> the file
    manifest : what else is to be known of it; number, day, files and the checksum of the list before are added
    raises   : FileExistsError where another run took the same number meanwhile
    """
    before = issues(tables_dir)
    number = before[-1].number + 1 if before else 1
    folder = folder_in(tables_dir)
    folder.mkdir(parents=True, exist_ok=True)
    final = folder / f"{number:04}-{on}"
    whole = Path(tempfile.mkdtemp(dir=folder, prefix=f".{final.name}-"))
    try:
        for name, path in sorted(copies.items()):
            (whole / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, whole / name)
        sums = {name: records.sha256(whole / name) for name in sorted(copies)}
        last = Path(before[-1].path) / SUMS if before else None
        about = {**manifest, "number": number, "on": on, "files": sums, "before": records.sha256(last) if last is not None and last.is_file() else None}
        records.write(whole / MANIFEST, about)
        sums[MANIFEST] = records.sha256(whole / MANIFEST)
        (whole / SUMS).write_text("".join(f"{digest}  {name}\n" for name, digest in sorted(sums.items())), encoding="utf-8", newline="\n")
        os.chmod(whole, 0o755)
        os.rename(whole, final)  # fails where something stands there: nothing is ever overwritten
    except BaseException:
        shutil.rmtree(whole, ignore_errors=True)
        raise
    return Issue(number, on, str(final))


def altered(folder: str | Path) -> list[str]:
    """Names of files that are not what the list of checksums says, or that it does not name."""
    folder, told = Path(folder), _listed(folder)
    if not told:
        return [SUMS]
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    return sorted({name for name, digest in told.items() if _sum_of(folder, name) != digest} | (there - told.keys() - {SUMS}))


def _listed(folder: str | Path) -> dict[str, str]:
    """Name -> checksum, as the list of checksums has it; empty where it cannot be read."""
    try:
        return dict(reversed(line.split("  ", 1)) for line in (Path(folder) / SUMS).read_text(encoding="utf-8").splitlines())
    except (OSError, ValueError):
        return {}


def _sum_of(folder: str | Path, name: str) -> str:
    """Checksum of a file; empty where it is not there."""
    path = Path(folder) / name
    return records.sha256(path) if path.is_file() else ""


def broken_chain(found: list[Issue]) -> list[Issue]:
    """Issues of which the next one's manifest says that their list of checksums was another one."""
    out = []
    for one, after in zip(found, found[1:]):
        path, told = Path(one.path) / SUMS, after.manifest.get("before")
        if after.number == one.number + 1 and told is not None and (not path.is_file() or records.sha256(path) != told):
            out.append(one)
    return out


def missing(found: list[Issue]) -> list[int]:
    """Numbers below the last one whose folder is gone; that the last itself is gone nothing shows."""
    have = {one.number for one in found}
    return sorted(set(range(1, max(have, default=0))) - have)
