"""The plan as its record has it, told: rows of capital_plan.csv with their reasons in words, kept beside the plans before it."""

from __future__ import annotations

import datetime as dt
from typing import Mapping

from pipeline.report.figures import plain_text
from pipeline.report.plan_reasons import line_reason
from pipeline.report.words import Words
from pipeline.store import kept, tables
from pipeline.store.where import Where
from pipeline.variables import column_names


def told(record: Mapping, where: Where, words: Words) -> str:
    """Write capital_plan.csv, its header alone where there is no plan, and keep it; the name it is kept under, empty where there is none."""
    names = set(column_names("capital_plan"))
    rows = [{k: v for k, v in line.items() if k in names} | {"reason": plain_text(line_reason(line, record, words))} for line in record.get("lines", ())]
    tables.write(where.capital_plan, "capital_plan", rows)
    return kept.keep(where.plans, record["first_year"], dt.date.fromisoformat(record["newest"]), where.capital_plan) if rows else ""
