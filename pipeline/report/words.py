"""The words of the pages, apart from their form: one file of phrases a language, `words_<language>.json`.

Tables speak English. What a page repeats of a table's `reason` is found again by its pattern in the section `OF_TABLES` of a
language's file; a sentence that is not there stays as the table has it.
"""

from __future__ import annotations

import datetime as dt
import re
from functools import cached_property
from typing import Iterable

OF_TABLES = "reasons of the tables"  # English pattern -> the same in this language; `{names}` stand for figures and places
SLOT = re.compile(r"\\\{(\w+)\\\}")


class Words:
    """Phrases of one language by key. A phrase may hold `{names}` that the caller fills.

    sections : section -> key -> phrase, as the language's file has them; a key stands in one section only
    """

    def __init__(self, sections: dict[str, dict[str, str]]):
        own = {name: found for name, found in sections.items() if name != OF_TABLES}
        self.phrases = {key: phrase for section in own.values() for key, phrase in section.items()}
        self._reasons = sections.get(OF_TABLES, {})
        if len(self.phrases) != sum(map(len, own.values())):
            raise ValueError("a phrase stands in two sections")

    def __call__(self, key: str, **values) -> str:
        """A phrase with its names filled in. Raises KeyError for a phrase or a name that is not there."""
        return self.phrases[key].format(**values)

    def told(self, reason: str) -> str:
        """A table's reason in this language, part by part between semicolons; what is not known stays as it is."""
        return "; ".join(self._of_table(part) for part in reason.split("; ")) if self._reasons and reason else reason

    @cached_property
    def _told(self) -> list[tuple[re.Pattern, str]]:
        return [(_pattern(english), phrase) for english, phrase in self._reasons.items()]

    def _of_table(self, part: str) -> str:
        found = ((pattern.fullmatch(part), phrase) for pattern, phrase in self._told)
        return next((phrase.format(**match.groupdict()) for match, phrase in found if match), part)

    def knows(self, key: str) -> bool:
        return key in self.phrases

    def count(self, key: str, number: int, **values) -> str:
        """`<key>_one` for 1, else `<key>_many`; `{number}` is the number."""
        return self(f"{key}_{'one' if number == 1 else 'many'}", number=number, **values)

    def date(self, day: str | dt.date) -> str:
        """'7 April 2026' from an ISO date."""
        day = dt.date.fromisoformat(str(day)[:10])
        return self("date", day=day.day, month=self(f"month_{day.month}"), year=day.year)

    def short_date(self, day: str | dt.date) -> str:
        """A date where a chart has little room."""
        day = dt.date.fromisoformat(str(day)[:10])
        return self("date_short", day=day.day, month=self(f"month_{day.month}"), year=day.year)

    def listed(self, parts: Iterable[str]) -> str:
        """'a, b and c'."""
        parts = list(parts)
        if len(parts) < 2:
            return "".join(parts)
        return self("and_last", before=", ".join(parts[:-1]), last=parts[-1])


def _pattern(english: str) -> re.Pattern:
    """What a table says, with whatever stands in its `{names}`."""
    return re.compile(SLOT.sub(r"(?P<\1>.+?)", re.escape(english)))


def titled(word_id: str) -> str:
    """An id as a name: 'mill-pond' is 'Mill Pond'."""
    return " ".join(opened(part) for part in word_id.split("-"))


def opened(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
