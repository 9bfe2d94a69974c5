"""In which language something is said: to readers, to the crew, in tables."""

from __future__ import annotations

from functools import cache

from pipeline.report.words import Words
from pipeline.settings import Config
from pipeline.store import pages

TABLES = "en"  # text in tables is for machines and for who searches them: one language, whatever the pages speak


def to_readers(settings: Config) -> Words:
    """Words of the pages and of the papers of the office."""
    return _words(settings.language)


def to_crew(settings: Config) -> Words:
    """Words of what the crew carries: the week, the day, the work package, the keep-out sheet, the record of a work."""
    return _words(settings.crew_language or settings.language)


def in_tables() -> Words:
    """Words of every table."""
    return _words(TABLES)


@cache
def _words(language: str) -> Words:
    """Read once, however many fields are told of."""
    return Words(pages.sections(language))
