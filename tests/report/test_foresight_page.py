"""The page of `foresee`: is it fine enough for the owner, which pads are worth their concrete, where they lie, how long a walk takes."""

from __future__ import annotations

import math
import re

import pytest

from pipeline.change.foresight import EdgeSeen, Foresight, PatchTried, PlaceSeen
from pipeline.report.foresight_page import Asked, foresight_page, worth
from pipeline.survey.walks.walk_plan import Planned
from report.scene import WORDS, config, layout

NAN = float("nan")
ASKED = Asked("Mill Pond Field", "", "photogrammetry", 30.0, 30.0, "")


def foreseen(sigma=0.005, codes=(), part=0.010, whole=0.006, depth=0.008) -> Foresight:
    edges = (EdgeSeen("outer", 40.0, whole, part), EdgeSeen("home", 9.0, whole, 0.010))
    places = (PlaceSeen("first", depth, depth, ""), PlaceSeen("second", 0.008, 0.011, ""), PlaceSeen("landing", NAN, NAN, "too little skin"))
    return Foresight(900.0, ("home-plate", "dugout-first"), sigma, codes, 0.01, 9.0, edges, places)


def at(x: float, y: float) -> tuple[float, float]:
    """A point in diamond axes, as east and north."""
    e, n = layout().axes.world(x, y)
    return float(e), float(n)


def pad(sigma: float, codes=(), x=20.0, y=30.0) -> PatchTried:
    return PatchTried(*at(x, y), False, sigma, codes)


def page(seen: Foresight, pads=(), inside=None, plan=(), tolerances=None, units="metric") -> dict:
    made = foresight_page(layout(), ASKED, seen, pads, inside, plan, tolerances or config().tolerances, units, WORDS)
    return {k: plain(v) for k, v in made.items() if k not in ("w", "colours", "map")}


def plain(value):
    return value.replace("\u00a0", " ") if isinstance(value, str) else [plain(v) for v in value] if isinstance(value, list) else value


@pytest.mark.analytic
def test_what_is_seen_is_held_against_half_the_owners_tolerances():
    """Lip 25 mm, low spots 20 mm: 12.5 and 10 mm."""
    fine = page(foreseen(part=0.0125, depth=0.010))
    assert fine["lip_enough"] == "Fine enough for the owner’s lip tolerance of 25 mm: growth of half of it shows on 5 m of edge."
    assert fine["spots_enough"].startswith("Fine enough for the owner’s low-spot tolerance of 20 mm")
    some = page(foreseen(part=0.0126, depth=0.0101))
    assert some["lip_enough"].endswith("but not on the outer edge.") and some["spots_enough"].endswith("but not at first base.")
    blind = Foresight(**{**foreseen().__dict__, "edges": (EdgeSeen("outer", 3.0, NAN, NAN),), "places": (PlaceSeen("first", 0.02, 0.02, ""),)})
    assert page(blind)["lip_enough"].startswith("Too coarse") and page(blind)["spots_enough"].startswith("Too coarse")
    unset = page(foreseen(), tolerances=config(tolerances={}).tolerances)
    assert "the owner’s to say" in unset["lip_enough"] and "the owner’s to say" in unset["spots_enough"]
    walked = page(foreseen(part=NAN), plan=[Planned("edge-outer", "edge", 0.0, 0.0)])
    assert walked["lip_enough"].startswith("Fine enough") and "as a mean over a whole edge" in walked["lip_enough"]


@pytest.mark.invariant
def test_a_pad_is_asked_for_only_where_it_is_worth_it():
    assert not worth(foreseen(0.005), pad(0.0046)) and worth(foreseen(0.005), pad(0.0045)) and not worth(foreseen(), None)
    none = page(foreseen(0.005), [pad(0.0049)])
    assert none["pads"] == [] and "No pad is needed: heights can be compared" in none["stable"][-1] and "squares" not in none["map_caption"]
    better = page(foreseen(0.005), [pad(0.003)])
    assert len(better["pads"]) == 1 and len(better["stable"]) == 1
    doubt = ("too_few_patches",)
    two = page(foreseen(0.012, doubt), [pad(0.0119, doubt), pad(0.0118)])
    assert two["pads"][0].endswith("heights still could not be compared.") and two["pads"][1].endswith("with it heights can be compared.")
    assert page(foreseen(0.005), inside=pad(0.0049))["inside"] == "" and page(foreseen(0.005), inside=pad(0.003))["inside"]
    assert "both count" in none["sweep"]


@pytest.mark.analytic
def test_two_tapes_and_a_side_leave_one_spot_for_a_pad():
    """Of the two spots that both tapes fit, seen from behind home plate, the right-hand one is on first base's side."""
    doubt = ("one_sided_patches",)
    right, left, mid = page(foreseen(codes=doubt), [pad(0.003, x=20.0), pad(0.003, x=-20.0), pad(0.003, x=0.1, y=60.0)])["pads"]
    tapes = re.compile(r"(\d+) m from home plate and (\d+) m from second base")
    assert tapes.search(right).groups() == tapes.search(left).groups() == (f"{math.hypot(20, 30):.0f}", f"{math.hypot(20, 30 - second()):.0f}")
    assert "on the first-base side" in right and "on the third-base side" in left and "on the line through both" in mid


def second() -> float:
    return float(layout().axes.local(*layout().anchors["second"])[1])


@pytest.mark.analytic
def test_a_walk_counts_three_seconds_a_point_and_the_way_between():
    """1201 points 1 m apart: 1200 m at 1.2 m/s is 1000 s, with 3603 s on points 77 min, told as 80."""
    plan = [Planned("edge-outer", "edge", float(k), 0.0) for k in range(1201)]
    assert "about 1 h 20 min, 3 s on each point" in page(foreseen(), plan=plan)["walk"][0]
    assert "about 5 minutes" in page(foreseen(), plan=plan[:60])["walk"][0]
