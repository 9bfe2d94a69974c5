"""Patches of stable ground over all of a field's surveys: which moved, since when, and what that did to the heights."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass

from pipeline.diamond.layout import Layout
from pipeline.jobs import Job
from pipeline.steps.surveyed import Surveyed, pair_tie
from pipeline.survey.noise import of_difference
from pipeline.survey.stable.patch_series import MovedPatch, PatchDay, moved_patches
from pipeline.survey.stable.patches import PatchHeight, footprints
from pipeline.units import YEAR_DAYS


@dataclass(frozen=True)
class MovedGround:
    """The patches that moved, and the order of all surveys."""

    found: tuple[MovedPatch, ...]
    order: list[str]

    def between(self, earlier: str, later: str) -> frozenset[str]:
        """Patches that may have moved between two surveys: no tie of the two may rest on them."""
        return frozenset(m.patch_id for m in self.found if m.between(earlier, later, self.order))


def moved_ground(job: Job, layout: Layout, kept: dict[str, Surveyed]) -> MovedGround:
    """Every date's patches looked at together; `kept`: surveys that were not refused, oldest first."""
    days: dict[str, dt.date] = {r["survey_id"]: r["flown_on"] for r in job.rows["surveys"]}
    series = [PatchDay(name, days[name].toordinal() / YEAR_DAYS, s.heights, s.noise) for name, s in kept.items()]
    return MovedGround(tuple(moved_patches(footprints(layout), series, layout.centre)), list(kept))


def without(heights: dict[str, PatchHeight], gone: frozenset[str]) -> dict[str, PatchHeight]:
    return {name: h for name, h in heights.items() if name not in gone}


def moved_records(layout: Layout, kept: dict[str, Surveyed], ground: MovedGround) -> list[dict]:
    """One record for each moved patch. A survey's own tie to the baseline was made when it came in and stands: `surveys`
    says how far, over the skin, the patch has carried each of those surfaces, positive = too high, mm."""
    out = []
    for m in ground.found:
        carried = [{"survey_id": name, "skin_mm": _carried_m(layout, s, m.patch_id) * 1000}
                   for name, s in kept.items() if s.base in kept and _apart(m, s.base, name, ground.order)]  # fmt: skip
        record = asdict(m)
        moved, sigma = record.pop("moved_m"), record.pop("sigma_m")
        out.append({**record, "moved_mm": moved * 1000, "sigma_mm": sigma * 1000, "surveys": carried})
    return out


def _apart(m: MovedPatch, base: str, name: str, order: list[str]) -> bool:
    earlier, later = sorted((base, name), key=order.index)
    return name != base and m.between(earlier, later, order)


def _carried_m(layout: Layout, survey: Surveyed, patch_id: str) -> float:
    """Mean over the skin of what is added to a survey because of one patch, m; 0 where its tie left the patch out."""
    tie = survey.tie(layout)
    if patch_id not in {p.patch_id for p in tie.patches}:
        return 0.0
    gone = frozenset({patch_id})
    bare = pair_tie(layout, without(survey.base_heights, gone), without(survey.heights, gone), of_difference(survey.base_noise, survey.noise))
    return tie.shift_m - bare.shift_m
