"""Where something lies, in the words of people who work on the field."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.diamond.axes import Axes
from pipeline.diamond.by_play import AT_M, COMPASS, by_play
from pipeline.diamond.layout import Layout
from pipeline.report.figures import NBSP, Units, printed
from pipeline.report.words import Words

# Counter-clockwise from first base as seen from the middle of the square: where play names the ground.
SECTORS = ("first", "first-second", "second", "second-third", "third", "third-home", "home", "home-first")
INSIDE_SHARE = 0.35  # of the way from the middle of the square to second base: nearer, only a side is named


@dataclass(frozen=True)
class Placing:
    """A field's layout with the words and units of its readers."""

    layout: Layout
    words: Words
    units: Units

    def place(self, place_id: str) -> str:
        """A declared place or zone: 'second base', 'first base (60 ft bases)'."""
        return place_words(self.words, place_id)

    def edge(self, edge_id: str) -> str:
        """A grass edge: 'outer edge'; a drawn one keeps the name it was drawn under."""
        return edge_words(self.words, edge_id)

    def spot(self, low_spot_id: str, e: float, n: float) -> str:
        """A declared place by its name; a found pond by its way from the nearest one."""
        if not low_spot_id.startswith("pond-"):
            return self.place(low_spot_id)
        found = by_play(e, n, self.layout.places, self.layout.axes)
        if found is not None and found.away_m < AT_M:
            return self.place(found.place.place_id)
        return self.words("pond_at", where=self.at(e, n))

    def at(self, e: float, n: float) -> str:
        """A spot from the nearest declared place: '7 ft behind second base, right-field side'; where none is declared, the
        part of the infield."""
        found = by_play(e, n, self.layout.places, self.layout.axes)
        if found is None:
            return self.by(e, n)
        place, unit = self.place(found.place.place_id), self.units.length
        if found.away_m < AT_M:
            return self.words("at_place", place=place)
        distance = f"{printed(found.away_m / unit.size, 0)}{NBSP}{unit.name}"
        if found.compass:
            return self.words("from_place", distance=distance, side=self.words(f"compass_{found.compass}"), place=place)
        key = f"at_{found.ahead}" if found.inside else f"away_{found.ahead}"
        side = self.words("on_side", side=self.words(f"play_{found.side}")) if found.side else ""
        return self.words(key, distance=distance, place=place) + side

    def by(self, e: float, n: float) -> str:
        """The part of the infield: 'by second base', 'between first and second base'; else the side of the compass."""
        if self.layout.axes is None or not self.layout.anchors:
            x, y = self.layout.centre
            return self.words("by_side", side=self.words(f"compass_{compass(e - x, n - y)}"))
        x0, y0 = middle(self.layout)
        x, y = self.layout.axes.local(e, n)
        near = math.hypot(x - x0, y - y0) < INSIDE_SHARE * y0
        return self.words(f"{'side' if near else 'by'}_{sector(self.layout.axes, x0, y0, e, n)}")


def place_words(words: Words, place_id: str) -> str:
    """A place id in words; `-60` marks the second base set."""
    name, _, feet = place_id.rpartition("-")
    if name and feet.isdigit() and words.knows(f"place_{name}"):
        return words("of_base_set", place=words(f"place_{name}"), feet=feet)
    return words(f"place_{place_id}") if words.knows(f"place_{place_id}") else place_id


def edge_words(words: Words, edge_id: str) -> str:
    return words(f"edge_{edge_id}") if words.knows(f"edge_{edge_id}") else words("edge_named", name=edge_id)


def compass(east: float, north: float) -> str:
    """One of eight directions, clockwise from grid north."""
    return COMPASS[int((math.degrees(math.atan2(east, north)) % 360.0 + 22.5) // 45) % 8]


def middle(layout: Layout) -> tuple[float, float]:
    """Middle of the square between home and second base, in diamond axes, m."""
    _, y = layout.axes.local(*layout.anchors["second"])
    return 0.0, float(y) / 2


def sector(axes: Axes, x0: float, y0: float, e: float, n: float) -> str:
    """Which eighth of the infield a point lies in, seen from the middle of the square."""
    x, y = axes.local(e, n)
    angle = math.degrees(math.atan2(float(y) - y0, float(x) - x0)) % 360.0
    return SECTORS[int((angle + 22.5) // 45) % 8]
