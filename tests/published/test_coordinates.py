"""Coordinates against printed values: what a surveyor reads off a published sheet must come out of this house.

Sources, beside each value:
- NGS coordinate service, state plane outputs in metres, US survey feet and international feet, for Missouri Central
  2402, Missouri East 2401, Pennsylvania South 3702: seen as JSON in public test fixtures, not on NGS pages.
- EPSG Guidance Note 7-2 and epsg.io/9802-method: the worked example of Lambert Conic Conformal (2SP), EPSG:32040.
- NIST/NGS: US survey foot 1200/3937 m, international foot 0.3048 m; Federal Register of 5 October 2020.
- NGS datasheet of the station P055: its earth-centred position.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Transformer

from pipeline.coordinates import lon_lat, read_crs, working_crs
from pipeline.frame import Grid
from pipeline.survey.reading.project import fit
from pipeline.survey.reading.reference import Reference
from pipeline.survey.reading.whereabouts import other_foot_shift
from pipeline.transform import step_between
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M

# zone: latitude, longitude; easting, northing in metres, US survey feet, international feet; EPSG in metres, US feet
ZONES = {
    "Missouri Central": (37.3933000008, -92.4590400039, (503_626.812, 173_099.419), (1_652_315.631, 567_910.343),
                         (1_652_318.936, 567_911.479), "EPSG:6511", None),
    "Missouri East": (37.3933000021, -92.4590399996, (76_527.436, 174_900.027), (251_073.762, 573_817.839),
                      (251_074.264, 573_818.987), "EPSG:6512", None),
    "Pennsylvania South": (39.9999983008, -79.9999976143, (407_886.681, 76_470.391), (1_338_208.220, 250_886.607),
                           (1_338_210.896, 250_887.109), "EPSG:6564", "EPSG:6565"),
}  # fmt: skip
PRINTED_M = 0.0006  # metres are printed to a millimetre, feet to a thousandth


def grid_about(e: float, n: float, crs: str) -> Grid:
    return Grid.covering((e - 60.0, n - 60.0, e + 60.0, n + 60.0), crs, 0.10)


@pytest.mark.independent
@pytest.mark.parametrize("zone", ZONES)
def test_a_published_latitude_and_longitude_gives_the_published_plane_coordinates(zone):
    lat, lon, metres, _, _, working, _ = ZONES[zone]
    e, n = step_between(CRS.from_epsg(6318), read_crs(working), (lon, lat))(lon, lat)
    assert (float(e), float(n)) == pytest.approx(metres, abs=PRINTED_M)


@pytest.mark.independent
@pytest.mark.parametrize("zone", ZONES)
def test_the_three_published_units_are_one_place(zone):
    _, _, metres, us_feet, feet, _, _ = ZONES[zone]
    assert tuple(v * US_SURVEY_FOOT_M for v in us_feet) == pytest.approx(metres, abs=PRINTED_M)
    assert tuple(v * FOOT_M for v in feet) == pytest.approx(metres, abs=PRINTED_M)


@pytest.mark.independent
def test_published_us_feet_arrive_at_the_published_metres_through_the_field_s_own_polynomial():
    lat, lon, metres, us_feet, _, working, feet_crs = ZONES["Pennsylvania South"]
    assert working_crs(feet_crs) == working
    grid = grid_about(*metres, working)
    for crs, (x, y) in ((feet_crs, us_feet), ("EPSG:6318", (lon, lat)), (working, metres)):
        projection = fit(Reference(read_crs(crs), 1.0, "m", None, 0.0, ()), grid)
        e, n = projection.apply(np.array([x]), np.array([y]))
        assert (e[0], n[0]) == pytest.approx(metres, abs=PRINTED_M), crs


@pytest.mark.independent
def test_the_worked_example_of_the_lambert_projection_in_us_feet_is_met():
    e, n = step_between(CRS.from_epsg(4267), CRS.from_epsg(32040))(-96.0, 28.5)  # 28 d 30 ' N, 96 d W
    assert (float(e), float(n)) == pytest.approx((2_963_503.91, 254_759.80), abs=0.006)


@pytest.mark.independent
def test_the_missouri_point_has_its_published_utm_coordinates():
    lat, lon = ZONES["Missouri Central"][:2]
    e, n = step_between(CRS.from_epsg(6318), CRS.from_epsg(6344))(lon, lat)
    assert (float(e), float(n)) == pytest.approx((547_883.638, 4_138_641.146), abs=PRINTED_M)


@pytest.mark.independent
def test_the_wrong_foot_moves_the_missouri_point_by_the_published_difference():
    _, _, metres, us_feet, feet, working, _ = ZONES["Missouri Central"]
    assert feet[0] - us_feet[0] == pytest.approx(3.305, abs=0.0011)
    us_zone = CRS.from_epsg(6511).to_json_dict()
    for axis in us_zone["coordinate_system"]["axis"]:
        axis["unit"] = {"type": "LinearUnit", "name": "US survey foot", "conversion_factor": US_SURVEY_FOOT_M}
    us_zone.pop("id")
    reference = Reference(CRS.from_json_dict(us_zone), 1.0, "m", None, 0.0, ())
    east, north = other_foot_shift(reference, grid_about(*metres, working))["ft"]
    assert east / FOOT_M == pytest.approx(feet[0] - us_feet[0], abs=0.002)
    assert north / FOOT_M == pytest.approx(feet[1] - us_feet[1], abs=0.002)


@pytest.mark.independent
def test_the_feet_have_their_published_ratio():
    assert US_SURVEY_FOOT_M / FOOT_M - 1 == pytest.approx(2.000004e-6, rel=1e-6)
    assert 2_000_000 * US_SURVEY_FOOT_M / FOOT_M == pytest.approx(2_000_004.000008, abs=1e-6)


@pytest.mark.independent
def test_the_geodetic_base_gives_the_datasheet_s_earth_centred_position():
    lat, lon = 47 + 7 / 60 + 0.14491 / 3600, -(104 + 41 / 60 + 6.39476 / 3600)
    xyz = Transformer.from_crs(6319, 6317, always_xy=True).transform(lon, lat, 668.450)
    assert xyz == pytest.approx((-1_102_409.924, -4_206_590.343, 4_651_093.534), abs=0.002)


@pytest.mark.independent
@pytest.mark.parametrize("zone", ZONES)
def test_published_plane_coordinates_lie_where_the_sheet_says(zone):
    lat, lon, metres, _, _, working, _ = ZONES[zone]
    assert lon_lat(read_crs(working), *metres) == pytest.approx((lon, lat), abs=3e-5)  # a place, not a survey
