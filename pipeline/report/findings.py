"""What one survey of one field shows, each thing held against the owner's tolerances: what every page starts from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import inf
from typing import Sequence

from pipeline.owner import Tolerances
from pipeline.survey.edges.encroachment import SEGMENT_M
from pipeline.surface.fall import VERDICTS
from pipeline.surface.ring import BY_HAND
from pipeline.surface.stretches import CANNOT_TELL_KIND, LIP, LOW_SKIN, STEP, Stretch, judge_station, kind_of_edge, part, stretches
from pipeline.surface.verdict import (
    ORDER, SURE, UNKNOWN, UNLIKELY, UNSAFE, WATCH, WORK, GOOD, Verdict, exceeds, judge, worst,
)  # fmt: skip

LOW_SPOT, PLANARITY = "low_spot", "planarity"
GAP, FALL, MIX, CREPT = "straightedge", "fall", "mix", "crept"
GAP_NOISE = "noise alone shows more than the limit"
MOUND = "mound"
SEEN_SHARE = 0.6  # of an edge's stations: below, the edge counts as not measured (as for its growth)
OVER = (UNSAFE, WORK)


@dataclass(frozen=True)
class Limits:
    """The owner's limits for one field, mm; None where nobody set one."""

    lip: float | None
    lip_trip: float | None
    low_spot: float | None
    low_spot_trip: float | None
    planarity: float | None
    straightedge: float | None = None
    mix: float | None = None
    encroachment: float | None = None

    @classmethod
    def of(cls, tolerances: Tolerances, field_id: str) -> Limits:
        names = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm", "straightedge_mm", "mix_depth_min_mm", "encroachment_mm")
        return cls(*(tolerances.of(name, field_id) for name in names))


@dataclass(frozen=True, eq=False)
class Finding:
    """One thing that a survey shows.

    kind     : `low_spot`, `lip`, `low_skin`, `step` (an edge that rises, of which kind is not known), `planarity`,
               `straightedge`, `fall`, `mix` or `crept` (grass come into the skin, over the tolerance)
    place_id : low-spot id, edge id or zone
    value_mm, sigma_mm : depth, highest rise of the stretch, planarity, gap, or depth of the mix; NaN or None where there is
               none, as of a fall
    row      : the table row behind it (of a stretch the row of its highest station)
    stretch  : where along the edge, or None
    trip     : the part of it, end to end, that is over the trip limit, or None
    """

    kind: str
    place_id: str
    value_mm: float | None
    sigma_mm: float | None
    verdict: Verdict
    row: dict
    stretch: Stretch | None = None
    trip: Stretch | None = None

    @property
    def word(self) -> str:
        return self.verdict.word

    @property
    def by_hand(self) -> bool:
        """Whether no survey of this layout can ever judge it. Such a place is named, but is not the survey's lack."""
        return bool(self.row.get("reason")) and self.row["reason"].startswith(BY_HAND)


@dataclass(frozen=True)
class EdgeSeen:
    """How much of an edge a survey shows.

    stations, told : metre stations, and how many of them have a figure
    over_m         : stations of kind `lip` over the tolerance
    whole          : whether only the mean over all of it is known, as from a walk
    """

    edge_id: str
    stations: int
    told: int
    over_m: int
    verdict: str
    whole: bool = False

    @property
    def by_hand(self) -> bool:
        """The grass round a mound: a survey tells its growth, never its height over the slope before it."""
        return self.edge_id == MOUND and not self.told


@dataclass(frozen=True)
class Shown:
    """Everything one survey shows of a field."""

    survey_id: str
    flown_on: str
    findings: tuple[Finding, ...]
    edges: tuple[EdgeSeen, ...]
    verdict: str
    rows: dict[str, list[dict]] = field(default_factory=dict, compare=False, repr=False)

    def of(self, *words: str) -> tuple[Finding, ...]:
        return tuple(f for f in self.findings if f.word in words)


def shown(survey_id: str, flown_on: str, rows: dict[str, list[dict]], limits: Limits, lengths: dict[str, float]) -> Shown:
    """Judge one survey's rows of `lip`, `low_spots` and `zones`; findings worst first.

    lengths : of each edge, m: a walk gives an edge's mean only, which then stands for all of it

    The field's verdict is the worst of its zones, low spots, edges and mix; an edge without rows is not measured. Mix that
    no core speaks for is asked for, and is no lack of the survey.
    """
    spots = [_spot(r, limits) for r in rows["low_spots"]]
    even = [_planarity(r, limits) for r in rows["zones"] if r["zone"] == "skin"] + _gaps(rows["zones"], limits) + _falls(rows["zones"])
    mix = [_mix(r) for r in rows.get("mix_depth", ()) if r["zone"] == "skin" and r["verdict"] in (WORK, WATCH, GOOD)]
    by_edge: dict[str, list[dict]] = {}
    for row in rows["lip"]:
        by_edge.setdefault(row["edge_id"], []).append(row)
    along, edges = crept(rows.get("grass_edge", ()), limits, lengths), []
    for edge_id, mine in by_edge.items():
        stations = sorted((r for r in mine if r["station_m"] is not None), key=lambda r: r["station_m"])
        found, seen = _edge(edge_id, stations, limits) if stations else _whole_edge(edge_id, mine[0], limits, lengths.get(edge_id, 0.0))
        along += found
        edges.append(seen)
    verdict = worst(
        [f.word for f in (*spots, *even, *mix, *(f for f in along if f.kind == CREPT)) if not f.by_hand] + [r["verdict"] for r in rows["zones"]]
        + ([e.verdict for e in edges if not e.by_hand] or [UNKNOWN])
    )  # fmt: skip
    findings = tuple(sorted((*spots, *even, *mix, *along), key=lambda f: _rank(f, limits)))
    return Shown(survey_id, flown_on, findings, tuple(edges), verdict, rows)


def come_in(row: dict) -> tuple[float | None, float | None, float | None]:
    """Grass come into the skin by a row of grass_edge.csv, its s.d., mm, and the skin lost, m2, as it is judged: against the edge
    that was drawn, else since the baseline, for where a layout's edge really was built nobody has said."""
    of = ("encroached_mm", "encroached_sigma_mm", "skin_lost_m2")
    return tuple(row[k] for k in (of if row["against"] == "drawn" else ("since_baseline_mm", "since_baseline_sigma_mm", "since_baseline_m2")))


def area_sigma_m2(row: dict, length_m: float) -> float | None:
    """One s.d. of the skin lost along so much edge, m2: as if all of it erred alike, since its line and the survey's place do."""
    sigma = come_in(row)[1]
    return None if sigma is None else sigma / 1000 * length_m


def crept(rows: Sequence[dict], limits: Limits, lengths: dict[str, float]) -> list[Finding]:
    """Stretches of edge along which grass has come into the skin beyond the tolerance; whole edges where no part alone is over."""
    out = []
    for edge_id in dict.fromkeys(r["edge_id"] for r in rows):
        end = lengths.get(edge_id, inf)
        mine = [(r, judge(_nan(come_in(r)[0]), _nan(come_in(r)[1]), limits.encroachment, None, "encroachment_mm")) for r in rows if r["edge_id"] == edge_id]
        pieces = sorted((m for m in mine if m[0]["station_m"] is not None), key=lambda m: m[0]["station_m"])
        stations, over = [r["station_m"] for r, _ in pieces], [WORK if v.word == WORK else None for _, v in pieces]
        found = [(s, [pieces[k] for k in s.members]) for _, s in stretches(stations, over, SEGMENT_M / 2, SEGMENT_M)]
        whole = [m for m in mine if m[0]["station_m"] is None and m[1].word == WORK]
        for stretch, run in found or [(Stretch(0.0, m[0]["seen_m"], m[0]["seen_m"], (0,)), [m]) for m in whole]:
            row, verdict = max(run, key=lambda m: come_in(m[0])[0])
            more = {"area_m2": sum(come_in(r)[2] or 0.0 for r, _ in run), "area_sigma_m2": sum(area_sigma_m2(r, r["seen_m"]) or 0.0 for r, _ in run)}
            to = min(stretch.to_m, end)
            stretch = replace(stretch, to_m=to, length_m=min(sum(r["seen_m"] for r, _ in run), to - stretch.from_m))
            value, sigma, _ = come_in(row)
            out.append(Finding(CREPT, edge_id, value, sigma, verdict, {**row, **more, "reason": None}, stretch))
    return out


def _rank(finding: Finding, limits: Limits) -> tuple:
    """Worst word first; single places before the skin as a whole; then by how far over the limit, then by name."""
    limit = {LOW_SPOT: limits.low_spot, PLANARITY: limits.planarity, GAP: limits.straightedge, MIX: None, CREPT: limits.encroachment}.get(finding.kind, limits.lip)
    share = finding.value_mm / limit if limit and finding.value_mm is not None else 0.0
    start = finding.stretch.from_m if finding.stretch else 0.0
    return ORDER.index(finding.word), finding.kind in (PLANARITY, GAP, FALL, MIX), -share, finding.kind, finding.place_id, start


def _nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _spot(row: dict, limits: Limits) -> Finding:
    value, sigma = _nan(row["depth_mm"]), _nan(row["depth_sigma_mm"])
    if row["low_spot_id"].startswith("pond-"):
        verdict = _pond(row, value, sigma, limits)
    else:
        verdict = judge(value, sigma, limits.low_spot, limits.low_spot_trip, "low_spot_mm")
    return Finding(LOW_SPOT, row["low_spot_id"], row["depth_mm"], row["depth_sigma_mm"], verdict, row)


def _pond(row: dict, value: float, sigma: float, limits: Limits) -> Verdict:
    """A pond that was looked for and found: its own probability stands, since noise alone makes ponds too."""
    over, over_trip = row["probability"], exceeds(value, sigma, limits.low_spot_trip)
    if limits.low_spot is None:
        return judge(value, sigma, None, limits.low_spot_trip, "low_spot_mm")
    if over is None:
        return Verdict(UNKNOWN, row["reason"] or "no figure", float("nan"), float("nan"))
    if over >= SURE and over_trip >= SURE:
        return Verdict(UNSAFE, "over the trip limit", over, over_trip)
    if over >= SURE:
        return Verdict(WORK, "over the tolerance", over, over_trip)
    good = over <= UNLIKELY and not over_trip > UNLIKELY
    return Verdict(GOOD, "within the tolerance", over, over_trip) if good else Verdict(WATCH, "near the tolerance", over, over_trip)


def _planarity(row: dict, limits: Limits) -> Finding:
    value, sigma = row["planarity_mm"], row["planarity_sigma_mm"]
    verdict = judge(_nan(value), _nan(sigma), limits.planarity, None, "planarity_mm")
    return Finding(PLANARITY, "skin", value, sigma, verdict, row)


def _mix(row: dict) -> Finding:
    """The mix of the whole skin: its own verdict stands, since it may be thin in part and deep enough on average."""
    over = float("nan") if row["probability"] is None else row["probability"]
    return Finding(MIX, "skin", row["depth_mm"], row["depth_sigma_mm"], Verdict(row["verdict"], "depth of the mix", over, float("nan")), row)


def _gaps(zones: list[dict], limits: Limits) -> list[Finding]:
    """The gap under the straightedge over the skin, where the owner set a limit and the survey was judged against it."""
    row = next((r for r in zones if r["zone"] == "skin" and r["straightedge_verdict"]), None)
    if row is None or limits.straightedge is None:
        return []
    value, sigma = row["straightedge_mm"], row["straightedge_sigma_mm"]
    over = exceeds(_nan(value), _nan(sigma), limits.straightedge)
    why = GAP_NOISE if row["straightedge_verdict"] == UNKNOWN and value is not None and row["straightedge_noise_mm"] > limits.straightedge else ""
    return [Finding(GAP, "skin", value, sigma, Verdict(row["straightedge_verdict"], why, over, float("nan")), row)]


def _falls(zones: list[dict]) -> list[Finding]:
    """Falls that the owner set limits for. Where one cannot be told for the skin, its parts say no more."""
    nan = float("nan")
    judged = [r for r in zones if r["fall_verdict"] and not (r["fall_reason"] or "").startswith("no tolerance")]
    return [Finding(FALL, r["zone"], None, None, Verdict(VERDICTS[r["fall_verdict"]], r["fall_verdict"], nan, nan), r) for r in judged]


def _edge(edge_id: str, rows: list[dict], limits: Limits) -> tuple[list[Finding], EdgeSeen]:
    verdicts = [judge_station(r, limits.lip, limits.lip_trip) for r in rows]
    told = [r["height_mm"] is not None for r in rows]
    words = [v.word for v, t in zip(verdicts, told) if t]
    if sum(told) < SEEN_SHARE * len(rows):
        words.append(UNKNOWN)
    over = sum(r["kind"] == LIP and v.over_tolerance >= SURE for r, v in zip(rows, verdicts))
    seen = EdgeSeen(edge_id, len(rows), sum(told), over, worst(words))
    labels = [_label(r, v.word) if t else None for r, v, t in zip(rows, verdicts, told)]
    stations = [r["station_m"] for r in rows]
    out = []
    for (_, kind), stretch in stretches(stations, labels):
        row, verdict = max(((rows[k], verdicts[k]) for k in stretch.members), key=lambda m: m[0]["height_mm"])
        high = [k for k in stretch.members if verdicts[k].word == UNSAFE]
        trip = part(stations, high) if high else None
        if high:
            verdict = max((verdicts[k] for k in high), key=lambda v: v.over_trip)
        out.append(Finding(kind, edge_id, row["height_mm"], row["height_sigma_mm"], verdict, row, stretch, trip))
    return out, seen


def _whole_edge(edge_id: str, row: dict, limits: Limits, length_m: float) -> tuple[list[Finding], EdgeSeen]:
    """An edge of which only the mean is known."""
    verdict, told, metres = judge_station(row, limits.lip, limits.lip_trip), row["height_mm"] is not None, round(length_m)
    over = metres if row["kind"] == LIP and verdict.over_tolerance >= SURE else 0
    seen = EdgeSeen(edge_id, metres, metres if told else 0, over, verdict.word if told else UNKNOWN, whole=True)
    if not told or verdict.word == GOOD:
        return [], seen
    stretch = Stretch(0.0, length_m, length_m, (0,))
    trip = stretch if verdict.word == UNSAFE else None
    return [Finding(kind_of_edge(row), edge_id, row["height_mm"], row["height_sigma_mm"], verdict, row, stretch, trip)], seen


def _label(row: dict, word: str) -> tuple[str, str] | None:
    """What joins stations to a stretch: work and unsafe are one job, each kind of edge another one."""
    return None if word == GOOD else ("over" if word in OVER else word, kind_of_edge(row))
