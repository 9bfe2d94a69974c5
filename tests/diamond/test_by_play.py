"""Where a spot lies, as players say it."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.diamond.axes import Axes
from pipeline.diamond.by_play import by_play, nearby
from pipeline.diamond.layout import Drawing, build
from pipeline.diamond.parts import PARTS, parts

HOME = (507000.0, 175000.0)


def field(bearing_deg: float = 30.0):
    axis = np.array([np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))])
    second = tuple(float(v) for v in np.array(HOME) + axis * 60 * 0.3048 * 2**0.5)
    return build(Drawing("any", "EPSG:6550", 0.5, "softball-60", None, HOME, second))


def words(layout, place: str, ahead_m: float, right_m: float) -> str:
    """A spot so far beyond a place and to its right, as one sees it from home plate."""
    at = next(p for p in layout.places if p.place_id == place)
    x, y = (float(v) for v in layout.axes.local(at.e, at.n))
    away = np.hypot(x, y)
    u = np.array([x, y]) / away
    e, n = layout.axes.world(*(np.array([x, y]) + ahead_m * u + right_m * np.array([u[1], -u[0]])))
    return nearby(float(e), float(n), layout.places, layout.axes)


@pytest.mark.analytic
@pytest.mark.parametrize("bearing", [0.0, 30.0, 145.0, 260.0])
@pytest.mark.parametrize(
    "place, ahead, right, said",
    [
        ("second", 2.5, 0.0, "2.5 m behind second base"),
        ("short-stop", -1.2, 0.0, "1.2 m in front of short stop"),
        ("second", 0.5, 0.0, "second base, back"),
        ("short-stop", 1.0, -1.0, "1.4 m behind short stop, left-field side"),
        ("first", 0.0, 2.0, "2.0 m from first base, foul side"),
        ("first", 0.0, -1.0, "1.0 m from first base, second-base side"),
        ("third", 0.0, -2.0, "2.0 m from third base, foul side"),
        ("third", 2.0, 0.0, "2.0 m behind third base"),
        ("landing", -1.0, 0.0, "1.0 m in front of pitcher's landing spot"),
    ],
)
def test_a_hollow_is_named_as_a_player_would(bearing, place, ahead, right, said):
    assert words(field(bearing), place, ahead, right) == said


@pytest.mark.analytic
def test_the_front_of_a_batter_s_box_is_toward_the_pitcher():
    layout = field()
    box = next(p for p in layout.places if p.place_id == "box-right")
    x, y = (float(v) for v in layout.axes.local(box.e, box.n))
    for dy, said in ((0.6, "right-handed batter's box, front"), (-0.6, "right-handed batter's box, back")):
        assert nearby(*(float(v) for v in layout.axes.world(x, y + dy)), layout.places, layout.axes) == said
    assert nearby(*(float(v) for v in layout.axes.world(x - 2.0, y)), layout.places, layout.axes) == "2.0 m from right-handed batter's box, third-base side"


@pytest.mark.invariant
def test_without_a_home_plate_the_compass_speaks_and_without_places_nothing():
    layout = field()
    second = next(p for p in layout.places if p.place_id == "second")
    assert nearby(second.e, second.n + 2.1, layout.places) == "2.1 m north of second base"
    assert by_play(0.0, 0.0, (), layout.axes) is None and nearby(0.0, 0.0, ()) == ""
    assert nearby(second.e, second.n, layout.places, layout.axes) == "second base"


@pytest.mark.invariant
def test_the_skin_s_four_parts_make_up_the_skin_and_each_lies_between_its_bases():
    from shapely.geometry import Point

    layout = field()
    found = parts(layout)
    assert tuple(found) == PARTS
    assert sum(p.area for p in found.values()) == pytest.approx(layout.skin.area, rel=1e-9)
    bases = ("home", "first", "second", "third")
    for name, one, other in zip(PARTS, bases, bases[1:] + bases[:1]):
        between = (np.array(layout.anchors[one]) + layout.anchors[other]) / 2
        inside = [k for k, p in found.items() if p.distance(Point(between)) < 1e-6]
        assert inside in ([name], [])  # on a grass infield no skin may lie there
        for base in (one, other):
            assert found[name].distance(Point(layout.anchors[base])) < 0.3


@pytest.mark.invariant
def test_a_field_that_was_only_drawn_has_no_parts():
    from dataclasses import replace

    assert parts(replace(field(), axes=None)) == {}
    assert Axes(0, 0, 0).local(1.0, 2.0) == (1.0, 2.0)
