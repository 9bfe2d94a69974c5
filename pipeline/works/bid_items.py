"""What a contractor prices: items of a laser grade with low, likely and high, and how each is measured."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, nan
from typing import Mapping, Sequence

from pipeline.surface.stretches import LIP

SURE = 1.96
NOTHING = 0.005  # of any unit: prints as none
INFORMS = ("cut", "fill")  # told so that the work can be weighed, not priced
LUMP, AREA, VOLUME, MASS, LENGTH, COUNT = "lump", "area", "volume", "mass", "length", "count"


@dataclass(frozen=True)
class Item:
    """name : key of the item; kind: what it is counted in (m2, m3, t, m, each, or one); low, likely, high: 95 % of it, files' units, NaN where nobody can say
    by : how it is measured for payment: `lump`, `place`, `model`, `ticket`, `tape`, `count`"""

    name: str
    kind: str
    low: float
    likely: float
    high: float
    by: str


def items(row: Mapping, lip: Sequence[Mapping], rim_m2: float, keep_outs: int, hand_levels: int | None, set_anew: int = 0, plates: int = 0) -> list[Item]:
    """The items of one design.

    row       : the laser design's row of quantities.csv
    lip       : rows of lip_work.csv; a lip that is cut with the grade goes with it
    rim_m2    : skin that no blade reaches: along the grass, around what is kept free
    keep_outs : things to be found and flagged first; set_anew: heads and boxes to be raised or lowered; plates: anchors and plates
    Cut and fill: the lower end takes off what survey noise alone would show, the upper one adds what the net may be off.
    """
    area, noise, off = row["graded_m2"], row["noise_m3"], SURE * row["net_sigma_m3"]
    out = [Item("mobilise", LUMP, 1, 1, 1, "lump"), Item("locate", COUNT, keep_outs, keep_outs, keep_outs, "count")]
    out += [Item("open_up", AREA, area, area, area, "place"), Item("grade", AREA, area, area, area, "place")]
    moved = row["cut_m3"] + row["fill_m3"]
    for name in ("cut", "fill"):
        likely = row[f"{name}_m3"]
        share = likely / moved if moved else 0.0
        out.append(Item(name, VOLUME, max(likely - noise - off * share, 0.0), likely, likely + off * share, "model"))
    mix = row["mix_tonnes"]
    if mix is not None and isfinite(mix):
        out.append(Item("mix", MASS, row["mix_low95_t"], mix, row["mix_high95_t"], "ticket"))
    elif row["fill_m3"] > row["cut_m3"]:
        out.append(Item("mix", MASS, nan, nan, nan, "ticket"))  # wanted, and nobody can say how much
    if rim_m2 > 0:
        out.append(Item("by_hand", AREA, rim_m2, rim_m2, rim_m2, "place"))
    cut = [w for w in lip if w["kind"] == LIP]
    if cut:
        metres = sum(w["length_m"] for w in cut)
        out.append(Item("lip", LENGTH, metres, metres, metres, "tape"))
        least, most = (sum(nan if w[k] is None else w[k] for w in cut) for k in ("sod_m2", "sod_most_m2"))
        if not most == 0:
            out.append(Item("sod", AREA, least, (least + most) / 2, most, "place"))
    if plates:
        out.append(Item("bases", COUNT, plates, plates, plates, "count"))
    if set_anew:
        out.append(Item("set_anew", COUNT, set_anew, set_anew, set_anew, "count"))
    out += [Item("roll", AREA, area, area, area, "place")]
    if hand_levels:
        out.append(Item("levels", COUNT, hand_levels, hand_levels, hand_levels, "count"))
    return [i for i in out if not i.high <= NOTHING]
