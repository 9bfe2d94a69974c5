"""Writes config/schema.json from pipeline/settings.py. A test holds the two together.

    .venv/bin/python config/make_schema.py
"""

import json
from pathlib import Path

from pipeline.settings import Config

HERE = Path(__file__).resolve().parent


def schema() -> str:
    return json.dumps(Config.model_json_schema(), indent=1, sort_keys=True) + "\n"


if __name__ == "__main__":
    (HERE / "schema.json").write_text(schema(), encoding="utf-8")
