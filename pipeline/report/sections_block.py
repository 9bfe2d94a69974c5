"""The field page's profiles: at each base and every ten metres of edge, on all dates that the page carries."""

from __future__ import annotations

import math

import numpy as np

from pipeline.report.field_input import FieldInput
from pipeline.report.saying import Sayer
from pipeline.report.sections import Section, section, worth_drawing
from pipeline.report.sections_chart import sections_chart
from pipeline.report.words import opened

BASES = ("home", "first", "second", "third", "landing")
BASE_M = 3.5  # so far to either side of a base
EDGE_M = (-1.5, 1.5)  # from the skin into the grass
EVERY_M = 10.0


def sections_block(given: FieldInput, sayer: Sayer) -> dict:
    """Charts of bases and of edges, with the days of their first and newest line; empty without a usable date."""
    plane = given.first_plane
    if plane is None:
        return {}
    charts = [c for c in (*_bases(given, sayer, plane), *_edges(given, sayer, plane)) if c is not None]
    days = {s.survey_id: sayer.day(s.flown_on, s.survey_id) for s in given.surfaces}
    return {"charts": charts, "first": days[given.surfaces[0].survey_id], "newest": days[given.surfaces[-1].survey_id], "many": len(given.surfaces) > 2} if charts else {}


def _bases(given: FieldInput, sayer: Sayer, plane):
    words, layout = sayer.words, given.layout
    for place in layout.places:
        if place.place_id.split("-")[0] not in BASES or place.place_id not in BASES:
            continue
        home = layout.anchors.get("home")
        east, north = _away(home, (place.e, place.n), layout)
        found = _along(given, plane, place.e, place.n, east, north, -BASE_M, BASE_M)
        name = sayer.placing.place(place.place_id)
        yield _chart(f"section-{place.place_id}", found, [(0.0, name)], words("section_across_base", unit=sayer.units.length.name), opened(words("section_base", place=name)), sayer)


def _away(home, at, layout) -> tuple[float, float]:
    """Unit direction from home plate through a place; of home plate itself toward second base; east where no home is known."""
    if layout.axes is None or home is None:
        return 1.0, 0.0
    de, dn = at[0] - home[0], at[1] - home[1]
    far = math.hypot(de, dn)
    return (de / far, dn / far) if far > 1.0 else (math.sin(layout.axes.bearing_rad), math.cos(layout.axes.bearing_rad))


def _edges(given: FieldInput, sayer: Sayer, plane):
    words = sayer.words
    for edge in given.edges:
        name = sayer.placing.edge(edge.edge_id)
        for k in range(max(int((edge.length_m - EVERY_M / 2) // EVERY_M) + 1, 1)):
            at = min(EVERY_M / 2 + k * EVERY_M, edge.length_m / 2 if edge.length_m < EVERY_M else edge.length_m)
            (e0, n0), (e1, n1) = ((float(v) for v in edge.at(np.array(at), d)) for d in (0.0, 1.0))
            found = _along(given, plane, e0, n0, e1 - e0, n1 - n0, *EDGE_M)
            title = words("section_edge", edge=name, at=sayer.length(at))
            yield _chart(f"section-{edge.edge_id}-{k}", found, [(0.0, words("section_line"))], words("section_across_edge", unit=sayer.units.length.name), opened(title), sayer)


def _along(given: FieldInput, plane, e0, n0, east, north, low, high) -> list[Section]:
    return worth_drawing([section(s, given.layout.grid, plane, e0, n0, east, north, low, high) for s in given.surfaces])


def _chart(name: str, found: list[Section], marks, across: str, title: str, sayer: Sayer) -> dict | None:
    """None where fewer than two dates show the place, or the newest does not."""
    if len(found) < 2:
        return None
    return {"svg": sections_chart(name, found, marks, across, sayer.units, title, sayer.words("section_about")), "title": title}
