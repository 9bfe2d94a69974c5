from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from numpy.testing import assert_array_equal
from pytest import approx
from shapely.affinity import translate
from support.edge_scene import INSTRUMENTS, WEAK, Options, Scene, single_arc
from support.flat_tables import cover_ramp, table_of

from pipeline.diamond.edges import Edge
from pipeline.survey.edges.edge_fit import FAR, beginning, fit_edge


def miss(scene: Scene, fitted: Edge) -> float:
    """Rms distance of a fitted edge from the true line as the survey shows it, m."""
    true = translate(scene.true_edge(fitted.edge_id).line, *scene.moved(0))
    s = np.arange(1.0, fitted.length_m - 1.0, 0.1)
    gap = shapely.distance(true, shapely.points(*fitted.at(s)))
    return float(np.sqrt(np.mean(gap[fitted.usable(s)] ** 2)))


@pytest.fixture(scope="module")
def weak_arc() -> Scene:
    return Scene(8, WEAK, single_arc(20, 30))


@pytest.mark.analytic
@pytest.mark.parametrize("begins", [-0.44, -0.13, 0.0, 0.21, 0.52])
def test_the_beginning_of_a_plain_ramp_of_colour_is_found_to_a_millimetre(begins):
    table = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.05 + 0.85 * cover_ramp(d, begins))
    told_by, offset, sigma = beginning(table, FAR)
    assert told_by == "colour"
    assert offset[table.usable] == approx(begins, abs=1e-3)
    assert (sigma[table.usable] < 0.02).all()


@pytest.mark.independent
@pytest.mark.parametrize(("name", "limit_m"), [("good", 0.030), ("weak", 0.060), ("lidar", 0.060)])
def test_a_layouts_arc_38_cm_off_is_laid_onto_the_grass(name, limit_m):
    # the scene's truth is a circle in closed form
    scene = Scene(8, INSTRUMENTS[name], single_arc(20, 30))
    true = scene.true_edge("outer")
    given = replace(true, line=translate(true.line, 0.29, 0.25), source="layout")
    assert miss(scene, given) > 0.25
    fit = fit_edge(scene.survey(0), given)
    assert fit.reason == "" and fit.edge.source == "fitted"
    assert miss(scene, fit.edge) < limit_m
    assert miss(scene, fit.edge) < 2.5 * np.nanmedian(fit.sigma_m)


@pytest.mark.independent
def test_a_closed_edge_with_cut_outs_is_laid_onto_the_grass_corners_too():
    scene = Scene(9, WEAK)
    true = scene.true_edge("infield")
    fit = fit_edge(scene.survey(0), replace(true, line=translate(true.line, 0.25, -0.30), source="layout"))
    assert miss(scene, fit.edge) < 0.030
    assert fit.edge.closed and fit.edge.line.is_simple
    assert fit.edge.length_m == approx(true.length_m, rel=0.01)
    assert translate(true.line, *scene.moved(0)).hausdorff_distance(fit.edge.line) < 0.12


@pytest.mark.invariant
def test_a_drawn_edge_is_kept_and_how_far_it_is_off_is_told(weak_arc):
    true = weak_arc.true_edge("outer")
    far = replace(true, line=translate(true.line, 0.0, -0.10))  # grass lies beyond the arc: drawn too far in the skin
    fit = fit_edge(weak_arc.survey(0), far)
    assert fit.edge is far and fit.reason == "the line was drawn"
    assert fit.mean_offset_m == approx(0.10 * 0.89 + weak_arc.moved(0)[1], abs=0.03)
    assert fit.told_by == "colour"


@pytest.mark.invariant
def test_without_evidence_the_edge_stays_and_the_reason_is_given():
    scene = Scene(8, WEAK, single_arc(20, 30), options=Options(colour=False))
    given = replace(scene.true_edge("outer"), source="layout")
    fit = fit_edge(scene.survey(0), given)
    assert fit.edge is given and "tells grass from skin" in fit.reason
    assert np.isnan(fit.mean_offset_m) and np.isnan(fit.offset_m).all()


@pytest.mark.invariant
def test_grass_that_begins_along_a_short_piece_only_moves_nothing():
    table = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.05 + 0.85 * cover_ramp(d))
    patchy = np.where(np.arange(len(table.s))[:, None] < 12, table.green, 0.05)
    told_by, offset, _ = beginning(replace(table, green=patchy), FAR)
    assert told_by == "" or np.isfinite(offset).sum() < 0.5 * table.usable.sum()


@pytest.mark.invariant
def test_the_order_of_the_points_does_not_matter(weak_arc):
    ground = weak_arc.survey(0)
    given = replace(weak_arc.true_edge("outer"), source="layout")
    mixed = ground.take(np.random.default_rng(1).permutation(len(ground)))
    assert_array_equal(fit_edge(ground, given).edge.line.coords, fit_edge(mixed, given).edge.line.coords)
