"""Small plans for tests: the hand case, and random portfolios small enough to be tried out whole."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from pipeline.plan.programme import Choice, Means, Programme, Sharing
from pipeline.plan.treatments import LASER_GRADE, LEVEL, LIP_CUT, MIX_ADD, NONE, REBUILD, TREATMENTS

LOSS = {"a": (10, 2, 6), "b": (8, 3, 4), "c": (6, 4, 5)}
COST = {"a": 4.0, "b": 4.0, "c": 2.0}
WORDS = np.array([[0, 0], [1, 0], [0, 1]], np.int8) * TREATMENTS.index(REBUILD)  # nothing; in year 1; in year 2


def hand_case(first: float, second: float) -> Programme:
    """3 fields x 2 years, one treatment."""
    choices = (Choice(f, f, np.array(LOSS[f], float), (WORDS > 0) * COST[f], np.zeros((3, 2)), WORDS, np.ones(3, bool)) for f in LOSS)
    return Programme(tuple(choices), Means(np.array([first, second], float), np.zeros(2)))


def random_plan(seed: int, fields: int = 3, years: int = 3, sharing: bool = False, level: bool = False) -> Programme:
    """Every schedule of five words, with `level` of all six, with random losses and costs; two fields share a site."""
    rng = np.random.default_rng(seed)
    five = [TREATMENTS.index(w) for w in (NONE, *((LEVEL,) if level else ()), LIP_CUT, MIX_ADD, LASER_GRADE, REBUILD)]
    words = np.array(list(product(five, repeat=years)), np.int8)
    choices = []
    for i in range(fields):
        price = np.round(rng.uniform(500, 9000, len(TREATMENTS)), 2) * (np.arange(len(TREATMENTS)) > 0)
        price[TREATMENTS.index(LEVEL)] = 0.0
        hours = rng.uniform(0, 30, len(TREATMENTS)) * (np.arange(len(TREATMENTS)) > 0)
        gain = rng.uniform(0, 3, (years, len(TREATMENTS))) * (np.arange(len(TREATMENTS)) > 0)
        saved = gain[np.arange(years), words].sum(axis=1)
        choices.append(Choice(f"f{i}", f"s{i // 2}", 12.0 - saved ** 0.8, price[words], hours[words], words, np.ones(len(words), bool)))
    means = Means(np.round(rng.uniform(2000, 14000, years), 2), rng.uniform(15, 60, years), bool(seed % 2))
    shared = Sharing({LASER_GRADE: np.full(years, 800.0), REBUILD: np.full(years, 1500.0)}, {LASER_GRADE: np.full(years, 5000.0)}, 0.5) if sharing else Sharing()
    return Programme(tuple(choices), means, shared)


def tried_out(programme: Programme) -> float:
    """The least of what is minimised over every combination of schedules, by plain enumeration with rules written out anew."""
    loss, money, hours, ok = _every(programme)
    ok = ok & (_over(programme, money).max(axis=1) <= 0.005) & (hours <= programme.means.hours + 1e-6).all(axis=1)
    aim = loss + programme.worth * money.sum(axis=1) / 1000
    return float(aim[ok].min()) if ok.any() else float("inf")


def least_missing(programme: Programme) -> tuple[float, float]:
    """Over every combination that keeps to all but the budgets: the least hours that are missing over the years, and with those the least money."""
    _, money, hours, ok = _every(programme)
    short = np.maximum(hours - programme.means.hours, 0.0).sum(axis=1)
    over = np.maximum(_over(programme, money), 0.0)
    cash = over.max(axis=1) if programme.means.carry_over else over.sum(axis=1)
    least = short[ok].min()
    return float(least), float(cash[ok & (short <= least + 1e-6)].min())


def _over(programme: Programme, money: np.ndarray) -> np.ndarray:
    run = (lambda x: np.cumsum(x, axis=-1)) if programme.means.carry_over else (lambda x: x)
    return run(money) - run(programme.means.money)


def masked(programme: Programme, rng: np.random.Generator) -> Programme:
    """The same with random must-dos and pins on its fields."""
    out = []
    for c in programme.choices:
        year, word = rng.integers(c.words.shape[1]), rng.integers(len(TREATMENTS))
        asks = [np.ones(len(c.words), bool), c.words[:, 0] != 0, c.words[:, year] == word, c.words[:, year] != word][rng.integers(4)]
        out.append(replace(c, allowed=asks if asks.any() else c.allowed))
    return replace(programme, choices=tuple(out))


def _every(programme: Programme) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Of every combination of allowed schedules: loss, (n, T) money with comings, (n, T) hours, whether it keeps to lots and shares."""
    c, sharing = programme.choices, programme.sharing
    index = np.array(np.meshgrid(*[np.flatnonzero(x.allowed) for x in c], indexing="ij")).reshape(len(c), -1)
    loss = sum(x.loss[k] for x, k in zip(c, index))
    money = sum(x.cost[k] for x, k in zip(c, index))
    hours = sum(x.hours[k] for x, k in zip(c, index))
    ok = np.ones(len(loss), bool)
    site_money = {g: sum((x.cost[k].sum(axis=1) for x, k in zip(c, index) if x.site == g), np.zeros(len(loss))) for g in programme.sites}
    for word, least in sharing.lots.items():
        k = TREATMENTS.index(word)
        order = sum(np.where(x.words[i] == k, x.cost[i], 0.0) for x, i in zip(c, index))
        ok &= ((order == 0) | (order >= least - 1e-9)).all(axis=1)
    if sharing.equity:
        whole = sum(site_money.values())
        for g in programme.sites:
            ok &= site_money[g] >= sharing.equity * sum(x.site == g for x in c) / len(c) * whole - 1e-6
    for word, each in sharing.mobilisation.items():
        for g in programme.sites:
            there = np.any([x.words[i] == TREATMENTS.index(word) for x, i in zip(c, index) if x.site == g], axis=0)
            money = money + there * each
    return loss, money, hours, ok
