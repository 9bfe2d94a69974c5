"""Why a figure of an earlier report is otherwise now, as far as it is written down: what differs between what the two were made from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterator, Mapping, Sequence

from pipeline.change.revised import Key
from pipeline.report.words import Words

TIED = ("tie_model", "tie_shift_mm", "tie_shift_sigma_mm", "verdict")
JUDGED = ("verdict", "lip_over", "spots_over", "zone")
BEARS_ON = {  # section of the settings -> measures that hang on it; a section not named bears on all
    "tolerances": (*JUDGED, "mix_needed", "mix_missing"), "material": ("fill", "mix_needed", "mix_missing", "mix"), "grading": ("zone", "verdict", "slope"),
    "acceptance": (), "history": (), "report": (),
}  # fmt: skip
READ_FOR = {"lip_rise": ("lip", "lip_max", "lip_over", "growth", "verdict"), "mix_depth": ("mix", "mix_missing", "mix_needed", "verdict"), "distance": (), "seen": ("verdict",), "level": ()}
WORKED_FOR = ("mix", "mix_missing", "mix_needed", "lip", "growth", "lip_max", "lip_over", "verdict")  # works renew the mix, and end what ruler readings say of an edge
MOST = 3  # settings and readings that are named; the rest are counted


@dataclass(frozen=True)
class MadeOf:
    """What a field's figures were made of.

    provenance : its provenance.json; records: survey -> survey.json; quality: survey -> its row of survey_quality.csv
    rows       : readings, works, walks: id -> cells; settings: section -> values, of the report beside those of the provenance
    code       : verb -> fingerprint of what it runs
    """

    provenance: Mapping
    records: Mapping[str, Mapping]
    quality: Mapping[str, Mapping]
    rows: Mapping[str, Mapping[str, Mapping]]
    settings: Mapping = field(default_factory=dict)
    code: Mapping[str, str] = field(default_factory=dict)


def whys(was: MadeOf, now: MadeOf, key: Key, words: Words) -> list[str]:
    """Reasons that bear on one figure, as phrases; one that says so where none is known."""
    mine = [s for s in (key.earlier, key.survey) if s]
    out = [*_files(was, now, mine, words), *_tie(was, now, mine, words), *_settings(was, now, key, words), *_rows(was, now, key, words)]
    out += _versions(was, now, words)
    return out or [words("since_why_unknown")]


def _files(was: MadeOf, now: MadeOf, surveys: Sequence[str], words: Words) -> Iterator[str]:
    for s in surveys:
        sums = [{i["sha256"] for i in made.provenance.get("inputs", {}).get(s, ())} for made in (was, now)]
        if sums[0] and sums[1] and sums[0] != sums[1]:
            yield words("since_why_file", survey=s)


def _tie(was: MadeOf, now: MadeOf, surveys: Sequence[str], words: Words) -> Iterator[str]:
    for s in surveys:
        if s in was.quality and s in now.quality and any(was.quality[s].get(n) != now.quality[s].get(n) for n in TIED):
            base = [made.records.get(s, {}).get("baseline") for made in (was, now)]
            yield words("since_why_baseline", survey=s, baseline=base[1]) if base[0] and base[1] and base[0] != base[1] else words("since_why_tied", survey=s)


def _settings(was: MadeOf, now: MadeOf, key: Key, words: Words) -> list[str]:
    before, after = ({**made.provenance.get("settings", {}), **made.settings} for made in (was, now))
    found = [(name, a, b) for name, a, b in differing(before, after) if key.measure in BEARS_ON.get(name.split(".")[0], (key.measure,))]
    said = [words("since_why_setting", name=_setting(name, words), was=_plain(a, words), now=_plain(b, words)) for name, a, b in found[:MOST]]
    return said + ([words.count("since_why_settings_more", len(found) - MOST)] if len(found) > MOST else [])


def _setting(name: str, words: Words) -> str:
    """A setting as pages name it, where they do; else by its key."""
    key = name.replace("tolerances.", "tolerance_")
    return words(key) if words.knows(key) else name


def differing(before, after, at: str = "") -> list[tuple[str, object, object]]:
    """Name, earlier and later value of every setting that differs and stands in both; who set it and when apart."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        both = [k for k in sorted(before.keys() | after.keys()) if k not in ("set_by", "set_on")]
        if "value" in both:  # the owner's figure, and what other fields have
            both = ["value", *(k for k in both if k != "value")]
        return [d for k in both for d in differing(before.get(k), after.get(k), at if k == "value" else f"{at}.{k}".lstrip("."))]
    same = before == after or {type(before), type(after)} <= {int, float} and float(before) == float(after)
    return [] if same else [(at, before, after)]


def _plain(value, words: Words) -> str:
    if isinstance(value, Mapping):
        return _plain(value.get("value"), words) if "value" in value else words("since_other")
    return words("since_not_set") if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _rows(was: MadeOf, now: MadeOf, key: Key, words: Words) -> Iterator[str]:
    """Readings and works that bear on the figure and were added, changed or taken out; only those that both lists can hold."""
    kinds = [k for k, measures in READ_FOR.items() if key.measure in measures]
    for table, bears in (("readings", lambda r: r.get("kind") in kinds), ("works", lambda r: key.measure in WORKED_FOR)):
        if table not in was.rows or table not in now.rows:
            continue
        before, after = ({i: r for i, r in made.rows.get(table, {}).items() if bears(r)} for made in (was, now))
        for what, ids in (("added", after.keys() - before.keys()), ("out", before.keys() - after.keys()), ("changed", {i for i in before.keys() & after.keys() if before[i] != after[i]})):
            if ids and (what != "added" or table == "readings" or _before(after, ids, now, key)):
                named = [*sorted(ids)[:MOST], *([words.count("and_more", len(ids) - MOST)] if len(ids) > MOST else [])]
                yield words(f"since_why_{table}_{what}", ids=", ".join(named))


def _before(rows: Mapping[str, Mapping], ids, now: MadeOf, key: Key) -> bool:
    """Whether some of these works lie before the survey: what came after it revises nothing of it."""
    day = str(now.quality.get(key.survey, {}).get("flown_on", ""))[:10]
    return any(str(rows[i].get("done_on", ""))[:10] <= day for i in ids)


def _versions(was: MadeOf, now: MadeOf, words: Words) -> list[str]:
    a, b = (made.provenance.get("versions", {}) for made in (was, now))
    moved = [f"{n} {a[n]}\u202f\u2192\u202f{b[n]}" for n in sorted(a.keys() & b.keys()) if a[n] != b[n]]
    if moved:
        return [words("since_why_versions", what=", ".join(moved))]
    verbs = [v for v in sorted(was.code.keys() & now.code.keys()) if was.code[v] != now.code[v]]
    return [words("since_why_code", verbs=", ".join(verbs))] if verbs else []
