"""Drawings: what they measure on the page is what they say, and every sign has a second one besides colour."""

from __future__ import annotations

import io
import math
import re

import numpy as np
import pytest

from pipeline.diamond.axes import Axes
from pipeline.frame import Grid
from pipeline.report import palette
from pipeline.report.change_map import FINE, coloured
from pipeline.report.field_map import APART, frame_of, lip_class, lip_steps, spread
from pipeline.report.findings import Limits
from pipeline.report.lip_chart import LimitLine, band, lip_chart
from pipeline.report.raster import coarser, png
from pipeline.report.relief import contour_step_mm, contours, shade, smoothed
from pipeline.report.residual_chart import residual_chart
from pipeline.report.figures import METRIC, US
from pipeline.report.svg import Frame, el, north, scale_bar
from report.scene import LIMITS, edge, layout, station


@pytest.mark.analytic
@pytest.mark.parametrize("unit, size", [("ft", 0.3048), ("m", 1.0)])
def test_the_scale_bar_is_as_long_as_it_says(unit, size):
    frame = frame_of(layout())
    bar = scale_bar(frame, size, unit, 16, 600)
    length, wide = (re.search(f'data-{k}="([0-9.]+)', bar).group(1) for k in ("length", "wide"))
    e, n = layout().centre
    (x0, x1), (y0, y1) = frame.xy(np.array([e, e + float(length) * size]), np.array([n, n]))
    assert math.hypot(x1 - x0, y1 - y0) == pytest.approx(float(wide), abs=0.01)


@pytest.mark.analytic
def test_second_base_stands_straight_above_home_and_north_points_north():
    frame = frame_of(layout())
    (hx, sx), (hy, sy) = frame.xy(*np.transpose([layout().anchors["home"], layout().anchors["second"]]))
    assert sx == pytest.approx(hx, abs=0.01) and sy < hy
    (ax, bx), (ay, by) = frame.xy(np.array([0.0, 0.0]), np.array([0.0, 1.0]))
    assert math.degrees(math.atan2(bx - ax, ay - by)) == pytest.approx(frame.north_deg)
    assert f"rotate({frame.north_deg:.2f})" in north(frame, 0, 0, "N")


@pytest.mark.analytic
def test_an_image_of_cells_lands_on_its_cells():
    frame = Frame(Axes(0.0, 0.0, 0.4), -5.0, 30.0, 10.0, 640, 640)
    a, b, c, d, e, f = (float(v) for v in frame.matrix(2.0, 8.0, 0.5)[7:-1].split())
    x, y = frame.xy(2.0 + 7 * 0.5, 8.0 - 3 * 0.5)
    assert (7 * a + 3 * c + e, 7 * b + 3 * d + f) == pytest.approx((float(x), float(y)), abs=1e-3)


@pytest.mark.invariant
def test_text_in_a_drawing_cannot_break_it():
    assert el("path", d='"<&>', title_=None) == '<path d="&quot;&lt;&amp;&gt;"/>'


@pytest.mark.analytic
def test_blocks_of_a_picture_are_means_of_what_was_measured():
    values = np.arange(24.0).reshape(4, 6)
    values[0, 0] = np.nan
    mean, share, side = coarser(values, Grid("EPSG:6550", 0, 0, 0.1, 4, 6), 0.2)
    assert (mean[0, 0], share[0, 0], side) == (pytest.approx((1 + 6 + 7) / 3), 0.75, 0.2) and mean.shape == (2, 3)
    assert coarser(values, Grid("EPSG:6550", 0, 0, 0.1, 4, 6), 0.4)[1][0, 1] == 0.5  # the last block reaches over the grid


@pytest.mark.independent
def test_a_picture_is_a_png_that_reads_back():
    """Pillow's own reader; the same picture gives the same bytes."""
    from PIL import Image

    rgba = np.random.default_rng(3).integers(0, 255, (5, 7, 4), np.uint8)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(png(rgba)))), rgba) and png(rgba) == png(rgba.copy())


@pytest.mark.analytic
def test_light_falls_from_the_upper_left_and_what_was_not_measured_stays_bare():
    y, x = np.mgrid[:30, :30] * 0.25
    toward, away = (shade(0.03 * s * (x + y) / 2**0.5, 0.25, 0.0)[15, 15] for s in (1, -1))
    # A plane is its own mean: only what leans more than the field's mean is lit or dark.
    assert toward[3] == away[3] == 0
    ridge = np.abs(x - 3.6)
    lit, dark = shade(-0.03 * ridge, 0.25, 0.0)[15, 5], shade(-0.03 * ridge, 0.25, 0.0)[15, 25]
    assert lit[0] == 255 and dark[0] == 40 and min(lit[3], dark[3]) > 0
    holed = -0.03 * ridge
    holed[10:13, 10:13] = np.nan
    assert (shade(smoothed(holed, 0.25), 0.25, 0.0)[11, 11, 3], np.isnan(smoothed(holed, 0.25)[11, 11])) == (0, True)


@pytest.mark.analytic
def test_contours_of_a_plane_are_even_and_few():
    x = np.mgrid[:40, :40][1] * 0.25
    z = 300.0 + 0.01 * x
    assert contour_step_mm(z, "metric") == 10 and contour_step_mm(z, "us") == 12.7 and contour_step_mm(z * 100, "metric") == 200
    lines = contours(z, 100.0, 50.0, 0.25, 0.010)
    east = sorted(float(line[:, 0].mean()) for line in lines)
    assert np.diff(east) == pytest.approx(1.0, abs=1e-6) and all(np.ptp(line[:, 0]) < 1e-6 for line in lines)


@pytest.mark.invariant
def test_lost_is_hatched_gained_is_dotted_and_darker_is_more():
    change = np.zeros((30, 30))
    change[:15], change[15:] = -0.02, 0.02
    detected = np.sign(change).astype(np.int8)
    detected[:, 20:] = 0
    detected[0, 0] = -128
    big, top = coloured(change, detected, np.ones((30, 30), bool))
    lost, gained, still = big[3:42, 3:57], big[45:, :57], big[:, 62:]
    assert top == pytest.approx(0.02) and big.shape == (90, 90, 4)
    assert {tuple(c[:3]) for c in lost.reshape(-1, 4)} == {palette.rgb(palette.LOST[-1]), palette.rgb(palette.LOST[0])}
    assert {tuple(c[:3]) for c in gained.reshape(-1, 4)} == {palette.rgb(palette.GAINED[-1]), palette.rgb(palette.GAINED[0])}
    assert {tuple(c[:3]) for c in still.reshape(-1, 4)} == {palette.rgb(palette.STILL)} and tuple(big[0, 0][:3]) == palette.rgb(palette.GROUND)
    rows = [(c[:, :3] == palette.rgb(palette.LOST[0])).all(axis=1) for c in lost]
    assert all(r.any() and not r.all() for r in rows)  # hatching crosses every row
    assert FINE * 30 == 90


@pytest.mark.independent
def test_pictures_keep_their_order_in_grey():
    """Relative luminance of WCAG 2.2: along every row of colours it falls, so that darker is more without colour."""
    for colours in (palette.LIP, palette.LOST, palette.GAINED):
        light = [luminance(c) for c in colours]
        assert light == sorted(light, reverse=True) and all(a / b > 1.3 for a, b in zip(light, light[1:]))
    assert palette.ramp(palette.LOST, 0.0) == palette.rgb(palette.LOST[0]) and palette.ramp(palette.LOST, 2.0) == palette.rgb(palette.LOST[-1])


def luminance(colour: str) -> float:
    parts = [v / 255 for v in palette.rgb(colour)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.invariant
def test_no_mark_hides_another_and_the_worst_keeps_its_place():
    crowd = [(100.0, 100.0)] * 3 + [(110.0, 100.0), (2.0, 638.0), (300.0, 300.0)]
    placed = spread(crowd, 640.0, 640.0)
    assert placed[0] == crowd[0] and placed[5] == crowd[5]
    assert all(math.dist(a, b) >= APART for k, a in enumerate(placed) for b in placed[k + 1 :])
    assert all(math.dist(a, b) < 3 * APART for a, b in zip(crowd, placed))


@pytest.mark.analytic
def test_the_shades_of_an_edge_change_at_the_owners_limits():
    assert lip_steps(LIMITS) == (12.5, 25.0, 50.0)
    assert lip_steps(Limits(25.0, None, None, None, None)) == (12.5, 25.0, 50.0) and lip_steps(Limits(None, 50.0, None, None, None)) == (10.0, 20.0, 30.0)
    assert [lip_class(h, (12.5, 25.0, 50.0)) for h in (0, 12.5, 30, 50, 900)] == [0, 1, 2, 3, 3]


@pytest.mark.invariant
def test_a_chart_breaks_at_gaps_dashes_what_is_not_known_and_keeps_its_limits_words_apart():
    rows = edge({range(5, 9): 34.0}, length=20)
    rows[12] = station(12.5, None, None)
    rows[15:18] = [station(k + 0.5, 8.0, kind="not_enough_evidence") for k in range(15, 18)]
    rows[2] = station(2.5, 30.0, kind="low_skin")
    limits = [LimitLine(25.0, "tolerance", False), LimitLine(27.0, "trip limit", True)]
    svg = lip_chart("x", rows, 20.0, limits, [(3.0, "first base")], METRIC, "title", "about")
    assert svg.count('class="band"') == 2 and svg.count("height unsure") == 1 and svg.count("low-skin") == 1
    words = [float(y) for y in re.findall(r'<text x="[^"]+" y="([^"]+)" class="limit"', svg)]
    assert len(words) == 2 and abs(words[0] - words[1]) >= 18
    assert "in</text>" in lip_chart("x", rows, 20.0, limits, [], US, "t", "a")


@pytest.mark.analytic
def test_the_band_is_the_bracket_of_a_rise_and_the_range_of_a_step():
    assert band(station(1.5, 30.0, 5.0, rise_low95_mm=12.0, rise_high95_mm=41.0)) == (12.0, 41.0)
    assert band(station(1.5, 30.0, 5.0, "low_skin")) == (30.0 - 9.8, 30.0 + 9.8)


@pytest.mark.invariant
def test_residuals_stand_on_their_scale_and_a_long_name_stays_inside():
    svg = residual_chart("r", [("home plate", 5.0, 5.0, True), ("a very long name for a small slab of concrete", -20.0, 5.0, False)], METRIC, "t", "a")
    used, moved = re.findall(r'<circle cx="([0-9.]+)"[^>]*class="(used|moved)"', svg)
    zero = float(re.search(r'd="M([0-9.]+) [^"]*" class="base-line"', svg).group(1))
    assert (float(used[0]) - zero) / (float(moved[0]) - zero) == pytest.approx(-0.25, abs=0.01) and (used[1], moved[1]) == ("used", "moved")
    assert all(float(x) <= 34 for x in re.findall(r'<text x="([0-9.]+)"[^>]*class="place"', svg))
