"""lip.csv of one survey: every metre of every edge, and each edge as a whole."""

from __future__ import annotations

import numpy as np
from shapely.geometry import Point

from pipeline.coordinates import read_crs, unit_m
from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout, Mound
from pipeline.jobs import Job
from pipeline.steps.spot_given import turf_height_m
from pipeline.steps.surveyed import Surveyed
from pipeline.surface.calibration import RulerMark, calibrate
from pipeline.surface.lip import Station, kind_of, lip_of_edge, more_readings, one_date_noise, ruler_mark
from pipeline.surface.lip_noise import CANOPY_M
from pipeline.surface.lip_shape import freeze
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_table import CLEAR_M
from pipeline.survey.points import Ground
from pipeline.survey.walks.walk_edges import rover_lip
from pipeline.units import LENGTH_UNITS

EDGE_WORKS = frozenset({"lip_cut", "sod", "edge_recut", "edge_clean", "roll", "laser_grade", "rebuild", "mix_add"})
READING_DAYS = 21  # grass grows: a ruler's reading speaks for a survey so many days to either side
RULER_SD_M = 0.003
RULED_WITHIN_M = 1.0  # of an edge: a reading placed by e, n further off is of no edge
ROUND_MOUND_M = 0.5
HEIGHTS = ("height_mm", "height_sigma_mm", "rise_low95_mm", "rise_high95_mm", "fall_mm", "fall_sigma_mm", "section_m2")
NAN = float("nan")


def lips(job: Job, layout: Layout, made: Surveyed) -> tuple[list[dict], dict[str, int | None]]:
    """Rows of lip.csv, and how many more ruler readings on each edge would halve what its height is not known by."""
    if made.rows is not None:
        return [_walked(made, i) for i in range(len(made.edges))], {}
    tables, edges = list(made.tables), list(made.edges)
    shapes = [freeze(t) for t in tables]
    turf = turf_height_m(job, made.survey_id)
    still = one_date_noise(tables, shapes, made.noise, _canopy(turf))
    crs_m = unit_m(read_crs(job.field_row["crs"]))
    marks = [m for m in (_mark(r, edges, tables, shapes, still, crs_m) for r in readings(job)) if m is not None]
    canopies = calibrate(marks, [e.edge_id for e in edges], made.noise.canopy_reach, turf)
    rows, wanted = [], {}
    for table, edge, shape, sigma in zip(tables, edges, shapes, made.line_sigmas):
        canopy = canopies[edge.edge_id]
        found = lip_of_edge(table, edge, shape, still, canopy, turf, sigma)
        told = (_row(s, edge.source) for s in found)
        rows += [_untold(r) for r in told] if unseen(edge) or round_mound(edge, layout.mound) else told
        wanted[edge.edge_id] = more_readings(found[-1], canopy, shape)
    return rows, wanted


def unseen(edge: Edge) -> bool:
    """Whether an edge stands in the layout only: no survey of the series showed grass begin along it. The layout may be
    another field's, or home and second base swapped; a height read along such a line is of nothing."""
    return edge.source == "layout"


def round_mound(edge: Edge, mound: Mound | None) -> bool:
    """Whether an edge runs round the mound. The line laid over the skin before it then spans a table and a slope, so
    that a lip's height against it says nothing; how it grows does not need that line."""
    if mound is None:
        return False
    off = np.hypot(*(np.asarray(edge.line.coords)[:, :2] - (mound.e, mound.n)).T)
    return bool(np.median(np.abs(off - mound.radius_m)) < ROUND_MOUND_M)


def _untold(row: dict) -> dict:
    return row | {"kind": "not_enough_evidence"} | dict.fromkeys(HEIGHTS, NAN)


def readings(job: Job) -> list:
    """The ruler's readings of the lip near the day of the survey, with no work on lip, edge or grass in between."""
    day = job.survey_row["flown_on"]
    worked = [(w["done_on"], w.get("ended_on") or w["done_on"]) for w in job.rows["works"] if w["work"] in EDGE_WORKS]

    def speaks(read_on) -> bool:
        first, last = sorted((read_on, day))
        return (last - first).days <= READING_DAYS and not any(began <= last and first <= ended for began, ended in worked)

    return [r for r in job.rows["readings"] if r["kind"] == "lip_rise" and speaks(r["read_on"])]


def _canopy(turf_m: float | None) -> float:
    return CANOPY_M if turf_m is None else turf_m


def _mark(reading, edges, tables, shapes, still, crs_m: float) -> RulerMark | None:
    """A reading on the edge and station it names; crs_m: metres in a unit of the field's own coordinates."""
    found = _ruled_at(reading, edges, crs_m)
    if found is None:
        return None
    k, station = found
    value = float(reading["value"]) * LENGTH_UNITS[reading["unit"]]
    return ruler_mark(tables[k], shapes[k], station, value, still, RULER_SD_M)


def _ruled_at(reading, edges, crs_m: float) -> tuple[int, float] | None:
    """Which edge a reading was taken on, and its station: as named, else the nearest edge to e, n within RULED_WITHIN_M."""
    if "station_m" in reading.values:
        k = next((k for k, e in enumerate(edges) if e.edge_id == reading.get("edge_id")), None)
        return None if k is None else (k, reading["station_m"])
    at = Point(reading["e"] * crs_m, reading["n"] * crs_m)
    away, k = min(((e.line.distance(at), k) for k, e in enumerate(edges)), default=(np.inf, 0))
    return (k, float(edges[k].line.project(at))) if away <= RULED_WITHIN_M else None


def _row(s: Station, source: str) -> dict:
    return {
        "edge_id": s.edge_id, "station_m": s.station_m, "e": s.e, "n": s.n, "kind": s.kind, "height_mm": s.height_m * 1000,
        "height_sigma_mm": s.height_sigma_m * 1000, "rise_low95_mm": s.rise_low95_m * 1000, "rise_high95_mm": s.rise_high95_m * 1000,
        "fall_mm": s.fall_m * 1000, "fall_sigma_mm": s.fall_sigma_m * 1000, "calibration": s.calibration,
        "crest_offset_mm": s.crest_offset_m * 1000, "width_mm": s.width_m * 1000, "section_m2": s.section_m2, "edge_source": source,
    }  # fmt: skip


def _walked(made: Surveyed, i: int) -> dict:
    """The whole edge from a walk's zig-zag; a walk has no figure for single metres."""
    edge = made.edges[i]
    rows = walked_rows(made.rows, edge)
    lip = rover_lip(rows, edge.length_m)
    told = not lip.reason
    kind = kind_of(lip.rise_m, lip.rise_sigma_m, lip.fall_m, lip.fall_sigma_m) if told else "not_enough_evidence"
    low, high = (lip.rise_m + k * 1.96 * lip.rise_sigma_m for k in (-1, 1)) if told else (NAN, NAN)
    return {
        "edge_id": edge.edge_id, "station_m": None, "e": NAN, "n": NAN, "kind": kind, "height_mm": lip.rise_m * 1000,
        "height_sigma_mm": lip.rise_sigma_m * 1000, "rise_low95_mm": low * 1000, "rise_high95_mm": high * 1000, "fall_mm": lip.fall_m * 1000,
        "fall_sigma_mm": lip.fall_sigma_m * 1000, "calibration": "none", "crest_offset_mm": lip.shape.crest * 1000 if told else NAN,
        "width_mm": NAN, "section_m2": NAN, "edge_source": edge.source,
    }  # fmt: skip


def walked_rows(ground: Ground, edge) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Station, distance and height of the rows near an edge in the order walked, ends and sharp turns left out, each (n,), m."""
    e, n, z = ground.metres()
    s, d = edge_frame(edge).project(e, n)
    near = np.isfinite(s)
    near[near] = edge.usable(s[near], CLEAR_M)
    return s[near], d[near], z[near]
