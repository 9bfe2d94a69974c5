"""Drawings of a design, read back by other readers: group codes by hand, gpxpy, lxml, pandas."""

from __future__ import annotations

import datetime as dt
import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import gpxpy
import numpy as np
import pandas as pd
import pytest
from lxml import etree
from pyproj import Transformer
from shapely.geometry import LineString

from pipeline.coordinates import unit_m, working_crs
from pipeline.diamond.layout import Drawing, Feature, build
from pipeline.report import palette
from pipeline.report.layer_styles import STYLES
from pipeline.steps.grade_drawings import write_drawings
from pipeline.steps.report import write_styles
from pipeline.steps.history_layers import COLUMNS
from pipeline.works.design import LASER_PLANE, TOUCH_UP, Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import keep_outs_of
from pipeline.works.stakes import Stake
from report.scene import reads

OWN = [("EPSG:6564", (627461.9, 84051.2), 1.0, "6"), ("EPSG:6565", (2058597.917, 275757.979), 1200 / 3937, "21"), ("EPSG:2992", (1400000.0, 1100000.0), 0.3048, "2")]
SURVEY = {"survey_id": "meadow-1", "flown_on": "2026-04-07", "verdict": "absolute"}
NASTY = "=1+1, then\na second line, and a third"


def made(folder, own, home, variant=LASER_PLANE):
    """Drawings of a plane over a softball skin: the plane's formula is the truth."""
    folder.mkdir(exist_ok=True)
    working = working_crs(own)
    step = Transformer.from_crs(own, working, always_xy=True)
    e, n = step.transform(*home)
    layout = build(Drawing("meadow", working, 0.1, "softball-60", None, (e, n), (e + 21.9, n + 13.7)))
    ee, nn = layout.grid.mesh()
    truth = lambda e_, n_: 170 + 0.008 * (e_ - e) - 0.003 * (n_ - n)
    existing = truth(ee, nn) - 0.03 * (np.hypot(ee - layout.anchors["second"][0], nn - layout.anchors["second"][1]) < 1.2)
    design = Design(variant, layout.grid, existing, np.where(layout.grid.mask(layout.skin), truth(ee, nn), np.nan))
    cable = Feature("cable", "cable-1", LineString([(e + 5, n + 5), (e + 5, n + 12)]), {})
    kept = keep_outs_of(layout, (cable,), dt.date(2026, 4, 7))
    rows = {"control": reads("control", {"point_id": "nail", "e": str(home[0]), "n": str(home[1]), "height": "560.1234", "unit": "us-ft", "crs": own, "height_reference": "EPSG:5703", "field_id": "meadow", "description": NASTY})}  # fmt: skip
    job = SimpleNamespace(field="meadow", field_row={"crs": own}, rows=rows)
    runs = [{"run": 1, "purpose": "whole_skin", "bearing_deg": 45.0, "entry": "home", "line": [[e + 2, n + 2], [e + 15, n + 15]]}]
    stake = Stake(1, e + 9, n + 9, 170.0, 170.02, "second\nbase, middle", False)
    left = write_drawings(folder, job, layout, design, [Hollow("second", *layout.anchors["second"], 1.5, 1.5, 2.7)], kept, runs, [stake], SURVEY)
    return left, layout, truth, step, kept, job, (e, n)


def entities(path) -> list[list[tuple[int, str]]]:
    """The drawing's entities as group codes: a number on one line, its value on the next, a 0 begins the next entity."""
    lines = path.read_text().split("\n")
    pairs = [(int(a), b) for a, b in zip(lines[0::2], lines[1::2])]
    begins = next(k for k, pair in enumerate(pairs) if pair == (2, "ENTITIES"))
    ends = next(k for k in range(begins, len(pairs)) if pairs[k] == (0, "ENDSEC"))
    out: list[list[tuple[int, str]]] = []
    for code, value in pairs[begins + 1 : ends]:
        if code == 0:
            out.append([])
        out[-1].append((code, value))
    return out


def figure(entity, code: int) -> float:
    return next(float(v) for c, v in entity if c == code)


@pytest.mark.independent
@pytest.mark.parametrize(("own", "home", "metres", "insert"), OWN)
def test_a_plan_read_by_its_group_codes_gives_the_surface_to_a_millimetre(tmp_path, own, home, metres, insert):
    _, layout, truth, step, kept, _, _ = made(tmp_path, own, home)
    found = entities(tmp_path / "design.dxf")
    faces = [e for e in found if e[0] == (0, "3DFACE")]
    corners = np.array([[[figure(f, c + k) for c in (10, 20, 30)] for k in range(3)] for f in faces])
    e, n = step.transform(corners[..., 0], corners[..., 1])
    assert len(faces) > 1000 and np.abs(corners[..., 2] * metres - truth(e, n)).max() < 1e-3
    rng = np.random.default_rng(7)
    weights = rng.dirichlet([1, 1, 1], len(faces))
    e, n, z = (np.einsum("fk,fk->f", weights, v) for v in (e, n, corners[..., 2] * metres))
    assert np.abs(z - truth(e, n)).max() < 1e-3
    a, b = corners[:, 1, :2] - corners[:, 0, :2], corners[:, 2, :2] - corners[:, 0, :2]
    assert (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() / 2 * metres**2 == pytest.approx(layout.skin.area, rel=0.03)
    levels = [e for e in found if (8, "designed level lines") in e]
    assert levels
    for line in levels:
        e, n = step.transform(np.array([float(v) for c, v in line if c == 10]), np.array([float(v) for c, v in line if c == 20]))
        assert np.abs(truth(e, n) - figure(line, 38) * metres).max() < 1e-3
    text = (tmp_path / "design.dxf").read_text()
    assert f"$INSUNITS\n 70\n{insert:>6}\n" in text or f"$INSUNITS\n 70\n{insert}\n" in text
    assert {v for e in found for c, v in e if c == 8} == {"designed surface", "designed level lines", "grass edge", "keep off", "ground kept free", "stakes", "runs", "notes"}
    assert sum((8, "ground kept free") in e for e in found) == len(kept)


@pytest.mark.independent
def test_a_general_reader_finds_nothing_wrong_with_the_plan(tmp_path):
    import ezdxf

    made(tmp_path, *OWN[1][:2])
    audit = ezdxf.readfile(tmp_path / "design.dxf").audit()
    assert not audit.errors and not audit.fixes


@pytest.mark.invariant
def test_the_same_design_gives_the_same_bytes_and_no_clock(tmp_path):
    for folder in ("a", "b"):
        made(tmp_path / folder, *OWN[1][:2])
        write_styles(tmp_path / folder)
    names = sorted(p.name for p in (tmp_path / "a").iterdir())
    assert {"design.dxf", "passes.gpx", "control.csv", "passes.sld"} <= set(names)
    assert all((tmp_path / "a" / x).read_bytes() == (tmp_path / "b" / x).read_bytes() for x in names)
    julian = 2461137.5  # 2026-04-07 at midnight: 2451544.5 is 2000-01-01 (Meeus 1991, from memory), 9593 days before
    text = (tmp_path / "a" / "design.dxf").read_text()
    assert text.count(f"\n{julian}\n") == 4  # made and changed, here and in universal time
    assert not re.search(r"\d\d:\d\d", text.replace("00:00", ""))


@pytest.mark.invariant
def test_a_design_that_only_fills_draws_the_filled_ground_alone(tmp_path):
    _, layout, _, step, _, _, _ = made(tmp_path, *OWN[1][:2], variant=TOUCH_UP)
    faces = [e for e in entities(tmp_path / "design.dxf") if e[0] == (0, "3DFACE")]
    e, n = step.transform([figure(f, 10) for f in faces], [figure(f, 20) for f in faces])
    assert faces and np.hypot(np.array(e) - layout.anchors["second"][0], np.array(n) - layout.anchors["second"][1]).max() < 1.21


@pytest.mark.independent
@pytest.mark.parametrize(("own", "home", "metres", "insert"), OWN)
def test_runs_read_by_another_reader_lie_where_they_were_planned(tmp_path, own, home, metres, insert):
    _, layout, _, _, kept, _, (e, n) = made(tmp_path, own, home)
    text = (tmp_path / "passes.gpx").read_text()
    read = gpxpy.parse(text)
    base = Transformer.from_crs(layout.grid.crs, working_geographic(layout.grid.crs), always_xy=True)
    ends = [(p.longitude, p.latitude) for p in read.tracks[0].segments[0].points]
    back = np.array([base.transform(*p, direction="INVERSE") for p in ends])
    assert np.abs(back - [[e + 2, n + 2], [e + 15, n + 15]]).max() < 0.003  # 8 decimals of a degree are 1 mm
    assert len(read.waypoints) == 1 + len(kept) and {w.name for w in read.waypoints} >= {"second", "cable-1"}
    assert not any(p.time for p in read.tracks[0].segments[0].points) and read.time is None
    assert_order(etree.fromstring(text.encode()))


def working_geographic(crs):
    from pyproj import CRS

    return CRS.from_user_input(crs).geodetic_crs


def assert_order(root) -> None:
    """What the schema of GPX 1.1 asks for (from memory): metadata, wpt, rte, trk in that order; in each, name before desc; lat and lon in range."""
    space = "{http://www.topografix.com/GPX/1/1}"
    rank = [("metadata", "wpt", "rte", "trk").index(c.tag.removeprefix(space)) for c in root]
    assert root.tag == space + "gpx" and root.get("version") == "1.1" and root.get("creator") and rank == sorted(rank)
    for point in root.iter(space + "wpt", space + "trkpt"):
        assert -90 <= float(point.get("lat")) <= 90 and -180 <= float(point.get("lon")) < 180
    for parent in root.iter(space + "metadata", space + "wpt", space + "trk"):
        assert [c.tag.removeprefix(space) for c in parent][:2] == ["name", "desc"]


@pytest.mark.independent
@pytest.mark.parametrize(("own", "home", "metres", "insert"), OWN)
def test_control_leaves_in_the_field_s_own_coordinates_and_foot(tmp_path, own, home, metres, insert):
    left, *_ = made(tmp_path, own, home)
    found = pd.read_csv(tmp_path / "control.csv").iloc[0]
    assert left == [] and found.e == pytest.approx(home[0], abs=1e-3) and found.n == pytest.approx(home[1], abs=1e-3)
    assert found.height * unit_m_of(found.crs) == pytest.approx(560.1234 * 1200 / 3937, abs=1e-4)
    assert found.description == "'=1+1, then a second line, and a third"


def unit_m_of(crs: str) -> float:
    from pyproj import CRS

    return unit_m(CRS.from_user_input(crs))


@pytest.mark.invariant
def test_control_without_an_exact_step_is_left_out_and_named(tmp_path):
    _, layout, _, _, kept, job, _ = made(tmp_path, *OWN[1][:2])
    far = reads("control", {"point_id": "elsewhere", "e": "400000", "n": "100000", "height": "1", "unit": "m", "crs": "EPSG:27700", "height_reference": "EPSG:5701"})
    job.rows["control"] = [*job.rows["control"], *far]
    ground = np.full(layout.grid.shape, np.nan)
    assert write_drawings(tmp_path, job, layout, Design(LASER_PLANE, layout.grid, ground, ground), [], kept, [], [], SURVEY) == ["elsewhere"]
    assert list(pd.read_csv(tmp_path / "control.csv").point_id) == ["nail"]
    assert not [e for e in entities(tmp_path / "design.dxf") if e[0] == (0, "3DFACE")]


@pytest.mark.independent
@pytest.mark.parametrize("layer", sorted(COLUMNS))
def test_every_layer_has_a_style_that_another_reader_takes(tmp_path, layer):
    """Rules from the schema of SLD 1.0.0 (from memory): order of elements, names of symbols, filters of columns the layer has."""
    write_styles(tmp_path)
    root = etree.parse(tmp_path / f"{layer}.sld").getroot()
    ns = {"s": "http://www.opengis.net/sld", "o": "http://www.opengis.net/ogc"}
    assert root.get("version") == "1.0.0" and root.xpath("string(s:NamedLayer/s:Name)", namespaces=ns) == layer
    symbol = {"Point": "PointSymbolizer", "LineString": "LineSymbolizer"}.get(COLUMNS[layer]["geometry"], "PolygonSymbolizer")
    rules = root.xpath("//s:Rule", namespaces=ns)
    assert rules
    for rule in rules:
        assert [etree.QName(c).localname for c in rule] == ["Name", "Title", *(["Filter"] if rule.find("o:Filter", ns) is not None else []), symbol]
    assert {p.text for p in root.iter("{http://www.opengis.net/ogc}PropertyName")} <= set(COLUMNS[layer])
    assert {m.text for m in root.iter("{http://www.opengis.net/sld}WellKnownName")} <= {"square", "circle", "triangle", "star", "cross", "x"}


@pytest.mark.invariant
@pytest.mark.parametrize("layer", sorted(k for k, rules in STYLES.items() if len(rules) > 1))
def test_the_ways_of_drawing_one_layer_differ_in_grey(layer):
    """By dash, mark or size, or by a lightness 25 of 255 apart (ITU-R BT.601 weights)."""
    grey = lambda colour: sum(w * v for w, v in zip((0.299, 0.587, 0.114), palette.rgb(colour))) if colour else 255.0
    for k, one in enumerate(STYLES[layer]):
        for other in STYLES[layer][:k]:
            form = (one.dash, one.mark, one.size) != (other.dash, other.mark, other.size)
            assert form or abs(grey(one.fill or one.stroke) - grey(other.fill or other.stroke)) >= 25


@pytest.mark.invariant
def test_another_run_gives_the_same_bytes_too():
    """Python orders its sets anew in each run; nothing of a drawing may hang on that."""
    code = ("import sys, tempfile, pathlib; from pipeline.store import drawing; p = pathlib.Path(tempfile.mkdtemp()) / 'x.dxf'; "
            "drawing.write(p, drawing.Plan(points={'stakes': [('1', 1.0, 2.0, 3.0)]}, notes=('n',)), 'm', 1.0, '2026-04-07'); sys.stdout.write(p.read_text())")  # fmt: skip
    run = lambda seed: subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env={**os.environ, "PYTHONHASHSEED": seed}, cwd=Path(__file__).resolve().parents[2]).stdout
    assert len({run(seed) for seed in ("1", "2", "3", "4")}) == 1
