"""What `tie` leaves of one survey on one field, in files and as the later steps take it up."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import shapely

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.store import arrays
from pipeline.store.where import Where
from pipeline.survey.cells.plants import Plants
from pipeline.survey.edges.edge_table import EdgeTable
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.points import Ground
from pipeline.survey.stable.patches import PatchHeight, footprints
from pipeline.survey.stable.tie import Tie, reference, tie_over_skin
from pipeline.survey.stable.uncertainty import TieOnGrid

TABLE_PARTS = ("z", "n", "green", "intensity", "spread")


@dataclass(frozen=True)
class Surveyed:
    """One survey that was not refused: moved sideways, gridded, not yet tied.

    record  : survey.json
    base    : the baseline's survey id
    z       : height of the ground as surveyed, (ny, nx), m; NaN where nothing was measured or plants stand: what is read
              through leaves is no ground (`elevation.tif` keeps it)
    white   : one s.d. of each cell's own error, (ny, nx), m
    count   : points behind z, uint32
    noise   : error model of its points, as patches and edges meet it
    cell_noise : error model of its raster, as every figure drawn from z meets it
    edges   : the lines the field's whole series is measured along
    line_sigmas : one s.d. of each of them, m
    tables  : this survey along each of them
    heights : patch id -> its height
    base_heights, base_noise : the same of the baseline
    sideways_m : one s.d. of what is left of the sideways shift
    rows    : for a walk its ground points in the order walked, else None
    plants  : where plants stand on the skin
    """

    record: dict
    base: str
    z: np.ndarray
    white: np.ndarray
    count: np.ndarray
    noise: Noise
    cell_noise: Noise
    edges: tuple[Edge, ...]
    line_sigmas: tuple[float, ...]
    tables: tuple[EdgeTable, ...]
    heights: dict[str, PatchHeight]
    base_heights: dict[str, PatchHeight]
    base_noise: Noise
    sideways_m: float
    rows: Ground | None
    plants: Plants

    @property
    def survey_id(self) -> str:
        return self.record["survey_id"]

    @property
    def absolute(self) -> bool:
        return self.record["verdict"] == "absolute"

    def tie(self, layout: Layout) -> Tie:
        """The tie to the baseline, worked out again from the patches."""
        if self.base == self.survey_id:
            return reference(layout.centre)
        return pair_tie(layout, self.base_heights, self.heights, of_difference(self.base_noise, self.noise))

    def tie_on_grid(self, layout: Layout) -> TieOnGrid:
        return TieOnGrid(self.tie(layout), layout.grid)


def pair_tie(layout: Layout, earlier: dict[str, PatchHeight], later: dict[str, PatchHeight], pair: Noise) -> Tie:
    """A later survey tied to an earlier one by the patches that both measured."""
    return tie_over_skin(layout, footprints(layout), earlier, later, pair)


def write(path: str, made: Surveyed) -> None:
    plain = {
        "record": made.record, "base": made.base, "noise": asdict(made.noise), "cell_noise": asdict(made.cell_noise), "base_noise": asdict(made.base_noise),
        "edges": [{"edge_id": e.edge_id, "line": shapely.to_wkb(e.line, hex=True), "grass_left": e.grass_left, "source": e.source} for e in made.edges],
        "heights": [asdict(h) for h in made.heights.values()], "base_heights": [asdict(h) for h in made.base_heights.values()],
        "sideways_m": made.sideways_m, "line_sigmas": made.line_sigmas, "tables": [],
    }  # fmt: skip
    plain["plants"] = {"told_by": made.plants.told_by, "least_cover": made.plants.least_cover, "hidden_m": made.plants.hidden_m}
    columns = {"plants": made.plants.classes, "plants_asked": made.plants.asked, "z": made.z, "white": made.white.astype(np.float32), "count": made.count}
    for i, table in enumerate(made.tables):
        plain["tables"].append(table.edge_id)
        columns |= {f"table{i}_s": table.s, f"table{i}_d": table.d, f"table{i}_usable": table.usable}
        columns |= {f"table{i}_{p}": getattr(table, p) for p in TABLE_PARTS if getattr(table, p) is not None}
    if made.rows is not None:
        columns |= {"rows_x": made.rows.x, "rows_y": made.rows.y, "rows_z": made.rows.z, "rows_z0": np.float64(made.rows.z0)}
    arrays.write(path, plain, **columns)


def write_refused(path: str, record: dict) -> None:
    arrays.write(path, {"record": record})


def read(where: Where, layout: Layout, survey_id: str) -> Surveyed | None:
    """A survey as `tie` left it; None where it was refused."""
    path = where.tied(layout.field_id, survey_id)
    plain = arrays.read_record(path)
    if plain["record"]["verdict"] == "refused":
        return None
    columns = arrays.read(path)
    tables = tuple(_table(edge_id, i, columns) for i, edge_id in enumerate(plain["tables"]))
    rows = None
    if "rows_x" in columns:
        rows = Ground(layout.grid.west, layout.grid.south, float(columns["rows_z0"]), *(columns[f"rows_{a}"] for a in "xyz"))
    return Surveyed(
        plain["record"], plain["base"], columns["z"], columns["white"].astype(float), columns["count"], _noise(plain["noise"]), _noise(plain["cell_noise"]),
        _edges(plain["edges"]), tuple(plain["line_sigmas"]), tables, _heights(plain["heights"]), _heights(plain["base_heights"]),
        _noise(plain["base_noise"]), plain["sideways_m"], rows, _plants(plain["plants"], columns),
    )  # fmt: skip


def _plants(plain: dict, columns: dict) -> Plants:
    least = plain["least_cover"]
    return Plants(plain["told_by"], columns["plants"], columns["plants_asked"], float("nan") if least is None else least, plain["hidden_m"])


def read_record(where: Where, field_id: str, survey_id: str) -> dict:
    """survey.json of one survey, refused or not."""
    return arrays.read_record(where.tied(field_id, survey_id))["record"]


def edges_used(where: Where, layout: Layout, kept: list[str]) -> tuple[Edge, ...]:
    """The edges as the series uses them: drawn ones as drawn, others laid onto the baseline's grass; `kept`: surveys not refused."""
    return _edges(arrays.read_record(where.tied(layout.field_id, kept[-1]))["edges"]) if kept else layout.edges


def _edges(plain: list[dict]) -> tuple[Edge, ...]:
    return tuple(Edge(e["edge_id"], shapely.from_wkb(e["line"]), e["grass_left"], e["source"]) for e in plain)


def _table(edge_id: str, i: int, columns: dict) -> EdgeTable:
    parts = {p: columns.get(f"table{i}_{p}") for p in TABLE_PARTS}
    return EdgeTable(edge_id, columns[f"table{i}_s"], columns[f"table{i}_d"], usable=columns[f"table{i}_usable"], **parts)


def _noise(plain: dict) -> Noise:
    return Noise(**{**plain, "parts": tuple(tuple(p) for p in plain["parts"])})


def _heights(plain: list[dict]) -> dict[str, PatchHeight]:
    return {h["patch_id"]: PatchHeight(**{k: float("nan") if v is None else v for k, v in h.items()}) for h in plain}
