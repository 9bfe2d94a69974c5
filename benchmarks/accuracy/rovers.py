"""Lip growth between two rover walks of a grass infield: a zig-zag of 240 points on each of 5 edges, corners left out.

CORNERS walks on through them, and loses a quarter of the 240 points where there are eight: the product reads none within 1 m.
Positions are true station and distance put on the ground and projected onto the drawn edge, as the product does.
"""

from __future__ import annotations

import numpy as np
from support.edge_scene import INSTRUMENTS, Scene, cover_at
from support.random_ground import random_field, random_line, read_field, read_line
from support.rover_scene import along, wander, zigzag

from benchmarks.accuracy.conditions import DECLARED, NOISE
from benchmarks.accuracy.judge import Errors, Share, Table
from benchmarks.accuracy.keep import Kept
from benchmarks.accuracy.limits import COVER, LONG_M, LONG_RMSE, MOST_BIAS, MOST_FLAGGED
from benchmarks.accuracy.lips import lips_of
from pipeline.change.rover_growth import rover_growth
from pipeline.survey.edges.edge_frame import edge_frame
from pipeline.survey.edges.edge_table import CLEAR_M

ALONG, CORNERS = "walked along the line", "corners walked too"
SECONDS_A_POINT = 1.0
POINT_MM = 7.0  # sideways scatter of a point, each axis


class Walked:
    """One infield's ground, and its edges as a rover meets them at two dates."""

    def __init__(self, seed: int):
        self.scene = Scene(seed, INSTRUMENTS["good"], lips=lips_of(seed))
        rng = np.random.default_rng([seed, 31])
        self.skin_moved = rng.normal(-1, 2), random_field(rng, 4.0)
        self.ragged = {line.edge_id: 0.015 * random_line(rng, int(line.length / 0.1) + 60, 0.4) for line in self.scene.lines}

    def height(self, line, piece, s, d, date: int):
        """Soil in mm and cover at true station and distance."""
        lip, scene = self.scene.lips[line.edge_id], self.scene
        x, y = piece.place(s, d if line.grass_left else -d)
        cover = cover_at(d - read_line(self.ragged[line.edge_id], s))
        shape = np.exp(-(np.abs((d - lip.crest) / np.where(d < lip.crest, lip.w_in, lip.w_out)) ** lip.power))
        z = scene.height(line.edge_id, s, date) * shape + lip.kink * np.maximum(d, 0)
        z += scene.slope[0] * (x * np.cos(scene.slope[1]) + y * np.sin(scene.slope[1])) + 2 * read_field(scene.unevenness, x, y)
        moved = self.skin_moved[0] + 3 * read_field(self.skin_moved[1], x, y)
        return z + date * moved * (1 - cover), cover

    def walk(self, line, date: int, path) -> tuple[np.ndarray, ...]:
        """East, north, height of the rows, m, in the order walked."""
        number = [v.edge_id for v in self.scene.lines].index(line.edge_id)
        day = np.random.default_rng([self.scene.seed, 32, date])  # what one walk shares over all its edges
        shift, sideways, on_grass, in_skin = day.normal(0, 12), day.normal(0, 8, 2), day.normal(3, 2), day.normal(-2, 1)
        rng = np.random.default_rng([self.scene.seed, 33, date, number])
        s, d = path(rng, line.length)
        on = (s > 0) & (s < line.length)
        s, d = s[on], d[on]
        e, n, z, cover = (np.empty(len(s)) for _ in range(4))
        for piece in line.pieces:
            of = (s >= piece.start) & (s <= piece.start + piece.length)
            e[of], n[of] = piece.place(s[of], d[of] if line.grass_left else -d[of])
            z[of], cover[of] = self.height(line, piece, s[of], d[of], date)
        drift = 1e3 * wander(rng, np.arange(len(s)) * SECONDS_A_POINT, 0.005, 180.0)
        z += cover * on_grass + (1 - cover) * in_skin + shift + drift + rng.normal(0, NOISE["rover"].white_m * 1e3, len(s))
        e, n = (v + (sideways[k] + rng.normal(0, POINT_MM, len(s))) / 1e3 for k, v in enumerate((e, n)))
        return e, n, z / 1e3

    def rows(self, line, date: int, path):
        edge = self.scene.drawn[line.edge_id]
        e, n, z = self.walk(line, date, path)
        s, d = edge_frame(edge).project(e, n)
        held = np.isfinite(s)
        held[held] = edge.usable(s[held], CLEAR_M)
        return s[held], d[held], z[held]


def clear_of(edge):
    """A zig-zag over what is clear of the edge's ends and corners."""
    at = np.arange(0.01, edge.length_m, 0.02)
    at = at[edge.usable(at, CLEAR_M)]

    def path(rng: np.random.Generator, length: float) -> tuple[np.ndarray, np.ndarray]:
        along_clear, d = zigzag(rng, 0.02 * len(at))
        return np.interp(along_clear, 0.02 * (np.arange(len(at)) + 0.5), at), d

    return path


def rover(condition: str, case: str, seed: int) -> dict:
    """Rows of (edge, None, usable m, read, true, sigma, detected), as of flights; `refused` edges."""
    walked, rows, refused = Walked(seed), [], 0
    for line in walked.scene.lines:
        edge = walked.scene.drawn[line.edge_id]
        path = {ALONG: along, CORNERS: zigzag}.get(case, clear_of(edge))
        found = rover_growth(walked.rows(line, 0, path), walked.rows(line, 1, path), edge.length_m)
        if not np.isfinite(found.growth_m):
            refused += 1
            continue
        at = np.arange(0.25, edge.length_m, 0.5)
        at = at[edge.usable(at, CLEAR_M)]
        figures = (len(at) * 0.5, found.growth_m * 1e3, walked.scene.growth(line.edge_id, at), found.growth_sigma_m * 1e3)
        rows.append([line.edge_id, None, *(round(float(v), 3) for v in figures), bool(found.detected)])
    return {"rows": rows, "refused": refused}


def jobs(hard: bool, seeds: range) -> list[tuple[str, str, int]]:
    few = seeds[: max(len(seeds) // 5, 1)]
    return [("rover", case, s) for s in seeds for case in (DECLARED, CORNERS)] + [("rover", ALONG, s) for s in few]


def show(kept: Kept, seeds: range, table: Table) -> None:
    for case in (DECLARED, CORNERS):
        told = kept.told("rover", case, seeds)
        rows = [r for t in told for r in t["rows"]]
        if not rows:
            continue
        long = [r for r in rows if r[2] >= LONG_M]
        table.out(f"lip growth, rover, {case}: {len(told)} scenes, {len(rows)} edges, {sum(t['refused'] for t in told)} refused")
        # the limit is for 240 points that count: where corners swallow a quarter of them, no fit reaches it
        limits = (LONG_RMSE["rover"], MOST_BIAS, COVER) if case == DECLARED else (None, MOST_BIAS, COVER)
        table.errors("long edges", Errors.of([r[3:6] for r in long]), *limits)
        table.errors("all edges", Errors.of([r[3:6] for r in rows]))
        for name, of in (("still edges flagged", rows), ("of them long", long)):
            still = [r for r in of if r[4] == 0]
            table.share(name, Share(sum(r[6] for r in still), len(still)), 0.0, MOST_FLAGGED)
    line = kept.told("rover", ALONG, seeds)
    given = sum(len(t["rows"]) for t in line)
    if line:
        table.line(ALONG, f"{given} figures of {given + sum(t['refused'] for t in line)} edges", {"never a figure": given == 0})
