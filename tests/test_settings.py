"""config.yaml: the schema file is the code's, the template loads, faults are named."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import pytest

from pipeline.errors import BadInput
from pipeline.settings import Config, from_handed, handed
from pipeline.store.config import load, read_config

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.invariant
def test_the_schema_file_is_the_one_the_code_makes():
    made = runpy.run_path(str(ROOT / "config" / "make_schema.py"))["schema"]()
    assert (ROOT / "config" / "schema.json").read_text() == made, "run: .venv/bin/python config/make_schema.py"


@pytest.mark.invariant
def test_the_template_is_a_project_that_loads():
    project, _ = load(ROOT / "config" / "templates")
    assert project.fields == {}


@pytest.mark.invariant
def test_every_key_of_the_config_says_what_it_is():
    undescribed = [n for n, f in Config.model_fields.items() if isinstance(f.default, (str, int, float)) and not f.description]
    assert not undescribed


@pytest.mark.invariant
def test_a_job_is_handed_its_own_section_and_no_other():
    config = Config(measure={"error_fields": 30}, grid={"cover_min_pct": 50})
    plain = handed(config, "measure")
    assert plain["measure"]["error_fields"] == 30 and "grid" not in plain
    assert from_handed(json.loads(json.dumps(plain))).measure == config.measure


def faults(tmp_path: Path, text: str) -> list[str]:
    (tmp_path / "config.yaml").write_text(text)
    return [str(p) for p in read_config(tmp_path / "config.yaml")[1]]


@pytest.mark.analytic
def test_an_unknown_key_is_named_with_its_line_and_a_likely_word(tmp_path):
    (said,) = faults(tmp_path, "units: us\ngrid:\n  cover_min_pt: 50\n")
    assert said.startswith("config.yaml, row 3, column grid.cover_min_pt") and "'cover_min_pct'" in said


@pytest.mark.analytic
def test_a_tolerance_without_an_owner_is_asked_for(tmp_path):
    (said,) = faults(tmp_path, "tolerances:\n  lip_mm: {value: 25, set_on: 2026-01-01}\n")
    assert "lip_mm.set_by" in said and "who set" in said


@pytest.mark.analytic
def test_a_bare_figure_takes_its_sections_signature():
    config = Config(material={"loose_t_per_m3": 1.4, "set_by": "A. Owner", "set_on": "2026-01-01"})
    assert (config.material.loose_t_per_m3.value, config.material.loose_t_per_m3.set_by) == (1.4, "A. Owner")


@pytest.mark.analytic
@pytest.mark.parametrize("text", ["a: [1,", "- 1\n- 2\n", "units: [us]\n", "cell_size_m: x\n"])
def test_broken_yaml_is_a_sentence_and_not_a_crash(tmp_path, text):
    assert len(faults(tmp_path, text)) == 1


@pytest.mark.analytic
def test_all_faults_of_config_and_tables_come_at_once(tmp_path):
    (tmp_path / "config.yaml").write_text("unitz: us\n")
    (tmp_path / "fields.csv").write_text("field_id,crs\nA b,EPSG:6564\n")
    (tmp_path / "surveys.csv").write_text("survey_id,flown_on,fields,path,source\ns1,2026-02-30,x,a.laz,lidar\n")
    with pytest.raises(BadInput) as caught:
        load(tmp_path)
    assert {p.file for p in caught.value.problems} == {"config.yaml", "fields.csv", "surveys.csv", "works.csv"}
