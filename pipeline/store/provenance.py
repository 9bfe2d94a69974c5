"""What a result was made with: versions of this project and of the parts whose figures it passes on."""

from __future__ import annotations

from importlib.metadata import version

PARTS = ("numpy", "scipy", "numba", "shapely", "pyproj", "rasterio", "laspy", "lazrs")


def versions() -> dict[str, str]:
    return {"skinplane": version("skinplane"), **{part: version(part) for part in PARTS}}
