"""Readings as the pages take them up: places in metres of the working CRS."""

from __future__ import annotations

from dataclasses import replace
from typing import Iterable

from pipeline.coordinates import read_crs, unit_m
from pipeline.tables import Read


def in_metres(readings: Iterable[Read], crs: str) -> tuple[Read, ...]:
    """Rows of one field with `e` and `n`, written in its `crs` and that one's own unit, in metres."""
    metres = unit_m(read_crs(crs))
    return tuple(replace(r, values={**r.values, **{c: r.values[c] * metres for c in ("e", "n") if c in r.values}}) for r in readings)
