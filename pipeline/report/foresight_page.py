"""The page of `foresee`: what a pair of surveys would see, which stable ground to add, where to walk."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Sequence

import shapely

from pipeline.change.foresight import SEGMENT_M, Foresight, PatchTried
from pipeline.diamond.layout import Layout
from pipeline.owner import Owned, Tolerances
from pipeline.report import palette
from pipeline.report.field_map import FOOT, MARGIN_M, foot, furniture, ground
from pipeline.report.figures import NBSP, Z95, Unit, figure, limit, printed, spoken
from pipeline.report.glossary import Glossary
from pipeline.report.placing import Placing
from pipeline.report.svg import Frame, el, picture
from pipeline.report.svg import words as text_at
from pipeline.report.words import Words, opened
from pipeline.survey.walks.walk_plan import ON_POINT_S, PACE_M_S, Planned

# On foot with a pole, and on each point until its fix is held (ours to choose).
WORTH = 0.9  # a pad that leaves more of the range than this is not worth its concrete
ENOUGH = 0.5  # of the owner's tolerance: what is seen from there on is fine enough to act on
MID_M = 0.5  # so near the line from home to second base, a pad lies on neither side
PLATES = ("home-plate", "pitchers-plate")


@dataclass(frozen=True)
class Asked:
    """What was asked: the field's name, the survey in words and figures, and the sentences on how its noise was come by."""

    name: str
    title: str
    source: str
    spacing_mm: float | None
    height_m: float | None
    like: str


def worth(seen: Foresight, tried: PatchTried | None) -> bool:
    """Whether a pad would make heights comparable, or their range smaller by a tenth."""
    return tried is not None and (bool(seen.codes) or tried.sigma_m <= WORTH * seen.tie_sigma_m)


def worth_adding(seen: Foresight, pads: Sequence[PatchTried]) -> Sequence[PatchTried]:
    """The pads tried one after the other, if the first is worth it; else none."""
    return pads if pads and worth(seen, pads[0]) else ()


def foresight_page(layout: Layout, asked: Asked, seen: Foresight, pads: Sequence[PatchTried], inside: PatchTried | None,
                   plan: Sequence[Planned], tolerances: Tolerances, system: str, words: Words) -> dict:  # fmt: skip
    """Everything on the page, in the reader's units.

    pads : as tried, one after the other
    """
    wanted = worth_adding(seen, pads)
    placing = Placing(layout, words, spoken(system, words))
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
        "w": words, "glossed": Glossary(words), "lang": words("lang"), "colours": palette.css(), "title": asked.title, "name": asked.name,
        "asked": _asked(asked, words, units), "heads": heads, "skin": skin,
        "edge_heads": [words("foresee_edge"), words("foresee_clear"), words("foresee_whole")] + ([] if plan else [words("foresee_part", length=figure(SEGMENT_M, None, units.length))]),
        "edges": edges, "place_heads": [words("foresee_place"), words("foresee_depth"), words("foresee_change")], "places": places,
        "lip_enough": _lip_enough(seen, bool(plan), tolerances, placing), "spots_enough": _spots_enough(seen, tolerances, placing),
        "by_hand": words("foresee_by_hand", places=words.listed(by_hand)) if by_hand else "",
        "stable": _stable(seen, pads, words, mm), "pads": _pads(layout, seen, wanted, placing, mm), "inside": _inside(seen, inside, words, mm),
        "sweep": words("foresee_sweep") if set(PLATES) & set(seen.patches) else "",
        "walk": _walk(plan, words, units), "map": _map(layout, wanted, plan, words, units),
        "map_caption": " ".join(words(f"foresee_map_{k}") for k, there in (("pads", wanted), ("ground", seen.patches), ("walk", plan)) if there),
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


def _lip_enough(seen: Foresight, walked: bool, tolerances: Tolerances, placing: Placing) -> str:
    """Whether growth of half the owner's tolerance would be seen: on 5 m of each edge, of a walk on the whole edge."""
    words = placing.words
    on = words("foresee_on_edge") if walked else words("foresee_on_part", length=figure(SEGMENT_M, None, placing.units.length))
    least = [(placing.edge(e.edge_id), e.whole_m if walked else e.segment_m) for e in seen.edges]
    return _enough("lip", least, tolerances.lip_mm, placing, on=on)


def _spots_enough(seen: Foresight, tolerances: Tolerances, placing: Placing) -> str:
    return _enough("spots", [(placing.place(p.place_id), p.depth_m) for p in seen.places if not p.reason], tolerances.low_spot_mm, placing)


def _enough(what: str, least: list[tuple[str, float]], owned: Owned | None, placing: Placing, **more) -> str:
    """One sentence: what is smallest seen, m, of each thing, held against the owner's tolerance."""
    words = placing.words
    if not least:
        return ""
    if owned is None:
        return words(f"foresee_{what}_unset")
    mm = owned.of(placing.layout.field_id)
    coarse = [name for name, m in least if not m * 1000 <= ENOUGH * mm]
    key = "fine" if not coarse else "coarse" if len(coarse) == len(least) else "partly"
    return words(f"foresee_{what}_{key}", limit=limit(mm, placing.units.height), where=words.listed(coarse), **more)


def _stable(seen: Foresight, pads: Sequence[PatchTried], words: Words, mm) -> list[str]:
    out = [words.count("foresee_patches", len(seen.patches), sigma=mm(Z95 * seen.tie_sigma_m))]
    if seen.codes:
        out.append(words("foresee_relative", why=words.listed(words(f"relative_{c}") for c in seen.codes)))
    elif pads and not worth(seen, pads[0]):
        now, then = mm(Z95 * seen.tie_sigma_m), mm(Z95 * pads[0].sigma_m)
        out.append(words("foresee_no_pad" if now != then else "foresee_no_pad_same", now=now, then=then))
    return out


def _pads(layout: Layout, seen: Foresight, pads: Sequence[PatchTried], placing: Placing, mm) -> list[str]:
    words, out = placing.words, []
    for pad in pads:
        tape = [
            words("foresee_tape", distance=figure(math.hypot(pad.e - e, pad.n - n), None, placing.units.length), place=placing.place(name))
            for name in ("home", "second") if name in layout.anchors for e, n in (layout.anchors[name],)
        ]  # fmt: skip
        where = words("foresee_side", tape=words.listed(tape), side=_side(layout, pad, words)) if len(tape) == 2 else placing.by(pad.e, pad.n)
        key = "foresee_pad_still" if pad.codes else "foresee_pad_enough" if seen.codes else "foresee_pad"
        out.append(words(key, tape=where, sigma=mm(Z95 * pad.sigma_m)))
    return out


def _side(layout: Layout, pad: PatchTried, words: Words) -> str:
    """On which side of the line from home to second base: two tapes alone fit two mirrored spots."""
    x = float(layout.axes.local(pad.e, pad.n)[0])
    return words("foresee_mid") if abs(x) < MID_M else words("foresee_on_side", side=words("first_side" if x > 0 else "third_side"))


def _inside(seen: Foresight, inside: PatchTried | None, words: Words, mm) -> str:
    if not worth(seen, inside):
        return ""
    return words("foresee_inside", now=mm(Z95 * seen.tie_sigma_m), then=mm(Z95 * inside.sigma_m))


def _walk(plan: Sequence[Planned], words: Words, units) -> list[str]:
    if not plan:
        return []
    metres = sum(math.hypot(b.e - a.e, b.n - a.n) for a, b in zip(plan, plan[1:]))
    minutes = 5 * math.ceil((metres / PACE_M_S + ON_POINT_S * len(plan)) / 60 / 5)
    time = words("foresee_minutes", minutes=minutes) if minutes < 60 else words("foresee_hours", hours=minutes // 60, minutes=minutes % 60)
    return [words("foresee_walk", points=len(plan), length=figure(metres, None, units.length), time=time, stop=f"{ON_POINT_S:g}")]


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
