"""Reading a scenario's file."""

from __future__ import annotations

import pytest

from pipeline.errors import BadInput
from pipeline.store.scenario_file import read


@pytest.mark.analytic
def test_a_scenario_is_read_as_plain_values(tmp_path):
    (tmp_path / "s.yaml").write_text("seed: 3\nfields: {a: {height_m: 1.5}}\n")
    assert read(tmp_path / "s.yaml") == {"seed": 3, "fields": {"a": {"height_m": 1.5}}}


@pytest.mark.invariant
@pytest.mark.parametrize("text, word", [(None, "No such file"), ("a: [1", "expected"), ("- 1\n", "list")])
def test_what_is_no_scenario_is_refused_with_its_name(tmp_path, text, word):
    if text is not None:
        (tmp_path / "s.yaml").write_text(text)
    with pytest.raises(BadInput, match=word) as caught:
        read(tmp_path / "s.yaml")
    assert "s.yaml" in str(caught.value)
