"""Points for surveyors and machines: one table with a header, one bare, and beside them what their numbers mean.

The bare order point, northing, easting, height, description is customary in surveying; no standards body keeps it. Nothing in it
says which number is which: `beside` does, and `check_bare` holds the numbers against the field.
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Sequence

import shapely

from pipeline.errors import BadInput, Problem
from pipeline.store.atomic import read_text, write_text

HEADER = ("point", "northing", "easting", "existing", "design", "cut", "fill", "by_hand", "description")
FORMULA = ("=", "+", "-", "@", "\t", "\r")
PLACES = 3  # decimals, in metres and in feet
OFF_M = 0.05  # points may lie so far outside the skin: rounding


def write(folder: Path, rows: Sequence[dict], unit_m: float) -> None:
    """`stakeout.csv` and `stakeout_bare.csv`.

    rows   : point, northing, easting in the CRS that leaves; existing_m, design_m, cut_m, fill_m in metres; by_hand; description
    unit_m : metres in a unit of that CRS, in which heights leave, too
    """
    figure = lambda value: f"{value:.{PLACES}f}"
    headed, bare = io.StringIO(), io.StringIO()
    one, other = csv.writer(headed, lineterminator="\n"), csv.writer(bare, lineterminator="\n")
    one.writerow(HEADER)
    for r in rows:
        at = [r["point"], figure(r["northing"]), figure(r["easting"])]
        lengths = [figure(r[k] / unit_m) for k in ("existing_m", "design_m", "cut_m", "fill_m")]
        said = plain(r["description"] + (", by hand" if r["by_hand"] else ""))
        one.writerow([*at, *lengths, "true" if r["by_hand"] else "false", plain(r["description"])])
        other.writerow([*at, lengths[1], said.replace(",", ";")])
    write_text(folder / "stakeout.csv", headed.getvalue())
    write_text(folder / "stakeout_bare.csv", bare.getvalue())


def plain(text: str) -> str:
    """Text that a spreadsheet takes for text, on one line."""
    text = " ".join(text.split())
    return f"'{text}" if text.startswith(FORMULA) else text


def beside(folder: Path, about: dict) -> None:
    """`about.json`: what the files of the folder are in."""
    write_text(folder / "about.json", json.dumps(about, indent=1, sort_keys=True, ensure_ascii=False) + "\n")


def check_bare(path: str | Path, skin: shapely.Geometry, unit_m: float) -> list[tuple[str, float, float, float, str]]:
    """Points of a bare file, held against where they should lie.

    skin   : in the file's CRS and unit
    raises : BadInput that names the row, where a point lies off the skin, and says so where northing and easting are exchanged
    """
    ground = skin.buffer(OFF_M / unit_m)
    west, south, east, north = ground.bounds
    out, problems, name = [], [], Path(path).name
    for row, cells in enumerate(csv.reader(io.StringIO(read_text(path))), start=1):
        try:
            point, n, e, z, said = cells[0], float(cells[1]), float(cells[2]), float(cells[3]), cells[4]
        except (IndexError, ValueError):
            problems.append(Problem(name, row, None, ",".join(cells)[:60], "point,northing,easting,height,description", "Export the points again.", code="stakeout-line"))
            continue
        if not shapely.contains_xy(ground, e, n):
            swapped = bool(shapely.contains_xy(ground, n, e))
            todo = "Northing and easting are exchanged: the northing comes first." if swapped else "Check CRS and foot in about.json."
            problems.append(Problem(name, row, "northing", f"{n:.3f}, {e:.3f}", f"a northing of {south:.0f} to {north:.0f} and an easting of {west:.0f} to {east:.0f}", todo, code="stakeout-line"))
        out.append((point, n, e, z, said))
    if problems:
        raise BadInput(problems)
    return out
