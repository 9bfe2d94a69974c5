"""What plants on the skin leave of a figure: up to a share it stands, beyond it there is not enough evidence."""

from __future__ import annotations

from dataclasses import replace

from pipeline.surface.spots import NOT_ENOUGH, LowSpot

MOST_COVERED = 0.30  # of a zone under plants; ours: what is hidden is then half of what is seen
CLEAR = "clear the weeds, then fly"
NAN = float("nan")
NO_FIGURES = ("depth_mm", "depth_sigma_mm", "ring_depth_mm", "ring_depth_sigma_mm", "pond_depth_mm", "pond_depth_sigma_mm", "plane_depth_mm",
              "plane_depth_sigma_mm", "area_m2", "volume_m3", "volume_sigma_m3", "ponded_m3", "fill_tonnes", "fill_tonnes_low",
              "fill_tonnes_high", "fill_loose_m3", "probability")  # fmt: skip


def closed(share: float) -> str:
    """Why a zone with so much of it under plants is not judged, or ``. A share that is not known closes nothing."""
    return f"weeds cover {100 * share:.0f} %: {CLEAR}" if share > MOST_COVERED else ""


def without_covered(spots: tuple[LowSpot, ...], shares: dict[str, float]) -> tuple[LowSpot, ...]:
    """Low spots, those of covered zones without figures; where plants took enough of a place that it has none, that is said.

    shares : zone to its share under plants
    """
    out = []
    for spot in spots:
        share = shares.get(spot.low_spot_id, NAN)
        why = closed(share) or (f"{spot.reason}; weeds cover {100 * share:.0f} %: {CLEAR}" if spot.reason and share > 0 else "")
        if not why:
            out.append(spot)
        elif closed(share):
            out.append(replace(spot, **dict.fromkeys(NO_FIGURES, NAN), evidence=NOT_ENOUGH, reason=why))
        else:
            out.append(replace(spot, reason=why))
    return tuple(out)
