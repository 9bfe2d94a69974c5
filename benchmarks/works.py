"""Planted work against what the records say of it: is what was planted inside the printed interval?

    .venv/bin/skinplane run demo_inputs && .venv/bin/python benchmarks/works.py

Reads results/, build/ and demo_inputs/clouds/truth/. Prints the work worth a record of its own, figure by figure, then
for each measure over all works how many of the 95 % intervals hold the truth, then the as-built places.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

from benchmarks.truth import Z95, number, rows  # noqa: E402
from pipeline.diamond.carry import from_plain
from pipeline.surface.masks import masks_of
from pipeline.surface.slope import zone_plane
from pipeline.surface.survey_error import SurveyError
from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY
from pipeline.works.as_built import off_form
from pipeline.works.place_means import place_means

SHOWN = {"moth-05", "moth-07", "sorrel-04", "sorrel-05", "two-lamps-03", "two-lamps-05"}


@dataclass(frozen=True)
class Demo:
    """The folders of a finished run; z of the truth on the field's grid."""

    results: Path
    build: Path
    truth: Path

    @cache
    def of(self, survey: str, field: str) -> dict:
        return json.loads((self.truth / f"{survey}--{field}.json").read_text())

    @cache
    def layout(self, field: str):
        return from_plain(json.loads((self.build / "layout" / f"{field}.json").read_text()))

    @cache
    def z(self, survey: str, field: str) -> np.ndarray:
        with np.load(self.truth / f"{survey}--{field}.npz") as held:
            return held["z"].astype(float)

    @cache
    def planarity(self, survey: str, field: str) -> float:
        """Root mean square of 0.5 m block medians off the skin's robust plane, mm, without noise."""
        layout = self.layout(field)
        z = self.z(survey, field)
        left = zone_plane(z, np.full(z.shape, 1e-6), layout.grid, masks_of(layout).even).residual
        return 1000 * float(np.sqrt(np.nanmean(left**2)))


def planted(demo: Demo, field: str, r: dict) -> float:
    """What truly changed between the two surveys of a row; NaN where the truth has no such figure."""
    a, b = (demo.of(r[k], field) for k in ("from_survey", "to_survey"))
    if r["measure"] == "ring_depth":
        values = [t["places"].get(r["place"]) for t in (a, b)]
        return math.nan if None in values or r["place"] == "landing" else values[1] - values[0]
    if r["measure"] in ("mean_height", "volume"):
        zones = [t["zones"].get(r["place"]) for t in (a, b)]
        gained = 1000 * (zones[1]["mean_height_m"] - zones[0]["mean_height_m"])
        return gained if r["measure"] == "mean_height" else gained / 1000 * zones[0]["area_m2"]
    if r["measure"] == "lip":
        edges = [t["edges"].get(r["place"]) for t in (a, b)]
        if None in edges:
            return math.nan
        used = np.array(edges[0]["usable"], bool)
        return float((np.array(edges[1]["lip_mm"]) - np.array(edges[0]["lip_mm"]))[used].mean())
    if r["measure"] == "planarity" and r["place"] == "skin":
        return demo.planarity(r["to_survey"], field) - demo.planarity(r["from_survey"], field)
    return math.nan


def records(demo: Demo) -> tuple[list[tuple], dict[str, list[bool]]]:
    """Lines of the works worth a record, and for every measure whether each interval holds the truth."""
    lines, held = [], defaultdict(list)
    for folder in sorted((demo.results / "fields").iterdir()):
        done = set()  # a pair shared by several works counts once
        for r in rows(folder / "works_record.csv"):
            found, sigma, true = number(r["change"]), number(r["change_sigma"]), planted(demo, folder.name, r)
            if not math.isfinite(found + sigma + true):
                continue
            inside = abs(found - true) <= Z95 * sigma
            key = r["from_survey"], r["to_survey"], r["measure"], r["place"]
            if key not in done:
                done.add(key)
                held[r["measure"]].append(inside)
            if r["work_id"] in SHOWN:
                lines.append((r["work_id"], r["measure"], r["place"], true, found, Z95 * sigma, r["unit"], r["detected"], inside))
    return lines, held


def built(demo: Demo) -> list[str]:
    """As-built places against the true surface's own deviations from its best-fitting plane."""
    out = []
    for folder in sorted((demo.results / "fields").iterdir()):
        field, found = folder.name, rows(folder / "as_built.csv")
        for work in sorted({r["work_id"] for r in found}):
            mine = {r["place"]: r for r in found if r["work_id"] == work}
            record = next(w for w in json.loads((demo.build / "works" / f"{field}.json").read_text())["works"] if w["work_id"] == work)
            layout, survey = demo.layout(field), record["as_built"]["survey"]
            z = demo.z(survey, field)
            white = np.full(z.shape, 1e-6)
            means = place_means(z, white, layout.grid, masks_of(layout).even, SurveyError.of(GOOD_PHOTOGRAMMETRY, layout.centre))
            e, n = layout.centre
            true = dict(zip(means.names, 1000 * off_form(means.value, means.covariance, np.column_stack([np.ones(len(means.e)), means.e - e, means.n - n])).value))
            off = np.array([(float(r["deviation_mm"]) - true[p], float(r["sigma_mm"]), true[p]) for p, r in mine.items() if p in true])
            tolerance = record["as_built"]["tolerance_mm"]
            words = [(r["verdict"], abs(true[p]) <= tolerance) for p, r in mine.items() if p in true]
            share, said = 100 * np.mean([w for _, w in words]), record["as_built"]["share"]
            out.append(
                f"{work}: {len(words)} places; error {off[:, 0].std():.1f} mm, claimed {off[:, 1].mean():.1f}; {100 * np.mean(np.abs(off[:, 0]) <= Z95 * off[:, 1]):.0f} % of intervals hold the truth; "
                f"within said of {sum(w == 'within' for w, _ in words)} ({sum(w == 'within' and not t for w, t in words)} wrongly), outside of {sum(w == 'outside' for w, _ in words)} "
                f"({sum(w == 'outside' and t for w, t in words)} wrongly); true share {share:.1f} %, said {100 * said['value']:.1f} ({100 * said['low95']:.1f} to {100 * said['high95']:.1f})"
            )
    return out


def show(demo: Demo) -> str:
    lines, held = records(demo)
    out = [f"{'work':<14}{'measure':<14}{'place':<17}{'planted':>9}{'found':>9}{'+/- 95 %':>10} {'unit':<5}{'detected':<10}inside"]
    for work, measure, place, true, found, half, unit, detected, inside in lines:
        told = "  <" if not inside else ""
        out.append(f"{work:<14}{measure:<14}{place:<17}{true:>9.1f}{found:>9.1f}{half:>10.1f} {unit:<5}{detected:<10}{'yes' if inside else 'NO'}{told}")
    out += ["", f"{'measure, all works':<24}{'rows':>6}{'inside':>8}"]
    out += [f"{m:<24}{len(v):>6}{np.mean(v):>8.2f}" for m, v in sorted(held.items())]
    return "\n".join([*out, "", *built(demo)])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--results", type=Path, default=Path("results"))
    parser.add_argument("--build", type=Path, default=Path("build"))
    parser.add_argument("--truth", type=Path, default=Path("demo_inputs/clouds/truth"))
    given = parser.parse_args()
    print(show(Demo(given.results, given.build, given.truth)))
