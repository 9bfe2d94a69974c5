"""A field's control points in the coordinates and unit that leave."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pipeline.coordinates import code, read_crs, unit_m
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.store import stakeout, tracks
from pipeline.tables import TABLES
from pipeline.transform import NoExactStep, step_between
from pipeline.units import VERTICAL_UNITS, vertical_unit_of

HEADER = tuple(f.name for f in TABLES["control"])


def carried(job: Job, layout: Layout) -> tuple[list[dict], list[str]]:
    """Rows of control.csv as text, by point, in the field's own CRS and unit, each with `at`, its easting and northing in the
    working CRS; and the points without an exact step there."""
    own, working = read_crs(job.field_row["crs"]), read_crs(layout.grid.crs)
    metres, rows, left = unit_m(own), [], []
    for row in sorted(job.rows.get("control", ()), key=lambda r: r["point_id"]):
        here = np.array([row["e"]]), np.array([row["n"]])
        try:
            (e, n), at = step_between(read_crs(row["crs"]), own)(*here), step_between(read_crs(row["crs"]), working)(*here)
        except NoExactStep:
            left.append(row["point_id"])
            continue
        told = {
            "e": f"{e[0]:.4f}", "n": f"{n[0]:.4f}", "height": f"{row['height'] * VERTICAL_UNITS[row['unit']] / metres:.4f}", "unit": vertical_unit_of(metres), "crs": code(own),
        }  # fmt: skip
        text = {name: told.get(name, stakeout.plain("" if (value := row.get(name)) is None else str(value))) for name in HEADER}
        rows.append({**text, "at": (float(at[0][0]), float(at[1][0]))})
    return rows, left


def write(folder: Path, rows: list[dict]) -> None:
    """control.csv in a folder."""
    tracks.write_rows(folder / "control.csv", HEADER, [[r[name] for name in HEADER] for r in rows])
