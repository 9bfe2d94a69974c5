"""One small district, run once for all tests of this folder, in a folder with a space in its name."""

from __future__ import annotations

import pytest
from support.small_district import District, district, run

FIELDS = {"moth", "two-lamps"}
SURVEYS = {"moth-2025-04", "moth-2026-04", "two-lamps-2025-04", "two-lamps-2025-07", "two-lamps-2026-04"}


@pytest.fixture(scope="package")
def ran(tmp_path_factory) -> District:
    """Moth Field and Two Lamps Field, first and last date; the survey that missed its field; two cores."""
    return run(district(tmp_path_factory.mktemp("ball fields"), FIELDS, SURVEYS), 2)
