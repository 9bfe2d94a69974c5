"""The page of `foresee`: what a pair of surveys would see, which stable ground to add, where to walk."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Sequence

import shapely

from pipeline.change.foresight import Foresight, PatchTried
from pipeline.diamond.layout import Layout
from pipeline.report import palette
from pipeline.report.field_map import FOOT, MARGIN_M, foot, furniture, ground
from pipeline.report.figures import NBSP, SYSTEMS, Unit, figure, printed
from pipeline.report.placing import Placing
from pipeline.report.svg import Frame, el, picture
from pipeline.report.svg import words as text_at
from pipeline.report.words import Words, opened
from pipeline.survey.walks.walk_plan import Planned

PACE_M_S = 1.0  # zig-zags with a pole, stops counted in (ours to choose)


@dataclass(frozen=True)
class Asked:
    """What was asked: the field's name, the survey in words and figures, and the sentences on how its noise was come by."""

    name: str
    title: str
    source: str
    spacing_mm: float | None
    height_m: float | None
    like: str


def foresight_page(layout: Layout, asked: Asked, seen: Foresight, pads: Sequence[PatchTried], inside: PatchTried | None,
                   plan: Sequence[Planned], system: str, words: Words) -> dict:  # fmt: skip
    """Everything on the page, in the reader's units."""
    placing = Placing(layout, words, SYSTEMS[system])
    units = placing.units

    def mm(metres: float) -> str:
        return _least(1000 * metres, units.height) if math.isfinite(metres) else words("foresee_none")

    heads = [words("foresee_what"), words("foresee_least")]
    skin = [
        [words("foresee_mean"), mm(seen.mean_m)], [words("foresee_volume"), _least(seen.volume_m3, units.volume)],
    ]  # fmt: skip
    edges = [
        [opened(placing.edge(e.edge_id)), figure(e.clear_m, None, units.length), mm(e.whole_m)] + ([] if plan else [mm(e.segment_m)])
        for e in seen.edges
    ]  # fmt: skip
    alike: dict[tuple[str, str], list[str]] = {}
    for p in seen.places:
        if not p.reason:
            alike.setdefault((mm(p.depth_m), mm(p.change_m)), []).append(placing.place(p.place_id))
    places = [[opened(words.listed(names)), *told] for told, names in alike.items()]
    by_hand = [placing.place(p.place_id) for p in seen.places if p.reason]
    return {
        "w": words, "lang": words("lang"), "colours": palette.css(), "title": asked.title, "name": asked.name,
        "asked": _asked(asked, words, units), "heads": heads, "skin": skin,
        "edge_heads": [words("foresee_edge"), words("foresee_clear"), words("foresee_whole")] + ([] if plan else [words("foresee_part", length=figure(5.0, None, units.length))]),
        "edges": edges, "place_heads": [words("foresee_place"), words("foresee_depth"), words("foresee_change")], "places": places,
        "by_hand": words("foresee_by_hand", places=words.listed(by_hand)) if by_hand else "",
        "stable": _stable(seen, words, mm), "pads": _pads(layout, pads, placing, mm), "inside": _inside(seen, inside, words, mm),
        "walk": _walk(plan, words, units), "map": _map(layout, pads, plan, words, units),
    }  # fmt: skip


def _least(value: float, unit: Unit) -> str:
    """A smallest change, to two digits."""
    here = value / unit.size
    decimals = 1 - math.floor(math.log10(here)) if here > 0 else 0
    return f"{printed(here, max(min(decimals, unit.finest), 0))}{NBSP}{unit.name}"


def _asked(asked: Asked, words: Words, units) -> str:
    out = [words(f"source_{asked.source}")]
    if asked.like:
        out.append(words("foresee_like", survey=asked.like))
    if asked.height_m is not None:
        out.append(words("foresee_height", height=figure(asked.height_m, None, units.length)))
    if asked.spacing_mm is not None:
        out.append(words("foresee_spacing", spacing=figure(asked.spacing_mm, None, units.height)))
    return ", ".join(out)


def _stable(seen: Foresight, words: Words, mm) -> list[str]:
    out = [words.count("foresee_patches", len(seen.patches), sigma=mm(1.96 * seen.tie_sigma_m))]
    if seen.codes:
        out.append(words("foresee_relative", why=words.listed(words(f"relative_{c}") for c in seen.codes)))
    return out


def _pads(layout: Layout, pads: Sequence[PatchTried], placing: Placing, mm) -> list[str]:
    words, out = placing.words, []
    for pad in pads:
        tape = [
            words("foresee_tape", distance=figure(math.hypot(pad.e - e, pad.n - n), None, placing.units.length), place=placing.place(name))
            for name in ("home", "second") if name in layout.anchors for e, n in (layout.anchors[name],)
        ]  # fmt: skip
        key = "foresee_pad_still" if pad.codes else "foresee_pad"
        out.append(words(key, tape=words.listed(tape) or placing.by(pad.e, pad.n), sigma=mm(1.96 * pad.sigma_m)))
    return out


def _inside(seen: Foresight, inside: PatchTried | None, words: Words, mm) -> str:
    if inside is None:
        return ""
    return words("foresee_inside", now=mm(1.96 * seen.tie_sigma_m), then=mm(1.96 * inside.sigma_m))


def _walk(plan: Sequence[Planned], words: Words, units) -> list[str]:
    if not plan:
        return []
    metres = sum(math.hypot(b.e - a.e, b.n - a.n) for a, b in zip(plan, plan[1:]))
    minutes = 5 * math.ceil(metres / PACE_M_S / 60 / 5)
    return [words("foresee_walk", points=len(plan), length=figure(metres, None, units.length), minutes=minutes)]


def _map(layout: Layout, pads: Sequence[PatchTried], plan: Sequence[Planned], words: Words, units) -> str:
    pad_boxes = [shapely.Point(p.e, p.n).buffer(1.0) for p in pads]
    frame = Frame.around(layout.axes, [layout.skin, *(p.polygon for p in layout.patches), *pad_boxes], MARGIN_M, FOOT)
    inner = ground(layout, frame, layout.edges) + furniture(layout, frame)
    lines: dict[str, list[Planned]] = {}
    for p in plan:
        lines.setdefault(p.line, []).append(p)
    for part in lines.values():
        inner += el("path", d=frame.run([p.e for p in part], [p.n for p in part]), class_="walked" if part[0].why in ("edge", "skin") else "pointed")
    for k, pad in enumerate(pads, start=1):
        x, y = (float(v) for v in frame.xy(pad.e, pad.n))
        inner += el("rect", x=x - 9, y=y - 9, width=18, height=18, class_="pad") + text_at(x, y + 5, str(k), class_="small pad-key", text_anchor="middle")
    inner += foot(frame, units, words("north"))
    return picture(frame.width, frame.height, "foresee-map", words("foresee_map_title"), words("foresee_map_about"), inner, "map")
