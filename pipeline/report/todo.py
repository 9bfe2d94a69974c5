"""What to do next, in order, from what the newest survey shows."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.owner import Material
from pipeline.report.figures import NBSP, figure, printed
from pipeline.report.findings import LIP, LOW_SKIN, LOW_SPOT, PLANARITY, SEEN_SHARE, STEP, EdgeSeen, Finding
from pipeline.report.saying import Sayer, station
from pipeline.report.standing import Standing, leading
from pipeline.report.words import opened
from pipeline.surface.verdict import UNKNOWN, UNSAFE, WATCH, WORK

# How high and how wide a lip is before the next stronger remedy is named: common practice, no source; ours to choose.
SWEEP_MM, CUT_MM, WIDE_MM = 25.0, 50.0, 600.0
READINGS = 15  # on one edge: brings its mean height to a few mm (method: ruler calibration)
STATIONS_NAMED, LEAST_READINGS = 6, 3


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
    """Unsafe things first, then low spots, edges and the skin as a whole over tolerance; an edge is one task a kind.

    keys : what the pictures mark a finding with
    """
    order = {LOW_SPOT: 0, LIP: 1, STEP: 1, LOW_SKIN: 2, PLANARITY: 3}
    jobs: dict[tuple, list[Finding]] = {}
    for f in leading(now, (UNSAFE, WORK)):
        jobs.setdefault((f.kind, f.place_id), []).append(f)
    out = []
    for kind, _ in sorted(jobs, key=lambda j: (all(f.word != UNSAFE for f in jobs[j]), order[j[0]])):
        out.append((kind, jobs[kind, _]))
    make = {LOW_SPOT: _fill, PLANARITY: _even}
    return [make[k](found, sayer, material) if k in make else _edge(k, found, sayer, keys) for k, found in out]


def watched(now: Standing, sayer: Sayer) -> list[str]:
    """Near the tolerance: worth a look before the next survey."""
    found = leading(now, (WATCH,))
    out = [sayer.says(f) + "." for f in found if f.stretch is None]
    for edge_id in dict.fromkeys(f.place_id for f in found if f.stretch is not None):
        mine = sorted((f.stretch for f in found if f.place_id == edge_id and f.stretch is not None), key=lambda x: x.from_m)
        out.append(opened(sayer.words("watch_edge", edge=sayer.placing.edge(edge_id), limit=sayer.limit(LIP, False),
                                      length=sayer.length(sum(x.length_m for x in mine)), spans=", ".join(sayer.span(x) for x in mine))))  # fmt: skip
    return out


def mix_needed(finding: Finding, sayer: Sayer, material: Material) -> str:
    """Tonnes to fill one low spot with their range, or why there are none."""
    row, density = finding.row, material.placed_t_per_m3
    volume = figure(row["volume_m3"], row["volume_sigma_m3"], sayer.units.volume)
    if row["fill_tonnes"] is not None and density is not None:
        sigma = None if row["volume_sigma_m3"] is None else row["volume_sigma_m3"] * density.value
        return sayer.words("fill_mass", mass=figure(row["fill_tonnes"], sigma, sayer.units.mass), volume=volume)
    if row["volume_m3"] is None:
        return sayer.words("fill_unknown")
    if density is None:
        return sayer.words("fill_no_density", volume=volume)
    return sayer.words("fill_below_noise", volume=volume)


def filling(found: list[Task], sayer: Sayer, material: Material) -> list[str]:
    """How low spots are filled, and what the tonnages were made with; once for all of them."""
    if not any(f.kind == LOW_SPOT for t in found for f in t.findings):
        return []
    words, units, density = sayer.words, sayer.units, material.placed_t_per_m3
    if density is None:
        return [words("fill_how"), words("density_asked")]
    here = printed(density.value / units.mass.size * units.volume.size, 2)
    unit = words("density_us" if units.system == "us" else "density_metric")
    return [words("fill_how"), words("density_is", density=f"{here}{NBSP}{unit}", who=density.set_by, on=words.date(density.set_on))]


def _fill(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    words, f = sayer.words, found[0]
    lines = [sayer.says(f) + ".", mix_needed(f, sayer, material)]
    if f.row["ponded_m3"]:
        lines.append(words("holds_water", volume=figure(f.row["ponded_m3"], f.row["volume_sigma_m3"], sayer.units.volume)))
    return Task((f,), opened(words("do_fill", where=sayer.where(f))), tuple(lines))


def _edge(kind: str, found: list[Finding], sayer: Sayer, keys: dict[Finding, str]) -> Task:
    """All stretches of an edge that want the same work: each with its figure, then the remedies they leave."""
    words = sayer.words
    lines = []
    for f in sorted(found, key=lambda f: f.stretch.from_m):
        lines.append(_marked(f, keys) + opened(sayer.stretch_says(f)) + ".")
        if f.row["station_m"] is None:
            lines.append(words("whole_edge_only"))
    remedies: dict[str, list[Finding]] = {}
    for f in found:
        remedies.setdefault(remedy(f.value_mm, f.row["width_mm"]) if kind == LIP else f"{kind}_how", []).append(f)
    for phrase, mine in remedies.items():
        named = ", ".join(k for f in mine if (k := keys.get(f)))
        lines.append((f"{named}: " if named and len(remedies) > 1 else "") + words(phrase))
    if found[0].row["calibration"] and kind != STEP:
        lines.append(words(f"calibration_{found[0].row['calibration']}"))
    return Task(tuple(found), opened(words(f"do_{kind}", where=sayer.placing.edge(found[0].place_id))), tuple(lines))


def _marked(f: Finding, keys: dict[Finding, str]) -> str:
    return f"{keys[f]}: " if keys.get(f) else ""


def remedy(height_mm: float, width_mm: float | None) -> str:
    """The words for taking a lip away: the mildest that its height and width leave."""
    if width_mm is not None and width_mm > WIDE_MM:
        return "remedy_wide"
    if height_mm > CUT_MM:
        return "remedy_cut"
    return "remedy_wash" if height_mm > SWEEP_MM else "remedy_sweep"


def _even(found: list[Finding], sayer: Sayer, material: Material) -> Task:
    words, f = sayer.words, found[0]
    lines = [sayer.says(f) + ".", words("even_how")]
    edge = f.row.get("straightedge_mm")
    if edge is not None:
        lines.insert(1, words("straightedge_gap", gap=sayer.height(edge), noise=sayer.height(f.row["straightedge_noise_mm"])))
    return Task((f,), opened(words("do_even")), tuple(lines))


def unsettled(now: Standing, sayer: Sayer, wanted: dict[str, int | None]) -> list[str]:
    """What could not be judged, and what would settle it.

    wanted : edge id -> how many more ruler readings would halve what its mean height is not known by
    """
    if now.newest is None:
        return []
    words, out = sayer.words, []
    asked = {sayer.why(f): None for f in now.newest.of(UNKNOWN) if sayer.owned(f.kind, False) is None}
    out += [opened(why) + ". " + words("ask_owner") for why in asked]
    for f in now.newest.of(UNKNOWN):
        if f.kind in (LOW_SPOT, PLANARITY) and sayer.owned(f.kind, False) is not None:
            out.append(opened(words(f"settle_{f.kind}", where=sayer.where(f), why=sayer.why(f))))
    if not now.newest.edges:
        out.append(words("settle_no_edges"))
    return out + [line for edge in now.newest.edges if (line := _settle_edge(edge, now, sayer, wanted))]


def _settle_edge(edge: EdgeSeen, now: Standing, sayer: Sayer, wanted: dict[str, int | None]) -> str:
    """Ruler readings along the stretches of an edge that could not be judged."""
    if sayer.tolerances.lip_mm is None:
        return ""
    words, name = sayer.words, sayer.placing.edge(edge.edge_id)
    if edge.by_hand:
        return opened(words("settle_mound_edge", edge=name))
    readings = max(wanted.get(edge.edge_id) or READINGS, LEAST_READINGS)
    mine = [f for f in now.newest.of(UNKNOWN) if f.place_id == edge.edge_id and f.stretch is not None]
    if mine and mine[0].row["station_m"] is not None:
        at = sorted(r["station_m"] for r in now.newest.rows["lip"] if r["edge_id"] == edge.edge_id and r["station_m"] is not None)
        held = sorted(at[k] for f in mine for k in f.stretch.members)
        spread = [held[round(i * (len(held) - 1) / max(STATIONS_NAMED - 1, 1))] for i in range(STATIONS_NAMED)]
        named = list(dict.fromkeys(station(s, sayer) for s in spread))
        return opened(words.count("settle_edge", len(named), edge=name, length=sayer.length(len(held)), why=sayer.why(mine[0]),
                                  stations=f"{', '.join(named)}{NBSP}{sayer.units.length.name}", readings=readings))  # fmt: skip
    if mine:
        return opened(words("settle_whole_edge", edge=name, why=sayer.why(mine[0]), readings=readings))
    if edge.told < SEEN_SHARE * edge.stations:
        return opened(words("settle_unseen_edge", edge=name, told=sayer.length(edge.told), whole=sayer.length(edge.stations)))
    return ""
