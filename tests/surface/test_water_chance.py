"""How sure the water is: scatter of what stands, of the lip's share and of the paths."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString
from support.flat_field import bowl, error_of, middle, no_error, plane, square

from pipeline.diamond.edges import Edge
from pipeline.surface.lip_dam import capped, held_without, strips
from pipeline.surface.ponds import find_ponds
from pipeline.surface.pools import RAINS_M, standing_water
from pipeline.surface.runoff import main_paths
from pipeline.surface.water_chance import LEAST_M3, MOST_GAIN, Heights, water_chance, without_noise
from pipeline.surface.widest_gaps import widest_gaps

FIELD = square(20.0)
ALL = np.ones(FIELD.shape, bool)
E0, N0 = middle(FIELD)
E, N = FIELD.mesh()
PIT = plane(FIELD, north=0.01) - bowl(FIELD, E0, N0, 0.05, 1.6)


def chances(z, error, white, ground=ALL, skin=ALL, grass=~ALL, canopy=(0.0, 0.0), edges=(), count=12, seed=3):
    found = find_ponds(z - np.where(grass, canopy[0], 0.0), FIELD, ground, skin)
    paths = main_paths(found.drainage, FIELD, skin)
    given = Heights(z, white, grass, *canopy)
    return found, paths, water_chance(found, paths, given, FIELD, skin, skin, error, edges, np.random.default_rng(seed), count)


@pytest.mark.invariant
def test_a_survey_without_error_scatters_by_nothing_and_keeps_its_paths():
    trough = plane(FIELD, north=0.006) + 0.02 * np.abs(E - E0) - bowl(FIELD, E0, N0, 0.04, 1.2)
    found, paths, chance = chances(trough, *no_error(FIELD))
    assert len(found.ponds) == 1 and np.abs(chance.stands_sigma_m3).max() < 1e-12 and np.abs(chance.deepest_sigma_m).max() < 1e-12
    assert len(paths) >= 1 and np.mean(chance.path_share[0]) > 0.95
    assert np.isnan(chance.lip_m3).all()  # no edge was handed in


@pytest.mark.independent
def test_the_scatter_told_is_the_scatter_that_surveys_show():
    """Twelve drawn surveys of one pit: what stands after 10 mm scatters as each survey says it does, to a factor of 2."""
    error, white = error_of("good", FIELD)
    ten, stands, told = RAINS_M.index(0.010), [], []
    for k, f in enumerate(error.fields(FIELD, white, 12, np.random.default_rng(77))):
        found, _, chance = chances(PIT + f, error, white, seed=k)
        i = max(range(len(found.ponds)), key=lambda i: found.ponds[i].volume_m3)
        stands.append(standing_water(found, FIELD).pools[i].stands_m3[ten])
        told.append(chance.stands_sigma_m3[i, ten])
    assert 0.5 < np.mean(told) / np.std(stands, ddof=1) < 2.5


@pytest.mark.invariant
def test_grass_of_unknown_height_makes_a_lip_s_share_unsure():
    into = N0 - 6.0 - N
    skin, ground = into < 0, into < 0.5
    edge = Edge("outer", LineString([(FIELD.west, N0 - 6.0), (FIELD.east, N0 - 6.0)]), False, "drawn")
    level = plane(FIELD, north=0.01)[skin][-1] - 0.0005
    z = np.where(skin, plane(FIELD, north=0.01), level + np.where(into < 0.6, 0.025, 0.0)) + 0.05 * np.maximum(np.abs(E - E0) - 7.0, 0.0) * ground
    error, white = no_error(FIELD)
    sure = chances(z, error, white, ground, skin, ~skin & ground, (0.0, 0.0), [edge])
    unsure = chances(z, error, white, ground, skin, ~skin & ground, (0.0, 0.010), [edge])
    laid = strips(FIELD, [edge], skin)
    direct = sum(p.volume_m3 for p in sure[0].ponds) - held_without(sure[0], capped(sure[0].smoothed, z, 0.0, laid), [p.cells for p in sure[0].ponds], 0.01).sum()
    assert sure[2].lip_m3.sum() == pytest.approx(direct) and sure[2].lip_sigma_m3.max() == pytest.approx(LEAST_M3)
    assert direct <= unsure[2].lip_m3.sum() < 1.5 * direct and unsure[2].lip_sigma_m3.max() > 0.2 * direct


@pytest.mark.analytic
def test_a_dam_notched_by_errors_is_given_back_its_height():
    """Held is (h - a s)^2 with s the errors' s.d.: found with s, noisy with s sqrt 2; without any error h^2."""
    h, notch = 30.0, 8.0
    found, noisy = np.array([(h - notch) ** 2]), np.full((4, 1), (h - notch * 2**0.5) ** 2)
    held, sigma = without_noise(found, noisy, found)
    assert held[0] == pytest.approx(h**2) and sigma[0] == pytest.approx(np.hypot(0.5 * (h**2 - found[0]), LEAST_M3))
    finer, _ = without_noise(2 * found, noisy, found)  # the noisy floods run on coarser cells: their share alone is used
    assert finer[0] == pytest.approx(2 * h**2)
    most, _ = without_noise(found, np.zeros((4, 1)), found)
    assert most[0] == pytest.approx(MOST_GAIN * found[0])
    nothing, doubt = without_noise(np.zeros(1), np.zeros((4, 1)), np.zeros(1))
    assert nothing[0] == 0.0 and doubt[0] == 0.0  # in the middle of the skin no lip dams, however the errors fall
    _, once = without_noise(np.zeros(1), np.array([[0.0], [0.001]]), np.zeros(1))
    assert once[0] >= LEAST_M3


@pytest.mark.analytic
def test_the_widest_gap_lies_over_the_hollow_and_the_next_a_straightedge_away():
    """A trough along east-west, 20 mm deep: the widest gap lies over it, the string laid across it, north-south."""
    z = plane(FIELD) - 0.020 * np.exp(-((N - N0 - 3.0) ** 2) / (2 * 0.5**2))
    found = widest_gaps(z, FIELD, ALL, ALL, 3.0)
    assert len(found) == 3 and all(g.n == pytest.approx(N0 + 3.0, abs=0.3) for g in found)
    assert found[0].bearing_deg in (0.0, 22.5, 157.5) and found[0].gap_m == pytest.approx(0.020, rel=0.12)
    assert all(np.hypot(a.e - b.e, a.n - b.n) >= 3.0 for k, a in enumerate(found) for b in found[:k])
    assert widest_gaps(np.full(FIELD.shape, np.nan), FIELD, ALL, ALL, 3.0) == []
