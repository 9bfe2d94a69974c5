"""Files of points opened by name and beginning: LAS, LAZ or COPC clouds, tables, rasters."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import Refused
from pipeline.store.point_file import PointFile, unreadable
from pipeline.store.points_csv import CsvFile
from pipeline.store.points_las import LasFile
from pipeline.store.points_raster import RasterFile
from pipeline.survey.walks.walk import Walk

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


def open_points(path: str | Path) -> PointFile:
    """A LAS, LAZ or COPC cloud, a CSV of points (also .gz) or a GeoTIFF, by the file's name and beginning.

    raises : Refused `unreadable`, `no_points`
    """
    path = Path(path)
    kind = _kind(path)
    if kind == "las":
        return LasFile(path)
    if kind == "csv":
        return CsvFile(path)
    return RasterFile(path)


def read_walk(path: str | Path) -> Walk:
    """A rover's walk from a table of points, in the order walked, in the table's own coordinates and units.

    raises : Refused `unreadable`, `no_points`, `source_disagrees` where the file is no table
    """
    file = open_points(path)
    if not isinstance(file, CsvFile):
        raise Refused("source_disagrees",
                      f"{file.facts.name}: found a cloud or raster; expected a walk as CSV. Correct source or path.")
    return file.walk()


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
