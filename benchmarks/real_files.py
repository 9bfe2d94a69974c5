"""The chain on real clouds: what it says, beside what others measured on the same files.

    .venv/bin/python benchmarks/real_files.py [--data ../shared/data] [--keep FOLDER]

Needs the folder of openly licensed files whose README the figures in the last column come from; without it nothing is run.
No file is of a ball field, and none carries a known truth: what is checked is reading, units, planes, crowns, the size and
sign of a change, what is claimed where nothing changed, and how walks of many dates stand against one another. `tests/real` holds the same figures to their limits.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads only get in each other's way
ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
from support.chain import Chain  # noqa: E402
from support.real_files import (  # noqa: E402
    COMPLEX_FIELDS,
    CROWN,
    DATES,
    FOOT_M,
    LAWN,
    OVER_THE_CROWN,
    TURF,
    bike_track,
    compare_track,
    complex_of_two,
    crown_profile,
    dutch_corner,
    hillside,
    lawn,
    plane_of_points,
    scatter_mm,
    track_along_normals,
    turf,
)  # fmt: skip
from support.real_swaths import SIDES_M, SWATHS, TILES, Held, in_sd, squares, strip_noise, swath_change, swath_pair  # noqa: E402
from support.real_walks import README_MM, datums, scatters, walks  # noqa: E402

from pipeline.steps import surveyed  # noqa: E402
from pipeline.survey.walks.crossings import DRIFT_M, crossings  # noqa: E402

Z95 = 1.96


def show(what: str, found: str, beside: str = "") -> None:
    print(f"  {what:<46} {found:<44} {beside}".rstrip())


def number(row: dict[str, str], column: str) -> float:
    return float(row[column]) if row[column] else float("nan")


def lawns(data: Path, folder: Path) -> None:
    """Planes, scatter and crown of turf."""
    for title, run, windows in (("pitch, unclassified", turf, [*TURF, OVER_THE_CROWN]), ("park lawn", lawn, LAWN)):
        chain, refused, cell_m = run(data, folder / title.split()[0])
        print(f"{title}: 0.10 m refused, {min(refused.values()):g} to {cell_m:g} m named, run on {cell_m:g} m")
        for w in windows:
            (row,) = chain.table(w.field, "zones")
            east, north, sd_mm = plane_of_points(data, w)
            fall = f"{number(row, 'slope_pct'):.2f} +/- {Z95 * number(row, 'slope_sigma_pct'):.2f} % to {number(row, 'fall_bearing_deg'):.0f} deg"
            told = "" if np.isnan(w.fall_pct) else f"README {w.fall_pct:.2f} %, "
            show(f"{w.side:.0f} ft about {w.east:.0f}, {w.north:.0f}: fall", fall, f"{told}statsmodels {np.hypot(east, north):.2f} %")
            uneven = f"{number(row, 'planarity_mm'):.1f} +/- {Z95 * number(row, 'planarity_sigma_mm'):.1f}"
            made = f"{scatter_mm(chain, w.field):.1f} mm, of it uneven {uneven}"
            show("  points about their plane", made, f"README {w.residual_mm:.1f}, statsmodels {sd_mm:.1f} mm")
            show("  verdict of the field", chain.verdict(w.field))
        if run is turf:
            off = [(v - CROWN[y]) * FOOT_M * 1000 for y, v in crown_profile(chain).items()]
            show("crown, ten medians of 20 x 20 ft", f"off by {min(off):+.1f} to {max(off):+.1f} mm", "README's medians")
            show("low spots listed on the pitch", str(len(chain.table("pitch", "low_spots"))))


def track(data: Path, folder: Path) -> None:
    """Thirteen years of a bike track."""
    chain, refused, cell_m = bike_track(data, folder)
    print(f"bike track: 0.10 m refused, {min(refused.values()):g} and {cell_m:g} m named, run on {cell_m:g} m")
    for name in DATES:
        record = chain.record("track", name)
        figures = record["figures"]
        show(name, f"{record['verdict']}, {figures['covered_pct']:.0f} % seen, a point {figures['white_point_mm']:.0f} mm", record["reason"])
    found = compare_track(data, chain)
    ours, theirs, beyond = found.ours, found.theirs, abs(found.ours) > Z95 * found.sigma
    (row,) = chain.table("track", "change")
    rms = [1000 * np.sqrt(np.mean(v**2)) for v in (ours, theirs)]
    show("change against its own plane, rms", f"{rms[0]:.0f} mm over {len(ours)} cells", f"scipy and statsmodels {rms[1]:.0f} mm")
    apart = f"apart {1000 * np.median(abs(ours - theirs)):.0f} mm (median)"
    show("  cell by cell", f"r {np.corrcoef(ours, theirs)[0, 1]:.3f}, slope {np.polyfit(theirs, ours, 1)[0]:.3f}, {apart}")
    show("  cells beyond 1.96 s.d.", f"{beyond.sum()}, sign the same in {(np.sign(ours) == np.sign(theirs))[beyond].mean():.0%}")
    for name, sign in (("gain", 1), ("loss", -1)):
        show(f"  gross {name}", f"{number(row, f'{name}_m3'):.1f} m3, noise {number(row, 'noise_m3'):.1f}",
             f"scipy and statsmodels {np.maximum(sign * theirs, 0).sum() * found.cell_m2:.1f} m3")  # fmt: skip
    along = track_along_normals(data, chain)
    apart = along.ours - along.theirs
    ways = f"r {np.corrcoef(along.ours, along.theirs)[0, 1]:.3f}, slope {np.polyfit(along.theirs, along.ours, 1)[0]:.3f}, median {1000 * np.median(apart):+.0f} mm"
    show("  along normals, cylinders as large as the cells", ways, f"scipy and numpy, {len(apart)} places; apart {np.sqrt(np.mean((apart / along.sigma) ** 2)):.2f} s.d. of ours")
    blank = all(row[c] == "" for c in ("mean_mm", "pair_tie_mm", "net_m3"))
    show("  mean, net and pair tie in change.csv", "empty" if blank else "GIVEN", f"the plane that was taken off stands at {found.shift:+.2f} m")


def nothing_changed(data: Path, folder: Path) -> None:
    """Two swaths of one flight."""
    cells, zones, pairs = {}, {side: {} for side in SIDES_M}, []
    for tile in TILES:
        chain, _, cell_m = swath_pair(data, folder / Path(tile).stem, tile)
        print(f"same-day swaths, {tile}, on {cell_m:g} m")
        for field in chain.project.fields:
            cells[field] = one_place(chain, field, zones)
            if field.startswith("flat") and not field.endswith("tied"):
                layout = chain.layout(field)
                pairs.append((layout, *(surveyed.read(chain.where, layout, name) for name in SWATHS)))
    print("same-day swaths: how many 95 % intervals hold zero (tied and relative of one place share points, sizes share cells)")
    flat, drawn = (lambda name: name.startswith("flat")), (lambda name: not name.startswith("flat"))
    for group, chosen in (("all flat ground", flat), ("among kerbs and trees", drawn)):
        for tied in (False, True):
            held(f"{group}, {'tied' if tied else 'relative'}: cells", [v for n, v in cells.items() if chosen(n) and n.endswith("tied") is tied])
            for side, found in zones.items():
                held(f"  squares of {side:g} m", [v for n, v in found.items() if chosen(n) and n.endswith("tied") is tied])
        held(f"{group}: all squares", [v for found in zones.values() for n, v in found.items() if chosen(n)])
    held("everywhere: all squares", [v for found in zones.values() for v in found.values()])
    part = strip_noise(pairs)
    show(f"part of range {part.range_m:g} m between the strips", f"{part.found_mm:.1f} mm, 95 % from {part.low_mm:.1f} to {part.high_mm:.1f}", f"declared {part.declared_mm:.1f} mm")


def held(what: str, units: list[np.ndarray]) -> None:
    found = Held.of(np.concatenate(units))
    low, high = found.interval
    show(what, f"{100 * found.share:.1f} % of {found.total}, rms {found.rms:.2f} s.d.", f"92 to 98 %: {100 * low:.0f} to {100 * high:.0f} % {'reaches it' if found.reaches() else 'DOES NOT'}")


def one_place(chain: Chain, name: str, zones: dict[float, dict]) -> np.ndarray:
    """Print what is claimed at one place; returns its cells' changes over their s.d., and adds its squares'."""
    layout, change, tie = swath_change(chain, name)
    on_skin = layout.grid.mask(layout.skin) & change.measured
    cells = (change.dz / change.sigma)[on_skin]
    (row,) = chain.table(name, "change")
    tied = f"shift {1000 * tie.shift_m:+.1f} +/- {Z95 * 1000 * tie.shift_sigma_m:.1f} mm" if not change.relative else "relative"
    show(name, f"{tied}, a cell {1000 * np.median(change.sigma[on_skin]):.0f} mm", "shift to be found: +6 mm" if not change.relative else "")
    if not change.relative:
        show("  mean of the skin", f"{number(row, 'mean_mm'):+.1f} +/- {Z95 * number(row, 'mean_sigma_mm'):.1f} mm, p {row['p_holm']}", "0")
        show("  net volume", f"{number(row, 'net_m3'):+.2f} +/- {Z95 * number(row, 'net_sigma_m3'):.2f} m3, detected {row['detected']}", "0")
    show("  gross gain and loss", f"{row['gain_m3']} and {row['loss_m3']} m3", f"noise {row['noise_m3']} m3")
    show("  cells beyond 1.96 s.d.", f"{np.mean(abs(cells) > Z95):.3f} of {len(cells)}")
    for side, found in zones.items():
        judged = squares(layout, change, side)
        found[name] = in_sd(judged)
        if any(z.detected for z in judged):
            show(f"  squares of {side:g} m", f"FALSE: {sum(z.detected for z in judged)} of {len(judged)} detected after Holm")
    for table, key, value in (("low_spot_change", "low_spot_id", "depth_change"), ("lip_change", "edge_id", "growth")):
        for r in chain.table(name, table):
            if r["detected"] == "true":
                claimed = f"{r[f'{value}_mm']} +/- {Z95 * number(r, f'{value}_sigma_mm'):.0f} mm"
                show(f"  {r[key]}, {value.replace('_', ' ')}", f"FALSE: {claimed} detected")
    one_date(chain, name)
    return cells


def one_date(chain: Chain, name: str) -> None:
    """What the two swaths say of the same ground, each on its own."""
    rows = [r for survey in SWATHS for r in chain.table(name, "zones") if r["survey_id"] == survey]
    seen = " and ".join(f"{number(r, 'covered_pct'):.0f}" for r in chain.table(name, "survey_quality"))
    for what, value, sigma in (("planarity, mm", "planarity_mm", "planarity_sigma_mm"), ("slope, %", "slope_pct", "slope_sigma_pct")):
        (a, b), (sa, sb) = ([number(r, c) for r in rows] for c in (value, sigma))
        show(f"  {what}", f"{a:g} and {b:g}, apart {(b - a) / np.hypot(sa, sb):+.1f} s.d.", f"{seen} % of the skin seen")


def walked(data: Path, folder: Path) -> None:
    """Eight dates of rover walks."""
    folder.mkdir(parents=True, exist_ok=True)
    found = walks(data, folder)
    told = crossings(found.cleaned, found.white_m)
    refused = ", ".join(f"{date} {code}" for date, code in found.refused.items())
    print(f"rover walks: {len(found.dates)} dates, refused: {refused}; {len(told.stretches)} stretches, {sum(s.verdict == 'off' for s in told.stretches)} off")
    print("  date, receiver: offset of the walk as a whole, all fixed rows; without stretches that are off; README")
    before = {(d.date, d.receiver): d for d in datums(found, told, settled=False)}
    for d in datums(found, told):
        name, was = (d.date, d.receiver), before[d.date, d.receiver]
        first = "meets no stable cell" if not was.cells else f"{1000 * was.offset_m:+.0f} +/- {Z95 * 1000 * was.sigma_m:.0f} mm{', JUMPED' if was.jumped else ''}"
        then = "" if not d.cells else f"{1000 * d.offset_m:+.0f} +/- {Z95 * 1000 * d.sigma_m:.0f} mm in {d.cells} cells; {d.off} of {d.rows} rows off, {d.disputed} disputed"
        show(f"{d.date}, {d.receiver}: {first}", then, f"README {README_MM[name]:+d} mm" if name in README_MM else "")
    for s in (s for s in told.stretches if s.verdict == "off"):
        show(f"  {found.dates[s.walk]}, {s.receiver}, line {s.line}, rows {s.first_row} to {s.last_row}", f"{1000 * s.offset_m:+.0f} +/- {Z95 * 1000 * s.sigma_m:.0f} mm off", f"{s.crossings} crossings")
    print("  a walk against the others on the upper path, off stretches left out")
    every = scatters(found, told)
    for s in every:
        shared, pairs = s.shared_m2()
        told_mm = f"scatter {1482.6 * np.median(abs(s.dz)):.0f} mm, claimed {1000 * np.median(s.sigma):.0f}; {100 * np.mean(abs(s.in_sd) < Z95):.0f} % of {len(s.dz)} inside 95 %"
        show(f"{s.date}, {s.receiver}", told_mm, f"shared over 5 to 20 m: {np.sign(shared) * 1000 * np.sqrt(abs(shared)):.0f} mm ({pairs} pairs), declared {1000 * DRIFT_M:.0f} mm a walk")
    units = np.concatenate([s.in_sd for s in every])
    show("all", f"{1.4826 * np.median(abs(units)):.2f} s.d., {100 * np.mean(abs(units) < Z95):.0f} % of {len(units)} inside 95 %", "1 and 95 % where the s.d. is right and the ground stood still")


def whole_files(data: Path, folder: Path) -> None:
    """Two fields of one file; complete headers; a file too sparse for any field."""
    start = time.process_time()
    chain, _, cell_m = complex_of_two(data, folder / "complex")
    print(f"two fields of one file of 698,000 points, on {cell_m:g} m, both cells together {time.process_time() - start:.1f} s CPU")
    for field in COMPLEX_FIELDS:
        (row,) = chain.table(field, "zones")
        removed = chain.record(field, "flight")["removed"]
        show(field, f"fall {row['slope_pct']} % to {row['fall_bearing_deg']} deg, artefacts left out {removed['class_noise']}")
    chain, _, cell_m = dutch_corner(data, folder / "corner")
    print(f"a header that says everything, on {cell_m:g} m")
    show("height reference", chain.record("corner", "flight")["height_reference"], "EPSG:5709 (NAP)")
    print("US survey feet over a square kilometre")
    show("hillside", chain_reason(hillside(data, folder / "hillside"), "hillside"))


def chain_reason(chain: Chain, field: str) -> str:
    record = chain.record(field, "flight")
    return f"{record['verdict']}: {record['reason'].split(';')[0]}"


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--data", type=Path, default=Path(os.environ.get("SKINPLANE_REAL_DATA", ROOT.parent / "shared" / "data")))
    asked.add_argument("--keep", type=Path, help="folder to leave the projects and their pages in")
    given = asked.parse_args()
    if not (given.data / "SHA256SUMS").is_file():
        print("The folder of real files is not here; name it with --data or SKINPLANE_REAL_DATA.")
        return 1
    start = time.process_time()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        for part in (lawns, track, nothing_changed, walked, whole_files):
            part(given.data, folder / part.__name__)
    print(f"{time.process_time() - start:.0f} s CPU")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
