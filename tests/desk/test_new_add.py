"""From nothing to a project that can be run: `new`, `add`, `status`, `show`, and all that must not happen on the way."""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import re

import laspy
import numpy as np
import pytest
import yaml
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.desk import add as adding
from pipeline.desk import new as making
from pipeline.desk import new_config
from pipeline.desk.add import Given as Survey
from pipeline.desk.new import Given
from pipeline.diamond.dimensions import LAYOUTS
from pipeline.errors import BadInput
from pipeline.settings import Config
from pipeline.store.config import load
from pipeline.store.files import named
from pipeline.store.points_said import GPS_ZERO, day_of_clock
from pipeline.units import FOOT_M

HOME, SECOND = "2058597.917,275757.979", "2058669.876,275802.944"
GIVEN = dict(crs="EPSG:6565", field="moth", layout="softball-60", home=HOME, second=SECOND)
SIGNED = dict(tolerances=("lip_mm=25", "lip_trip_mm=50"), set_by='A. "Owner": #1', set_on="2026-03-01")


def tree(folder) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def made(tmp_path, name="p", **more):
    folder = tmp_path / name
    assert making.new(folder, Given(**{**GIVEN, **more}), can_ask=False) == 0
    return folder


def cloud(path, east_ft=2058640.0, north_ft=275790.0, half_ft=100.0, clock_day=None, returns=1, crs="EPSG:6565"):
    """A flat square of points in US survey feet over the field, with a clock where a day is given."""
    from pyproj import CRS

    header = laspy.LasHeader(point_format=7, version="1.4")
    header.scales, header.offsets = (0.001,) * 3, (east_ft, north_ft, 800)
    header.add_crs(CRS.from_user_input(crs))
    header.global_encoding.gps_time_type = laspy.header.GpsTimeType.STANDARD
    x, y = (v.ravel() for v in np.meshgrid(*[np.arange(-half_ft, half_ft, 2.0)] * 2))
    las = laspy.LasData(header)
    las.x, las.y, las.z = x + east_ft, y + north_ft, np.full(len(x), 880.0)
    las.number_of_returns[:] = returns
    las.red = las.green = las.blue = np.full(len(x), 40000, np.uint16)
    if clock_day:
        las.gps_time = np.full(len(x), (clock_day - GPS_ZERO).days * 86400.0 + 43200 - 1e9)
    las.write(path)
    return path


@pytest.mark.analytic
def test_a_new_project_passes_check_and_draws_what_the_layout_says(tmp_path, capsys):
    folder = made(tmp_path, title="Eastside", **SIGNED)
    said = capsys.readouterr().out
    assert "first guess" in said and "2 of 5 patches" in said and "No tolerance set: low_spot_mm" in said and "lip_mm," not in said
    project, _ = load(folder)
    assert project.config.tolerances.lip_mm.of("moth") == 25 and project.config.tolerances.lip_mm.set_by == 'A. "Owner": #1' and project.config.tolerances.planarity_mm is None
    sketch = json.loads((folder / "drawings/moth-sketch.geojson").read_text())
    shapes = {f["properties"]["name"]: f for f in sketch["features"]}
    assert {"skin", "outer", "foul-first", "foul-third", "home", "home-plate", "second base"} <= set(shapes)
    home, second = (np.array([float(v) for v in p.split(",")]) for p in (HOME, SECOND))
    drawn = np.array(shapes["second base"]["geometry"]["coordinates"])
    size = LAYOUTS["softball-60"]
    us_ft = 1200 / 3937
    assert np.hypot(*(drawn - home)) * us_ft == pytest.approx(size.base_m * 2**0.5, abs=2e-3)
    centre = home + (second - home) / np.hypot(*(second - home)) * 43 * FOOT_M / us_ft
    arc = np.array(shapes["outer"]["geometry"]["coordinates"])
    assert np.hypot(*(arc - centre).T) * us_ft == pytest.approx(np.full(len(arc), 60 * FOOT_M), abs=2e-3)
    assert not any("role" in f["properties"] for f in sketch["features"])  # a guess cannot pass for a drawing
    assert CliRunner().invoke(app, ["check", str(folder)]).exit_code == 0


@pytest.mark.invariant
def test_config_names_every_key_and_explains_each_in_a_line(tmp_path):
    text = (made(tmp_path, **SIGNED) / "config.yaml").read_text()
    parts = re.split(r"^(?:# )?(\w+):(?=\s)", text, flags=re.M)
    bodies = dict(zip(parts[1::2], parts[2::2]))
    for name, info in Config.model_fields.items():
        assert parts[1::2].count(name) == 1, name
        section = new_config._model(info.annotation)
        for key in section.model_fields if section else ():
            assert re.search(rf"^(?:# )?\s+{key}:.* # \S", bodies[name], re.M), f"{name}.{key}"
        assert section or re.match(r".* # \S", bodies[name]), name
    # what stands behind a # is the default: without it the settings say the same
    plain = re.sub(r"^# (currency|cell_size_m|random_seed): ", r"\1: ", text, flags=re.M)
    assert plain != text and Config(**yaml.safe_load(plain)) == Config(**yaml.safe_load(text))


@pytest.mark.invariant
@pytest.mark.parametrize("name", ["No", "null", "~", "2026", "1e3", ".5", "a: b", "- a", "Null"])
def test_a_name_stays_the_name_that_was_typed(name):
    assert yaml.safe_load(new_config._line("", "title", name, None, "whose"))["title"] == name


@pytest.mark.invariant
@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        (dict(second="2058669.876,275702.944"), "option-not-allowed"),
        (dict(home="-77.42798,40.08986"), "option-not-allowed"),
        (dict(crs="EPSG:4326"), "option-not-allowed"),
        (dict(field="Moth Field"), "option-not-allowed"),
        (dict(tolerances=("lip_mm=25",)), "option-missing"),
        (dict(tolerances=("lip_mm=50", "lip_trip_mm=25"), set_by="A", set_on="2026-03-01"), "limits-crossed"),
        (dict(layout=None), "option-missing"),
    ],
)
def test_what_cannot_be_used_makes_nothing(tmp_path, wrong, code):
    with pytest.raises(BadInput) as bad:
        making.new(tmp_path / "deep" / "p", Given(**{**GIVEN, **wrong}), can_ask=False)
    assert code in {p.code for p in bad.value.problems}
    assert not list(tmp_path.iterdir())


@pytest.mark.invariant
def test_nothing_is_overwritten_and_a_failed_write_leaves_nothing(tmp_path, monkeypatch):
    folder = made(tmp_path)
    before = tree(folder)
    with pytest.raises(BadInput, match="folder-taken"):
        making.new(folder, Given(**GIVEN), can_ask=False)
    assert tree(folder) == before
    monkeypatch.setattr(making, "load", lambda *_: (_ for _ in ()).throw(OSError("the disk is full")))
    with pytest.raises(OSError):
        making.new(tmp_path / "q", Given(**GIVEN), can_ask=False)
    assert [p.name for p in tmp_path.iterdir()] == ["p"]


@pytest.mark.analytic
def test_questions_are_asked_until_they_can_be_used(tmp_path, monkeypatch, capsys):
    answers = ["Moth", "moth", "", "", "flights/moth.laz", "6565", "softball-60", "1,2", "-77.43,40.0898588", "-77.42773,40.08998", "", "-77.4279801,40.0898588", "-77.42773,40.08998", "", "", "", "us", "en", "fr", "es"]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
    assert making.new(tmp_path / "p", Given(), can_ask=True) == 0
    said = capsys.readouterr().out
    assert "Write it as 'moth'" in said and "in the same direction" in said and "There is no file flights/moth.laz" in said and "EPSG:6565 (NAD83(2011) / Pennsylvania South (ftUS))" in said
    assert "EPSG:3857" not in said and said.count("Rear point of home plate") == 3  # home plate was the wrong one of the two
    project = load(tmp_path / "p")[0]
    assert (project.config.units, project.config.language, project.config.crew_language) == ("us", "en", "es")
    row = project.fields["moth"]
    away = np.hypot(row["second_e"] - row["home_e"], row["second_n"] - row["home_n"]) * 1200 / 3937
    assert row["crs"] == "EPSG:6565" and away == pytest.approx(60 * FOOT_M * 2**0.5, abs=2e-3)


@pytest.mark.invariant
def test_bases_of_no_layout_are_drawn_and_what_that_costs_is_said(tmp_path, capsys):
    home, far = np.array([2058597.917, 275757.979]), 75 * FOOT_M * 2**0.5 / (1200 / 3937)
    folder = made(tmp_path, layout=None, base_ft="75", second=f"{home[0] + far},{home[1]}")
    roles = [(f["properties"]["role"], f["properties"]["name"]) for f in json.loads((folder / "drawings/moth.geojson").read_text())["features"]]
    assert ("skin", "skin") in roles and ("stable", "home-plate") in roles and ("stable", "pitchers-plate") not in roles
    assert "as if it were drawn" in capsys.readouterr().out
    assert "layout" not in load(folder)[0].fields["moth"].values


@pytest.mark.analytic
def test_a_survey_is_added_with_what_its_file_says(tmp_path, capsys):
    folder = made(tmp_path)
    day = dt.date(2026, 4, 7)
    file = cloud(tmp_path / "flight.laz", clock_day=day, returns=2)
    assert adding.add(file, folder, Survey(vertical_unit="us-ft", turf_height="1.26in"), can_ask=False) == 0
    (row,) = load(folder)[0].tables["surveys"]
    assert row.cells == {"survey_id": "moth-2026-04", "flown_on": "2026-04-07", "fields": "moth", "path": "clouds/flight.laz", "source": "lidar", "vertical_unit": "us-ft",
                         "turf_height": "1.26", "turf_height_unit": "in"}  # fmt: skip
    assert (folder / row["path"]).read_bytes() == file.read_bytes() and (folder / "surveys.csv.before-1").is_file()
    said = capsys.readouterr().out
    assert "in a cell of 0.1 m; a run refuses it" in said and "height_reference" in said
    before = tree(folder)
    with pytest.raises(BadInput, match="survey-there-already"):
        adding.add(file, folder, Survey(vertical_unit="us-ft", survey_id="another"), can_ask=False)
    other = cloud(tmp_path / "elsewhere" / "flight.laz", half_ft=90) if (tmp_path / "elsewhere").mkdir() is None else None
    with pytest.raises(BadInput, match="name-taken"):
        adding.add(other, folder, Survey(vertical_unit="us-ft", flown_on="2026-07-01", source="photogrammetry"), can_ask=False)
    assert tree(folder) == before
    adding.add(other.rename(tmp_path / "july.laz"), folder, Survey(vertical_unit="us-ft", flown_on="2026-07-01", source="photogrammetry", link=True), can_ask=False)
    assert os.path.islink(folder / "clouds/july.laz") and [r["survey_id"] for r in load(folder)[0].tables["surveys"]] == ["moth-2026-04", "moth-2026-07"]


@pytest.mark.invariant
def test_a_table_in_a_folder_of_its_own_gets_the_path_that_a_run_looks_for(tmp_path):
    folder = made(tmp_path)
    (folder / "tables").mkdir()
    (folder / "surveys.csv").rename(folder / "tables/surveys.csv")
    config = folder / "config.yaml"
    config.write_text(config.read_text().replace("surveys: surveys.csv", "surveys: tables/surveys.csv"))
    file = cloud(tmp_path / "flight.laz", clock_day=dt.date(2026, 4, 7), returns=2)
    assert adding.add(file, folder, Survey(vertical_unit="us-ft"), can_ask=False) == 0
    project, base = load(folder)
    assert named(base, project.surveys["moth-2026-04"]["path"]) == [str(folder / "clouds/flight.laz")]


@pytest.mark.invariant
def test_what_cannot_be_added_changes_nothing(tmp_path, monkeypatch):
    folder = made(tmp_path)
    before = tree(folder)
    here = cloud(tmp_path / "here.laz", clock_day=dt.date(2026, 4, 7), returns=2)
    far = cloud(tmp_path / "far.laz", east_ft=2061640.0, clock_day=dt.date(2026, 4, 7), returns=2)
    (tmp_path / "page.laz").write_text("<html>")
    for file, given, code in ((here, {}, "option-missing"), (far, dict(vertical_unit="us-ft"), "no-field-covered"), (tmp_path / "page.laz", {}, "unusable-cloud"),
                              (here, dict(vertical_unit="us-ft", fields="moht"), "option-not-allowed")):  # fmt: skip
        with pytest.raises(BadInput) as bad:
            adding.add(file, folder, Survey(**given), can_ask=False)
        assert code in {p.code for p in bad.value.problems}, [str(p) for p in bad.value.problems]
        assert tree(folder) == before
    monkeypatch.setattr(adding, "replace_all", lambda _: (_ for _ in ()).throw(OSError(28, "no room", "surveys.csv")))
    with pytest.raises(BadInput, match="cannot-write"):
        adding.add(here, folder, Survey(vertical_unit="us-ft"), can_ask=False)
    assert tree(folder) == before and not (folder / "clouds").exists()


@pytest.mark.independent
def test_a_clock_of_the_standard_is_read_and_one_within_the_week_is_not():
    """LAS 1.4 R15: adjusted standard GPS time is seconds since 6 January 1980 less 1e9; 1e9 s after it is 14 September 2011."""
    assert day_of_clock(np.array([0.5]), True, 0.0) == dt.date(2011, 9, 14)
    assert day_of_clock(np.array([306234562.0]), False, 0.0) is None
    assert day_of_clock(np.array([-2e9]), True, 0.0) is None


@pytest.mark.analytic
def test_an_evening_in_america_is_the_day_of_the_field_and_not_of_greenwich():
    """00:30 on 15 April at Greenwich is 17:30 of the 14th by the sun at 105 degrees west, and 09:30 of the 15th at 135 degrees east."""
    half_past_midnight = np.array([(dt.date(2026, 4, 15) - GPS_ZERO).days * 86400.0 + 1800 - 1e9])
    days = [day_of_clock(half_past_midnight, True, longitude).day for longitude in (-105.0, 0.0, 135.0)]
    assert days == [14, 15, 15] and day_of_clock(half_past_midnight + 15.5 * 3600, True, 135.0).day == 16


@pytest.mark.invariant
def test_status_and_show_say_what_is_not_made_yet(tmp_path, monkeypatch):
    folder = made(tmp_path)
    run = CliRunner().invoke
    said = run(app, ["status", str(folder), "--quick"])
    assert said.exit_code == 0 and "moth" in said.output and "not made" in said.output and "no survey yet" in said.output
    monkeypatch.setattr("sys.argv", ["skinplane"])
    with pytest.raises(BadInput, match="not-run-yet"):
        run(app, ["show", str(folder), "moth"], catch_exceptions=False)
    page = folder / "results/fields/moth/report.html"
    page.parent.mkdir(parents=True)
    page.write_text("<p>")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("webbrowser.open", lambda _: pytest.fail("a browser was started without a display"))
    assert str(page) in run(app, ["show", str(folder), "moth"]).output
    assert run(app, ["show", str(folder), "moth", "--print"]).output == f"{page}\n"
    opened = []
    monkeypatch.setattr("webbrowser.open", lambda uri: opened.append(uri) or True)
    monkeypatch.setenv("BROWSER", "anything")
    run(app, ["show", str(folder), "moth"])
    assert opened == [page.as_uri()]
