"""The text of a new config.yaml: what was said, and every other key behind a `#` with what it is."""

from __future__ import annotations

import json
from typing import Mapping, get_args

import yaml

from pipeline.settings import Config

WIDE = 58  # the column at which what a key is begins, where the key is shorter
TOP = """# {title}: made by `skinplane new`. Paths are relative to this file; `skinplane check` names every slip.
# A key behind a # stands at the default shown, or is not set. What is yours to decide (tolerances, costs, ...) has no
# default and is never invented: each figure carries who set it and when, as {{value: 25, set_by: "A. Owner", set_on: 2026-03-01}}.
"""


def text(title: str, said: Mapping[str, object]) -> str:
    """Every key of the settings once, explained in a line.

    said : key -> value, or section -> key -> value, written as they are; tolerances as {value, set_by, set_on}
    """
    out = [TOP.format(title=title or "A project")]
    for name, info in Config.model_fields.items():
        inner = _model(info.annotation)
        if inner is None:
            out.append(_line("", name, said.get(name), info.default, info.description or ""))
        else:
            out += ["", *_section(name, inner, said.get(name, {}), _shape(info.annotation))]
    return "\n".join(out) + "\n"


def _section(name: str, model: type, said: Mapping[str, object], shape: str) -> list[str]:
    about = " ".join((model.__doc__ or "").split())
    bare = [f"# {about}", f"{name}:" if said else f"# {name}:{shape}"]
    inset = "  " if not shape else "    "
    for key, info in model.model_fields.items():
        default = info.default if not info.is_required() else None
        bare.append(_line(inset, key, said.get(key), default, _said_of(info)))
    return bare


def _said_of(info) -> str:
    return info.description or ""


def _line(inset: str, name: str, value, default, what: str) -> str:
    left = f"{inset}{name}: {_plain(value)}" if value is not None else f"# {inset}{name}: {_plain(default)}".rstrip()
    return f"{left:{WIDE}} # {what}".rstrip(" #") if not what else f"{left:{WIDE}} # {what}"


def _plain(value) -> str:
    """A value as YAML on one line."""
    if value is None or value == () or value == {} or hasattr(value, "model_fields"):
        return ""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k}: {_plain(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(map(_plain, value)) + "]"
    if isinstance(value, str):
        bare = value.replace("_", "").replace("-", "").replace(".", "").isalnum() and yaml.safe_load(value) == value  # `No` and `Null` are no words in YAML
        return value if bare else json.dumps(value, ensure_ascii=False)
    return json.dumps(value) if isinstance(value, (bool, int, float)) else str(value)


def _model(annotation) -> type | None:
    """The section behind a key, also where there are several by name or in a list."""
    if hasattr(annotation, "model_fields"):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model(part)) is not None), None)


def _shape(annotation) -> str:
    """What stands between a key and a section's own keys."""
    if hasattr(annotation, "model_fields"):
        return ""
    return "  # each under a name of its own" if getattr(annotation, "__origin__", None) is dict else "  # a list, one of these each"
