"""Every schedule of treatments over the years, how a field fares under each, and what each costs."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import Mapping

import numpy as np

from pipeline.plan.condition import SURE, Component, State, chance_over, excess
from pipeline.plan.treatments import LEVEL, LEVELLED, MIX, MIX_ADD, MOST_TREATMENTS, NONE, REBUILD, RESETS, TREATMENTS, WEAR_MM, cents

_NONE, _LEVEL, _REBUILD = (TREATMENTS.index(w) for w in (NONE, LEVEL, REBUILD))


@dataclass(frozen=True)
class Levelling:
    """What an hour of the crew's levelling takes of planarity and ring depth, as a share, and one s.d.; assumed: whether it is
    a guess, too few records speak."""

    share: float
    sigma: float
    assumed: bool


@dataclass(frozen=True)
class Price:
    """One treatment on one field, first year's money without contingency. NaN where a figure is missing: then it is not offered.

    money  : all but the mix; money_per_t: of mix; tonnes: fixed; tonnes_per_mm: with the depth that is missing
    hours  : of the crew
    """

    money: float = 0.0
    hours: float = 0.0
    money_per_t: float = 0.0
    tonnes: float = 0.0
    tonnes_per_mm: float = 0.0


@dataclass(frozen=True)
class Course:
    """A field under each schedule, (S, T, C): level and s.d. at each year's end, mm; `start`: (S, T) deficit of the mix before
    each year's treatment, mm, NaN where it is not known."""

    level: np.ndarray
    sigma: np.ndarray
    start: np.ndarray


def table(years: int, words: tuple[str, ...] = TREATMENTS) -> np.ndarray:
    """All schedules, (S, T) places in TREATMENTS: at most three treatments, one rebuild, no treatment two years running, nothing in
    the year after a rebuild. The crew's own levelling is yearly work: it may come in any other year and is not counted among the
    three. The first schedule is no treatment at all."""
    offered = [TREATMENTS.index(w) for w in TREATMENTS if w in words]
    out: list[tuple[int, ...]] = [()]
    for _ in range(years):
        out = [(*begun, word) for begun in out for word in offered if _may_follow(begun, word)]
    return np.array(out, np.int8)


def _may_follow(begun: tuple[int, ...], word: int) -> bool:
    last = begun[-1] if begun else _NONE
    if word == _NONE:
        return True
    if last == _REBUILD:
        return False
    if word == _LEVEL:
        return True
    done = [w for w in begun if w not in (_NONE, _LEVEL)]
    return word != last and len(done) < MOST_TREATMENTS and not (word == _REBUILD and _REBUILD in done)


def course(state: State, words: np.ndarray, levelling: Levelling, level_hours: float) -> Course:
    """How a field fares under each schedule. X grows its rate a year; a treatment at the year's start resets what it resets;
    s^2 = s0^2 + (age s_rate)^2, the age counted from the survey or the reset."""
    names = state.names
    count, years = words.shape
    level, sigma = np.empty((count, years, len(names))), np.empty((count, years, len(names)))
    start = np.full((count, years), nan)
    left_of = np.exp(-levelling.share * level_hours) if np.isfinite(level_hours) else 1.0
    left_sd = left_of * levelling.sigma * level_hours if np.isfinite(level_hours) else 0.0
    for c, name in enumerate(names):
        part = state.components[name]
        mean, sd = state.left[name]
        resets = np.array([name in RESETS[w] for w in TREATMENTS])
        mu = np.full(count, part.level + part.rate * state.age_years)
        var, age = np.full(count, part.sigma**2), np.full(count, state.age_years)
        for t in range(years):
            if name == MIX:
                start[:, t] = mu
            new = resets[words[:, t]]
            mu, var, age = np.where(new, np.minimum(mu, mean) if name == MIX else mean, mu), np.where(new, sd**2, var), np.where(new, 0.0, age)
            if name in LEVELLED:
                done = (words[:, t] == _LEVEL) & (mu > 0)
                var = np.where(done, left_of**2 * var + (mu * left_sd) ** 2, var)
                mu, age = np.where(done, left_of * mu, mu), np.where(done, left_of * age, age)  # what a wrong rate has added goes down by as much
            mu, age = mu + part.rate, age + 1.0
            level[:, t, c], sigma[:, t, c] = mu, np.sqrt(var + (age * part.rate_sigma) ** 2)
    return Course(level, sigma, start)


def losses(state: State, found: Course, discount: float) -> np.ndarray:
    """(S, T, C): each year's expected excess over tolerance of each component, weighted by use and by discount^t."""
    limits = np.array([(state.components[n].limit, state.components[n].scale) for n in state.names]).reshape(-1, 2)
    over = excess(found.level, found.sigma, limits[:, 0], limits[:, 1])
    return state.weight * discount ** np.arange(found.level.shape[1])[:, None] * over


def means(words: np.ndarray, found: Course, prices: Mapping[str, Price], escalation: float, contingency: float):
    """What each schedule takes, (S, T) each: money in each year's prices with contingency, to the cent; crew hours; tonnes of mix."""
    count, years = words.shape
    money, hours, tonnes = np.zeros((count, years)), np.zeros((count, years)), np.zeros((count, years))
    rise = (1 + escalation) ** np.arange(years) * (1 + contingency)
    for k, word in enumerate(TREATMENTS):
        at = words == k
        if word == NONE or not at.any():
            continue
        price = prices.get(word, Price(nan))
        mix = np.full((count, years), price.tonnes)
        if word == MIX_ADD:
            mix = mix + price.tonnes_per_mm * np.maximum(found.start + WEAR_MM, 0.0)
        bill = (price.money + (price.money_per_t * mix if price.money_per_t else 0.0)) * rise
        money, hours, tonnes = np.where(at, bill, money), np.where(at, price.hours, hours), np.where(at, mix, tonnes)
    return cents(money), hours, tonnes


def forced(state: State) -> tuple[str, ...]:
    """Components that are surely over their trip limit when the plan starts: a remedy must come in the first year."""
    return tuple(n for n in state.names if np.isfinite(state.components[n].trip) and surely_over(state.components[n], state.age_years, state.components[n].trip))


def surely_over(c: Component, age_years: float, limit: float) -> bool:
    """Whether a component is over a limit, mm, with a chance of SURE or more so many years after it was measured."""
    return chance_over(c.level + c.rate * age_years, float(np.hypot(c.sigma, age_years * c.rate_sigma)), limit) >= SURE


def remedied(state: State, words: np.ndarray, found: Course) -> np.ndarray:
    """(S,) bool: schedules that treat whatever is forced in the first year and leave it not surely over its trip limit at that year's end."""
    ok = np.ones(len(words), bool)
    for name in forced(state):
        c, part = state.names.index(name), state.components[name]
        over = np.array([chance_over(m, s, part.trip) for m, s in zip(found.level[:, 0, c], found.sigma[:, 0, c])])
        treats = np.array([name in RESETS[w] or (w == LEVEL and name in LEVELLED) for w in TREATMENTS])
        ok &= treats[words[:, 0]] & (over < SURE)
    return ok
