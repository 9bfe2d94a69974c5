"""Files of points: what each says about itself, and its points in chunks of bounded memory."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Iterator, Protocol

from pipeline.errors import Refused
from pipeline.survey.facts import Facts
from pipeline.survey.points import Chunk

CHUNK_POINTS = 1_000_000
ENDINGS = {".las": "las", ".laz": "las", ".csv": "csv", ".csv.gz": "csv", ".tif": "raster", ".tiff": "raster"}
# How a file really begins, whatever its name says.
BEGINNINGS = (
    (b"LASF", "a LAS or LAZ cloud", "las"), (b"II*\0", "a TIFF picture or raster", "raster"),
    (b"MM\0*", "a TIFF picture or raster", "raster"), (b"II+\0", "a TIFF picture or raster", "raster"),
    (b"MM\0+", "a TIFF picture or raster", "raster"), (b"\x1f\x8b", "a gzip archive", "gz"),
    (b"PK", "a zip archive", None),
    (b"ply", "a PLY file", None), (b"ASTM-E57", "an E57 file", None), (b"%PDF", "a PDF", None),
    (b"<", "a web page or XML", None),
)  # fmt: skip


@dataclass
class Tally:
    """What became of a file's points while its chunks were read.

    read          : points handed on
    withheld      : left out because the file marks them withheld (LAS)
    empty         : left out because a coordinate is missing, or a raster's cell holds no height
    beyond_header : handed on although they lie outside the box that the header states
    mixed_colour  : handed on with a 16-bit colour in a file of 8-bit colours
    """

    read: int = 0
    withheld: int = 0
    empty: int = 0
    beyond_header: int = 0
    mixed_colour: int = 0

    def removed(self) -> dict[str, int]:
        """Points left out, by reason; reasons with none are left out."""
        return {reason: n for reason, n in (("withheld", self.withheld), ("empty", self.empty)) if n}

    def remarks(self, name: str) -> tuple[str, ...]:
        """Sentences about what was odd, for the operator."""
        out = []
        if self.beyond_header:
            out.append(f"{name}: {self.beyond_header:,} points lie outside the box its header states; they were read "
                       "all the same.")
        if self.mixed_colour:
            out.append(f"{name}: {self.mixed_colour:,} points have colours of another depth than the rest; colours may "
                       "be wrong.")
        return tuple(out)


class PointFile(Protocol):
    """One file of points. `tally` belongs to the newest `chunks`, and is whole when that has ended."""

    facts: Facts
    tally: Tally

    def chunks(self, want_rgb: bool = False, want_intensity: bool = False, size: int = CHUNK_POINTS) -> Iterator[Chunk]:
        """All points in the file's order, at most `size` at a time; colour and intensity where wanted and there.

        raises : Refused `unreadable` where the file breaks off, `no_points` where no point is left
        """
        ...


def open_points(path: str | Path) -> PointFile:
    """A LAS, LAZ or COPC cloud, a CSV of points (also .gz) or a GeoTIFF, by the file's name and beginning.

    raises : Refused `unreadable`, `no_points`
    """
    path = Path(path)
    kind = _kind(path)
    if kind == "las":
        from pipeline.store.points_las import LasFile

        return LasFile(path)
    if kind == "csv":
        from pipeline.store.points_csv import CsvFile

        return CsvFile(path)
    from pipeline.store.points_raster import RasterFile

    return RasterFile(path)


def _kind(path: Path) -> str:
    """What a file is, by its name; refused where its beginning says otherwise."""
    name, lower = path.name, path.name.lower()
    ending = next((e for e in sorted(ENDINGS, key=len, reverse=True) if lower.endswith(e)), None)
    if path.is_dir():
        raise unreadable(name, "a folder", "a file of points",
                         "Name the file itself, or use a pattern such as survey/*.laz.")
    if ending is None:
        bare = lower.endswith((".txt", ".xyz", ".asc"))
        hint = " A bare point list with another ending is read once it is called .csv." if bare else ""
        raise unreadable(name, "a name of no known kind", "a name in " + ", ".join(ENDINGS),
                         f"Export the points as one of these.{hint}")
    try:
        with path.open("rb") as stream:
            beginning = stream.read(16)
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        found = "no such file" if missing else f"a file that cannot be opened ({error.strerror})"
        raise unreadable(name, found, "a file of points",
                         "Correct path in surveys.csv, or copy the file there.") from error
    if not beginning:
        raise unreadable(name, "an empty file", "points", "Copy or export it again.")
    kind = ENDINGS[ending]
    really, is_a = next(((w, k) for start, w, k in BEGINNINGS if beginning.startswith(start)),
                        ("something else", "text"))
    fits = {"las": is_a == "las", "raster": is_a == "raster",
            "csv": is_a == ("gz" if ending == ".csv.gz" else "text")}[kind]
    if not fits:
        raise unreadable(name, f"{really} under that name", f"what {ending} stands for",
                         "Export it again, or correct its name.")
    return kind


def unreadable(name: str, found: str, expected: str, todo: str) -> Refused:
    """The refusal of a file that cannot be read as what its name says."""
    return Refused("unreadable", f"{name}: found {found}; expected {expected}. {todo}")


# What decoders raise at broken bytes: exceptions of their own, and these.
BROKEN = (OSError, EOFError, ValueError, RuntimeError, OverflowError, IndexError, MemoryError)
DECODERS = ("laspy", "lazrs", "pyo3_runtime", "rasterio", "zlib", "struct", "_csv")


@contextmanager
def reading(name: str, done: Tally | None = None) -> Iterator[None]:
    """Turn what a decoder says about a broken file into a refusal. Its panic is no `Exception`, hence the wide net."""
    try:
        yield
    except BaseException as error:
        decoder = type(error).__module__.split(".")[0] in DECODERS
        if isinstance(error, (Refused, GeneratorExit)) or not (decoder or isinstance(error, BROKEN)):
            raise
        after = f" after {done.read:,} points" if done is not None and done.read else ""
        said = str(error).strip().splitlines()[0][:160] if str(error).strip() else type(error).__name__
        raise unreadable(name, f"a file that breaks off or is damaged{after} ({said})", "a whole one",
                         "Copy or export it again.") from error
