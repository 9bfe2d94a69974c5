"""pipeline/survey/reading/facts.py: what a file says about itself, all of it."""

from __future__ import annotations

import pytest
from pyproj import CRS
from support.cloud_files import facts_at

from pipeline.survey.reading.facts import crs_said, heights_said, readable_wkt, wkt_remarks
from pipeline.units import US_SURVEY_FOOT_M

WKT = CRS.from_epsg(6565).to_wkt()
COMPOUND = CRS.from_user_input("EPSG:6565+6360").to_wkt()


def codes(**more) -> list[int]:
    return [one.crs.to_epsg() for one in crs_said(facts_at(0, 0, **more))]


@pytest.mark.analytic
@pytest.mark.parametrize(
    "more, said",
    [({}, []), ({"crs_wkt": WKT}, [6565]), ({"geokeys": ((1024, 1), (3072, 6565), (3076, 9003))}, [6565]),
     ({"crs_wkt": WKT, "geokeys": ((3072, 6565),)}, [6565]),
     ({"crs_wkt": WKT, "geokeys": ((3072, 2272),)}, [6565, 2272]),
     ({"geokeys": ((3072, 26995), (3076, 9003))}, [26995, 2255]), ({"geokeys": ((3072, 32767), (3076, 9002))}, []),
     ({"geokeys": ((1024, 1), (2048, 4269))}, []), ({"geokeys": ((1024, 2), (2048, 4326))}, [4326])],
    ids=["nothing", "wkt", "keys", "both alike", "both different", "unit against code", "user-defined", "base only",
         "degrees"],
)  # fmt: skip
def test_every_record_of_coordinates_is_heard_and_what_differs_is_kept(more, said):
    assert codes(**more) == said


@pytest.mark.analytic
@pytest.mark.parametrize(
    "more, said",
    [({}, []), ({"crs_wkt": WKT}, []), ({"crs_wkt": COMPOUND}, [(US_SURVEY_FOOT_M, "EPSG:5703")]),
     ({"geokeys": ((4099, 9003),)}, [(US_SURVEY_FOOT_M, None)]), ({"geokeys": ((4096, 5703),)}, [(1.0, "EPSG:5703")]),
     ({"geokeys": ((4096, 5103), (4099, 9002))}, [(0.3048, "EPSG:5703")]),
     ({"geokeys": ((4096, 5030),)}, [(None, "ellipsoidal")]),
     ({"height_unit": "m"}, [(1.0, None)]),
     ({"crs_wkt": COMPOUND, "geokeys": ((4099, 9001),)}, [(US_SURVEY_FOOT_M, "EPSG:5703"), (1.0, None)])],
    ids=["nothing", "horizontal", "compound", "unit key", "datum key", "old datum key and unit", "old ellipsoid",
         "band", "both"],
)  # fmt: skip
def test_every_record_of_heights_is_heard_unit_and_datum_apart(more, said):
    found = [(one.unit_m, one.reference) for one in heights_said(facts_at(0, 0, **more))]
    assert found == [(pytest.approx(unit, rel=1e-12) if unit else None, reference) for unit, reference in said]


@pytest.mark.invariant
def test_wkt_is_read_with_or_without_the_padding_that_writers_leave():
    for text in (WKT, WKT + "\0\0", f" '{WKT}' ", f'"{WKT}"\n'):
        wkt, error = readable_wkt(text)
        assert error is None
        assert CRS.from_wkt(wkt).to_epsg() == 6565


@pytest.mark.invariant
@pytest.mark.parametrize("text, why",
                         [("", "empty"), ("''", "empty"), ("\0\0", "empty"), ("PROJCS[", "cannot be read"),
                          ("6565 feet", "cannot be read")])
def test_a_record_that_says_nothing_is_no_crash(text, why):
    wkt, error = readable_wkt(text)
    assert wkt is None and why in error


@pytest.mark.invariant
def test_a_height_unit_that_contradicts_its_name_is_not_used():
    wkt = CRS.from_user_input("EPSG:6564+6360").to_wkt().replace("0.304800609601219", "1")
    facts = facts_at(0, 0, crs_wkt=wkt)
    assert [(one.unit_m, one.reference) for one in heights_said(facts)] == [(None, "EPSG:5703")]
    assert any("US survey foot" in remark for remark in wkt_remarks(wkt))


@pytest.mark.independent  # OGC 19-008r4, sections 7.4 and 7.5: the codes of metre, foot and US survey foot
@pytest.mark.parametrize("code, unit_m", [(9001, 1.0), (9002, 0.3048), (9003, 1200 / 3937)])
def test_unit_keys_mean_what_the_standard_says(code, unit_m):
    (said,) = heights_said(facts_at(0, 0, geokeys=((4099, code),)))
    assert said.unit_m == unit_m
