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


class Measure(Section):
    """Lip, low spots and zones of one survey."""

    error_fields: int = Field(24, ge=8, le=200, description="Random error fields behind each probability of a pond.")


class History(Section):
    """Cube, GeoPackage and tables over all dates of a field."""

    trend_surveys_min: int = Field(4, ge=3, description="Fewer surveys than this make no trend.")
    trend_years_min: float = Field(0.7, gt=0, description="A shorter span makes no trend, years.")


class Report(Section):
    """The page of one field."""

    title: str = Field("", description="A line over every page, say the district's name.")
    map_cell_m: float = Field(0.25, ge=0.1, le=1, description="Cell of the pictures in a page, m.")


class Season(Section):
    """One crew's season over all fields."""

    drag_every_weeks: int = Field(1, ge=1, le=8, description="A field is dragged once in so many weeks at least.")
    edge_every_weeks: int = Field(2, ge=1, le=26, description="Its edges are cleaned once in so many weeks at least.")
    heavy_from_month: int = Field(9, ge=1, le=12, description="Lips are cut and mix is added from this month on, but for what is unsafe.")


class Catalogue(Section):
    """What the catalogue for a GIS department says of the owner. Nothing is said where nothing stands here."""

    provider: str = Field("", description="Who provides the data, as the catalogue names it.")
    licence: str = Field("", pattern=r"^[\w.+-]*$", description="Licence of the data: an SPDX identifier, `various`, or `proprietary`, which stands where none is given.")
    licence_url: str = Field("", description="Where the licence's text lies.")


CLOCK = r"^([01]\d|2[0-3]):[0-5]\d$"


class Day(Section):
    """One day around the games."""

    first_at: str = Field("06:30", pattern=CLOCK, description="The crew leaves the yard.")
    last_at: str = Field("20:00", pattern=CLOCK, description="Its last work ends.")
    swap_minutes: int = Field(20, ge=1, le=240, description="Minutes to take one base set out and put the other in.")
    clear_minutes: int = Field(10, ge=0, le=120, description="Minutes before a game that nobody works on the field.")
    wet_mm: float = Field(6.0, gt=0, le=100, description="Rain from which every skin counts as wet, mm; ours, no source: the skin itself decides.")
    dry_minutes: int = Field(60, ge=0, le=1440, description="Minutes that a loosened skin is left to dry before it is dragged; ours, no source: set your own.")


class Week(Section):
    """The crew's sheet of the week."""

    quiet_weeks: int = Field(3, ge=1, le=52, description="Where no run over the skin was recorded for more than so many weeks, the bearing on the sheet is called a guess.")


Language = Literal["en", "es"]


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
    language: Language = Field("en", description="Language of the pages and papers; tables and commands speak English.")
    crew_language: Language | None = Field(None, description="Language of what the crew carries: the week, the day, the work package, keep-outs, the record of a work; `language` where nothing stands.")
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
    measure: Measure = Measure()
    history: History = History()
    report: Report = Report()
    season: Season = Season()
    day: Day = Day()
    week: Week = Week()
    catalogue: Catalogue = Catalogue()

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
    "change": ("random_seed", "material"),
    "grade": ("random_seed", "units", "tolerances", "material", "machines", "costs", "prices", "grading"),
    "history": ("random_seed", "tolerances", "material", "grading", "acceptance"),
    "report": ("language", "crew_language", "units", "currency", "tolerances", "material"),
    "bid": ("language", "units", "currency", "tolerances", "material", "report", "acceptance"),
    "season": ("language", "crew_language", "units", "tolerances", "material", "crew", "costs"),
    "day": ("language", "crew_language", "units", "tolerances", "material", "crew", "costs", "report"),
    "week": ("language", "crew_language", "units", "tolerances", "material", "report"),
    "workbook": ("language", "units", "currency", "costs", "prices", "budget", "report"),
    "portfolio": ("language", "units", "currency", "tolerances", "material", "report", "budget"),
    "board": ("language", "units", "currency", "tolerances", "costs", "budget", "plan", "report"),
    "catalogue": ("language", "report"),
    "plan": ("random_seed", "currency", "tolerances", "material", "costs", "prices", "budget"),
}


# Of the tolerances, those a verb reads: moving another must not run it again. Verbs not named read all.
RULEBOOK_AGAINST = ("base_distance_mm", "plate_level_mm", "mound_height_mm", "base_line_pct")
MEASURED_AGAINST = (
    "low_spot_mm", "low_spot_trip_mm", "planarity_mm", "straightedge_mm", "straightedge_length_m", "slope_min_pct", "slope_max_pct",
    "fall_bearing_deg", "mix_depth_min_mm", *RULEBOOK_AGAINST,
)  # fmt: skip
GRADED_AGAINST = ("lip_mm", "lip_trip_mm", "fall_bearing_deg", "base_line_pct")
ACCEPTED_AGAINST = ("lip_mm", "finish_mm")
PLANNED_AGAINST = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm", "finish_mm", "mix_depth_min_mm", "encroachment_mm")
TOLERANCES_OF: dict[str, tuple[str, ...]] = {"board": PLANNED_AGAINST, "measure": MEASURED_AGAINST, "grade": GRADED_AGAINST, "history": ACCEPTED_AGAINST, "plan": PLANNED_AGAINST}


def handed(config: Config, verb: str) -> dict:
    """The settings a verb's job is handed: plain values, for JSON with sorted keys."""
    whole = config.model_dump(mode="json")
    out = {name: whole[name] for name in SHARED[verb]}
    if verb in TOLERANCES_OF:
        out["tolerances"] = {name: whole["tolerances"][name] for name in TOLERANCES_OF[verb]}
    if verb in whole and isinstance(whole[verb], dict):
        out[verb] = whole[verb]
    if verb == "board":
        out["report"] = {"title": whole["report"]["title"]}
    if verb == "report":
        out["plan"] = {"pins": whole["plan"]["pins"]}  # what is settled of a field, not what a plan makes of it
    if verb == "catalogue":
        out["report"] = {"title": whole["report"]["title"]}
        out["plan"] = {"pins": whole["plan"]["pins"]}  # which bids there are
    if verb == "portfolio":
        out["plan"] = {n: whole["plan"][n] for n in ("fiscal_year_start", "set_by", "set_on")}  # how a plan is told, not how it is made
    if verb == "plan":
        out["material"] = {n: whole["material"][n] for n in ("placed_t_per_m3",)}
        out["prices"] = {n: whole["prices"][n] for n in ("mix_per_t",)}
    if verb == "workbook":
        out["plan"] = {n: whole["plan"][n] for n in ("escalation_pct", "contingency_pct")}
        out["report"] = {"title": whole["report"]["title"]}
    if verb == "measure":
        forms = whole["grading"]
        out["grading"] = {"form": forms["form"], "fields": {k: {"form": v["form"]} for k, v in forms["fields"].items()}}
    return out


def of_field(plain: dict, field_id: str) -> dict:
    """Handed settings without what they say of other fields: an edit there is none of this field's, in what runs again or in its record."""
    own = lambda of_fields: {k: v for k, v in of_fields.items() if k == field_id}
    out = dict(plain)
    if "grading" in out:
        out["grading"] = {**out["grading"], "fields": own(out["grading"]["fields"])}
    if "plan" in out:
        out["plan"] = {**out["plan"], "pins": [p for p in out["plan"].get("pins", ()) if p["field_id"] == field_id]}
    if "tolerances" in out:
        out["tolerances"] = {n: v if v is None else {**v, "fields": own(v["fields"])} for n, v in out["tolerances"].items()}
    return out


def from_handed(plain: dict) -> Config:
    """The settings a job was handed, as a Config whose other keys stand at their defaults."""
    return Config(**plain)
