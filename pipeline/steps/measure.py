"""measure: lip, low spots and zones of one survey of one field."""

from __future__ import annotations

import hashlib

import numpy as np

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.steps import surveyed
from pipeline.steps.measure_lip import lips
from pipeline.steps.measure_zones import zones
from pipeline.steps.spot_given import spot_input
from pipeline.store import arrays, records
from pipeline.store.where import Where
from pipeline.surface.covered import without_covered
from pipeline.surface.spots import LowSpots, low_spots


def run(job: Job, where: Where) -> None:
    """Write the survey's rows of lip, low spots and zones, and which cells the found ponds cover."""
    layout = from_plain(records.read(where.layout(job.field)))
    made = surveyed.read(where, layout, job.survey)
    path = where.measured(job.field, job.survey)
    if made is None:
        arrays.write(path, {"lip": [], "low_spots": [], "zones": [], "ponds": []})
        return
    given = spot_input(job, layout, made)
    found = low_spots(given, rng(job, "spots"), job.settings.measure.error_fields)
    shares = {name: made.plants.share(layout.grid.mask(polygon))[0] for name, polygon in layout.zones.items()}
    rows = [_spot_row(s) for s in without_covered(found.spots, shares)]
    lip, readings_wanted = lips(job, layout, made)
    record = {
        "lip": lip,
        "readings_wanted": readings_wanted,
        "low_spots": rows,
        "zones": zones(job, layout, made, given, rows, rng(job, "zones")),
        "ponds": list(found.cells),
        "unlisted_ponds": found.unlisted,
    }
    arrays.write(path, record, pond_depth=found.ponding.depth.astype(np.float32), **_cells(found))


def rng(job: Job, what: str) -> np.random.Generator:
    """A generator of this job's own: the same draws whatever ran before it and on how many cores."""
    name = f"{job.settings.random_seed}/{job.field}/{job.survey}/{what}".encode()
    return np.random.default_rng(int.from_bytes(hashlib.sha256(name).digest()[:8], "big"))


def _cells(found: LowSpots) -> dict[str, np.ndarray]:
    return {f"cells_{name}": cells for name, cells in found.cells.items()}


def _spot_row(spot) -> dict:
    names = ("low_spot_id", "near", "e", "n", "depth_mm", "depth_sigma_mm", "ring_depth_mm", "ring_depth_sigma_mm", "pond_depth_mm",
             "pond_depth_sigma_mm", "plane_depth_mm", "plane_depth_sigma_mm", "area_m2", "volume_m3", "volume_sigma_m3", "ponded_m3",
             "fill_tonnes", "tolerance_mm", "probability", "evidence", "reason")  # fmt: skip
    return {n: getattr(spot, n) for n in names}
