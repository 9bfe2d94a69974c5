"""Runs as the step makes them, on fields of every layout with all that can lie in the ground drawn at random."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from pipeline.diamond.layout import Drawing, Feature, build
from pipeline.jobs import Job
from pipeline.settings import Config
from pipeline.steps.grade_passes import passes_of
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import KINDS, keep_outs_of
from report.scene import CRS, SIGNED, reads

ON = dt.date(2026, 4, 7)
SETS = [("softball-60", "softball-55"), ("softball-65", "softball-60"), ("baseball-70", None), ("baseball-90", None), ("baseball-60", "baseball-50")]
HOME = (507000.0, 175000.0)
BASES = ("first", "second", "third", "home", "pitchers-plate", None)


@st.composite
def fields(draw):
    """A layout with things drawn all over its skin: heads, boxes, cables, keep-outs, anchors true and false, twice and missing."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    main, other = SETS[rng.integers(len(SETS))]
    reach, bearing = int(main.rsplit("-", 1)[1]) * 0.3048 * 2**0.5, rng.uniform(0, 2 * np.pi)
    second = HOME[0] + reach * np.sin(bearing), HOME[1] + reach * np.cos(bearing)
    west, south, east, north = build(Drawing("f", CRS, 0.5, main, other, HOME, second)).skin.bounds

    def at() -> tuple[float, float]:
        return rng.uniform(west, east), rng.uniform(south, north)

    def noted() -> dict:
        day = rng.choice(["", "2026-03-30", "2025-04-01", "2026-09-01"])
        sigma = {"sigma_mm": float(rng.uniform(1, 300))} if rng.random() < 0.4 else {}
        return ({"located_on": str(day)} if day else {}) | sigma | ({"state": "missing"} if rng.random() < 0.15 else {})

    out = [Feature("irrigation_head", f"h{k}", Point(*at()), noted()) for k in range(rng.integers(0, 8))]
    out += [Feature("valve_box", f"v{k}", Point(*at()).buffer(rng.uniform(0.1, 0.5)) if k else Point(*at()), noted()) for k in range(rng.integers(0, 3))]
    out += [Feature("cable", f"c{k}", LineString([at(), at(), at()]), noted()) for k in range(rng.integers(0, 2))]
    out += [Feature("keep_out", f"k{k}", Point(*at()).buffer(rng.uniform(0.05, 1.0)), noted()) for k in range(rng.integers(0, 3))]
    for k in range(rng.integers(0, 6)):
        base, of = BASES[rng.integers(len(BASES))], rng.choice(["", main, other or main, "baseball-80"])
        out.append(Feature("base_anchor", f"a{k}", Point(*at()), noted() | ({"base": base} if base else {}) | ({"layout": str(of)} if of else {})))
    made = build(Drawing("f", CRS, 0.5, main, other, HOME, second, features=tuple(out)))
    return made, tuple(out), float(rng.uniform(1.4, 2.4)), [Hollow("second", *second, 1.5, 1.5, 2.7)] if rng.random() < 0.5 else []


@pytest.mark.invariant
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(fields())
def test_no_run_crosses_what_is_drawn_or_follows_from_the_layout(field):
    """Each thing is held against its own shape as drawn and the least buffer a place of its kind may have, and no run leaves the skin."""
    layout, features, width, hollows = field
    kept = keep_outs_of(layout, features, ON)
    machine = {"width_m": width, "speed_m_per_s": 1.4, "turn_s": 12, **SIGNED}
    found = passes_of(Job("f", "", Config(machines={"mat": machine}), {"works": ()}, (), "."), layout, kept, hollows)
    blades = [LineString(r["line"]).buffer(width / 2, cap_style="flat") for r in found["runs"]]
    if not blades:
        assert found["reason"]
        return
    driven = shapely.union_all(blades)
    for f in (f for f in features if f.role in KINDS):
        sigma = f.props.get("sigma_mm", 0.0) / 1000
        this_season = f.props.get("located_on") == "2026-03-30" and "state" not in f.props
        least = (0.3 if this_season else 0.5) + 2 * sigma
        assert driven.distance(f.geometry) >= least * 0.995 - 1e-3, (f.role, f.name)  # a circle is drawn with chords
    for name, (e, n) in layout.anchors.items():
        assert driven.distance(Point(e, n)) >= 0.295, name
    for patch in layout.patches:
        if not any(str(f.props.get("base") or "") in ("home", "pitchers-plate") for f in features if f.role == "base_anchor"):
            assert driven.distance(patch.polygon) >= 0.49, patch.patch_id
    assert driven.difference(layout.skin).area < 1e-3


@pytest.mark.invariant
def test_the_bearing_and_corner_recorded_last_are_not_used_next_wherever_their_row_stands():
    second = HOME[0] + 60 * 0.3048, HOME[1] + 60 * 0.3048
    made = build(Drawing("f", CRS, 0.5, "softball-60", None, HOME, second))
    machines = {"mat": {"width_m": 2.4, "speed_m_per_s": 1.1, "turn_s": 15, **SIGNED}}

    def runs(*done: tuple[str, str, str]) -> tuple[float, str]:
        rows = ({"work_id": f"w{k}", "field_id": "f", "done_on": day, "work": "drag", "bearing_deg": bearing, "entry": corner} for k, (day, bearing, corner) in enumerate(done))
        found = passes_of(Job("f", "", Config(machines=machines), {"works": reads("works", *rows)}, (), "."), made, (), ())["runs"][0]
        return found["bearing_deg"], found["entry"]

    done, used = [], []
    for day in ("2026-04-06", "2026-04-13", "2026-04-20", "2026-04-27"):
        bearing, corner = runs(*done)
        assert all(min(abs(bearing - b) % 180, 180 - abs(bearing - b) % 180) >= 30 for b, _ in used[-1:]) and corner not in [c for _, c in used[-2:]]
        used.append((bearing, corner))
        done.append((day, f"{bearing:g}", corner))
    assert len(set(used)) == 4 and runs(*done) == runs(*reversed(done)) == runs(done[3], done[0], done[2], done[1])
