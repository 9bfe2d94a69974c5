"""Plans of the work: what is filled and cleared where, and where mix is taken from and dropped."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.field_input import FieldInput
from pipeline.report.field_map import Mark, cleared, drawn_marks, foot
from pipeline.report.figures import Unit, printed
from pipeline.report.saying import Sayer
from pipeline.report.svg import Frame, barb, el, picture, words as text
from pipeline.units import INCH_M
from pipeline.works.hauls import CARRY, TAKE

BARB_PX = 7.0


def plan(given: FieldInput, hauls: Sequence[Mapping], marks: Sequence[Mark], title: str, about: str, sayer: Sayer) -> str:
    """The field with what is kept free, the marks of the work, and an arrow for each haul from its cut to its drop.

    hauls : as `hauls_of` gives them; their order is written at the arrow's tail
    """
    frame, inner = cleared(given.layout, given.edges, given.designs.get("keep_outs", ()))
    inner += "".join(_haul(frame, h) for h in hauls if h["kind"] in (CARRY, TAKE) and not h["minor"])
    inner += drawn_marks(frame, marks) + foot(frame, sayer.units, sayer.words("north"))
    return picture(frame.width, frame.height, "work-plan", title, about, inner, "map")


def _haul(frame: Frame, h: Mapping) -> str:
    """An arrow from cut to drop; of mix that leaves the field a cross at its cut."""
    x0, y0 = (float(v) for v in frame.xy(h["from_e"], h["from_n"]))
    label = text(x0 + 6, y0 - 4, str(h["order"]), class_="figure")
    if h["kind"] == TAKE:
        return el("path", d=f"M{x0 - 5:.1f} {y0 - 5:.1f}l10 10M{x0 - 5:.1f} {y0 + 5:.1f}l10 -10", class_="run") + label
    x1, y1 = (float(v) for v in frame.xy(h["to_e"], h["to_n"]))
    return el("path", d=f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" + barb(x0, y0, x1, y1, BARB_PX), class_="run") + el("circle", cx=x0, cy=y0, r=3.0, class_="core") + label


def stake_plan(given: FieldInput, stakes: Sequence[Mapping], title: str, about: str, sayer: Sayer) -> str:
    """Every stake with what to do there: + to fill, - to cut, in tenths of an inch or millimetres as a rod is read."""
    frame, inner = cleared(given.layout, given.edges, given.designs.get("keep_outs", ()))
    unit = rod_unit(sayer)
    for s in (s for s in stakes if "," not in s["description"]):  # the grid and the bases; points about a low spot would cover one another
        x, y = (float(v) for v in frame.xy(s["e"], s["n"]))
        inner += el("path", d=f"M{x - 3:.1f} {y:.1f}h6M{x:.1f} {y - 3:.1f}v6", class_="scale")
        inner += text(x, y - 5, printed((s["fill_m"] - s["cut_m"]) / unit.size, unit.finest, signed=True), class_="figure", text_anchor="middle")
    return picture(frame.width, frame.height, "stake-plan", title, about, inner + foot(frame, sayer.units, sayer.words("north")), "map")


def rod_unit(sayer: Sayer) -> Unit:
    """Tenths of an inch, or millimetres."""
    return Unit("in", INCH_M, 1) if sayer.units.system == "us" else Unit("mm", 0.001, 0)
