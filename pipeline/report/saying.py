"""Findings and hazards as sentences that sound right when read aloud."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Iterable

from pipeline.owner import Owned, Tolerances
from pipeline.report.fall_words import fall_flips, fall_says
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, figure, limit, printed, rounded, span, spans_length, spoken
from pipeline.report.findings import (
    CANNOT_TELL_KIND, CREPT, FALL, GAP, GAP_NOISE, LIP, LOW_SKIN, LOW_SPOT, MIX, MOUND, PLANARITY, STEP, Finding, Limits, Shown,
)  # fmt: skip
from pipeline.report.hazards import Hazard
from pipeline.report.placing import Placing
from pipeline.report.standing import Standing, leading
from pipeline.surface.stretches import Stretch
from pipeline.report.words import Words, opened
from pipeline.surface.ring import BY_HAND
from pipeline.surface.verdict import GOOD, SURE_SDS, UNKNOWN, UNSAFE, WATCH, WORK

LIMITS = {
    LOW_SPOT: ("low_spot_mm", "low_spot_trip_mm"), PLANARITY: ("planarity_mm", None), GAP: ("straightedge_mm", None),
    FALL: ("slope_min_pct", None), MIX: ("mix_depth_min_mm", None), CREPT: ("encroachment_mm", None),
}  # fmt: skip
EDGE_LIMITS = ("lip_mm", "lip_trip_mm")
STRAIGHTEDGE_M = 3.0  # where the owner named no length
DECIDING = ("lip", "lip_trip", "low_spot", "low_spot_trip", "planarity")  # limits by which the headline judges
FEW = 3  # so many names are read; more are counted
CLOSE = 0.95  # a verdict surer than this is not called near its threshold


@dataclass(frozen=True)
class Sayer:
    """Speaks of one field: its places, words and units, the owner's tolerances, where found ponds lie (e, n), and the
    days (ISO dates) on which it was surveyed more than once."""

    placing: Placing
    tolerances: Tolerances
    ponds: dict[str, tuple[float, float]] = field(default_factory=dict)
    shared_days: frozenset[str] = frozenset()

    def speaking(self, words: Words) -> Sayer:
        """The same in another language."""
        return replace(self, placing=replace(self.placing, words=words, units=spoken(self.units.system, words)))

    @property
    def words(self):
        return self.placing.words

    @property
    def units(self):
        return self.placing.units

    def height(self, mm: float | None, sigma: float | None = None, signed: bool = False) -> str:
        return figure(mm, sigma, self.units.height, signed)

    def day(self, flown_on, survey_id: str, short: bool = False) -> str:
        """A survey's day, with its id where the field was surveyed more than once on it; short: for a chart, the id alone there."""
        shared = str(flown_on)[:10] in self.shared_days
        if short:
            return survey_id if shared else self.words.short_date(flown_on)
        return self.words("day_and_survey", day=self.words.date(flown_on), survey=survey_id) if shared else self.words.date(flown_on)

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
        if finding.kind in (PLANARITY, GAP, MIX):
            return self.words("place_skin")
        if finding.kind == FALL:
            return self.placing.place(finding.place_id)
        if finding.stretch is None:
            return self.placing.spot(finding.place_id, finding.row["e"], finding.row["n"])
        if finding.row["station_m"] is None:
            return self.words("whole_edge", edge=self.placing.edge(finding.place_id))
        key = {LOW_SKIN: "along_low", CREPT: "along_crept"}.get(finding.kind, "along")
        return self.words(key, edge=self.placing.edge(finding.place_id),
                          span=self.span(finding.stretch), by=self.placing.by(finding.row["e"], finding.row["n"]))  # fmt: skip

    def fall(self, slope_pct: float | None, sigma_pct: float | None) -> str:
        """A slope in %, and over the length people lay a level on."""
        if slope_pct is None or sigma_pct is None:
            return ""
        text, half = rounded(slope_pct, Z95 * sigma_pct, 2)
        percent = f"{text}{NBSP}%{NBSP}{PLUS_MINUS}{NBSP}{half}"
        return f"{percent} ({self.run(slope_pct, Z95 * sigma_pct)})"

    def slope(self, pct: float) -> str:
        """A slope without a range: a limit."""
        percent = f"{printed(pct, 2).rstrip('0').rstrip('.')}{NBSP}%"
        return f"{percent} ({self.run(pct)})"

    def run(self, pct: float, half: float | None = None) -> str:
        """A slope over the length people lay a level on: 1 % is 1.2 in per 10 ft (0.01 x 120 in) and 30 mm per 3 m."""
        each, key, decimals = (1.2, "per_10_ft", 1) if self.units.system == "us" else (30.0, "per_3_m", 0)
        rise = printed(each * pct, decimals)
        return self.words(key, rise=rise if half is None else f"{rise}{NBSP}{PLUS_MINUS}{NBSP}{printed(max(each * half, 10.0**-decimals), decimals)}")

    @property
    def straightedge_m(self) -> float:
        """Length of the straightedge, m."""
        owned = self.tolerances.straightedge_length_m
        return STRAIGHTEDGE_M if owned is None else owned.of(self.placing.layout.field_id)

    def span(self, stretch: Stretch) -> str:
        return span(stretch.from_m, stretch.to_m, self.units.length)

    def span_length(self, stretches: Iterable[Stretch]) -> str:
        """End to end over some stretches, as their spans are printed: the gaps that a crew works over count."""
        return spans_length(((s.from_m, s.to_m) for s in stretches), self.units.length)

    def length(self, metres: float) -> str:
        return figure(metres, None, self.units.length)

    def says(self, finding: Finding) -> str:
        """What was found, against which limit, as a sentence without its full stop."""
        if finding.kind == FALL:
            return opened(fall_says(finding, self))
        kind = finding.kind if finding.kind in (LOW_SPOT, PLANARITY, GAP, MIX, LIP) else f"edge_{finding.kind}"
        mean = "_mean" if finding.stretch is not None and finding.row["station_m"] is None else ""
        length = f"{NBSP}".join((printed(self.straightedge_m / self.units.length.size, 0), self.units.length.name)) if finding.kind == GAP else ""
        found = self.words(f"is_{kind}{mean}", where=self.where(finding), height=self.height(finding.value_mm, finding.sigma_mm), length=length)
        return opened(found + self.against(finding))

    def stretch_says(self, finding: Finding) -> str:
        """One stretch of an edge that has been named: '30-131 ft: up to 66 mm ± 10 high, highest by second base'."""
        if finding.kind == CREPT:
            whole = finding.row["station_m"] is None
            return self.words("crept_mean" if whole else "stretch_crept", span=self.span(finding.stretch), height=self.height(finding.value_mm, finding.sigma_mm),
                              area=figure(finding.row["area_m2"], finding.row["area_sigma_m2"], self.units.area))  # fmt: skip
        height, low = self.height(finding.value_mm, finding.sigma_mm), finding.kind == LOW_SKIN
        if finding.row["station_m"] is None:
            return self.words("mean_low" if low else "mean_height", height=height)
        by = self.placing.by(finding.row["e"], finding.row["n"])
        return self.words("stretch_low" if low else "stretch_height", span=self.span(finding.stretch), height=height, by=by)

    def against(self, finding: Finding) -> str:
        """', over the trip limit of 60 mm'."""
        if finding.kind == MIX:
            area = figure(finding.row["thin_m2"], None, self.units.area)
            return self.words(f"mix_{finding.word}", limit=self.limit(MIX, False), area=area)
        if finding.word == UNSAFE:
            if finding.trip is not None and finding.trip.length_m < finding.stretch.length_m:
                return self.words("over_trip_on", limit=self.limit(finding.kind, True), length=self.length(finding.trip.length_m))
            return self.words("over_trip", limit=self.limit(finding.kind, True))
        if finding.word in (WORK, WATCH):
            key = "over_tolerance" if finding.word == WORK else "near_tolerance"
            return self.words(key, limit=self.limit(finding.kind, False))
        return self.words("within_tolerance") if finding.word == GOOD else self.words("cannot_tell", why=self.why(finding))

    def flips(self, finding: Finding) -> str:
        """Of a verdict near its threshold: the figure, known as well as this one, at which it would be another word.

        Empty where the verdict is not near one, of a found pond (its probability is not one of height alone) and of a
        step, where what to do hangs on its kind.
        """
        if finding.kind == FALL:
            return fall_flips(finding, self)
        if finding.sigma_mm is None or finding.kind in (STEP, MIX) or finding.place_id.startswith("pond-"):
            return ""
        over, over_trip = finding.verdict.over_tolerance, finding.verdict.over_trip
        parts = []
        if finding.word == WATCH:
            parts = [("flips_from", WORK, False)]
        elif finding.word == WORK:
            parts = [("flips_below", WATCH, False)] if over < CLOSE else []
            parts += [("flips_from", UNSAFE, True)] if over_trip > 1 - CLOSE else []
        elif finding.word == UNSAFE and over_trip < CLOSE:
            parts = [("flips_below", WORK, True)]
        said = [
            self.words(key, word=self.words(f"verdict_{word}").lower(), height=self.height(self._threshold(finding, trip)))
            for key, word, trip in parts if self.owned(finding.kind, trip) is not None
        ]  # fmt: skip
        return self.words("flips", what=self.words.listed(said)) if said else ""

    def _threshold(self, finding: Finding, trip: bool) -> float:
        """The figure, mm, that would be over a limit with a probability of 80 %."""
        return self.owned(finding.kind, trip).of(self.placing.layout.field_id) + SURE_SDS * finding.sigma_mm

    def why(self, finding: Finding) -> str:
        """Why a thing could not be judged."""
        limit_of = self.owned(finding.kind, False)
        if limit_of is None:
            return self.words("no_tolerance", name=LIMITS.get(finding.kind, EDGE_LIMITS)[0])
        if finding.verdict.why == CANNOT_TELL_KIND:
            return self.words("lip_or_low_skin")
        if finding.kind == FALL:
            return self.words.told(finding.row["fall_reason"] or "") or self.words("no_figure")
        if finding.verdict.why == GAP_NOISE:
            return self.words("gap_noise", noise=self.height(finding.row["straightedge_noise_mm"]), limit=self.limit(GAP, False))
        if finding.value_mm is None or finding.row.get("reason"):
            return self.words.told((finding.row.get("reason") or "").removeprefix(BY_HAND)) or self.words("no_figure")
        return self.words("known_to_only", half=self.height(Z95 * finding.sigma_mm), limit=self.limit(finding.kind, False))

    def lingers(self, hazard: Hazard) -> str:
        """A hazard that the newest survey cannot speak about, or that a walk found."""
        if hazard.by_eye:
            return opened(self.words("eye_found", what=self.words(f"eye_{hazard.measure}"), place=self.seen_at(hazard.place_id, hazard.e, hazard.n), on=self.words.date(hazard.found_on)) + (self.words("in_quotes", text=hazard.finding) if hazard.finding else ""))
        if hazard.last is None:
            return opened(self.words("walk_found", place=hazard.place_id.replace("-", " "), item=hazard.measure.replace("-", " "),
                                     finding=hazard.finding))  # fmt: skip
        return self.words("not_seen_gone", found=self.says(hazard.last), on=self.words.date(hazard.last_on))

    def hazard_at(self, hazard: Hazard) -> str:
        """Where a hazard lies, as its newest survey, the walk or the eye names it."""
        if hazard.by_eye:
            return self.seen_at(hazard.place_id, hazard.e, hazard.n)
        return self.where(hazard.last) if hazard.last is not None else hazard.place_id.replace("-", " ")

    def seen_at(self, named: str, e: float | None, n: float | None) -> str:
        """Where something was seen by eye: the place or edge named, else from the nearest place, else somewhere on the field."""
        if self.words.knows(f"edge_{named}"):
            return self.placing.edge(named)
        if named and named != "field" and not named.startswith("at-"):
            return self.placing.place(named)
        return self.placing.at(e, n) if e is not None and n is not None else self.words("the_field")

    def open_hazard(self, hazard: Hazard, now: Standing) -> str:
        """An open hazard in a sentence: as the newest survey shows it, else as it was last seen."""
        return (self.says(hazard.last) if now.fresh(hazard) else self.lingers(hazard)) + "."

    def headline(self, now: Standing) -> str:
        """One sentence that says what matters most."""
        if now.newest is None:  # what somebody saw or walked into counts though no survey does
            seen = self._unsafe([self.lingers(h) for h in now.lingering], [self.hazard_at(h) for h in now.lingering])
            return " ".join(filter(None, (seen, self.words("headline_nothing"))))
        found = leading(now)
        worst = [f for f in found if f.word == now.verdict]
        if now.verdict == UNSAFE:
            told = [self.says(f) for f in worst] + [self.lingers(h) for h in now.lingering]
            return self._unsafe(told, [self.where(f) for f in worst] + [self.hazard_at(h) for h in now.lingering])
        mended = [self.words("headline_mended", places=self.words.listed(self.where(h.last) for h in now.mended))] if now.mended else []
        if now.verdict == WORK and worst:
            mended.insert(0, self.words("headline_work", what=self.words.listed(self.counted(worst))))
        elif now.verdict == WATCH and worst:
            flips = self.flips(worst[0])
            said = self.says(worst[0]) + "." + (f" {flips}" if flips else "")
            mended.insert(0, said + self._more("headline_more_watch", len(worst) - 1))
        elif now.verdict == GOOD:
            return self.words("headline_good") + self._by_hand(now)
        return " ".join(mended) or self.unknown(now)

    def _unsafe(self, told: list[str], places: list[str]) -> str:
        """The first of the unsafe places in a sentence, a second one by its name, more by their number; empty where there is none."""
        if len(told) < 2:
            return told[0] + "." if told else ""
        also = self.words("headline_also_unsafe", place=places[1]) if len(told) == 2 else self.words("headline_more_unsafe", number=len(told) - 1)
        return f"{told[0]}. {also}"

    def _by_hand(self, now: Standing) -> str:
        places = [self.where(f) for f in now.newest.findings if f.by_hand]
        places += [self.placing.edge(MOUND)] if self.mound_untold(now.newest) else []
        return " " + self.words("headline_by_hand", places=self.words.listed(places)) if places else ""

    def mound_untold(self, seen: Shown) -> bool:
        """Whether the field has a mound of whose edge the survey tells no height: where it lies in grass the slope before
        it hides it, where it lies in the skin it has no grass edge."""
        return self.placing.layout.mound is not None and not any(e.edge_id == MOUND and e.told for e in seen.edges)

    def _more(self, key: str, number: int) -> str:
        return " " + self.words.count(key, number) if number > 0 else ""

    def counted(self, found: list[Finding]) -> list[str]:
        """'2 low spots', '62 ft of lip', 'an uneven skin'."""
        out = []
        spots = sum(f.kind == LOW_SPOT for f in found)
        if spots:
            out.append(self.words.count("low_spots", spots))
        for kind in (LIP, "low_skin", "step", CREPT):
            mine = [f.stretch for f in found if f.kind == kind]
            if mine:
                out.append(self.words(f"length_of_{kind}", length=self.span_length(mine)))
        if any(f.kind in (PLANARITY, GAP) for f in found):
            out.append(self.words("uneven_skin"))
        if any(f.kind == MIX for f in found):
            out.append(self.words("mix_too_thin"))
        falls = [self.where(f) for f in found if f.kind == FALL]
        return [*out, self.words("fall_of", places=self.words.listed(falls))] if falls else out

    def unset(self, limits: Limits) -> list[str]:
        """The limits that decide over a field and that nobody set, named."""
        return [self.words(f"tolerance_{name}_mm") for name in DECIDING if getattr(limits, name) is None]

    def verdict(self, finding: Finding) -> str:
        """The word of one finding, small: where it was measured and nobody set a limit, evidence is not what lacks."""
        unset = finding.word == UNKNOWN and finding.value_mm is not None and self.owned(finding.kind, False) is None
        return self.words("verdict_no_limit" if unset else f"verdict_{finding.word}").lower()

    def deepest(self, now: Standing) -> str:
        """The deepest low spot that is surely one, for a reader whom no limit tells where to look first."""
        low = [f for f in now.newest.findings if f.kind == LOW_SPOT and f.value_mm is not None and f.sigma_mm is not None and f.value_mm > Z95 * f.sigma_mm]
        if not low:
            return ""
        worst = max(low, key=lambda f: f.value_mm)
        return self.words("headline_unset_deepest", where=self.where(worst), height=self.height(worst.value_mm, worst.sigma_mm))

    def unknown(self, now: Standing) -> str:
        """What could not be judged, named; where no limit decides, that nobody set one."""
        unset = self.unset(now.limits)
        if len(unset) == len(DECIDING):
            return " ".join(filter(None, (self.words("headline_unset"), self.deepest(now))))
        names = [self.where(f) for f in now.newest.of(UNKNOWN) if f.kind == LOW_SPOT and not f.by_hand]
        if len(names) > FEW:
            names = [self.words.count("places", len(names))]
        edges = [self.placing.edge(e.edge_id) for e in now.newest.edges if e.verdict == UNKNOWN and not e.by_hand]
        if not now.newest.edges:
            edges = [self.words("all_edges")]
        if any(f.kind in (PLANARITY, GAP) for f in now.newest.of(UNKNOWN)):
            names.append(self.words("evenness"))
        if any(f.kind == FALL for f in now.newest.of(UNKNOWN)):
            names.append(self.words("how_it_falls"))
        more = " " + self.words("headline_some_unset", names=self.words.listed(unset)) if unset else ""
        return self.words("headline_unknown", what=self.words.listed(names + edges)) + more
