"""PDFs out: blocks set by a general typesetter, tagged for screen readers, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

from pipeline.store.atomic import read_text, replacing
from pipeline.store.pages import TEMPLATES

STANDARD = "ua-1"  # PDF/UA-1, ISO 14289-1


def write(path: str | Path, template: str, content: dict, day: str) -> None:
    """One PDF from a template of `report/`, with the typesetter's own fonts.

    content : plain values that the template reads as `sys.inputs.paper`
    day     : ISO date that the file carries in place of a clock's
    """
    import typst

    stamp = dt.datetime.combine(dt.date.fromisoformat(day), dt.time(), dt.timezone.utc)
    made = typst.compile(
        read_text(TEMPLATES / template).encode(), format="pdf", ignore_system_fonts=True, pdf_standards=STANDARD, timestamp=stamp,
        sys_inputs={"paper": json.dumps(content, ensure_ascii=False)},
    )  # fmt: skip
    with replacing(path) as temporary:
        temporary.write_bytes(made)
