"""Invented infields whose every rulebook figure is known: a plane, the simulator's mound on it, plates, one error field.

The mound is the simulator's, drawn after rule 2.01 on its own, not the pipeline's drawing of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from support.flat_field import EXACT, SOURCES

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.layout import Drawing, Layout, build
from pipeline.diamond.places import home_plate, pitchers_plate
from pipeline.simulate.shapes import mound
from pipeline.surface.masks import Masks, masks_of
from pipeline.surface.rulebook import RuleInput, RuleTolerances
from pipeline.surface.rulebook_bases import Located
from pipeline.surface.rulebook_heights import Heights
from pipeline.surface.rulebook_mound import landing_at
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.stable.patches import PatchHeight, footprint

HOME = (507020.0, 175010.0)
POINT_M = 0.03  # spacing of a survey's points
ALL = RuleTolerances(12.0, 6.0, 25.0, 0.5)


@lru_cache
def field(layout: str, other: str | None = None, bearing_deg: float = 20.0, grass: bool | None = None) -> Layout:
    a, far = np.radians(bearing_deg), LAYOUTS[layout].home_to_second_m
    second = HOME[0] + far * np.sin(a), HOME[1] + far * np.cos(a)
    return build(Drawing("f", "EPSG:6550", 0.1, layout, other, HOME, second, grass))


@lru_cache
def masks(layout: str, other: str | None = None) -> Masks:
    return masks_of(field(layout, other))


@dataclass(frozen=True)
class Truth:
    """What is wrong with a field; metres, m per m in the diamond's axes."""

    aside: float = 0.0  # fall: rise toward first base's side
    along: float = 0.0  # rise toward second base
    mound_up: float = 0.0
    mound_moved: tuple[float, float] = (0.0, 0.0)
    worn: float = 0.0  # depth over the whole landing disc
    plate_tilt: tuple[float, float] = (0.0, 0.0)


def ground(layout: str, truth: Truth = Truth()) -> np.ndarray:
    """True heights on the field's grid, (ny, nx), m; home plate's rear point lies at 300 m."""
    made, size = field(layout), LAYOUTS[layout]
    x, y = made.axes.local(*made.grid.mesh())
    z = 300.0 + truth.aside * x + truth.along * y
    if size.mound_m:
        table = size.mound_height_m + truth.mound_up - truth.along * size.pitch_m
        mx, my = truth.mound_moved
        z = z + mound((x - mx).ravel(), (y - my).ravel(), size, table).reshape(z.shape)
        lx, ly = landing_at(made)
        z = z - truth.worn * (np.hypot(x - lx, y - ly) <= 0.6)
    on = made.grid.mask(home_plate(made.axes).buffer(0.2))
    tilt = truth.plate_tilt
    return np.where(on, 300.0 + (truth.aside + tilt[0]) * x + (truth.along + tilt[1]) * y, z)


def surveyed(layout: str, truth: Truth = Truth(), source: str | None = None, rng=None, other: str | None = None, **more) -> RuleInput:
    """The input of the check: without a source error-free, else with one drawn survey of it."""
    made = field(layout, other)
    grid = made.grid
    noise, own = (EXACT, 0.0) if source is None else SOURCES[source]
    error, white = SurveyError.of(noise, made.centre), np.full(grid.shape, own)
    z, off = ground(layout, truth), np.zeros(grid.shape)
    if source is not None:
        off = error.fields(grid, np.zeros(grid.shape), 1, rng)[0]
        z = z + off + own * rng.standard_normal(grid.shape)
    plates = {}
    size = LAYOUTS[layout]
    table = 300.0 + (size.mound_height_m + truth.mound_up if size.mound_m else truth.along * (size.pitch_m + 0.0762))
    for name, shape in (("home-plate", home_plate(made.axes)), ("pitchers-plate", pitchers_plate(size, made.axes))):
        foot = footprint(name, shape)
        row, col = grid.rows_cols(*foot.places.T)
        white_m = noise.white_m / np.sqrt(max(foot.shape.area / POINT_M**2, 3.0))
        x, y = made.axes.local(*foot.centre)
        height = 300.0 + truth.aside * x + truth.along * y if name == "home-plate" else table
        seen = height + off[row, col].mean() + (white_m * rng.standard_normal() if source else 0.0)
        plates[name] = PatchHeight(name, float(seen), float(white_m), 50, 0)
    points = {layout: {k: Located(*made.anchors[k], 0.01) for k in ("first", "second", "third")} | {"home": Located(*HOME, 0.01)}}
    given = RuleInput(made, layout, other, Heights(grid, z, white, error), masks(layout, other), plates, {}, points, 0.0, ALL)
    return replace(given, **more)
