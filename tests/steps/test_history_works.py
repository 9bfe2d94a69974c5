"""Works of a field from rows and a made-up surface: the tables, the record, places for hand levels and what they say."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.settings import Config
from pipeline.steps import works_built
from pipeline.steps.history_works import works_of
from pipeline.store import rasters
from pipeline.store.where import Where
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY
from report.scene import CRS, FIELD, layout, reads, row

SIGNED = {"set_by": "A", "set_on": "2025-01-01"}
DAYS = {"one": "2025-04-07", "two": "2025-10-06", "three": "2026-04-07"}
WORKS = (
    {"work_id": "fill", "done_on": "2025-06-01", "work": "level", "zone": "first", "hours": "1.5", "by": "crew", "mix_amount": "0.2", "mix_unit": "tonne"},
    {"work_id": "drag", "done_on": "2025-07-01", "work": "drag", "zone": "skin", "hours": "0.5", "by": "crew"},
    {"work_id": "laser", "done_on": "2025-09-01", "ended_on": "2025-09-02", "work": "laser_grade", "zone": "skin", "by": "contractor", "cost": "5200"},
)  # fmt: skip


def surface(off_m: float = 0.0) -> np.ndarray:
    """A plane with 2 mm of waves; a strip of it stands off."""
    e, n = layout().grid.mesh()
    z = 300 + 0.008 * (e - layout().centre[0]) + 0.002 * np.sin(e) * np.sin(n)
    return z + np.where(e > layout().centre[0] + 8, off_m, 0.0)


def job(readings=(), **config):
    given = {"acceptance": {"tolerance_mm": 6.35, "hand_levels": 30, **SIGNED}, "grading": {"form": "plane", **SIGNED}} | config
    return SimpleNamespace(
        field=FIELD, survey="", tables_dir=".", settings=Config(tolerances={"lip_mm": {"value": 25, **SIGNED}}, random_seed=5, **given),
        rows={
            "surveys": reads("surveys", *({"survey_id": s, "flown_on": d, "fields": FIELD, "path": "x", "source": "lidar"} for s, d in DAYS.items())),
            "works": reads("works", *({"field_id": FIELD, **w} for w in WORKS)), "readings": reads("readings", *readings),
        },
        field_row=reads("fields", {"field_id": FIELD, "crs": CRS})[0],
    )  # fmt: skip


@pytest.fixture
def flown(monkeypatch):
    """Let every survey show one surface."""

    def show(z: np.ndarray, absolute: bool = True) -> None:
        made = SimpleNamespace(z=z, white=np.full(z.shape, 0.002), absolute=absolute)
        monkeypatch.setattr(works_built.surveyed, "read", lambda *_: made)
        monkeypatch.setattr(works_built, "survey_error", lambda *_: SurveyError.of(GOOD_PHOTOGRAMMETRY, layout().centre, np.zeros((4, 4))))

    return show


def told(given, where: Where = Where("results")) -> tuple[dict, dict]:
    pair = {"from_survey": "one", "to_survey": "two"}
    spot = lambda s, depth: row("low_spots", survey_id=s, low_spot_id="first", ring_depth_mm=depth, ring_depth_sigma_mm=2.0)
    rows = {
        "low_spots": [spot("one", 30.0), spot("two", 3.0), spot("three", 12.0)], "lip": [], "lip_change": [], "grass_edge": [], "mix_depth": [], "change": [],
        "zones": [row("zones", survey_id=s, zone="skin", planarity_mm=p, planarity_sigma_mm=0.5) for s, p in zip(DAYS, (7.0, 2.0, 3.0))],
        "low_spot_change": [row("low_spot_change", **pair, low_spot_id="first", depth_change_mm=-26.0, depth_change_sigma_mm=2.0)],
    }
    tables, record = works_of(given, where, layout(), {s: {"flown_on": d, "baseline": "one"} for s, d in DAYS.items()}, rows, [], {"outer": 40.0})
    return tables, {w["work_id"]: w for w in record["works"]}


@pytest.mark.analytic
def test_a_filled_base_is_told_with_its_hours_its_mix_and_what_else_lay_between(flown):
    flown(surface())
    tables, works = told(job())
    (ring,) = [r for r in tables["works_record"] if r["work_id"] == "fill" and r["measure"] == "ring_depth"]
    assert (ring["change"], ring["change_sigma"], ring["detected"], ring["shares"]) == (-26.0, 2.0, True, "drag;laser")
    assert ring["surveys_since"] == 1 and "not enough surveys yet" in ring["held_reason"] and np.isnan(ring["held_mm_per_month"])
    fill = works["fill"]
    assert (fill["hours"], fill["tonnes"], fill["before"]["survey_id"], fill["after"]["survey_id"]) == (1.5, pytest.approx(0.2), "one", "two")
    assert fill["as_built"] == {} and fill["hand_levels"] == {}
    places = [r for r in tables["progress"] if r["zone"] == "first"]
    assert len(places) == 1 and "by machine" in places[0]["reason"] and places[0]["hours"] == 1.5


@pytest.mark.analytic
def test_a_laser_grade_is_held_against_the_form_in_places_and_a_strip_that_stands_high_is_found(flown):
    flown(surface())
    good, _ = told(job())
    assert {r["verdict"] for r in good["as_built"]} <= {"within", "cannot_tell"} and len(good["as_built"]) > 20
    flown(surface(0.03))
    bad, works = told(job())
    assert "outside" in {r["verdict"] for r in bad["as_built"]}
    built = works["laser"]["as_built"]
    assert (built["against"], built["form"], built["word"], built["note"]) == ("form", "plane", "outside", "")
    assert built["share"]["high95"] < 0.95 and built["places_outside"] == sum(r["verdict"] == "outside" for r in bad["as_built"])


@pytest.mark.analytic
def test_what_was_wanted_must_be_known_and_is_said_when_it_is_not(flown):
    flown(surface())
    reason = lambda **config: told(job(**config))[1]["laser"]["as_built"]["reason"]
    assert "grading.form" in reason(grading={}) and "many shapes" in reason(grading={"form": "free", **SIGNED})
    untold, works = told(job(acceptance={}))
    assert "no tolerance" in works["laser"]["as_built"]["reason"] and {r["verdict"] for r in untold["as_built"]} == {"cannot_tell"}
    late = told(job(grading={"form": "plane", "set_by": "A", "set_on": "2025-12-15"}))[1]["laser"]["as_built"]
    assert late["note"] == "form_later"


@pytest.mark.analytic
def test_a_design_named_in_the_papers_is_held_level_and_all(flown, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    flown(surface() + 0.020)
    e, _ = layout().grid.mesh()
    rasters.write("worked_to.tif", "design", 300 + 0.008 * (e - layout().centre[0]), layout().grid, {})
    where = Where("results")
    rasters.write(where.raster(FIELD, "two", "elevation"), "elevation", surface() + 0.020, layout().grid, {})
    named = job()
    named.rows["works"] = reads("works", *({"field_id": FIELD, **w, **({"documents": "invoice 118; worked_to.tif"} if w["work_id"] == "laser" else {})} for w in WORKS))
    tables, works = told(named, where)
    assert works["laser"]["as_built"]["against"] == "design" and {r["verdict"] for r in tables["as_built"]} == {"outside"}
    assert np.mean([r["deviation_mm"] for r in tables["as_built"]]) == pytest.approx(20.0, abs=0.5)
    assert all(p["design_m"] is not None for p in works["laser"]["hand_levels"]["places"])
    (tmp_path / "worked_to.tif").unlink()
    assert "no such file" in told(named, where)[1]["laser"]["as_built"]["reason"]


@pytest.mark.analytic
def test_levels_read_at_the_drawn_places_are_judged_and_others_are_not(flown):
    flown(surface())
    places = told(job())[1]["laser"]["hand_levels"]["places"]
    assert len(places) == 30 and places == told(job())[1]["laser"]["hand_levels"]["places"]
    read = [
        {"reading_id": f"l{k}", "field_id": FIELD, "read_on": "2025-09-05", "kind": "level", "unit": "m", "value": f"{5 + 0.008 * (p['e'] - 507000) + (0.02 if k == 3 else 0.0):.4f}",
         **({"place": p["name"]} if k % 2 else {"e": str(p["e"] + 0.2), "n": str(p["n"])})}
        for k, p in enumerate(places)
    ]  # fmt: skip
    result = told(job(read))[1]["laser"]["hand_levels"]["result"]
    assert (result["read"], result["within"]) == (30, 29) and result["low95"] == pytest.approx(0.828, abs=0.001)
    assert "places are read" in told(job(read[:20]))[1]["laser"]["hand_levels"]["result"]["reason"]
    early = [{**r, "read_on": "2025-08-01"} for r in read]
    assert told(job(early))[1]["laser"]["hand_levels"]["result"] is None
