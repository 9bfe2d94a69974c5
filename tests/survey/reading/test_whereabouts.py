"""pipeline/survey/reading/whereabouts.py: where a cloud lies, and what would put it on the field."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pyproj import Geod, Transformer
from support.cloud_files import facts_at

from pipeline.coordinates import read_crs
from pipeline.errors import Refused
from pipeline.frame import Grid
from pipeline.survey.reading.reference import Reference
from pipeline.survey.reading.whereabouts import describe, explain_shift, look, offset_of, other_foot_shift, require_on_field

GRID = Grid.covering((407_886.0, 76_470.0, 408_006.0, 76_590.0), "EPSG:6564", 0.10)
MIDDLE = 407_946.0, 76_530.0


def reference(crs: str, **more) -> Reference:
    return replace(Reference(read_crs(crs), 1.0, "m", "EPSG:5703", 0.0, ()), **more)


def numbers(crs: str, east: float = 0.0, north: float = 0.0) -> tuple[float, float]:
    """Where the field's middle, moved by metres, stands in a CRS."""
    step = Transformer.from_crs("EPSG:6564", crs, always_xy=True)
    return step.transform(MIDDLE[0] + east, MIDDLE[1] + north)


@pytest.mark.analytic
@pytest.mark.parametrize(
    "east, north, words",
    [(1000, 0, "900 m east"), (0, -500, "400 m south"), (-2000, 2000, "2.7 km north-west"),
     (300, 300, "283 m north-east")],
)
def test_distance_is_between_outlines_and_the_direction_a_compass_word(east, north, words):
    e, n = MIDDLE[0] + east, MIDDLE[1] + north
    offset = offset_of((e - 40, n - 40, e + 40, n + 40), GRID)
    assert str(offset) == words


@pytest.mark.analytic
def test_a_cloud_that_touches_the_grid_does_not_miss_it():
    facts = facts_at(*numbers("EPSG:6564",
                              east=90.0))  # reaches 50 m west of its middle: 40 m, to 50 m from the field's
    require_on_field(facts, reference("EPSG:6564"), GRID)
    with pytest.raises(Refused) as caught:
        require_on_field(facts_at(*numbers("EPSG:6564", east=110.0)), reference("EPSG:6564"), GRID)
    assert caught.value.code == "misses_field"


@pytest.mark.analytic
def test_a_look_gives_bounds_and_share_in_the_field_s_own_metres():
    foot = 1200 / 3937
    x, y = (v / foot for v in MIDDLE)
    facts = facts_at(x, y, z=1000.0, reach=30.0 / foot)
    seen = look(facts, reference("EPSG:6565", z_factor=foot), GRID)
    assert seen.bounds == pytest.approx((MIDDLE[0] - 30, MIDDLE[1] - 30, MIDDLE[0] + 30, MIDDLE[1] + 30), abs=1e-6)
    assert seen.covered == pytest.approx(60**2 / 120**2, rel=1e-6)
    assert seen.heights_m == pytest.approx((999 * foot, 1001 * foot))
    assert seen.offset is None
    assert seen.height == "US survey feet, above EPSG:5703 (NAVD88 height)"


@pytest.mark.independent  # the ellipsoid's own distance and azimuth, by PROJ's geodesic solver
def test_the_distance_in_words_is_the_distance_on_the_ellipsoid():
    facts = facts_at(*numbers("EPSG:32617", east=30_000.0, north=-40_000.0), reach=0.0)
    seen = look(facts, reference("EPSG:32617"), GRID)
    to_degrees = Transformer.from_crs("EPSG:6564", "EPSG:6318", always_xy=True)
    corner = to_degrees.transform(GRID.east, GRID.south)
    cloud = to_degrees.transform(MIDDLE[0] + 30_000.0, MIDDLE[1] - 40_000.0)
    _, _, distance = Geod(ellps="GRS80").inv(*corner, *cloud)
    assert seen.offset.distance_m == pytest.approx(distance, rel=2e-4)  # the zone's scale
    assert str(seen.offset).endswith("km south-east")


@pytest.mark.invariant
@pytest.mark.parametrize(
    "label, really, named",
    [("EPSG:6564", "EPSG:6565", "EPSG:6565 (NAD83(2011) / Pennsylvania South (ftUS))"),
     ("EPSG:6563", "EPSG:6565", "EPSG:6565"),
     ("EPSG:32617", "EPSG:6564", "EPSG:6564"), ("EPSG:6564", "EPSG:32617", "EPSG:32617")],
)  # fmt: skip
def test_a_cloud_under_the_wrong_label_is_described_with_the_right_one(label, really, named):
    sentence = describe(facts_at(*numbers(really)), reference(label), GRID)
    assert sentence.startswith("june.laz: found x near") and sentence.endswith(".")
    assert named in sentence and "ask whoever made the file" in sentence


@pytest.mark.invariant
def test_swapped_and_local_and_lost_clouds_each_get_their_own_advice():
    x, y = numbers("EPSG:6564")
    assert "with the two coordinates swapped" in describe(facts_at(y, x), reference("EPSG:6564"), GRID)
    assert "drawing's own coordinates" in describe(facts_at(50.0, 60.0), reference("EPSG:6564"), GRID)
    assert "check path and fields" in describe(facts_at(x + 9_000, y), reference("EPSG:6564"), GRID)
    assert "no such place" in describe(facts_at(1e12, 1e12), reference("EPSG:32617"), GRID)


@pytest.mark.invariant
def test_heights_that_fit_the_field_in_another_unit_are_said_so():
    facts = facts_at(*numbers("EPSG:6564", east=5000.0), z=984.0)
    assert "as international feet" in describe(facts, reference("EPSG:6564"), GRID, field_height_m=300.0)
    for known in (984.0, 5.0, None):
        assert "Heights near" not in describe(facts, reference("EPSG:6564"), GRID, field_height_m=known)


@pytest.mark.analytic
def test_the_other_foot_moves_a_survey_by_two_millionths_of_its_coordinates():
    shift = other_foot_shift(reference("EPSG:6565"), GRID)
    assert shift["ft"] == pytest.approx((MIDDLE[0] * 2.000004e-6, MIDDLE[1] * 2.000004e-6), abs=1e-5)
    assert other_foot_shift(reference("EPSG:6564"), GRID) == {}
    assert other_foot_shift(reference("EPSG:6318"), GRID) == {}


@pytest.mark.invariant
def test_a_shift_is_explained_only_where_the_cause_fits_it():
    feet = reference("EPSG:6565")
    de, dn = other_foot_shift(feet, GRID)["ft"]
    assert "ask which foot" in explain_shift(feet, GRID, de + 0.03, dn - 0.02)
    assert explain_shift(feet, GRID, -de, -dn) is None
    assert explain_shift(feet, GRID, de, dn + 1.0) is None
    assert "satellites" in explain_shift(reference("EPSG:32617", sideways_m=2.0), GRID, -0.8, 0.9)
    assert explain_shift(reference("EPSG:6564"), GRID, -0.8, 0.9) is None


@pytest.mark.invariant
def test_a_note_is_added_where_heights_cannot_be_a_ball_field_s():
    facts = facts_at(*MIDDLE, z=9000.0)
    assert "international feet" in look(facts, reference("EPSG:6564"), GRID).notes[-1]
    assert look(facts_at(*MIDDLE), reference("EPSG:6564"), GRID).notes == ()
