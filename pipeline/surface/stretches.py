"""One metre of edge held against the owner's limits, and consecutive metres that are alike as stretches a crew can walk to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Hashable, Mapping, Sequence

from pipeline.surface.verdict import UNKNOWN, WATCH, WORK, Verdict, judge

STATION_M = 1.0  # each row of lip.csv stands for so much edge
BRIDGE_M = 2.0  # a gap so short does not part a stretch: nobody lifts the blade for it
CANNOT_TELL_KIND = "lip, low skin or neither: the survey cannot tell"
LIP, LOW_SKIN, STEP = "lip", "low_skin", "step"


def judge_station(row: Mapping, tolerance_mm: float | None, trip_mm: float | None) -> Verdict:
    """One metre of edge, a row of lip.csv. A rise over the trip limit is unsafe whatever made it, and one well under the
    tolerance is good; between them, what to do is only known where lip and low skin can be told apart."""
    height, sigma = (float("nan") if row[k] is None else row[k] for k in ("height_mm", "height_sigma_mm"))
    found = judge(height, sigma, tolerance_mm, trip_mm, "lip_mm")
    if found.word in (WORK, WATCH) and row["kind"] == UNKNOWN:
        return Verdict(UNKNOWN, CANNOT_TELL_KIND, found.over_tolerance, found.over_trip)
    return found


def kind_of_edge(row: Mapping) -> str:
    """`lip` or `low_skin` as told; `step` where the ground rises and neither is known."""
    return row["kind"] if row["kind"] in (LIP, LOW_SKIN) else STEP


@dataclass(frozen=True)
class Stretch:
    """Part of an edge.

    from_m, to_m : its ends along the edge, m
    length_m     : edge in it that is as named, bridged gaps not counted, m
    members      : indices of its stations
    """

    from_m: float
    to_m: float
    length_m: float
    members: tuple[int, ...]

    def overlaps(self, other: Stretch, slack_m: float = 0.0) -> bool:
        return self.from_m - slack_m <= other.to_m and other.from_m - slack_m <= self.to_m


def stretches(
    stations: Sequence[float], labels: Sequence[Hashable | None], bridge_m: float = BRIDGE_M, step_m: float = STATION_M
) -> list[tuple[Hashable, Stretch]]:
    """Stretches of equal labels, in order of their start; None is no label.

    A stretch goes on over up to `bridge_m` of other stations. A closed line is not joined over its start, so that
    stations grow from one end of a stretch to the other.
    """
    out = []
    for label in dict.fromkeys(x for x in labels if x is not None):
        run: list[int] = []
        for k in (k for k, found in enumerate(labels) if found == label):
            if run and stations[k] - stations[run[-1]] > step_m + bridge_m + 1e-9:
                out.append((label, part(stations, run, step_m)))
                run = []
            run.append(k)
        out.append((label, part(stations, run, step_m)))
    return sorted(out, key=lambda pair: (pair[1].from_m, pair[1].to_m))


def part(stations: Sequence[float], run: list[int], step_m: float = STATION_M) -> Stretch:
    """The stretch from the first to the last of some stations, given by index in order; each stands for step_m."""
    half = step_m / 2
    return Stretch(max(stations[run[0]] - half, 0.0), stations[run[-1]] + half, step_m * len(run), tuple(run))
