"""What the page of one field is made from."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Callable, Mapping, Sequence

import numpy as np
from shapely import Geometry

from pipeline.diamond.edges import Edge
from pipeline.diamond.layout import Layout
from pipeline.report.findings import Limits
from pipeline.report.standing import Standing, standing
from pipeline.report.two_dates import Surface, skin_plane
from pipeline.settings import Config
from pipeline.surface.lip_profile import Profile
from pipeline.surface.puddles import Puddle
from pipeline.tables import Read


@dataclass(frozen=True)
class FieldInput:
    """Tables, records and rasters of one field.

    row, surveys, works, walks, readings : rows of the operator's tables, surveys oldest first
    edges    : the edges as the series uses them
    tables   : the field's result tables by name
    records  : survey.json of each survey that concerns the field, oldest first
    readings_wanted : edge id -> how many more ruler readings would halve what its mean height is not known by
    elevation : of the newest survey that is not refused, (ny, nx), m, or None
    change, detected : of the last two such surveys, or None
    mix_depth, mix_sigma : of the newest survey's day, (ny, nx), m, or None
    cores, cores_wanted : cores of the mix with what became of each, and eastings and northings of those still to be taken
    standing_water : of the newest survey, depth of water after 10 mm of rain, (ny, nx), m, or None
    water_paths : its main paths of water, downhill: e, n (m) and the share of noisy surfaces that leave each place
    string_places : where a string goes down first: e, n (m), bearing along it, gap as measured (mm)
    weeds    : patches of plants on the skin at the newest survey
    designs  : record of the designs of the newest survey's surface
    puddles  : those that were seen by eye since the first survey
    surfaces : the newest dates and the baseline, oldest first
    worked   : record of the works: what each changed, how it was built, how it held
    profiles : cross-sections of the newest survey, at the highest place of each stretch of lip
    since    : what is new and revised since the field's page was last handed on, as `since_block` has it; empty where it never was
    """

    row: Read
    surveys: Sequence[Read]
    works: Sequence[Read]
    walks: Sequence[Read]
    readings: Sequence[Read]
    settings: Config
    layout: Layout
    edges: tuple[Edge, ...]
    tables: dict[str, list[dict]]
    records: dict[str, dict]
    provenance: dict
    readings_wanted: dict[str, int | None]
    elevation: np.ndarray | None
    change: np.ndarray | None
    detected: np.ndarray | None
    weeds: tuple[Geometry, ...] = ()
    profiles: tuple[Profile, ...] = ()
    mix_depth: np.ndarray | None = None
    mix_sigma: np.ndarray | None = None
    cores: tuple[dict, ...] = ()
    cores_wanted: tuple[tuple[float, float], ...] = ()
    standing_water: np.ndarray | None = None
    water_paths: Sequence[dict] = ()
    string_places: Sequence[dict] = ()
    designs: Mapping = field(default_factory=dict)
    worked: Mapping = field(default_factory=dict)
    surfaces: tuple[Surface, ...] = ()
    puddles: tuple[Puddle, ...] = ()
    since: Mapping = field(default_factory=dict)

    @property
    def field_id(self) -> str:
        return self.layout.field_id

    @property
    def name(self) -> str:
        """As readers know the field; its id where nobody named it."""
        return self.row.get("name") or self.field_id

    @cached_property
    def first_plane(self) -> Callable | None:
        """The skin's plane on the first of the surfaces; None without one, or where too little of it was measured."""
        return skin_plane(self.surfaces[0], self.layout) if self.surfaces else None

    @cached_property
    def standing(self) -> Standing:
        order = [r["survey_id"] for r in self.surveys]
        return standing(self.field_id, self.tables, order, self.walks, Limits.of(self.settings.tolerances, self.field_id),
                        {e.edge_id: e.length_m for e in self.edges}, self.readings)  # fmt: skip
