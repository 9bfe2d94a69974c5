"""The docs: generated pages are the code's, links lead somewhere, every word and command is explained, quoted numbers still stand."""

from __future__ import annotations

import importlib
import json
import re
import runpy
from pathlib import Path

import pytest
import typer

from pipeline import errors, fingerprint, jobs, tables
from pipeline.cli import app
from pipeline.diamond.features import ROLES
from pipeline.project import Project
from pipeline.settings import SHARED, Config
from pipeline.steps.history_layers import COLUMNS as LAYERS
from pipeline.surface import verdict
from pipeline.variables import TABLES

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
MAKE = "run: .venv/bin/python docs/make_docs.py"
SAID = json.loads((DOCS / "columns.json").read_text(encoding="utf-8"))
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]
MADE_AT_RUN_TIME = {"demo_inputs/clouds/truth"}


def text(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


# ---- generated pages ----------------------------------------------------------------------------------


@pytest.mark.invariant
def test_the_generated_pages_are_the_ones_the_code_makes():
    for name, made in runpy.run_path(str(DOCS / "make_docs.py"))["made"]().items():
        assert text(name) == made, f"{name}: {MAKE}"


@pytest.mark.invariant
def test_every_column_role_layer_and_table_is_described_and_nothing_else():
    assert {t: list(c) for t, c in SAID["in"].items()} == {t: [f.name for f in c] for t, c in tables.TABLES.items()}
    assert set(SAID["tables"]) == set(tables.TABLES) and set(SAID["results"]) == set(TABLES)
    assert set(SAID["roles"]) == set(ROLES) and set(SAID["layers"]) == set(LAYERS)
    assert set(SAID["more"]) <= {f"{t}.{c.name}" for t, columns in TABLES.items() for c in columns}


@pytest.mark.invariant
@pytest.mark.parametrize(("file", "steps"), [("survey_json", ("tie_record",)), ("provenance_json", ("history",))])
def test_the_keys_of_the_records_are_written_by_their_steps(file, steps):
    source = "\n".join((ROOT / "pipeline" / "steps" / f"{s}.py").read_text() for s in steps)
    assert not [key for key in SAID[file] if f'"{key}"' not in source]


# ---- what is said not to be read ----------------------------------------------------------------------


def sources(*floors: str) -> str:
    """The code of some floors that a step or the desk reaches: maths that nobody calls yet does nothing."""
    starts = [*(ROOT / "pipeline" / "steps").glob("*.py"), *(ROOT / "pipeline" / "desk").glob("*.py")]
    reached = {p for start in starts for p in fingerprint.sources(start) if p.suffix == ".py"}
    return "\n".join(p.read_text() for p in sorted(reached) if p.relative_to(ROOT / "pipeline").parts[0] in floors)


def handed_tables() -> set[str]:
    """Tables of which any job is handed rows."""
    texts = {
        "fields": "field_id,crs,layout,home_e,home_n,second_e,second_n\nf,EPSG:6564,baseball-90,0,0,0,38.8\n",
        "surveys": "survey_id,flown_on,fields,path,source\ns,2026-04-01,f,a.laz,lidar\n",
    }
    from pipeline.store.tables import parse_rows

    rows = {name: tables.read(name, parse_rows(texts[name], name))[0] if name in texts else () for name in tables.TABLES}
    project = Project(Config(), rows, {})
    return {t for verb in SHARED for t in json.loads(jobs.given(project, verb, ".", "f", "s"))["rows"]}


@pytest.mark.invariant
def test_a_table_said_not_to_be_read_is_handed_to_no_job():
    unread = {t for t, said in SAID["tables"].items() if "not read by any step yet" in said}
    assert unread == set(tables.TABLES) - handed_tables()


@pytest.mark.invariant
def test_knobs_said_not_to_be_read_are_not_and_all_others_are():
    code = sources("steps", "survey", "surface", "change", "report", "desk", "diamond", "store") + (ROOT / "pipeline/jobs.py").read_text()
    for section in (*(s for s in SHARED if s in Config.model_fields), "material"):
        for knob in type(getattr(Config(), section)).model_fields:
            unread = f"{section}.{knob}" in SAID["knobs_not_read"]
            found = re.search(rf"\b{knob}\b", code) is not None
            assert found != unread, f"{section}.{knob}: docs/columns.json says {'not read' if unread else 'read'}; then {MAKE}"


@pytest.mark.invariant
def test_the_tolerances_said_to_judge_are_the_ones_that_do():
    code = sources("steps", "survey", "surface", "change") + (ROOT / "pipeline/report/findings.py").read_text()
    judging = [n for n in type(Config().tolerances).model_fields if re.search(rf"\b{n}\b", code)]
    assert judging == SAID["tolerances_judged"]


@pytest.mark.invariant
def test_columns_said_not_to_be_used_are_named_by_no_step():
    code = sources("steps", "report", "change", "surface", "desk")
    ambiguous = {"notes", "hours", "cost", "description", "kind", "bearing_deg", "role", "e", "n", "sod_m2"}  # words that stand for something else, too
    unused = {c for columns in SAID["in"].values() for c, said in columns.items() if "kept, not used" in said} - ambiguous
    assert len(unused) > 1 and not [c for c in unused if f'"{c}"' in code]


# ---- links, words, commands ---------------------------------------------------------------------------


def slug(heading: str) -> str:
    """A heading's anchor as Markdown viewers make it."""
    return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")


@pytest.mark.invariant
@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_every_link_and_path_leads_somewhere(page):
    body = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", body):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        file = page.parent / name if name else page
        assert file.exists(), f"{page.name} links to {target}"
        assert not anchor or anchor in {slug(h) for h in re.findall(r"^#+ (.*)$", file.read_text(encoding="utf-8"), re.M)}, target
    for named in re.findall(r"\b(?:docs|config|pipeline|benchmarks|tests|demo_inputs|requirements)/[\w./-]*", body):
        named = named.rstrip("./")
        assert named in MADE_AT_RUN_TIME or (ROOT / named).exists(), f"{page.name} names {named}"
    for named in re.findall(r"`((?:store|diamond|survey|surface|change|steps|report|simulate)/\w+\.py|\w+\.py)`", body):
        assert (ROOT / "pipeline" / named).is_file(), f"{page.name} names {named}"


@pytest.mark.invariant
def test_every_page_of_the_docs_stands_in_their_list():
    assert {p.name for p in DOCS.glob("*.md")} - {"README.md"} == set(re.findall(r"^\| \[([\w-]+\.md)\]", text("README.md"), re.M))


@pytest.mark.invariant
def test_every_operator_command_and_option_is_documented():
    body = text("README.md")
    for name, command in typer.main.get_command(app).commands.items():
        if command.hidden:
            continue
        assert f"`skinplane {name}" in body, name
        options = [o for p in command.params for o in p.opts if o.startswith("--") and o != "--help"]
        assert not [o for o in options if f"`{o}" not in body]


WORDS = {
    "refusals": tuple(errors.REFUSALS), "relative": tuple(errors.RELATIVE), "verdicts": verdict.ORDER,
    "of a survey": ("absolute", "relative_only", "refused"), "tie": ("reference", "drift", "none"),
    "grass": ("colour", "intensity", "roughness", "not_seen"), "kinds": ("lip", "low_skin", "flush", "step"), "calibration": ("none", "field", "edge"), "source": ("drawn", "layout", "fitted"),
    "hazard": ("open", "closed", "low_spot", "repaired", "accepted", "marked_off"), "change": ("detected", "relative"),
    "removed": ("outside", "class_noise", "not_finite", "withheld", "empty", "above", "below", "object", "float", "single", "other_quality",
                "standing_still", "repeated", "height_spike", "stretch_off"),
}  # fmt: skip


@pytest.mark.invariant
@pytest.mark.parametrize("group", WORDS)
def test_every_word_is_explained(group):
    assert not [w for w in WORDS[group] if f"`{w}`" not in text("words.md")]


# ---- numbers quoted by hand ---------------------------------------------------------------------------

QUOTED = [
    ("survey.stable.tie", "MIN_PATCHES", 5), ("survey.stable.tie", "MAX_GAP_DEG", 180.0), ("survey.stable.tie", "MAX_SIGMA_M", 0.010), ("survey.stable.tie", "MOVED_SD", 3.5),
    ("survey.stable.tie", "MAX_INFLATION", 9.0), ("survey.stable.jump", "JUMP_M", 0.150), ("survey.edges.horizontal", "LIMIT_M", 0.150),
    ("survey.edges.horizontal", "SIGMA_LIMIT_M", 0.020), ("survey.edges.horizontal", "LEAST_SPAN_DEG", 60.0), ("survey.edges.horizontal", "LEAST_PIECES", 5),
    ("survey.edges.horizontal", "SIGMA_FACTOR", 1.5), ("survey.stable.drift", "PRIOR_SHIFT_M", 0.300), ("survey.stable.drift", "PRIOR_TILT_M", 0.015),
    ("survey.stable.misfit", "PATCH_MOVES_M", 0.001), ("survey.stable.patches", "SHRINK_M", 0.05), ("survey.stable.patches", "MIN_POINTS", 3),
    ("survey.cells.cells", "FEWEST", 3), ("survey.cells.cells", "MEDIAN_UP_TO", 64), ("survey.cells.blocks", "QUANTILE", 0.30), ("survey.cells.blocks", "STEEP", 0.15),
    ("survey.cells.cover", "STEEP_SHARE_MAX", 0.03), ("survey.cells.screen", "ABOVE_M", 0.060), ("survey.cells.screen", "BELOW_M", 0.040),
    ("survey.cells.screen", "SPREADS", 5.0), ("survey.cells.screen", "HOLLOW_M", 0.35), ("survey.reading.rounding", "STEP_Z_M", 0.005),
    ("survey.reading.rounding", "SHARE_OF_CELL", 0.25), ("survey.walks.tin", "REACH_M", 1.5), ("survey.walks.crossings", "NAMED_CROSSINGS", 3),
    ("survey.walks.crossings", "WITNESSES", 2), ("survey.edges.edge_fit", "REACH_M", 0.70), ("survey.edges.edge_level", "SKIN_WINDOW", (-0.8, -0.3)),
    ("survey.edges.edge_level", "TURF_WINDOW", (0.9, 1.4)), ("survey.edges.edge_table", "CLEAR_M", 1.0), ("survey.edges.edge_cover", "SEEN_SIGMA", 0.08),
    ("survey.edges.edge_cover", "PLAIN_SIGMA", 0.15), ("survey.walks.walk_edges", "LEAST_SHARE", 0.08), ("survey.walks.walk_edges", "LEAST_LEGS", 6),
    ("survey.walks.walk_edges", "LEAST_COVER", 0.6), ("survey.walks.walk_edges", "WORST_M", 0.010), ("survey.cells.into_tiles", "NOISE_CLASSES", (7, 18, 65)),
    ("surface.lip", "SMOOTH_M", 2.0), ("surface.lip", "RISE_M", 0.006), ("surface.lip", "FALL_M", 0.004), ("surface.lip", "SURE", 0.90),
    ("surface.lip", "THINNED", 0.75), ("surface.lip_shape", "CREST_WINDOW", (-0.10, 0.15)), ("surface.calibration", "LEAST_READINGS", 3),
    ("surface.calibration", "PLAIN_M", 0.032), ("surface.calibration", "PLAIN_SD_M", 0.012), ("surface.calibration", "GIVEN_SD_M", 0.008),
    ("surface.calibration", "EDGE_SD_M", 0.003), ("surface.masks", "BUFFER_M", 0.3), ("surface.masks", "ANCHOR_M", 0.25),
    ("surface.ring", "LEAST_RING_DEG", 200.0), ("surface.ring", "LEAST_DISC_COVER", 0.8), ("surface.ring", "MOST_WEIGHT", 3.0),
    ("surface.ponds", "RAIN_M", 0.010), ("surface.ponds", "SMOOTH_SD_M", 0.15), ("surface.spots", "BY_NOISE_KNOWN", 0.1),
    ("surface.spots", "BY_NOISE_LISTED", 1.0), ("surface.spots", "SURE", 1.96), ("surface.pond_chance", "VOLUME_WIDER", 1.35),
    ("surface.evenness", "EVERY_M", 0.5), ("surface.evenness", "SMOOTH_FWHM_M", 0.3), ("surface.evenness", "PERCENTILE", 95.0),
    ("surface.slope", "BLOCK_M", 0.5), ("surface.slope", "LEVEL_SIGMAS", 2.0), ("surface.verdict", "SURE", 0.8),
    ("surface.verdict", "UNLIKELY", 0.2), ("surface.verdict", "DECIDABLE", 0.84), ("change.zones", "MIN_COVER", 0.60),
    ("change.zones", "MAX_SKIN_SHARE", 0.50), ("change.lip_growth", "LEAST_SEEN", 0.60), ("change.lip_growth", "MOST_TURF_CHANGE_M", 0.060),
    ("change.lip_growth", "STRIP_SHARE", 0.03), ("change.lip_growth", "SHAPE_SHARE", 0.08), ("change.lip_growth", "FLOOR_M", 0.0004),
    ("change.trend", "MIN_SURVEYS", 4), ("change.trend", "MIN_YEARS", 0.7), ("steps.measure_lip", "READING_DAYS", 21),
    ("steps.measure_zones", "STRAIGHTEDGE_M", 3.0), ("steps.spot_given", "CANOPY_M", 0.040), ("diamond.layout", "GROWN_M", 3.0),
    ("diamond.places", "RING_M", (1.5, 2.7)), ("diamond.places", "DISC_M", 0.9), ("diamond.places", "LANDING_RING_M", (1.2, 2.0)),
    ("diamond.edges", "TURN_LIMIT_DEG", 22.0), ("survey.cells.plants", "LEAST_SHARE", 0.12), ("survey.cells.plants", "ALONE", 0.35),
    ("survey.cells.plants", "SIGMAS", 4.0), ("survey.cells.plants", "HIDDEN_M", 0.050), ("survey.cells.plants", "SMOOTH_POINTS", 400.0),
    ("survey.cells.plant_ground", "CLEAR_M", 0.30), ("survey.cells.plant_ground", "TURF_M", (0.75, 2.8)), ("survey.cells.plant_relief", "STANDS_M", 0.020),
    ("surface.covered", "MOST_COVERED", 0.30), ("steps.history_grass", "LAYOUT_OFF_M", 0.20), ("project", "HOME_TO_SECOND_SLACK_M", 0.60), ("report.findings", "SEEN_SHARE", 0.6),
]  # fmt: skip


@pytest.mark.frozen
@pytest.mark.parametrize(("module", "name", "value"), QUOTED, ids=lambda v: str(v))
def test_a_number_that_the_docs_quote_still_stands_in_the_code(module, name, value):
    found = getattr(importlib.import_module(f"pipeline.{module}"), name)
    assert found == value, f"pipeline/{module.replace('.', '/')}.py: {name} changed; correct docs/*.md, then this line"


@pytest.mark.frozen
def test_the_noise_table_is_the_declared_noise():
    from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, ROVER, WEAK_PHOTOGRAMMETRY

    page = text("method.md")
    for word, noise in (("photogrammetry, good", GOOD_PHOTOGRAMMETRY), ("photogrammetry, weak", WEAK_PHOTOGRAMMETRY), ("lidar", LIDAR), ("rover", ROVER)):
        row = next(line for line in page.splitlines() if line.startswith(f"| {word} |"))
        parts = ", ".join(f"{sd * 1000:g} @ {reach:g}" for sd, reach in noise.parts)
        assert f"| {noise.white_m * 1000:g} mm | {parts}" in row
        assert f"| {noise.shift_m * 1000:g} | {noise.tilt * 1000:g} | {noise.dome_m * 1000:g} | {noise.horizontal_m * 1000:g} |" in row
