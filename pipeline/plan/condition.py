"""How a field stands and how that grows: each component with its s.d., its rate, and what is expected over the owner's tolerance."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import inf
from typing import Mapping, Sequence

import numpy as np
from scipy.special import ndtr

from pipeline.plan.treatments import COMPONENTS, as_built

SURE = 0.8  # chance of being over a trip limit from which a remedy must come in the first year
OLD_YEARS = 1.5  # a state older than this is known less well than its own s.d. says
NO_RATE_SD = 0.2  # of the scale a year, where no field at all has a rate: a guess, ours
_ROOT_2PI = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True)
class Component:
    """One component of a field's state.

    level, sigma     : on the day it was measured, mm, and one s.d.; of the mix the deficit: least depth minus depth
    rate, rate_sigma : growth a year, mm, and one s.d.
    limit, scale     : the owner's tolerance, mm, and what an excess is counted in, mm: the tolerance; of the mix 0 and the least depth
    trip             : the owner's trip limit, mm, inf without one
    place            : where it is worst: edge, declared place or zone
    """

    level: float
    sigma: float
    rate: float
    rate_sigma: float
    limit: float
    scale: float
    trip: float = inf
    place: str = ""


@dataclass(frozen=True)
class State:
    """One field as the plan starts.

    weight     : what a year over tolerance counts on it: its use over the mean use of the fields
    age_years  : from the day it was measured to the start of the first year; below 0 where the year had begun
    components : those that were measured and have a tolerance, by name
    left       : (mean, s.d.) of each component after what resets it, mm
    old        : components measured more than OLD_YEARS before the first year
    """

    field_id: str
    weight: float
    age_years: float
    components: Mapping[str, Component]
    left: Mapping[str, tuple[float, float]] = field(default_factory=lambda: as_built(None))
    old: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(n for n in COMPONENTS if n in self.components)


def aged(component: Component, years: float) -> Component:
    """A component whose survey lies so many years before the plan: its s.d. widened in proportion beyond OLD_YEARS (ours)."""
    return replace(component, sigma=component.sigma * max(years / OLD_YEARS, 1.0))


def excess(level, sigma, limit, scale):
    """Expected part above `limit` of a normal (level, sigma), counted in `scale`; arrays broadcast; sigma 0 is certain.

    source : E max(X - a, 0) = (mu - a) Phi(z) + s phi(z), z = (mu - a) / s, elementary
    """
    over, sigma = np.asarray(level, float) - limit, np.asarray(sigma, float)
    safe = np.where(sigma > 0, sigma, 1.0)
    z = over / safe
    soft = over * ndtr(z) + sigma * np.exp(-0.5 * z * z) / _ROOT_2PI
    return np.where(sigma > 0, np.maximum(soft, 0.0), np.maximum(over, 0.0)) / scale


def chance_over(level: float, sigma: float, limit: float) -> float:
    """Probability that a normal (level, sigma) is over a limit."""
    return float(ndtr((level - limit) / sigma)) if sigma > 0 else float(level > limit)


def shrunk(rates: Sequence[float], sigmas: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Rates of many places, each drawn toward their mean by how little it says, and one s.d. of each. NaN where a place has
    none: it gets the mean and the spread of the places, and one s.d. of that; all NaN where none has one. Three places or fewer are
    not drawn: they do not tell how places differ. None is moved by more than its own s.d., so
    that a place that truly wears like no other is not talked down. A rate below 0 becomes 0: nothing mends itself, and what
    looks so is noise.

    source : r* = (r/s^2 + rbar/tau^2)/(1/s^2 + 1/tau^2) with the factor (k-3)/(k-1) and what is added to the variance for tau being
             estimated, Morris 1983 (from memory); tau^2 by DerSimonian & Laird 1986 (from memory);
             limited translation, Efron & Morris 1972 (from memory)
    """
    r, s = np.asarray(rates, float), np.asarray(sigmas, float)
    told = np.isfinite(r) & np.isfinite(s) & (s > 0)
    if not told.any():
        return np.full(len(r), np.nan), np.full(len(r), np.nan)
    w = s[told] ** -2.0
    mean, k = float((w * r[told]).sum() / w.sum()), int(told.sum())
    between, unsure = 0.0, 0.0
    if k > 1:
        spread = w.sum() - (w**2).sum() / w.sum()
        between = max(((w * (r[told] - mean) ** 2).sum() - (k - 1)) / spread, 0.0)
        unsure = float(np.sqrt(2 * (k - 1)) / spread)  # one s.d. of `between` where there is none
    both = 1 / (s[told] ** 2 + between)
    mean, of_mean = float((both * r[told]).sum() / both.sum()), 1 / both.sum()
    trust = (k - 3) / (k - 1) if k > 3 else 0.0  # how places differ is itself known from k of them only
    toward = np.ones(len(r))  # how far each goes to the mean
    toward[told] = trust * s[told] ** 2 / (s[told] ** 2 + between)
    off = np.where(told, r - mean, 0.0)
    out = np.where(told, mean + (1 - toward) * off, mean)
    var = np.where(told, (1 - toward) * np.where(told, s, 0.0) ** 2 + toward**2 * (of_mean + 2 / max(k - 3, 1) * off**2), between + unsure + of_mean)
    far = told & (np.abs(out - r) > s)
    out, var = np.where(far, r + np.sign(out - r) * s, out), np.where(far, s**2, var)
    return np.maximum(out, 0.0), np.sqrt(var)
