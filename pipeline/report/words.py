"""The words of the pages, apart from their form: one file of phrases a language, `words_<language>.json`."""

from __future__ import annotations

import datetime as dt
from typing import Iterable

LANGUAGE = "en"


class Words:
    """Phrases of one language by key. A phrase may hold `{names}` that the caller fills.

    sections : section -> key -> phrase, as the language's file has them; a key stands in one section only
    """

    def __init__(self, sections: dict[str, dict[str, str]]):
        self.phrases = {key: phrase for section in sections.values() for key, phrase in section.items()}
        if len(self.phrases) != sum(map(len, sections.values())):
            raise ValueError("a phrase stands in two sections")

    def __call__(self, key: str, **values) -> str:
        """A phrase with its names filled in. Raises KeyError for a phrase or a name that is not there."""
        return self.phrases[key].format(**values)

    def knows(self, key: str) -> bool:
        return key in self.phrases

    def count(self, key: str, number: int, **values) -> str:
        """`<key>_one` for 1, else `<key>_many`; `{number}` is the number."""
        return self(f"{key}_{'one' if number == 1 else 'many'}", number=number, **values)

    def date(self, day: str | dt.date) -> str:
        """'7 April 2026' from an ISO date."""
        day = dt.date.fromisoformat(str(day)[:10])
        return self("date", day=day.day, month=self(f"month_{day.month}"), year=day.year)

    def listed(self, parts: Iterable[str]) -> str:
        """'a, b and c'."""
        parts = list(parts)
        if len(parts) < 2:
            return "".join(parts)
        return self("and_last", before=", ".join(parts[:-1]), last=parts[-1])


def titled(word_id: str) -> str:
    """An id as a name: 'mill-pond' is 'Mill Pond'."""
    return " ".join(opened(part) for part in word_id.split("-"))


def opened(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
