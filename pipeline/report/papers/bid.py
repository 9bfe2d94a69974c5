"""A package to ask contractors with, for one field's laser grade: what is wanted, how much, how it is measured and accepted. No price."""

from __future__ import annotations

from typing import Mapping, Sequence

from pipeline.report.papers.bid_plan import bid_plan
from pipeline.report.field_input import FieldInput
from pipeline.report.field_page import sayer_of
from pipeline.report.figures import NBSP, PLUS_MINUS, Unit, figure, limit, printed
from pipeline.report.grade_block import conflict_lines, since_line
from pipeline.report.handoffs_block import handed_lines
from pipeline.report.keep_out_block import thing_cells
from pipeline.report.papers.head import on_paper
from pipeline.report.papers.paper import Blanks, Block, Break, Caution, Heading, Lines, Paper, Picture, Table, Ticks
from pipeline.report.saying import Sayer
from pipeline.report.words import Words, opened
from pipeline.works.bid_items import AREA, INFORMS, LENGTH, LUMP, MASS, VOLUME, Item
from pipeline.works.control_ring import Ring
from pipeline.works.design import LASER_PLANE


def bid(given: FieldInput, year: int, items: Sequence[Item], ring: Ring, control: Sequence[Mapping], fall: Mapping, off: Mapping | None, words: Words) -> Paper:
    """The package as blocks.

    items : what is priced; ring, control: the control points in the field's own coordinates, and whether they do
    fall  : slope_pct, bearing_deg of the plane, or neither; form
    off   : how far the design's heights stand off the survey's levelled checkpoints, or None
    """
    sayer = sayer_of(given.layout, given.tables, given.settings, words)
    record = given.designs
    day = record["flown_on"][:10]
    blocks: list[Block] = [Lines(_scope(given, items, fall, sayer)), Caution(words("bid_first"), _first(given, off, sayer))]
    svg, about = bid_plan(given, control, fall, sayer)
    blocks += [Picture(svg, words("bid_plan"), about, words("bid_plan_reads"), 128.0), Heading(words("bid_items")), _quantities(items, sayer)]
    blocks += [Lines([words("bid_items_read")], small=True)]
    blocks += [Heading(words("bid_ground")), Lines(_access(given, sayer)), _keep_outs(record["keep_outs"], sayer), *_control(control, ring, sayer)]
    settle = handed_lines(record, LASER_PLANE, sayer)
    if settle:
        blocks += [Heading(words("bid_settle")), Lines([words("bid_settle_read")]), Ticks(settle)]
    blocks += [Heading(words("bid_accept")), Lines(_acceptance(given, sayer)), Heading(words("bid_without")), Ticks([words(f"bid_without_{k}") for k in ("base", "pipes", "grass", "rain", "permits")])]
    blocks.append(Blanks(words("bid_terms"), [words(f"bid_terms_{k}") for k in ("offers", "ask", "visit", "window", "mix", "fail")]))
    blocks += [Break(), Heading(words("bid_prices")), _prices(items, _alternates(record, sayer), sayer), Blanks(words("bid_offer"), [words(f"bid_offer_{k}") for k in ("who", "licence", "start", "valid", "name", "day")])]
    return on_paper(given, sayer, words("bid_title", name=given.name, year=year), [words("bid_under", day=words.date(day))], blocks, day)


def amount(item: Item, value: float, sayer: Sayer) -> str:
    """A quantity in the reader's unit, without its unit's name."""
    if value != value:
        return sayer.words("grade_unknown")
    unit = _unit(item, sayer)
    if unit is None:
        return printed(value, 0)
    here = value / unit.size
    return printed(here, 0 if here >= 10 or item.kind in (AREA, LENGTH) else 1)  # no finer than a survey supports


def unit_name(item: Item, sayer: Sayer) -> str:
    unit = _unit(item, sayer)
    return sayer.words(f"bid_unit_{item.kind}") if unit is None else unit.name


def _unit(item: Item, sayer: Sayer) -> Unit | None:
    """The reader's unit of an item; None of what is counted."""
    return {AREA: sayer.units.area, VOLUME: sayer.units.volume, MASS: sayer.units.mass, LENGTH: sayer.units.length}.get(item.kind)


def _scope(given: FieldInput, items: Sequence[Item], fall: Mapping, sayer: Sayer) -> list[str]:
    words = sayer.words
    area = next(i for i in items if i.name == "grade")
    out = [words("bid_scope", area=f"{amount(area, area.likely, sayer)}{NBSP}{unit_name(area, sayer)}", form=words(f"grade_form_{fall['form']}"))]
    if fall.get("slope_pct") is not None:
        out.append(words("bid_fall", slope=sayer.slope(fall["slope_pct"]), bearing=f"{printed(fall['bearing_deg'], 0)}°"))
    gives = conflict_lines(given.designs, LASER_PLANE, given, sayer)
    out += [words("bid_ties_not") if gives else words("bid_ties"), *gives, words("bid_bases"), words("bid_depth")]
    if given.designs.get("relative"):
        out.append(words("bid_relative"))
    return out + [words("bid_order")]


def _first(given: FieldInput, off: Mapping | None, sayer: Sayer) -> list[str]:
    """What whoever offers must know before anything else; heights first, since a machine believes them."""
    words = sayer.words
    out = [since] if (since := since_line(given, sayer)) else []
    out.append(words("bid_level"))
    if off is not None:
        out.append(words("bid_off", height=sayer.height(1000 * off["off_m"], 1000 * off["sigma_m"], signed=True), points=off["points"]))
    return out + [words(f"bid_first_{k}") for k in ("survey", "either", "licence", "counsel")]


def _quantities(items: Sequence[Item], sayer: Sayer) -> Table:
    words = sayer.words
    rows = [
        [str(k), words(f"bid_item_{i.name}"), unit_name(i, sayer), *(amount(i, v, sayer) if i.kind != LUMP else "1" for v in (i.low, i.likely, i.high)), words(f"bid_by_{i.by}")]
        for k, i in enumerate(items, start=1)
    ]  # fmt: skip
    return Table("", [words(f"bid_head_{k}") for k in ("number", "item", "unit", "low", "likely", "high", "by")], rows, right=(0, 3, 4, 5), wide=(1, 6))


def _alternates(record: Mapping, sayer: Sayer) -> list[str]:
    """The other designs of the same survey, each to be priced by itself."""
    words, units, out = sayer.words, sayer.units, []
    for v in record["variants"]:
        if v["feasible"] and v["variant"] != LASER_PLANE and v["cut_m3"] + v["fill_m3"] > 0:
            out.append(words("bid_alternate", what=opened(words(f"grade_variant_{v['variant']}")), cut=figure(v["cut_m3"], None, units.volume), fill=figure(v["fill_m3"], None, units.volume),
                             area=figure(v["worked_m2"], None, units.area)))  # fmt: skip
    return out


def _access(given: FieldInput, sayer: Sayer) -> list[str]:
    words = sayer.words
    gates = given.designs.get("access", ())
    if not gates:
        return [words("bid_no_access")]
    return [words(f"bid_access_{g['kind']}", name=g["name"].replace("-", " "), where=sayer.placing.at(g["e"], g["n"])) for g in gates]


def _keep_outs(rows: Sequence[Mapping], sayer: Sayer) -> Table:
    words = sayer.words
    return Table(words("bid_keep"), [words(f"sheet_head_{k}") for k in ("number", "what", "one", "other", "free", "last")], [
        [str(k), *thing_cells(r, sayer)] for k, r in enumerate(rows, start=1)
    ], right=(0, 4), wide=(1, 2, 3, 5))  # fmt: skip


def _control(control: Sequence[Mapping], ring: Ring, sayer: Sayer) -> list[Block]:
    words = sayer.words
    said = [words("bid_ring", around=ring.around, inside=ring.inside, held=printed(100 * ring.held, 0))]
    said += [words(f"bid_short_{s}") for s in ring.short] or [words("bid_ring_enough")]
    if control:
        said.append(words("bid_control_in", crs=control[0]["crs"], unit=control[0]["unit"]))
    rows = [[c["point_id"], c["n"], c["e"], c["height"], c["unit"], c["height_reference"] or "", c["description"] or ""] for c in control]
    heads = [words(f"bid_control_{k}") for k in ("point", "n", "e", "height", "unit", "reference", "about")]
    return [Heading(words("bid_control")), Lines(said), *([Table("", heads, rows, right=(1, 2, 3), wide=(0, 6))] if rows else [])]


def _acceptance(given: FieldInput, sayer: Sayer) -> list[str]:
    words, accept = sayer.words, given.settings.acceptance
    finish = accept.tolerance_mm
    out = [words("bid_accept_unset")] if finish is None else [
        words("bid_accept_limit", limit=f"{PLUS_MINUS}{NBSP}{limit(finish.value, sayer.units.height)}", signed=sayer.signed_by(finish))
    ]  # fmt: skip
    places = accept.of("hand_levels")
    out.append(words("bid_accept_places_unset") if places is None else words("bid_accept_places", number=printed(places, 0)))
    days = accept.of("retest_days")
    out.append(words("bid_accept_days_unset") if days is None else words("bid_accept_days", days=printed(days, 0)))
    return out + [words("bid_accept_survey"), words("bid_accept_settle")]


def _prices(items: Sequence[Item], alternates: Sequence[str], sayer: Sayer) -> Table:
    words = sayer.words
    told = [i for i in items if i.name not in INFORMS]
    rows = [[str(k), words(f"bid_item_{i.name}"), unit_name(i, sayer), amount(i, i.likely, sayer) if i.kind != LUMP else "1", "", ""] for k, i in enumerate(told, start=1)]
    rows.append(["", words("bid_total"), "", "", words("bid_no_unit"), ""])
    lump = words("bid_unit_lump")
    rows += [[chr(65 + k), what, lump, "1", "", ""] for k, what in enumerate(alternates)]
    rows += [[chr(65 + len(alternates) + k), words(f"bid_more_{key}"), unit.name, words("bid_each"), "", ""] for k, (key, unit) in enumerate((("mix", sayer.units.mass), ("sod", sayer.units.area)))]
    return Table("", [words(f"bid_head_{k}") for k in ("number", "item", "unit", "likely", "price", "amount")], rows, right=(0, 3), blank=(4, 5), wide=(1,))


def price_rows(items: Sequence[Item], sayer: Sayer) -> tuple[list[str], list[list[str]]]:
    """The price schedule to be filled in on a computer: header and rows; prices empty."""
    words = sayer.words
    return ["number", "item", "unit", "low", "likely", "high", "measured_by", "unit_price", "amount"], [
        [str(k), words(f"bid_item_{i.name}"), unit_name(i, sayer), *(amount(i, v, sayer).replace(NBSP, "") if v == v else "" for v in (i.low, i.likely, i.high)), words(f"bid_by_{i.by}"), "", ""]
        for k, i in enumerate((i for i in items if i.name not in INFORMS), start=1)
    ]  # fmt: skip
