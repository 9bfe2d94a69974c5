"""The plane fit against the printed regression of the R data set "trees": Volume ~ Girth + Height, 31 rows.

Coefficients, standard errors, s and confidence limits as printed in public course scripts; the rows from memory,
they reproduce every published figure.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.survey.plane import fit_plane

GIRTH = np.array("""8.3 8.6 8.8 10.5 10.7 10.8 11.0 11.0 11.1 11.2 11.3 11.4 11.4 11.7 12.0 12.9 12.9 13.3 13.7 13.8
14.0 14.2 14.5 16.0 16.3 17.3 17.5 17.9 18.0 18.0 20.6""".split(), float)  # fmt: skip
HEIGHT = np.array("""70 65 63 72 81 83 66 75 80 75 79 76 76 69 75 74 85 86 71 64 78 80 74 72 77 81 82 80 80 80
87""".split(), float)  # fmt: skip
VOLUME = np.array("""10.3 10.3 10.2 16.4 18.8 19.7 15.6 18.2 22.6 19.9 24.2 21.0 21.4 21.3 19.1 22.2 33.8 27.4 25.7 24.9
34.5 31.7 36.3 38.3 42.6 55.4 55.7 58.3 51.5 51.0 77.0""".split(), float)  # fmt: skip


@pytest.mark.independent
def test_the_coefficients_and_their_errors_are_the_published_ones():
    plane = fit_plane(GIRTH, HEIGHT, VOLUME)
    np.testing.assert_allclose(plane.coefficients, (-57.9877, 4.7082, 0.3393), atol=5e-5)
    np.testing.assert_allclose(plane.standard_errors, (8.6382, 0.2643, 0.1302), atol=5e-5)
    assert (plane.count, plane.sigma) == (31, pytest.approx(3.882, abs=5e-4))


@pytest.mark.independent
def test_the_residuals_and_the_limits_are_the_published_ones():
    plane = fit_plane(GIRTH, HEIGHT, VOLUME)
    residual = VOLUME - plane.at(GIRTH, HEIGHT)
    assert (residual.min(), residual.max()) == pytest.approx((-6.4065, 8.4847), abs=5e-5)
    assert 1 - residual.var() / VOLUME.var() == pytest.approx(0.948, abs=5e-4)
    half = stats.t.ppf(0.975, 28) * np.array(plane.standard_errors)
    limits = np.column_stack([plane.coefficients - half, plane.coefficients + half])
    printed = [[-75.68226247, -40.2930554], [4.16683899, 5.2494820], [0.07264863, 0.6058538]]
    np.testing.assert_allclose(limits, printed, atol=6e-8)


@pytest.mark.independent
def test_two_million_away_the_slopes_are_the_same():
    plane = fit_plane(GIRTH + 2e6, HEIGHT + 2e6, VOLUME)
    np.testing.assert_allclose((plane.b, plane.c), (4.7082, 0.3393), atol=5e-5)
    np.testing.assert_allclose(plane.standard_errors[1:], (0.2643, 0.1302), atol=5e-5)
