"""Numbers for readers: units, rounding by uncertainty, limits as their owner set them."""

from __future__ import annotations

import pytest

from pipeline.report.figures import METRIC, MINUS, NBSP, PLUS_MINUS, US, decimals_of, figure, limit, printed, rounded, span, spans_length

PM = f"{NBSP}{PLUS_MINUS}{NBSP}"


@pytest.mark.independent
@pytest.mark.parametrize("value, half, text", [(0.827, 0.119, ("0.83", "0.12")), (0.827, 0.367, ("0.8", "0.4"))])
def test_rounding_is_that_of_the_particle_data_group(value, half, text):
    """Review of Particle Physics, introduction, section on rounding: its own two examples (from memory)."""
    assert rounded(value, half, 6) == text


@pytest.mark.analytic
@pytest.mark.parametrize("half, decimals", [(0.354, 2), (0.355, 1), (3.0, 1), (4.0, 0), (0.95, 1), (35.0, 0), (40.0, -1), (120.0, -1)])
def test_a_half_width_keeps_one_or_two_digits(half, decimals):
    assert decimals_of(half) == decimals


@pytest.mark.independent
def test_units_are_those_of_the_reader():
    """1 in = 25.4 mm, 1 yd3 = 0.764554857984 m3, 1 short ton = 0.90718474 t, 1 ft2 = 0.09290304 m2: NIST SP 811."""
    assert figure(25.4, None, US.height) == f"1.00{NBSP}in"
    assert figure(0.764554857984, None, US.volume) == f"1.00{NBSP}cu yd"
    assert figure(0.90718474, None, US.mass) == f"1.00{NBSP}tons"
    assert figure(9.290304, None, US.area) == f"100{NBSP}sq ft"
    assert figure(30.48, None, US.length) == f"100{NBSP}ft"
    assert figure(69.4, None, METRIC.height) == f"69{NBSP}mm" and figure(2.25, None, METRIC.volume) == f"2.25{NBSP}m\u00b3"


@pytest.mark.analytic
def test_a_figure_carries_its_95_percent_half_width_rounded_alike():
    assert figure(69.0, 2.0, METRIC.height) == f"69{NBSP}mm{PM}4"
    assert figure(69.0, 2.0, US.height) == f"2.72{NBSP}in{PM}0.15"
    assert figure(-8.0, 2.0, METRIC.height, signed=True) == f"{MINUS}8{NBSP}mm{PM}4"
    assert figure(8.0, None, METRIC.height, signed=True) == f"+8{NBSP}mm"
    assert figure(1234.0, 300.0, METRIC.height) == f"1200{NBSP}mm{PM}600"


@pytest.mark.invariant
def test_nothing_is_printed_finer_than_its_unit_and_no_half_width_reads_as_none():
    assert figure(12.0, 0.01, METRIC.height) == f"12{NBSP}mm{PM}1"
    assert figure(12.0, 0.0, METRIC.height) == f"12{NBSP}mm{PM}0"
    assert figure(None, 2.0, METRIC.height) == figure(float("nan"), 2.0, METRIC.height) == ""
    assert figure(12.0, float("nan"), METRIC.height) == f"12{NBSP}mm"


@pytest.mark.analytic
def test_halves_go_away_from_zero_and_zero_has_no_sign():
    assert [printed(v, 0) for v in (0.5, 1.5, -0.5, -0.4)] == ["1", "2", f"{MINUS}1", "0"]
    assert printed(0.001, 2, signed=True) == "0.00" and printed(0.006, 2, signed=True) == "+0.01"


@pytest.mark.analytic
def test_a_limit_reads_as_its_owner_set_it():
    assert limit(60.0, METRIC.height) == f"60{NBSP}mm" and limit(6.35, METRIC.height) == f"6.35{NBSP}mm"
    assert limit(60.0, US.height) == f"60{NBSP}mm (2.36{NBSP}in)"
    assert limit(25.4, US.height) == f"1{NBSP}in" and limit(6.35, US.height) == f"0.25{NBSP}in" and limit(9.525, US.height) == f"0.375{NBSP}in"


@pytest.mark.invariant
def test_a_stretch_never_breaks_at_its_dash():
    text = span(1.5, 9.5, METRIC.length)
    assert text.replace("\u2060", "") == f"2\u201310{NBSP}m" and " " not in text and "\u2060\u2013\u2060" in text


@pytest.mark.analytic
def test_lengths_of_spans_add_up_as_a_reader_adds_them():
    """3-8, 14-15 and 20-21 m are 10-26, 46-49 and 66-69 ft as printed: 16 + 3 + 3."""
    ends = [(3.0, 8.0), (14.0, 15.0), (20.0, 21.0)]
    assert [span(*e, US.length).replace("\u2060", "") for e in ends] == [f"10–26{NBSP}ft", f"46–49{NBSP}ft", f"66–69{NBSP}ft"]
    assert spans_length(ends, US.length) == f"22{NBSP}ft" and spans_length(ends, METRIC.length) == f"7{NBSP}m"
