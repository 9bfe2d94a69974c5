"""Units: metres inside, the reader's units outside. Every factor with its source."""

from __future__ import annotations

FOOT_M = 0.3048  # international foot, exact since 1959 (NIST SP 811)
US_SURVEY_FOOT_M = 1200.0 / 3937.0  # Federal Register 1893 (Mendenhall order), exact
INCH_M = 0.0254  # exact
YARD3_M3 = 0.9144**3  # exact
SHORT_TON_T = 0.90718474  # 2000 lb, exact
MM_PER_M = 1000.0
YEAR_DAYS = 365.25  # a Julian year, exact

# The words of the tables' `vertical_unit`, `turf_height_unit`, `depth_unit` columns.
LENGTH_UNITS = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M, "in": INCH_M, "mm": 1e-3, "cm": 1e-2}
VERTICAL_UNITS = {word: LENGTH_UNITS[word] for word in ("m", "ft", "us-ft")}


def feet(value_ft: float) -> float:
    """International feet to metres (field dimensions of the rulebooks)."""
    return value_ft * FOOT_M


def inches(value_in: float) -> float:
    """Inches to metres."""
    return value_in * INCH_M


def feet_inches(whole_ft: float, and_in: float) -> float:
    """127 ft 3-3/8 in is `feet_inches(127, 3.375)`, m."""
    return whole_ft * FOOT_M + and_in * INCH_M


def vertical_unit_of(factor: float) -> str | None:
    """The table's word for a unit of so many metres, or None. The two feet differ by 2e-6."""
    for word, metres in VERTICAL_UNITS.items():
        if abs(factor / metres - 1) < 2e-7:
            return word
    return None
