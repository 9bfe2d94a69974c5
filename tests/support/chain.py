"""A small project written to a folder, and the whole chain run on it in this process, step by step as the Snakefile's rules do."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Iterable

import numpy as np
import shapely
import yaml

from pipeline import jobs
from pipeline.diamond.carry import from_plain
from pipeline.diamond.layout import Layout
from pipeline.project import Project
from pipeline.steps import change, grade, grid, history, layout, measure, plan, portfolio, report, season, tie
from pipeline.store import rasters, records
from pipeline.store.config import load
from pipeline.store.where import Where

STEPS = {
    "layout": layout, "grid": grid, "tie": tie, "measure": measure, "change": change, "grade": grade, "history": history, "report": report, "season": season, "plan": plan, "portfolio": portfolio,
}  # fmt: skip
OF_FLIGHT, OF_SURVEY, OF_ALL = ("grid",), ("tie", "measure"), ("season", "plan", "portfolio")


@dataclass(frozen=True)
class Shape:
    """Something drawn: its role, its polygon or line in the field's CRS, its name."""

    role: str
    geometry: shapely.Geometry
    name: str = ""


def square(x: float, y: float, side: float) -> shapely.Polygon:
    """A square about its middle."""
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


@dataclass(frozen=True)
class Chain:
    """A project and where its results lie."""

    project: Project
    folder: Path
    where: Where

    def table(self, field: str, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(Path(self.where.table(field, name)).read_text().splitlines()))

    def verdict(self, field: str) -> str:
        """The field's word in portfolio.csv."""
        rows = csv.DictReader(Path(self.where.portfolio).read_text().splitlines())
        return next(r["verdict"] for r in rows if r["field_id"] == field)

    def layout(self, field: str) -> Layout:
        return from_plain(records.read(self.where.layout(field)))

    def raster(self, path: str, field: str) -> np.ndarray:
        """One of the field's rasters, (ny, nx)."""
        return np.asarray(rasters.read(path, self.layout(field).grid), float)

    def record(self, field: str, survey: str) -> dict:
        """survey.json."""
        return records.read(self.where.record(field, survey))

    def page(self, field: str) -> str:
        return Path(self.where.report(field)).read_text()

    def step(self, verb: str, field: str = "", survey: str = "") -> None:
        """One job, handed what the workflow hands it."""
        given = jobs.given(self.project, verb, str(self.folder), field, survey)
        STEPS[verb].run(jobs.job(given, field, survey), self.where)


def write_project(folder: Path, crs: str, fields: dict[str, Iterable[Shape]], surveys: Iterable[dict], **settings) -> Path:
    """config.yaml, fields.csv, surveys.csv, works.csv and a GeoJSON a field. Every survey is of all fields unless it says so.

    crs      : of the fields and of what is drawn, an EPSG code with its authority
    settings : of config.yaml
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "config.yaml").write_text(yaml.safe_dump(settings))
    for name, shapes in fields.items():
        (folder / f"{name}.geojson").write_text(_geojson(crs, shapes))
    _csv(folder / "fields.csv", [{"field_id": name, "crs": crs, "features": f"{name}.geojson"} for name in fields])
    _csv(folder / "surveys.csv", [{"fields": ";".join(fields), "source": "lidar", **row} for row in surveys])
    (folder / "works.csv").write_text("work_id,field_id,done_on,work\n")
    return folder


def run(folder: Path, last: str = "portfolio") -> Chain:
    """Every job of every verb up to `last`, in the order of the Snakefile's rules."""
    project, folder = load(folder)
    chain = Chain(project, folder, Where(str(folder / "results")))
    for verb in list(STEPS)[: list(STEPS).index(last) + 1]:
        for field, survey in _jobs(project, verb):
            chain.step(verb, field, survey)
    return chain


def _jobs(project: Project, verb: str) -> list[tuple[str, str]]:
    """Field and survey of each of a verb's jobs, oldest survey first."""
    if verb in OF_FLIGHT:
        return [("", survey) for survey in project.surveys]
    if verb in OF_ALL:
        return [("", "")]
    if verb in OF_SURVEY:
        return [(field, row["survey_id"]) for field in project.fields for row in project.surveys_of(field)]
    return [(field, "") for field in project.fields]


def _geojson(crs: str, shapes: Iterable[Shape]) -> str:
    authority, code = crs.split(":")
    return json.dumps({
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{authority}::{code}"}},
        "features": [
            {"type": "Feature", "properties": {"role": s.role, "name": s.name or None}, "geometry": shapely.geometry.mapping(s.geometry)}
            for s in shapes
        ],
    })  # fmt: skip


def _csv(path: Path, rows: list[dict]) -> None:
    columns = list(dict.fromkeys(c for row in rows for c in row))
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
