"""What a scenario may say: the invented fields, what happened to them, who flew when and with what.

A scenario is truth. It stands beside the operator's tables, which only know what an operator would know. Lengths in
metres unless a name says otherwise; places on a field are either a declared place's id or x, y in the diamond's own
axes (origin at the rear point of home plate, y toward second base, x toward first).
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pipeline.diamond.dimensions import LAYOUTS
from pipeline.errors import BadInput, Problem

Spot = tuple[float, float]


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Fall(Part):
    """`plane`: falls slope_pct toward bearing_deg. `crown`: a ridge along bearing_deg, slope_pct down on both sides."""

    form: Literal["plane", "crown"] = "plane"
    slope_pct: float = Field(ge=0, le=5)
    bearing_deg: float


class Pit(Part):
    """A Gaussian low spot: depth at its middle on the scenario's first day, growth a year, spread."""

    name: str
    at: str | Spot
    depth_mm: float = 0.0
    growth_mm_per_year: float = 0.0
    sd_m: float = Field(default=0.8, gt=0)


class Bulge(Part):
    """A stretch of an edge where the lip is higher, with half a metre of run-out at both ends."""

    from_m: float
    to_m: float
    height_mm: float
    growth_mm_per_year: float = 0.0


class Lip(Part):
    """Mix in the grass edge: height of the crest, how it varies along the edge and grows, and its section."""

    edge: str
    height_mm: float = Field(ge=0)
    wander_mm: float = Field(default=0.0, ge=0)
    growth_mm_per_year: float = 0.0
    crest_m: float = 0.13
    inside_m: float = 0.13
    outside_m: float = 0.30
    bulges: tuple[Bulge, ...] = ()


class Slab(Part):
    """Stable ground an operator drew: a rectangle, `along` by `across`, turned clockwise from the diamond's y axis."""

    name: str
    at: Spot
    along_m: float
    across_m: float
    turned_deg: float = 0.0
    lift_mm: float = 40.0


class Heave(Part):
    """Stable ground that was not: a slab that stands higher from a day on."""

    slab: str
    since: date
    mm: float


class Event(Part):
    """Work that changed the ground. `only` names pits (level) or edges (lip_cut); empty: all of the field's.

    `leaves_mm`: depth left of a pit, or height left of a lip. `raise_mm`: what mix_add adds to the skin.
    """

    day: date
    work: Literal["level", "lip_cut", "mix_add", "laser_grade"]
    only: tuple[str, ...] = ()
    leaves_mm: float = 0.0
    raise_mm: float = 0.0


class CoreTaken(Part):
    """A core of the mix that the crew took and drew on the plan: what they read, and when."""

    name: str
    at: str | Spot
    depth_mm: float = Field(ge=0)
    taken_on: date


class Thing(Part):
    """Something that stands or lies on the field: `size` is along by across by height, m."""

    kind: Literal["player", "bag", "vehicle", "tarp_roll", "tarp_pile", "hose", "bird", "roof", "fence"]
    at: Spot
    size: tuple[float, float, float]
    turned_deg: float = 0.0


class Hole(Part):
    at: Spot
    radius_m: float


class Weeds(Part):
    """Plants on the skin: a disc, the share of it that they cover, their height (none: as the turf's, lower), from when to when
    they stand there (none: always), and whether they are dead and brown."""

    at: str | Spot
    radius_m: float
    share: float = Field(gt=0, le=1)
    height_mm: float | None = Field(default=None, gt=0)
    since: date | None = None
    until: date | None = None
    dead: bool = False


class Anchor(Part):
    """A base anchor that a crew dug up and located: its base and base set, how far it lies from where the layout has it
    (aside toward first base, and from home plate, mm), and what was noted of it."""

    base: str
    layout: str
    off_mm: Spot = (0.0, 0.0)
    located_on: date
    located_by: str
    sigma_mm: float = Field(gt=0)


class InGround(Part):
    """Something in or by the ground that the owner drew and no survey sees: one place is a point, several a line or, where `area`, an
    outline; who located it when, and its height, where somebody noted that."""

    role: Literal["irrigation_head", "valve_box", "cable", "inlet", "outlet", "gate", "accessible_route"]
    name: str
    at: tuple[Spot, ...] = Field(min_length=1)
    area: bool = False
    located_on: date | None = None
    located_by: str | None = None
    sigma_mm: float | None = Field(default=None, gt=0)
    depth_m: float | None = Field(default=None, ge=0)


class FieldTruth(Part):
    """One field. `home` in `crs` (metres); `arc_off_m` moves the real outer arc's centre from the layout's."""

    crs: str
    table_crs: str
    layout: str
    other_layout: str | None = None
    grass: bool | None = None
    home: Spot
    bearing_deg: float
    height_m: float
    fall: Fall
    arc_off_m: float = 0.0
    drawn_edges: bool = False
    skin_waves_mm: float = 3.0
    turf_waves_mm: float = 5.0
    finish_waves_mm: float = 1.5
    level_mm: float = 0.0
    wear_mm_per_year: float = 0.0
    encroach_mm_per_year: float = 0.0
    movement: float = 1.0
    pits: tuple[Pit, ...] = ()
    lips: tuple[Lip, ...] = ()
    slabs: tuple[Slab, ...] = ()
    heaves: tuple[Heave, ...] = ()
    events: tuple[Event, ...] = ()
    structures: tuple[Thing, ...] = ()
    shadows: tuple[Slab, ...] = ()
    weeds: tuple[Weeds, ...] = ()
    ignore: tuple[Slab, ...] = ()
    anchors: tuple[Anchor, ...] = ()
    cores: tuple[CoreTaken, ...] = ()
    in_ground: tuple[InGround, ...] = ()

    @model_validator(mode="after")
    def _known(self) -> FieldTruth:
        for name in (self.layout, self.other_layout, *(a.layout for a in self.anchors)):
            if name is not None and name not in LAYOUTS:
                raise ValueError(f"no layout is called {name!r}")
        return self


class Drift(Part):
    """Planted instead of drawn: shift, tilt (each axis) and the bowl at 30 m from the middle of the flight."""

    shift_mm: float | None = None
    tilt_e_mm_per_m: float | None = None
    tilt_n_mm_per_m: float | None = None
    dome_mm: float | None = None


class SurveyTruth(Part):
    """One flight or walk. `file_crs` is what the header says; the points are in its horizontal part.

    `moved_m` sets the whole cloud down elsewhere; `grass` tells the colour; beyond 5 m of the infield the share `thin`
    of the points is kept.
    """

    day: date
    fields: tuple[str, ...] = Field(min_length=1)
    instrument: Literal["good", "weak", "lidar", "rover", "exact"]
    file: str
    file_crs: str
    height_unit: Literal["m", "ft", "us-ft"] = "m"
    spacing_m: float | None = Field(default=None, gt=0)
    canopy_mm: float = Field(default=28.0, ge=0)
    grass: Literal["growing", "dormant"] = "growing"
    thin: float = Field(default=0.3, gt=0, le=1)
    drift: Drift = Drift()
    moved_m: Spot = (0.0, 0.0)
    things: tuple[Thing, ...] = ()
    holes: tuple[Hole, ...] = ()

    @model_validator(mode="after")
    def _one_walk_one_field(self) -> SurveyTruth:
        if self.instrument == "rover" and len(self.fields) > 1:
            raise ValueError("a walk covers one field")
        return self


class Readings(Part):
    """Straightedge readings a crew took: how many at even stations of an edge, with the ruler's s.d."""

    field: str
    day: date
    edge: str
    count: int = Field(gt=0)
    sd_mm: float = 3.0


class Note(Part):
    """Anything else a crew wrote down, as it stands in readings.csv."""

    field: str
    day: date
    kind: Literal["turf_height", "level", "mix_depth", "distance", "rain", "moisture_hand", "seen"]
    value: str
    unit: str = ""
    place: str = ""
    instrument: str = ""
    notes: str = ""


class Checks(Part):
    """Points levelled on the ground on one day: declared places (the disc's middle) and slabs."""

    field: str
    day: date
    at: tuple[str, ...]
    unit: Literal["m", "us-ft"]
    sd_mm: float = 2.0


class GroundMark(Part):
    """A mark in the ground whose height was levelled once and for all: where the table has it, in its own CRS."""

    field: str
    name: str
    e: float
    n: float
    height: float
    unit: Literal["m", "us-ft"]
    sd_mm: float
    measured_on: date
    description: str


class Scenario(Part):
    """The whole invented district; `first_day` is when growth starts to count."""

    seed: int
    district: str
    first_day: date
    fields: dict[str, FieldTruth]
    surveys: dict[str, SurveyTruth]
    readings: tuple[Readings, ...] = ()
    noted: tuple[Note, ...] = ()
    checks: tuple[Checks, ...] = ()
    marks: tuple[GroundMark, ...] = ()

    @model_validator(mode="after")
    def _known_fields(self) -> Scenario:
        named = {f for s in self.surveys.values() for f in s.fields}
        named |= {r.field for r in self.readings + self.noted + self.checks + self.marks}
        for name in sorted(named - set(self.fields)):
            raise ValueError(f"no field is called {name!r}")
        return self


def parse(plain: dict, file: str = "scenario.yaml") -> Scenario:
    """The scenario in plain values, checked; every fault is listed at once."""
    try:
        return Scenario.model_validate(plain)
    except ValidationError as error:
        raise BadInput(
            Problem(file, None, ".".join(str(p) for p in e["loc"]) or None, repr(e["input"])[:60], e["msg"], "Mend it.", code="scenario-fault")
            for e in error.errors()
        ) from None
