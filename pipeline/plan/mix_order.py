"""How much mix each site has to order: what its fields need, less what lies there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable, Mapping

Z95 = 1.96
MIX = "mix"


@dataclass(frozen=True)
class Ordered:
    """tonnes with 95 % ends, never under none; in_stock: tonnes taken off; untold: fields whose need nobody knows."""

    site: str
    tonnes: float
    low95: float
    high95: float
    in_stock: float
    untold: tuple[str, ...]


def stock_of(rows: Iterable[Mapping]) -> dict[str, float]:
    """Site -> tonnes of mix there by its newest row; materials whose name does not hold `mix` are something else."""
    out: dict[str, Mapping] = {}
    for row in rows:
        if MIX in row["material"].lower() and (row["site"] not in out or row["on"] >= out[row["site"]]["on"]):
            out[row["site"]] = row
    return {site: float(r["tonnes"]) for site, r in out.items()}


def orders(needed: Iterable[tuple[str, str, float | None, float]], stock: Mapping[str, float]) -> list[Ordered]:
    """An order for each site that needs any, or whose need is not known.

    needed : field, site, tonnes (None where not known), one s.d.
    The s.d. of a site's fields are added as if they erred alike: they share the mix's density.
    """
    sites: dict[str, list[tuple[str, float | None, float]]] = {}
    for field_id, site, tonnes, sigma in needed:
        sites.setdefault(site, []).append((field_id, tonnes, sigma))
    out = []
    for site in sorted(sites):
        known = [(t, s) for _, t, s in sites[site] if t is not None]
        total, half, held = sum(t for t, _ in known), Z95 * sum(s for _, s in known), stock.get(site, 0.0)
        untold = tuple(sorted(f for f, t, _ in sites[site] if t is None))
        if total > 0 or untold:
            out.append(Ordered(site, *(max(v - held, 0.0) for v in (total, max(total - half, 0.0), total + half)), min(held, total), untold))
    return out
