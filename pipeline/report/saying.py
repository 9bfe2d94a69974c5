"""Findings and hazards as sentences that sound right when read aloud."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.owner import Owned, Tolerances
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, figure, limit, printed, rounded, span
from pipeline.report.findings import CANNOT_TELL_KIND, LIP, LOW_SPOT, PLANARITY, Finding
from pipeline.report.hazards import Hazard
from pipeline.report.placing import Placing
from pipeline.report.standing import Standing, leading
from pipeline.report.stretches import Stretch
from pipeline.report.words import opened
from pipeline.surface.ring import BY_HAND
from pipeline.surface.verdict import GOOD, UNKNOWN, UNSAFE, WATCH, WORK

LIMITS = {LOW_SPOT: ("low_spot_mm", "low_spot_trip_mm"), PLANARITY: ("planarity_mm", None)}
EDGE_LIMITS = ("lip_mm", "lip_trip_mm")
FEW = 3  # so many names are read; more are counted


@dataclass(frozen=True)
class Sayer:
    """Speaks of one field: its places, words and units, the owner's tolerances, and where found ponds lie (e, n)."""

    placing: Placing
    tolerances: Tolerances
    ponds: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def words(self):
        return self.placing.words

    @property
    def units(self):
        return self.placing.units

    def height(self, mm: float | None, sigma: float | None = None, signed: bool = False) -> str:
        return figure(mm, sigma, self.units.height, signed)

    def owned(self, finding_kind: str, trip: bool) -> Owned | None:
        """The owner's limit that a kind of finding is held against."""
        name = LIMITS.get(finding_kind, EDGE_LIMITS)[trip]
        return None if name is None else getattr(self.tolerances, name)

    def limit(self, finding_kind: str, trip: bool) -> str:
        owned = self.owned(finding_kind, trip)
        return "" if owned is None else limit(owned.of(self.placing.layout.field_id), self.units.height)

    def signed_by(self, owned: Owned | None) -> str:
        """'set by the park board on 3 March 2025'."""
        return "" if owned is None else self.words("set_by", who=owned.set_by, on=self.words.date(owned.set_on))

    def where(self, finding: Finding) -> str:
        """'second base'; of an edge 'the outer edge, 39-62 ft, by second base'."""
        if finding.kind == PLANARITY:
            return self.words("place_skin")
        if finding.stretch is None:
            return self.placing.spot(finding.place_id, finding.row["e"], finding.row["n"])
        if finding.row["station_m"] is None:
            return self.words("whole_edge", edge=self.placing.edge(finding.place_id))
        return self.words("along", edge=self.placing.edge(finding.place_id), span=self.span(finding.stretch),
                          by=self.placing.by(finding.row["e"], finding.row["n"]))  # fmt: skip

    def fall(self, slope_pct: float | None, sigma_pct: float | None) -> str:
        """A slope in %, for readers in inches also per 10 ft: 1 % is 1.2 in per 10 ft (0.01 x 120 in)."""
        if slope_pct is None or sigma_pct is None:
            return ""
        text, half = rounded(slope_pct, Z95 * sigma_pct, 2)
        percent = f"{text}{NBSP}%{NBSP}{PLUS_MINUS}{NBSP}{half}"
        return percent if self.units.system != "us" else f"{percent} ({self.words('per_10_ft', inches=printed(1.2 * slope_pct, 1))})"

    def span(self, stretch: Stretch) -> str:
        return span(stretch.from_m, stretch.to_m, self.units.length)

    def length(self, metres: float) -> str:
        return figure(metres, None, self.units.length)

    def says(self, finding: Finding) -> str:
        """What was found, against which limit, as a sentence without its full stop."""
        kind = finding.kind if finding.kind in (LOW_SPOT, PLANARITY, LIP) else f"edge_{finding.kind}"
        found = self.words(f"is_{kind}", where=self.where(finding), height=self.height(finding.value_mm, finding.sigma_mm))
        return opened(found + self.against(finding))

    def stretch_says(self, finding: Finding) -> str:
        """One stretch of an edge that has been named: '30-131 ft: up to 66 mm ± 10 high, highest by second base'."""
        height = self.height(finding.value_mm, finding.sigma_mm)
        if finding.row["station_m"] is None:
            return self.words("mean_height", height=height)
        by = self.placing.by(finding.row["e"], finding.row["n"])
        return self.words("stretch_height", span=self.span(finding.stretch), height=height, by=by)

    def against(self, finding: Finding) -> str:
        """', over the trip limit of 60 mm'."""
        if finding.word == UNSAFE:
            if finding.trip is not None and finding.trip.length_m < finding.stretch.length_m:
                return self.words("over_trip_on", limit=self.limit(finding.kind, True), length=self.length(finding.trip.length_m))
            return self.words("over_trip", limit=self.limit(finding.kind, True))
        if finding.word in (WORK, WATCH):
            key = "over_tolerance" if finding.word == WORK else "near_tolerance"
            return self.words(key, limit=self.limit(finding.kind, False))
        return self.words("within_tolerance") if finding.word == GOOD else self.words("cannot_tell", why=self.why(finding))

    def why(self, finding: Finding) -> str:
        """Why a thing could not be judged."""
        limit_of = self.owned(finding.kind, False)
        if limit_of is None:
            return self.words("no_tolerance", name=LIMITS.get(finding.kind, EDGE_LIMITS)[0])
        if finding.verdict.why == CANNOT_TELL_KIND:
            return self.words("lip_or_low_skin")
        if finding.value_mm is None or finding.row.get("reason"):
            return (finding.row.get("reason") or self.words("no_figure")).removeprefix(BY_HAND)
        return self.words("known_to_only", half=self.height(Z95 * finding.sigma_mm), limit=self.limit(finding.kind, False))

    def lingers(self, hazard: Hazard) -> str:
        """A hazard that the newest survey cannot speak about, or that a walk found."""
        if hazard.last is None:
            return opened(self.words("walk_found", place=hazard.place_id.replace("-", " "), item=hazard.measure.replace("-", " "),
                                     finding=hazard.finding))  # fmt: skip
        return self.words("not_seen_gone", found=self.says(hazard.last), on=self.words.date(hazard.last_on))

    def headline(self, now: Standing) -> str:
        """One sentence that says what matters most."""
        if now.newest is None:
            return self.words("headline_nothing")
        found = leading(now)
        worst = [f for f in found if f.word == now.verdict]
        if now.verdict == UNSAFE:
            told = [self.says(f) for f in worst] + [self.lingers(h) for h in now.lingering]
            return told[0] + "." + self._more("headline_more_unsafe", len(told) - 1)
        mended = [self.words("headline_mended", places=self.words.listed(self.where(h.last) for h in now.mended))] if now.mended else []
        if now.verdict == WORK and worst:
            mended.insert(0, self.words("headline_work", what=self.words.listed(self.counted(worst))))
        elif now.verdict == WATCH and worst:
            mended.insert(0, self.says(worst[0]) + "." + self._more("headline_more_watch", len(worst) - 1))
        elif now.verdict == GOOD:
            return self.words("headline_good") + self._by_hand(now)
        return " ".join(mended) or self.unknown(now)

    def _by_hand(self, now: Standing) -> str:
        places = [self.where(f) for f in now.newest.findings if f.by_hand]
        places += [self.placing.edge(e.edge_id) for e in now.newest.edges if e.by_hand]
        return " " + self.words("headline_by_hand", places=self.words.listed(places)) if places else ""

    def _more(self, key: str, number: int) -> str:
        return " " + self.words.count(key, number) if number > 0 else ""

    def counted(self, found: list[Finding]) -> list[str]:
        """'2 low spots', '62 ft of lip', 'an uneven skin'."""
        out = []
        spots = sum(f.kind == LOW_SPOT for f in found)
        if spots:
            out.append(self.words.count("low_spots", spots))
        for kind in (LIP, "low_skin", "step"):
            metres = sum(f.stretch.length_m for f in found if f.kind == kind)
            if metres:
                out.append(self.words(f"length_of_{kind}", length=self.length(metres)))
        if any(f.kind == PLANARITY for f in found):
            out.append(self.words("uneven_skin"))
        return out

    def unknown(self, now: Standing) -> str:
        """What could not be judged, named."""
        names = [self.where(f) for f in now.newest.of(UNKNOWN) if f.kind == LOW_SPOT and not f.by_hand]
        if len(names) > FEW:
            names = [self.words.count("places", len(names))]
        edges = [self.placing.edge(e.edge_id) for e in now.newest.edges if e.verdict == UNKNOWN and not e.by_hand]
        if not now.newest.edges:
            edges = [self.words("all_edges")]
        if any(f.kind == PLANARITY for f in now.newest.of(UNKNOWN)):
            names.append(self.words("evenness"))
        return self.words("headline_unknown", what=self.words.listed(names + edges))
