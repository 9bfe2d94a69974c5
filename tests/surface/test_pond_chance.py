"""How sure a pond is: the noisy floods."""

from __future__ import annotations

import numpy as np
import pytest
from support.flat_field import bowl, error_of, hollow, middle, no_error, plane, square

from pipeline.surface import pond_chance
from pipeline.surface.pond_chance import grown, pond_chances
from pipeline.surface.ponds import find_ponds

FIELD = square(20.0)
ALL = np.ones(FIELD.shape, bool)
INNER = np.zeros(FIELD.shape, bool)
INNER[5:-5, 5:-5] = True
E0, N0 = middle(FIELD)
TOLERANCE = 0.010


def judged(z, source="good", seed=1, count=24, tolerance=TOLERANCE, soft=None):
    error, white = no_error(FIELD) if source is None else error_of(source, FIELD)
    found = find_ponds(z, FIELD, ALL, INNER)
    regions = grown(found, FIELD, INNER)
    chances = pond_chances(
        found, regions, z, white, FIELD, INNER, error, tolerance, np.random.default_rng(seed), count, soft
    )  # fmt: skip
    return found.ponds, chances


def surveyed(truth, source, seed):
    error, white = error_of(source, FIELD)
    return truth + error.fields(FIELD, white, 1, np.random.default_rng(seed))[0]


@pytest.mark.analytic
def test_without_error_depth_is_known_and_the_chance_is_as_sure_as_its_draws_allow():
    z = plane(FIELD, north=0.004) - hollow(FIELD, E0, N0, 0.030, 0.8) - hollow(FIELD, E0 + 5, N0, 0.014, 0.8)
    ponds, chances = judged(z, source=None)
    assert [p.depth_m > TOLERANCE for p in ponds] == [True, False]
    assert [c.depth_sigma_m for c in chances] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert [c.probability for c in chances] == [1 - 1 / 24, 0.0]
    assert [c.by_noise for c in chances] == [0.0, 0.0]


@pytest.mark.analytic
def test_a_pond_at_the_tolerance_is_even_odds():
    z = plane(FIELD) - bowl(FIELD, E0, N0, 0.020, 1.5)
    (pond,), (chance,) = judged(z, "lidar", tolerance=None)
    assert np.isnan(chance.probability)
    _, (even,) = judged(z, "lidar", tolerance=pond.depth_m)
    assert 0.05 < even.probability < 0.6  # the lower of two readings
    _, (low,) = judged(z, "lidar", tolerance=pond.depth_m - 3 * chance.depth_sigma_m)
    _, (high,) = judged(z, "lidar", tolerance=pond.depth_m + 3 * chance.depth_sigma_m)
    assert low.probability == 1 - 1 / 24 and high.probability <= 0.05


@pytest.mark.invariant
def test_the_same_draws_give_the_same_chances_and_an_empty_field_none():
    z = surveyed(plane(FIELD, north=0.004) - hollow(FIELD, E0, N0, 0.030, 0.8), "good", 3)
    assert judged(z)[1] == judged(z)[1]
    assert judged(plane(FIELD, north=0.004)) == ((), ())


@pytest.mark.invariant
def test_lifting_and_tilting_moves_no_chance_by_much():
    z = surveyed(plane(FIELD, north=0.006) - hollow(FIELD, E0, N0, 0.030, 0.8), "good", 3)
    first, second = judged(z)[1][0], judged(z + 500.0)[1][0]
    assert second.depth_sigma_m == pytest.approx(first.depth_sigma_m, rel=1e-6)
    assert second.probability == first.probability


@pytest.mark.independent
def test_blocks_of_two_decimetres_tell_the_same_as_floods_on_the_cells(monkeypatch):
    """The other engine: the same with floods on the 0.1 m cells themselves."""
    truth = plane(FIELD, north=0.006)
    for k, (e, n) in enumerate([(-5, -5), (5, -5), (0, 0), (-5, 5), (5, 5)]):
        truth = truth - hollow(FIELD, E0 + e, N0 + n, 0.015 + 0.006 * k, 0.7)
    sigma, chance = [], []
    for block in (pond_chance.BLOCK_M, 0.1):
        monkeypatch.setattr(pond_chance, "BLOCK_M", block)
        runs = [judged(surveyed(truth, "good", s), seed=s)[1] for s in (11, 12)]
        sigma.append([c.depth_sigma_m for r in runs for c in r if c.by_noise < 0.1])
        chance.append([c.probability for r in runs for c in r if c.by_noise < 0.1])
    n = min(map(len, sigma))
    assert n >= 8
    assert np.mean(sigma[0]) == pytest.approx(np.mean(sigma[1]), rel=0.12)
    assert np.abs(np.array(chance[0][:n]) - np.array(chance[1][:n])).mean() < 0.15


@pytest.mark.independent
@pytest.mark.parametrize("source", ["good", "lidar"])
def test_depth_and_volume_scatter_by_their_sigma(source):
    """Against 20 surveys of one pond: 17 or more within 1.96 s.d."""
    truth = plane(FIELD, north=0.005) - hollow(FIELD, E0, N0, 0.030, 0.7)
    (true,) = find_ponds(truth, FIELD, ALL, INNER).ponds
    away = []
    for seed in range(20):
        ponds, chances = judged(surveyed(truth, source, seed), source, seed, count=12)
        k = int(np.argmax([p.depth_m for p in ponds]))
        away.append(
            (
                (ponds[k].depth_m - true.depth_m) / chances[k].depth_sigma_m,
                (ponds[k].volume_m3 - true.volume_m3) / chances[k].volume_sigma_m3,
            )
        )
    away = np.abs(away)
    assert (away < 1.96).mean(axis=0).min() >= 0.85
    assert np.median(away, axis=0).min() > 0.25  # nor is it merely wide


@pytest.mark.independent
@pytest.mark.parametrize("source, most", [("good", 0.5), ("lidar", 0.5), ("weak", 2.0)])
@pytest.mark.parametrize("slope", [0.004, 0.008])
def test_plane_ground_shows_hardly_a_pond_that_is_sure(source, most, slope):
    """Over 6 surveys of 400 m2: at most `most` a 900 m2 field that both chance and noise would pass."""
    sure = 0
    for seed in range(6):
        ponds, chances = judged(surveyed(plane(FIELD, north=slope), source, 100 + seed), source, seed, count=16)
        sure += sum(c.probability > 0.8 and c.by_noise <= 0.1 for c in chances)
    assert sure * 900 / (6 * 400) <= most


@pytest.mark.invariant
def test_on_flat_ground_a_weak_survey_knows_that_noise_makes_such_ponds():
    """Ponds it would call sure by the reflected draws alone are not told from noise; a deep one still is."""
    truth = plane(FIELD, north=0.004)
    made = [c for s in range(1, 7) for c in judged(surveyed(truth, "weak", s), "weak", s, 16)[1] if c.probability > 0.8]
    assert len(made) > 5 and np.mean([c.by_noise > 0.1 for c in made]) >= 0.8
    ponds, chances = judged(surveyed(truth - hollow(FIELD, E0, N0, 0.050, 0.8), "weak", 3), "weak", 3)
    assert ponds[0].depth_m > 0.03 and chances[0].by_noise <= 0.1 and chances[0].probability > 0.8


@pytest.mark.invariant
def test_grass_of_unknown_height_makes_a_pond_behind_it_less_sure():
    """A pond that only the grass along the northern edge holds back."""
    e, n = FIELD.mesh()
    grass = n > N0 + 8
    z = plane(FIELD, north=-0.01) + np.where(grass, 0.018, 0.0) + np.where(np.abs(e - E0) > 6, 0.1, 0.0)
    known, unknown = (judged(z, "good", soft=(grass, sd))[1][0] for sd in (0.0, 0.010))
    assert unknown.depth_sigma_m > 2 * known.depth_sigma_m
    assert unknown.probability < known.probability


@pytest.mark.invariant
def test_grass_of_unknown_height_at_the_edge_casts_no_doubt_on_a_pond_in_the_open():
    e, n = FIELD.mesh()
    grass = n > N0 + 8
    z = plane(FIELD, north=-0.008) - hollow(FIELD, E0, N0 - 3, 0.030, 0.8)
    _, (chance,) = judged(z, "good", soft=(grass, 0.030))
    assert chance.by_noise == 0.0 and chance.probability > 0.8


@pytest.mark.invariant
def test_growing_a_pond_takes_nothing_from_its_neighbour():
    z = plane(FIELD) - bowl(FIELD, E0 - 1.2, N0, 0.02, 1.0) - bowl(FIELD, E0 + 1.2, N0, 0.03, 1.0)
    found = find_ponds(z, FIELD, ALL, INNER)
    first, second = grown(found, FIELD, INNER)
    assert set(found.ponds[0].cells) <= set(first) and not set(found.ponds[1].cells) & set(first)
    r, c = np.divmod(first, FIELD.nx)
    pr, pc = np.divmod(found.ponds[0].cells, FIELD.nx)
    nearest = np.sqrt(((r[:, None] - pr) ** 2 + (c[:, None] - pc) ** 2).min(axis=1))
    assert 3.9 <= nearest.max() <= 4.0
