"""What to do next, in order, from what the newest survey shows."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.owner import Material
from pipeline.report.figures import NBSP, Z95, figure, printed
from pipeline.report.findings import CREPT, FALL, GAP, LIP, LOW_SKIN, LOW_SPOT, MIX, PLANARITY, STEP, Finding
from pipeline.report.mix_block import SKIN, ask, cores_wanted, order_line
from pipeline.report.saying import DECIDING, Sayer
from pipeline.report.standing import Standing, leading
from pipeline.report.words import opened
from pipeline.surface.covered import MOST_COVERED
from pipeline.surface.filling import PLACED_SIGMA_T_PER_M3
from pipeline.surface.verdict import UNKNOWN, UNSAFE, WATCH, WORK
from pipeline.works.lip_work import remedy_of

WEED_M2 = 1.0  # less is pulled in passing; ours


@dataclass(frozen=True)
class Task:
    """One thing to do: what and where, then the figures and how, one sentence each; `findings` are what it mends."""

    findings: tuple[Finding, ...]
    title: str
    lines: tuple[str, ...]

    @property
    def unsafe(self) -> bool:
        return any(f.word == UNSAFE for f in self.findings)


def tasks(now: Standing, sayer: Sayer, material: Material, keys: dict[Finding, str]) -> list[Task]:
    """Unsafe things first, then low spots, edges and the skin as a whole over tolerance.

    Edges that want the same work are one task; one that is unsafe somewhere is a task of its own.
    keys : what the pictures mark a finding with
    """
    order = {LOW_SPOT: 0, LIP: 1, STEP: 1, LOW_SKIN: 2, CREPT: 3, MIX: 4, PLANARITY: 5, GAP: 5, FALL: 6}
    found = leading(now, (UNSAFE, WORK))
    if any(f.kind == PLANARITY for f in found):
        found = tuple(f for f in found if f.kind != GAP)  # the same levelling, said once
    unsafe = {(f.kind, f.place_id) for f in found if f.word == UNSAFE}
    jobs: dict[tuple[bool, int, str, str], list[Finding]] = {}
    for f in found:
        own = (f.stretch is None and f.kind != FALL) or (f.kind, f.place_id) in unsafe
        jobs.setdefault(((f.kind, f.place_id) not in unsafe, order[f.kind], f.kind, f.place_id if own else ""), []).append(f)
    make = {LOW_SPOT: _fill, PLANARITY: _even, GAP: _bumps, FALL: _regrade, MIX: _add_mix}
    weeding = weed_task(now, sayer)
    ranked = sorted(jobs, key=lambda j: j[:2])  # stable: within a rank as found, worst first
    out = [make[j[2]](jobs[j], sayer, material) if j[2] in make else _edges(j[2], jobs[j], sayer, keys) for j in ranked]
    return out + ([weeding] if weeding else []) + _cores(now, sayer)


def weed_task(now: Standing, sayer: Sayer) -> Task | None:
    """Clear the plants off the skin, where there are enough of them for a crew to be sent, or where they hide a place."""
    zones = now.newest.rows["zones"] if now.newest is not None else []
    skin = next((r for r in zones if r["zone"] == "skin"), None)
    hidden = [r["zone"] for r in zones if (r.get("covered_by_weeds_pct") or 0.0) > 100 * MOST_COVERED]
    if skin is None or not skin.get("covered_m2") or not (skin["covered_m2"] >= WEED_M2 or hidden):
        return None
    words, unsure = sayer.words, skin["covered_told_by"] == "roughness"
    low, high = (printed(skin[f"covered_{k}95_pct"], 1) for k in ("low", "high"))
    area = figure(skin["covered_m2"], None, sayer.units.area)
    lines = [words("weeds_rough" if unsure else "weeds_cover", area=area, percent=printed(skin["covered_by_weeds_pct"], 1), low=low, high=high)]
    if hidden:
        lines.append(words("weeds_hide", places=words.listed(sayer.placing.place(z) for z in hidden)))
    return Task((), opened(words("do_look_weeds" if unsure else "do_weed", area=area)), (*lines, words("weed_how")))


def next_steps(found: list[Task]) -> str:
    """The tasks' titles in one line: 'fill second base; take the lip off the outer edge'."""
    return "; ".join(t.title[:1].lower() + t.title[1:] for t in found)


def all_steps(now: Standing, found: list[Task], sayer: Sayer) -> str:
    """The tasks in one line, what settles the verdict first where none of them does."""
    settles = [_settles(now, sayer)] if now.verdict in (WATCH, UNKNOWN) and not any(t.findings for t in found) else []
    return "; ".join(filter(None, [*settles, next_steps(found)]))


def _settles(now: Standing, sayer: Sayer) -> str:
    """What settles a verdict that is none: a survey, the owner's limits, or what the page lists."""
    if now.newest is None:
        return sayer.words("settle_first_refused" if now.refused else "settle_first_none")
    nobody = now.verdict == UNKNOWN and len(sayer.unset(now.limits)) == len(DECIDING)
    return sayer.words("settle_first_no_limit" if nobody else f"settle_first_{now.verdict}")


def watched(now: Standing, sayer: Sayer) -> list[str]:
    """Near the tolerance: worth a look before the next survey."""
    found = leading(now, (WATCH,))
    along = [f for f in found if f.stretch is not None and f.row["station_m"] is not None]
    out = [_with_flips(f, sayer) for f in found if f not in along]
    for edge_id in dict.fromkeys(f.place_id for f in along):
        worked = [f.stretch for f in leading(now, (UNSAFE, WORK)) if f.place_id == edge_id and f.stretch is not None]
        mine = sorted((f.stretch for f in along if f.place_id == edge_id), key=lambda x: x.from_m)
        mine = [x for x in mine if not any(w.from_m <= x.from_m and x.to_m <= w.to_m for w in worked)]  # worked over anyway
        if mine:
            out.append(opened(sayer.words("watch_edge", edge=sayer.placing.edge(edge_id), limit=sayer.limit(LIP, False),
                                          length=sayer.span_length(mine), spans=", ".join(sayer.span(x) for x in mine))))  # fmt: skip
    return out


def _with_flips(finding: Finding, sayer: Sayer) -> str:
    """What was found, and where it is near a threshold, the figure at which the verdict would turn."""
    flips = sayer.flips(finding)
    return f"{sayer.says(finding)}." + (f" {flips}" if flips else "")


def mix_needed(finding: Finding, sayer: Sayer, material: Material) -> str:
    """Tonnes to fill one low spot with their range, or why there are none."""
    row, density = finding.row, material.placed_t_per_m3
    volume = figure(row["volume_m3"], row["volume_sigma_m3"], sayer.units.volume)
    if row["fill_tonnes"] is not None and density is not None:
        return sayer.words("fill_mass", mass=figure(row["fill_tonnes"], fill_sigma(row), sayer.units.mass), volume=volume) + _loose(row, sayer)
    if row["volume_m3"] is None:
        return sayer.words("fill_unknown")
    if density is None:
        return sayer.words("fill_no_density", volume=volume)
    return sayer.words("fill_below_noise", volume=volume)


def fill_sigma(row: dict) -> float | None:
    """One s.d. of the mix that fills a low spot, t: as the table gives its range, else by the volume's alone."""
    if row["fill_tonnes_high"] is not None:
        return (row["fill_tonnes_high"] - row["fill_tonnes"]) / Z95
    if row["volume_sigma_m3"] is None or not row["volume_m3"]:
        return None
    return row["fill_tonnes"] / row["volume_m3"] * row["volume_sigma_m3"]


def _loose(row: dict, sayer: Sayer) -> str:
    """What the mix measures in the bucket."""
    if row["fill_loose_m3"] is None:
        return ""
    return " " + sayer.words("fill_loose", volume=figure(row["fill_loose_m3"], None, sayer.units.volume))


def filling(found: list[Task], sayer: Sayer, material: Material) -> list[str]:
    """How low spots are filled, and what the tonnages were made with; once for all of them."""
    if not any(f.kind == LOW_SPOT for t in found for f in t.findings):
        return []
    words, units, density = sayer.words, sayer.units, material.placed_t_per_m3
    if density is None:
        return [words("fill_how"), words("density_asked")]
    here, off = (printed(v / units.mass.size * units.volume.size, 2) for v in (density.value, PLACED_SIGMA_T_PER_M3))
    unit = words("density_us" if units.system == "us" else "density_metric")
    return [words("fill_how"), words("density_is", density=f"{here}{NBSP}{unit}", off=f"{off}{NBSP}{unit}", who=density.set_by, on=words.date(density.set_on))]


def _fill(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    words, f = sayer.words, found[0]
    lines = [_with_flips(f, sayer), mix_needed(f, sayer, material)]
    if f.row["ponded_m3"]:
        lines.append(words("holds_water", volume=figure(f.row["ponded_m3"], f.row["ponded_sigma_m3"], sayer.units.volume)))
    return Task((f,), opened(words("do_fill", where=sayer.where(f))), tuple(lines))


def _edges(kind: str, found: list[Finding], sayer: Sayer, keys: dict[Finding, str]) -> Task:
    """All stretches of edge that want the same work: each with its figure, then the remedies they leave."""
    words = sayer.words
    names = {f.place_id: sayer.placing.edge(f.place_id) for f in found}
    unsafe = any(f.word == UNSAFE for f in found)
    lines = [] if unsafe else [words("all_over", limit=sayer.limit(kind, False))]
    for f in sorted(found, key=lambda f: (list(names).index(f.place_id), f.word != UNSAFE, f.stretch.from_m)):
        said = sayer.stretch_says(f) + (sayer.against(f) if unsafe else "") + "."
        lines.append(_marked(f, keys) + opened(said if len(names) == 1 else words("of_edge", edge=names[f.place_id], what=said)))
    if kind == CREPT:
        drawn = {f.row["against"] == "drawn" for f in found}
        lines += [words("crept_against_drawn" if d else "crept_since_baseline") for d in sorted(drawn, reverse=True)]
    elif any(f.row["station_m"] is None for f in found):
        lines.append(words("whole_edge_only"))
    remedies: dict[str, list[Finding]] = {}
    for f in found:
        remedies.setdefault(remedy(f.value_mm, f.row["width_mm"]) if kind == LIP else f"{kind}_how", []).append(f)
    for phrase, mine in remedies.items():
        named = ", ".join(sorted(k for f in mine if (k := keys.get(f))))
        lines.append((f"{named}: " if named and len(remedies) > 1 else "") + words(phrase))
    if kind not in (STEP, CREPT):
        lines += _calibrations({e: next(f.row["calibration"] for f in found if f.place_id == e) for e in names}, sayer)
    area = figure(*(sum(f.row[k] for f in found) for k in ("area_m2", "area_sigma_m2")), sayer.units.area) if kind == CREPT else ""
    return Task(tuple(found), opened(words(f"do_{kind}", where=words.listed(names.values()), area=area)), tuple(lines))


def _calibrations(by_edge: dict[str, str | None], sayer: Sayer) -> list[str]:
    """Which ruler readings stand behind the heights: once where it is the same for all edges."""
    words, edges = sayer.words, {}
    for edge_id, word in by_edge.items():
        edges.setdefault(word or "none", []).append(sayer.placing.edge(edge_id))
    if len(edges) == 1:
        return [words(f"calibration_{next(iter(edges))}")]
    return [f"{opened(words.listed(names))}: {words(f'calibration_{word}')}" for word, names in edges.items()]


def _marked(f: Finding, keys: dict[Finding, str]) -> str:
    return f"{keys[f]}: " if keys.get(f) else ""


def remedy(height_mm: float, width_mm: float | None) -> str:
    """The words for taking a lip away: the mildest that its height and width leave."""
    return f"remedy_{remedy_of(height_mm, width_mm)}"


def _add_mix(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    """Mix where it is under the owner's least depth: how much; where it is thin stands under the mix's own heading."""
    f, words = found[0], sayer.words
    lines = [f"{sayer.says(f)}.", order_line(f.row, sayer, material.of("truck_t")), words("mix_where"), words("mix_how")]
    return Task((f,), words("do_mix"), tuple(line for line in lines if line))


def _cores(now: Standing, sayer: Sayer) -> list[Task]:
    """Cores to be taken, where the owner set a least depth and too little of the mix is known; the places stand under
    the mix's own heading."""
    rows = () if now.newest is None else now.newest.rows.get("mix_depth", ())
    row = next((r for r in rows if r["zone"] == SKIN), None)
    if row is None or row["least_mm"] is None or not cores_wanted(row):
        return []
    return [Task((), sayer.words("do_cores"), (ask(row, sayer), sayer.words("cores_where")))]


def _even(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    """Level bumps; but a skin that is only off a plane, without gaps under the straightedge, may be crowned by design."""
    words, f = sayer.words, found[0]
    gap, limit_of = f.row.get("straightedge_mm"), sayer.tolerances.straightedge_mm
    lines = [_with_flips(f, sayer)]
    if gap is not None:
        lines.append(words("straightedge_gap", gap=sayer.height(gap), noise=sayer.height(f.row["straightedge_noise_mm"])))
    smooth = gap is not None and limit_of is not None and gap + f.row["straightedge_noise_mm"] <= limit_of.of(sayer.placing.layout.field_id)
    lines.append(words("shape_how" if smooth else "even_how"))
    return Task((f,), opened(words("do_shape" if smooth else "do_even")), tuple(lines))


def _bumps(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    """Gaps under the straightedge on a skin that is plane enough as a whole."""
    return Task(tuple(found), opened(sayer.words("do_even")), (_with_flips(found[0], sayer), sayer.words("even_how")))


def _regrade(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    """Falls outside the owner's limits, each part of the skin with its figure."""
    lines = [_with_flips(f, sayer) for f in found]
    return Task(tuple(found), opened(sayer.words("do_fall", where=sayer.words.listed(sayer.where(f) for f in found))), (*lines, sayer.words("fall_how")))
