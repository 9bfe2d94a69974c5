"""Diamonds laid by hand over real, openly licensed clouds of other ground: no base, plate or mound is there to be found."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from support.chain import Chain, run, write_project

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.surface.rulebook_plates import line_ends

FOOT_M = 0.3048
OWNED = {"base_line_pct": 1.0, "base_distance_mm": 25, "plate_level_mm": 10, "mound_height_mm": 25}


@dataclass(frozen=True)
class Diamond:
    """file, crs : the cloud and its horizontal CRS; unit_m of its coordinates
    home, bearing_deg : where somebody laid home plate, in the file's unit, and the way to second base
    """

    file: str
    crs: str
    unit_m: float
    layout: str
    home: tuple[float, float]
    bearing_deg: float
    cell_m: float
    vertical_unit: str

    @property
    def second(self) -> tuple[float, float]:
        a, far = np.radians(self.bearing_deg), LAYOUTS[self.layout].home_to_second_m / self.unit_m
        return self.home[0] + far * np.sin(a), self.home[1] + far * np.cos(a)


PITCH = Diamond("park/athletic_field.laz", "EPSG:2994", FOOT_M, "softball-60", (636320.0, 852010.0), 0.0, 0.8, "ft")
MOUNDED = Diamond("park/athletic_field.laz", "EPSG:2994", FOOT_M, "baseball-60", (636320.0, 852010.0), 0.0, 0.8, "ft")
OPEN = Diamond("field/open_field.laz", "EPSG:2154", 1.0, "baseball-90", (484850.0, 6632800.0), 30.0, 0.8, "m")


def laid(data: Path, folder: Path, diamond: Diamond) -> Chain:
    """The whole chain on one diamond."""
    survey = {"survey_id": "flight", "flown_on": "2010-06-01", "path": str(data / diamond.file), "vertical_unit": diamond.vertical_unit,
              "height_reference": "EPSG:5703" if diamond.vertical_unit == "ft" else "EPSG:5720"}  # fmt: skip
    owned = {name: {"value": v, "set_by": "nobody: a test", "set_on": "2026-01-01"} for name, v in OWNED.items()}
    write_project(folder, diamond.crs, {"d": []}, [survey], cell_size_m=diamond.cell_m, tolerances=owned, units="metric")
    at = dict(zip(("home_e", "home_n", "second_e", "second_n"), (f"{v:.3f}" for v in (*diamond.home, *diamond.second))))
    with (folder / "fields.csv").open("w", newline="") as out:
        row = {"field_id": "d", "crs": diamond.crs, "layout": diamond.layout, **at}
        writer = csv.DictWriter(out, row, lineterminator="\n")
        writer.writeheader()
        writer.writerow(row)
    return run(folder)


def rise_by_points(data: Path, diamond: Diamond, item: str) -> float:
    """Rise along one base line over the whole base distance, mm, of all points within 1.5 m of it: laspy and statsmodels."""
    import laspy
    import statsmodels.api as sm

    las = laspy.read(data / diamond.file)
    x, y, z = (np.asarray(v, float) * diamond.unit_m for v in (las.x, las.y, las.z))
    base_m, (start, end) = LAYOUTS[diamond.layout].base_m, line_ends(LAYOUTS[diamond.layout])[item]
    a = np.radians(diamond.bearing_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    at, along = np.array(diamond.home) * diamond.unit_m + turn @ start, turn @ (end - start) / base_m
    s = (x - at[0]) * along[0] + (y - at[1]) * along[1]
    t = (y - at[1]) * along[0] - (x - at[0]) * along[1]
    on = (np.abs(t) < 1.5) & (s > 0.9) & (s < base_m - 0.9)
    near = np.abs(z[on] - np.median(z[on])) < 1.5
    fit = sm.RLM(z[on][near], np.column_stack([np.ones(near.sum()), s[on][near]]), M=sm.robust.norms.TukeyBiweight()).fit()
    return float(fit.params[1] * base_m * 1000)
