"""What a pair's balance is handed: which works lie between, which turf is looked at, what the ruler says of the grass."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
import shapely

from pipeline.steps.change_balance import BEYOND_M, EDGE_STRIP_M, RULER_SD_M, SEEN_SHARE_SD, _canopy, beyond_strip, works_between
from pipeline.survey.noise import LIDAR, GOOD_PHOTOGRAMMETRY
from report.scene import layout, reads

WORKS = reads("works", *(
    {"work_id": f"w{k}", "field_id": "f", "done_on": on, "work": "drag", **more}
    for k, (on, more) in enumerate([("2025-04-01", {}), ("2025-06-01", {}), ("2025-09-30", {"ended_on": "2025-10-06"}), ("2025-10-06", {}), ("2026-01-05", {})])
))  # fmt: skip


def surveys(*rows: dict):
    usual = {"fields": "f", "path": "x.laz", "source": "lidar"}
    return reads("surveys", *({"survey_id": f"s{k}", **usual, **r} for k, r in enumerate(rows)))


@pytest.mark.analytic
def test_works_between_two_dates_and_on_their_days():
    job = SimpleNamespace(rows={"works": WORKS})
    routine = surveys({"flown_on": "2025-04-01"}, {"flown_on": "2025-10-06"})
    assert [w["work_id"] for w in works_between(job, *routine)] == ["w1", "w2", "w3"]
    before = surveys({"flown_on": "2025-04-01", "purpose": "before_work"}, {"flown_on": "2025-10-06", "purpose": "before_work"})
    assert [w["work_id"] for w in works_between(job, *before)] == ["w0", "w1", "w2"]


@pytest.mark.analytic
def test_the_strip_beyond_lies_between_its_two_distances_from_the_edges_and_on_nothing_else():
    made = layout()
    strip = beyond_strip(made, SimpleNamespace(edges=made.edges))
    lines = shapely.union_all([e.line for e in made.edges])
    assert strip.area > 20 and strip.intersection(made.skin).area < 1e-6
    assert strip.distance(lines) == pytest.approx(EDGE_STRIP_M, abs=0.02)
    assert shapely.hausdorff_distance(strip, lines.buffer(EDGE_STRIP_M).boundary) < 60
    assert strip.difference(lines.buffer(BEYOND_M + 1e-6)).area < 1e-6
    assert all(strip.distance(p.polygon) >= 0.3 - 1e-3 for p in made.patches)


@pytest.mark.analytic
def test_what_the_ruler_says_of_the_grass_and_how_well():
    rows = surveys({"flown_on": "2025-04-01", "turf_height": "30", "turf_height_unit": "mm"}, {"flown_on": "2025-10-06", "turf_height": "40", "turf_height_unit": "mm"},
                   {"flown_on": "2026-04-01"})  # fmt: skip
    job = SimpleNamespace(rows={"surveys": rows})

    def seen(k, noise=GOOD_PHOTOGRAMMETRY, source="photogrammetry"):
        return SimpleNamespace(survey_id=f"s{k}", noise=noise, record={"source": source})

    value, sigma = _canopy(job, seen(0), seen(1))
    reach = GOOD_PHOTOGRAMMETRY.canopy_reach
    assert value == pytest.approx(0.010 * reach)
    assert sigma == pytest.approx(((SEEN_SHARE_SD * 0.010 * reach) ** 2 + 2 * RULER_SD_M**2) ** 0.5)
    other = _canopy(job, seen(0), seen(1, LIDAR, "lidar"))
    assert other[1] > sigma  # two sources see different shares of the grass
    assert _canopy(job, seen(0), seen(2)) == (None, None)
