"""pipeline/coordinates.py: which CRS a text names, its unit and twins, and what a field works in."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import CRS, Transformer

from pipeline import coordinates as at
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M


def low_distortion_feet() -> CRS:
    """A foot projection that EPSG does not have: Pennsylvania South about another meridian."""
    plain = CRS.from_epsg(6565).to_json_dict()
    for key in ("id", "scope", "area", "bbox"):
        plain.pop(key)
    plain["name"] = "Low distortion, Maple County"
    plain["conversion"]["parameters"][1]["value"] = -78.25
    return CRS.from_json_dict(plain)


@pytest.mark.independent  # EPSG registry: foot and metre projected CRSs of the same zone and datum
@pytest.mark.parametrize(
    "given, working",
    [("EPSG:6565", "EPSG:6564"), ("EPSG:2272", "EPSG:32129"), ("EPSG:2255", "EPSG:26995"), ("EPSG:2229", "EPSG:26945"),
     ("EPSG:2994", "EPSG:2993"), ("EPSG:2903", "EPSG:2826"), ("EPSG:3735", "EPSG:32123"), ("EPSG:2154", "EPSG:2154"),
     ("EPSG:6565+6360", "EPSG:6564"), ("EPSG:2180", "EPSG:2180")],
)  # fmt: skip
def test_a_field_works_in_the_metre_twin_of_its_crs(given, working):
    assert at.working_crs(given) == working


@pytest.mark.analytic
def test_a_foot_projection_without_a_twin_gets_metres_by_its_own_factor():
    feet = low_distortion_feet()
    metres = at.read_crs(at.working_crs(feet.to_wkt()))
    lon, lat = -79.3, 40.2
    in_feet, in_metres = (
        np.array(Transformer.from_crs(crs.geodetic_crs, crs,
                                      always_xy=True).transform(lon, lat)) for crs in (feet, metres)
    )
    assert at.unit_m(metres) == 1.0
    np.testing.assert_allclose(in_metres, in_feet * 1200 / 3937, atol=1e-6)


@pytest.mark.analytic
def test_every_foot_that_the_table_knows_can_be_put_on_a_projection():
    metres = at.in_unit(low_distortion_feet(), "m")
    assert at.unit_m(at.in_unit(metres, "ft")) == FOOT_M
    assert at.unit_m(at.in_unit(metres, "us-ft")) == pytest.approx(US_SURVEY_FOOT_M, rel=1e-15)
    assert at.in_unit(CRS.from_epsg(26995), "us-ft").to_epsg() == 2255


@pytest.mark.analytic
def test_a_web_map_is_no_place_to_measure_and_a_state_plane_is():
    web, plane = CRS.from_epsg(3857), CRS.from_epsg(6564)
    problem = at.scale_problem(web, *at.numbers_at(web, -80.0, 40.0))
    assert f"{1 / math.cos(math.radians(40.0)):.3f}" in problem  # a Mercator's scale is the secant of the latitude
    assert at.scale_problem(plane, *at.numbers_at(plane, -80.0, 40.0)) is None


@pytest.mark.analytic
@pytest.mark.parametrize("lon, inside", [(-80.0, True), (170.0, True), (-179.9, True), (100.0, False), (-40.0, False)])
def test_an_area_of_use_may_cross_the_date_line(lon, inside):
    assert at.holds(CRS.from_epsg(6318), lon, 60.0, 0.0) is inside  # NAD83(2011): 167.65 to -63.88 degrees


@pytest.mark.analytic
def test_a_place_without_coordinates_lies_in_no_area_and_no_area_is_said_so():
    assert at.holds(CRS.from_epsg(6564), math.inf, math.inf, 1.5) is False
    assert at.holds(low_distortion_feet(), -79.0, 40.0, 1.5) is None


@pytest.mark.invariant
@pytest.mark.parametrize("epsg", [6565, 2255, 2180, 28992, 2994])
def test_a_crs_written_out_without_codes_is_still_the_same(epsg):
    wkt = CRS.from_epsg(epsg).to_wkt("WKT1_GDAL", pretty=False)
    bare = CRS.from_wkt(wkt.replace(f',AUTHORITY["EPSG","{epsg}"]]', "]"))
    assert at.epsg_code(bare) == epsg
    assert at.same(bare, CRS.from_epsg(epsg))


@pytest.mark.invariant
def test_same_does_not_care_who_comes_first_and_tells_datums_and_feet_apart():
    pairs = {(6565, 6565): True, (6565, 6564): False, (6565, 2272): False, (2994, 2992): False, (4326, 4979): True,
             (4326, 4269): False}
    for (one, other), alike in pairs.items():
        a, b = CRS.from_epsg(one), CRS.from_epsg(other)
        assert at.same(a, b) is at.same(b, a) is alike


@pytest.mark.invariant
def test_a_datum_shift_bound_to_a_crs_does_not_change_which_it_is():
    bound = CRS.from_epsg(6564).to_wkt("WKT1_GDAL").replace(',AUTHORITY["EPSG","1116"]]', ',TOWGS84[0,0,0,0,0,0,0]]')
    crs = CRS.from_wkt(bound)
    assert crs.is_bound
    assert at.canonical(crs).to_epsg() == 6564


@pytest.mark.invariant
@pytest.mark.parametrize(
    "text, why",
    [("EPSG:4326", "degrees"), ("EPSG:4978", "geocentric"), ("EPSG:2048", "east and north"),
     ("EPSG:32661", "east and north"),
     ("EPSG:5703", "vertical"), ('LOCAL_CS["site",UNIT["metre",1]]', "engineering"), ("maple", "no known coordinates"),
     ("EPSG:999999", "no known coordinates"), ("", "no known coordinates")],
)  # fmt: skip
def test_what_no_field_can_work_in_is_refused_with_a_reason(text, why):
    with pytest.raises(ValueError, match=why):
        at.working_crs(text)


@pytest.mark.invariant
def test_a_unit_that_contradicts_its_own_name_is_seen():
    wkt = CRS.from_epsg(6565).to_wkt("WKT1_GDAL").replace("0.304800609601219", "1")
    assert "'US survey foot' of 1 m" in at.not_a_plane(CRS.from_wkt(wkt))


@pytest.mark.independent  # EPSG registry: the zone's neighbours and the other datums' zones of one place
def test_the_known_projections_near_a_place_hold_its_zones():
    codes = {known.epsg for known in at.projected_at(-80.0, 40.0)}
    assert {6564, 6565, 2272, 32617} <= codes
    assert 2154 not in codes
