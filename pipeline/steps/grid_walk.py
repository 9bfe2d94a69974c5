"""grid, for a rover's walk: rows cleaned, stretches that crossings show to be off left out, in the order walked."""

from __future__ import annotations

import numpy as np

from pipeline.coordinates import lon_lat, read_crs
from pipeline.diamond.layout import Layout
from pipeline.errors import Refused
from pipeline.steps.reading import stated
from pipeline.store.points import open_points, read_walk
from pipeline.survey.cells.cover import Cover, check_cover
from pipeline.survey.noise import ROVER
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import check_heights, resolve
from pipeline.survey.reading.whereabouts import require_on_field
from pipeline.survey.walks.crossings import crossings
from pipeline.survey.walks.tin import tin_raster
from pipeline.survey.walks.walk import to_ground, to_working, white_noise
from pipeline.survey.walks.walk_clean import Cleaned, clean
from pipeline.survey.walks.walk_drift import walk_drift
from pipeline.tables import Read

NOTED_DRIFT = 1.5  # times the usual drift from which on a walk's page says so


def walked(paths: list[str], row: Read, layout: Layout, skin: np.ndarray, least_share: float) -> tuple[dict, dict]:
    """The record and arrays of a walk on one field. Raises Refused."""
    if len(paths) != 1:
        raise Refused("unreadable", f"found {len(paths)} files behind {row['path']}; expected one file a walk. Give each walk a row of its own.")
    facts = open_points(paths[0]).facts
    grid = layout.grid
    reference = resolve(facts, stated(row), grid.crs, lon_lat(read_crs(grid.crs), *layout.centre))
    require_on_field(facts, reference, grid)
    cleaned = clean(to_working(read_walk(paths[0]), fit(reference, grid)))
    white = white_noise(cleaned.walk)
    measuring, removed, notes = _measuring(cleaned, white)
    ground = to_ground(measuring, grid)
    drift = walk_drift(measuring, white)
    raster = tin_raster(ground, grid, white, ROVER.drifting(drift.sd_m))
    seen = np.isfinite(raster.surface.z) & skin
    share = float(seen.sum() / max(skin.sum(), 1))
    check_cover(Cover(share, share, float("nan"), float("nan")), grid.cell_m, least_share, 0.0)
    check_heights(float(raster.surface.z[seen].min()), float(raster.surface.z[seen].max()), reference)
    if not cleaned.says_quality:
        notes.append("The file does not say which rows had a fixed position: all were taken.")
    if drift.sd_m > NOTED_DRIFT * ROVER.parts[0][0]:
        notes.append(f"Where the walk crosses itself, its height differs more than rows explain: it wandered by some {drift.sd_m * 1000:.0f} mm "
                     f"({ROVER.parts[0][0] * 1000:.0f} are usual). Every range here is that much wider.")  # fmt: skip
    record = {
        "verdict": "ok", "source": row["source"], "z_factor": reference.z_factor, "height_reference": reference.height_reference,
        "sideways_m": reference.sideways_m, "notes": [*reference.notes, *notes], "covered_share": share,
        "points_median": float("nan"), "points_read": cleaned.rows_read, "points_ground": len(ground), "removed": removed,
        "white_point_m": white if np.isfinite(white) else ROVER.white_m, "drift_m": drift.sd_m, "steep_share": float("nan"), "steps_m": [float("nan")] * 3,
    }  # fmt: skip
    return record, {"x": ground.x, "y": ground.y, "z": ground.z, "z0": np.float64(ground.z0)}


def _measuring(cleaned: Cleaned, white_m: float):
    """The rows whose stretch agrees with what crosses it; reasons of removal; sentences on the others."""
    met = crossings([cleaned], [white_m])
    kept = met.measures(0)
    removed = dict(cleaned.removed)
    if not kept.all():
        removed["stretch_off"] = int((~kept).sum())
    notes = []
    for stretch in met.named():
        rows = f"rows {stretch.first_row} to {stretch.last_row}"
        fate = "left out" if stretch.verdict == "off" else "kept, since nobody can tell which of the crossing stretches is right"
        notes.append(f"Receiver {stretch.receiver}, {rows}: {stretch.offset_m * 1000:+.0f} mm (+/- {1.96 * stretch.sigma_m * 1000:.0f}) "
                     f"off what crosses it; {fate}.")  # fmt: skip
    return cleaned.walk.take(kept), removed, notes
