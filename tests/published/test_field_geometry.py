"""Field geometry of the rulebook check against rule pages, league pages and exact arithmetic.

Sources: Official Baseball Rules 2.01 (umpirebible.com, 2016), NFHS 1-2 and NCAA 1-4 (baseballrulesacademy.com), league pages
of the 50/70 ft size, a national federation's dimension page, SportsTurf January 2012, a trade chart where named.
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from pipeline.diamond.axes import Axes
from pipeline.diamond.dimensions import LAYOUTS, base_feet
from pipeline.diamond.places import base_centres
from pipeline.simulate.shapes import mound
from pipeline.surface.rulebook_bases import Located, base_distances
from pipeline.surface.rulebook_rules import DIAGONALS, PRACTICES, SIDES, arc_centres, rules
from pipeline.units import MM_PER_M, feet, feet_inches, inches

TENTH_INCH_MM = 2.54
FIELD = Axes(507020.0, 175010.0, 0.7)


def mm(metres: float) -> float:
    return metres * MM_PER_M


@pytest.mark.independent
@pytest.mark.parametrize(
    ("layout", "printed_m"),
    [
        ("baseball-90", feet_inches(127, 3.375)),  # OBR 2.01; NFHS 1-2-5
        ("baseball-80", feet_inches(113, 1.625)),  # trade chart: common practice, no source
        ("baseball-70", feet(99)),  # league pages
        ("softball-65", feet_inches(91, 11)),  # trade chart
        ("baseball-60", feet_inches(84, 10.25)),  # trade chart
        ("softball-60", feet_inches(84, 10.25)),
    ],
)
def test_diagonals_are_the_printed_ones_to_a_tenth_of_an_inch(layout, printed_m):
    asked = rules(layout)
    for item in DIAGONALS:
        assert asked[item].value_mm == approx(mm(printed_m), abs=TENTH_INCH_MM)
    assert asked["home-second"].value_mm == approx(mm(feet(base_feet(layout)) * 2**0.5), abs=TENTH_INCH_MM)


@pytest.mark.analytic
@pytest.mark.parametrize("bag_in", [15.0, 18.0])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_bags_laid_by_the_rule_measure_as_the_rule_says(layout, bag_in):
    """First and third inside the square, second on its corner (NFHS 1-2-1, 1-2-5): every side exact, the diagonals too."""
    size, inset = LAYOUTS[layout], (inches(bag_in) - inches(15)) * 2**-0.5
    centres = {k: (x - np.sign(x) * inset, y) for k, (x, y) in base_centres(size).items()}
    points = {k: Located(*(float(v) for v in FIELD.world(*xy)), 0.006) for k, xy in {"home": (0, 0), **centres}.items()}
    found = base_distances(FIELD, points, bag_m=inches(bag_in))
    for item in SIDES:
        assert mm(found[item].value_m) == approx(mm(feet(base_feet(layout))), abs=1e-3)
        assert found[item].value_m * MM_PER_M == approx(rules(layout)[item].value_mm, abs=1e-3)
    for item in DIAGONALS:
        assert found[item].value_m == approx(size.base_m * 2**0.5, abs=1e-6)
        assert found[item].sigma_m == approx(0.006 * 2**0.5)


@pytest.mark.independent
def test_the_rules_of_the_90_ft_size_are_those_of_the_book():
    asked = {k: r.value_mm for k, r in rules("baseball-90").items()}
    assert asked["home-first"] == approx(mm(feet(90)))
    assert asked["pitching-distance"] == approx(mm(feet_inches(60, 6)))
    assert asked["mound-height"] == asked["pitchers-plate-over-home"] == approx(mm(inches(10)))
    assert asked["mound-diameter"] == approx(mm(feet(18)))
    assert asked["mound-front-fall"] == approx(mm(inches(6)))  # 1 in per ft over 6 ft
    assert asked["mound-centre-from-home"] == approx(mm(feet(59)))  # 60.5 - 1.5 ft, exact; "59 ft" itself from memory
    assert asked["arc-radius"] == approx(mm(feet(95)))
    assert asked["home-circle-radius"] == approx(mm(feet(13)))
    assert all(asked[f"fall-{item}"] == 0.0 for item in SIDES)


@pytest.mark.independent
def test_other_sizes_have_a_rule_only_where_somebody_printed_one():
    printed = {"baseball-70": 50, "baseball-60": 46, "softball-60": 43, "softball-55": 35}  # league pages
    for layout in LAYOUTS:
        if layout == "baseball-90":
            continue
        asked = rules(layout)
        if layout in printed:
            assert asked["pitching-distance"].value_mm == approx(mm(feet(printed[layout])))
        else:
            assert np.isnan(asked["pitching-distance"].value_mm)
        for item, rule in asked.items():
            assert np.isfinite(rule.value_mm) or "common practice, no source" in rule.source, item
        assert np.isnan(asked["arc-radius"].value_mm)
    assert rules("baseball-60")["mound-height"].value_mm == approx(mm(inches(6)))  # SportsTurf, January 2012
    assert rules("softball-60")["pitchers-plate-over-home"].value_mm == 0.0  # trade magazine
    assert rules("softball-60", feet(40))["pitching-distance"].value_mm == approx(mm(feet(40)))  # 35, 40 or 43 by division
    assert "mound-height" not in rules("softball-65")


@pytest.mark.analytic
def test_a_mound_by_the_rule_stands_4_in_at_54_ft_and_ends_at_50_ft_where_its_circle_does():
    size = LAYOUTS["baseball-90"]
    at = np.array([60.0, 54.0, 50.0, 49.0])
    height = mound(np.zeros(4), feet(1) * at, size, size.mound_height_m)
    assert height == approx([inches(10), inches(4), 0.0, 0.0], abs=1e-9)
    assert feet(59) - size.mound_m == approx(feet(50))


@pytest.mark.analytic
def test_the_places_an_arc_is_set_from_lie_18_and_6_in_from_the_front_of_the_plate():
    at = [arc_centres(feet(60.5))[name] for name in PRACTICES]
    assert at == approx([feet(60.5), feet(59), feet(61)])


@pytest.mark.analytic
def test_grades_in_print_agree_with_the_units_used_here():
    assert 2 / 3 * 1.2 == approx(0.8)  # NCAA 1-4: two-thirds of one percent is 0.8 in per 10 ft
    assert feet(46) * 0.01 == approx(inches(5.52))  # SportsTurf, January 2012: 1 % over 46 ft rises 5.5 in
