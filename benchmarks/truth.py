"""What the demo's results say against the truth its clouds were made from: error and coverage of every claimed interval.

    .venv/bin/skinplane run demo_inputs && .venv/bin/python benchmarks/truth.py

Reads results/ and demo_inputs/clouds/truth/. Prints, per kind of figure: how many, root mean square error, mean error,
mean claimed s.d., and the share of 95 % intervals that hold the truth.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
from collections import defaultdict
from pathlib import Path

import numpy as np

Z95 = 1.959964


class Truth:
    """The truth files of one folder, opened once."""

    def __init__(self, folder: Path):
        self.folder, self._seen = folder, {}

    def of(self, survey: str, field: str) -> dict:
        key = f"{survey}--{field}"
        if key not in self._seen:
            self._seen[key] = json.loads((self.folder / f"{key}.json").read_text())
        return self._seen[key]


def rows(path: Path) -> list[dict]:
    with path.open(newline="") as stream:
        return list(csv.DictReader(stream))


def number(text: str) -> float:
    return float(text) if text else math.nan


def at_station(edge: dict, station: float, name: str) -> float:
    return edge[name][int(np.argmin(np.abs(np.array(edge["station_m"]) - station)))]


def lip(found, truth: Truth, field: str, folder: Path) -> None:
    for r in rows(folder / "lip.csv"):
        edge = truth.of(r["survey_id"], field)["edges"].get(r["edge_id"])
        if edge is None:
            continue
        if r["station_m"] == "":
            if r["calibration"] == "none" and not any(q["station_m"] for q in rows(folder / "lip.csv") if q["survey_id"] == r["survey_id"]):
                true = float(np.mean([p for p, u in zip(edge["rise_mm"], edge["usable"]) if u]))
                found["lip, rover, whole edge"].append((number(r["height_mm"]) - true, number(r["height_sigma_mm"])))
            continue
        true, kind = at_station(edge, float(r["station_m"]), "peak_mm"), at_station(edge, float(r["station_m"]), "kind")
        if r["kind"] != "not_enough_evidence":
            found["lip kind, of stations decided"].append((float(r["kind"] != kind), math.nan))
        if r["kind"] == "low_skin":
            continue
        name = "lip height, ruler on the edge" if r["calibration"] == "edge" else "lip height, no ruler on the edge"
        found[name].append((number(r["height_mm"]) - true, number(r["height_sigma_mm"])))
        found["lip fall"].append((number(r["fall_mm"]) - at_station(edge, float(r["station_m"]), "fall_mm"), number(r["fall_sigma_mm"])))


def growth(found, truth: Truth, field: str, folder: Path) -> None:
    for r in rows(folder / "lip_change.csv"):
        a, b = (truth.of(r[k], field)["edges"].get(r["edge_id"]) for k in ("from_survey", "to_survey"))
        if a is None or b is None:
            continue
        s = np.array(a["station_m"])
        used = np.array(a["usable"], bool)
        gained = np.array(b["lip_mm"]) - np.array(a["lip_mm"])
        if r["station_m"]:
            used &= np.abs(s - float(r["station_m"])) <= 2.5
        if not used.any():
            continue
        name = "lip growth, 5 m" if r["station_m"] else ("lip growth, whole edge >= 40 m" if used.sum() >= 38 else "lip growth, whole shorter edge")
        found[name].append((number(r["growth_mm"]) - float(gained[used].mean()), number(r["growth_sigma_mm"])))


def spots(found, truth: Truth, field: str, folder: Path) -> None:
    for r in rows(folder / "low_spots.csv"):
        true = truth.of(r["survey_id"], field)["places"].get(r["low_spot_id"])
        on_mound = "mound" in truth.of(r["survey_id"], field)["edges"] and r["low_spot_id"] == "landing"
        if true is not None and not on_mound:  # there the truth holds the mound's own shape, the figure does not
            found["ring depth of a declared place"].append((number(r["ring_depth_mm"]) - true, number(r["ring_depth_sigma_mm"])))
    for r in rows(folder / "low_spot_change.csv"):
        a, b = (truth.of(r[k], field)["places"].get(r["low_spot_id"]) for k in ("from_survey", "to_survey"))
        if a is not None and b is not None:
            found["change of ring depth"].append((number(r["depth_change_mm"]) - (b - a), number(r["depth_change_sigma_mm"])))


def change(found, truth: Truth, field: str, folder: Path) -> None:
    for r in rows(folder / "change.csv"):
        a, b = (truth.of(r[k], field)["zones"].get(r["zone"]) for k in ("from_survey", "to_survey"))
        if a is None or b is None or r["relative"] == "true":
            continue
        true = 1000 * (b["mean_height_m"] - a["mean_height_m"])
        kind = "skin" if r["zone"] == "skin" else "turf" if r["zone"] == "turf_infield" else "small zone"
        if kind == "turf":
            continue  # what a survey sees there is the grass
        found[f"mean change, {kind}"].append((number(r["mean_mm"]) - true, number(r["mean_sigma_mm"])))
        if kind == "skin":
            found["net volume of the skin, m3"].append((number(r["net_m3"]) - true / 1000 * a["area_m2"], number(r["net_sigma_m3"])))


def tie(found, truth: Truth, field: str, folder: Path) -> None:
    for path in sorted(folder.glob("surveys/*/survey.json")):
        record = json.loads(path.read_text())
        if record["verdict"] == "refused" or record["tie"]["model"] == "reference":
            continue
        mine, base = (truth.of(s, field)["added_by_survey"] for s in (record["survey_id"], record["baseline"]))
        true = base["mean_over_skin_mm"] - mine["mean_over_skin_mm"]
        name = "tie over the skin" if record["verdict"] == "absolute" else "tie over the skin, relative_only"
        found[name].append((record["figures"]["tie_shift_mm"] - true, record["figures"]["tie_shift_sigma_mm"]))
        if record["horizontal"]["known"]:
            for axis, word in (("e_mm", "east_mm"), ("n_mm", "north_mm")):
                found["sideways shift, each axis"].append((record["horizontal"][axis] - (base[word] - mine[word]), record["horizontal"]["sigma_mm"]))


def table(found: dict[str, list]) -> str:
    lines = [f"{'figure':<40}{'n':>6}{'rmse':>8}{'bias':>8}{'sigma':>8}{'cover':>8}"]
    for name, pairs in found.items():
        e = np.array([p for p in pairs if math.isfinite(p[0])])
        if not len(e):
            continue
        if name.startswith("lip kind"):
            lines.append(f"{name:<40}{len(e):>6}   wrong: {100 * e[:, 0].mean():.1f} %")
            continue
        cover = np.mean(np.abs(e[:, 0]) <= Z95 * e[:, 1])
        lines.append(f"{name:<40}{len(e):>6}{np.sqrt(np.mean(e[:, 0] ** 2)):>8.2f}{e[:, 0].mean():>8.2f}{e[:, 1].mean():>8.2f}{cover:>8.3f}")
    return "\n".join(lines)


def compare(results: Path, truth_folder: Path, fields: list[str] | None = None) -> dict[str, list]:
    truth, found = Truth(truth_folder), defaultdict(list)
    for folder in sorted((results / "fields").iterdir()):
        if fields is None or folder.name in fields:
            for part in (tie, change, lip, growth, spots):
                part(found, truth, folder.name, folder)
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--results", type=Path, default=Path("results"))
    parser.add_argument("--truth", type=Path, default=Path("demo_inputs/clouds/truth"))
    parser.add_argument("--fields", nargs="*")
    given = parser.parse_args()
    print(table(compare(given.results, given.truth, given.fields)))
