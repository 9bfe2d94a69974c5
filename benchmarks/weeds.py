"""Plants on the skin: how many of them are found, how much clean skin is taken for them, and what they do to the change.

    python benchmarks/weeds.py                 3 runs a condition, some 4 minutes on a free core
    python benchmarks/weeds.py --runs 20       the table
    python benchmarks/weeds.py --seed 9000     seeds on which nothing was chosen (8000 and up: the tests' own; 1-99: tuning)

Each run flies a piece of skin twice: clean, then with plants of 20-80 mm over 5, 20 or 60 % of it, chalk, shade, wet mix and
clods in both. The second flight is also flown
without plants, point by point the same. Nothing happened to the ground, so every gain that is called detected is false; one that the flight without
plants shows too is the noise's (2.5 % of runs, of places each by itself), the others are the plants'. The tie is perfect, which leaves
false gains the least to hide behind. `mm left`: what plants add to the mean of the cells that are left in.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy import ndimage

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.weedy_skin import GRID, NOISES, Scene, Seen, place, survey  # noqa: E402

from pipeline.change.difference import Change  # noqa: E402
from pipeline.change.zones import zone_changes  # noqa: E402
from pipeline.surface.masks import Masks  # noqa: E402
from pipeline.surface.spot_change import low_spot_change  # noqa: E402
from pipeline.surface.ponds import find_ponds  # noqa: E402
from pipeline.surface.survey_error import SurveyError  # noqa: E402
from pipeline.survey.cells.plants import Plants, plants  # noqa: E402
from pipeline.survey.noise import of_difference  # noqa: E402
from pipeline.survey.stable.tie import reference  # noqa: E402
from pipeline.survey.stable.uncertainty import TieOnGrid, Uncertainty  # noqa: E402

MOST_COVERED = 0.30  # of a zone under plants: beyond, it is not judged
PLACES = tuple(place(e, n, f"place-{k}") for k, (e, n) in enumerate(((7.0, 7.0), (12.0, 16.0), (17.0, 12.0))))
CONDITIONS = {
    "good": Scene("good"), "weak": Scene("weak"), "good, dormant turf": Scene("good", dormant=True),
    "lidar, intensity": Scene("lidar", carries="intensity"),
    "good, thin cover 15-40 %": Scene("good", cover=(0.15, 0.40)),
    "good, brown plants": Scene("good", dead=True),
    "good, no colour": Scene("good", carries=""), "lidar, no intensity": Scene("lidar", carries=""),
}  # fmt: skip
SHARES = (0.05, 0.20, 0.60)


@dataclass(frozen=True)
class Run:
    """recall: of cells with a fifth or more under plants; false: of cells clear of them; gain: whether any zone is said to have
    gained; spots: share of the judged places that are, NaN where none is judged; gain_bare: whether the flight without plants shows
    the zones gain too; gain_before: with plants left in; left_mm: mean height that plants add to cells left in; closed: the skin as
    a whole was not judged."""

    true: float
    share: tuple[float, float, float]
    recall: float
    false: float
    gain: bool
    spots: float
    gain_bare: bool
    gain_before: bool
    left_mm: float
    closed: bool
    told_by: str


def looked(seen: Seen) -> Plants:
    return plants(seen.ground, GRID, seen.gridded.z, seen.skin, seen.turf, seen.beside)


def zones() -> dict[str, np.ndarray]:
    e, n = GRID.mesh()
    x, y = e - GRID.west, n - GRID.south
    skin = (x > 3) & (x < 21)
    out = {"skin": skin} | {p.place_id: np.hypot(e - p.e, n - p.n) < 0.9 for p in PLACES}
    return out | {"short-stop": skin & (np.abs(x - 9) < 2) & (np.abs(y - 18) < 2), "slide": skin & (np.abs(x - 15) < 0.6) & (np.abs(y - 9) < 2.5)}


def gains(scene: Scene, first: Seen, second: Seen, found: tuple[Plants, Plants] | None) -> tuple[bool, float, bool]:
    """Whether any zone is said to have gained, the share of judged places that are, and whether the skin was left unjudged."""
    z = [s.gridded.z for s in (first, second)]
    closed, hidden = {}, (0.0, 0.0)
    if found is not None:
        z = [np.where(p.cells, np.nan, h) for p, h in zip(found, z)]
        hidden = tuple(p.hidden_m for p in found)
        closed = {k: "weeds" for k, cells in zones().items() if max(p.share(cells)[0] for p in found) > MOST_COVERED}
    noise = of_difference(*(NOISES[scene.source],) * 2)
    centre = (GRID.west + 12.0, GRID.south + 12.0)
    dz = z[1] - z[0]
    white = np.where(np.isfinite(dz), np.hypot(first.gridded.white, second.gridded.white), np.nan)
    change = Change(GRID, dz, Uncertainty(GRID, noise, white, TieOnGrid(reference(centre), GRID)))
    told, _ = zone_changes(change, zones(), closed, hidden)
    none = np.zeros(GRID.shape, bool)
    skin = zones()["skin"]
    masks = Masks(skin, none, none, none, none)
    mean = find_ponds(sum(z) / 2, GRID, skin, skin)
    spots = low_spot_change(dz, white, mean, GRID, masks, PLACES, (), SurveyError(noise, centre, np.zeros((4, 4))), hidden[1])
    judged = [s.detected and s.depth_change_mm < 0 for s in spots if np.isfinite(s.depth_change_mm)]
    return any(t.detected and t.mean_m > 0 for t in told), float(np.mean(judged)) if judged else float("nan"), bool(closed.get("skin"))


def one(scene: Scene, seed: int) -> Run:
    first, second = survey(replace(scene, share=0.0), seed, 0), survey(scene, seed, 1)
    found = looked(first), looked(second)
    plant, asked = found[1], found[1].asked
    weedy, clear = (second.over > 0.2) & asked, asked & ~ndimage.binary_dilation(second.over > 0.0, np.ones((3, 3)), 3)
    gain, spots, closed = gains(scene, first, second, found)
    bare = survey(scene, seed, 1, bare=True)
    same = (found[0], plant)  # the same cells left out: only the plants' height differs
    left = asked & ~plant.cells
    left_mm = 1000 * float(np.nanmean((second.gridded.z - bare.gridded.z)[left]))
    gain_bare, gain_before = gains(scene, first, bare, same)[0], gains(scene, first, second, None)[0]
    false = float(np.mean(np.r_[found[0].cells[found[0].asked], plant.cells[clear]]))
    recall = float(plant.cells[weedy].mean()) if weedy.any() else float("nan")
    true = float((second.over > 0.2)[asked].mean())
    return Run(true, plant.share(asked), recall, false, gain, spots, gain_bare, gain_before, left_mm, closed, plant.told_by)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--seed", type=int, default=9000)
    parser.add_argument("--only", choices=tuple(CONDITIONS))
    asked = parser.parse_args()
    print(f"seeds {asked.seed}..{asked.seed + asked.runs - 1}; cells: share of all. Limits: false gains 5 % of runs, clean skin 1 % of cells")
    print(f"{'condition':26s} {'plants':>6s} {'told by':>9s} {'true':>6s} {'found':>6s} {'95 %':>13s} {'in it':>6s} {'recall':>6s} {'clean':>7s} "
          f"{'zones gain':>10s} {'by plants':>9s} {'places gain':>11s} {'mm left':>7s} {'plants left in':>14s} {'skin closed':>11s}")  # fmt: skip
    for label, scene in CONDITIONS.items():
        if asked.only and label != asked.only:
            continue
        for share in SHARES:
            runs = [one(replace(scene, share=share), asked.seed + k) for k in range(asked.runs)]
            mean = lambda name: np.nanmean([getattr(r, name) for r in runs])  # noqa: E731
            percent = lambda name: f"{100 * mean(name):.0f}%" if np.isfinite([getattr(r, name) for r in runs]).any() else "-"  # noqa: E731
            by_plants = np.mean([r.gain and not r.gain_bare for r in runs])
            found, low, high = (np.mean([r.share[k] for r in runs]) for k in range(3))
            inside = np.mean([r.share[1] <= r.true <= r.share[2] for r in runs])
            recall = f"{mean('recall'):6.3f}"
            print(f"{label:26s} {share:6.2f} {runs[0].told_by or '-':>9s} {mean('true'):6.3f} {found:6.3f} {low:6.3f}-{high:6.3f} {inside:6.2f} {recall} "
                  f"{100 * mean('false'):6.3f}% {100 * mean('gain'):9.0f}% {100 * by_plants:8.0f}% {percent('spots'):>11s} {mean('left_mm'):+7.2f} {100 * mean('gain_before'):13.0f}% {100 * mean('closed'):10.0f}%", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
