"""A squeezed handful: every work and every state has an answer."""

from __future__ import annotations

import pytest

from pipeline.tables import MOISTURES, WORKS
from pipeline.works.moisture import ALLOWED, JUDGED, NOT, WET_FIRST, possible, window


@pytest.mark.invariant
def test_every_work_on_the_ground_has_a_word_for_every_state():
    assert set(WORKS) - set(JUDGED) == {"bases", "close", "reopen", "other"}
    assert {possible(w, m) for w in JUDGED for m in MOISTURES} == {ALLOWED, WET_FIRST, NOT}
    with pytest.raises(ValueError):
        possible("drag", "soaked")


@pytest.mark.analytic
def test_nothing_is_done_on_mix_that_smears_and_dust_is_wetted_first():
    assert all(possible(w, "smears") == NOT for w in JUDGED)
    assert all(possible(w, "dust") == WET_FIRST for w in ("drag", "level", "mix_add", "roll", "edge_clean", "lip_cut"))
    assert possible("water", "dust") == ALLOWED and possible("water", "holds") == NOT
    assert window(("level", "roll", "close")) == ("crumbles", "holds") and window(("water", "drag")) == ("crumbles",) and window(()) == MOISTURES
