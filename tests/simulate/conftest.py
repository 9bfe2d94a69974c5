"""Builders of the quiet field that the simulator's tests share."""

from __future__ import annotations

from datetime import date

import pytest
from support.quiet_field import FIRST, plain

from pipeline.simulate.aging import state_at
from pipeline.simulate.scenario import Scenario, parse
from pipeline.simulate.scene import Scene, build_scene


@pytest.fixture
def story():
    """Builds a scenario: story(field={...}, survey={...})."""

    def build(field: dict | None = None, survey: dict | None = None) -> Scenario:
        return parse(plain(field, survey))

    return build


@pytest.fixture
def scene_of(story):
    """Builds the scene and the state of the quiet field on a day."""

    def build(field: dict | None = None, on: date = FIRST) -> tuple[Scene, object]:
        scene = build_scene(story(field), "quiet")
        return scene, state_at(scene, FIRST, on)

    return build
