"""The noise of each pair of a field's surveys: declared, and what the field's own differences show of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.surveyed import Surveyed
from pipeline.survey.noise import Noise, of_difference
from pipeline.survey.stable.noise_fit import NoiseFit, combined, fit_noise

# Work that moves the skin beyond what play and dragging do between any two dates.
MOVES_SKIN = ("level", "open_up", "mix_add", "roll", "laser_grade", "rebuild")
SKIN = "skin"
NOT_SKIN = ("skin", "turf_infield")
LEAST_M2 = 100.0  # a smaller piece of skin tells nothing of a part of 8 m
MOST_TIMES = 3.5  # the declared s.d.: what a difference shows beyond that is change, not noise, and is not taken for it
LEAST_DIFFERENCES = 2  # one alone may hold a change that nobody recorded
SHARED_DATES = 2.0 / 3.0  # differences in a row share a survey; their squares correlate 1/4: n are worth some n / 1.5


@dataclass(frozen=True)
class PairNoises:
    """What differences of a field's surveys show, by the two surveys' sources."""

    kept: dict[str, Surveyed]
    fits: dict[tuple[str, str], tuple[NoiseFit, ...]]

    def of(self, earlier: str, later: str) -> Noise | None:
        """The noise of a pair; None where nothing was fitted and the declared one stands."""
        fits = self._fits(earlier, later)
        return combined(self._declared(earlier, later), list(fits)) if fits else None

    def record(self, earlier: str, later: str) -> dict:
        """Declared and used s.d. of every part, how many differences stand behind them."""
        declared, fits = self._declared(earlier, later), self._fits(earlier, later)
        used = self.of(earlier, later) or declared
        return {
            "differences": len(fits),
            "parts": [
                {"range_m": r, "declared_mm": sd * 1000, "used_mm": u * 1000, "fitted": any(f.fitted[i] for f in fits if len(f.fitted) > i)}
                for i, ((sd, r), (u, _)) in enumerate(zip(declared.parts, used.parts))
            ],
        }  # fmt: skip

    def _declared(self, earlier: str, later: str) -> Noise:
        return of_difference(self.kept[earlier].cell_noise, self.kept[later].cell_noise)

    def _fits(self, earlier: str, later: str) -> tuple[NoiseFit, ...]:
        return self.fits.get(_sources(self.kept[earlier], self.kept[later]), ())


def pair_noises(job: Job, layout: Layout, kept: dict[str, Surveyed]) -> PairNoises:
    """Noise fitted to the skin's differences between each survey and the last one of each source before it.

    Declared places are left out (they wear), work with a zone takes its zone out, work on all of the skin the whole
    difference. Walks keep their declared noise: their rasters are made from rows, and share the rows' error.
    """
    skin, days = _open_skin(layout), {r["survey_id"]: r["flown_on"] for r in job.rows["surveys"]}
    out: dict[tuple[str, str], list[NoiseFit]] = {}
    last: dict[str, str] = {}
    for name, survey in kept.items():
        if survey.rows is not None:
            continue
        for before in last.values():
            cells = _unworked(job, layout, skin, days[before], days[name])
            fit = None if cells is None else _fitted(layout, kept[before], survey, cells)
            if fit is not None and max(fit.ratios, default=0.0) <= MOST_TIMES**2:
                out.setdefault(_sources(kept[before], survey), []).append(fit)
        last[survey.record["source"]] = name
    return PairNoises(kept, {key: _shared(found) for key, found in out.items() if len(found) >= LEAST_DIFFERENCES})


def _sources(earlier: Surveyed, later: Surveyed) -> tuple[str, str]:
    a, b = sorted((earlier.record["source"], later.record["source"]))
    return a, b


def _open_skin(layout: Layout) -> np.ndarray:
    """The skin less the declared places, (ny, nx)."""
    cells = layout.grid.mask(layout.skin)
    for name, polygon in layout.zones.items():
        if name not in NOT_SKIN:
            cells &= ~layout.grid.mask(polygon)
    return cells


def _unworked(job: Job, layout: Layout, skin: np.ndarray, earlier: dt.date, later: dt.date) -> np.ndarray | None:
    """Cells of the skin that no declared work moved between two days; None where all were."""
    cells = skin
    for work in job.rows.get("works", ()):
        ended = work.get("ended_on", work["done_on"])
        if work["work"] not in MOVES_SKIN or not (ended > earlier and work["done_on"] <= later):
            continue
        zone = work.get("zone", SKIN)
        if zone == SKIN or zone not in layout.zones:
            return None
        cells = cells & ~layout.grid.mask(layout.zones[zone])
    return cells


def _fitted(layout: Layout, earlier: Surveyed, later: Surveyed, cells: np.ndarray) -> NoiseFit | None:
    dz = np.where(cells, later.z - earlier.z, np.nan)
    seen = np.isfinite(dz)
    if seen.sum() * layout.grid.cell_area_m2 < LEAST_M2:
        return None
    white = np.where(seen, np.hypot(earlier.white, later.white), np.nan)
    return fit_noise(dz, layout.grid.cell_m, of_difference(earlier.cell_noise, later.cell_noise), white)


def _shared(fits: list[NoiseFit]) -> tuple[NoiseFit, ...]:
    return tuple(replace(f, freedom=tuple(v * SHARED_DATES for v in f.freedom)) for f in fits)
