"""The level of detection that the literature on elevation change writes down."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.change.difference import LEVEL_95, quadrature


@pytest.mark.independent
def test_two_surfaces_of_10_mm_detect_27_7_mm():
    """sqrt(s1^2 + s2^2) and t = 1.96 (Brasington et al. 2003, Lane et al. 2003, Wheaton et al. 2010, from memory)."""
    s = quadrature(np.array(0.010), np.array(0.010))
    assert s == pytest.approx(0.0141421, abs=5e-8)
    assert 1.96 * s == pytest.approx(0.0277186, abs=5e-8)
    assert LEVEL_95 * s == pytest.approx(0.0277186, abs=1e-6)
