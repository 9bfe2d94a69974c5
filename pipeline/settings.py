"""config.yaml as frozen values: every knob with its default, unknown keys refused.

A workflow verb's knobs stand in the section of its name. What is the owner's stands in `owner.py`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pipeline.owner import Acceptance, Budget, Cost, Crew, Grading, Machine, Material, Plan, Prices, Section, Tolerances


class Grid(Section):
    """Cloud to ground points on the field's grid."""

    cover_min_pct: float = Field(60, gt=0, le=100, description="Least share of the skin a named field must be covered to.")
    points_per_cell_min: float = Field(4, ge=1, description="Least median of points per cell on the skin.")


class Tie(Section):
    """Ground points to a surface tied to stable ground."""

    patches_min: int = Field(5, ge=1, description="Fewer patches of stable ground than this: relative only.")
    gap_max_deg: float = Field(180, gt=0, le=360, description="Largest gap in bearing between patches.")
    sigma_max_mm: float = Field(10, gt=0, description="Largest s.d. of the tie over the skin.")
    jump_mm: float = Field(150, gt=0, description="A step on stable ground beyond this is refused.")
    sideways_max_mm: float = Field(150, gt=0, description="A sideways shift beyond this is refused.")


class Measure(Section):
    """Lip, low spots and zones of one survey."""

    ponds_min_mm: float = Field(6, ge=1, description="A closed depression shallower than this is not listed.")
    error_fields: int = Field(24, ge=8, le=200, description="Random error fields behind each probability of a pond.")


class Change(Section):
    """Pairs of surveys."""

    confidence_z: float = Field(1.96, gt=0, description="Normal quantile of the detection level.")


class History(Section):
    """Cube, GeoPackage and tables over all dates of a field."""

    trend_surveys_min: int = Field(4, ge=3, description="Fewer surveys than this make no trend.")
    trend_years_min: float = Field(0.7, gt=0, description="A shorter span makes no trend, years.")


class Report(Section):
    """The page of one field."""

    title: str = Field("", description="A line over every page, say the district's name.")
    map_cell_m: float = Field(0.25, ge=0.1, le=1, description="Cell of the pictures in a page, m.")


class Config(Section):
    """config.yaml. Paths are relative to the file."""

    fields: str = Field("fields.csv", description="Table of fields.")
    surveys: str = Field("surveys.csv", description="Table of surveys.")
    works: str = Field("works.csv", description="Table of works.")
    readings: str | None = Field(None, description="Table of ruler and hand readings.")
    control: str | None = Field(None, description="Table of control and check points.")
    use: str | None = Field(None, description="Table of use by month.")
    games: str | None = Field(None, description="Table of games.")
    sites: str | None = Field(None, description="Table of minutes between sites.")
    walks: str | None = Field(None, description="Table of walks by eye.")
    stock: str | None = Field(None, description="Table of mix in stock.")
    results: str = Field("results", description="Folder the results go to.")
    units: Literal["us", "metric"] = Field("us", description="Units of the pages.")
    currency: str = Field("USD", description="Currency of costs.")
    cell_size_m: float = Field(0.10, ge=0.02, le=5, description="Cell of every raster, m.")
    random_seed: int = Field(1, ge=0, description="Seed of every random draw.")
    tolerances: Tolerances = Tolerances()
    material: Material = Material()
    machines: dict[str, Machine] = Field({}, description="Machines by name.")
    crew: Crew = Crew()
    costs: dict[str, Cost] = Field({}, description="Costs by treatment.")
    prices: Prices = Prices()
    budget: tuple[Budget, ...] = ()
    plan: Plan = Plan()
    grading: Grading = Grading()
    acceptance: Acceptance = Acceptance()
    grid: Grid = Grid()
    tie: Tie = Tie()
    measure: Measure = Measure()
    change: Change = Change()
    history: History = History()
    report: Report = Report()

    @model_validator(mode="before")
    @classmethod
    def _empty_is_default(cls, given):
        """A key with nothing after it stands at its default."""
        return {k: v for k, v in given.items() if v is not None} if isinstance(given, dict) else given


# What each verb's job is handed, beside its own section.
SHARED: dict[str, tuple[str, ...]] = {
    "layout": ("cell_size_m",),
    "grid": ("cell_size_m",),
    "tie": ("random_seed",),
    "measure": ("random_seed", "tolerances", "material"),
    "change": ("random_seed",),
    "history": ("tolerances", "random_seed"),
    "report": ("units", "currency", "tolerances", "material"),
    "portfolio": ("units", "currency", "tolerances", "material"),
}


def handed(config: Config, verb: str) -> dict:
    """The settings a verb's job is handed: plain values, for JSON with sorted keys."""
    whole = config.model_dump(mode="json")
    out = {name: whole[name] for name in SHARED[verb]}
    if verb in whole and isinstance(whole[verb], dict):
        out[verb] = whole[verb]
    return out


def from_handed(plain: dict) -> Config:
    """The settings a job was handed, as a Config whose other keys stand at their defaults."""
    return Config(**plain)
