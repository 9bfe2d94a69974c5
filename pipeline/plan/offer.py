"""One field as the plan sees it: its state, what each treatment costs on it, what pins and safety leave, and all its schedules priced."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Mapping, Sequence

import numpy as np

from pipeline.plan.condition import State
from pipeline.plan.programme import Choice, Means, Sharing
from pipeline.plan.schedules import Course, Levelling, Price, course, losses, means, remedied
from pipeline.plan.treatments import LEVEL, NONE, TREATMENTS


@dataclass(frozen=True)
class Wanted:
    """A pin: `treatment` (None: any) in `year`, or not before `not_before`; with neither, sometime in the plan."""

    field_id: str
    treatment: str | None
    year: int | None
    not_before: int | None


@dataclass(frozen=True)
class Field:
    """prices: what is offered on it; missing: treatment -> why it is not offered."""

    state: State
    site: str
    prices: Mapping[str, Price]
    missing: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Terms:
    """What holds for all fields. escalation, contingency, cost_sd: shares; discount: of a year's loss against the year before."""

    first_year: int
    means: Means
    sharing: Sharing
    pins: tuple[Wanted, ...]
    levelling: Levelling
    escalation: float = 0.0
    contingency: float = 0.0
    discount: float = 1.0
    cost_sd: float = 0.10
    seed: int = 1


@dataclass(frozen=True)
class Priced:
    """A field's choice with what stands behind it. parts: (S, T, C) losses; tonnes: (S, T)."""

    choice: Choice
    found: Course
    parts: np.ndarray
    tonnes: np.ndarray


def obeyed(pins: Sequence[Wanted], field_id: str, words: np.ndarray, first_year: int) -> np.ndarray:
    """(S,) bool: schedules that obey every pin of a field."""
    ok, years = np.ones(len(words), bool), words.shape[1]
    none = TREATMENTS.index(NONE)
    for pin in (p for p in pins if p.field_id == field_id):
        is_it = words == TREATMENTS.index(pin.treatment) if pin.treatment is not None else words != none
        if pin.not_before is not None:
            ok &= ~is_it[:, : max(min(pin.not_before - first_year, years), 0)].any(axis=1)
        if pin.year is not None:
            ok &= is_it[:, pin.year - first_year]
        elif pin.not_before is None:
            ok &= is_it.any(axis=1)
    return ok


def priced(of: Field, words: np.ndarray, terms: Terms) -> Priced:
    """Every schedule of a field with its loss and what it takes."""
    hours = of.prices[LEVEL].hours if LEVEL in of.prices else np.nan
    found = course(of.state, words, terms.levelling, hours)
    money, crew, tonnes = means(words, found, of.prices, terms.escalation, terms.contingency)
    parts = losses(of.state, found, terms.discount)
    offered = np.isfinite(money).all(axis=1) & np.isfinite(crew).all(axis=1)
    allowed = offered & obeyed(terms.pins, of.state.field_id, words, terms.first_year) & remedied(of.state, words, found)
    return Priced(Choice(of.state.field_id, of.site, parts.sum(axis=(1, 2)), money, crew, words, allowed), found, parts, tonnes)


def redrawn(of: Field, state: State, factor: Mapping[str, float], words: np.ndarray, terms: Terms) -> Choice:
    """The choice among some schedules under another state and other costs; all of them count as allowed."""
    dear = {w: replace(p, money=p.money * factor[w], money_per_t=p.money_per_t * factor[w]) for w, p in of.prices.items()}
    choice = priced(Field(state, of.site, dear), words, terms).choice
    return replace(choice, allowed=np.ones(len(words), bool))
