from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.signal import correlate
from support.flat_tables import cover_ramp, table_of

from pipeline.survey.edges.edge_lag import lags_of


@pytest.mark.analytic
@pytest.mark.parametrize("lag_m", [-0.6, -0.1, 0.25])
def test_a_profile_far_from_where_it_was_is_found_by_its_pattern(lag_m):
    first = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.05 + 0.85 * cover_ramp(d))
    later = table_of(lambda s, d: 51 + 0 * s * d, green=lambda d: 0.08 + 0.7 * cover_ramp(d, lag_m))
    told_by, lags = lags_of(first, later)
    assert told_by == "colour" and len(lags) == 10
    assert [lag.lag_m for lag in lags] == approx([lag_m] * 10)


@pytest.mark.independent
def test_a_lag_is_that_of_a_signal_librarys_cross_correlation():
    # scipy.signal.correlate of the two profiles less their means
    def hill(d, at):
        return np.exp(-(((d - at) / 0.2) ** 2))

    first = table_of(lambda s, d: 51 + 0.05 * hill(d, 0.0) + 0 * s)
    later = table_of(lambda s, d: 51 + 0.05 * hill(d, 0.3) + 0 * s)
    told_by, lags = lags_of(first, later)
    a, b = first.z[10] - first.z[10].mean(), later.z[10] - later.z[10].mean()
    theirs = (np.argmax(correlate(b, a)) - (len(a) - 1)) * 0.05
    assert told_by == "height"
    assert lags[3].lag_m == approx(theirs) == approx(0.3)


@pytest.mark.invariant
def test_turf_that_shows_no_green_later_is_compared_by_height():
    first = table_of(lambda s, d: 51 + 0.03 * cover_ramp(d) + 0 * s, green=lambda d: 0.05 + 0.85 * cover_ramp(d))
    dormant = table_of(lambda s, d: 51 + 0.03 * cover_ramp(d, 0.1) + 0 * s, green=lambda d: 0.02 + 0 * d)
    told_by, lags = lags_of(first, dormant)
    assert told_by == "height" and lags[4].lag_m == approx(0.1)
