"""What can go wrong, said so that the reader knows what to do.

Two kinds only. `BadInput` stops everything before it starts: the operator's tables or settings
are wrong, and every fault found is listed at once. `Refused` stops one survey of one field: the
refusal is written down as that survey's result and everything else goes on.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Iterable


@dataclass(frozen=True, order=True)
class Problem:
    """One fault in the input: where it stands, what was found, what was expected, what to do.

    code : what kind of fault it is, in words with `-`, never changed once given; `skinplane explain CODE` has a page of each
    """

    file: str
    row: int | None
    column: str | None
    found: str
    expected: str
    todo: str
    code: str = field(kw_only=True)

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column:
            place += f" {self.column}" if self.column.startswith("--") else f", column {self.column}"
        return f"{place}: found {self.found}; expected {self.expected}. {self.todo} [{self.code}]"


class BadInput(Exception):
    """The operator's tables or settings cannot be used; nothing was run."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class Refused(Exception):
    """One survey of one field cannot be used. The reason becomes that survey's result.

    code   : one lower-case word with `_`, stable, see `REFUSALS`
    reason : a sentence for the operator: found, expected, what to do
    """

    def __init__(self, code: str, reason: str):
        if code not in REFUSALS:
            raise ValueError(f"no refusal is called {code!r}")
        self.code, self.reason = code, reason
        super().__init__(f"{code}: {reason}")


class GridMismatch(ValueError):
    """Two surfaces stand on different grids. Nothing is resampled: that would blur a lip."""


# Why a survey is refused, or may only be read relative to itself, in one line each.
REFUSALS = {
    "unreadable": "the file cannot be read as the kind its name says",
    "no_points": "the file holds no points",
    "no_crs": "neither the file nor the table says which coordinates these are",
    "crs_disagrees": "the file and the table name different coordinates",
    "crs_does_not_fit": "the numbers cannot be the coordinates they are labelled with",
    "crs_not_usable": "the coordinates are degrees, geocentric, or cannot be carried over exactly",
    "no_vertical_unit": "neither the file nor the table says in which unit heights are",
    "vertical_unit_disagrees": "the file and the table name different height units",
    "no_height_reference": "heights above the ellipsoid whose reference nobody stated",
    "height_reference_disagrees": "this field's surveys do not share one height reference",
    "elsewhere": "a flight for `all` fields that did not fly over this one",
    "misses_field": "the points lie beside the field",
    "covers_too_little": "less than 60 % of the skin is covered",
    "too_sparse": "too few points for the cell size",
    "heights_implausible": "heights no ball field can have",
    "precision_lost": "coordinates were rounded on export",
    "no_fixed_points": "a rover walk without a single fixed position",
    "jump_on_stable_ground": "stable ground stands decimetres off: a datum or foot mix-up",
    "horizontal_shift": "the survey lies sideways by more than can be corrected",
    "source_disagrees": "the file is not of the kind that the table's source says",
    "no_sigma": "a raster without its cells' standard deviation",
}
RELATIVE = {
    "too_few_patches": "fewer than 5 patches of stable ground",
    "one_sided_patches": "the stable ground lies on one side of the field",
    "tie_too_uncertain": "the tie to stable ground is known worse than 10 mm",
}


def did_you_mean(word: str, allowed: Iterable[str]) -> str:
    """' Did you mean x?' when one of the allowed words is close; all that begin with the word where some do; else ''."""
    word, allowed = word.strip().lower(), sorted(allowed)
    close = [a for a in allowed if a.startswith(word)] if len(word) > 2 else []
    close = close or get_close_matches(word, allowed, n=1, cutoff=0.6)
    return f" Did you mean {either(map(repr, close))}?" if close else ""


def either(parts: Iterable[str]) -> str:
    """'a, b or c'."""
    parts = list(parts)
    return " or ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))
