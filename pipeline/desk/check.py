"""`check`: settings, tables, drawn shapes and the header of every cloud, before anything runs."""

from __future__ import annotations

from pathlib import Path

from pipeline.desk.headers import headers
from pipeline.desk.look import look, stable_ground
from pipeline.planning import unpriced
from pipeline.project import Project
from pipeline.settings import RULEBOOK_AGAINST
from pipeline.store.config import load

FINE, REFUSED = 0, 3


def check(config: Path) -> int:
    """Print what every cloud's header says. Exit status: 0 fine, 3 some survey would be refused; BadInput otherwise."""
    project, folder = load(config)
    layouts = look(project, folder)
    counts = ((len(project.fields), "field"), (len(project.surveys), "survey"), (len(project.tables["works"]), "work"))
    print(", ".join(f"{n} {word}{'s' * (n != 1)}" for n, word in counts) + ": tables and shapes are in order.")
    if not project.surveys:
        print(f"No survey yet: skinplane add FILE {config} brings one.")
    asked_for(project)
    for field_id, layout in layouts.items():
        for sentence in stable_ground(layout):
            print(f"{field_id}: {sentence}")
    refused = 0
    for survey in project.tables["surveys"]:
        for seen in headers(project, folder, survey, layouts):
            refused += seen.refused
            print(f"{seen.survey_id}  {seen.field_id}: {seen.text}", *(f"    {note}" for note in seen.notes), sep="\n")
    if refused:
        print(f"{refused} survey{'s' * (refused != 1)} would be refused; everything else would run.")
    return REFUSED if refused else FINE


def asked_for(project: Project) -> None:
    """Name the tolerances nobody set: what needs them will read `not_enough_evidence`, of rulebook items `cannot_tell`; and where a
    plan is asked for, the treatments nobody has said the cost of."""
    wanted = ("lip_mm", "lip_trip_mm", "low_spot_mm", "low_spot_trip_mm", "planarity_mm", "straightedge_mm", "slope_min_pct", "slope_max_pct",
              "mix_depth_min_mm", "encroachment_mm")  # fmt: skip
    if any("layout" in row.given for row in project.fields.values()):
        wanted += RULEBOOK_AGAINST
    missing = [name for name in wanted if getattr(project.config.tolerances, name) is None]
    if missing:
        print(f"No tolerance set: {', '.join(missing)}. They are the owner's to set, under `tolerances` of config.yaml.")
    bare = unpriced(project.config.plan, project.config.costs)
    if bare:
        print(f"No cost set: {', '.join(bare)}. The plan does not offer them; they are the owner's to set, under `costs` of config.yaml.")
