"""change: every pair of one field's surveys: map, zones, lip growth, low spots, where the mix went."""

from __future__ import annotations

import numpy as np

from pipeline.change.difference import Change, direct_tie_step, relative_change, tied_change
from pipeline.change.pairs import Dated, pairs
from pipeline.change.zones import zone_changes
from pipeline.diamond.carry import from_plain
from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps import surveyed
from pipeline.steps.change_balance import balance_row
from pipeline.steps.change_lip import growths
from pipeline.steps.change_noise import pair_noises
from pipeline.steps.change_patches import moved_ground, moved_records, without
from pipeline.steps.change_spots import spot_changes
from pipeline.steps.surveyed import Surveyed, pair_tie
from pipeline.store import rasters, records
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where
from pipeline.survey.noise import Noise, of_difference
from pipeline.surface.covered import closed
from pipeline.survey.stable.tie import Tie
from pipeline.survey.stable.uncertainty import TieOnGrid


def run(job: Job, where: Where) -> None:
    """Write the folder of change rasters and the rows of change, lip growth, low-spot change and balance."""
    layout = from_plain(records.read(where.layout(job.field)))
    found = [surveyed.read(where, layout, r["survey_id"]) for r in job.rows["surveys"]]
    kept = {s.survey_id: s for s in found if s is not None}
    dated = [Dated(r["survey_id"], r.get("purpose", "routine")) for r in job.rows["surveys"] if r["survey_id"] in kept]
    compared = pairs(dated, next(iter(kept.values())).base) if kept else ()
    zones = {name: layout.grid.mask(polygon) for name, polygon in layout.zones.items()}
    ties = {name: s.tie_on_grid(layout) for name, s in kept.items()}
    noises, ground = pair_noises(job, layout, kept), moved_ground(job, layout, kept)
    grown = growths(job, kept, compared)
    rows, told, balances = [], [], []
    with replacing_folder(where.changes(job.field)) as folder:
        for a, b in compared:
            gone = ground.between(a, b)
            change, tie = difference(layout, kept[a], kept[b], noises.of(a, b), gone)
            step = 0.0 if change.relative else _mean_step(ties[a], ties[b], tie, zones["skin"])
            plants = kept[a].plants, kept[b].plants
            covered = {name: why for name, cells in zones.items() if (why := closed(max((p.share(cells)[0] for p in plants), key=_known)))}
            changed, detected = zone_changes(change, zones, covered, tuple(p.hidden_m for p in plants))
            rows += [_zone_row(a, b, z, step, change.relative) for z in changed]
            balances.append(balance_row(job, layout, kept[a], kept[b], change, grown[a, b].edges))
            told.append({"from_survey": a, "to_survey": b, "relative": change.relative, **_pair_record(tie), "left_out": sorted(gone), "noise": noises.record(a, b)})
            tags = {"earlier": a, "later": b, "relative": str(change.relative).lower()}
            for name, values in (("change", change.dz), ("change_sigma", change.sigma), ("detected", detected)):
                rasters.write(folder / f"{a}--{b}" / f"{name}.tif", name, values, layout.grid, tags)
    records.write(where.changed(job.field), {
        "change": rows, "pairs": told, "moved_patches": moved_records(layout, kept, ground), "lip_change": [r for pair in grown.values() for r in pair.rows],
        "balance": balances, "low_spot_change": spot_changes(job, where, layout, kept, compared),
    })  # fmt: skip


def difference(
    layout: Layout, earlier: Surveyed, later: Surveyed, noise: Noise | None = None, gone: frozenset[str] = frozenset()
) -> tuple[Change, Tie]:
    """Later minus earlier, tied to each other directly; without its skin's plane where that tie cannot carry it.

    noise : of the pair, where the field's own differences showed it; None: as declared
    gone  : patches that moved between the two, as all dates together show
    """
    tie = pair_tie(layout, without(earlier.heights, gone), without(later.heights, gone), noise or of_difference(earlier.noise, later.noise))
    cells = noise or of_difference(earlier.cell_noise, later.cell_noise)
    known = layout.grid, earlier.z, later.z, earlier.white, later.white, cells
    if tie.codes or not (earlier.absolute and later.absolute):
        return relative_change(*known, layout.grid.mask(layout.skin)), tie
    return tied_change(*known, tie), tie


def _known(share: float) -> float:
    """A share for comparing; one that is not known is below all others."""
    return -1.0 if np.isnan(share) else share


def _mean_step(earlier: TieOnGrid, later: TieOnGrid, tie: Tie, skin: np.ndarray) -> float:
    """Mean over the skin of what the pair's change has that the difference of the two elevations has not, mm."""
    return float(direct_tie_step(earlier, later, TieOnGrid(tie, earlier.grid))[skin].mean()) * 1000


def _pair_record(tie: Tie) -> dict:
    return {
        "codes": list(tie.codes), "tie_shift_mm": tie.shift_m * 1000, "tie_shift_sigma_mm": tie.shift_sigma_m * 1000, "moved": list(tie.moved),
        "patches": [{"id": v.patch_id, "residual_mm": v.residual_m * 1000, "expected_mm": v.expected_m * 1000, "used": v.used} for v in tie.verdicts],
    }  # fmt: skip


def _zone_row(a: str, b: str, z, step_mm: float, relative: bool) -> dict:
    return {
        "from_survey": a, "to_survey": b, "zone": z.zone, "mean_mm": z.mean_m * 1000, "mean_sigma_mm": z.mean_sigma_m * 1000,
        "pair_tie_mm": float("nan") if relative else step_mm, "gain_m3": z.gain_m3, "loss_m3": z.loss_m3, "net_m3": z.net_m3,
        "net_sigma_m3": z.net_sigma_m3, "detected_m2": z.detected_m2, "detected": z.detected, "p_holm": z.p_holm, "noise_m3": z.noise_m3,
        "relative": relative, "reason": z.reason,
    }  # fmt: skip
