"""Where the fields lie: a mark a field, or a place with several, by rank and with the verdict in words. No ground behind it.

One projection for all: azimuthal equidistant about the middle of the fields, so that lengths from there are true in every
direction; a district is small enough for them to be true everywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Mapping, Sequence

import numpy as np
from pyproj import CRS, Transformer

from pipeline.coordinates import read_crs
from pipeline.report.figures import NBSP, TO, Units
from pipeline.report.svg import Frame, el, north, picture, words as text
from pipeline.report.words import Words, titled
from pipeline.surface.verdict import ORDER
from pipeline.units import FOOT_M

WIDE, LOW, TALL, FOOT = 480.0, 174.0, 330.0, 50.0
MARGIN = (96.0, 40.0)  # drawing units beside the outermost marks, and over and under them
LEAST_M = 120.0  # what is drawn across where all fields lie in one place
RADIUS, APART, SAME_SITE = 12.0, 30.0, 70.0  # of a mark; marks nearer than this are gathered, those of one site from here
LETTER, LINE, PAD = 8.2, 16.0, 3.0  # room a letter takes at the size the words are set in, a row of them, the air around
MOST_RUNS = 3
MILE_M = 5280 * FOOT_M
BARS = {
    "us": [(v, "ft", FOOT_M) for v in (20, 50, 100, 200, 500, 1000, 2000)] + [(v, "mi", MILE_M) for v in (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)],
    "metric": [(v, "m", 1.0) for v in (5, 10, 20, 50, 100, 200, 500)] + [(v, "km", 1000.0) for v in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)],
}


@dataclass(frozen=True)
class Spot:
    """One field: its rank from 1, verdict, and where home plate (or its middle) lies in its own CRS, in that CRS's units."""

    name: str
    site: str
    rank: int
    verdict: str
    crs: str
    e: float
    n: float


@dataclass(frozen=True)
class Gathered:
    """Fields under one mark. x, y: drawing coordinates"""

    spots: tuple[Spot, ...]
    x: float
    y: float

    @property
    def site(self) -> str:
        """The site that all of them belong to, or nothing."""
        sites = {s.site for s in self.spots}
        return sites.pop() if len(sites) == 1 else ""


def on_one_plane(spots: Sequence[Spot]) -> np.ndarray:
    """(n, 2) metres east and north of the middle of all spots; azimuthal equidistant on WGS 84.

    source : Snyder 1987, Map projections: a working manual, ch. 25; by PROJ
    """
    ball = CRS.from_epsg(4326)
    lonlat = np.array([Transformer.from_crs(read_crs(s.crs), ball, always_xy=True).transform(s.e, s.n) for s in spots], float)
    lon, lat = np.radians(lonlat).T
    x, y, z = (float(v.mean()) for v in (np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)))
    plane = CRS.from_dict({"proj": "aeqd", "lat_0": math.degrees(math.atan2(z, math.hypot(x, y))), "lon_0": math.degrees(math.atan2(y, x)), "ellps": "WGS84"})
    return np.column_stack(Transformer.from_crs(ball, plane, always_xy=True).transform(*lonlat.T))


def site_map(spots: Sequence[Spot], units: Units, words: Words) -> tuple[str, str]:
    """The drawing, and what it shows in words; both empty without any field."""
    if not spots:
        return "", ""
    metres = on_one_plane(spots)
    frame = _frame(metres)
    marks = gathered([Gathered((s,), *(float(v) for v in frame.xy(e, n))) for s, (e, n) in zip(spots, metres)])
    about = " ".join([words.count("site_map_about", len(spots), marks=len(marks)), *(f"{_whose(m, words)}: {'; '.join(verdicts(m, words))}." for m in marks)])
    inner = el("rect", x=0, y=0, width=frame.width, height=frame.height, class_="ground") + _named(frame, marks, words)
    inner += "".join(_mark(m) for m in marks) + _bar(frame, units) + north(frame, frame.width - 26, frame.height - 30, words("north"))
    return picture(frame.width, frame.height, "site-map", words("site_map"), about, inner, "map sites"), about


def sites_of(mark: Gathered) -> str | None:
    """The sites under a mark, parted by blanks: what a choice of site is held against."""
    return " ".join(sorted({s.site for s in mark.spots if s.site})) or None


def _frame(metres: np.ndarray) -> Frame:
    """A frame that holds all points, with room for their words; wide and low where they lie so."""
    west, south = metres.min(axis=0)
    east, north_ = metres.max(axis=0)
    wide, tall = WIDE - 2 * MARGIN[0], TALL - 2 * MARGIN[1]
    k = min(wide / max(east - west, LEAST_M), tall / max(north_ - south, LEAST_M / 4))
    height = max((north_ - south) * k + 2 * MARGIN[1], LOW)
    return Frame(None, (west + east) / 2 - WIDE / 2 / k, (south + north_) / 2 + height / 2 / k, k, WIDE, height + FOOT)


def gathered(marks: Sequence[Gathered]) -> list[Gathered]:
    """Marks that would cover one another, or lie near in one site, under one mark in their middle; in the order of their best rank."""
    marks = list(marks)
    while True:
        near = min(((d, i, j) for i, a in enumerate(marks) for j, b in enumerate(marks[:i]) if (d := math.hypot(a.x - b.x, a.y - b.y)) < (SAME_SITE if a.site and a.site == b.site else APART)), default=None)
        if near is None:
            return sorted(marks, key=lambda m: m.spots[0].rank)
        a, b = marks[near[1]], marks[near[2]]
        spots, n, m = tuple(sorted(a.spots + b.spots, key=lambda s: s.rank)), len(a.spots), len(b.spots)
        one = Gathered(spots, (n * a.x + m * b.x) / (n + m), (n * a.y + m * b.y) / (n + m))
        marks = [k for i, k in enumerate(marks) if i not in near[1:]] + [one]


def verdicts(mark: Gathered, words: Words) -> list[str]:
    """'unsafe: 1', 'watch: 3-5, 9': the ranks under each verdict, worst first."""
    out = []
    for word in ORDER:
        ranks = [s.rank for s in mark.spots if s.verdict == word]
        if ranks:
            out.append(words("site_map_verdict", verdict=words(f"verdict_{word}"), ranks=_runs(ranks, words)))
    return out


def _runs(ranks: Sequence[int], words: Words) -> str:
    """'1, 3-5 and 9', ranks in a row drawn together, and after MOST_RUNS how many more there are."""
    runs: list[list[int]] = []
    for r in ranks:
        if runs and r == runs[-1][-1] + 1:
            runs[-1].append(r)
        else:
            runs.append([r])
    shown = [str(r[0]) if len(r) == 1 else f"{r[0]}{', ' if len(r) == 2 else TO}{r[-1]}" for r in runs[:MOST_RUNS]]
    more = sum(len(r) for r in runs[MOST_RUNS:])
    return ", ".join(shown) + (" " + words.count("and_more", more) if more else "")


def _whose(mark: Gathered, words: Words) -> str:
    """A field by its name, fields of one site by the site's."""
    return mark.spots[0].name if len(mark.spots) == 1 else titled(mark.site) if mark.site else words("site_map_several", number=len(mark.spots))


def _mark(mark: Gathered) -> str:
    """A round mark for a field, a square one for several; the number is the rank, of several the first."""
    first = mark.spots[0]
    shape = el("circle", r=RADIUS) if len(mark.spots) == 1 else el("rect", x=-RADIUS, y=-RADIUS, width=2 * RADIUS, height=2 * RADIUS)
    label = text(0, 4.5, str(first.rank), text_anchor="middle")
    return el("g", el("g", shape + label, class_=f"place {first.verdict.replace('_', '-')}"), data_site=sites_of(mark), transform=f"translate({mark.x:.1f} {mark.y:.1f})")


def _named(frame: Frame, marks: Sequence[Gathered], words: Words) -> str:
    """Name and verdicts beside each mark where they cover nothing; else name and worst verdict, else the name, else nothing: the
    list beside the map says it all."""
    taken = [(m.x - RADIUS - PAD, m.y - RADIUS - PAD, m.x + RADIUS + PAD, m.y + RADIUS + PAD) for m in marks]
    taken.append((0.0, frame.height - FOOT, frame.width, frame.height))
    out = ""
    for m in marks:
        name, said = _whose(m, words), verdicts(m, words)
        for lines in ([name, *said], [name, said[0], *([words("site_map_else")] if said[1:] else [])], [name]):
            at = _room(frame, m, lines, taken)
            if at is None:
                continue
            x, y, anchor, box = at
            taken.append(box)
            out += "".join(text(x, y + LINE * k, line, class_="placed figure" if k == 0 else "placed", text_anchor=anchor, data_site=sites_of(m)) for k, line in enumerate(lines))
            break
    return out


def _room(frame: Frame, mark: Gathered, lines: Sequence[str], taken: Sequence[tuple]) -> tuple[float, float, str, tuple] | None:
    """Where words stand free: right, left, under or over the mark; first row's place, anchor, and the box they take."""
    wide, tall = LETTER * max(map(len, lines)), LINE * len(lines)
    beside, under = RADIUS + 6, RADIUS + 4
    for dx, dy, anchor in ((beside, -tall / 2, "start"), (-beside, -tall / 2, "end"), (0, under, "middle"), (0, -under - tall, "middle"),
                           (beside, -tall, "start"), (-beside, -tall, "end"), (beside, 0, "start"), (-beside, 0, "end")):  # fmt: skip
        x, y = mark.x + dx, mark.y + dy
        left = x - {"start": 0.0, "end": wide, "middle": wide / 2}[anchor]
        box = (left, y, left + wide, y + tall)
        inside = box[0] >= 2 and box[2] <= frame.width - 2 and box[1] >= 2
        if inside and not any(a[0] < box[2] and box[0] < a[2] and a[1] < box[3] and box[1] < a[3] for a in taken):
            return x, y + LINE - 4, anchor, box
    return None


def _bar(frame: Frame, units: Units) -> str:
    """A bar of a round length, a quarter of the drawing at most."""
    fits = [(v, name, size) for v, name, size in BARS[units.system] if v * size * frame.k <= frame.width / 4]
    length, name, size = fits[-1] if fits else BARS[units.system][0]
    wide, x, y = length * size * frame.k, 14.0, frame.height - 28
    bar = el("path", d=f"M{x:.1f} {y - 6:.1f}V{y:.1f}H{x + wide:.2f}V{y - 6:.1f}", class_="scale", data_length=f"{length:g} {name}", data_wide=f"{wide:.2f}")
    return bar + text(x, y + 17, f"{length:g}{NBSP}{name}", class_="placed")


def site_list(spots: Sequence[Spot], words: Words) -> list[list[str]]:
    """Rank, field, site and verdict of each, in order: what the marks mean."""
    return [[str(s.rank), s.name, titled(s.site), words(f"verdict_{s.verdict}")] for s in sorted(spots, key=lambda s: s.rank)]


def spots_of(ranked: Sequence[tuple[str, str, str, str]], rows: Mapping[str, Mapping], centres: Mapping[str, tuple[str, float, float]]) -> list[Spot]:
    """Spots of fields in their ranked order.

    ranked  : field_id, name, site, verdict of each
    rows    : field_id -> row of the table of fields
    centres : field_id -> CRS, easting, northing of those whose row says no home point; a field in neither is left out
    """
    out = []
    for rank, (field_id, name, site, verdict) in enumerate(ranked, start=1):
        row = rows[field_id]
        told = (row["crs"], row["home_e"], row["home_n"]) if row.get("home_e") is not None and row.get("home_n") is not None else centres.get(field_id)
        if told is not None:
            out.append(Spot(name, site, rank, verdict, *told))
    return out
