"""The infield a layout's name draws, against rulebook sizes and exact geometry."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.diamond.outline import outline
from pipeline.diamond.places import base_centres, home_plate, pitchers_plate, spots
from pipeline.tables import LAYOUTS as NAMES
from pipeline.units import FOOT_M, feet, feet_inches, inches


@pytest.mark.independent
@pytest.mark.parametrize(
    ("layout", "published"),
    [
        ("baseball-90", feet_inches(127, 3.375)),  # Official Baseball Rules 2.01; NFHS 1-2-5
        ("baseball-80", feet_inches(113, 1.625)),  # trade dimension chart: common practice, no source
        ("baseball-70", feet(99)),  # league pages
        ("softball-65", feet_inches(91, 11)),
        ("baseball-60", feet_inches(84, 10.25)),
    ],
)
def test_home_to_second_is_the_published_distance(layout, published):
    assert LAYOUTS[layout].home_to_second_m == pytest.approx(published, abs=inches(0.1))


@pytest.mark.independent
def test_pitching_distance_mound_and_plate_are_the_rulebooks():
    # Official Baseball Rules 2.01 to 2.04: 60 ft 6 in; plate 10 in up, 18 ft mound whose centre is 18 in before the plate
    size = LAYOUTS["baseball-90"]
    assert (size.pitch_m, size.mound_m, size.mound_height_m) == pytest.approx((feet(60.5), feet(9), inches(10)))
    axes = Axes(0, 0, 0)
    assert home_plate(axes).area == pytest.approx(inches(17) * inches(8.5) + inches(17) ** 2 / 4, rel=1e-9)
    assert pitchers_plate(size, axes).bounds == pytest.approx((-inches(12), feet(60.5), inches(12), feet(61)))
    centre = outline(size, True).mound.centroid
    assert (centre.x, centre.y) == pytest.approx((0, feet(59)), abs=1e-9)  # 60.5 - 1.5 ft


@pytest.mark.independent
@pytest.mark.parametrize(
    ("layout", "pitch_ft", "square_feet", "meets_ft"),
    [("baseball-90", 60.5, 16762.8, 127.603), ("softball-60", 43, 7237.8, 82.131), ("softball-65", 50, 8926.6, 89.899), ("baseball-60", 46, 6027.4, 70.501)],
)
def test_the_fair_wedge_inside_the_arc_has_the_exact_area(layout, pitch_ft, square_feet, meets_ft):
    # Exact areas worked out numerically outside this project; the arc's chords leave it by less than 1 mm.
    shape = outline(LAYOUTS[layout], LAYOUTS[layout].grass)
    whole = shapely.union_all([shape.skin, shape.turf_infield])
    far = feet(400)
    wedge = Polygon([(0, 0), (far, far), (-far, far)])
    assert whole.intersection(wedge).area / FOOT_M**2 == pytest.approx(square_feet, rel=2e-4)
    along = feet(meets_ft) * 2**-0.5
    assert whole.exterior.distance(Point(along, along)) < 0.002


@pytest.mark.independent
@pytest.mark.parametrize(("layout", "square_feet"), [("baseball-90", 11500), ("softball-60", 8300)])
def test_the_skin_is_about_as_large_as_a_trade_handout_says(layout, square_feet):
    # Trade handout: about 11,500 and 8,300 square feet; a sanity check to 20 %.
    assert outline(LAYOUTS[layout], LAYOUTS[layout].grass).skin.area / FOOT_M**2 == pytest.approx(square_feet, rel=0.2)


@pytest.mark.analytic
@pytest.mark.parametrize("layout", sorted(LAYOUTS))
def test_skin_and_grass_do_not_overlap_and_every_edge_borders_the_skin(layout):
    shape = outline(LAYOUTS[layout], LAYOUTS[layout].grass)
    assert shape.skin.is_valid and shape.skin.intersection(shape.turf_infield).area < 1e-9
    for line, _ in shape.edges.values():
        middle = line.interpolate(np.linspace(0.2, 0.8, 7), normalized=True)
        assert max(p.distance(shape.skin.boundary) for p in middle) < 0.02


@pytest.mark.analytic
@pytest.mark.parametrize("layout", sorted(LAYOUTS))
def test_every_declared_place_lies_on_the_skin(layout):
    shape = outline(LAYOUTS[layout], LAYOUTS[layout].grass)
    assert all(shape.skin.contains(Point(xy)) for xy in spots(LAYOUTS[layout]).values())


@pytest.mark.independent
def test_first_and_third_lie_inside_the_square_and_second_on_its_corner():
    # NFHS 1-2-1 and 1-2-5: to the back edge of first and third, to the middle of second.
    at = base_centres(LAYOUTS["baseball-90"])
    back_edge = np.hypot(*at["first"]) ** 2 - (feet(7.5 / 12)) ** 2
    assert np.sqrt(back_edge) + inches(7.5) == pytest.approx(feet(90), abs=1e-6)
    assert np.hypot(*at["second"]) == pytest.approx(feet_inches(127, 3.375), abs=inches(0.1))


@pytest.mark.invariant
def test_the_table_of_layouts_and_the_words_of_the_tables_agree():
    assert set(LAYOUTS) == set(NAMES)


@pytest.mark.invariant
def test_axes_there_and_back_give_the_same_place_far_from_the_origin():
    axes = Axes.through((2_000_000.0, 1_000_000.0), (2_000_020.0, 1_000_033.0))
    x, y = np.array([0.0, 10.0, -7.5]), np.array([0.0, 20.0, 33.0])
    assert np.allclose(axes.local(*axes.world(x, y)), (x, y), atol=1e-8)
    assert axes.local(2_000_020.0, 1_000_033.0) == (pytest.approx(0, abs=1e-9), pytest.approx(np.hypot(20, 33)))
