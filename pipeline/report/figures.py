"""Numbers as a reader gets them: in the reader's units, rounded to what their uncertainty supports."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Iterable

from pipeline.report.words import Words
from pipeline.units import FOOT_M, INCH_M, SHORT_TON_T, YARD3_M3

Z95 = 1.96
WHOLE = 1e-3  # of an inch: nearer to an eighth than this, a limit was set in inches
NBSP, MINUS, PLUS_MINUS = "\u00a0", "\u2212", "\u00b1"
TO = "\u2060\u2013\u2060"  # a dash that a line does not break at


@dataclass(frozen=True)
class Unit:
    """One unit of the reader's.

    name   : as printed
    size   : how many of the files' unit (mm, m, m2, m3, t) it holds
    finest : decimals beyond which nothing is printed, whatever the uncertainty
    """

    name: str
    size: float
    finest: int


@dataclass(frozen=True)
class Units:
    """The reader's units of one system; files give mm for heights, m, m2, m3 and t for the rest."""

    system: str
    height: Unit
    length: Unit
    area: Unit
    volume: Unit
    mass: Unit


METRIC = Units("metric", Unit("mm", 1, 0), Unit("m", 1, 0), Unit("m\u00b2", 1, 1), Unit("m\u00b3", 1, 2), Unit("t", 1, 2))
US = Units(
    "us", Unit("in", INCH_M * 1000, 2), Unit("ft", FOOT_M, 0), Unit("sq ft", FOOT_M**2, 0), Unit("cu yd", YARD3_M3, 2),
    Unit("tons", SHORT_TON_T, 2),
)  # fmt: skip
SYSTEMS = {"metric": METRIC, "us": US}
SPOKEN = {"sq ft": "unit_sq_ft", "cu yd": "unit_cu_yd", "tons": "unit_tons"}  # names that are words of a language; the others are signs


def spoken(system: str, words: Words) -> Units:
    """Units of a system, named in the reader's language."""
    units = SYSTEMS[system]
    named = {part: getattr(units, part) for part in ("area", "volume", "mass")}
    return replace(units, **{part: replace(unit, name=words(SPOKEN[unit.name])) for part, unit in named.items() if unit.name in SPOKEN})


def decimals_of(half_width: float) -> int:
    """Decimals that a figure with such an uncertainty is printed with; negative = rounded to tens, hundreds.

    The uncertainty keeps two digits where its first three lie in 100-354, one in 355-949, and 950-999 counts as 1000.
    source : Particle Data Group, Review of Particle Physics, introduction (from memory)
    """
    power = math.floor(math.log10(half_width))
    lead = half_width / 10.0**power * 100
    return 1 - power if lead < 354.5 else -power


def printed(value: float, decimals: int, signed: bool = False) -> str:
    """A number with so many decimals, halves away from zero, a true minus sign, never a signed zero."""
    step = Decimal(1).scaleb(-decimals)
    figure = Decimal(repr(float(value))).quantize(step, ROUND_HALF_UP)
    if figure == 0:
        return f"{abs(figure):f}"
    sign = MINUS if figure < 0 else "+" if signed else ""
    return f"{sign}{abs(figure):f}"


def counted(number: int) -> str:
    """'12 345': a count, its thousands set apart."""
    return f"{number:,}".replace(",", NBSP)


def figure(value: float | None, sigma: float | None, unit: Unit, signed: bool = False, named: bool = True) -> str:
    """'69 mm ± 4': a figure and its 95 % half-width, in the reader's unit, rounded alike.

    value, sigma : in the files' unit, sigma one s.d.; a missing value gives an empty string, a missing sigma no range
    """
    if value is None or not math.isfinite(value):
        return ""
    name = f"{NBSP}{unit.name}" if named else ""
    here = value / unit.size
    if sigma is None or not math.isfinite(sigma):
        return f"{printed(here, unit.finest, signed)}{name}"
    text, half = rounded(here, Z95 * sigma / unit.size, unit.finest, signed)
    return f"{text}{name}{NBSP}{PLUS_MINUS}{NBSP}{half}"


def about(value: float, unit: Unit) -> str:
    """'29.7 tons': a planned amount whose range is not stated beside it, to three digits; whole units stay whole."""
    here = value / unit.size
    decimals = max(0, 2 - math.floor(math.log10(abs(here)))) if here else 0
    return f"{printed(here, min(unit.finest, decimals))}{NBSP}{unit.name}"


def ranged(value: float, low: float, high: float, unit: Unit) -> tuple[str, str]:
    """'11 tons' and '5-16 tons': an amount and its 95 % range, rounded as half the range asks."""
    half = (high - low) / 2 / unit.size
    show = lambda v: rounded(v / unit.size, half, unit.finest)[0]
    return f"{show(value)}{NBSP}{unit.name}", f"{show(low)}{TO}{show(high)}{NBSP}{unit.name}"


def reach(value_mm: float, sigma_mm: float | None, units: Units) -> str:
    """A distance over the field as a tape reads it: '27.432 m ± 0.028', '90 ft 0.3 in ± 1.1'. sigma_mm: one s.d., or None"""
    if units.system != "us":
        return figure(value_mm / 1000, None if sigma_mm is None else sigma_mm / 1000, Unit("m", 1, 3))
    inch = units.height
    text, half = rounded(value_mm / inch.size, Z95 * sigma_mm / inch.size, inch.finest) if sigma_mm is not None and math.isfinite(sigma_mm) else (
        printed(value_mm / inch.size, inch.finest), "")  # fmt: skip
    whole, rest = divmod(Decimal(text.replace(MINUS, "-")), 12)
    left = f"{rest.normalize():f}" if not half else f"{rest:f}"
    said = f"{whole}{NBSP}ft" + (f"{NBSP}{left}{NBSP}in" if rest or half else "")
    return f"{said}{NBSP}{PLUS_MINUS}{NBSP}{half}" if half else said


def rounded(value: float, half_width: float, finest: int, signed: bool = False) -> tuple[str, str]:
    """A value and its half-width to the same decimals. A half-width below what can be printed is rounded up to it."""
    least = 10.0**-finest
    if half_width <= 0:
        return printed(value, finest, signed), printed(0.0, finest)
    decimals = min(decimals_of(half_width), finest)
    shown = max(half_width, least) if decimals == finest else half_width
    if decimals >= 0:
        return printed(value, decimals, signed), printed(shown, decimals)
    tens = 10.0**-decimals
    return printed(round(value / tens) * tens, 0, signed), printed(round(shown / tens) * tens, 0)


def limit(value_mm: float, unit: Unit) -> str:
    """A limit as its owner set it: '1 in' where it is whole eighths of the reader's inch, else '60 mm (2.36 in)'."""
    set_as = f"{value_mm:g}{NBSP}mm"
    if unit.name == "mm":
        return set_as
    here = value_mm / unit.size
    eighths = round(here * 8) / 8
    if eighths and abs(here - eighths) < WHOLE:
        return f"{eighths:g}{NBSP}{unit.name}"
    return f"{set_as} ({printed(here, 2)}{NBSP}{unit.name})"


def span(low_m: float, high_m: float, unit: Unit) -> str:
    """'12\u201319 ft': a stretch along an edge."""
    return f"{printed(low_m / unit.size, unit.finest)}{TO}{printed(high_m / unit.size, unit.finest)}{NBSP}{unit.name}"


def spans_length(ends_m: Iterable[tuple[float, float]], unit: Unit) -> str:
    """The length of some spans, added up as they are printed, so that a reader who adds them finds the same."""
    total = sum(Decimal(printed(high / unit.size, unit.finest)) - Decimal(printed(low / unit.size, unit.finest)) for low, high in ends_m)
    return f"{total}{NBSP}{unit.name}"


def plain_text(text: str) -> str:
    """Text for a table: no signs that a spreadsheet may garble."""
    for sign, plain in (("\u00a0", " "), ("\u2060", ""), ("\u00b1", "+/-"), ("\u2212", "-"), ("\u2013", "-"), ("\u2019", "'"), ("\u201c", '"'), ("\u201d", '"')):
        text = text.replace(sign, plain)
    return text
