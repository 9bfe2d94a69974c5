"""Closed depressions of a real raster: counts, cells and volume measured by others.

opengeos/lidar, `lidar/data/dem.tif` (MIT): a 400 x 400 m prairie pothole, 1 m. The figures beside it were measured with
a priority-flood fill, 8-connected, draining over the raster's edge, and 4-connected by a second count.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import label
from skimage.morphology import reconstruction

from pipeline.surface.flood import drain, fill, standing

EIGHT = np.ones((3, 3))


@pytest.fixture(scope="module")
def pothole(real_data) -> np.ndarray:
    import rasterio

    with rasterio.open(real_data / "depression" / "dem.tif") as source:
        z, nodata = source.read(1).astype(float), source.nodata
    assert nodata == -3.4028230607370965e38
    z[z == nodata] = np.nan
    return z


@pytest.mark.independent
def test_the_pothole_s_depressions_are_those_that_were_counted(pothole):
    depth = fill(pothole) - pothole
    number, count = label(depth > 0, EIGHT)
    size = np.bincount(number.ravel())[1:]
    deepest = np.array([depth[number == k].max() for k in range(1, count + 1)])
    assert (count, int((depth > 0).sum())) == (102, 72980)
    assert depth.sum() == pytest.approx(450134.38, abs=0.01)
    assert depth.max() == pytest.approx(15.461, abs=0.0005)
    assert ((size >= 10).sum(), ((size >= 10) & (deepest >= 0.10)).sum()) == (26, 12)
    largest = number == 1 + np.argmax(size)
    assert (int(largest.sum()), depth[largest].sum()) == (71886, pytest.approx(450068.57, abs=0.01))


@pytest.mark.independent
def test_the_pothole_is_filled_as_grey_reconstruction_by_erosion_fills_it(pothole):
    """Another engine: scikit-image `morphology.reconstruction`, bit for bit."""
    seed = np.full(pothole.shape, pothole.max())
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = pothole[0], pothole[-1], pothole[:, 0], pothole[:, -1]
    assert np.array_equal(fill(pothole), reconstruction(seed, pothole, method="erosion", footprint=EIGHT))


@pytest.mark.analytic
def test_rain_on_the_pothole_stands_in_its_depressions_or_has_run_off(pothole):
    d = drain(pothole)
    number, count = label(d.filled > pothole, EIGHT)
    capacity = np.bincount(number.ravel(), (d.filled - pothole).ravel())[1:]
    stands, ground = standing(d, number, capacity, 0.010, 1.0)
    assert (stands <= capacity + 1e-9).all() and (ground >= np.bincount(number.ravel())[1:]).all()
    assert ground.sum() <= pothole.size and stands.sum() <= 0.010 * pothole.size
    basin = np.argmax(capacity)  # far from full: it keeps its own rain and what fuller hollows above pass on
    assert 0.010 * ground[basin] <= stands[basin] < 0.1 * capacity[basin]
    assert count == 102 and np.argmax(stands) == basin
