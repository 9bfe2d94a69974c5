"""How much mix each site has to order: what its fields need, less what lies there."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Iterable, Mapping

Z95 = 1.96
MIX = "mix"


@dataclass(frozen=True)
class Stock:
    """Tonnes of mix at a site, and the day they were counted: of several kinds the one counted longest ago."""

    tonnes: float
    on: dt.date


@dataclass(frozen=True)
class Wanted:
    """What one field needs: tonnes, None where not known, one s.d.; why: `thin`, its skin to the least depth, or `fill`, its low spots."""

    field_id: str
    site: str
    tonnes: float | None
    sigma: float
    why: str = ""


@dataclass(frozen=True)
class Ordered:
    """tonnes with 95 % ends, never under none; needed: what the fields want, of which tonnes is what no stock covers; stock: what
    lies there, None where stock.csv has no row; added_on: the newest day mix was added there, where that is after the count;
    untold: fields whose need nobody knows."""

    site: str
    tonnes: float
    low95: float
    high95: float
    needed: float
    wanted: tuple[Wanted, ...] = ()
    stock: Stock | None = None
    added_on: dt.date | None = None
    untold: tuple[str, ...] = ()

    @property
    def in_stock(self) -> float:
        """Tonnes taken off."""
        return min(self.stock.tonnes, self.needed) if self.stock is not None else 0.0


def stock_of(rows: Iterable[Mapping]) -> dict[str, Stock]:
    """Mix at each site by the newest row of each of its materials; materials whose name does not hold `mix` are something else."""
    newest: dict[tuple[str, str], Mapping] = {}
    for row in rows:
        key = row["site"], row["material"].strip().lower()
        if MIX in key[1] and (key not in newest or row["on"] >= newest[key]["on"]):
            newest[key] = row
    sites = sorted({site for site, _ in newest})
    held = {s: [r for (site, _), r in newest.items() if site == s] for s in sites}
    return {s: Stock(float(sum(r["tonnes"] for r in found)), min(r["on"] for r in found)) for s, found in held.items()}


def orders(wanted: Iterable[Wanted], stock: Mapping[str, Stock], added: Mapping[str, dt.date] | None = None) -> list[Ordered]:
    """An order for each site that needs any, or whose need is not known.

    added : site -> the newest day mix was added to a field of it
    The s.d. of a site's fields are added as if they erred alike: they share the mix's density.
    """
    sites: dict[str, list[Wanted]] = {}
    for w in wanted:
        sites.setdefault(w.site, []).append(w)
    out = []
    for site in sorted(sites):
        known = tuple(sorted((w for w in sites[site] if w.tonnes), key=lambda w: (-w.tonnes, w.field_id)))
        total, half, held = sum(w.tonnes for w in known), Z95 * sum(w.sigma for w in known), stock.get(site)
        untold = tuple(sorted(w.field_id for w in sites[site] if w.tonnes is None))
        if total > 0 or untold:
            ends = (max(v - (held.tonnes if held else 0.0), 0.0) for v in (total, max(total - half, 0.0), total + half))
            day = (added or {}).get(site)
            out.append(Ordered(site, *ends, total, known, held, day if held is not None and day is not None and day > held.on else None, untold))
    return out
