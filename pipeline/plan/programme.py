"""The plan as a linear programme in whole numbers: one schedule a field, within each year's money and crew hours.

Rows: money a year; hours a year; a contractor's coming to a site, shared by its fields; a contractor's least order a year;
a share of what is spent for each site. Columns: schedules of fields, then the yes-or-no of each coming and each order.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Mapping, Sequence

import numpy as np

from pipeline.plan.treatments import TREATMENTS

MONEY_UNIT = 1000.0  # rows of money are in thousands: the solver likes figures near 1


@dataclass(frozen=True)
class Choice:
    """One field's schedules.

    loss : (S,); cost, hours : (S, T), what each takes; words : (S, T), places in TREATMENTS; allowed : (S,) bool, what pins
    and forced work leave
    """

    field_id: str
    site: str
    loss: np.ndarray
    cost: np.ndarray
    hours: np.ndarray
    words: np.ndarray
    allowed: np.ndarray


@dataclass(frozen=True)
class Means:
    """money, hours : (T,) what each year has; carry_over: whether money left goes on to the next year."""

    money: np.ndarray
    hours: np.ndarray
    carry_over: bool = False


@dataclass(frozen=True)
class Sharing:
    """mobilisation : treatment -> (T,) money a site and year in which it is done; lots: treatment -> (T,) least order over all
    fields in a year; equity: each site is spent at least this part of its even share on, by number of fields, 0 without."""

    mobilisation: Mapping[str, np.ndarray] = field(default_factory=dict)
    lots: Mapping[str, np.ndarray] = field(default_factory=dict)
    equity: float = 0.0


@dataclass(frozen=True)
class Programme:
    """worth: points that 1,000 of money must take off, by the owner, else it is left unspent; 0 where nobody says so."""

    choices: tuple[Choice, ...]
    means: Means
    sharing: Sharing = Sharing()
    worth: float = 0.0

    @property
    def years(self) -> int:
        return len(self.means.money)

    @property
    def sites(self) -> tuple[str, ...]:
        return tuple(sorted({c.site for c in self.choices}))

    @property
    def sides(self) -> list[tuple[str, str, int]]:
        """(site, treatment, year) of each coming of a contractor, then ('', treatment, year) of each least order."""
        shared = [k for k in TREATMENTS if k in self.sharing.mobilisation or k in self.sharing.lots]
        comes = [(g, k, t) for g in self.sites for k in shared for t in range(self.years)]
        return comes + [("", k, t) for k in TREATMENTS if k in self.sharing.lots for t in range(self.years)]

    def spent(self, picks: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
        """(T,) money, comings included, and (T,) hours of one schedule a field."""
        money = sum((c.cost[s] for c, s in zip(self.choices, picks)), np.zeros(self.years))
        hours = sum((c.hours[s] for c, s in zip(self.choices, picks)), np.zeros(self.years))
        for word, each in self.sharing.mobilisation.items():
            k = TREATMENTS.index(word)
            for site in self.sites:
                here = [c.words[s] == k for c, s in zip(self.choices, picks) if c.site == site]
                money = money + each * np.any(here, axis=0)
        return money, hours

    def within(self, picks: Sequence[int], slack: float = 0.005) -> bool:
        """Whether picks keep to every year's money (to half a cent) and hours."""
        money, hours = self.spent(picks)
        over = lambda used, has: np.any((np.cumsum(used) - np.cumsum(has) if self.means.carry_over else used - has) > slack)
        return not over(money, self.means.money) and not np.any(hours > self.means.hours + 1e-6)

    def fair(self, picks: Sequence[int], slack: float = 0.005) -> bool:
        """Whether picks keep to contractors' least orders and to each site's share, to half a cent."""
        done = [(c.site, c.cost[s], c.words[s]) for c, s in zip(self.choices, picks)]
        for word, least in self.sharing.lots.items():
            order = sum((np.where(w == TREATMENTS.index(word), cost, 0.0) for _, cost, w in done), np.zeros(self.years))
            ordered = np.any([w == TREATMENTS.index(word) for _, _, w in done], axis=0)
            if np.any(ordered & (order < least - slack)):
                return False
        whole, many = sum(cost.sum() for _, cost, _ in done), len(done)
        even = {g: self.sharing.equity * sum(site == g for site, _, _ in done) / many for g in self.sites}
        return all(sum(cost.sum() for site, cost, _ in done if site == g) >= even[g] * whole - slack for g in self.sites)

    def sound(self, picks: Sequence[int]) -> bool:
        """Whether picks are allowed and keep to every rule."""
        return all(c.allowed[s] for c, s in zip(self.choices, picks)) and self.within(picks) and self.fair(picks)

    def loss(self, picks: Sequence[int]) -> float:
        return float(sum(c.loss[s] for c, s in zip(self.choices, picks)))

    def aim(self, picks: Sequence[int]) -> float:
        """What is minimised: the loss, and what the money spent must be worth."""
        return self.loss(picks) + (self.worth * float(self.spent(picks)[0].sum()) / MONEY_UNIT if self.worth else 0.0)
