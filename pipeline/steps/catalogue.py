"""catalogue: the STAC records of one field and its products, or, of no field, the root and what is over all fields."""

from __future__ import annotations

import posixpath

from pipeline.diamond.carry import from_plain
from pipeline.jobs import Job
from pipeline.owner import LASER_GRADE
from pipeline.report.catalogue import collections
from pipeline.report.catalogue.assets import Seen, known
from pipeline.report.catalogue.footprint import footprint
from pipeline.report.catalogue.items import Field, item, item_id, path_of
from pipeline.report.words import Words
from pipeline.steps.spoken import to_readers
from pipeline.store import files, rasters, records
from pipeline.store.atomic import replacing_folder
from pipeline.store.where import Where

ELSEWHERE, REFUSED = "elsewhere", "refused"


def run(job: Job, where: Where) -> None:
    """Describe what lies there; measure nothing."""
    words = to_readers(job.settings)
    _field(job, where, words) if job.field else _root(job, where, words)


def _field(job: Job, where: Where, words: Words) -> None:
    """The field's items, each in a file of its own, and its collection."""
    field_id, owner = job.field, job.settings.catalogue
    grid = from_plain(records.read(where.layout(field_id))).grid
    field = Field(field_id, job.field_row.get("name") or field_id, grid, job.field_row["crs"], where.items(field_id), footprint(grid), words)
    items = _items(job, where, field)
    with replacing_folder(where.items(field_id)) as folder:
        for made in items:
            records.write(path_of(str(folder), made["id"]), made)
    records.write(where.collection(field_id), collections.of_field(field, items, owner))


def _items(job: Job, where: Where, field: Field) -> list[dict]:
    """All items of a field: surveys, surfaces, pairs, the design, bids, and what is over all dates. A flight for all fields that
    flew elsewhere is none of this field's."""
    read = [records.read(where.record(job.field, r["survey_id"])) for r in job.rows["surveys"]]
    surveys = {r["survey_id"]: r for r in read if r["reason_code"] != ELSEWHERE}
    kept = [s for s, r in surveys.items() if r["verdict"] != REFUSED]
    days = {s: str(r["flown_on"]) for s, r in surveys.items()}
    name = lambda *parts: item_id(job.field, *parts)
    out = [_survey(where, field, name("survey", s), r) for s, r in surveys.items()]
    for s in kept:
        out.append(item(field, name("surface", s), "surface", [days[s]], _seen(where.surface(job.field, s)), _heights(surveys[s]), [name("survey", s)]))
    for pair in records.read(where.changed(job.field))["pairs"]:
        earlier, later = pair["from_survey"], pair["to_survey"]
        seen = _seen(posixpath.dirname(where.change(job.field, earlier, later, "change")))
        said = {"from_survey": earlier, "to_survey": later, "relative": seen[0].raster["relative"] if seen else None}
        out.append(item(field, name("change", earlier, later), "change", [days[earlier], days[later]], seen, said, [name("survey", s) for s in (earlier, later)]))
    out += _designs(job, where, field, kept, surveys)
    if days:
        seen = [f for sub in ("", "styles", "works") for f in _seen(posixpath.join(where.field(job.field), sub), sub)]
        own = posixpath.basename(where.collection(job.field))
        out.append(item(field, name("record"), "record", list(days.values()), [f for f in seen if f.name != own], {}))
    return out


def _survey(where: Where, field: Field, name: str, record: dict) -> dict:
    """One survey. Where a refused one lies is not vouched for: it stands there without a place, with its reason."""
    refused = record["verdict"] == REFUSED
    said = {**_heights(record), "source": record["source"], "purpose": record["purpose"], "tie_model": record.get("tie", {}).get("model"),
            "reason_code": record["reason_code"], "reason": record["reason"]}  # fmt: skip
    seen = _seen(where.survey(field.field_id, record["survey_id"]))
    return item(field, name, "refused" if refused else "survey", [str(record["flown_on"])], seen, said, placed=not refused)


def _heights(record: dict) -> dict:
    """What heights of a survey's rasters count from, and whether their level may be relied on."""
    return {"survey_id": record["survey_id"], "verdict": record["verdict"], "height_reference": record.get("height_reference")}


def _designs(job: Job, where: Where, field: Field, kept: list[str], surveys: dict[str, dict]) -> list[dict]:
    """The design that is set out, and what contractors are asked with, of the newest surface; none where there is no such folder."""
    out = []
    asked = [(str(y), f) for y, f in job.settings.plan.pinned(LASER_GRADE) if f == job.field]
    folders = [("design", where.grade(job.field), {}), *(("bid", where.bid(y, f), {"year": y}) for y, f in asked)]
    for about, folder, said in folders:
        seen = _seen(folder)
        if not seen or not kept:
            continue
        survey = records.read(f"{folder}/about.json")["survey"] if any(f.name == "about.json" for f in seen) else kept[-1]
        parts = (about, *said.values())
        out.append(item(field, item_id(job.field, *parts), about, [str(surveys[survey]["flown_on"])], seen, {**_heights(surveys[survey]), **said}, [item_id(job.field, "survey", survey)]))
    return out


def _seen(folder: str, below: str = "") -> list[Seen]:
    """The products straight in a folder, as `below` names it from the item's own."""
    return [_one(f"{folder}/{name}", posixpath.join(below, name)) for name in files.below(folder) if known(name)]


def _one(path: str, name: str) -> Seen:
    path = posixpath.normpath(path)
    return Seen(path, name, files.size(path), records.sha256(path), rasters.described(path) if name.endswith(".tif") else None)


def _root(job: Job, where: Where, words: Words) -> None:
    """The root, and the collection over all fields."""
    rows = sorted(job.rows["fields"], key=lambda r: r["field_id"])
    fields = [(where.collection(r["field_id"]), records.read(where.collection(r["field_id"]))) for r in rows]
    seen = []
    for path in where.over_all:
        name = posixpath.basename(path)
        seen += [_one(path, name)] if known(name) and files.is_file(path) else _seen(path, name)
    over = collections.over_all([record for _, record in fields], seen, where.results, job.settings.catalogue, words)
    records.write(where.district, over)
    records.write(where.catalogue, collections.root(job.settings.report.title, [(where.district, over), *fields], where.results, words))
