"""What changed between two surveys of a field, in sentences: only what was detected, then what was not in one line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

from pipeline.report.figures import Z95, decimals_of, figure, printed, rounded
from pipeline.report.saying import Sayer
from pipeline.report.words import opened
from pipeline.surface.loose import TOPDRESSED, not_comparable
from pipeline.survey.cells.plants import PLANTS_MAY
from pipeline.units import LENGTH_UNITS, SHORT_TON_T, YARD3_M3

GRASS_MM = 5.0  # grass that moved less than this along an edge is not worth a line
SKIN = "skin"
TABLE_MM = 0.1  # what the rounding of a change and of its s.d. in the tables can make
FEW = 3  # so many names are read; more are counted


@dataclass(frozen=True)
class Pair:
    """The rows of one pair of surveys."""

    zones: tuple[dict, ...]
    spots: tuple[dict, ...]
    edges: tuple[dict, ...]

    @classmethod
    def of(cls, rows: dict[str, list[dict]], earlier: str, later: str) -> Pair:
        def mine(name: str) -> tuple[dict, ...]:
            return tuple(r for r in rows[name] if (r["from_survey"], r["to_survey"]) == (earlier, later))

        return cls(mine("change"), mine("low_spot_change"), mine("lip_change"))

    @property
    def grown(self) -> bool:
        """Whether a segment of an edge changed: what a map draws beside it."""
        return any(r["detected"] and r["station_m"] is not None for r in self.edges)

    @property
    def drawn(self) -> bool:
        """Whether a map of this change would show any."""
        return self.grown or any(r["detected"] for r in self.zones)

    @property
    def relative(self) -> bool:
        return any(r["relative"] for r in self.zones)

    @property
    def skin(self) -> dict | None:
        return next((r for r in self.zones if r["zone"] == SKIN), None)


def detected(pair: Pair, sayer: Sayer) -> list[str]:
    """A sentence for each place and edge that changed: the whole skin first, then by size, in mm."""
    zones = {r["zone"]: r for r in pair.zones if r["detected"]}
    spots = {r["low_spot_id"]: r for r in pair.spots if r["detected"]}
    out = [_skin(zones[SKIN], pair.relative, sayer)] if SKIN in zones else []
    sized = []
    for place in dict.fromkeys([*spots, *(z for z in zones if z != SKIN)]):
        depth, mean = spots.get(place), zones.get(place)
        size = abs(depth["depth_change_mm"]) if depth else abs(mean["mean_mm"])
        sized.append((-size, place, _place(place, depth, mean, pair.relative, sayer)))
    return out + [text for *_, text in sorted(sized + _edges(pair.edges, sayer))]


def _skin(row: dict, relative: bool, sayer: Sayer) -> str:
    way = "lost" if row["mean_mm"] < 0 else "gained"
    return sayer.words(f"skin_{way}", height=_shown(row["mean_mm"], row["mean_sigma_mm"], sayer))


def _place(place: str, depth: dict | None, mean: dict | None, relative: bool, sayer: Sayer) -> str:
    name = opened(_name(place, depth, sayer))
    parts = []
    if depth is not None:
        way = "deeper" if depth["depth_change_mm"] > 0 else "shallower"
        parts.append(sayer.words(f"spot_{way}", place=name, height=_shown(depth["depth_change_mm"], depth["depth_change_sigma_mm"], sayer)))
    if mean is not None:
        way = "lost" if mean["mean_mm"] < 0 else "gained"
        key = f"ground_{way}" if parts else f"place_{way}_height"
        key += "_relative" if relative else ""
        parts.append(sayer.words(key, place=name, height=_shown(mean["mean_mm"], mean["mean_sigma_mm"], sayer)))
    return "; ".join(parts) + "."


def _name(place: str, depth: dict | None, sayer: Sayer) -> str:
    if depth is not None and place in sayer.ponds:
        return sayer.placing.spot(place, *sayer.ponds[place])
    return sayer.placing.place(place)


def _edges(rows: Sequence[dict], sayer: Sayer) -> list[tuple[float, str, str]]:
    """Minus the biggest growth, edge and sentence of each edge whose lip changed."""
    out = []
    for edge_id in dict.fromkeys(r["edge_id"] for r in rows):
        mine = [r for r in rows if r["edge_id"] == edge_id and r["growth_mm"] is not None]
        whole = next((r for r in mine if r["station_m"] is None and r["detected"]), None)
        parts = [r for r in mine if r["station_m"] is not None and r["detected"]]
        if whole is None and not parts:
            continue
        text = []
        name = sayer.placing.edge(edge_id)
        if whole is not None:
            text.append(sayer.words(f"lip_{_way(whole)}", edge=name, height=_growth(whole, sayer)))
        if parts:
            most = max(parts, key=lambda r: abs(r["growth_mm"]))
            key = "lip_most" if whole is not None else f"lip_{_way(most)}_at"
            at = sayer.words("metres_about", at=_station(most["station_m"], sayer))
            text.append(sayer.words(key, edge=name, at=at, height=_growth(most, sayer)))
        size = max(abs(r["growth_mm"]) for r in (whole, *parts) if r is not None)
        out.append((-size, edge_id, "; ".join(text) + "."))
    return out


def _way(row: dict) -> str:
    return "grew" if row["growth_mm"] > 0 else "fell"


def _growth(row: dict, sayer: Sayer) -> str:
    return _shown(row["growth_mm"], row["growth_sigma_mm"], sayer)


def _shown(change_mm: float, sigma_mm: float, sayer: Sayer) -> str:
    """A detected change without its sign. The tables keep 0.1 mm: their rounding must not make it look undetected."""
    size = abs(change_mm)
    return sayer.height(size, min(sigma_mm, size / Z95) if sigma_mm - size / Z95 <= TABLE_MM else sigma_mm)


def _station(station_m: float, sayer: Sayer) -> str:
    return sayer.length(station_m)


def judged(pair: Pair) -> bool:
    """Whether anything of the pair could have been called changed."""
    return (any(r["p_holm"] is not None for r in pair.zones) or any(r["depth_change_mm"] is not None for r in pair.spots)
            or any(r["growth_mm"] is not None for r in pair.edges))  # fmt: skip


def quiet(pair: Pair, sayer: Sayer) -> str:
    """One line: where no change was detected, by name where few, else by number; and what could not be compared.

    Where nothing changed at all, the same line says what was compared.
    """
    words = sayer.words
    changed = {r["low_spot_id"] for r in pair.spots if r["detected"]} | {r["zone"] for r in pair.zones if r["detected"]}
    seen = [r["zone"] for r in pair.zones if r["mean_mm"] is not None]
    still = [z for z in seen if z not in changed and z != SKIN]
    names = [words("place_skin")] if SKIN in seen and SKIN not in changed else []
    names += [sayer.placing.place(z) for z in still] if len(still) <= FEW else [words.count("other_places", len(still))]
    told = dict.fromkeys(r["edge_id"] for r in pair.edges if r["growth_mm"] is not None)
    grown = {r["edge_id"] for r in pair.edges if r["detected"]}
    flat = [e for e in told if e not in grown]
    names += [words("lip_along", edge=sayer.placing.edge(e)) for e in flat] if len(flat) <= FEW else [words.count("lips_along", len(flat))]
    lost = [sayer.placing.edge(e) for e in dict.fromkeys(r["edge_id"] for r in pair.edges) if e not in told]
    any_found = bool(changed or grown)
    text = words("not_detected" if any_found else "compared", places=words.listed(names)) if names else ""
    return " ".join(t for t in (text, words("not_compared", places=words.listed(lost)) if lost else "") if t)


def chance(pair: Pair, sayer: Sayer) -> str:
    """How many places stood to be picked: each depth is held against its own 95 % range."""
    compared = sum(r["depth_change_mm"] is not None for r in pair.spots)
    return sayer.words("by_chance", number=compared) if any(r["detected"] for r in pair.spots) else ""


def volumes(pair: Pair, sayer: Sayer) -> str:
    """Gained and lost on the skin, noise included; what noise alone would show; the net with its range."""
    row = pair.skin
    if row is None or row["gain_m3"] is None:
        return ""
    unit = sayer.units.volume
    decimals = min(decimals_of(max(row["noise_m3"] / unit.size, 1e-6)), unit.finest)
    gross = {k: f"{printed(row[f'{k}_m3'] / unit.size, max(decimals, 0))}\u00a0{unit.name}" for k in ("gain", "loss", "noise")}
    net = figure(row["net_m3"], row["net_sigma_m3"], unit, signed=True)
    return sayer.words("volumes_relative" if pair.relative else "volumes", net=net, **gross)


def grass(pair: Pair, sayer: Sayer) -> str:
    """How much taller or shorter the grass along the edges stood, where that was told."""
    whole = [r["canopy_change_mm"] for r in pair.edges if r["station_m"] is None and r["canopy_change_mm"] is not None]
    if not whole or max(map(abs, whole)) < GRASS_MM:
        return ""
    low, high = (sayer.height(v, signed=True) for v in (min(whole), max(whole)))
    return sayer.words("grass_between", low=low, high=high) if low != high else sayer.words("grass_by", by=low)


def covered(pair: Pair, sayer: Sayer) -> list[str]:
    """What weeds keep from being compared, and what is not called changed because low plants may have grown or gone."""
    out = []
    for key, begins in (("change_weeds", "weeds cover"), ("change_may_weeds", PLANTS_MAY)):
        places = dict.fromkeys([r["zone"] for r in pair.zones if (r.get("reason") or "").startswith(begins)]
                               + [r["low_spot_id"] for r in pair.spots if (r.get("reason") or "").startswith(begins)])  # fmt: skip
        names = [_name(p, next((r for r in pair.spots if r["low_spot_id"] == p), None), sayer) for p in places]
        if names:
            out.append(sayer.words(key, places=sayer.words.listed(names)))
    return out


def tickets(works: Sequence, material, pair: Pair, sayer: Sayer) -> str:
    """Mix brought between the two dates against the net volume that the surveys show."""
    placed_m3 = [v for v in (placed_volume(w, material) for w in works if "mix_amount" in w.values) if v is not None]
    if not placed_m3 or pair.skin is None or pair.skin["net_m3"] is None or pair.relative:
        return ""
    row, unit, brought = pair.skin, sayer.units.volume, sum(placed_m3)
    apart = abs(row["net_m3"] - brought) > Z95 * row["net_sigma_m3"]
    text, _ = rounded(brought / unit.size, max(Z95 * row["net_sigma_m3"] / unit.size, 1e-6), unit.finest)
    net = figure(row["net_m3"], row["net_sigma_m3"], unit, signed=True)
    return sayer.words("tickets_apart" if apart else "tickets_agree", brought=f"{text}\u00a0{unit.name}", net=net)


def placed_volume(work, material) -> float | None:
    """Placed, settled volume of the mix in a row of works, m3; None where the config lacks the density for it."""
    placed, loose = material.placed_t_per_m3, material.loose_t_per_m3
    per_unit = {"tonne": 1.0, "short_ton": SHORT_TON_T, "yd3_loose": YARD3_M3, "m3_loose": 1.0}[work["mix_unit"]]
    amount = work["mix_amount"] * per_unit
    if placed is None:
        return None
    if work["mix_unit"] in ("tonne", "short_ton"):
        return amount / placed.value
    return None if loose is None else amount * loose.value / placed.value


def states(earlier, later, sayer: Sayer) -> str:
    """How the surface was on the two days, where the tables say so and it differs: loose mix moves at every drag."""
    words = sayer.words
    a, b = (tuple(r.get("surface_state", ())) for r in (earlier, later))
    unsaid = [sayer.day(r["flown_on"], r["survey_id"]) for r, found in ((earlier, a), (later, b)) if not found]
    if unsaid:
        return words("states_unknown", day=words.listed(unsaid))
    why = [
        words("states_topdressed") if x == TOPDRESSED else words("states_pair", earlier=words(f"state_{x}"), later=words(f"state_{y}"))
        for x, y in not_comparable(a, b)
    ]  # fmt: skip
    said = [words.listed([words(f"state_{w}") for w in found]) for found in (a, b)]
    told = words("states_differ", earlier=said[0], later=said[1]) if set(a) != set(b) else ""
    return " ".join(filter(None, (told, words("states_apart", why=words.listed(why)) if why else "")))


def done_between(works: Sequence, earlier_on: str, later_on: str) -> list:
    """Rows of works done after the earlier survey, up to the day of the later one; of two surveys on one day, that day's."""
    return [w for w in works if earlier_on < (on := str(w["done_on"])) <= later_on or earlier_on == on == later_on]


def work_line(work, sayer: Sayer) -> str:
    """'10 November 2025: mix added, 12.2 short tons, by the crew'."""
    words = sayer.words
    parts = [words(f"work_{work['work']}")]
    if "zone" in work.values and work["zone"] != SKIN:
        parts.append(sayer.placing.place(work["zone"]))
    if "depth" in work.values:
        parts.append(words("depth_of", height=sayer.height(work["depth"] * LENGTH_UNITS[work["depth_unit"]] * 1000)))
    if "mix_amount" in work.values:
        parts.append(words(f"amount_{work['mix_unit']}", amount=f"{work['mix_amount']:g}"))
    if "by" in work.values:
        parts.append(words(f"by_{work['by']}"))
    if "notes" in work.values:
        parts.append(work["notes"])
    return words("on_day", day=words.date(work["done_on"]), what=", ".join(parts))
