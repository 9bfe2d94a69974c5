"""What each design hands to others: a table of what to settle with whom, and what nobody can tell yet."""

from __future__ import annotations

from itertools import groupby
from typing import Mapping, Sequence

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import NBSP, PLUS_MINUS, Z95, figure, printed
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.report.words import opened
from pipeline.works.design import VARIANTS
from pipeline.works.handoffs import ACCESS, CANNOT_TELL, CATCHMENT, DRAINAGE, IRRIGATION, LEVEL, LOWER, OUTFLOW, RAISE, STEP

WHO = {IRRIGATION: "irrigation", DRAINAGE: "drainage", ACCESS: "access"}
EDGE = "edge"


def handoffs_block(given: FieldInput, now: Standing, sayer: Sayer) -> dict:
    """Sentences and a table, the chosen design first; empty where no design was made."""
    record, words = given.designs, sayer.words
    if not record.get("variants") or now.newest is None or record["survey"] != now.newest.survey_id:
        return {}
    rows = sorted(record.get("handoffs", ()), key=lambda r: (not r["chosen"], VARIANTS.index(r["variant"])))
    told = [r for r in rows if r["verdict"] != CANNOT_TELL]
    settled = {(r["variant"], r["kind"], r["id"]) for r in told}
    untold = [r for r in rows if r["verdict"] == CANNOT_TELL and (r["variant"], r["kind"], r["id"]) not in settled]
    looked = record.get("handoffs_looked", {})
    lead = [words("handoffs_looked", what=words.listed([words.count(f"handoffs_of_{role}", number) for role, number in looked.items()])) if looked else words("handoffs_nothing_drawn")]
    if record["chosen"] and not any(r["chosen"] for r in rows):
        lead.append(words("handoffs_chosen_none", variant=words(f"grade_variant_{record['chosen']}")))
    elif not rows:
        lead.append(words("handoffs_none"))
    return {
        "lead": lead, "heads": [words(f"handoffs_head_{k}") for k in ("variant", "what", "where", "figures", "who")],
        "rows": [[_variant(r, sayer), opened(_what(r, sayer)), _where(r, sayer), _figures(r, sayer), words(f"handoffs_who_{WHO[r['who_decides']]}")] for r in told],
        "untold": [_untold(v, list(group), sayer) for v, group in groupby(untold, key=lambda r: r["variant"])],
    }  # fmt: skip


def handed_lines(record: Mapping, variant: str, sayer: Sayer) -> list[str]:
    """One design's hand-offs as sentences for a paper: what, where, the figures, who decides."""
    told = [r for r in record.get("handoffs", ()) if r["variant"] == variant and r["verdict"] != CANNOT_TELL]
    return [
        sayer.words("handoffs_line", what=opened(_what(r, sayer)), where=_where(r, sayer), figures=_figures(r, sayer), who=sayer.words(f"handoffs_who_{WHO[r['who_decides']]}"))
        for r in told
    ]  # fmt: skip


def _variant(row: Mapping, sayer: Sayer) -> str:
    return opened(sayer.words(f"grade_variant_{row['variant']}"))


def _what(row: Mapping, sayer: Sayer) -> str:
    if row["kind"] == EDGE:
        return sayer.placing.edge(row["id"].rpartition("-")[0])
    return sayer.words(f"handoffs_kind_{row['kind']}", name=row["id"].replace("-", " "))


def _where(row: Mapping, sayer: Sayer) -> str:
    return sayer.placing.by(row["e"], row["n"]) if row["kind"] == EDGE else sayer.placing.at(row["e"], row["n"])


def _figures(row: Mapping, sayer: Sayer) -> str:
    """What is decided by: the height to move by, or the measure before and after."""
    words, measure = sayer.words, row["measure"]
    if measure == LEVEL:
        key = {RAISE: "raise", LOWER: "lower"}.get(row["verdict"], "raise" if row["after"] > 0 else "lower")
        drawn = row["kind"] in ("irrigation_head", "valve_box")
        return words(f"handoffs_{key}" if drawn else f"handoffs_ground_{key}", by=sayer.height(abs(row["difference_mm"]), row["sigma_mm"]))
    if measure == STEP:
        return words("handoffs_step", before=sayer.height(row["before"]), after=sayer.height(row["after"]))
    if measure in (CATCHMENT, OUTFLOW):
        before, after = (figure(row[k], None, sayer.units.area) for k in ("before", "after"))
        half = figure(Z95 * row["change_sigma"], None, sayer.units.area)
        return words(f"handoffs_{measure}", before=before, after=after, half=f"{PLUS_MINUS}{NBSP}{half}")
    before, after = (f"{printed(row[k], 2)}{NBSP}%" for k in ("before", "after"))
    return words(f"handoffs_{measure}", before=before, after=after, half=f"{PLUS_MINUS}{NBSP}{printed(Z95 * row['change_sigma'], 2)}")


def _untold(variant: str, rows: Sequence[Mapping], sayer: Sayer) -> str:
    """One sentence a design: of which things the survey's noise hides whether there is anything to settle."""
    names = list(dict.fromkeys(f"{_what(r, sayer)}, {_where(r, sayer)}" if r["kind"] == EDGE else _what(r, sayer) for r in rows))
    return sayer.words("handoffs_untold", variant=opened(sayer.words(f"grade_variant_{variant}")), what="; ".join(names))
