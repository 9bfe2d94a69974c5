"""Stakes of a design, and the files surveyors take: read back by pandas and pyproj in metres and both feet."""

from __future__ import annotations

import datetime as dt
import json
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer

from pipeline.coordinates import working_crs
from pipeline.diamond.layout import Drawing, build
from pipeline.errors import BadInput
from pipeline.steps.grade_exports import write_exports
from pipeline.store.stakeout import check_bare, plain
from pipeline.works.design import LASER_PLANE, TOUCH_UP, Design
from pipeline.works.grading.touch_up import Hollow
from pipeline.works.keep_outs import keep_outs_of
from report.scene import config, reads

# own CRS, where home lies in it, and metres in its unit: metres, US survey feet (twins of Pennsylvania South), international feet (Oregon North)
OWN = [("EPSG:6564", (627461.9, 84051.2), 1.0), ("EPSG:6565", (2058597.917, 275757.979), 1200 / 3937), ("EPSG:2992", (1400000.0, 1100000.0), 0.3048)]


def made(tmp_path, own: str, home: tuple[float, float], variant: str = LASER_PLANE, units: str = "us"):
    """Exports of a plane over a softball skin: the design's own formula is the truth."""
    working = working_crs(own)
    step = Transformer.from_crs(own, working, always_xy=True)
    e, n = step.transform(*home)
    layout = build(Drawing("meadow", working, 0.1, "softball-60", None, (e, n), (e + 21.9, n + 13.7)))
    ee, nn = layout.grid.mesh()
    existing = 170 + 0.008 * (ee - e) - 0.003 * (nn - n) + 0.01 * np.sin(ee)
    plane = 170 + 0.008 * (ee - e) - 0.003 * (nn - n)
    design = Design(variant, layout.grid, existing, np.where(layout.grid.mask(layout.skin), plane, np.nan))
    hollows = [Hollow("second", *layout.anchors["second"], 1.5, 1.5, 2.7)]
    job = SimpleNamespace(field="meadow", settings=config(units=units), field_row=reads("fields", {"field_id": "meadow", "crs": own, "layout": "softball-60"})[0],
                          rows={"surveys": reads("surveys", {"survey_id": "meadow-1", "flown_on": "2026-04-07", "fields": "meadow", "path": "a.laz", "source": "lidar", "height_reference": "EPSG:5703"})})  # fmt: skip
    found = write_exports(tmp_path, job, layout, design, hollows, keep_outs_of(layout, (), dt.date(2026, 4, 7)), {"survey_id": "meadow-1", "flown_on": "2026-04-07", "verdict": "absolute"})
    return found, layout, design, (e, n), step


@pytest.mark.independent
@pytest.mark.parametrize(("own", "home", "metres"), OWN)
def test_points_read_back_lie_on_the_design_to_a_millimetre(tmp_path, own, home, metres):
    """pandas reads, pyproj carries back: heights within 1 mm of the plane's formula, cells' size allowed for along its slope."""
    found, layout, design, (e0, n0), step = made(tmp_path, own, home)
    headed = pd.read_csv(tmp_path / "stakeout.csv")
    bare = pd.read_csv(tmp_path / "stakeout_bare.csv", header=None, names=["point", "northing", "easting", "height", "description"])
    assert len(headed) == len(bare) == len(found) > 30
    e, n = step.transform(bare["easting"].to_numpy(), bare["northing"].to_numpy())
    plane = 170 + 0.008 * (e - e0) - 0.003 * (n - n0)
    off = np.abs(bare["height"] * metres - plane)
    grade = (headed["description"] == "grade").to_numpy()
    assert off[grade].max() < 0.001 and off.max() < 0.003  # a base's height is read beside its plug
    assert np.allclose(headed["design"] - headed["existing"], headed["fill"] - headed["cut"], atol=0.0021)
    about = json.loads((tmp_path / "about.json").read_text())
    assert about["unit"]["metres"] == pytest.approx(metres, rel=1e-12) and about["horizontal_crs"]["code"] == own and about["height_reference"] == "EPSG:5703"


def in_feet(skin, metres: float):
    return shapely.transform(skin, lambda xy: xy / metres)


@pytest.mark.independent
def test_the_two_feet_are_not_the_same(tmp_path):
    """At 2,000,000 ft they lie 4 ft apart: points taken for international feet fall off the field."""
    found, layout, *_ = made(tmp_path, "EPSG:6565", OWN[1][1])
    assert check_bare(tmp_path / "stakeout_bare.csv", in_feet(layout.skin, 1200 / 3937), 1200 / 3937)
    with pytest.raises(BadInput) as caught:
        check_bare(tmp_path / "stakeout_bare.csv", in_feet(layout.skin, 0.3048), 0.3048)
    assert "about.json" in str(caught.value.problems[0])


NS = {"x": "http://www.landxml.org/schema/LandXML-1.2"}


@pytest.mark.independent
@pytest.mark.parametrize(("own", "home", "metres"), OWN)
@pytest.mark.parametrize("variant", [LASER_PLANE, TOUCH_UP])
def test_the_surface_read_back_from_xml_is_the_design_to_a_millimetre(tmp_path, own, home, metres, variant):
    """Read by the standard library's own parser and scipy's interpolation over the triangles' corners. Rules as a national profile of
    the schema (same namespace) states them: date, time, version; five units; a named surface; surfType; three points or more with
    positive, different ids; faces of three ids that exist."""
    found, layout, design, (e0, n0), step = made(tmp_path, own, home, variant)
    root = ElementTree.parse(tmp_path / "design.xml").getroot()
    assert root.tag == f"{{{NS['x']}}}LandXML" and root.get("version") == "1.2" and root.get("date") == "2026-04-07" and root.get("time")
    units = list(root.find("x:Units", NS))[0]
    assert {"areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit"} <= set(units.attrib)
    assert units.get("linearUnit") == {1.0: "meter", 0.3048: "foot"}.get(metres, "USSurveyFoot") and units.tag.endswith("Metric" if metres == 1 else "Imperial")
    definition = root.find("x:Surfaces/x:Surface", NS).find("x:Definition", NS)
    assert definition.get("surfType") == "TIN" and [c.tag.split("}")[1] for c in definition] == ["Pnts", "Faces"]
    points = definition.findall("x:Pnts/x:P", NS)
    ids = [int(p.get("id")) for p in points]
    assert len(set(ids)) == len(ids) >= 3 and min(ids) > 0
    faces = np.array([[int(v) for v in f.text.split()] for f in definition.findall("x:Faces/x:F", NS)])
    assert faces.shape[1] == 3 and set(faces.ravel()) <= set(ids)
    n, e, z = np.array([[float(v) for v in p.text.split()] for p in points]).T
    e, n = step.transform(e, n)
    assert layout.skin.buffer(0.2).contains(shapely.MultiPoint(np.column_stack([e, n])))  # exchanged numbers would lie elsewhere
    corners = np.column_stack([e, n])[faces - 1]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    turn = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    assert (turn > 0).all()
    rng = np.random.default_rng(2)
    w = rng.dirichlet((1, 1, 1), len(faces))
    at, height = np.einsum("fk,fkd->fd", w, corners), (w * z[faces - 1]).sum(axis=1) * metres
    assert np.abs(height - (170 + 0.008 * (at[:, 0] - e0) - 0.003 * (at[:, 1] - n0))).max() < 0.001
    graded = np.isfinite(design.design) if variant == LASER_PLANE else design.cut_fill > 1e-4
    assert turn.sum() / 2 == pytest.approx(graded.sum() * design.grid.cell_area_m2, rel=0.03 if variant == LASER_PLANE else 0.35)


@pytest.mark.invariant
def test_northing_and_easting_exchanged_are_named(tmp_path):
    found, layout, *_ = made(tmp_path, "EPSG:6564", OWN[0][1])
    path = tmp_path / "stakeout_bare.csv"
    assert len(check_bare(path, layout.skin, 1.0)) == len(found)
    table = pd.read_csv(path, header=None)
    table[[0, 2, 1, 3, 4]].to_csv(path, header=False, index=False)
    with pytest.raises(BadInput) as caught:
        check_bare(path, layout.skin, 1.0)
    assert len(caught.value.problems) == len(found) and "exchanged" in str(caught.value.problems[0])


@pytest.mark.invariant
def test_a_point_where_no_blade_may_go_is_there_and_says_so(tmp_path):
    found, *_ = made(tmp_path, "EPSG:6564", OWN[0][1], TOUCH_UP)
    assert {"first", "third", "second, middle", "second, home side"} <= {s.description for s in found}
    assert not any(s.description == "second" for s in found)  # its hollow's middle stands there
    assert all(s.by_hand for s in found if s.description in ("first", "second, middle", "third")) and not any(s.description == "grade" for s in found)
    bare = (tmp_path / "stakeout_bare.csv").read_text()
    assert "first; by hand" in bare and all(line.count(",") == 4 for line in bare.splitlines())


@pytest.mark.invariant
def test_the_same_design_gives_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        made(tmp_path / name, "EPSG:6565", OWN[1][1])
    for file in ("stakeout.csv", "stakeout_bare.csv", "about.json", "design.xml"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


@pytest.mark.invariant
@pytest.mark.parametrize(("text", "kept"), [("=1+1", "'=1+1"), ("@home", "'@home"), ("second,\nmiddle", "second, middle"), ("plain", "plain")])
def test_no_description_is_taken_for_a_formula_or_breaks_its_line(text, kept):
    assert plain(text) == kept


@pytest.mark.analytic
def test_sides_are_those_of_the_field_or_of_the_compass():
    from pipeline.diamond.axes import Axes
    from pipeline.works.stakes import sides

    turned = {word: (e, n) for word, e, n in sides(Axes(0.0, 0.0, np.radians(30)))}
    assert turned["outfield side"] == pytest.approx((0.5, 0.75**0.5)) and turned["home side"] == pytest.approx((-0.5, -(0.75**0.5)))
    assert turned["first-base side"] == pytest.approx((0.75**0.5, -0.5)) and turned["third-base side"] == pytest.approx((-(0.75**0.5), 0.5))
    assert [w for w, *_ in sides(None)] == ["north side", "east side", "south side", "west side"]
