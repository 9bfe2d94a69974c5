"""Figures against limits: a share's limit holds if the share is inside it or its 95 % binomial interval reaches it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import beta

INSIDE = 1.959964


@dataclass(frozen=True)
class Share:
    """`hits` of `n`, and its 95 % interval (Clopper & Pearson 1934, from memory: beta quantiles)."""

    hits: int
    n: int

    @property
    def value(self) -> float:
        return self.hits / self.n if self.n else float("nan")

    @property
    def interval(self) -> tuple[float, float]:
        low = float(beta.ppf(0.025, self.hits, self.n - self.hits + 1)) if self.hits else 0.0
        high = float(beta.ppf(0.975, self.hits + 1, self.n - self.hits)) if self.hits < self.n else 1.0
        return low, high

    def holds(self, low: float, high: float) -> bool:
        """Whether limits hold, as this module's head says."""
        if not self.n:
            return False
        mine = self.interval
        return mine[0] <= high and mine[1] >= low

    def __str__(self) -> str:
        low, high = self.interval
        return f"{self.value:.3f} [{low:.3f}, {high:.3f}]"


@dataclass(frozen=True)
class Errors:
    """What was read, true and claimed (one s.d.), each (n,), mm."""

    read: np.ndarray
    true: np.ndarray
    sigma: np.ndarray

    @staticmethod
    def of(triples) -> Errors:
        return Errors(*np.array(triples, float).reshape(-1, 3).T)

    @property
    def n(self) -> int:
        return len(self.read)

    @property
    def rmse(self) -> float:
        return float(np.sqrt(np.mean((self.read - self.true) ** 2)))

    @property
    def bias(self) -> float:
        return float(np.mean(self.read - self.true))

    @property
    def claimed(self) -> float:
        return float(np.sqrt(np.mean(self.sigma**2)))

    @property
    def cover(self) -> Share:
        return Share(int(np.sum(np.abs(self.read - self.true) < INSIDE * self.sigma)), self.n)


class Table:
    """Prints lines and remembers which limits were missed."""

    def __init__(self, out=print) -> None:
        self.out = out
        self.missed: list[str] = []

    def line(self, name: str, words: str, limits: dict[str, bool] | None = None) -> None:
        """limits : the limit in words, and whether it holds."""
        said = []
        for limit, holds in (limits or {}).items():
            said.append(f"{limit} {'ok' if holds else 'MISSED'}")
            if not holds:
                self.missed.append(f"{name}: {limit}")
        self.out(f"  {name:<34} {words}{'   ' if said else ''}{'; '.join(said)}")

    def errors(self, name: str, e: Errors, rmse=None, bias=None, cover=None) -> None:
        if not e.n:
            return
        limits = {}
        if rmse is not None:
            limits[f"rmse <= {rmse:g}"] = e.rmse <= rmse
        if bias is not None:
            limits[f"|bias| <= {bias:g}"] = abs(e.bias) <= bias
        if cover is not None:
            limits[f"cover {cover[0]:g}-{cover[1]:g}"] = e.cover.holds(*cover)
        self.line(name, f"n {e.n:5d}  rmse {e.rmse:6.2f}  bias {e.bias:+6.2f}  claimed {e.claimed:6.2f}  cover {e.cover}", limits)

    def share(self, name: str, s: Share, low: float = 0.0, high: float = 1.0) -> None:
        limits = {} if (low, high) == (0.0, 1.0) else {f"limit {low:g}-{high:g}": s.holds(low, high)}
        self.line(name, f"n {s.n:5d}  {s}", limits)
