"""Reading a scenario from YAML."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import BadInput, Problem


def read(path: Path) -> dict:
    """The file's plain values; BadInput when it is not there or not YAML."""
    import yaml

    try:
        plain = yaml.safe_load(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
        found = str(error).splitlines()[0]
        raise BadInput([Problem(str(path), None, None, found, "a scenario in YAML", "Name the right file.", code="scenario-fault")]) from error
    if not isinstance(plain, dict):
        found = type(plain).__name__
        raise BadInput([Problem(str(path), None, None, found, "keys and values", "See demo_inputs/scenario.yaml.", code="scenario-fault")])
    return plain
