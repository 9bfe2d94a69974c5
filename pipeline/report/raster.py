"""Rasters as small pictures to be laid into a drawing: PNG bytes, and how they are inlined."""

from __future__ import annotations

import base64
import io

import numpy as np

from pipeline.frame import Grid
from pipeline.report.svg import Frame, el


def coarser(values: np.ndarray, grid: Grid, cell_m: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Block means near a wanted cell size, the share of each block that was measured, and the blocks' side, m.

    values  : (ny, nx), NaN where nothing was measured. For pictures only: nothing is measured on the result
    returns : blocks from the grid's north-west corner on; a last one that reaches over the grid counts as unmeasured there
    """
    step = max(int(cell_m / grid.cell_m + 1e-9), 1)
    ny, nx = -(-grid.ny // step), -(-grid.nx // step)
    padded = np.full((ny * step, nx * step), np.nan)
    padded[: grid.ny, : grid.nx] = values
    blocks = padded.reshape(ny, step, nx, step).swapaxes(1, 2).reshape(ny, nx, step * step)
    held = np.isfinite(blocks)
    count = held.sum(axis=2)
    mean = np.where(count > 0, np.where(held, blocks, 0.0).sum(axis=2) / np.maximum(count, 1), np.nan)
    return mean, count / (step * step), step * grid.cell_m


def png(rgba: np.ndarray) -> bytes:
    """PNG bytes of an (ny, nx, 4) uint8 picture; the same picture gives the same bytes."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(rgba, "RGBA").save(out, "PNG", optimize=False, compress_level=9)
    return out.getvalue()


def inlined(data: bytes) -> str:
    return "data:image/png;base64," + base64.b64encode(data).decode("ascii")


def laid(frame: Frame, rgba: np.ndarray, grid: Grid, side_m: float, class_: str | None = "cells") -> str:
    """A picture laid into a drawing: cells of side_m from the grid's north-west corner on."""
    return el("image", href=inlined(png(rgba)), width=rgba.shape[1], height=rgba.shape[0], preserveAspectRatio="none",
              transform=frame.matrix(grid.west, grid.north, side_m), class_=class_)  # fmt: skip
