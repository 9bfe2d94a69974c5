"""Independent samples an area is worth; printed values stand in tests/published/test_effective_sample_size.py."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, Noise, matern32
from pipeline.survey.stable.correlated import error_fields
from pipeline.survey.stable.neff import disk_effective_samples, effective_samples

PART = Noise(0.0, ((0.003, 2.0),), 0.0, 0.0, 0.0, 0.0)


@pytest.mark.analytic
def test_one_cell_is_worth_one_and_a_range_beyond_all_leaves_one():
    assert effective_samples(np.eye(1, dtype=bool), PART, 0.1) == pytest.approx(1)
    endless = Noise(0.0, ((0.003, 1e4),), 0.0, 0.0, 0.0, 0.0)
    assert effective_samples(np.ones((30, 40), bool), endless, 0.1) == pytest.approx(1, rel=1e-4)


@pytest.mark.analytic
def test_a_large_area_is_worth_its_size_over_the_parts_own_area():
    """The integral of Matern 3/2 over the plane is 2 pi l^2."""
    assert disk_effective_samples(lambda r: matern32(r / 0.2), 1e4) == pytest.approx(1e4 / (2 * np.pi * 0.04), rel=1e-4)


@pytest.mark.invariant
def test_scale_of_noise_and_place_of_the_zone_do_not_matter():
    zone = np.zeros((60, 60), bool)
    zone[5:25, 10:20] = True
    here = effective_samples(zone, PART, 0.2)
    assert effective_samples(np.roll(zone, (20, 15), (0, 1)), PART.scaled(7.0), 0.2) == pytest.approx(here, rel=1e-9)
    assert effective_samples(zone.T, PART, 0.2) == pytest.approx(here, rel=1e-9)


@pytest.mark.independent
def test_means_of_random_fields_scatter_by_so_much_less():
    zone = np.hypot(*(np.mgrid[:50, :50] - 25)) < 18
    fields = error_fields(GOOD_PHOTOGRAMMETRY, (50, 50), 0.2, 800, np.random.default_rng(1), 0.0)
    sampled = fields.var() / fields[:, zone].mean(axis=1).var()
    assert sampled == pytest.approx(effective_samples(zone, GOOD_PHOTOGRAMMETRY, 0.2), rel=0.2)
