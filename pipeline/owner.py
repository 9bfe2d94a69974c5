"""What is the owner's to decide: tolerances, material, costs, budget, plan. None has a default.

Each figure carries who set it and when; a missing one is asked for, never invented.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator


class Section(BaseModel):
    """Settings that belong together: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Owned(Section):
    """A figure that is the owner's decision: who set it, and when."""

    value: float
    fields: dict[str, float] = Field({}, description="Another value for single fields, by field_id.")
    set_by: str = Field(min_length=1, description="Who decided it; printed beside it.")
    set_on: dt.date = Field(description="When it was decided.")

    def of(self, field_id: str) -> float:
        return self.fields.get(field_id, self.value)


def _owned(what: str, low: float, high: float):
    """A tolerance and the span outside which its figure must be in another unit (ours: no more than a sieve)."""
    return Field(None, description=what, json_schema_extra={"minimum": low, "maximum": high})


class Tolerances(Section):
    """What the owner puts up with. No published limit stands behind any of these: the spans allowed only catch a
    figure in metres, inches or feet."""

    lip_mm: Owned | None = _owned("Lip height above which edge work is wanted, mm.", 3, 300)
    lip_trip_mm: Owned | None = _owned("Lip height above which the edge counts as unsafe, mm.", 3, 300)
    low_spot_mm: Owned | None = _owned("Low-spot depth above which filling is wanted, mm.", 3, 300)
    low_spot_trip_mm: Owned | None = _owned("Low-spot depth above which the spot counts as unsafe, mm.", 3, 300)
    planarity_mm: Owned | None = _owned("Root mean square off the best plane that is put up with, mm.", 1, 300)
    straightedge_mm: Owned | None = _owned("Gap under the straightedge that is put up with, mm.", 1, 300)
    straightedge_length_m: Owned | None = _owned("Length of that straightedge, m.", 0.5, 10)
    finish_mm: Owned | None = _owned("Finish grade after work, +/- mm.", 1, 100)
    slope_min_pct: Owned | None = _owned("Least fall, %.", 0, 10)
    slope_max_pct: Owned | None = _owned("Most fall, %.", 0.1, 10)
    fall_bearing_deg: Owned | None = _owned("Wanted direction of fall, degrees clockwise from grid north.", 0, 360)
    base_line_pct: Owned | None = _owned("Slope along a base line that is put up with, %.", 0.05, 10)
    mix_depth_min_mm: Owned | None = _owned("Least depth of mix, mm.", 10, 600)
    encroachment_mm: Owned | None = _owned("Grass crept into the skin that is put up with, mm.", 10, 3000)
    base_distance_mm: Owned | None = _owned("Error of a base distance that is put up with, mm.", 3, 1000)
    plate_level_mm: Owned | None = _owned("Home plate out of level that is put up with, mm.", 1, 100)
    mound_height_mm: Owned | None = _owned("Error of the mound's height that is put up with, mm.", 3, 300)

    def of(self, name: str, field_id: str) -> float | None:
        """A tolerance on one field; None where nobody set it."""
        owned = getattr(self, name)
        return None if owned is None else owned.of(field_id)


def outside_span(plain) -> list[tuple[tuple[str, str, str], object, str]]:
    """Tolerances as written whose figure must be in another unit: where it stands, what was found, what is allowed.

    plain : the section as read, sound or not; what is no number at all is left to the model
    """
    out = []
    for name, owned in plain.items() if isinstance(plain, dict) else ():
        info = Tolerances.model_fields.get(name)
        if info is None or not isinstance(owned, dict):
            continue
        low, high = info.json_schema_extra["minimum"], info.json_schema_extra["maximum"]
        single = owned.get("fields")
        figures = {("value",): owned.get("value"), **{("fields", str(k)): v for k, v in (single.items() if isinstance(single, dict) else ())}}
        for key, value in figures.items():
            if isinstance(value, bool) or isinstance(value, (int, float)) and math.isfinite(value) and not low <= value <= high:
                out.append(((name, *key), value, f"a figure from {low:g} to {high:g} {unit_of(name)}"))
    return out


# A trip limit under its tolerance would call an edge unsafe that needs no work.
TRIPS = (("lip_mm", "lip_trip_mm"), ("low_spot_mm", "low_spot_trip_mm"), ("slope_min_pct", "slope_max_pct"))


def contradictions(tolerances: Tolerances) -> list[tuple[str, str, float, float]]:
    """Limits that lie under what they must not lie under: name of the lower, of the upper, and their figures; each pair
    once, at the value of all fields or at the first field where it shows."""
    out = []
    for lower, upper in TRIPS:
        one, other = getattr(tolerances, lower), getattr(tolerances, upper)
        if one is None or other is None:
            continue
        for field_id in ("", *sorted({*one.fields, *other.fields})):
            if other.of(field_id) < one.of(field_id):
                out.append((lower, upper, one.of(field_id), other.of(field_id)))
                break
    return out


def unit_of(name: str) -> str:
    """The unit that the end of a setting's name says, as words."""
    return {"mm": "mm", "m": "m", "pct": "%", "deg": "degrees"}[name.rsplit("_", 1)[1]]


class Figure(Section):
    """A figure of the owner's outside the tolerances: the number, who set it and when."""

    value: float = Field(ge=0)
    set_by: str = Field(min_length=1)
    set_on: dt.date


class Owners(Section):
    """A section of the owner's figures: each `{value, set_by, set_on}`, or a bare number under the section's
    own `set_by` and `set_on`."""

    set_by: str | None = Field(None, description="Who decided every bare figure below.")
    set_on: dt.date | None = Field(None, description="When.")

    @model_validator(mode="before")
    @classmethod
    def _sign_bare_figures(cls, given):
        if not isinstance(given, dict):
            return given
        signed = {"set_by": given.get("set_by"), "set_on": given.get("set_on")}
        figures = {n for n, f in cls.model_fields.items() if "Figure" in str(f.annotation)}
        return {
            k: {"value": v, **signed} if k in figures and isinstance(v, (int, float)) else v for k, v in given.items()
        }

    def of(self, name: str) -> float | None:
        """A figure of this section; None where nobody stated it."""
        figure = getattr(self, name)
        return None if figure is None else figure.value


def _figure(what: str):
    return Field(None, description=what)


class Material(Owners):
    """The infield mix, from the supplier's ticket."""

    loose_t_per_m3: Figure | None = _figure("Tonnes in a loose cubic metre.")
    placed_t_per_m3: Figure | None = _figure("Tonnes in a placed, settled cubic metre.")
    cut_fill_ratio: Figure | None = _figure("Cut needed for one of settled fill, 1 or more.")
    reserve_mm: Figure | None = _figure("Mix kept over the base layer, mm.")
    truck_t: Figure | None = _figure("Tonnes in a truck load.")


class Machine(Owners):
    """One machine."""

    width_m: Figure | None = _figure("Working width, m.")
    speed_m_per_s: Figure | None = _figure("Working speed, m/s.")
    turn_s: Figure | None = _figure("Time of one turn, s.")
    blade_load_m3: Figure | None = _figure("Loose mix a blade carries, m3.")
    max_cut_mm: Figure | None = _figure("Deepest cut in one pass, mm.")
    by: Literal["crew", "contractor"] | None = Field(None, description="Whose it is; empty counts as the crew's.")


class Crew(Owners):
    """Who does the work."""

    hours_per_week: Figure | None = _figure("Crew hours in a week.")
    working_days: tuple[str, ...] = Field((), description="Days the crew works: mon, tue, wed, thu, fri, sat, sun.")
    first_week: dt.date | None = Field(None, description="Monday of the season's first week.")
    last_week: dt.date | None = Field(None, description="Monday of its last week.")
    yard: str | None = Field(None, description="The site the crew's day begins at.")


class Cost(Owners):
    """What one treatment costs."""

    fixed: Figure | None = _figure("Per field, money.")
    per_m: Figure | None = _figure("Per metre of edge, money.")
    per_m2: Figure | None = _figure("Per square metre, money.")
    per_t: Figure | None = _figure("Per tonne of mix, money.")
    hours_fixed: Figure | None = _figure("Crew hours per field.")
    hours_per_m: Figure | None = _figure("Crew hours per metre of edge.")
    hours_per_m2: Figure | None = _figure("Crew hours per square metre.")
    mobilisation: Figure | None = _figure("Once per site and year, money.")
    minimum_lot: Figure | None = _figure("Least order of a contractor, money.")
    least_years: Figure | None = _figure("Least years from one to the next on a field in the plan, a rebuild counting as one; safety work and pins go before it.")
    by: Literal["crew", "contractor"] | None = Field(None, description="Who does it: crew or contractor.")


class Prices(Owners):
    """Unit prices."""

    mix_per_t: Figure | None = _figure("Mix, money per tonne.")
    move_per_m3: Figure | None = _figure("Mix moved on the field, money per m3.")
    export_per_m3: Figure | None = _figure("Material taken away, money per m3.")
    sod_per_m2: Figure | None = _figure("Sod laid, money per m2.")
    hour: Figure | None = _figure("One crew hour, money.")


class Budget(Owners):
    """One year's means."""

    year: int = Field(description="The year these means are for.")
    money: Figure | None = _figure("Money.")
    crew_hours: Figure | None = _figure("Crew hours.")


LASER_GRADE = "laser_grade"


class Pin(Section):
    """A decision the plan obeys."""

    field_id: str
    treatment: str | None = None
    year: int | None = None
    not_before: int | None = None


class Plan(Owners):
    """The years a plan covers."""

    first_year: int | None = Field(None, description="First year of the plan; without it none is made.")
    years: int | None = Field(None, ge=1, le=7, description="Years it covers; every schedule of treatments is tried, and forecasts reach no further.")
    fiscal_year_start: str | None = Field(None, description="Where a year of money begins, as 07-01.")
    escalation_pct: Figure | None = _figure("Yearly rise of prices, %.")
    contingency_pct: Figure | None = _figure("Kept for the unforeseen, %.")
    carry_over: bool | None = Field(None, description="Whether money left over goes to the next year.")
    discount: Figure | None = _figure("Weight of a year's condition against the year before.")
    equity_pct: Figure | None = _figure("Each site is spent at least this part of its even share of the money on, by number of fields, %; empty: no such wish.")
    least_points_per_1000: Figure | None = _figure("Points of condition that 1,000 of money must take off over the plan; what would take off less is left, and the money with it. Empty: all money may be spent that does anything.")
    pins: tuple[Pin, ...] = Field((), description="What is settled already: field_id with treatment and year, or not_before.")

    def pinned(self, treatment: str) -> list[tuple[int, str]]:
        """Year and field of every pin that gives a field a treatment in a year."""
        return sorted({(p.year, p.field_id) for p in self.pins if p.treatment == treatment and p.year is not None})


class GradingOf(Owners):
    """The wanted surface of a field."""

    form: Literal["plane", "crown", "two_planes", "free"] | None = Field(None, description="Form wished for: plane, crown, two_planes, free.")
    slope_min_pct: Figure | None = _figure("Least fall, %.")
    slope_max_pct: Figure | None = _figure("Most fall, %.")
    fall_bearing_deg: Figure | None = _figure("Direction of fall, degrees clockwise from grid north.")


class Grading(GradingOf):
    """The wanted surface, and another one for single fields."""

    fields: dict[str, GradingOf] = Field({}, description="Other wishes for single fields, by field_id.")

    def on(self, field_id: str) -> GradingOf:
        """The wishes for one field: its own, and where it has none those for all fields."""
        own = self.fields.get(field_id, GradingOf())
        picked = {name: getattr(own, name) if getattr(own, name) is not None else getattr(self, name) for name in GradingOf.model_fields}
        return GradingOf.model_construct(**picked)


class Acceptance(Owners):
    """How finished work is accepted."""

    tolerance_mm: Figure | None = _figure("Finish tolerance, +/- mm.")
    hand_levels: Figure | None = _figure("Places levelled by hand.")
    retest_days: Figure | None = _figure("Days until a retest.")
