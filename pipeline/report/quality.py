"""How sure: every survey with its verdict, the tie to stable ground, checkpoints, edges, tolerances, versions."""

from __future__ import annotations

from typing import Sequence

import numpy as np

from pipeline.owner import Tolerances
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, figure, limit, printed
from pipeline.report.residual_chart import residual_chart
from pipeline.report.saying import Sayer
from pipeline.report.words import opened

SHORT_SUM = 12
SHOWN_MM = 0.5  # a surface that a moved patch carries off by less is not spoken of
# The limits that this page holds figures against.
HELD = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm", "straightedge_mm", "slope_min_pct", "slope_max_pct",
        "mix_depth_min_mm", "encroachment_mm", "base_distance_mm", "plate_level_mm", "mound_height_mm", "base_line_pct")  # fmt: skip


def survey_rows(quality: Sequence[dict], records: dict[str, dict], sayer: Sayer) -> list[tuple[str, ...]]:
    """A row for each survey, newest first: day and source, what it may be used for, cover, tie, residual, cell, checkpoints."""
    words = sayer.words
    out = []
    for row in sorted(quality, key=lambda r: (r["flown_on"], r["survey_id"]), reverse=True):
        record = records.get(row["survey_id"], {})
        day, use = words.date(row["flown_on"]), words(f"survey_{row['verdict']}")
        out.append((
            words("day_source", day=day, source=words(f"source_{record['source']}")) if record else day,
            words("use_why", use=use, why=words.told(row["reason"])) if row["reason"] and row["verdict"] != "absolute" else use,
            "" if row["covered_pct"] is None else f"{printed(row['covered_pct'], 0)}{NBSP}%",
            "" if row["verdict"] == "relative_only" else _tie(row, sayer), sayer.height(row["tie_residual_mm"]),
            "" if row["surface_sigma_mm"] is None else f"{PLUS_MINUS}{NBSP}{sayer.height(Z95 * row['surface_sigma_mm'])}",
            _checkpoints(row, sayer),
        ))  # fmt: skip
    return out


def _tie(row: dict, sayer: Sayer) -> str:
    if row["tie_model"] == "reference":
        return sayer.words("tie_reference")
    return sayer.height(row["tie_shift_mm"], row["tie_shift_sigma_mm"], signed=True)


def _checkpoints(row: dict, sayer: Sayer) -> str:
    if not row["checkpoints"]:
        return ""
    return sayer.words("checkpoint_cell", number=row["checkpoints"], mean=sayer.height(row["checkpoint_mean_mm"], signed=True),
                       rmse=sayer.height(row["checkpoint_rmse_mm"]))  # fmt: skip


def checkpoint_notes(records: dict[str, dict], sayer: Sayer) -> list[str]:
    """What the checkpoints of each survey prove: the plain figures, each standard's form under its name, points against those asked."""
    out = []
    for record in records.values():
        figures = record.get("figures") or {}
        if figures.get("checkpoints"):
            out.append(" ".join(_proved(record["flown_on"], figures, sayer)))
    return out or [sayer.words("checkpoints_none")]


def _proved(flown_on: str, figures: dict, sayer: Sayer) -> list[str]:
    words, number, day = sayer.words, figures["checkpoints"], sayer.words.date(flown_on)
    if number == 1:
        out = [words("checkpoints_one", day=day, mean=sayer.height(figures["checkpoint_mean_mm"], signed=True))]
    else:
        mean = sayer.height(figures["checkpoint_mean_mm"], figures["checkpoint_sd_mm"] / np.sqrt(number), signed=True)
        out = [words("checkpoints_prove", day=day, number=number, mean=mean, sd=sayer.height(figures["checkpoint_sd_mm"]),
                     rmse=sayer.height(figures["checkpoint_rmse_mm"]))]  # fmt: skip
    out.append(words("checkpoints_nssda", value=sayer.height(figures["checkpoint_nssda_95_mm"]), number=number, asked=figures["checkpoints_asked_1998"]))
    asked = figures["checkpoints_asked_2023"]
    if figures["checkpoint_rmse_v_mm"] is None:
        out.append(words("checkpoints_asprs_unknown", number=number, asked=asked))
    else:
        out.append(words("checkpoints_asprs", value=sayer.height(figures["checkpoint_rmse_v_mm"]), own=sayer.height(figures["checkpoint_sigma_mm"]),
                         number=number, asked=asked))  # fmt: skip
    if not figures["checkpoint_enough_2023"]:
        out.append(words("checkpoints_few"))
    if figures["checkpoint_biased"]:
        out.append(words("checkpoints_biased"))
    return out


def patch_words(patch_id: str, sayer: Sayer) -> str:
    """A patch of stable ground: the plates by their names, drawn ones as drawn."""
    return sayer.words(f"patch_{patch_id}") if sayer.words.knows(f"patch_{patch_id}") else patch_id.replace("-", " ")


def moved_over_all(moved: Sequence[dict], records: dict[str, dict], sayer: Sayer) -> list[str]:
    """The patches that all surveys together show to have moved: how much, since when, what it did to the surfaces.

    moved : `moved_patches` of provenance.json
    """
    words, out = sayer.words, []

    def day(survey: str) -> str:
        return words.date(records[survey]["flown_on"])

    for m in moved:
        way, name, since = "up" if m["moved_mm"] > 0 else "down", opened(patch_words(m["patch_id"], sayer)), day(m["since"])
        height = sayer.height(abs(m["moved_mm"]), m["sigma_mm"])
        text = [words(f"slab_drift_{way}" if m["form"] == "drift" else f"slab_step_{way}", patch=name, height=height, day=since)]
        if m["earliest"] != m["latest"]:
            text.append(words("slab_days", earliest=day(m["earliest"]), latest=day(m["latest"])))
        text.append(words("slab_left_out"))
        off = [words("slab_off", height=sayer.height(s["skin_mm"], signed=True), day=day(s["survey_id"])) for s in m["surveys"] if abs(s["skin_mm"]) >= SHOWN_MM]
        if off:
            text.append(words("slab_carried", off=words.listed(off)))
        out.append(" ".join(text))
    return out


def residuals(record: dict, name: str, title: str, about: str, sayer: Sayer) -> str:
    """The residuals of one tie as a drawing; empty where nothing was left out and tried."""
    patches = [
        (patch_words(p["id"], sayer), p["residual_mm"], p["expected_mm"], p["used"])
        for p in record["patches"] if p["residual_mm"] is not None and p["expected_mm"] is not None
    ]  # fmt: skip
    return residual_chart(name, patches, sayer.units, title, about) if patches else ""


def residual_table(records: dict[str, dict], sayer: Sayer) -> tuple[list[str], list[tuple[str, ...]]]:
    """Dates, and for each patch its residual at each of them: a slab that rises shows over the dates."""
    tied = [r for r in records.values() if (r.get("tie") or {}).get("patches")]
    ids = list(dict.fromkeys(p["id"] for r in tied for p in r["tie"]["patches"]))
    rows = []
    for patch in ids:
        cells = []
        for record in tied:
            found = next((p for p in record["tie"]["patches"] if p["id"] == patch), None)
            cells.append(_residual(found, sayer))
        rows.append((patch_words(patch, sayer), *cells))
    return [sayer.words.date(r["flown_on"]) for r in tied], rows


def _residual(patch: dict | None, sayer: Sayer) -> str:
    if patch is None or patch["residual_mm"] is None:
        return ""
    text = figure(patch["residual_mm"], patch["expected_mm"], sayer.units.height, signed=True)
    return text if patch["used"] else f"{text} ({sayer.words('moved')})"


def sideways(record: dict, sayer: Sayer) -> str:
    """How far the survey was laid sideways onto the baseline's edges."""
    shift = record.get("horizontal")
    if not shift:
        return ""
    if record.get("baseline") == record["survey_id"]:
        return sayer.words("sideways_baseline")
    if not shift["known"]:
        return sayer.words("sideways_unknown", reason=sayer.words.told(shift["reason"]), half=sayer.height(Z95 * shift["sigma_mm"]))
    return sayer.words("sideways", e=sayer.height(shift["e_mm"], shift["sigma_mm"], signed=True),
                       n=sayer.height(shift["n_mm"], shift["sigma_mm"], signed=True))  # fmt: skip


def edge_lines(record: dict, sayer: Sayer) -> str:
    """Where the lines come from that the grass edges are measured along."""
    by_source: dict[str, list[str]] = {}
    for edge in record.get("edges", ()):
        by_source.setdefault(edge["source"], []).append(sayer.placing.edge(edge["id"]))
    return " ".join(sayer.words(f"edges_{s}", edges=sayer.words.listed(names)) for s, names in sorted(by_source.items()))


def tolerance_rows(tolerances: Tolerances, field_id: str, sayer: Sayer) -> list[tuple[str, str, str]]:
    """Each limit of this page that is set: what, how much, who and when."""
    owned = {name: getattr(tolerances, name) for name in HELD}
    return [
        (sayer.words(f"tolerance_{name}"), _limit(name, o.of(field_id), sayer), sayer.words("by_on", who=o.set_by, on=sayer.words.date(o.set_on)))
        for name, o in owned.items() if o is not None
    ]  # fmt: skip


def _limit(name: str, value: float, sayer: Sayer) -> str:
    return f"{value:g}{NBSP}%" if name.endswith("_pct") else limit(value, sayer.units.height)


def inputs(provenance: dict) -> list[tuple[str, str, str]]:
    """Survey, file and the start of its checksum."""
    return [(s, i["path"], i["sha256"][:SHORT_SUM]) for s, found in provenance["inputs"].items() for i in found]
