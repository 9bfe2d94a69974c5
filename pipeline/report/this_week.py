"""What needs whom this week, over all fields: one table of the week's work by who, unsafe first."""

from __future__ import annotations

from typing import Iterable, Mapping, Sequence

from pipeline.report.figures import printed
from pipeline.report.plan_reasons import money
from pipeline.report.unsafe_block import first_act
from pipeline.report.words import Words, opened, titled
from pipeline.surface.verdict import UNKNOWN

SUPERINTENDENT, CREW, CONTRACTOR, OWNER = "superintendent", "crew", "contractor", "owner"
WHO = (SUPERINTENDENT, CREW, CONTRACTOR, OWNER)
FEW = 4  # fields to be looked at by hand that have a row each; more are told by site
COLUMNS = ("who", "field", "what", "hours", "why")


def week_block(fields: Sequence, season: Mapping, record: Mapping, unset: Sequence[str], words: Words) -> dict:
    """title, lead, heads and rows: who, field (name, link, site), what, hours, why, unsafe.

    fields : FieldSeen, worst first
    season : what `season_block` says; record: of the plan; unset: what the owner has set no tolerance for
    """
    week = season.get("week") or []
    rows = [*_close(fields, words), *_crew(week), *_by_hand(fields, words), *_order(season, words), *_contractor(record, fields, words), *_owner(record, unset, season, words)]
    rows.sort(key=lambda r: (not r["unsafe"], WHO.index(r["who"])))
    hours = sum(r["hours"] for r in week)
    return {
        "title": words("needs_from_heading", day=words.date(week[0]["monday"])) if week else words("needs_heading"),
        "lead": words("needs_lead", hours=printed(hours, 1)) if week else season.get("none", ""),
        "heads": [words(f"needs_col_{c}") for c in COLUMNS], "rows": [r | {"who": words(f"who_{r['who']}"), "hours": printed(r["hours"], 1) if r["hours"] is not None else ""} for r in rows],
    }  # fmt: skip


def _row(who: str, what: str, why: str, field: object = None, hours: float | None = None, unsafe: bool = False, site: str = "") -> dict:
    return {
        "who": who, "name": field.name if field else titled(site), "link": f"fields/{field.field_id}/report.html" if field else "", "site": field.site if field else site,
        "what": what, "why": why, "hours": hours, "unsafe": unsafe,
    }  # fmt: skip


def _close(fields: Sequence, words: Words) -> Iterable[dict]:
    """Unsafe places are closed or marked off before anything else; the crew's own task of mending stands with the crew."""
    for s in fields:
        if s.now.open:
            yield _row(SUPERINTENDENT, first_act(s.now, words), " ".join(s.reader.open_hazard(h, s.now) for h in s.now.open), s, unsafe=True)


def _crew(week: Sequence[Mapping]) -> Iterable[dict]:
    for r in week:
        yield {"who": CREW, "name": r["name"], "link": f"fields/{r['field_id']}/report.html", "site": r["site"], "what": r["work"], "why": opened(r["why"]) + ".", "hours": r["hours"], "unsafe": r["unsafe"]}


def _by_hand(fields: Sequence, words: Words) -> Iterable[dict]:
    """Fields of which something could not be judged, and those whose newest survey was refused."""
    for s in fields:
        newest = s.now.newest.flown_on if s.now.newest is not None else ""
        refused = [r for r in s.now.refused if str(r["flown_on"]) > str(newest)]
        if refused:
            yield _row(SUPERINTENDENT, words("needs_survey_again"), words("needs_refused", day=words.date(refused[-1]["flown_on"]), reason=words.told(refused[-1]["reason"] or "")), s)
    unknown = [s for s in fields if s.now.verdict == UNKNOWN]
    if len(unknown) <= FEW:
        yield from (_row(SUPERINTENDENT, words("needs_by_hand"), s.reader.headline(s.now), s) for s in unknown)
        return
    for site in sorted({s.site for s in unknown}):
        mine = [s.name for s in unknown if s.site == site]
        yield _row(SUPERINTENDENT, words("needs_by_hand_many"), words.listed(mine), site=site)


def _order(season: Mapping, words: Words) -> Iterable[dict]:
    """Mix that the season asks to be ordered."""
    for site, line, wanted in zip(season.get("order_sites", ()), season.get("order", ()), season.get("order_wanted", ())):
        if wanted:
            yield _row(SUPERINTENDENT, words("needs_order"), line, site=site)


def _contractor(record: Mapping, fields: Sequence, words: Words) -> Iterable[dict]:
    """What the plan's first year wants of contractors: prices have to be asked for now."""
    if record.get("state") != "planned":
        return
    of = {s.field_id: s for s in fields}
    for line in record["lines"]:
        if line["year"] == record["first_year"] and line["treatment"] in record["contracted"] and line["field_id"] in of:
            bid = [line["field_id"], line["year"]] in record["bids"]
            why = words("needs_bid" if bid else "needs_in_plan", money=money(line["cost"], record["currency"]), year=line["year"], day=words.date(record["starts"]), folder=f"bid/{line['year']}/{line['field_id']}")
            yield _row(CONTRACTOR, words("needs_price", does=words(f"plan_does_{line['treatment']}")), why, of[line["field_id"]])


def _owner(record: Mapping, unset: Sequence[str], season: Mapping, words: Words) -> Iterable[dict]:
    """What only the owner can settle: the plan's first year before it begins, money that is short, limits and figures nobody has set."""
    if record.get("state") == "planned" and record["starts"] > record["newest"]:
        yield _row(OWNER, words("needs_decide", year=record["first_year"]), words("needs_decide_why", money=money(record["spent"][0], record["currency"]), day=words.date(record["starts"])))
    if record.get("state") == "infeasible":
        yield _row(OWNER, words("needs_infeasible"), words("needs_infeasible_why"))
    if unset:
        yield _row(OWNER, words("needs_unset", names=words.listed(unset)), words("needs_unset_why"))
    if season.get("none") and not season.get("week"):
        yield _row(OWNER, words("needs_no_season"), season["none"])
