"""An upright axis from 0: round steps, and amounts in ones, thousands or millions."""

from __future__ import annotations

import math

MOST_STEPS = 5
SIZES = ((1e6, "million"), (1e3, "thousand"), (1.0, ""))


def step_of(top: float) -> float:
    """1, 2 or 5 times a power of ten, so that no more than MOST_STEPS of it reach `top`; 1 where nothing does."""
    if top <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(top / MOST_STEPS))
    return next(k * power for k in (1, 2, 5, 10) if top <= MOST_STEPS * k * power * (1 + 1e-9))


def size_of(top: float) -> tuple[float, str]:
    """What amounts up to `top` are told in: (1000, 'thousand') from ten thousand on."""
    return next((size, word) for size, word in SIZES if size == 1.0 or top >= 10 * size)


def decimals_of(step: float) -> int:
    """Decimals that multiples of a round step need."""
    return max(0, -math.floor(math.log10(step) + 1e-9))
