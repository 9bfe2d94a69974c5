"""What the state of the surface does to a survey's figures, and mix by the ton."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.flat_field import all_skin, bowl, error_of, middle, place, plane, square

from pipeline.surface.filling import NONE, PLACED_SIGMA_T_PER_M3, fill
from pipeline.surface.loose import loose_sigma_m, not_comparable, widened
from pipeline.surface.low_spot import SpotInput
from pipeline.surface.spots import low_spots

FIELD = square(14.0)


@pytest.mark.analytic
def test_a_layer_of_none_to_thirteen_millimetres_scatters_by_its_twelfth_root():
    """Uniform between 0 and 13 mm (1/2 in, trade pages): 13 / sqrt 12."""
    assert loose_sigma_m(("dry", "topdressed")) == pytest.approx(0.013 / 12**0.5)
    assert loose_sigma_m(("dragged", "dry")) == loose_sigma_m(()) == 0.0
    assert widened(0.003, 0.004) == pytest.approx(0.005) and widened(0.003, 0.0) == 0.003


@pytest.mark.invariant
def test_on_a_topdressed_skin_every_depth_is_less_sure_and_none_moves():
    error, white = error_of("good", FIELD)
    e, n = middle(FIELD)
    given = SpotInput(FIELD, plane(FIELD, 0.0, 0.008) - bowl(FIELD, e, n, 0.03, 1.4), white, all_skin(FIELD), (place(e, n),), error, 0.0, 0.0, 0.012, 1.7)
    loose = 0.013 / 12**0.5
    plain, dressed = (low_spots(replace(given, loose_m=v), np.random.default_rng(4), 16).spots for v in (0.0, loose))
    assert len(plain) == len(dressed)
    for a, b in zip(plain, dressed):
        assert b.depth_mm == pytest.approx(a.depth_mm, nan_ok=True)
        assert b.depth_sigma_mm == pytest.approx(np.hypot(a.depth_sigma_mm, 1e3 * loose), rel=1e-6)
        assert b.volume_sigma_m3 >= a.volume_sigma_m3
        assert not b.probability > a.probability or a.probability < 0.5


@pytest.mark.invariant
@pytest.mark.parametrize(
    "earlier, later, why",
    [
        ({"dragged", "dry"}, {"dragged", "wet"}, [("dry", "wet")]),
        ({"played", "wet"}, {"dragged", "dry"}, [("wet", "dry"), ("played", "dragged")]),
        ({"dragged", "dry"}, {"dragged", "dry", "mown"}, []),
        ({"topdressed"}, {"dry"}, [("topdressed", "topdressed")]),
        ({"dragged", "played"}, {"played"}, []),
    ],
)
def test_which_states_do_not_go_together(earlier, later, why):
    assert not_comparable(earlier, later) == why


@pytest.mark.analytic
def test_mix_by_the_ton_has_a_range_of_survey_and_density():
    """0.5 m3 known to 0.05 at 1.7 t/m3: 0.85 t; 1.96 x hypot(0.05 x 1.7, 0.5 x 0.1); 0.85 / 1.5 m3 loose."""
    found = fill(0.5, 0.05, 0.05, 1.7, 1.5)
    half = 1.96 * np.hypot(0.05 * 1.7, 0.5 * PLACED_SIGMA_T_PER_M3)
    assert (found.tonnes, found.low, found.high) == pytest.approx((0.85, 0.85 - half, 0.85 + half))
    assert found.loose_m3 == pytest.approx(0.85 / 1.5)
    assert fill(0.04, 0.05, 0.05, 1.7, 1.5) is NONE and fill(0.5, 0.05, 0.05, None, 1.5) is NONE
    assert fill(0.06, 0.05, 0.05, 1.7, None).low == 0.0 and np.isnan(fill(0.5, 0.05, 0.0, 1.7, None).loose_m3)
