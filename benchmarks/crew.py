"""What the crew's season loses by being laid out greedily: against the exact optimum, on small invented seasons.

    python benchmarks/crew.py                   40 seasons of each kind; about a minute
    python benchmarks/crew.py --seasons 200 --seed 1

A season: two weeks of five days, two or three sites by road with loading, four to eight works. The cost: expected excess over the
tolerances times the share of the season it waits (1 where it is never done), unsafe places a thousandfold, a missed turn of
upkeep thirty. The optimum is a mixed-integer programme over which sites a day's round goes by and how many hours each work gets;
hours may be cut there as finely as wanted, so it is a bound that no crew could quite keep.

Printed: mean and worst cost over the optimum, share of seasons within 5 %, turns missed, hours on the road.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pipeline.plan.roads import Roads  # noqa: E402
from pipeline.plan.season import plan_season  # noqa: E402
from pipeline.plan.season_days import REPAIR, UNSAFE, UPKEEP, Need, Season, waited, working_days  # noqa: E402

MONDAY = dt.date(2026, 4, 13)
WEIGHT = {UNSAFE: 1000.0, REPAIR: 1.0}
TURN = 30.0
KINDS = ("repair", "unsafe", "upkeep", "tight")


def drawn(rng: np.random.Generator, kind: str) -> tuple[list[Need], Season]:
    sites = ["a", "b", "c"][: rng.integers(2, 4)]
    roads = Roads({(x, y): float(rng.integers(8, 45)) for x, y in combinations(["yard", *sites], 2)}, {"yard": 10.0})
    days = working_days(MONDAY, MONDAY + dt.timedelta(weeks=1), ("mon", "tue", "wed", "thu", "fri"))
    needs = []
    for k in range(rng.integers(4, 9)):
        rank = UNSAFE if kind == "unsafe" and k < 2 else REPAIR
        needs.append(Need(f"f{k}", str(rng.choice(sites)), "level", float(rng.uniform(0.5, 9 if kind != "tight" else 14)), rank, float(rng.gamma(1.5, 0.6)) + 0.01, days[0], why=str(k)))
    if kind in ("upkeep", "tight"):
        for week in (0, 1):
            start = MONDAY + dt.timedelta(weeks=week)
            needs += [Need(f"f{k}", str(rng.choice(sites)), "drag", 0.7, UPKEEP, None, start, start + dt.timedelta(days=6), f"u{k}{week}") for k in range(4)]
    return needs, Season(days, 4.0 if kind == "tight" else 6.5, "yard", roads)


def cost(needs: list[Need], done, season: Season) -> float:
    ends = {d.need: d.on for d in done if d.last}
    return sum(TURN * (n not in ends) if n.rank == UPKEEP else WEIGHT[n.rank] * n.excess * waited(ends.get(n), season) for n in needs)


def optimum(needs: list[Need], season: Season) -> float:
    """The least cost: MILP to the end."""
    sites = sorted({n.site for n in needs})
    rounds = [r for k in range(1, len(sites) + 1) for r in combinations(sites, k)]
    road = {r: min(sum(season.roads.hours(a, b) for a, b in zip((season.yard, *p), (*p, season.yard))) for p in permutations(r)) for r in rounds}
    days, count = season.days, len(needs)
    v, h, f = (np.arange(n).reshape(shape) + at for n, shape, at in (
        (len(days) * len(rounds), (len(days), len(rounds)), 0), (count * len(days), (count, len(days)), len(days) * len(rounds)),
        (count * len(days), (count, len(days)), len(days) * len(rounds) + count * len(days))))  # fmt: skip
    size = v.size + h.size + f.size
    c, rows, low, high = np.zeros(size), [], [], []

    def add(pairs, lo, hi):
        row = np.zeros(size)
        for at, value in pairs:
            row[at] += value
        rows.append(row), low.append(lo), high.append(hi)

    for d in range(len(days)):
        add([(v[d, r], 1.0) for r in range(len(rounds))], 0, 1)
        add([(h[n, d], 1.0) for n in range(count)] + [(v[d, r], road[rounds[r]] - season.hours_per_day) for r in range(len(rounds))], -np.inf, 0)
        for n, need in enumerate(needs):
            open_ = need.earliest <= days[d] and (need.latest is None or days[d] <= need.latest)
            add([(h[n, d], 1.0)] + [(v[d, r], -season.hours_per_day * open_) for r in range(len(rounds)) if need.site in rounds[r]], -np.inf, 0)
            add([(h[n, k], 1.0) for k in range(d + 1)] + [(f[n, k], -need.hours) for k in range(d + 1)], 0, np.inf)
            if need.rank == UPKEEP:
                add([(h[n, d], 1.0), (f[n, d], -need.hours)], 0, 0)  # whole or not at all
            c[f[n, d]] = -TURN if need.rank == UPKEEP else WEIGHT[need.rank] * need.excess * (waited(days[d], season) - 1.0)
    for n in range(count):
        add([(f[n, d], 1.0) for d in range(len(days))], 0, 1)
    integral = np.ones(size)
    integral[h.ravel()] = 0
    upper = np.ones(size)
    upper[h.ravel()] = season.hours_per_day
    found = milp(c, constraints=LinearConstraint(np.array(rows), low, high), integrality=integral, bounds=Bounds(0, upper), options={"time_limit": 20, "mip_rel_gap": 1e-3})
    return sum(TURN if n.rank == UPKEEP else WEIGHT[n.rank] * n.excess for n in needs) + found.mip_dual_bound


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seasons", type=int, default=40)
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    given = asked.parse_args()
    print(f"{'':8s}{'mean':>8s}{'worst':>8s}{'within 5 %':>12s}{'turns missed':>14s}{'road, h':>9s}")
    for kind in given.kinds:
        over, missed, road = [], 0, 0.0
        for k in range(given.seasons):
            needs, season = drawn(np.random.default_rng([given.seed, k, KINDS.index(kind)]), kind)
            done, left = plan_season(needs, season)
            best = optimum(needs, season)
            over.append(cost(needs, done, season) / max(best, 1e-9))
            missed += sum(x.need.rank == UPKEEP for x in left)
            road += sum(d.travel_hours for d in done)
        print(f"{kind:8s}{np.mean(over):8.3f}{max(over):8.3f}{np.mean(np.array(over) <= 1.05):12.2f}{missed:14d}{road / given.seasons:9.1f}", flush=True)


if __name__ == "__main__":
    main()
