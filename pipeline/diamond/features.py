"""What an operator drew, checked: roles, geometry kinds, names."""

from __future__ import annotations

import re
from typing import Iterable

from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from pipeline.diamond.anchors import located_fault
from pipeline.diamond.cores import drawn_problems
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.layout import Feature
from pipeline.errors import Problem, did_you_mean

AREA, LINE, POINT = ("Polygon", "MultiPolygon"), ("LineString", "MultiLineString"), ("Point",)
ROLES: dict[str, tuple[str, ...]] = {
    "skin": AREA, "turf_infield": AREA, "boundary": AREA, "stable": AREA, "ignore": AREA, "accessible_route": AREA + LINE,
    "grass_edge": LINE, "cable": LINE, "keep_out": AREA + LINE + POINT, "gate": LINE + POINT,
    "base_anchor": POINT, "irrigation_head": POINT, "valve_box": POINT + AREA, "inlet": POINT, "outlet": POINT,
    "mix_core": POINT, "fixed_grade": POINT + LINE + AREA,
}  # fmt: skip
COLUMNS = ("role", "name", "layout", "base", "located_on", "located_by", "state", "depth_m", "height_m", "depth_mm",
           "taken_on", "tolerance_mm", "sigma_mm", "bag_in")  # fmt: skip
# Of a base anchor: spans that catch a figure in another unit.
ANCHOR_FIGURES = {"sigma_mm": (0.5, 1000.0, "one s.d. of where it lies, mm"), "bag_in": (12.0, 20.0, "side of its bag, in")}
POINT_BUFFER_M = 0.05  # a keep-out drawn as a point or a line still has a size


def identifier(name: str) -> str:
    """A drawn name as an id: lowered, other signs turned to `-`."""
    return re.sub(r"[^a-z0-9]+", "-", name.strip().lower()).strip("-")


def read(file: str, drawn: Iterable[tuple[int, dict, BaseGeometry | None]]) -> tuple[tuple[Feature, ...], list[Problem]]:
    """Features with their ids, and every fault found.

    drawn : row number, attributes, geometry in the working CRS
    """
    features, problems, seen = [], [], {}
    counts: dict[str, int] = {}
    for row, props, geometry in drawn:
        role = str(props.get("role") or "").strip()
        fault = _fault(file, row, role, props, geometry)
        if fault:
            problems += fault
            continue
        counts[role] = counts.get(role, 0) + 1
        name = identifier(str(props.get("name") or "")) or f"{role.replace('_', '-')}-{counts[role]}"
        if (role, name) in seen:
            problems.append(Problem(file, row, "name", f"{name!r} again (first in row {seen[role, name]})",
                                    f"each {role} under a name of its own", "Rename one; two names may not differ in signs or capitals alone.", code="shape-name-twice"))  # fmt: skip
            continue
        seen[role, name] = row
        if role in ("keep_out",) and geometry.geom_type not in AREA:
            geometry = geometry.buffer(POINT_BUFFER_M)
        features.append(Feature(role, name, geometry, {k: v for k, v in props.items() if k in COLUMNS and v not in (None, "")}))
    return tuple(features), problems


def _fault(file: str, row: int, role: str, props: dict, geometry) -> list[Problem]:
    out = []
    if role not in ROLES:
        out.append(Problem(file, row, "role", repr(role) if role else "nothing", "one of " + ", ".join(ROLES),
                           f"Correct the role.{did_you_mean(role, ROLES)}", code="unknown-role"))  # fmt: skip
    if geometry is None or geometry.is_empty:
        out.append(Problem(file, row, "geometry", "no shape", "a shape", "Draw it again or delete the row.", code="no-shape"))
    elif role in ROLES and geometry.geom_type not in ROLES[role]:
        out.append(Problem(file, row, "geometry", geometry.geom_type, " or ".join(ROLES[role]) + f" for {role}", "Draw it again with the right kind of shape.", code="wrong-shape"))
    elif not geometry.is_valid:
        out.append(Problem(file, row, "geometry", f"a shape that crosses itself ({explain_validity(geometry)})", "a clean outline", "Mend the outline.", code="shape-crosses-itself"))
    if role == "base_anchor":
        out += _anchor_faults(file, row, props)
    out += located_fault(file, row, props)
    if role == "mix_core":
        out += drawn_problems(file, row, props)
    if "role" not in props:
        out.append(Problem(file, row, "role", "no such column", "an attribute `role`", "Add the attribute to every shape.", code="no-role"))
    return out


def _anchor_faults(file: str, row: int, props: dict) -> list[Problem]:
    """A base set nobody knows would put the anchor into another; an s.d. that is no number would pass for none."""
    out = []
    layout = props.get("layout")
    if layout not in (None, "") and layout not in LAYOUTS:
        out.append(Problem(file, row, "layout", repr(layout), "one of " + ", ".join(LAYOUTS), f"Name the anchor's base set.{did_you_mean(str(layout), LAYOUTS)}", code="anchor-base-set"))
    for column, (low, high, what) in ANCHOR_FIGURES.items():
        found = props.get(column)
        if found not in (None, "") and not (isinstance(found, (int, float)) and low <= found <= high):
            out.append(Problem(file, row, column, repr(found), f"a number from {low:g} to {high:g}: {what}", "Write the bare figure, or leave it empty.", code="anchor-figure"))
    return out
