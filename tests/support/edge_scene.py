"""Clouds along curved grass edges with known lips: strips of points drawn straight in (station, distance).

Independent of the package's own simulator and of its edge frame: positions are made from arcs and straights
in closed form, so station and distance of a point are known and never searched for. The figures are the declared
conditions of the method (noise, canopy, edge and lip, each drawn anew at each date unless the ground keeps it).
Heights in mm inside, metres outside.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import LineString, Polygon

from support.random_ground import random_field, random_line, read_field, read_line

from pipeline.diamond.edges import Edge
from pipeline.survey.points import Ground

D_LO, D_HI = -3.0, 2.6
TICK = 1e-4


@dataclass(frozen=True)
class Instrument:
    """An instrument's errors; parts are (s.d. mm, range m), the dome is stated at 30 m, horizontal_mm per axis."""

    name: str
    spacing_m: float
    white_mm: float
    parts: tuple[tuple[float, float], ...]
    shift_mm: float
    tilt_mm_per_m: float
    dome_mm: float
    horizontal_mm: float
    blur_m: float
    lidar: bool = False


GOOD = Instrument("good", 0.030, 4, ((3, 0.15), (2, 1.0), (3, 8)), 20, 0.20, 10, 10, 0.010)
WEAK = Instrument("weak", 0.040, 9, ((6, 0.25), (3.5, 1.5), (6, 8)), 50, 0.50, 25, 25, 0.020)
LIDAR = Instrument("lidar", 0.040, 12, ((2, 0.4), (1.5, 1.5), (4, 10)), 30, 0.20, 3, 15, 0.015, lidar=True)
INSTRUMENTS = {i.name: i for i in (GOOD, WEAK, LIDAR)}


@dataclass(frozen=True)
class Piece:
    """An arc (radius > 0) or a straight: start station, length, and how (station, left offset) becomes a place."""

    start: float
    length: float
    x0: float  # centre of the arc, or start of the straight
    y0: float
    radius: float  # 0 for a straight
    angle0: float  # of the arc's start seen from its centre, or the straight's direction
    sweep_sign: float  # +1 counter-clockwise

    def place(self, s: np.ndarray, left: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        along = s - self.start
        if self.radius == 0:
            c, q = np.cos(self.angle0), np.sin(self.angle0)
            return self.x0 + along * c - left * q, self.y0 + along * q + left * c
        a = self.angle0 + self.sweep_sign * along / self.radius
        r = self.radius - self.sweep_sign * left
        return self.x0 + r * np.cos(a), self.y0 + r * np.sin(a)

    def stretch(self, left: np.ndarray) -> np.ndarray:
        """Length of the offset line over length of the line."""
        return np.ones_like(left) if self.radius == 0 else 1 - self.sweep_sign * left / self.radius

    def distance(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        if self.radius == 0:
            c, q = np.cos(self.angle0), np.sin(self.angle0)
            t = np.clip((x - self.x0) * c + (y - self.y0) * q, 0, self.length)
            return np.hypot(x - self.x0 - t * c, y - self.y0 - t * q)
        a = (np.arctan2(y - self.y0, x - self.x0) - self.angle0) * self.sweep_sign % (2 * np.pi)
        on = np.abs(np.hypot(x - self.x0, y - self.y0) - self.radius)
        ends = [self.place(np.float64(self.start + e), np.float64(0.0)) for e in (0.0, self.length)]
        off = np.minimum(*(np.hypot(x - ex, y - ey) for ex, ey in ends))
        return np.where(a <= self.length / self.radius, on, off)


@dataclass(frozen=True)
class Line:
    """One true edge: consecutive pieces."""

    edge_id: str
    pieces: tuple[Piece, ...]
    grass_left: bool

    @property
    def length(self) -> float:
        return self.pieces[-1].start + self.pieces[-1].length

    def vertices(self, step: float = 0.2, off=None) -> np.ndarray:
        """Points of the line, moved by off(station) into the grass; corners stay corners."""
        out = []
        for p in self.pieces:
            s = p.start + np.linspace(0, p.length, max(int(np.ceil(p.length / step)), 1) + 1)
            left = np.zeros_like(s) if off is None else off(s) * (1 if self.grass_left else -1)
            out.append(np.column_stack(p.place(s, left)))
        xy = np.vstack(out)
        return xy[np.r_[True, np.hypot(*np.diff(xy, axis=0).T) > 0.02]]


def _arc(start, x0, y0, radius, a0, a1) -> Piece:
    return Piece(start, abs(a1 - a0) * radius, x0, y0, radius, a0, 1.0 if a1 > a0 else -1.0)


def _straight(start, x0, y0, x1, y1) -> Piece:
    return Piece(start, float(np.hypot(x1 - x0, y1 - y0)), x0, y0, 0.0, float(np.arctan2(y1 - y0, x1 - x0)), 1.0)


def grass_infield(side=21.34, arc=19.81, pitch=15.24, cut=3.35, strip=0.9144, mound=0.0) -> tuple[Line, ...]:
    """The edges of a grass infield on 70 ft bases: foul line along x, third-base line along y, home at the origin.

    The base paths are 1.83 m wide with grass on both sides; four cut-outs make eight corners in `infield`.
    """
    t = np.sqrt(cut**2 - strip**2)
    bite = np.arcsin(strip / cut)
    c = pitch / np.sqrt(2)
    reach = c + np.sqrt(arc**2 - (c + strip) ** 2)
    a0 = np.arctan2(-strip - c, reach - c)
    outer = Line("outer", (_arc(0, c, c, arc, a0, np.pi / 2 - a0),), False)
    third = Line("foul-third", (_straight(0, -strip, reach, -strip, t),), False)
    home = Line("home", (_arc(0, 0, 0, cut, np.pi / 2 + bite, 2 * np.pi - bite),), False)
    first = Line("foul-first", (_straight(0, t, -strip, reach, -strip),), False)
    pieces, start = [], 0.0
    for k, (hx, hy) in enumerate([(0, 0), (side, 0), (side, side), (0, side)]):
        turn = k * np.pi / 2
        u, v = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        p0, p1 = [hx, hy] + t * u + strip * v, [hx, hy] + (side - t) * u + strip * v
        pieces.append(_straight(start, *p0, *p1))
        start += pieces[-1].length
        corner = np.array([hx, hy]) + side * u
        pieces.append(_arc(start, *corner, cut, np.pi - bite + turn, np.pi / 2 + bite + turn))
        start += pieces[-1].length
    infield = Line("infield", tuple(pieces), True)
    lines = (outer, third, home, first, infield)
    if mound:
        x = pitch / np.sqrt(2)
        lines += (Line("mound", (_arc(0, x, x, mound, -0.75 * np.pi, 1.25 * np.pi),), False),)
    return lines


def small_infield(mound: float = 0.0) -> tuple[Line, ...]:
    """The same in half the length, for tests that must be quick."""
    return grass_infield(13.0, 12.0, 9.5, 2.4, mound=mound)


def single_arc(radius=20.0, length=50.0) -> tuple[Line, ...]:
    """One outer arc alone."""
    half = length / radius / 2
    return (Line("outer", (_arc(0, 0, 0, radius, np.pi / 2 - half, np.pi / 2 + half),), False),)


def skin_polygon(lines: tuple[Line, ...]) -> Polygon:
    """The bare ground that the lines enclose, lawn and so on taken out."""
    by_id = {line.edge_id: line for line in lines}
    if "infield" not in by_id:
        line = lines[0]
        xy = line.vertices()
        back = line.vertices(off=lambda s: np.full_like(s, -4.0))
        return Polygon(np.vstack([xy, back[::-1]])).buffer(0)
    ring = np.vstack([by_id[k].vertices() for k in ("outer", "foul-third", "home", "foul-first")])
    skin = Polygon(ring).difference(Polygon(by_id["infield"].vertices()))
    return skin.union(Polygon(by_id["mound"].vertices())) if "mound" in by_id else skin


@dataclass(frozen=True)
class Lip:
    """What stands along one edge, mm and m; `step` is how much higher the turf's soil stands than the skin."""

    height: float = 20.0
    growth: float = 0.0
    crest: float = 0.13
    w_in: float = 0.13
    w_out: float = 0.30
    power: float = 2.3
    step: float = 0.0
    kink: float = 0.0  # slope of the turf beyond the edge against the skin's, mm per m


def random_lip(rng: np.random.Generator) -> Lip:
    growth = 0.0 if rng.random() < 0.34 else rng.uniform(2, 14)
    return Lip(rng.uniform(12, 35), growth, rng.uniform(0.08, 0.20), rng.uniform(0.10, 0.16), rng.uniform(0.22, 0.38),
               rng.uniform(1.8, 2.8), 0.0, 3 * rng.standard_normal())  # fmt: skip


@dataclass(frozen=True)
class Options:
    """What a scene may be asked to do differently."""

    canopy_mm: tuple[float, float] | None = None  # at the two dates; None draws 28 +/- 6
    horizontal: bool = True
    shift_later_m: tuple[float, float] = (0.0, 0.0)  # put on the later date besides
    drawn_off_mm: float = 25.0
    drawn_shift_m: float = 0.0  # the whole drawn line too far in the grass
    topdress_mm: float = 0.0  # mix laid on the skin between the dates
    colour: bool = True
    strip_pct: float = 3.0
    thinning: float = 0.15  # of cover on a 30 mm lip
    hidden: float = 0.0  # share of the soil grown since the earlier date that stands hidden between the blades
    texture: float = 1.0  # factor on the canopy's texture of 12 % @ 0.20 m and 8 % @ 3 m
    dust: float = 0.0  # share of green points near the edge turned brown at the later date, the blades as before
    noise: float = 1.0
    uneven_mm: float = 2.0  # the ground's own, @ 3 m, the same at both dates


@dataclass
class Scene:
    """A field's edges at two dates. `lips` may be given; else each is drawn."""

    seed: int
    instrument: Instrument
    lines: tuple[Line, ...] = field(default_factory=grass_infield)
    lips: dict[str, Lip] | None = None
    options: Options = Options()

    def __post_init__(self):
        rng = np.random.default_rng([self.seed, 1])
        if self.lips is None:
            self.lips = {line.edge_id: random_lip(rng) for line in self.lines}
        self.skin = skin_polygon(self.lines)
        self.true, self.drawn = {}, {}
        o = self.options
        for line in self.lines:
            n = int(line.length / 0.1) + 60
            tracks = {
                "height": 1 + 0.15 * random_line(rng, n, 5.0),
                "growth": 1 + 0.15 * random_line(rng, n, 5.0),
                "drawn": o.drawn_off_mm / 1000 * random_line(rng, n, 3.0),
            }
            self.true[line.edge_id] = tracks
            xy = line.vertices(off=lambda s, t=tracks: read_line(t["drawn"], s) + o.drawn_shift_m)
            if np.hypot(*(line.vertices()[0] - line.vertices()[-1])) < 0.05:
                xy[-1] = xy[0]
            self.drawn[line.edge_id] = Edge(line.edge_id, LineString(xy), line.grass_left, "drawn")
        self.slope = rng.uniform(6, 12), rng.uniform(0, 2 * np.pi)
        self.unevenness = random_field(rng, 3.0)
        bounds = self.skin.bounds
        self.west, self.south = np.floor(bounds[0]) - 8, np.floor(bounds[1]) - 8
        self.centre = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2

    @property
    def edges(self) -> list[Edge]:
        return list(self.drawn.values())

    def true_edge(self, edge_id: str) -> Edge:
        line = next(x for x in self.lines if x.edge_id == edge_id)
        xy = line.vertices()
        if np.hypot(*(xy[0] - xy[-1])) < 0.05:
            xy[-1] = xy[0]
        return Edge(edge_id, LineString(xy), line.grass_left, "drawn")

    def growth(self, edge_id: str, stations: np.ndarray) -> float:
        """Mean growth of the crest over true stations, mm."""
        return float(np.mean(self.lips[edge_id].growth * read_line(self.true[edge_id]["growth"], stations)))

    def rise(self, edge_id: str, stations: np.ndarray, date: int = 0) -> np.ndarray:
        """Crest over skin at the stations, mm: the lip's height and what of the soil step stands at the crest."""
        lip = self.lips[edge_id]
        return self.height(edge_id, stations, date) + lip.step * cover_at(np.float64(lip.crest))

    def height(self, edge_id: str, s: np.ndarray, date: int) -> np.ndarray:
        lip, t = self.lips[edge_id], self.true[edge_id]
        return lip.height * read_line(t["height"], s) + date * lip.growth * read_line(t["growth"], s)

    def moved(self, date: int) -> np.ndarray:
        """How far sideways a date's points lie, east and north, m."""
        rng = np.random.default_rng([self.seed, 3, date])
        random = rng.standard_normal(2) * self.instrument.horizontal_mm / 1000 * self.options.horizontal
        return random + np.asarray(self.options.shift_later_m) * date

    def survey(self, date: int) -> Ground:
        """The ground points of one date, 0 or 1."""
        rng = np.random.default_rng([self.seed, 2, date])
        ins, o = self.instrument, self.options
        canopy = 28 + 6 * rng.standard_normal() if o.canopy_mm is None else o.canopy_mm[date]
        fields = [(sd * o.noise, random_field(rng, r)) for sd, r in ins.parts]
        texture = random_field(rng, 0.20), random_field(rng, 3.0)
        skin_move = (-1 + 2 * rng.standard_normal(), random_field(rng, 4.0)) if date else (0.0, None)
        drift = rng.standard_normal(4) * [ins.shift_mm, ins.tilt_mm_per_m, ins.tilt_mm_per_m, ins.dome_mm / 900]
        swath = 3 * rng.standard_normal(200) if ins.lidar else None
        move = self.moved(date)
        parts = []
        for line in self.lines:
            strip = 1 + o.strip_pct / 100 * rng.standard_normal()
            ragged = 0.015 * random_line(rng, int(line.length / 0.1) + 60, 0.4) * (o.noise > 0)
            parts.append(self._strip(rng, line, date, canopy, strip, ragged, texture, skin_move))
        x, y, z, cover = (np.concatenate(c) for c in zip(*parts))
        for sd, f in fields:
            z += sd * read_field(f, x, y)
        dx, dy = x - self.centre[0], y - self.centre[1]
        z += o.noise * (drift[0] + drift[1] * dx + drift[2] * dy + drift[3] * (dx**2 + dy**2))
        if swath is not None:
            lane = np.floor(x / 7.5).astype(int) + rng.integers(0, 2, len(x))
            z += o.noise * swath[lane + 100]
        z += o.noise * ins.white_mm * rng.standard_normal(len(z))
        order = rng.permutation(len(x))
        return self._ground(rng, x[order] + move[0], y[order] + move[1], z[order], cover[order])

    def _strip(self, rng, line, date, canopy, strip, ragged, texture, skin_move):
        """Points of one edge's strip: x, y, height in mm without the instrument's noise, cover."""
        ins, o, lip = self.instrument, self.options, self.lips[line.edge_id]
        g = 1.0 if line.grass_left else -1.0
        out = []
        for piece in line.pieces:
            s, d = _sample(rng, piece, g, ins.spacing_m)
            x, y = piece.place(s, g * d)
            mine = _nearest(self.lines, line, piece, x, y, d)
            s, d, x, y = s[mine], d[mine], x[mine], y[mine]
            blurred = d + ins.blur_m * rng.standard_normal(len(d))
            where = blurred - read_line(ragged, s)
            height = self.height(line.edge_id, s, date)
            width = np.where(blurred < lip.crest, lip.w_in, lip.w_out)
            shape = np.exp(-(np.abs((blurred - lip.crest) / width) ** lip.power))
            turf = cover_at(where)
            cover = turf * (1 - o.thinning * height / 30 * shape)
            z = height * shape + lip.step * turf + lip.kink * np.maximum(blurred, 0)
            z += 1.0 * self.slope[0] * (x * np.cos(self.slope[1]) + y * np.sin(self.slope[1]))
            z += o.uneven_mm * read_field(self.unevenness, x, y)
            if date:
                z += (skin_move[0] * o.noise + o.noise * 3 * read_field(skin_move[1], x, y) + o.topdress_mm) * (1 - turf)
            near = 1 + (strip - 1) * (1 - np.clip((blurred - 0.45) / 0.3, 0, 1))
            lively = 1 + o.texture * o.noise * (0.12 * read_field(texture[0], x, y) + 0.08 * read_field(texture[1], x, y))
            blades = canopy * cover * near * lively
            if date and o.hidden:
                grown = lip.growth * read_line(self.true[line.edge_id]["growth"], s) * shape
                blades = np.maximum(blades - o.hidden * cover * grown, 0)
            if ins.lidar:
                blades = blades * np.where(rng.random(len(d)) < 0.35, 0.0, rng.beta(2, 1.5, len(d)))
            shown = cover * (1 - o.dust * date * (blurred < 0.45))
            out.append((x, y, z + blades, shown))
        return tuple(np.concatenate(c) for c in zip(*out))

    def _ground(self, rng, x, y, z, cover) -> Ground:
        n = len(x)
        rgb = intensity = None
        if self.options.colour and self.instrument.lidar:
            intensity = np.clip(300 + 500 * cover + 120 * rng.standard_normal(n), 0, 65535).astype(np.uint16)
        elif self.options.colour:
            green = rng.random(n) < 0.04 + 0.88 * cover
            base = np.where(green[:, None], [70, 105, 55], [150, 112, 84]) * rng.uniform(0.75, 1.2, n)[:, None]
            rgb = np.clip(base + rng.normal(0, 3, (n, 3)), 0, 255).astype(np.uint8)
        return Ground(
            self.west, self.south, 0.0, np.round((x - self.west) / TICK).astype(np.int32),
            np.round((y - self.south) / TICK).astype(np.int32), np.round((50_000 + z) / 1000 / TICK).astype(np.int32),
            rgb, intensity,
        )  # fmt: skip


def cover_at(d: np.ndarray) -> np.ndarray:
    t = np.clip((d + 0.02) / 0.12, 0, 1)
    return t * t * (3 - 2 * t)


def _sample(rng, piece: Piece, g: float, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """Jittered lattice in (station, distance), equally dense on the ground."""
    bounds = piece.stretch(g * np.array([D_LO, D_HI]))
    lo, hi = D_LO, D_HI
    if bounds.min() < 0.1:  # the frame ends near the arc's centre
        limit = 0.9 * piece.radius
        lo, hi = max(lo, -limit), min(hi, limit)
    most = max(piece.stretch(g * np.array([lo, hi])).max(), 1.0)
    ns, nd = int(piece.length / spacing * most), int((hi - lo) / spacing)
    s = (np.arange(ns)[:, None] + rng.random((ns, nd))) * piece.length / ns
    d = lo + (np.arange(nd) + rng.random((ns, nd))) * (hi - lo) / nd
    keep = rng.random((ns, nd)) * most < piece.stretch(g * d)
    return piece.start + s[keep], d[keep]


def _nearest(lines, line: Line, piece: Piece, x, y, d) -> np.ndarray:
    """Points no other piece is nearer to."""
    mine = np.ones(len(x), bool)
    for other_line in lines:
        for other in other_line.pieces:
            if other is piece:
                continue
            probe_x, probe_y = other.place(other.start + np.linspace(0, other.length, 9), np.zeros(9))
            box = (x > probe_x.min() - 3.5) & (x < probe_x.max() + 3.5)
            box &= (y > probe_y.min() - 3.5) & (y < probe_y.max() + 3.5) & mine
            at = np.flatnonzero(box)
            mine[at] = other.distance(x[at], y[at]) >= np.abs(d[at]) - 1e-9
    return mine
