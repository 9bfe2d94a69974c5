"""Where a row that the crew wrote says it is, held against its field: edges, declared places, the ground itself."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from pipeline.diamond.cores import read_problems
from pipeline.diamond.layout import Layout
from pipeline.errors import Problem, did_you_mean
from pipeline.tables import Read

FAR_M = 200.0  # from the skin: further than any fence (ours)
SLACK_M = 0.5  # a tape along an edge runs out a little further than the edge itself


@dataclass(frozen=True)
class Ground:
    """A field's layout, and metres in a unit of the coordinates that its readings are written in."""

    layout: Layout
    crs_m: float

    @property
    def places(self) -> dict[str, str]:
        """Every name a person may use for a place -> its id: declared places, zones and grass edges."""
        layout = self.layout
        out = {z: z for z in layout.zones} | {e.edge_id: e.edge_id for e in layout.edges}
        for place in layout.places:
            out |= {place.place_id: place.place_id, place.near.lower(): place.place_id}
        return out


def place_problems(file: str, table: str, row: Read, ground: Ground) -> list[Problem]:
    """What is wrong with where a reading was taken; works and walks say it in words of their own."""
    if table != "readings":
        return []
    edges = {e.edge_id: e for e in ground.layout.edges}
    out: list[Problem] = []
    if "edge_id" in row.values and row["edge_id"] not in edges:
        out.append(Problem(file, row.row, "edge_id", repr(row["edge_id"][:60]), "an edge of this field: " + (", ".join(edges) or "it has none"), f"Name one of these.{did_you_mean(row['edge_id'][:60], edges)}", code="unknown-edge"))
    elif "edge_id" in row.values and row.get("station_m", 0.0) > edges[row["edge_id"]].length_m + SLACK_M:
        out.append(Problem(file, row.row, "station_m", f"{row['station_m']:g}", f"at most {edges[row['edge_id']].length_m:.1f}, the length of the edge, m", "Check the figure: metres along the edge.", code="beyond-the-edge"))
    if ("e" in row.values) != ("n" in row.values):
        column = "n" if "e" in row.values else "e"
        out.append(Problem(file, row.row, column, "nothing", "both e and n, or neither", f"Fill in {column}.", code="half-a-place"))
    elif "e" in row.values:
        away = ground.layout.skin.distance(shapely.Point(row["e"] * ground.crs_m, row["n"] * ground.crs_m))
        if not away <= FAR_M:
            out.append(Problem(file, row.row, "e", f"a place {away:,.0f} m off the skin", f"at most {FAR_M:g} m", "Give e and n in the field's own `crs`, or name a place.", code="place-off-skin"))
    if row.get("kind") == "mix_depth" and row.get("unit") is not None:
        out += read_problems(file, [row], ground.layout.places, ground.layout.skin, ground.crs_m)
    if row.get("kind") == "seen" and "e" not in row.values and "edge_id" not in row.values:
        out += _seen_where(file, row, ground)
    return out


def _seen_where(file: str, row: Read, ground: Ground) -> list[Problem]:
    """What was seen without coordinates must be at a place that has a name."""
    said, names = row.get("place", ""), ground.places
    if said.strip().lower() in names:
        return []
    found = repr(said[:60]) if said else "nothing"
    listed = ", ".join(sorted(set(names.values())))
    return [Problem(file, row.row, "place", found, f"a place of this field: {listed}; or e and n", f"Say where it was seen.{did_you_mean(said[:60], names)}", code="unknown-place")]
