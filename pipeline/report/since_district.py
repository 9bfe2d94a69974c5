"""The same over all fields: what is new and what is revised since the page over all fields was handed on, and the list of all that was."""

from __future__ import annotations

from typing import Iterable, Mapping, Sequence

from pipeline.change import revised as change
from pipeline.report.overview import FieldSeen
from pipeline.report.since import Handed, hazards_since, told, told_block
from pipeline.report.since_why import MadeOf, whys
from pipeline.report.words import Words


def since_district(then: Mapping[str, Handed], about: Handed | None, fields: Sequence[FieldSeen], rows: Mapping[str, Mapping], made_of: Mapping[str, MadeOf], words: Words) -> dict:
    """As `since_block` has it; empty where the page was never handed on.

    then   : field -> what the report said of it; about: the report itself
    fields : as they stand now, ranked; rows: field -> its row of portfolio.csv now
    """
    if about is None:
        return {}
    new, gone, revised, small = [], [], [], 0
    for seen in fields:
        old, row = then.get(seen.field_id), rows[seen.field_id]
        if old is not None and old.unread:
            new.append(words("since_field_unread", field=seen.name))
            continue
        if old is None or old.field is None:
            new.append(words("since_field_new", field=seen.name))
            continue
        new += [*_stands(old.field, row, seen, words), *(f"{seen.name}: {line}" for line in hazards_since(old.hazards, seen.now, seen.reader))]
        before, now = (change.figures({}, r) for r in (old.field, row))
        for one in change.revised(before, now, [row["last_survey"]] if row.get("last_survey") else []):
            was, is_ = (told(t, seen.reader.units, words) for t in (one.was, one.now))
            if was == is_:
                small += 1
                continue
            why = whys(old.made_of, made_of[seen.field_id], one.key, words) if old.made_of.provenance else [words("since_why_unkept")]
            revised.append([f"{seen.name}: {words(f'since_what_{one.key.measure}')}", seen.reader.day(seen.now.newest.flown_on, one.key.survey), is_, words("since_from", was=was), "; ".join(why)])
    gone += [words("since_field_gone", field=f) for f in sorted(then.keys() - {s.field_id for s in fields})]
    return told_block(about, new, gone, revised, small, words)


def _stands(was: Mapping, now: Mapping, seen: FieldSeen, words: Words) -> Iterable[str]:
    """Another newest survey, and with it another word; a word that changed on the same survey is a revision, told as one."""
    if was.get("last_survey") == now.get("last_survey"):
        return
    day = seen.reader.day(seen.now.newest.flown_on, seen.now.newest.survey_id) if seen.now.newest is not None else words("since_untold")
    word = lambda r: words(f"verdict_{r['verdict']}")
    yield words("since_field_surveyed" if was["verdict"] == now["verdict"] else "since_field_word", field=seen.name, day=day, now=word(now), was=word(was))


def issued_list(found: Sequence[Mapping], words: Words) -> dict:
    """Everything that was handed on, newest first: heads and rows of number, day, to whom, what (text and link), note, state.

    found : number, on, to, note, fields (names), district, links (text, address) and altered (names of files) of each
    """
    rows = [
        {"number": i["number"], "on": words.date(i["on"]), "to": i["to"], "note": i["note"], "links": i["links"],
         "state": words("issued_altered", files=", ".join(i["altered"])) if i["altered"] else words("issued_whole")}
        for i in sorted(found, key=lambda i: -i["number"])
    ]  # fmt: skip
    return {"heads": [words(f"issued_col_{c}") for c in ("number", "on", "to", "what", "note", "state")], "rows": rows} if rows else {}
