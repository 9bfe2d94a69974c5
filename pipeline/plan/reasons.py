"""Why a line of the plan stands as it does, as data; the words are the page's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from pipeline.plan.programme import Choice, Programme
from pipeline.plan.treatments import NONE, RESETS, TREATMENTS

FORCED, PINNED, BOUGHT, CREW, PAYS = "forced", "pinned", "bought", "crew", "pays"
RESTS, LATER, NOT_NEEDED, NO_MEANS, NOT_NOW, HELD, BENEATH = "rests", "later", "not_needed", "no_means", "not_now", "held", "beneath"
DOUBT = 0.25  # of what a line takes off: where less than this is left once condition and rates are known, a survey comes first (ours)
TOLD = 0.005  # points that print as something
LITTLE = 0.02  # a year's loss below this needs no work: a fiftieth of the tolerance over


@dataclass(frozen=True)
class Reason:
    """code      : one of the words above
    component    : what the line mends most, or what is worst where nothing is done
    saved        : loss over the plan that the line takes off; of a line without treatment what its best one would
    per_1000     : the same for each 1,000 of money, None where it takes no money
    treatment, year : of a line without treatment: its best one, or the one that comes in `year`
    other        : (field, treatment, per 1,000) that would have been the next best use of that year's money, or None
    sure         : what a line that takes money would take off were condition and rates known to be the likeliest, else None
    doubtful     : whether the line is so bought against not knowing rather than against what is known; safety and pins are not asked
    """

    code: str
    component: str = ""
    saved: float = 0.0
    per_1000: float | None = None
    treatment: str = ""
    year: int | None = None
    other: tuple[str, str, float] | None = None
    sure: float | None = None
    doubtful: bool = False


@dataclass(frozen=True)
class Swap:
    """Another schedule for one field that differs in one year only."""

    field: int
    schedule: int
    treatment: str
    saved: float
    money: float

    @property
    def per_1000(self) -> float | None:
        return 1000 * self.saved / self.money if self.money > 0 else None


def instead(programme: Programme, picks: Sequence[int], i: int, t: int) -> list[Swap]:
    """Field i with another treatment in year t and all else as picked; saved: loss it takes off, negative where it adds."""
    c, s = programme.choices[i], picks[i]
    others = np.delete(np.arange(c.words.shape[1]), t)
    alike = np.flatnonzero(np.isfinite(c.cost).all(axis=1) & (c.words[:, others] == c.words[s][others]).all(axis=1))
    return [Swap(i, int(k), TREATMENTS[c.words[k, t]], float(c.loss[s] - c.loss[k]), float(c.cost[k].sum() - c.cost[s].sum())) for k in alike if k != s]


def given_up(programme: Programme, picks: Sequence[int], t: int, i: int, money: float = np.inf) -> tuple[str, str, float] | None:
    """The best use of year t's money that the plan leaves: most loss off for each 1,000, of fields other than i, for no more than `money`."""
    bare = TREATMENTS.index(NONE)
    found = [w for j, c in enumerate(programme.choices) if j != i and c.words[picks[j], t] == bare for w in instead(programme, picks, j, t)
             if programme.choices[j].allowed[w.schedule] and 0 < w.money <= money and w.saved > LITTLE and w.per_1000 > max(TOLD, programme.worth)]  # fmt: skip
    best = max(found, key=lambda w: (w.per_1000, -w.field), default=None)
    return (programme.choices[best.field].field_id, best.treatment, best.per_1000) if best else None


def reason(programme: Programme, picks: Sequence[int], i: int, t: int, parts: np.ndarray, names: Sequence[str], forced: bool, pinned: bool, sure: np.ndarray | None = None) -> Reason:
    """Why field i gets in year t what it gets.

    parts : (S, T, C) losses of its schedules by component, `names` theirs
    forced, pinned : whether safety or a pin asks for this line
    sure  : (S,) losses were condition and rates known, None where nobody asks
    """
    c, s = programme.choices[i], picks[i]
    done = TREATMENTS[c.words[s, t]]
    swaps = instead(programme, picks, i, t)
    if done == NONE:
        return _untreated(programme, picks, i, t, parts, names, swaps)
    bare = next((w for w in swaps if w.treatment == NONE), None)
    if bare is None:
        return Reason(PINNED if pinned else FORCED if forced else BOUGHT)
    off = (parts[bare.schedule] - parts[s]).sum(axis=0)
    saved, money = -bare.saved, -bare.money
    code = FORCED if forced else PINNED if pinned else CREW if c.cost[s, t] == 0 else PAYS if money <= 0 else BOUGHT
    spare = float(programme.means.money[t] - programme.spent(picks)[0][t])
    known = float(sure[bare.schedule] - sure[s]) if sure is not None and c.cost[s, t] > 0 else None
    doubtful = code in (BOUGHT, PAYS) and known is not None and 0 < saved and known < DOUBT * saved
    other = given_up(programme, picks, t, i, c.cost[s, t] + max(spare, 0.0)) if money > 0 else None
    return Reason(code, names[int(np.argmax(off))], saved, 1000 * saved / money if money > 0 else None, done, None, other, known, doubtful)


def _offered(c: Choice) -> list[str]:
    """Treatments that some allowed schedule of a field holds."""
    found = np.unique(c.words[c.allowed])
    return [w for k, w in enumerate(TREATMENTS) if k in found and w != NONE]


def _untreated(programme: Programme, picks: Sequence[int], i: int, t: int, parts: np.ndarray, names: Sequence[str], swaps: list[Swap]) -> Reason:
    c, s = programme.choices[i], picks[i]
    now = parts[s, t]
    worst = names[int(np.argmax(now))]
    later = [u for u in range(t + 1, programme.years) if TREATMENTS[c.words[s, u]] != NONE]
    if now.sum() < LITTLE:
        before = [u for u in range(t) if TREATMENTS[c.words[s, u]] != NONE]
        return Reason(RESTS, worst, treatment=TREATMENTS[c.words[s, before[-1]]], year=before[-1]) if before else Reason(NOT_NEEDED, worst)
    if later:
        return Reason(LATER, worst, treatment=TREATMENTS[c.words[s, later[0]]], year=later[0])
    useful = [w for w in swaps if w.saved > TOLD and c.allowed[w.schedule]]
    if not useful:
        held = [w for w in _offered(c) if worst in RESETS[w] and not any(w == k.treatment for k in swaps if c.allowed[k.schedule])]
        return Reason(HELD, worst, treatment=held[0]) if held else Reason(NOT_NOW, worst)
    best = max(useful, key=lambda w: (w.per_1000 if w.per_1000 is not None else np.inf, w.saved))
    money, hours = c.cost[best.schedule, t], c.hours[best.schedule, t]
    short = money > programme.means.money[t] or hours > programme.means.hours[t]
    beneath = programme.worth > 0 and best.per_1000 is not None and best.per_1000 < programme.worth
    return Reason(NO_MEANS if short else BENEATH if beneath else NOT_NOW, worst, best.saved, best.per_1000, best.treatment)
