"""One field as the plan sees it: its state, what each treatment costs on it, what pins and safety leave, and all its schedules priced."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Mapping, Sequence

import numpy as np

from pipeline.plan.condition import State
from pipeline.plan.programme import Choice, Means, Sharing
from pipeline.plan.schedules import Course, Levelling, Price, course, forced, losses, means, remedied
from pipeline.plan.treatments import LEVEL, NONE, REBUILD, TREATMENTS

TRIFLE = 0.005  # points of a whole plan: nobody is sent for less (ours)


@dataclass(frozen=True)
class Wanted:
    """A pin: `treatment` (None: any) in `year`, or not before `not_before`; with neither, sometime in the plan."""

    field_id: str
    treatment: str | None
    year: int | None
    not_before: int | None


@dataclass(frozen=True)
class Field:
    """prices: what is offered on it; missing: treatment -> why it is not offered; done: treatment -> the year of the plan it was
    last done in, 0 the first, so below 0 before the plan."""

    state: State
    site: str
    prices: Mapping[str, Price]
    missing: Mapping[str, str] = field(default_factory=dict)
    done: Mapping[str, int] = field(default_factory=dict)

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(w for w in TREATMENTS if w == NONE or w in self.prices)


@dataclass(frozen=True)
class Terms:
    """What holds for all fields. escalation, contingency, cost_sd: shares; discount: of a year's loss against the year before;
    apart: treatment -> least years from one to the next on a field, where the owner says so; worth: as of Programme."""

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
    apart: Mapping[str, int] = field(default_factory=dict)
    worth: float = 0.0


@dataclass(frozen=True)
class Priced:
    """A field's choice with what stands behind it. parts: (S, T, C) losses; tonnes: (S, T); sure: (S,) losses were its condition
    and its rates known to be what they most likely are."""

    choice: Choice
    found: Course
    parts: np.ndarray
    tonnes: np.ndarray
    sure: np.ndarray


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


def spaced(apart: Mapping[str, int], done: Mapping[str, int], words: np.ndarray, exempt: np.ndarray) -> np.ndarray:
    """(S,) bool: schedules that leave as many years between two treatments of a kind as the owner says; a rebuild counts as the
    treatment, too.

    done   : as of Field
    exempt : (T,) bool, years in which a treatment may come too soon: safety work and pins go before
    """
    ok = np.ones(len(words), bool)
    rebuilt = TREATMENTS.index(REBUILD)
    for word, least in sorted(apart.items()):
        k = TREATMENTS.index(word)
        last = np.full(len(words), max(done.get(word, -(10**6)), done.get(REBUILD, -(10**6))))
        for t in range(words.shape[1]):
            ok &= (words[:, t] != k) | (t - last >= least) | exempt[t]
            last = np.where((words[:, t] == k) | (words[:, t] == rebuilt), t, last)
    return ok


def _exempt(of: Field, terms: Terms, years: int) -> np.ndarray:
    pinned = {p.year - terms.first_year for p in terms.pins if p.field_id == of.state.field_id and p.year is not None and p.treatment != NONE}
    return np.array([t in pinned or t == 0 and bool(forced(of.state)) for t in range(years)])


def priced(of: Field, words: np.ndarray, terms: Terms, sure: bool = True) -> Priced:
    """Every schedule of a field with its loss and what it takes; without `sure` that is left 0."""
    hours = of.prices[LEVEL].hours if LEVEL in of.prices else np.nan
    found = course(of.state, words, terms.levelling, hours)
    money, crew, tonnes = means(words, found, of.prices, terms.escalation, terms.contingency)
    parts = losses(of.state, found, terms.discount)
    offered = np.isfinite(money).all(axis=1) & np.isfinite(crew).all(axis=1)
    known = replace(of.state, components={n: replace(c, sigma=0.0, rate_sigma=0.0) for n, c in of.state.components.items()})
    told = losses(known, course(known, words, replace(terms.levelling, sigma=0.0), hours), terms.discount).sum(axis=(1, 2)) if sure else np.zeros(len(words))
    offered &= spaced(terms.apart, of.done, words, _exempt(of, terms, words.shape[1]))
    allowed = offered & obeyed(terms.pins, of.state.field_id, words, terms.first_year) & remedied(of.state, words, found)
    return Priced(Choice(of.state.field_id, of.site, parts.sum(axis=(1, 2)), money, crew, words, allowed), found, parts, tonnes, told)


def redrawn(of: Field, state: State, factor: Mapping[str, float], words: np.ndarray, terms: Terms) -> Choice:
    """The choice among some schedules under another state and other costs; all of them count as allowed. Each piece of work is
    charged TRIFLE, so that a draw does not send anybody for what the plan would take out again."""
    dear = {w: replace(p, money=p.money * factor[w], money_per_t=p.money_per_t * factor[w]) for w, p in of.prices.items()}
    choice = priced(Field(state, of.site, dear), words, terms, sure=False).choice
    return replace(choice, loss=choice.loss + TRIFLE * (words != TREATMENTS.index(NONE)).sum(axis=1), allowed=np.ones(len(words), bool))
