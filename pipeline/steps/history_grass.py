"""grass_edge.csv: where the grass begins along every edge at every date, against the edge as given, since last time and since
the baseline; and that line for the GeoPackage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.steps.surveyed import Surveyed
from pipeline.survey.edges.edge_table import STATION_M
from pipeline.survey.edges.encroachment import Encroachment, GrassLine, Stretch, against_edge, grass_line, moved_as_one, nothing_seen, since

LAYOUT_OFF_M = 0.20  # one s.d. of a layout's edge against the one that was built: its arc's centre is not the same everywhere
# A drawn line about the edge it stands for: one s.d. of a 5 m piece's mean and of a whole edge's (25 mm over 3 m, as declared for
# drawn edges: the first is nearly all of it, over 40 m some third is left; ours).
DRAWN_OFF_M, DRAWN_WHOLE_M = 0.025, 0.010
APART_M = 0.08  # root mean square off a layout's edge from which it is asked whether all of it stands elsewhere
NOT_SEEN, WALKED = "not_seen", "a walk does not show where the grass begins"
NAN = float("nan")


@dataclass(frozen=True)
class Grass:
    """One survey's grass along every edge: the lines, and one s.d. of the survey's sideways place against the baseline, m."""

    lines: dict[str, GrassLine]
    sideways_m: float
    horizontal_m: float
    walked: bool


def grass_of(made: Surveyed) -> Grass:
    """Where one survey shows the grass begin, along the series' lines."""
    walked = made.rows is not None
    lines = {e.edge_id: nothing_seen(e) if walked else grass_line(t, e) for t, e in zip(made.tables, made.edges)}
    return Grass(lines, made.sideways_m, float(made.base_noise.horizontal_m), walked)


def grass_rows(layout: Layout, seen: dict[str, Grass], base: str) -> list[dict]:
    """Rows of grass_edge.csv, surveys oldest first.

    Against the edge as given the baseline's own place counts, on which every survey was laid; between two dates only what
    laying them on each other leaves.
    """
    out = []
    for edge in layout.edges:
        before: dict[str, str] = {}
        for name, mine in seen.items():
            line = mine.lines.get(edge.edge_id)
            if line is None:
                continue
            place = float(np.hypot(mine.horizontal_m, mine.sideways_m))
            held = against_edge(line, edge, place)
            line_off, whole_off = (LAYOUT_OFF_M, LAYOUT_OFF_M) if edge.source == "layout" else (DRAWN_OFF_M, DRAWN_WHOLE_M)
            last = before.get(edge.edge_id, "")
            gone = {
                "last": _since(seen, last, name, edge.edge_id), "baseline": _since(seen, base, name, edge.edge_id) if base != name else None,
            }  # fmt: skip
            apart = _apart(line, edge) if edge.source == "layout" and not held.whole.reason else ""
            parts = [held.whole, *held.segments]
            for part in parts:
                row = _row(part, held, mine, whole_off if part.station_m is None else line_off) | _place(edge, part.station_m)
                if part.station_m is None and apart:
                    row["reason"] = apart
                for word, found in gone.items():
                    row |= _gone(word, found, part.station_m)
                out.append({"survey_id": name, "last_survey": last or None, **row})
            if line.told_by:
                before[edge.edge_id] = name
    return out


def _apart(line: GrassLine, edge: Edge) -> str:
    """A sentence where a layout's edge stands off as a whole: that is no encroachment, the edge was built elsewhere."""
    east, north, before, after = moved_as_one(line, edge)
    if not (before > APART_M and after < before / 2):
        return ""
    away = float(np.hypot(east, north)) * 1000
    return f"the layout's edge stands off as a whole by some {away:.0f} mm, its centre is another one: draw it with the role grass_edge"


def _place(edge: Edge, station_m: float | None) -> dict:
    if station_m is None:
        return {"e": NAN, "n": NAN}
    e, n = edge.at(np.array(min(station_m, edge.length_m)))
    return {"e": float(e), "n": float(n)}


def _since(seen: dict[str, Grass], earlier: str, later: str, edge_id: str) -> Encroachment | None:
    a, b = seen.get(earlier), seen[later]
    if a is None or edge_id not in a.lines or not a.lines[edge_id].told_by or not b.lines[edge_id].told_by:
        return None
    return since(a.lines[edge_id], b.lines[edge_id], float(np.hypot(a.sideways_m, b.sideways_m)))


def _row(part: Stretch, held: Encroachment, mine: Grass, off_m: float) -> dict:
    return {
        "edge_id": part.edge_id, "station_m": part.station_m, "encroached_mm": part.encroached_m * 1000,
        "encroached_sigma_mm": float(np.hypot(part.sigma_m, off_m)) * 1000, "skin_lost_m2": part.skin_lost_m2, "against": held.against,
        "told_by": held.told_by or NOT_SEEN, "seen_m": part.seen_m, "reason": WALKED if mine.walked else part.reason,
    }  # fmt: skip


def _gone(word: str, found: Encroachment | None, station_m: float | None) -> dict:
    names = f"since_{word}_mm", f"since_{word}_sigma_mm", f"since_{word}_m2"
    part = None if found is None else found.whole if station_m is None else next((s for s in found.segments if s.station_m == station_m), None)
    values = (NAN,) * 3 if part is None else (part.encroached_m * 1000, part.sigma_m * 1000, part.skin_lost_m2)
    return dict(zip(names, values))


def grass_features(seen: dict[str, Grass], rows: list[dict]) -> list[dict]:
    """The line where the grass begins, in pieces along what was seen, for the layer `grass_edge`."""
    whole = {(r["survey_id"], r["edge_id"]): r for r in rows if r["station_m"] is None}
    out = []
    for name, mine in seen.items():
        for edge_id, line in mine.lines.items():
            e, n = line.places()
            for part in _pieces(line):
                shape = shapely.LineString(np.column_stack([e[part], n[part]]))
                out.append({"survey_id": name, "edge_id": edge_id, "source": "seen", "told_by": line.told_by, "length_m": shape.length,
                            "sigma_mm": float(np.median(line.sigma_m[part])) * 1000,
                            "encroached_mm": whole.get((name, edge_id), {}).get("encroached_mm"), "geometry": shape})  # fmt: skip
    return out


def _pieces(line: GrassLine) -> list[np.ndarray]:
    """Rows of the line that follow each other without a gap, two or more."""
    told = np.flatnonzero(line.seen)
    parts = np.split(told, np.flatnonzero(np.diff(line.station[told]) > 1.5 * STATION_M) + 1) if len(told) else []
    return [p for p in parts if len(p) > 1]
