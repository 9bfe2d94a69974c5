"""The catalogue's step on two small fields with awkward ids, one of them on a datum nobody knows; and on none at all."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from report.scene import layout
from support.site_plan import LOCAL
from support.stac_tree import as_file, faults, leads_to, packed, walk

from pipeline import jobs
from pipeline.diamond.carry import to_plain
from pipeline.frame import Grid
from pipeline.project import Project
from pipeline.settings import Config
from pipeline.steps import catalogue
from pipeline.store import rasters, records
from pipeline.store.tables import parse_rows
from pipeline.store.where import Where
from pipeline.tables import TABLES, read

# Ids may be any of a-z, 0-9 and -: some read like others joined, like folders, like words of the catalogue itself.
SURVEYS = {"survey": ("a", "a--b", "c", "-"), "record-collection": ("b--c", "items")}
CRS = {"survey": "EPSG:6550", "record-collection": LOCAL}
DAYS = {"a": "2025-04-01", "a--b": "2025-07-01", "c": "2025-10-01", "-": "2025-10-01", "b--c": "2025-04-01", "items": "2026-04-01"}
REFUSED, ELSEWHERE = "c", "-"


@dataclass(frozen=True)
class Small:
    """A project and the results of two fields."""

    project: Project
    where: Where
    root: Path

    def run(self, *fields: str) -> None:
        for field in fields:
            catalogue.run(jobs.job(jobs.given(self.project, "catalogue", ".", field), field), self.where)

    def tree(self) -> dict[str, dict]:
        return dict(walk(Path(self.where.catalogue).resolve().as_uri(), lambda address: as_file(address).read_bytes()))

    def items(self) -> dict[str, dict]:
        return {r["id"]: r for r in self.tree().values() if r["type"] == "Feature"}


def rows(name: str, header: str, *lines: str):
    found, faulty = read(name, parse_rows("\n".join([header, *lines]) + "\n", name))
    assert not faulty
    return found


def project_of(fields: dict[str, tuple[str, ...]], **settings) -> Project:
    made = {name: () for name in TABLES}
    made["fields"] = rows("fields", "field_id,crs,features,name", *(f'{f},"{CRS[f].replace(chr(34), chr(34) * 2)}",f.gpkg,"Fläche ""{f}"", №1 <&>"' for f in fields))
    made["surveys"] = rows("surveys", "survey_id,flown_on,fields,path,source", *(f"{s},{DAYS[s]},{f},x.laz,lidar" for f, mine in fields.items() for s in mine))
    return Project(Config(**settings), made, {})


@pytest.fixture
def small(tmp_path, monkeypatch) -> Small:
    """Where the workflow runs: results named from its own folder, which has a space and signs of a URI in its name."""
    root = tmp_path / "ball fields #1 100%"
    root.mkdir()
    monkeypatch.chdir(root)
    where = Where("results")
    made = Small(project_of(SURVEYS), where, root)
    for field, surveys in SURVEYS.items():
        grid = Grid.covering((507000.0, 175000.0, 507030.0, 175024.0), CRS[field], 0.5)
        records.write(where.layout(field), to_plain(replace(layout(), field_id=field, grid=grid)))
        kept = [s for s in surveys if s not in (REFUSED, ELSEWHERE)]
        for s in surveys:
            refused = s not in kept
            records.write(where.record(field, s), {
                "survey_id": s, "flown_on": DAYS[s], "verdict": "refused" if refused else "absolute", "reason": "said why" if refused else "", "source": "lidar",
                "reason_code": "elsewhere" if s == ELSEWHERE else "misses_field" if refused else "", "purpose": "routine", "height_reference": "EPSG:5703",
            })  # fmt: skip
        z = np.full(grid.shape, np.nan)
        z[2:5, 3:9] = 300.125
        for s in kept:
            rasters.write(where.raster(field, s, "elevation"), "elevation", z, grid, {})
            rasters.write(f"{where.surface(field, s)}/pond_depth.tif", "pond_depth", np.full(grid.shape, np.nan), grid, {})
        rasters.write(where.change(field, *kept[:2], "change"), "change", z, grid, {"relative": "true"})
        records.write(where.changed(field), {"pairs": [{"from_survey": kept[0], "to_survey": kept[1]}]})
        for name in ("lip.csv", "works/report.pdf", "report.pdf", "elevation.tif.aux.xml", "works/.hidden.pdf"):
            path = Path(where.field(field)) / name
            path.parent.mkdir(exist_ok=True)
            path.write_text("x")
    Path(where.hazards).write_text("x")
    return made


@pytest.mark.invariant
def test_awkward_ids_unknown_datums_and_names_in_any_script_are_valid_and_lead_somewhere(small):
    small.run(*SURVEYS, "")
    tree, registry = small.tree(), packed()
    assert not [f"{address}: {fault}" for address, record in tree.items() for fault in faults(record, registry)]
    assert all(as_file(there).is_file() for address, record in tree.items() for _, there in leads_to(address, record))
    kinds = {r["id"]: r["type"] for r in tree.values() if r["type"] != "Feature"}
    assert kinds == {"field_catalogue": "Catalog", "all_fields": "Collection", "survey": "Collection", "record-collection": "Catalog"}
    assert {r["title"] for r in tree.values() if r.get("id") == "survey"} == {'Fläche "survey", №1 <&>'}


@pytest.mark.analytic
def test_an_item_each_and_none_for_a_flight_that_flew_elsewhere(small):
    small.run(*SURVEYS, "")
    items = small.items()
    mine = {name for name in items if name.startswith("survey_")}
    assert mine == {"survey_survey_a", "survey_survey_a--b", "survey_survey_c", "survey_surface_a", "survey_surface_a--b", "survey_change_a_a--b", "survey_record"}
    record = items["survey_record"]
    assert set(record["assets"]) == {"lip.csv", "report.pdf", "works/report.pdf"}  # a work called `report` hides no page
    assert items["survey_survey_c"]["geometry"] is None and items["survey_survey_c"]["properties"]["description"].endswith("said why")
    assert items["survey_survey_a"]["assets"]["elevation"]["raster:bands"][0]["statistics"] == {
        "minimum": 300.125, "maximum": 300.125, "mean": 300.125, "stddev": 0.0, "valid_percent": 0.625,  # 3 x 6 of 48 x 60 cells
    }  # fmt: skip
    assert items["survey_surface_a"]["assets"]["pond_depth"]["raster:bands"][0]["statistics"] == {"valid_percent": 0.0}
    assert not [name for name, item in items.items() if name.startswith("record-collection_") and (item["geometry"] or "bbox" in item or "collection" in item)]


@pytest.mark.invariant
def test_the_same_twice_and_what_is_gone_is_gone(small):
    small.run(*SURVEYS, "")
    stale = Path(small.where.items("survey")) / "survey_survey_gone.json"
    before = {p: p.read_bytes() for p in small.root.rglob("*.json")}
    stale.write_text("{}")
    small.run(*reversed(SURVEYS), "")
    assert {p: p.read_bytes() for p in small.root.rglob("*.json")} == before and not stale.exists()


@pytest.mark.invariant
def test_no_path_of_the_machine_and_no_clock_is_in_any_record(small):
    small.run(*SURVEYS, "")
    for address, record in small.tree().items():
        text = json.dumps(record)
        assert str(small.root) not in text and "file:///" not in text and '"updated"' not in text and '"created"' not in text
        moments = [record.get("properties", {}).get(n) for n in ("datetime", "start_datetime", "end_datetime")]
        assert {m[:10] for m in moments if m} <= set(DAYS.values())


@pytest.mark.analytic
def test_the_owner_s_words_are_taken_from_the_settings(small):
    told = replace(small, project=project_of(SURVEYS, catalogue={"licence": "CC0-1.0", "provider": "Quillmarsh"}, report={"title": "Quillmarsh Park District"}))
    told.run(*SURVEYS, "")
    tree = told.tree()
    assert {r["license"] for r in tree.values() if r["type"] == "Collection"} == {"CC0-1.0"}
    assert [r["title"] for r in tree.values() if r["id"] == "field_catalogue"] == ["Quillmarsh Park District"]


@pytest.mark.invariant
def test_a_field_without_surveys_has_a_record_without_items(small):
    nothing = replace(small, project=project_of({"survey": ()}))
    records.write(small.where.changed("survey"), {"pairs": []})
    nothing.run("survey", "")
    (field,) = [r for r in nothing.tree().values() if r["id"] == "survey"]
    assert field["extent"]["temporal"]["interval"] == [[None, None]] and not nothing.items() and not faults(field, packed())


@pytest.mark.analytic
def test_every_file_over_all_fields_that_is_known_by_name_is_looked_for(small):
    """What a step writes beside the tables over all fields is found by its place alone, not by a second list."""
    over_all = small.where.over_all
    assert {small.where.index, small.where.portfolio, small.where.hazards, small.where.capital_plan, small.where.plans} <= set(over_all)
    assert not {small.where.catalogue, small.where.district, small.where.build} & set(over_all)
