"""pipeline/survey/reading/fits.py: whether a cloud's numbers can be what their label says."""

from __future__ import annotations

import math

import pytest
from pyproj import CRS, Transformer
from support.cloud_files import facts_at

from pipeline.survey.reading.fits import candidates, label_problem

PLACE = (-80.0, 40.0)
FIELD = CRS.from_epsg(6564)


def numbers(epsg: int) -> tuple[float, float]:
    """The field's place in a CRS, by the projection library alone."""
    crs = CRS.from_epsg(epsg)
    return Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True).transform(*PLACE)


def problem(label: int, x: float, y: float, reach: float = 40.0) -> str | None:
    return label_problem(facts_at(x, y, reach=reach), CRS.from_epsg(label), FIELD, PLACE)


@pytest.mark.invariant
@pytest.mark.parametrize("epsg", [6564, 6565, 2272, 32617, 3857])
def test_rightly_labelled_numbers_raise_no_question(epsg):
    assert problem(epsg, *numbers(epsg)) is None


@pytest.mark.analytic
@pytest.mark.parametrize("label, really", [(6564, 6565), (6565, 6564), (26995, 2255), (2991, 2992)])
def test_a_unit_mixed_up_is_named_with_the_twin_that_fits(label, really):
    crs = CRS.from_epsg(really)
    area = crs.area_of_use
    middle = (area.west + area.east) / 2, (area.south + area.north) / 2
    x, y = Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True).transform(*middle)
    found = label_problem(facts_at(x, y), CRS.from_epsg(label), crs, None)
    assert f"only fit EPSG:{really}" in found and "labelled as" in found


@pytest.mark.invariant
def test_swapped_coordinates_are_called_so():
    x, y = numbers(6565)
    assert "swapped" in problem(6565, y, x)
    assert "swapped" in problem(4326, 40.0, -80.0, reach=0.001)
    assert problem(4326, -80.0, 40.0, reach=0.001) is None


@pytest.mark.invariant
def test_degrees_that_are_no_degrees_are_seen():
    assert "expected degrees" in problem(4326, *numbers(6564))
    assert "latitude and longitude are swapped" in problem(4326, 40.0, -120.0, reach=0.001)


@pytest.mark.analytic
def test_a_geocentric_label_needs_numbers_an_earth_radius_long():
    geocentric = CRS.from_epsg(4978)
    xyz = Transformer.from_crs(4979, 4978, always_xy=True).transform(*PLACE, 300.0)
    assert label_problem(facts_at(*xyz), geocentric, FIELD, PLACE) is None
    found = label_problem(facts_at(*numbers(32617)), geocentric, FIELD, PLACE)
    assert "EPSG:6346 (NAD83(2011) / UTM zone 17N)" in found  # the one on the field's own datum comes first
    assert "EPSG:32617" in label_problem(facts_at(*numbers(32617)), geocentric, CRS.from_epsg(32617), None)


@pytest.mark.independent  # the projection library, place by place
@pytest.mark.parametrize("epsg", [6565, 32617, 26917, 3857])
def test_candidates_are_the_systems_that_put_the_numbers_on_the_field(epsg):
    x, y = numbers(epsg)
    found = candidates(x, y, FIELD, PLACE)
    assert epsg in {one.crs.to_epsg() for one in found}
    for one in found:
        lon, lat = Transformer.from_crs(one.crs, "EPSG:4326",
                                        always_xy=True).transform(*((y, x) if one.swapped else (x, y)))
        away = math.hypot((lon - PLACE[0]) * math.cos(math.radians(40)) * 111_000, (lat - PLACE[1]) * 111_000)
        assert away < 700  # 500 m in the projection's own metres, a web map's being short


@pytest.mark.invariant
def test_the_zone_next_door_is_a_candidate_near_its_border():
    border = (-78.3, 40.0)
    x, y = Transformer.from_crs(4326, 32618, always_xy=True).transform(*border)
    assert 32618 in {one.crs.to_epsg() for one in candidates(x, y, FIELD, border)}


@pytest.mark.invariant
def test_candidates_come_in_one_order_the_field_s_datum_first():
    x, y = numbers(6565)
    found = candidates(x, y, FIELD, PLACE)
    assert found == candidates(x, y, FIELD, PLACE)
    assert found[0].crs.to_epsg() == 6565 and not found[0].swapped
    assert candidates(y, x, FIELD, PLACE)[0].swapped
