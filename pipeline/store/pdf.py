"""PDFs out: blocks set by a general typesetter, tagged for screen readers, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

from pipeline.store.atomic import read_text, replacing
from pipeline.store.pages import TEMPLATES

STANDARD = "ua-1"  # PDF/UA-1, ISO 14289-1
MISSING = "?"  # what stands for a sign that the typesetter's fonts lack: a sheet with a mark in a name beats no sheet
# Signs that its fonts hold: Latin, Greek, Cyrillic, punctuation, currencies, letter-like, arrows, operators.
HELD = re.compile("[^\\x20-\\x7e\\xa0-\u024f\u0370-\u03ff\u0400-\u04ff\u1e00-\u1eff\u2000-\u206f\u20a0-\u20bf\u2100-\u214f\u2190-\u22ff]")
LACKS = re.compile(r'text "(.+?)" could not be displayed')
TRIES = 20
PAGE = re.compile(rb"/Type\s*/Page\b")


def write(path: str | Path, template: str, content: dict, day: str) -> None:
    """One PDF from a template of `report/`, with the typesetter's own fonts; a sign they lack becomes a question mark.

    content : plain values that the template reads as `sys.inputs.paper`
    day     : ISO date that the file carries in place of a clock's
    """
    made = _set(template, json.dumps(_held(content), ensure_ascii=False), day)
    with replacing(path) as temporary:
        temporary.write_bytes(made)


def sheets(template: str, content: dict) -> int:
    """How many sheets a document takes, without writing it."""
    return max(len(PAGE.findall(_set(template, json.dumps(_held(content), ensure_ascii=False), "1970-01-01"))), 1)


def _set(template: str, content: str, day: str) -> bytes:
    import typst

    stamp = dt.datetime.combine(dt.date.fromisoformat(day), dt.time(), dt.timezone.utc)
    source = read_text(TEMPLATES / template).encode()
    for _ in range(TRIES):
        try:
            return typst.compile(source, format="pdf", ignore_system_fonts=True, pdf_standards=STANDARD, timestamp=stamp, sys_inputs={"paper": content})
        except typst.TypstError as error:
            lacks = LACKS.search(f"{error.message} {error.diagnostic}")
            if lacks is None:
                raise
            content = "".join(MISSING if c in lacks[1] and not c.isascii() else c for c in content)
    raise ValueError(f"found more than {TRIES} kinds of signs that no font of the typesetter holds; expected letters of Latin, Greek or Cyrillic")


def _held(value):
    """The same values with signs outside HELD replaced; line ends and tabs as spaces."""
    if isinstance(value, str):
        return HELD.sub(lambda m: " " if m[0] in "\n\t\r" else MISSING, value)
    if isinstance(value, dict):
        return {key: _held(v) for key, v in value.items()}
    return [_held(v) for v in value] if isinstance(value, (list, tuple)) else value
