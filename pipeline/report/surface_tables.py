"""Every figure of one survey, for the reader who has to sign the page."""

from __future__ import annotations

from typing import Sequence

from pipeline.report.figures import NBSP, figure, printed
from pipeline.report.findings import LIP, LOW_SKIN, LOW_SPOT, Shown
from pipeline.report.saying import Sayer
from pipeline.report.words import opened
from pipeline.surface.verdict import UNKNOWN


def low_spots(shown: Shown, sayer: Sayer) -> list[tuple[str, ...]]:
    """Place, depth, ring, pond and plane depth, area, volume, verdict."""
    out = []
    for f in (f for f in shown.findings if f.kind == LOW_SPOT):
        r = f.row
        depths = (figure(r[f"{k}_mm"], r[f"{k}_sigma_mm"], sayer.units.height) for k in ("ring_depth", "pond_depth", "plane_depth"))
        out.append((
            sayer.where(f), *depths, figure(r["area_m2"], None, sayer.units.area), figure(r["volume_m3"], r["volume_sigma_m3"], sayer.units.volume),
            sayer.words(f"verdict_{f.word}"), sayer.words.told(r["reason"] or ""),
        ))  # fmt: skip
    return out


def edges(shown: Shown, sayer: Sayer) -> list[tuple[str, ...]]:
    """Edge, mean height over all of it, highest station of any kind, length of lip, of low skin and of what is neither
    told (of it, what a ruler is asked for), lip over the tolerance, ruler readings; of a walk the mean only."""
    out = []
    for seen in shown.edges:
        mine = [r for r in shown.rows["lip"] if r["edge_id"] == seen.edge_id]
        whole = next((r for r in mine if r["station_m"] is None), None)
        stations = [r for r in mine if r["station_m"] is not None]
        mean = "" if whole is None else sayer.height(whole["height_mm"], whole["height_sigma_mm"])
        told = [r for r in stations if r["height_mm"] is not None]
        if told:
            top = max(told, key=lambda r: r["height_mm"])
            lip, low, neither = (sayer.length(sum(r["kind"] == kind for r in told)) for kind in (LIP, LOW_SKIN, UNKNOWN))
            asked = sum(len(f.stretch.members) for f in shown.of(UNKNOWN) if f.place_id == seen.edge_id and f.stretch is not None)
            along = (
                sayer.height(top["height_mm"], top["height_sigma_mm"]), lip, low, sayer.words("of_it", length=neither, part=sayer.length(asked)) if asked else neither,
                sayer.length(seen.over_m),
            )  # fmt: skip
        else:
            along = (sayer.words("whole_only" if seen.whole and seen.told else "not_measured"), "", "", "", "")
        calibration = sayer.words(f"calibration_short_{mine[0]['calibration'] or 'none'}") if mean or told else ""
        out.append((sayer.placing.edge(seen.edge_id), mean, *along, calibration))
    return out


def zones(shown: Shown, sayer: Sayer) -> list[tuple[str, ...]]:
    """Zone, area, planarity, gap under the straightedge, slope, direction of fall, fall against the limits, verdict."""
    out = []
    for r in sorted(shown.rows["zones"], key=lambda r: (r["zone"] != "skin", r["zone"])):
        gap = "" if r["straightedge_mm"] is None else sayer.words("gap_and_noise", gap=sayer.height(r["straightedge_mm"], r["straightedge_sigma_mm"]),
                                                                  noise=sayer.height(r["straightedge_noise_mm"]))  # fmt: skip
        if r["straightedge_over_pct"] is not None:
            gap += sayer.words("gap_over", **{k: f"{printed(r[f'straightedge_{c}'], 0)}{NBSP}%" for k, c in (("over", "over_pct"), ("noise", "noise_over_pct"))})
        out.append((
            sayer.placing.place(r["zone"]), figure(r["area_m2"], None, sayer.units.area),
            sayer.height(r["planarity_mm"], r["planarity_sigma_mm"]), gap,
            sayer.fall(r["slope_pct"], r["slope_sigma_pct"]),
            "" if r["fall_bearing_deg"] is None else f"{printed(r['fall_bearing_deg'], 0)}\u00b0",
            sayer.words(f"fall_{r['fall_verdict']}") if r["fall_verdict"] else "", sayer.words(f"verdict_{r['verdict']}"),
        ))  # fmt: skip
    return out


def trends(rows: Sequence[dict], sayer: Sayer) -> list[tuple[str, ...]]:
    """Measure, place, rate a year, surveys behind it, whether it differs from none."""
    out = []
    for r in rows:
        where = sayer.placing.edge(r["edge_id"]) if r["edge_id"] else _zone(r["zone"], sayer)
        rate = sayer.height(r["rate_mm_per_year"], r["rate_sigma_mm_per_year"], signed=True) if r["rate_mm_per_year"] is not None else sayer.words.told(r["reason"] or "")
        differs = "" if r["rate_mm_per_year"] is None else sayer.words("yes" if r["detected"] else "no")
        out.append((sayer.words(f"trend_{r['measure']}"), where, rate, str(r["surveys"]), differs))
    return out


def trend_sentences(rows: Sequence[dict], sayer: Sayer) -> list[str]:
    """The rates that differ from none, in words, fastest first; of heights the whole skin's alone, of a lip its growth, where told."""
    held = [r for r in rows if r["detected"] and r["rate_mm_per_year"] is not None and (r["measure"] != "mean_height" or r["zone"] == "skin")]
    grown = {r["edge_id"] for r in held if r["measure"] == "growth"}
    held = [r for r in held if r["measure"] != "lip" or r["edge_id"] not in grown]
    out = []
    for r in sorted(held, key=lambda r: -abs(r["rate_mm_per_year"])):
        where = sayer.placing.edge(r["edge_id"]) if r["edge_id"] else _zone(r["zone"], sayer)
        way = "up" if r["rate_mm_per_year"] > 0 else "down"
        rate = sayer.height(abs(r["rate_mm_per_year"]), r["rate_sigma_mm_per_year"])
        out.append(opened(sayer.words(f"trend_{r['measure']}_{way}", where=where, rate=rate, surveys=r["surveys"])))
    return out


def _zone(zone: str, sayer: Sayer) -> str:
    return sayer.placing.spot(zone, *sayer.ponds[zone]) if zone in sayer.ponds else sayer.placing.place(zone)
