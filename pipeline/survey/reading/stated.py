"""What the operator's table says about a survey's files, and whether a file is of the kind it says."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.errors import Refused
from pipeline.survey.reading.facts import KINDS, Facts

KINDS_OF_SOURCE = {
    "photogrammetry": ("las", "csv", "bare"),
    "lidar": ("las", "csv", "bare"),
    "rover": ("csv", "bare", "walk"),
    "raster": ("raster",),
}


@dataclass(frozen=True)
class Stated:
    """What one row of surveys.csv says about its files; None for an empty cell.

    source           : `photogrammetry`, `lidar`, `rover` or `raster`
    crs              : `EPSG:6565`, also with heights, `EPSG:6565+6360`; WKT
    vertical_unit    : `m`, `ft` or `us-ft`
    height_reference : EPSG code of a vertical datum, `ellipsoidal` or `local`
    sigma_mm         : one s.d. of a point, of a raster's cell
    """

    source: str
    crs: str | None = None
    vertical_unit: str | None = None
    height_reference: str | None = None
    sigma_mm: float | None = None


def check_kind(facts: Facts, stated: Stated) -> None:
    """Raise Refused where a file holds no points, is not what `source` says, or is a raster without its sigma."""
    if facts.n_points == 0:
        raise Refused("no_points", f"{facts.name}: found no points; expected a survey. Export the file again.")
    if facts.kind not in KINDS_OF_SOURCE[stated.source]:
        fitting = [source for source, kinds in KINDS_OF_SOURCE.items() if facts.kind in kinds]
        raise Refused(
            "source_disagrees",
            f"{facts.name}: found {KINDS[facts.kind]}; surveys.csv says source {stated.source}, which is read from "
            f"{' or '.join(KINDS[kind] for kind in KINDS_OF_SOURCE[stated.source])}. Correct source "
            f"({' or '.join(fitting)}) or path.",
        )
    if stated.source == "raster" and stated.sigma_mm is None:
        raise Refused(
            "no_sigma",
            f"{facts.name}: found a raster without sigma_mm in surveys.csv; expected one standard deviation of a "
            "cell, mm. Ask whoever made the raster: without it no change can carry an uncertainty.",
        )
