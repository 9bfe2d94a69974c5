"""measure: lip, low spots, water, zones, rulebook items and depth of mix of one survey of one field."""

from __future__ import annotations

import hashlib

import numpy as np

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.steps import measure_mix, surveyed
from pipeline.steps.measure_lip import lips
from pipeline.steps.measure_rules import rules_checked
from pipeline.steps.measure_water import water
from pipeline.steps.measure_zones import string_places, zones
from pipeline.steps.spot_given import spot_input
from pipeline.store import arrays, rasters, records
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.surface.covered import closed, without_covered
from pipeline.surface.spots import LowSpots, low_spots


def run(job: Job, where: Where) -> None:
    """Write the survey's rows of lip, low spots, zones, rulebook items and mix, which cells the found ponds cover, and the
    rasters of water and mix."""
    layout = from_plain(records.read(where.layout(job.field)))
    made = surveyed.read(where, layout, job.survey)
    path = where.measured(job.field, job.survey)
    if made is None:
        empty = ("lip", "low_spots", "zones", "rulebook", "ponds", "mix_depth", "cores", "cores_wanted")
        with replacing_folder(where.surface(job.field, job.survey)):
            arrays.write(path, {name: [] for name in empty})
        return
    given = spot_input(job, layout, made)
    found = low_spots(given, rng(job, "spots"), job.settings.measure.error_fields)
    wet = water(job, layout, made, given, found, rng(job, "water"))
    shares = {name: made.plants.share(layout.grid.mask(polygon))[0] for name, polygon in layout.zones.items()}
    spots = without_covered(found.spots, shares)
    rows = [_spot_row(s) | ({} if closed(shares.get(s.low_spot_id, 0.0)) else wet.of[s.low_spot_id]) for s in spots]
    lip, readings_wanted = lips(job, layout, made)
    mix = measure_mix.mix_of(job, layout, rng(job, "mix"))
    record = {
        "lip": lip,
        "readings_wanted": readings_wanted,
        "low_spots": rows,
        "zones": zones(job, layout, made, given, rows, rng(job, "zones")),
        "rulebook": rules_checked(job, layout, made),
        "ponds": list(found.cells),
        "unlisted_ponds": found.unlisted,
        "mix_depth": mix.rows,
        "cores": mix.cores,
        "cores_wanted": mix.wanted,
        "paths": wet.paths,
        "string_places": string_places(job, given),
    }
    tags = {"inputs": ", ".join(i["sha256"] for i in made.record["inputs"])}
    with replacing_folder(where.surface(job.field, job.survey)) as folder:
        rasters.write(folder / "pond_depth.tif", "pond_depth", found.ponding.depth, layout.grid, tags)
        measure_mix.write(folder, job, layout, mix)
        arrays.write(path, record, standing=wet.depth.astype(np.float32), **_cells(found))


def rng(job: Job, what: str) -> np.random.Generator:
    """A generator of this job's own: the same draws whatever ran before it and on how many cores."""
    name = f"{job.settings.random_seed}/{job.field}/{job.survey}/{what}".encode()
    return np.random.default_rng(int.from_bytes(hashlib.sha256(name).digest()[:8], "big"))


def _cells(found: LowSpots) -> dict[str, np.ndarray]:
    return {f"cells_{name}": cells for name, cells in found.cells.items()}


def _spot_row(spot) -> dict:
    names = ("low_spot_id", "near", "e", "n", "depth_mm", "depth_sigma_mm", "ring_depth_mm", "ring_depth_sigma_mm", "pond_depth_mm",
             "pond_depth_sigma_mm", "plane_depth_mm", "plane_depth_sigma_mm", "area_m2", "volume_m3", "volume_sigma_m3", "ponded_m3",
             "fill_tonnes", "fill_tonnes_low", "fill_tonnes_high", "fill_loose_m3", "tolerance_mm", "probability", "evidence", "reason")  # fmt: skip
    return {n: getattr(spot, n) for n in names}
