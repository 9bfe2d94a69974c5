"""pipeline/survey/reading/reference.py: what a file's numbers are, or why nobody can know."""

from __future__ import annotations

import pytest
from pyproj import CRS, Transformer
from support.cloud_files import facts_at

from pipeline.errors import Refused
from pipeline.survey.reading.reference import check_heights, resolve, same_height_reference
from pipeline.survey.reading.stated import Stated
from pipeline.units import FOOT_M, US_SURVEY_FOOT_M

PLACE = (-80.0, 40.0)


def numbers(crs_text: str) -> tuple[float, float]:
    crs = CRS.from_user_input(crs_text)
    crs = crs.sub_crs_list[0] if crs.is_compound else crs
    x, y = Transformer.from_crs("EPSG:6318", crs, always_xy=True).transform(*PLACE)[:2]
    return x, y


def wkt(crs_text: str) -> str:
    return CRS.from_user_input(crs_text).to_wkt()


def settle(file_crs: str | None, stated: Stated, field: str = "EPSG:6565", at: str | None = None, **more):
    x, y = numbers(at or file_crs or stated.crs)
    reach = 0.001 if abs(x) < 400 else 40.0
    facts = facts_at(x, y, reach=reach, crs_wkt=wkt(file_crs) if file_crs else None, **more)
    return resolve(facts, stated, field, PLACE)


def refused(*args, **kwargs) -> Refused:
    with pytest.raises(Refused) as caught:
        settle(*args, **kwargs)
    return caught.value


TABLE = Stated("lidar", "EPSG:6565", "us-ft", "EPSG:6360", None)


@pytest.mark.analytic
@pytest.mark.parametrize(
    "file_crs, stated, crs, unit_m, reference",
    [
        ("EPSG:6565+6360", Stated("lidar"), 6565, US_SURVEY_FOOT_M, "EPSG:5703"),
        ("EPSG:6564+5703", Stated("lidar"), 6564, 1.0, "EPSG:5703"),
        ("EPSG:6564+6360", Stated("lidar"), 6564, US_SURVEY_FOOT_M, "EPSG:5703"),
        (None, TABLE, 6565, US_SURVEY_FOOT_M, "EPSG:5703"),
        (None, Stated("lidar", "EPSG:6565+8228"), 6565, FOOT_M, "EPSG:5703"),
        ("EPSG:6565", Stated("lidar", None, "ft", "local"), 6565, FOOT_M, "local"),
        ("EPSG:6565+6360", TABLE, 6565, US_SURVEY_FOOT_M, "EPSG:5703"),
        ("EPSG:6318", Stated("photogrammetry", None, "m", "ellipsoidal"), 6318, 1.0, "ellipsoidal"),
        ("EPSG:6319", Stated("photogrammetry", None, None, "ellipsoidal"), 6318, 1.0, "ellipsoidal"),
        ("EPSG:6565", Stated("lidar", None, "us-ft"), 6565, US_SURVEY_FOOT_M, None),
    ],
)
def test_what_file_and_table_say_is_put_together(file_crs, stated, crs, unit_m, reference):
    found = settle(file_crs, stated)
    assert (found.crs.to_epsg(), found.height_reference) == (crs, reference)
    assert found.z_factor == pytest.approx(unit_m, rel=1e-12)
    assert found.sideways_m == 0.0
    assert all(note.startswith("june.laz: ") and note.endswith(".") for note in found.notes)


@pytest.mark.invariant
@pytest.mark.parametrize(
    "code, file_crs, stated, more",
    [
        ("no_crs", None, Stated("lidar", None, "m"), {"at": "EPSG:6565"}),
        ("crs_disagrees", "EPSG:6565", Stated("lidar", "EPSG:6564", "m"), {}),
        ("crs_disagrees", "EPSG:6565", Stated("lidar", "EPSG:2272", "m"), {}),
        ("crs_disagrees", "EPSG:6565", Stated("lidar", None, "m"), {"geokeys": ((3072, 2272),)}),
        ("crs_does_not_fit", "EPSG:6565", Stated("lidar", None, "m"), {"at": "EPSG:6564"}),
        ("crs_not_usable", "EPSG:2272", Stated("lidar", None, "us-ft"), {"at": "EPSG:6565"}),
        ("crs_not_usable", None, Stated("lidar", "maple", "m"), {"at": "EPSG:6565"}),
        ("crs_not_usable", None, Stated("lidar", "EPSG:6565+6358", "us-ft"), {"at": "EPSG:6565"}),
        ("crs_not_usable", "EPSG:6318", Stated("raster", None, "m", "EPSG:5703", 5.0), {"kind": "raster"}),
        ("no_vertical_unit", "EPSG:6565", Stated("lidar"), {}),
        ("no_vertical_unit", "EPSG:6565", Stated("lidar", None, None, "EPSG:6360"), {}),
        ("vertical_unit_disagrees", "EPSG:6565+6360", Stated("lidar", None, "ft"), {}),
        ("vertical_unit_disagrees", "EPSG:6565", Stated("lidar", None, "us-ft"), {"geokeys": ((4099, 9001),)}),
        ("vertical_unit_disagrees", "EPSG:6565+6360", Stated("lidar"), {"geokeys": ((4099, 9001),)}),
        ("vertical_unit_disagrees", None, Stated("lidar", "EPSG:6565+6360", "m"), {}),
        ("no_height_reference", None, Stated("rover", "EPSG:6318", "m"),
         {"kind": "walk", "columns": ("lon", "lat", "h", "quality")}),
        ("no_height_reference", "EPSG:6319", Stated("lidar"), {}),
        ("no_height_reference", "EPSG:6565", Stated("lidar", None, "m", "maple"), {}),
        ("height_reference_disagrees", "EPSG:6565+6360", Stated("lidar", None, None, "EPSG:5702"), {}),
        ("height_reference_disagrees", "EPSG:6319", Stated("lidar", None, None, "EPSG:5703"), {}),
        ("heights_implausible", "EPSG:6565", Stated("lidar", None, "m"), {"z": 23_000.0}),
        ("no_points", "EPSG:6565", Stated("lidar", None, "m"), {"n_points": 0}),
        ("source_disagrees", "EPSG:6565", Stated("rover", None, "m"), {}),
        ("source_disagrees", "EPSG:6565", Stated("lidar", None, "m"), {"kind": "raster"}),
        ("source_disagrees", "EPSG:6565", Stated("raster", None, "m", None, 5.0), {}),
        ("no_sigma", "EPSG:6565", Stated("raster", None, "m"), {"kind": "raster"}),
        ("crs_disagrees", None, Stated("rover", "EPSG:6565", "m", "ellipsoidal"),
         {"kind": "walk", "columns": ("lon", "lat", "h"), "at": "EPSG:6318"}),
        ("crs_disagrees", None, Stated("rover", "EPSG:6318", "m", "ellipsoidal"),
         {"kind": "csv", "columns": ("e", "n", "z"), "at": "EPSG:6565"}),
    ],
)  # fmt: skip
def test_what_nobody_says_or_two_say_differently_is_refused_in_a_sentence(code, file_crs, stated, more):
    error = refused(file_crs, stated, **more)
    assert error.code == code
    assert error.reason.startswith("june.laz: ") and error.reason.endswith(".")
    assert "found" in error.reason


@pytest.mark.invariant
def test_the_table_settles_a_file_that_contradicts_itself():
    found = settle("EPSG:6565", Stated("lidar", "EPSG:6565", "m"), geokeys=((3072, 2272),))
    assert found.crs.to_epsg() == 6565
    assert any("decides" in note for note in found.notes)


@pytest.mark.invariant
def test_a_file_that_names_two_units_is_told_which_one_its_numbers_fit():
    x, y = numbers("EPSG:6565")
    with pytest.raises(Refused, match=r"only fit EPSG:6565 .* surveys.csv\.") as caught:
        resolve(facts_at(x, y, geokeys=((3072, 6564), (3076, 9003))), Stated("lidar", None, "m"), "EPSG:6565", PLACE)
    assert caught.value.code == "crs_disagrees"


@pytest.mark.invariant
def test_a_step_that_is_known_to_metres_only_is_taken_and_said():
    found = settle("EPSG:32617", Stated("lidar", None, "m"))
    assert found.sideways_m == 2.0
    assert any("known to 2 m only" in note for note in found.notes)


@pytest.mark.invariant
def test_the_order_of_the_table_s_cells_and_the_case_of_words_do_not_matter():
    plain = settle(None, Stated("lidar", "EPSG:6565", "us-ft", "EPSG:6360"))
    assert plain == settle(None, Stated("lidar", "epsg:6565", "us-ft", "epsg:6360"))


@pytest.mark.invariant
def test_an_unreadable_record_is_told_when_nothing_else_says_the_coordinates():
    error = refused(None, Stated("lidar", None, "m"), at="EPSG:6565", crs_error="its WKT record is there but empty")
    assert "its WKT record is there but empty" in error.reason


@pytest.mark.invariant
def test_what_else_is_missing_is_said_at_once():
    assert refused(None, Stated("lidar"), at="EPSG:6565").reason.endswith(" vertical_unit must be written too.")
    assert "too" not in refused(None, Stated("lidar", None, "m"), at="EPSG:6565").reason
    walk = {"kind": "walk", "columns": ("lon", "lat", "h"), "at": "EPSG:6318"}
    reason = refused(None, Stated("rover"), **walk).reason
    assert reason.endswith(" vertical_unit and height_reference must be written too.")


@pytest.mark.invariant
def test_a_field_s_surveys_share_one_height_reference():
    assert same_height_reference([("a", "EPSG:5703"), ("b", None), ("c", "EPSG:5703")]) is None
    assert same_height_reference([("a", None), ("b", None)]) is None
    problem = same_height_reference([("a", "EPSG:5703"), ("b", "ellipsoidal")])
    assert "ellipsoid in b" in problem and "NAVD88" in problem and "as in a" in problem


@pytest.mark.analytic
def test_screened_ground_may_spread_over_150_m_and_no_more():
    reference = settle("EPSG:6565+6360", Stated("lidar"))
    check_heights(100.0, 249.9, reference)
    with pytest.raises(Refused, match="150 m between") as caught:
        check_heights(100.0, 250.1, reference)
    assert caught.value.code == "heights_implausible"


@pytest.mark.independent  # EPSG registry: 8774 is NAD83 / Pennsylvania South (ftUS), 2272, and NAVD88 in US feet
def test_a_compound_code_of_the_registry_says_everything():
    found = settle("EPSG:8774", Stated("lidar"), field="EPSG:2272")
    assert (found.crs.to_epsg(), found.vertical_unit, found.height_reference) == (2272, "us-ft", "EPSG:5703")


@pytest.mark.invariant
def test_a_height_datum_is_known_by_its_name_whatever_its_writer_calls_the_heights():
    wkt = WRITTEN.replace("CALLED",
                          "NAVD88 - Geoid18 (Feet)").replace("DATUM_NAME", "North_American_Vertical_Datum_1988")
    found = resolve(facts_at(*numbers("EPSG:6565"), crs_wkt=wkt), Stated("lidar", None, None, "EPSG:6360"), "EPSG:6565",
                    PLACE)
    assert (found.vertical_unit, found.height_reference) == ("us-ft", "EPSG:5703")


@pytest.mark.invariant
def test_a_height_datum_nobody_knows_is_settled_by_the_table_and_said():
    wkt = WRITTEN.replace("CALLED", "Maple heights").replace("DATUM_NAME", "Maple datum")
    facts = facts_at(*numbers("EPSG:6565"), crs_wkt=wkt)
    found = resolve(facts, Stated("lidar", None, None, "EPSG:6360"), "EPSG:6565", PLACE)
    assert found.height_reference == "EPSG:5703" and any("Maple heights" in note for note in found.notes)
    assert resolve(facts, Stated("lidar"), "EPSG:6565", PLACE).height_reference == "Maple heights"


WRITTEN = (
    'COMPD_CS["site",' + CRS.from_epsg(6565).to_wkt("WKT1_GDAL") + ',VERT_CS["CALLED",VERT_DATUM["DATUM_NAME",2005],'
    'UNIT["US survey foot",0.3048006096012192],AXIS["Up",UP]]]'
)
