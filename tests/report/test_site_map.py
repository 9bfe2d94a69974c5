"""The map of the sites: lengths true, nothing covers anything, every field is told of."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from pyproj import Geod

from pipeline.report.figures import METRIC, US
from pipeline.report.site_map import ORDER, Spot, gathered, on_one_plane, site_list, site_map, spots_of
from report.scene import WORDS


def spots(places, site: str = "site-{k}", verdict=lambda k: ORDER[k % len(ORDER)]) -> list[Spot]:
    return [Spot(f"Field {k + 1}", site.format(k=k), k + 1, verdict(k), crs, e, n) for k, (crs, e, n) in enumerate(places)]


def district(number: int, sites: int, spread_m: float) -> list[Spot]:
    rng = np.random.default_rng(5)
    at = rng.normal((627000.0, 84000.0), spread_m, (sites, 2))
    return [Spot(f"Field {k + 1}", f"site-{k % sites}", k + 1, ORDER[min(len(ORDER) - 1, k * len(ORDER) // number)], "EPSG:6564", *(float(v) for v in at[k % sites] + rng.normal(0, 60, 2)))
            for k in range(number)]  # fmt: skip


def marks_of(svg: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"translate\(([\d.]+) ([\d.]+)\)\"><g class=\"place", svg)]


@pytest.mark.independent
def test_lengths_are_those_of_the_ellipsoid_whatever_crs_a_field_is_told_in():
    # The geodesic on the ellipsoid (Karney 2013, by PROJ's geod) against the plane; UTM 17 and state plane feet beside one another.
    found = spots([("EPSG:32617", 600000.0, 4450000.0), ("EPSG:32617", 603000.0, 4454000.0), ("EPSG:6565", 2058127.117, 275664.475)])
    plane = on_one_plane(found)
    from pyproj import Transformer

    lonlat = [Transformer.from_crs(s.crs, "EPSG:4326", always_xy=True).transform(s.e, s.n) for s in found]
    for i, j in ((0, 1), (0, 2), (1, 2)):
        true = Geod(ellps="WGS84").inv(*lonlat[i], *lonlat[j])[2]
        assert math.dist(plane[i], plane[j]) == pytest.approx(true, rel=1e-3 if true > 50_000 else 1e-4)
    assert plane.mean(axis=0) == pytest.approx((0, 0), abs=200)


@pytest.mark.analytic
def test_the_bar_is_as_long_as_it_says():
    found = spots([("EPSG:32617", 600000.0, 4450000.0), ("EPSG:32617", 604000.0, 4450000.0)])
    svg, _ = site_map(found, METRIC, WORDS)
    (x0, _), (x1, _) = marks_of(svg)
    length, wide = re.search(r'data-length="([\d.]+) km" data-wide="([\d.]+)"', svg).groups()
    assert float(wide) / float(length) == pytest.approx((x1 - x0) / (math.dist(*on_one_plane(found)) / 1000), rel=5e-3)


@pytest.mark.invariant
@pytest.mark.parametrize("number, sites, spread", [(1, 1, 10.0), (6, 2, 3000.0), (40, 9, 3000.0), (200, 45, 9000.0), (30, 1, 0.0)])
@pytest.mark.parametrize("units", [US, METRIC])
def test_marks_and_words_cover_nothing_and_every_field_is_told_of(number, sites, spread, units):
    found = district(number, sites, spread)
    svg, about = site_map(found, units, WORDS)
    root = ET.fromstring(svg)
    wide, tall = (float(v) for v in root.get("viewBox").split()[2:])
    at = marks_of(svg)
    assert all(math.dist(a, b) >= 24 for k, a in enumerate(at) for b in at[:k]) and all(12 <= x <= wide - 12 and 12 <= y <= tall - 50 for x, y in at)
    boxes = []
    for t in (t for t in root.iter("{http://www.w3.org/2000/svg}text") if "placed" in t.get("class", "") and float(t.get("y")) < tall - 50):
        half = 7.9 * len(t.text) / 2
        middle = float(t.get("x")) + {"start": half, "end": -half, "middle": 0.0}[t.get("text-anchor")]
        boxes.append((middle - half, float(t.get("y")) - 11, middle + half, float(t.get("y")) + 3))
    boxes += [(x - 12, y - 12, x + 12, y + 12) for x, y in at]
    assert not [1 for k, a in enumerate(boxes) for b in boxes[:k] if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]]
    rows = site_list(found, WORDS)
    assert [r[0] for r in rows] == [str(k + 1) for k in range(number)] and all(WORDS(f"verdict_{s.verdict}") == r[3] for s, r in zip(found, rows))
    assert root.get("role") == "img" and about in root.find("{http://www.w3.org/2000/svg}desc").text and site_map(found, units, WORDS) == (svg, about)


@pytest.mark.invariant
def test_far_apart_or_all_in_one_place_it_can_be_read():
    far = spots([("EPSG:32617", 500000.0, 4500000.0), ("EPSG:32611", 500000.0, 4200000.0), ("EPSG:32611", 500080.0, 4200000.0)], site="one-{k}")
    svg, about = site_map(far, US, WORDS)
    assert len(marks_of(svg)) == 2 and "3 fields under 2 marks" in about and "Field 1: Unsafe: 1." in about and "2 fields: Work: 2; Watch: 3." in about
    svg, about = site_map(spots([("EPSG:6564", 627000.0, 84000.0)] * 30, verdict=lambda k: ORDER[k // 6]), METRIC, WORDS)
    assert len(marks_of(svg)) == 1 and "Unsafe: 1\u2060\u2013\u20606" in about
    assert site_map([], US, WORDS) == ("", "")


@pytest.mark.analytic
def test_near_marks_are_gathered_about_their_middle_and_far_ones_are_not():
    from pipeline.report.site_map import Gathered

    a, b, c, d = spots([("EPSG:6564", 0.0, 0.0)] * 4)
    one = gathered([Gathered((b,), 20.0, 0.0), Gathered((a,), 0.0, 0.0), Gathered((c,), 200.0, 0.0), Gathered((d,), 240.0, 0.0)])
    assert [[s.rank for s in m.spots] for m in one] == [[1, 2], [3], [4]] and (one[0].x, one[0].y) == (10.0, 0.0)
    same = [Spot(s.name, "same", s.rank, s.verdict, s.crs, s.e, s.n) for s in (c, d)]
    assert len(gathered([Gathered((same[0],), 200.0, 0.0), Gathered((same[1],), 240.0, 0.0)])) == 1


@pytest.mark.invariant
def test_a_field_without_a_home_point_takes_its_middle_and_one_with_neither_is_left_out():
    rows = {"a": {"crs": "EPSG:6564", "home_e": 1.0, "home_n": 2.0}, "b": {"crs": "EPSG:6564"}, "c": {"crs": "EPSG:6564"}}
    found = spots_of([(f, f, "", "good") for f in "abc"], rows, {"b": ("EPSG:6564", 3.0, 4.0)})
    assert [(s.name, s.rank, s.e) for s in found] == [("a", 1, 1.0), ("b", 2, 3.0)]
