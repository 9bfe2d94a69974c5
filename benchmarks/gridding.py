"""Cloud to elevation, error and count: time and memory against decoding the same file and throwing it away.

    .venv/bin/python benchmarks/gridding.py --millions 2 20 60 --repeats 5 [--keep FOLDER] [--reader store]

Makes a synthetic LAZ file (LAS 1.4, point format 7: colour and GPS time are in it) of a 120 x 120 m field in US survey
feet, state plane, with white noise of 4 mm, in rows of a camera's pixels or in random order (`--order random`). Then,
alternately and each in a process of its own:

decode  laspy with lazrs in parallel, x, y, z and classification only (or all that `--carry rgb` needs), thrown away
chain   the same reading, plus: the box, the bicubic to a metre grid of 1200 x 1200 cells, grouping by tile, the
        screen for objects and outliers, the de-trended median, its error and count

Printed are medians over the repeats, and the ratio's lowest and highest. Times are taken inside the process, after
imports and after one small cloud has been through (`cold` is the time of that: loading the compiled kernels). Memory is
the process's peak resident size, imports included; from 30 million points on the points wait in an unnamed temporary
file. Machine times vary with what else runs: quote ratios only.

Measured on 2 shared cores, Python 3.11, numba 0.68, laspy 2.7, lazrs 0.8, medians of 3 to 5 pairs, several runs:

points, reading                     ratio       processor time  peak
 2 M, plain loop                    1.9 - 2.2   1.8 - 1.9 x     340 - 360 MiB   (output of 1.44 M cells outweighs it)
20 M, plain loop                    1.17 - 1.36 1.26 - 1.33 x   470 MiB         limit 1.8 x, 900 MiB
20 M, points in random order        1.25        1.27 x          480 MiB
20 M, the pipeline's own reader     1.30        1.35 x          500 MiB
20 M, colour read and carried       1.38        1.37 x          640 MiB
60 M, plain loop, scratch file      1.23 - 1.32 1.34 - 1.38 x   330 - 390 MiB   limit 1.5 x, 900 MiB

The class is read because it costs nothing that shows (0.999 x the processor time of x, y, z alone in this format, where
it does not vary) and saves dropping by height what the producer has marked.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Iterable, Iterator

import numpy as np

SIDE_M, CELL_M = 120.0, 0.1
CRS_FROM, CRS_TO = "EPSG:2272", "EPSG:6564"  # NAD83 / Pennsylvania South in ftUS; NAD83(2011) the same in metres
WEST, SOUTH = 407_880, 76_460  # near the printed example point of that zone
CHUNK = 1_000_000
SCRATCH_FROM = 30_000_000
LIMITS = {20: (1.8, 900), 60: (1.5, 900)}  # ratio, MiB


def make_cloud(path: Path, millions: float, order: str) -> None:
    """A field of `millions` points: 8 strips of 15 m flown to and fro, each in rows across."""
    import laspy

    rng = np.random.default_rng(7)
    header = laspy.LasHeader(point_format=7, version="1.4")
    foot = 1200 / 3937
    header.scales = [0.001] * 3
    header.offsets = [float(round(WEST / foot)), float(round(SOUTH / foot)), 600.0]
    strips = 8
    width = SIDE_M / strips
    pitch = np.sqrt(SIDE_M * width / (millions * 1e6 / strips))
    along, across = round(SIDE_M / pitch), round(width / pitch)
    with laspy.open(path, "w", header=header, laz_backend=laspy.LazBackend.LazrsParallel) as out:
        for strip in range(strips):
            for first in range(0, along, 2000):
                rows = np.arange(first, min(first + 2000, along))
                y = (rows[:, None] + rng.random((len(rows), across))).ravel() * SIDE_M / along
                x = ((np.arange(across) + rng.random((len(rows), across))) * pitch + strip * width).ravel()
                y = SIDE_M - y if strip % 2 else y
                if order == "random":
                    x, y = rng.uniform(0, SIDE_M, (2, len(x)))
                z = 200 + 0.01 * x + 0.005 * y + 0.03 * np.sin(x) * np.cos(y) + rng.normal(0, 0.004, len(x))
                points = laspy.ScaleAwarePointRecord.zeros(len(x), header=header)
                points.x, points.y, points.z = (WEST + x) / foot, (SOUTH + y) / foot, z / foot
                shade = rng.integers(60, 90, len(x)).astype(np.uint16) * 256
                points.red, points.green, points.blue = shade, shade, shade
                points.gps_time = (first * across + np.arange(len(x))) * 1e-6
                out.write_points(points)


def decoded(path: Path, carry: bool) -> Iterator:
    """Chunks of a file through a plain loop of our own."""
    import laspy

    from pipeline.survey.points import Chunk

    pick = laspy.DecompressionSelection
    wanted = pick.XY_RETURNS_CHANNEL | pick.Z | pick.CLASSIFICATION | (pick.RGB if carry else 0)
    with laspy.open(path, laz_backend=laspy.LazBackend.LazrsParallel, decompression_selection=wanted) as reader:
        scale, offset = tuple(reader.header.scales.tolist()), tuple(reader.header.offsets.tolist())
        for points in reader.chunk_iterator(CHUNK):
            raw = points.array
            rgb = np.column_stack([raw[c] >> 8 for c in ("red", "green", "blue")]).astype(np.uint8) if carry else None
            yield Chunk(raw["X"], raw["Y"], raw["Z"], scale, offset, raw["classification"], rgb)


def stored(path: Path, carry: bool) -> Iterator:
    """Chunks of a file through the pipeline's own reader."""
    from pipeline.store.points_las import LasFile

    return LasFile(path).chunks(want_rgb=carry)


def throw_away(path: Path, carry: bool) -> None:
    import laspy

    pick = laspy.DecompressionSelection
    wanted = pick.XY_RETURNS_CHANNEL | pick.Z | pick.CLASSIFICATION | (pick.RGB if carry else 0)
    with laspy.open(path, laz_backend=laspy.LazBackend.LazrsParallel, decompression_selection=wanted) as reader:
        for _ in reader.chunk_iterator(CHUNK):
            pass


def projection():
    """The bicubic from feet to metres over the field, by least squares on a lattice."""
    from pyproj import Transformer

    from pipeline.survey.points import Projection

    step = Transformer.from_crs(CRS_FROM, CRS_TO, always_xy=True)
    foot = 1200 / 3937
    cx, cy, half = (WEST + SIDE_M / 2) / foot, (SOUTH + SIDE_M / 2) / foot, (SIDE_M / 2 + 1) / foot
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 12), np.linspace(-1, 1, 12)))
    e, n = step.transform(cx + u * half, cy + v * half)
    terms = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v, u**3, u * u * v, u * v * v, v**3])
    east, north = (np.linalg.lstsq(terms, a, rcond=None)[0] for a in (e, n))
    box = (cx - half, cy - half, cx + half, cy + half)
    return Projection((cx, cy), half, tuple(east.tolist()), tuple(north.tolist()), foot, box)


def grid_all(chunks: Iterable, points: int, workers: int) -> dict:
    from pipeline.frame import Grid
    from pipeline.store.scratch import FileScratch
    from pipeline.survey.cells.buckets import Buckets, feed
    from pipeline.survey.cells.gridding import grid_cloud

    step = projection()
    west, south = np.floor(np.array(step.apply(*step.centre)) - SIDE_M / 2)
    grid = Grid.covering((west, south, west + SIDE_M, south + SIDE_M), CRS_TO, CELL_M)
    with FileScratch(tempfile.gettempdir()) as file:
        buckets = Buckets(grid, step, file if points >= SCRATCH_FROM else None)
        feed(chunks, [buckets], workers)
        out = grid_cloud(buckets, workers=workers)
        return {
            "cells": int(np.count_nonzero(~np.isnan(out.z))),
            "ground": len(out.ground),
            "removed": sum(out.removed.values()),
            "white_point_mm": round(out.white_point_m * 1000, 3),
        }


def child(what: str, path: Path, small: Path, reader: str, carry: bool, workers: int) -> None:
    """One run in this process; prints what it took as JSON."""
    import laspy

    read = stored if reader == "store" else decoded
    with laspy.open(path) as opened:
        points = opened.header.point_count
    start = time.perf_counter()
    if what == "chain":
        grid_all(read(small, carry), 0, workers)
    cold = time.perf_counter() - start
    start, cpu = time.perf_counter(), time.process_time()
    note = grid_all(read(path, carry), points, workers) if what == "chain" else throw_away(path, carry)
    took = {"s": time.perf_counter() - start, "cpu_s": time.process_time() - cpu, "cold_s": cold, "note": note}
    took["mib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps(took))


def run(what: str, path: Path, small: Path, args: argparse.Namespace) -> dict:
    command = [sys.executable, __file__, "--child", what, "--file", str(path), "--small", str(small)]
    command += ["--reader", args.reader, "--workers", str(args.workers)] + (["--carry-rgb"] if args.carry_rgb else [])
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parent.parent)}
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
    return json.loads(done.stdout)


def cloud(folder: Path, millions: float, order: str) -> Path:
    path = folder / f"field_{order}_{millions:g}m.laz"
    if not path.exists():
        make_cloud(path, millions, order)
    return path


def compare(folder: Path, millions: float, args: argparse.Namespace) -> None:
    path, small = cloud(folder, millions, args.order), cloud(folder, 0.2, args.order)
    pairs = []
    for _ in range(args.repeats):
        pairs.append((run("decode", path, small, args), run("chain", path, small, args)))
    ratios = sorted(c["s"] / d["s"] for d, c in pairs)
    cpu = statistics.median(c["cpu_s"] / d["cpu_s"] for d, c in pairs)
    decode, chain, mib = (statistics.median(v) for v in zip(*((d["s"], c["s"], c["mib"]) for d, c in pairs)))
    limit = LIMITS.get(round(millions))
    said = f"limit {limit[0]:.2f} x, {limit[1]} MiB" if limit else ""
    print(
        f"{millions:5g} M  decode {decode:6.2f} s  chain {chain:6.2f} s  ratio {statistics.median(ratios):.2f} "
        f"({ratios[0]:.2f}..{ratios[-1]:.2f})  cpu {cpu:.2f} x  peak {mib:4.0f} MiB  "
        f"cold {pairs[-1][1]['cold_s']:.1f} s  {said}"
    )
    print(f"         {pairs[-1][1]['note']}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--millions", type=float, nargs="+", default=[2, 20, 60])
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--keep", type=Path, help="folder in which the clouds stay for another run")
    parser.add_argument("--order", choices=("rows", "random"), default="rows")
    parser.add_argument("--reader", choices=("plain", "store"), default="plain")
    parser.add_argument("--carry-rgb", action="store_true", help="read colour too and keep it with each point")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--child", choices=("decode", "chain"), help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--small", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        child(args.child, args.file, args.small, args.reader, args.carry_rgb, args.workers)
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = args.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        small = cloud(folder, 0.2, args.order)
        run("chain", small, small, args)  # compiles what is not cached yet
        for millions in args.millions:
            compare(folder, millions, args)


if __name__ == "__main__":
    main()
