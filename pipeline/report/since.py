"""What is new since a report that was handed on, and which of its figures have been revised: a block near the head of a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Iterable, Mapping, Sequence

from pipeline.change import revised as change
from pipeline.report.changed import work_line
from pipeline.report.figures import Z95, Unit, figure
from pipeline.report.hazards import CLOSED, OPEN
from pipeline.report.saying import Sayer
from pipeline.report.since_why import MadeOf, whys
from pipeline.report.standing import Standing
from pipeline.report.unsafe_block import action_words
from pipeline.report.words import Words, opened
from pipeline.surface.verdict import SURE, UNLIKELY

SHOWN = 8  # revised figures that stand open; more are folded, and printed all the same
MOST_NAMED = 4


@dataclass(frozen=True)
class Handed:
    """A report that was handed on, of one field or of all.

    number, on, to, note : as its manifest says; path: its folder, as a link from the page
    altered : names of its files that are not as they were handed on; unread: tables among them that are gone or cannot be read any more
    tables  : the field's tables then, by name; field: its row of portfolio.csv; hazards: its rows of hazards.csv
    """

    number: int
    on: str
    to: str
    note: str
    path: str
    altered: Sequence[str]
    tables: Mapping[str, Sequence[Mapping]]
    field: Mapping | None
    hazards: Sequence[Mapping]
    made_of: MadeOf
    unread: Sequence[str] = ()


@dataclass(frozen=True)
class Today:
    """The same of today. works: rows of the operator's table of works; stands: the field over all its surveys."""

    tables: Mapping[str, Sequence[Mapping]]
    field: Mapping
    stands: Standing
    works: Sequence
    made_of: MadeOf


def since_block(then: Handed | None, now: Today, sayer: Sayer) -> dict:
    """title, altered, new, gone (sentences), heads, rows (revised figures), more (those that are folded), small, quiet; empty where no
    report was handed on."""
    if then is None:
        return {}
    words = sayer.words
    if then.unread:  # a table that is empty because it was lost would make all of today's surveys new
        return lone(then, words)
    became = change.surveys(then.tables["survey_quality"], now.tables["survey_quality"])
    found = change.revised(change.figures(then.tables, then.field), change.figures(now.tables, now.field), became.both)
    days = {r["survey_id"]: r["flown_on"] for r in now.tables["survey_quality"]}
    rows, small = [], 0
    for one in found:
        was, is_ = (told(t, sayer.units, words) for t in (one.was, one.now))
        if was == is_:
            small += 1
            continue
        rows.append([_what(one.key, now, then, sayer), _of(one.key, days, sayer), is_, words("since_from", was=was), "; ".join(whys(then.made_of, now.made_of, one.key, words))])
    new = [*_surveys(became, now, sayer), *hazards_since(then.hazards, now.stands, sayer), *_works(then, now, sayer)]
    if (then.field or {}).get("last_survey") != now.field["last_survey"]:  # on the same survey whatever differs is a revision
        new = [*_verdict(then, now, words), *new, *_places(then, now, sayer), *_lips(then, now, sayer)]
    gone = [*(words("since_refused", survey=_named(s, now.tables, sayer), reason=_reason(s, now.tables, words)) for s in became.refused), *(words("since_gone", survey=_named(s, then.tables, sayer)) for s in became.gone)]
    return told_block(then, new, gone, rows, small, words)


def told_block(then: Handed, new: Sequence[str], gone: Sequence[str], rows: Sequence[Sequence[str]], small: int, words: Words) -> dict:
    """What the page's form asks for; rows: of revised figures; small: how many moved by less than is printed."""
    return {
        "title": title(then, words), "note": words("since_note", note=then.note) if then.note else "", "path": then.path, "altered": altered(then, words), "new": new, "gone": gone,
        "heads": [words(f"since_col_{c}") for c in ("what", "of", "now", "was", "why")], "rows": rows[:SHOWN], "more": rows[SHOWN:],
        "more_said": words.count("since_more", len(rows) - SHOWN) if len(rows) > SHOWN else "", "small": words.count("since_small", small) if small else "",
        "quiet": [*([] if new or gone else [words("since_nothing_new")]), *([] if rows else [words("since_nothing_revised")])],
    }  # fmt: skip


def lone(then: Handed, words: Words) -> dict:
    """The block where too little of the kept report is left to hold anything against it: that, and where it lies."""
    told = words("since_unread", number=then.number, files=_few(then.unread, words))
    return {"title": title(then, words), "note": "", "path": then.path, "altered": altered(then, words, held=False), "new": [], "gone": [], "heads": [], "rows": [], "more": [], "more_said": "", "small": "", "quiet": [told]}


def title(then: Handed, words: Words) -> str:
    """'Since the report of 7 April 2026 (given to the park board)'."""
    given = words("since_given", to=then.to) if then.to else ""
    return words("since_title", day=words.date(then.on)) + given


def altered(then: Handed, words: Words, held: bool = True) -> str:
    """A sentence where the kept report is not as it was handed on; else empty. held: whether what follows is held against it"""
    if not then.altered:
        return ""
    said = words("since_altered", number=then.number, files=_few(then.altered, words))
    return f"{said} {words('since_altered_held')}" if held else said


def _few(names: Sequence[str], words: Words) -> str:
    more = [words.count("and_more", len(names) - MOST_NAMED)] if len(names) > MOST_NAMED else []
    return ", ".join([*names[:MOST_NAMED], *more])


def told(t: change.Told, units, words: Words) -> str:
    """A figure as a page prints it, with its range."""
    if t.value is None or t.value == "":
        return words("since_untold")
    if t.unit == "word":
        return words(f"verdict_{t.value}")
    if t.unit == "count":
        return str(int(t.value))
    unit = {"mm": units.height, "m": units.length, "m3": units.volume, "t": units.mass, "pct": Unit("%", 1, 2)}[t.unit]
    return figure(float(t.value), None if t.half is None else t.half / Z95, unit)


def _what(key: change.Key, now: Today, then: Handed, sayer: Sayer) -> str:
    words, placing = sayer.words, sayer.placing
    if not key.place:
        return words(f"since_what_{key.measure}")
    table = "low_spots" if key.measure in ("low_spot", "fill") else None
    if key.measure in ("lip", "growth"):
        place = placing.edge(key.place)
    elif key.place.startswith("pond-"):
        row = next((r for t in (now.tables, then.tables) for r in t[table or "low_spots"] if r["low_spot_id"] == key.place and r["e"] is not None), None)
        place = placing.spot(key.place, row["e"], row["n"]) if row is not None else key.place
    else:
        place = words("place_skin") if key.place == "skin" else placing.place(key.place)
    return opened(words(f"since_what_{key.measure}", place=place))


def _of(key: change.Key, days: Mapping, sayer: Sayer) -> str:
    later = sayer.day(days[key.survey], key.survey)
    return later if not key.earlier else sayer.words("since_pair", earlier=sayer.day(days[key.earlier], key.earlier), later=later)


def _named(survey: str, tables: Mapping, sayer: Sayer) -> str:
    day = next(r["flown_on"] for r in tables["survey_quality"] if r["survey_id"] == survey)
    return sayer.words("since_survey", day=sayer.words.date(day), survey=survey)


def _reason(survey: str, tables: Mapping, words: Words) -> str:
    return words.told(next((r["reason"] or "" for r in tables["survey_quality"] if r["survey_id"] == survey), ""))


def _verdict(then: Handed, now: Today, words: Words) -> list[str]:
    was, is_ = (then.field or {}).get("verdict"), now.field["verdict"]
    if not was or was == is_:
        return []
    return [words("since_verdict", now=words(f"verdict_{is_}"), was=words(f"verdict_{was}"))]


def _surveys(became: change.Surveys, now: Today, sayer: Sayer) -> Iterable[str]:
    words = sayer.words
    if became.new:
        yield words.count("since_new_survey", len(became.new), surveys=words.listed(_named(s, now.tables, sayer) for s in became.new))
    for s in became.turned_away:
        yield words("since_turned_away", survey=_named(s, now.tables, sayer), reason=_reason(s, now.tables, words))


def hazards_since(rows: Sequence[Mapping], stands: Standing, sayer: Sayer) -> Iterable[str]:
    """Unsafe places that were opened or closed since, with how they were closed, and those that nothing shows any more.

    rows : the field's rows of hazards.csv as it was handed on
    """
    words, state = sayer.words, {h["hazard_id"]: h["state"] for h in rows}
    for h in stands.hazards:
        if h.state == OPEN and state.get(h.hazard_id) != OPEN:
            yield words("since_opened" if h.hazard_id not in state else "since_opened_again", what=sayer.open_hazard(h, stands))
        elif h.state == CLOSED and state.get(h.hazard_id) == OPEN:
            yield words("since_closed", place=opened(sayer.hazard_at(h)), action=action_words(h, words), day=words.date(h.action_on))
    known = {h.hazard_id for h in stands.hazards}
    for h in rows:
        if h["hazard_id"] not in known and h["state"] == OPEN:
            yield words("since_hazard_gone", place=h["place"], value=h["value"])


def _places(then: Handed, now: Today, sayer: Sayer) -> Iterable[str]:
    """Low spots by the newest survey then and now: over the tolerance and not so then; no longer over it, which takes a survey that says
    so; and those of which the newest survey says neither, so that nobody reads its silence as mended."""
    words, place = sayer.words, lambda r: sayer.placing.spot(r["low_spot_id"], r["e"], r["n"])
    was, is_ = (_chances(t.tables, (t.field or {}).get("last_survey")) for t in (then, now))
    over = {i: r for i, r in was.items() if r["probability"] >= SURE}
    new = [words("since_at", place=place(r), depth=sayer.height(r["depth_mm"], r["depth_sigma_mm"])) for i, r in is_.items() if r["probability"] >= SURE and i not in over]
    under = [place(r) for i, r in over.items() if i in is_ and is_[i]["probability"] <= UNLIKELY]
    untold = [place(r) for i, r in over.items() if i not in is_ or UNLIKELY < is_[i]["probability"] < SURE]
    for key, told in (("since_low", new), ("since_low_no_more", under), ("since_low_untold", untold)):
        if told:
            yield words.count(key, len(told), places=words.listed(told))


def _chances(tables: Mapping, survey: str | None) -> dict[str, Mapping]:
    """Low spots of a survey that were held against the tolerance, by id."""
    return {r["low_spot_id"]: r for r in tables["low_spots"] if r["survey_id"] == survey and r["probability"] is not None and r["depth_mm"] is not None}


def _lips(then: Handed, now: Today, sayer: Sayer) -> Iterable[str]:
    """How much edge is over the tolerance."""
    was, is_ = (then.field or {}).get("lip_over_tolerance_m"), now.field.get("lip_over_tolerance_m")
    if was is not None and is_ is not None and round(was) != round(is_):
        yield sayer.words("since_lip_over", now=sayer.length(is_), was=sayer.length(was))


def _works(then: Handed, now: Today, sayer: Sayer) -> Iterable[str]:
    known = then.made_of.rows.get("works")
    if known is None:
        return
    new = [w for w in now.works if w["work_id"] not in known]
    for w in new[-MOST_NAMED:]:
        yield sayer.words("since_work", work=work_line(w, sayer))
    if len(new) > MOST_NAMED:
        yield sayer.words.count("since_works_more", len(new) - MOST_NAMED)
