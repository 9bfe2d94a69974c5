"""Work along the edge: remedies by height and width, volumes against closed forms, where the mix goes."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest

from pipeline.report.todo import remedy
from pipeline.survey.edges.edge_shape import Bump, bump
from pipeline.surface.lip_shape import HALF_HEIGHT
from pipeline.variables import column_names
from pipeline.works.lip_work import AREA_OVER_WIDTH, Spot, lip_work, remedy_of, sod_strip_m, volume


def station(s: float | None, height: float | None = 40.0, edge: str = "outer", kind: str = "lip", sigma: float = 2.0, **more) -> dict:
    return {
        "edge_id": edge, "station_m": s, "e": 100.0 if s is None else 100.0 + s, "n": 200.0, "kind": kind, "height_mm": height, "height_sigma_mm": sigma,
        "width_mm": 400.0, "crest_offset_mm": 100.0, "section_m2": 0.016, **more,
    }  # fmt: skip


def row(count: int = 10, **given) -> list[dict]:
    return [station(k + 0.5, **given) for k in range(count)]


@pytest.mark.analytic
@pytest.mark.parametrize(("height", "width", "word"), [(20, 400, "sweep"), (25.1, 400, "wash"), (50.1, 400, "cut"), (50.1, 601, "wide"), (10, 601, "wide"), (30, None, "wash")])
def test_the_remedy_is_the_mildest_that_height_and_width_leave(height, width, word):
    assert remedy_of(height, width) == word and remedy(height, width) == f"remedy_{word}"


@pytest.mark.analytic
def test_a_uniform_lip_gives_its_section_times_its_length():
    (work,) = lip_work(row(10), 25.0, 60.0)
    assert (work.from_m, work.to_m, work.length_m, work.remedy, work.goes_back, work.goes_to) == (0.0, 10.0, 10.0, "wash", "yes", "skin")
    assert work.out_m3 == pytest.approx(0.16) and work.out_sigma_m3 == pytest.approx(10 * 0.002 * 0.4 * AREA_OVER_WIDTH)
    assert work.sod_m2 == 0.0 and work.sod_most_m2 == pytest.approx(10 * 0.5) and not work.unsafe


@pytest.mark.analytic
def test_a_lip_that_grows_along_the_edge_gives_the_wedge():
    rows = [station(k + 0.5, 30.0 + k, section_m2=0.001 * (k + 0.5)) for k in range(20)]
    assert volume(rows, 1.0)[0] == pytest.approx(0.001 * 20**2 / 2)


@pytest.mark.independent
def test_area_of_a_lip_over_its_width_against_quadrature():
    from scipy.integrate import quad

    shape = Bump(0.1, 0.13, 0.30)
    area = quad(lambda x: float(bump(np.array([x]), shape)[0]), -2, 0.1)[0] + quad(lambda x: float(bump(np.array([x]), shape)[0]), 0.1, 4)[0]
    assert area / (HALF_HEIGHT * (shape.w_in + shape.w_out)) == pytest.approx(AREA_OVER_WIDTH, rel=1e-9)


@pytest.mark.invariant
def test_low_skin_is_never_cut_and_a_step_is_told_first():
    low, step = lip_work(row(5, kind="low_skin") + row(5, edge="home", kind="not_enough_evidence", height=90.0), 25.0, 60.0)
    assert (low.remedy, low.goes_back, low.sod_m2, low.sod_most_m2, low.goes_to) == ("add_mix", "no", 0.0, 0.0, "") and np.isnan(low.out_m3)
    assert (step.kind, step.remedy, step.unsafe, step.sod_most_m2) == ("step", "tell_first", True, 0.0)


@pytest.mark.invariant
def test_nothing_is_done_within_the_tolerance_or_without_one():
    assert lip_work(row(5, height=20.0), 25.0, 60.0) == [] and lip_work(row(5), None, None) == []
    assert lip_work(row(5, height=None), 25.0, 60.0) == [] and lip_work(row(5, kind="not_enough_evidence"), 25.0, 60.0) == []


@pytest.mark.analytic
def test_what_is_cut_or_stripped_takes_sod_and_is_screened():
    cut, wide = lip_work(row(4, height=70.0) + row(4, edge="home", height=40.0, width_mm=700.0), 25.0, 60.0)
    assert (cut.remedy, cut.goes_back, cut.unsafe) == ("cut", "screened", True) and cut.sod_m2 == cut.sod_most_m2 == pytest.approx(4 * 0.5)
    assert (wide.remedy, wide.goes_back) == ("wide", "screened") and wide.sod_m2 == pytest.approx(4 * 0.8)
    assert np.isnan(sod_strip_m(station(0.5, width_mm=None)))
    (part,) = lip_work(row(3, height=70.0) + [station(k + 0.5, 40.0) for k in range(3, 10)], 25.0, 60.0)  # three of ten metres are too high to wash
    assert (part.remedy, part.length_m) == ("cut", 10.0) and part.sod_m2 == pytest.approx(3 * 0.5) and part.sod_most_m2 == pytest.approx(10 * 0.5)


@pytest.mark.analytic
def test_mix_goes_to_the_nearest_low_spot_that_still_wants_some():
    rows = row(4) + row(4, edge="third")
    for r in rows[4:]:
        r["e"] += 50.0
    near, far = Spot("second", 104.0, 203.0, 0.05), Spot("first", 130.0, 200.0, 1.0)
    one, two = lip_work(rows, 25.0, 60.0, [near, far])
    assert (one.goes_to, two.goes_to) == ("second", "first") and one.away_m == pytest.approx(np.hypot(104 - 102.5, 3)) and two.away_m == pytest.approx(22.5)
    one, two = lip_work(rows, 25.0, 60.0, [near])
    assert (one.goes_to, two.goes_to) == ("second", "skin") and np.isnan(two.away_m)


@pytest.mark.analytic
def test_of_a_walk_only_the_whole_edge_is_known():
    (work,) = lip_work([station(None, 40.0, width_mm=None, section_m2=None)], 25.0, 60.0, lengths={"outer": 45.0})
    assert (work.from_m, work.to_m, work.remedy) == (0.0, 45.0, "wash") and np.isnan(work.out_m3) and work.reason and np.isnan(work.sod_most_m2)


@pytest.mark.invariant
def test_the_table_has_a_column_for_every_figure():
    (work,) = lip_work(row(3), 25.0, 60.0)
    assert set(asdict(work)) == set(column_names("lip_work"))
