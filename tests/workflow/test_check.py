"""`check`: one line a survey and field, what is odd below it, a refusal foretold; what stops everything."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from pathlib import Path

import pytest
from support.small_district import ROOT

from pipeline.desk import look as looking
from pipeline.desk.check import check
from pipeline.errors import BadInput

HOME, SECOND = (2058597.917, 275757.979), (2058669.876, 275802.944)  # softball-60, EPSG:6565, US survey feet
MIDDLE = tuple((a + b) / 2 for a, b in zip(HOME, SECOND))
SURVEYS = "survey_id,flown_on,fields,path,source,crs,vertical_unit,height_reference,purpose\n"


@pytest.mark.analytic
def test_check_says_what_each_file_is_and_who_would_be_refused(ran, capsys):
    assert check(ran.folder) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("2 fields, 5 surveys,") and lines[-1] == "1 survey would be refused; everything else would run."
    by_survey = {line.split("  ")[0]: line for line in lines if not line.startswith(" ")}
    assert "849,450 points, EPSG:6565" in by_survey["moth-2025-04"] and "US survey feet" in by_survey["moth-2025-04"]
    assert "would be refused (misses_field), surveys.csv row 5:" in by_survey["two-lamps-2025-07"]
    assert "two-lamps: 3 of 5 patches of stable ground: only shape can be compared." in lines
    assert all(".." not in line for line in lines) and max(map(len, lines)) < 400


def cloud(path: Path, east: float = 0.0, reach: float = 130.0, mark: int = 0) -> None:
    """A table of points over a square about the field's middle, `east` feet off it; `mark` tells one from another."""
    rows = [f"{MIDDLE[0] + east + i * reach:.3f},{MIDDLE[1] + j * reach:.3f},{550 + mark / 100:.2f}" for i in (-1, 0, 1) for j in (-1, 0, 1)]
    path.write_text("\n".join(["e,n,z", *rows]) + "\n")


def square(east: float, north: float, wide: float, long: float = 10.0, **props) -> dict:
    """A feature: a rectangle whose corner lies so far from home plate, feet."""
    e, n = HOME[0] + east, HOME[1] + north
    ring = [[e, n], [e + wide, n], [e + wide, n + long], [e, n + long], [e, n]]
    return {"type": "Feature", "properties": {"role": "stable", **props}, "geometry": {"type": "Polygon", "coordinates": [ring]}}


def small(folder: Path, surveys: str, shapes: list[dict] | None = None, layout: str = "softball-60", config: str = "") -> Path:
    """A project of one field: config, tables, drawn shapes."""
    (folder / "config.yaml").write_text(config)
    named = "" if shapes is None else "moth.geojson"
    numbers = ",".join(str(v) for v in (*HOME, *SECOND))
    (folder / "fields.csv").write_text(f"field_id,crs,layout,home_e,home_n,second_e,second_n,features\nmoth,EPSG:6565,{layout},{numbers},{named}\n")
    (folder / "surveys.csv").write_text(SURVEYS + surveys)
    (folder / "works.csv").write_text("work_id,field_id,done_on,work\n")
    if shapes is not None:
        about = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::6565"}}
        (folder / "moth.geojson").write_text(json.dumps({"type": "FeatureCollection", "crs": {"type": "name", "properties": about["properties"]}, "features": shapes}))
    return folder


def row(name: str, path: str = "", day: str = "2026-04-07", fields: str = "moth") -> str:
    return f"{name},{day},{fields},{path or name + '.csv'},photogrammetry,EPSG:6565,us-ft,EPSG:5703,\n"


def problems(folder: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        check(folder)
    return [str(p) for p in caught.value.problems]


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("east", "says"),
    [(0.0, "9 points, EPSG:6565"), (0.6, "box over 100% of the skin"), (150.0, "would be refused (covers_too_little), surveys.csv row 2: found june.csv over "),
     (195.0, "would be refused (misses_field), surveys.csv row 2: found june.csv over 0% of the skin"), (3000.0, "would be refused (misses_field), surveys.csv row 2:")],
)  # fmt: skip
def test_a_cloud_beside_the_skin_is_judged_as_its_step_would(tmp_path, capsys, east, says):
    cloud(tmp_path / "june.csv", east)
    status = check(small(tmp_path, row("june")))
    out = capsys.readouterr().out
    assert says in out and status == (3 if "refused" in says else 0)


@pytest.mark.analytic
def test_tiles_count_together_and_a_flight_for_all_may_miss_a_field(tmp_path, capsys):
    for k, east in enumerate((-130.0, 130.0)):
        cloud(tmp_path / f"tile-{k}.csv", east)
    cloud(tmp_path / "tile-far.csv", 5000.0)
    cloud(tmp_path / "away.csv", 5000.0, mark=2)
    assert check(small(tmp_path, row("june", "tile-*.csv") + row("july", "away.csv", fields="all"))) == 0
    out = capsys.readouterr().out
    assert "june  moth: 18 points in 2 files" in out and "box over 100% of the skin" in out and "july  moth: not flown over" in out


@pytest.mark.analytic
def test_too_little_stable_ground_and_a_strip_without_a_middle_are_named(tmp_path, capsys):
    cloud(tmp_path / "june.csv")
    check(small(tmp_path, row("june"), [square(30, -20, 10, name="pad"), square(-30, 20, 0.3, name="strip")]))
    out = capsys.readouterr().out.splitlines()
    assert "moth: 3 of 5 patches of stable ground: only shape can be compared." in out  # home plate, pitcher's plate, pad
    assert "moth: stable 'strip' is too narrow: nothing is left of it once 5 cm are taken off every side." in out


@pytest.mark.analytic
def test_a_shape_far_from_the_field_is_named_with_its_distance(tmp_path):
    cloud(tmp_path / "june.csv")
    (said,) = problems(small(tmp_path, row("june"), [square(30, -20, 10, name="pad"), square(3280.833, 0, 10, name="lost")]))
    assert said.startswith("moth.geojson: found stable 'lost' 1,000 m from home plate; expected at most 200 m.")


@pytest.mark.analytic
def test_a_file_of_shapes_that_is_not_there_is_named_by_row_and_column(tmp_path):
    cloud(tmp_path / "june.csv")
    folder = small(tmp_path, row("june"), [])
    (folder / "moth.geojson").unlink()
    (said,) = problems(folder)
    assert said.startswith("fields.csv, row 2, column features: found 'moth.geojson', no such file")


@pytest.mark.analytic
@pytest.mark.parametrize("how", ["path", "link", "copy"])
def test_one_cloud_under_two_surveys_of_a_field_is_named(tmp_path, how):
    cloud(tmp_path / "june.csv")
    cloud(tmp_path / "other.csv", mark=1)  # as long, but another
    if how == "link":
        (tmp_path / "july.csv").symlink_to(tmp_path / "june.csv")
    else:
        cloud(tmp_path / "july.csv")
    (said,) = problems(small(tmp_path, row("june") + row("other") + row("july", "june.csv" if how == "path" else "")))
    assert said.startswith("surveys.csv, row 4, column path: found ") and "the same points as june (row 2); expected a cloud of its own for moth" in said


@pytest.mark.analytic
def test_a_survey_of_a_day_to_come_is_named_unless_the_district_is_invented(tmp_path, monkeypatch):
    cloud(tmp_path / "june.csv")
    folder = small(tmp_path, row("june", day=str(dt.date.today() + dt.timedelta(days=1))))
    (said,) = problems(folder)
    assert said.startswith("surveys.csv, row 2, column flown_on: found ") and "or earlier" in said
    (folder / "scenario.yaml").write_text("seed: 1\n")
    monkeypatch.setattr(looking.simulate, "files", lambda scenario: {})
    assert check(folder) == 0


@pytest.mark.analytic
def test_points_that_fit_two_layouts_have_both_named(tmp_path):
    cloud(tmp_path / "june.csv")
    (said,) = problems(small(tmp_path, row("june"), layout="softball-65"))
    assert "The points fit baseball-60 or softball-60." in said


@pytest.mark.analytic
@pytest.mark.parametrize("verb", [("check",), ("run",), ("run", "--dry"), ("foresee", "moth")])
def test_untouched_templates_have_nothing_filled_in_yet(verb):
    folder = ROOT / "config" / "templates"
    before = sorted(folder.iterdir()), sorted(folder.parent.iterdir())
    done = subprocess.run([sys.executable, "-m", "pipeline", verb[0], str(folder), *verb[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1 and "nothing filled in yet" in done.stderr and "Traceback" not in done.stderr
    assert (sorted(folder.iterdir()), sorted(folder.parent.iterdir())) == before


@pytest.mark.analytic
def test_foresee_names_an_unknown_field_as_no_column(tmp_path):
    cloud(tmp_path / "june.csv")
    folder = small(tmp_path, row("june"))
    done = subprocess.run([sys.executable, "-m", "pipeline", "foresee", str(folder), "moht"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1 and done.stderr.startswith("foresee: found the field 'moht'; expected a field_id") and "'moth'" in done.stderr


@pytest.mark.invariant
def test_check_asks_for_the_tolerances_of_the_rulebook_where_a_field_has_a_layout(tmp_path, capsys):
    cloud(tmp_path / "a.csv")
    check(small(tmp_path, "a,2026-04-01,moth,a.csv,rover,,us-ft,EPSG:5703,\n"))
    said = capsys.readouterr().out
    assert all(name in said for name in ("base_distance_mm", "plate_level_mm", "mound_height_mm", "base_line_pct"))


def anchor(north: float, **props) -> dict:
    return {"type": "Feature", "properties": {"role": "base_anchor", **props}, "geometry": {"type": "Point", "coordinates": [HOME[0] + 20, HOME[1] + north]}}


@pytest.mark.analytic
def test_two_anchors_of_one_base_and_a_finding_still_to_come_stop_everything(tmp_path, monkeypatch):
    class Day(dt.date):
        @classmethod
        def today(cls):
            return cls(2026, 4, 20)

    monkeypatch.setattr(looking.dt, "date", Day)
    cloud(tmp_path / "june.csv")
    shapes = [anchor(30, name="one", base="first", located_on="2026-04-15"), anchor(33, name="two", base="first"), anchor(50, name="old", base="second", located_on="2026-04-21"),
              anchor(60, name="short", base="third", located_on="30/03/2026")]  # fmt: skip
    said = problems(small(tmp_path, row("june"), shapes[:3]))
    assert len(said) == 2 and "base_anchor 'two' for first, as 'one' is" in said[0] and "base_anchor 'old' on 2026-04-21; expected today, 2026-04-20, or earlier" in said[1]
    (said,) = problems(small(tmp_path, row("june"), [shapes[0], shapes[3]]))
    assert "column located_on: found '30/03/2026'" in said
