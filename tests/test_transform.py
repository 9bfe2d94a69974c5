"""pipeline/transform.py: an exact step between two CRSs, or none."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from pyproj import CRS

from pipeline.transform import EPOCH_M, NoExactStep, step_between

PITTSBURGH = (-80.0, 40.0)


def step(source: str, target: str, place=PITTSBURGH):
    return step_between(CRS.from_user_input(source), CRS.from_user_input(target), place)


@pytest.mark.independent  # Snyder 1987, USGS Professional Paper 1395, UTM example p. 269 (from memory)
def test_a_transverse_mercator_gives_the_printed_example():
    e, n = step("EPSG:4267", "EPSG:26718", (-73.5, 40.5))(-73.5, 40.5)
    assert (float(e), float(n)) == (pytest.approx(627_106.5, abs=0.05), pytest.approx(4_484_124.4, abs=0.05))


@pytest.mark.analytic
def test_feet_to_metres_of_one_zone_is_a_factor():
    x, y = np.array([1_338_208.22, 1_400_000.0]), np.array([250_886.607, 300_000.0])
    e, n = step("EPSG:6565", "EPSG:6564")(x, y)
    np.testing.assert_allclose(e, x * 1200 / 3937, atol=1e-8)
    np.testing.assert_allclose(n, y * 1200 / 3937, atol=1e-8)


@pytest.mark.invariant
@pytest.mark.parametrize("source", ["EPSG:6565", "EPSG:6318", "EPSG:32617", "EPSG:4326"])
def test_a_step_back_is_the_step_undone(source):
    there = step(source, "EPSG:6564")
    e, n = np.array([407_886.681, 408_000.0]), np.array([76_470.391, 76_600.0])
    np.testing.assert_allclose(there(*there.back(e, n)), [e, n], atol=1e-6)


@pytest.mark.invariant
def test_nothing_is_fetched_from_a_network():
    assert not pyproj.network.is_network_enabled()


@pytest.mark.independent  # EPSG registry: Adindan to WGS 84, Ethiopia, is known to some metres only
def test_a_step_known_to_many_metres_is_no_step():
    with pytest.raises(NoExactStep):
        step("EPSG:20137", "EPSG:32637", (38.7, 9.0))


@pytest.mark.invariant
def test_heights_in_a_crs_do_not_change_where_a_point_lies():
    x, y = np.array([-80.0]), np.array([40.0])
    np.testing.assert_array_equal(step("EPSG:6318", "EPSG:6564")(x, y), step("EPSG:6319", "EPSG:6564+5703")(x, y))


@pytest.mark.independent  # accuracies stated in the EPSG registry
@pytest.mark.parametrize(
    "source, target, accuracy_m",
    [("EPSG:6565", "EPSG:6564", 0.0), ("EPSG:6318", "EPSG:6564", 0.0), ("EPSG:32617", "EPSG:6564", 2.0),
     ("EPSG:4979", "EPSG:32617", 0.0)],
)
def test_a_step_says_what_it_is_known_to(source, target, accuracy_m):
    assert step(source, target).accuracy_m == accuracy_m


@pytest.mark.invariant
def test_a_frame_that_drifts_with_its_plate_is_not_taken_for_exact():
    assert step("EPSG:9755", "EPSG:6564").accuracy_m == EPOCH_M  # WGS 84 (G2139), epoch unknown


@pytest.mark.invariant
@pytest.mark.parametrize(
    "source, target, place",
    [("EPSG:2272", "EPSG:6564", PITTSBURGH), ("EPSG:2991", "EPSG:2993", (-123.0, 44.0)),
     ("EPSG:32040", "EPSG:6587", (-96.0, 28.5)),
     ("EPSG:28992", "EPSG:25831", (4.5, 52.0)), ("EPSG:2272", "EPSG:6564", None)],
)  # fmt: skip
def test_where_only_an_inexact_step_is_at_hand_there_is_none(source, target, place):
    with pytest.raises(NoExactStep, match="no exact step to EPSG") as caught:
        step(source, target, place)
    assert source in str(caught.value) and target in str(caught.value)


@pytest.mark.invariant
def test_a_projection_the_library_does_not_have_is_no_crash():
    with pytest.raises(NoExactStep, match="EPSG:2218"):
        step("EPSG:2218", "EPSG:32632", None)
