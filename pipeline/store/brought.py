"""A file copied or linked into a folder, whole or not at all; nothing that stands there is touched."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import Iterator

from pipeline.errors import BadInput, Problem


@contextmanager
def brought(file: Path, folder: Path, link: bool) -> Iterator[Path]:
    """The file's place in the folder; it is taken away again where the block fails. A file that lies in or below the folder's parent
    stays where it is.

    raises: BadInput where its name is taken there, or it cannot be written
    """
    home = folder.parent
    if Path(os.path.realpath(file)).is_relative_to(os.path.realpath(home)):
        yield home / os.path.relpath(os.path.realpath(file), os.path.realpath(home))
        return
    path, made = folder / file.name, not folder.exists()
    if os.path.lexists(path):
        raise BadInput([Problem("add", None, None, f"{path}, which is there already", "a name that is free there", "Rename the file; a cloud is never overwritten.", code="name-taken")])
    temporary: Path | None = None
    placed = False
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if link:
            os.symlink(os.path.realpath(file), path)
        else:
            _require_room(file, folder)
            handle, name = tempfile.mkstemp(dir=folder, prefix=".coming-", suffix=file.suffix)
            os.close(handle)
            temporary = Path(name)
            shutil.copyfile(file, temporary)
            os.chmod(temporary, 0o644)
            _place(temporary, path)
        placed = True
        yield path
    except BaseException as error:
        for left in (temporary, path if placed else None):
            if left is not None:
                left.unlink(missing_ok=True)
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
        if isinstance(error, OSError):
            raise BadInput([Problem("add", None, None, f"{path}, which cannot be written ({error.strerror})", "a folder with room that you may write to", "Nothing was changed. --link leaves the file where it is.", code="cannot-write")]) from None
        raise


def _require_room(file: Path, folder: Path) -> None:
    size, free = file.stat().st_size, shutil.disk_usage(folder).free
    if size > free:
        raise OSError(28, f"{size / 1e9:.1f} GB needed, {free / 1e9:.1f} GB free", str(folder))


def _place(temporary: Path, path: Path) -> None:
    """Give a whole file its name; refused by the system where the name was taken meanwhile."""
    try:
        os.link(temporary, path)
        temporary.unlink()
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links
        if os.path.lexists(path):
            raise FileExistsError(17, "taken meanwhile", str(path)) from None
        os.rename(temporary, path)
