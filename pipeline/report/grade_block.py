"""What grading would take: three designs beside one another, what had to give way, and what the figures do not hold."""

from __future__ import annotations

from pipeline.report.changed import work_line
from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, PLUS_MINUS, TO, Z95, about, figure, printed, rounded
from pipeline.report.placing import Placing
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.works.design import VARIANTS
from pipeline.works.grading.wishes import BASE_LINE, EDGE

NOISY = 0.30  # of the volume moved: from here on noise is a part of it that must be said
TELLING_M3 = 0.01
EVEN_MM = 0.1  # a designed plane is as even as it is finished


def grade_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """The table of designs, sentences before and after it; empty where there is none."""
    record = given.designs
    rows = {r["variant"]: r for r in record.get("variants", ())}
    if not rows or now.newest is None or record["survey"] != now.newest.survey_id:
        return {}
    words = sayer.words
    made = [rows[v] for v in VARIANTS if v in rows and rows[v]["feasible"]]
    left = [rows[v] for v in VARIANTS if v in rows and not rows[v]["feasible"]]
    return {
        "lead": _lead(record, given, sayer), "caption": words("grade_table", day=sayer.day(now.newest.flown_on, now.newest.survey_id)),
        "heads": [words(f"grade_head_{k}") for k in ("variant", "cut", "fill", "noise", "mix", "hours", "cost", "after")],
        "rows": [_row(r, given, sayer) for r in made],
        "lines": [_conflict(c, given, sayer) for c in record["conflicts"]] + [words("grade_none", variant=_name(r, sayer), why=words.told(r["reason"])) for r in left]
        + [words("grade_reason", variant=_name(r, sayer), why=words.told(r["reason"])) for r in made if r["reason"]]
        + [words("grade_noisy", variant=_name(r, sayer)) for r in made if r["noise_m3"] > NOISY * max(r["cut_m3"], r["fill_m3"]) > NOISY * TELLING_M3],
        "reserve": [words("grade_reserve", variant=_name(r, sayer), more=about(r["mix_reserve_t"], sayer.units.mass)) for r in made if (r["mix_tonnes"] or 0) > 0.05],
    }  # fmt: skip


def _lead(record: dict, given: FieldInput, sayer: Sayer) -> list[str]:
    words, wishes = sayer.words, record["wishes"]
    falls = [] if wishes["slope_min_pct"] is None else [words("grade_least", pct=printed(wishes["slope_min_pct"], 1))]
    falls += [] if wishes["slope_max_pct"] is None else [words("grade_most", pct=printed(wishes["slope_max_pct"], 1))]
    if wishes["fall_bearing_deg"] is not None and wishes["form"] == "plane":
        falls.append(words("grade_toward", deg=printed(wishes["fall_bearing_deg"], 0)))
    out = [words("grade_wanted", form=words(f"grade_form_{wishes['form']}"), falls=words.listed(falls) or words("grade_no_fall"))]
    out.append(words(f"grade_depth_{record['depth_from']}"))
    if since := since_line(given, sayer):
        out.insert(0, since)
    if record["relative"]:
        out.append(words("grade_relative"))
    return out + [words(f"grade_chosen_{record['chosen_why']}")]


def _row(row: dict, given: FieldInput, sayer: Sayer) -> list[str]:
    units = sayer.units
    volume = lambda value: figure(value, None, units.volume)
    mix = sayer.words("grade_unknown")
    if row["mix_tonnes"] is not None:
        half = (row["mix_high95_t"] - row["mix_low95_t"]) / 2
        mix = figure(row["mix_tonnes"], half / Z95, units.mass) if row["mix_tonnes"] > 0.05 else "0"
        if row["loads"]:
            truck = given.settings.material.of("truck_t")
            part = int(row["loads"]) == 1 and row["mix_tonnes"] < truck / 2
            mix += f", {sayer.words('grade_part_load') if part else sayer.words.count('grade_loads', int(row['loads']))}"
    even = all(row[k] is not None and row[k] < EVEN_MM for k in ("planarity_after_mm", "straightedge_after_mm"))
    after = sayer.words("grade_finished") if even else f"{sayer.height(row['planarity_after_mm'])} / {sayer.height(row['straightedge_after_mm'])}"
    return [
        _name(row, sayer), volume(row["cut_m3"]), volume(row["fill_m3"]), f"{PLUS_MINUS}{NBSP}{volume(row['noise_m3'])}", mix,
        printed(row["hours"], 1) if row["hours"] is not None else sayer.words("grade_unknown"), _cost(row, given, sayer), after,
    ]  # fmt: skip


def _cost(row: dict, given: FieldInput, sayer: Sayer) -> str:
    """'USD 190-220': both ends rounded to what their distance supports."""
    low, high = row["cost_low"], row["cost_high"]
    if low is None or high is None:
        return sayer.words("grade_unknown")
    half = max((high - low) / 2, 5.0)
    ends = dict.fromkeys(rounded(v, half, 0)[0] for v in (low, high))
    return f"{given.settings.currency}{NBSP}{TO.join(ends)}" if high > 0 else "0"


def conflict_lines(record: dict, variant: str, given: FieldInput, sayer: Sayer) -> list[str]:
    """What gave way in one design, each with what was asked and what is possible."""
    return [_conflict(c, given, sayer) for c in record.get("conflicts", ()) if c["variant"] == variant]


def since_line(given: FieldInput, sayer: Sayer) -> str:
    """Work done after the survey that the designs start from; empty where there is none."""
    rows = {r["work_id"]: r for r in given.works}
    done = [work_line(rows[i], sayer).rstrip(".") for i in given.designs.get("works_since", ()) if i in rows]
    return sayer.words("grade_since", what="; ".join(done)) if done else ""


def _conflict(c: dict, given: FieldInput, sayer: Sayer) -> str:
    words = sayer.words
    asked, possible = (sayer.height(v) if c["unit"] == "mm" else f"{printed(v, 2)}{NBSP}%" if c["unit"] == "pct" else f"{v:.3g}" for v in (c["asked"], c["possible"]))
    place = _edge_place(c["place"], sayer.placing) if c["family"] == EDGE else _line_place(c["place"], sayer) if c["family"] == BASE_LINE else ""
    return words(f"grade_gives_{c['family']}", variant=words(f"grade_variant_{c['variant']}"), place=place, asked=asked, possible=possible)


def _edge_place(named: str, placing: Placing) -> str:
    """'outer 35 m' as a reader says it."""
    edge_id, station, _ = named.rsplit(" ", 2)
    unit = placing.units.length
    return f"{placing.edge(edge_id)}, {printed(float(station) / unit.size, 0)}{NBSP}{unit.name}"


def _line_place(named: str, sayer: Sayer) -> str:
    """'home-first' as a reader says it."""
    return sayer.words("from_to", a=sayer.placing.place(named.split("-")[0]), b=sayer.placing.place(named.split("-")[1]))


def _name(row: dict, sayer: Sayer) -> str:
    return opened(sayer.words(f"grade_variant_{row['variant']}"))
