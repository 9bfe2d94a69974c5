"""How well a share is known from a count."""

from __future__ import annotations


def share_range(hits: int, count: int) -> tuple[float, float]:
    """95 % range of a share of which `hits` of `count` drawn were hit.

    source: Clopper & Pearson 1934 (from memory): exact for a share, ends from beta quantiles
    """
    from scipy.stats import beta

    low = beta.ppf(0.025, hits, count - hits + 1) if hits else 0.0
    high = beta.ppf(0.975, hits + 1, count - hits) if hits < count else 1.0
    return float(low), float(high)
