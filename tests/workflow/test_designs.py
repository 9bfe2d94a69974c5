"""Designs that the workflow left: no blade is sent onto ground that is kept free."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.diamond.carry import from_plain
from pipeline.store import arrays, records
from pipeline.works.design import LASER_PLANE, NO_MIX_BOUGHT


@pytest.mark.invariant
@pytest.mark.parametrize("field", ["moth", "two-lamps"])
def test_no_design_of_the_whole_skin_lies_on_ground_kept_free(ran, field):
    graded = ran.root / "build" / "grade" / f"{field}.npz"
    record, layout = arrays.read_record(graded), from_plain(records.read(ran.root / "build" / "layout" / f"{field}.json"))
    kept = shapely.union_all([shapely.from_wkt(k["kept_free"]) for k in record["keep_outs"]])
    inside, made = layout.grid.mask(kept.buffer(-0.02)), arrays.read(graded)  # WKT is rounded to a centimetre
    found = [name for name in (LASER_PLANE, NO_MIX_BOUGHT) if f"design_{name}" in made]
    assert found and inside.any()
    assert not [name for name in found if np.isfinite(made[f"design_{name}"][inside]).any()]
