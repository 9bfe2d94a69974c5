"""The next runs over a field: whole skin, and a second bearing over every low spot that is to be filled."""

from __future__ import annotations

from typing import Mapping, Sequence

import shapely
from shapely.geometry import Point

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.owner import Machine
from pipeline.works.driving import reached
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import KeepOut
from pipeline.works.runs import Runs, chosen, corners_of, ground_for

ROLLED = ("drag", "level")  # works that go over the skin in runs
REMEMBERED = 6  # so many works back still count
WHOLE, ACROSS = "whole_skin", "across_low_spots"
ABOUT_M = 6.0  # runs over a low spot begin and end so far from it


def crews(machines: Mapping[str, Machine]) -> dict[str, Machine]:
    """The machines that are not a contractor's."""
    return {name: m for name, m in machines.items() if m.by != "contractor"}


def hauler(machines: Mapping[str, Machine]) -> str:
    """The crew's machine that carries most in its blade; the deeper cutting one of two alike; "" without any."""
    ours = crews(machines)
    return max(sorted(ours), key=lambda n: (ours[n].of("blade_load_m3") or 0.0, ours[n].of("max_cut_mm") or 0.0), default="")


def passes_of(job: Job, layout: Layout, keep_outs: Sequence[KeepOut], hollows: Sequence[Hollow]) -> dict:
    """Runs as plain values, and the reason where there are none.

    The machine is the crew's that went over this field last, else the first of the settings.
    """
    works = sorted(job.rows["works"], key=lambda w: w["done_on"])  # a table's rows may stand in any order: the newest at its end, or its head
    done = [w for w in works if w["work"] in ROLLED and w.get("pattern") != "hand"]
    ours = crews(job.settings.machines)
    name = next((w["machine"] for w in reversed(done) if w.get("machine") in ours), next(iter(ours), ""))
    machine = ours.get(name)
    if machine is None or machine.width_m is None:
        return {"reason": "no working width: machines", "machine": name, "runs": []}
    width, speed, turn = machine.of("width_m"), machine.of("speed_m_per_s"), machine.of("turn_s")
    last = [w["bearing_deg"] for w in reversed(done) if w.get("bearing_deg") is not None][:REMEMBERED]
    entries = [w["entry"] for w in reversed(done) if w.get("entry") is not None][:REMEMBERED]
    kept = [k.kept_free for k in keep_outs]
    skin = layout.skin if layout.mound is None else layout.skin.difference(layout.mound.disc)
    ground = ground_for(skin, kept)
    corners = corners_of(layout.skin, layout.axes, layout.anchors)
    whole = chosen(ground, width, last, entries, corners, speed, turn, skin=layout.skin)
    if whole is None:
        return {"reason": "no straight run fits between what is kept free", "machine": name, "runs": []}
    across = None
    if hollows:
        about = shapely.union_all([Point(h.e, h.n).buffer(ABOUT_M) for h in hollows])
        across = chosen(ground.intersection(about), width, last, [whole.entry, *entries], corners, speed, turn, away_from=whole.bearing_deg, skin=layout.skin)
    first = [] if across is None else _plain(ACROSS, across, layout.skin)  # levelled before it is finished
    runs = first + _plain(WHOLE, whole, layout.skin, len(first))
    return {"reason": "", "machine": name, "width_m": width, "runs": runs, "last_bearings": last, "last_entries": entries, "hand_m2": whole.hand_m2}


def _plain(purpose: str, found: Runs, skin: shapely.Geometry, after: int = 0) -> list[dict]:
    share = [line.length / found.length_m for line in found.lines]
    return [
        {
            "run": after + k, "purpose": purpose, "bearing_deg": found.bearing_deg, "entry": found.entry, "length_m": line.length,
            "minutes": found.minutes * part, "line": [list(p) for p in line.coords], "blade_up_m": reached(before, line, skin),
        }
        for k, (before, line, part) in enumerate(zip((None, *found.lines), found.lines, share), start=1)
    ]  # fmt: skip
