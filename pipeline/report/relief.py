"""The shape of the skin as a pale picture: light from the upper left, and contour lines."""

from __future__ import annotations

import math

import numpy as np

SMOOTH_M = 0.30  # noise of single cells would hide the shape; figures never come from this
LIGHT_DEG = 315.0  # on the page, clockwise from up
DEEPEST = 0.46  # most of black or white that shading may lay over the ground
FULL_SLOPE = 0.035  # a slope toward or from the light that shades so deep
CONTOURS_MM = {"metric": (10, 20, 25, 50, 100, 200), "us": (12.7, 25.4, 50.8, 101.6, 203.2)}
MOST_LINES = 22


def smoothed(z: np.ndarray, cell_m: float, sd_m: float = SMOOTH_M) -> np.ndarray:
    """Gaussian mean over what was measured; NaN stays NaN. For pictures only."""
    from scipy.ndimage import gaussian_filter

    held = np.isfinite(z)
    if not held.any():
        return z
    level = float(z[held].mean())
    weight = gaussian_filter(held.astype(float), sd_m / cell_m, mode="constant")
    total = gaussian_filter(np.where(held, z - level, 0.0), sd_m / cell_m, mode="constant")
    return np.where(held, total / np.maximum(weight, 1e-9) + level, np.nan)


def shade(z: np.ndarray, cell_m: float, up_deg: float) -> np.ndarray:
    """Black or white to be laid over the ground, (ny, nx, 4) uint8; nothing where nothing was measured.

    z      : smoothed heights, first row north
    up_deg : bearing of the page's upper edge, clockwise from grid north
    """
    north, east = np.gradient(z, cell_m)
    light = math.radians(LIGHT_DEG + up_deg)
    facing = -(east * math.sin(light) - north * math.cos(light))  # the first row lies north: the gradient's sign turns
    facing = facing - np.nanmedian(facing) if np.isfinite(facing).any() else facing
    strength = np.clip(facing / FULL_SLOPE, -1.0, 1.0)
    out = np.zeros((*z.shape, 4), np.uint8)
    out[..., :3] = np.where(strength[..., None] > 0, 255, 40)
    out[..., 3] = np.round(np.abs(np.nan_to_num(strength)) * DEEPEST * 255).astype(np.uint8)
    return out


def contour_step_mm(z: np.ndarray, system: str) -> float:
    """The finest round step of the reader's unit that leaves the map readable, mm."""
    low, high = np.nanpercentile(z, (1, 99))
    return next((s for s in CONTOURS_MM[system] if (high - low) * 1000 / s <= MOST_LINES), CONTOURS_MM[system][-1])


def contours(z: np.ndarray, west: float, north: float, cell_m: float, step_m: float) -> list[np.ndarray]:
    """Lines of equal height through cell centres, each (n, 2) easting and northing, m; they end at what was not measured."""
    from contourpy import contour_generator

    e = west + (np.arange(z.shape[1]) + 0.5) * cell_m
    n = north - (np.arange(z.shape[0]) + 0.5) * cell_m
    made = contour_generator(x=e, y=n, z=np.ma.masked_invalid(z))
    low, high = np.nanmin(z), np.nanmax(z)
    out = []
    for k in range(math.ceil(low / step_m), math.floor(high / step_m) + 1):
        out += [line for line in made.lines(k * step_m) if len(line) > 4]
    return out
