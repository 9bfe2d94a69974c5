"""Which cells of a field may be used for what."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.diamond.layout import Drawing, build
from pipeline.surface.masks import masks_of

HOME, NINETY, SIXTY = (507000.0, 175000.0), (507000.0, 175038.795), (507000.0, 175025.863)
GRASS = build(Drawing("grass", "EPSG:6550", 0.25, "baseball-90", home=HOME, second=NINETY))
DIRT = build(Drawing("dirt", "EPSG:6550", 0.25, "softball-60", home=HOME, second=SIXTY))


@pytest.mark.independent
@pytest.mark.parametrize("layout", [GRASS, DIRT], ids=["grass", "dirt"])
def test_areas_are_those_of_the_shapes(layout):
    """Another engine: the areas that shapely has of the same polygons."""
    m, cell = masks_of(layout), layout.grid.cell_area_m2
    assert m.skin.sum() * cell == pytest.approx(layout.skin.area, rel=0.01)
    ring = layout.skin.buffer(0.5).area - layout.skin.area
    assert m.band.sum() * cell == pytest.approx(ring, rel=0.05)
    assert m.flood.sum() * cell == pytest.approx(layout.skin.buffer(0.5).area, rel=0.01)


@pytest.mark.invariant
@pytest.mark.parametrize("layout", [GRASS, DIRT], ids=["grass", "dirt"])
def test_every_use_stands_on_its_ground(layout):
    m = masks_of(layout)
    assert not (m.band & m.skin).any() and not (m.near_edge & ~m.skin).any()
    assert not (m.even & ~m.ring).any() and not (m.ring & ~m.skin).any()
    assert not (m.ponds & ~m.flood).any() and not (m.grass & m.skin).any()
    assert not (m.ring & m.near_edge).any() and m.near_edge.any()
    assert not (m.ring & m.keep_out).any() and not (m.ponds & m.keep_out).any()


@pytest.mark.analytic
def test_skin_by_the_grass_is_left_out_and_the_mound_is_no_even_ground():
    m = masks_of(GRASS)
    e, n = GRASS.grid.mesh()
    assert GRASS.mound is not None and DIRT.mound is None
    away = np.hypot(e - GRASS.mound.e, n - GRASS.mound.n)
    assert m.mound.sum() * 0.0625 == pytest.approx(np.pi * GRASS.mound.radius_m**2, rel=0.02)
    inside = away < GRASS.mound.radius_m - 0.5
    assert m.ring[inside].all() and not m.even[inside].any() and not m.ponds[inside].any()
    lines = shapely.union_all([edge.line for edge in GRASS.edges])
    distance = shapely.distance(lines, shapely.points(e[m.skin], n[m.skin]))
    clear = np.abs(distance - 0.3) > 0.01  # a buffer is drawn with chords
    assert np.array_equal(m.near_edge[m.skin][clear], (distance < 0.3)[clear])


@pytest.mark.analytic
def test_an_anchor_takes_half_a_metre_of_ground():
    m = masks_of(DIRT)
    e, n = DIRT.grid.mesh()
    for at in DIRT.anchors.values():
        near = np.hypot(e - at[0], n - at[1])
        assert m.keep_out[near < 0.2].all() and not m.keep_out[(near > 0.3) & (near < 1.0)].any()
