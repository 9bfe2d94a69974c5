"""survey.json: what became of one survey of one field, and what it was made with."""

from __future__ import annotations

import numpy as np

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.errors import REFUSALS, RELATIVE, Refused
from pipeline.jobs import Job
from pipeline.steps.checked import left_out
from pipeline.steps.gridded import Survey
from pipeline.steps.surveyed import Surveyed, pair_tie
from pipeline.store.provenance import versions
from pipeline.survey.cells.plants import Plants
from pipeline.survey.edges.horizontal import Shift
from pipeline.survey.noise import of_difference
from pipeline.survey.stable.checkpoints import MIN_1998, MIN_2023, Accuracy
from pipeline.survey.stable.tie import Tie


def comparable(layout: Layout, made: Surveyed, tie: Tie) -> tuple[str, ...]:
    """Why only the shape of this survey can be compared. The baseline is everybody's zero, but where its stable ground would
    not carry a second survey like it, no height will ever be compared with its own."""
    if tie.model != "reference":
        return tie.codes
    return pair_tie(layout, made.heights, made.heights, of_difference(made.noise, made.noise)).codes


def refusal(job: Job, found: dict, refused: Refused) -> dict:
    """The record of a survey that cannot be used."""
    return {
        **_who(job, found), "verdict": "refused", "reason_code": refused.code, "reason": refused.reason, "meaning": REFUSALS[refused.code],
        "removed": found.get("removed", {}), "notes": found.get("notes", []),
    }  # fmt: skip


def tied(job: Job, layout: Layout, mine: Survey, made: Surveyed, tie: Tie, shift: Shift, sigma: np.ndarray, checked: Accuracy) -> dict:
    """The record of a survey that was tied, or can be read relative to itself."""
    skin = layout.grid.mask(layout.skin)
    on_skin = sigma[skin & np.isfinite(sigma)]
    drift, covariance = tie.drift()
    found, codes = mine.record, comparable(layout, made, tie)
    return {
        **_who(job, found),
        "baseline": made.base,
        "verdict": "relative_only" if codes else "absolute",
        "reason_code": codes[0] if codes else "",
        "reason": "; ".join(RELATIVE[code] for code in codes),
        "tie": {
            "model": tie.model,
            "patches": [
                {"id": v.patch_id, "misfit_mm": v.misfit_m * 1000, "residual_mm": v.residual_m * 1000, "expected_mm": v.expected_m * 1000, "used": v.used}
                for v in tie.verdicts
            ],
            "covariance": covariance,
            "drift_m": drift,
            "misfit_q": tie.misfit_q,
            "moved": tie.moved,
        },
        "horizontal": {"e_mm": shift.e_m * 1000, "n_mm": shift.n_m * 1000, "sigma_mm": shift.sigma_m * 1000, "known": shift.known, "reason": shift.reason},
        "removed": found["removed"],
        "notes": [*found["notes"], *left_out(job, mine), *edge_notes(made.edges, found["source"])],
        "edges": [{"id": e.edge_id, "source": e.source} for e in made.edges],
        "height_reference": found["height_reference"],
        "plants": plants_record(made.plants),
        "figures": {
            "points_read": found["points_read"],
            "points_ground": found["points_ground"],
            "covered_pct": 100 * float(np.isfinite(made.z[skin]).mean()),
            "points_median": found["points_median"],
            "white_point_mm": found["white_point_m"] * 1000,
            **({"walk_drift_mm": found["drift_m"] * 1000} if "drift_m" in found else {}),
            "tie_shift_mm": tie.shift_m * 1000,
            "tie_shift_sigma_mm": tie.shift_sigma_m * 1000,
            "tie_residual_mm": tie.residual_m * 1000,
            "surface_sigma_mm": float(np.median(on_skin)) * 1000 if len(on_skin) else float("nan"),
            "checkpoints": checked.count,
            "checkpoint_mean_mm": checked.mean_m * 1000,
            "checkpoint_sd_mm": checked.sd_m * 1000,
            "checkpoint_rmse_mm": checked.rmse_m * 1000,
            "checkpoint_sigma_mm": checked.checkpoint_sigma_m * 1000,
            "checkpoint_biased": checked.biased if checked.count else None,
            "checkpoint_nssda_95_mm": checked.nssda_95_m * 1000,
            "checkpoint_rmse_v_mm": checked.rmse_v_m * 1000,
            "checkpoint_enough_1998": checked.enough_1998,
            "checkpoint_enough_2023": checked.enough_2023,
            "checkpoints_asked_1998": MIN_1998,
            "checkpoints_asked_2023": MIN_2023,
        },
    }  # fmt: skip


def plants_record(plants: Plants) -> dict:
    """What tells plants on the skin, their share of all of it with its 95 % bracket, %, and what would not be seen."""
    share, low, high = plants.share(plants.asked)
    return {
        "told_by": plants.told_by, "covered_pct": 100 * share, "covered_low95_pct": 100 * low, "covered_high95_pct": 100 * high,
        "least_cover_pct": 100 * plants.least_cover, "hidden_mm": plants.hidden_m * 1000,
    }  # fmt: skip


def edge_notes(edges: tuple[Edge, ...], source: str) -> list[str]:
    """A sentence for the operator where the layout's edges could not be found in the baseline's points."""
    missed = [e.edge_id for e in edges if e.source == "layout"]
    if not missed or source == "rover":
        return []
    if len(missed) == len(edges):
        return ["No grass was found to begin along any edge of the layout: are home plate and second base swapped, or is the layout another "
                "one? No lip is told until the edges are seen, or drawn with the role grass_edge."]  # fmt: skip
    return [f"No grass was found to begin along {', '.join(missed)}: no lip is told there until the edge is seen, or drawn with the role grass_edge."]


def _who(job: Job, found: dict) -> dict:
    row = job.survey_row
    return {
        "survey_id": job.survey, "field_id": job.field, "flown_on": row["flown_on"], "source": row["source"], "purpose": row.get("purpose", "routine"),
        "surface_state": list(row.get("surface_state", ())), "inputs": found.get("inputs", []), "settings": job.handed, "versions": versions(),
    }  # fmt: skip
