"""Wishes for a graded surface that cannot stand: found before anything runs."""

from __future__ import annotations

from typing import Iterator, Mapping

from pipeline.owner import Grading, Material

MOST_PCT, MOST_RATIO = 10.0, 2.0  # more is in another unit, or a slip of the hand (ours: no more than a sieve)
RIDGED = ("crown", "two_planes")

Fault = tuple[tuple[str, ...], str, str, str]  # where in the settings, found, expected, what to do


def faults(grading: Grading, material: Material, ridges: Mapping[str, bool], known: bool) -> Iterator[Fault]:
    """Faults of the sections `grading` and `material`.

    ridges : field_id -> whether home plate and second base are known, between which a ridge runs; known: whether the fields are
    """
    for field_id, own in (("", grading), *sorted(grading.fields.items())):
        at = ("grading", "fields", field_id) if field_id else ("grading",)
        if field_id and known and field_id not in ridges:
            yield at, repr(field_id), "a field_id of the table of fields", "Correct the name, or take it out."
            continue
        for name in ("slope_min_pct", "slope_max_pct"):
            figure = getattr(own, name)
            if figure is not None and figure.value > MOST_PCT:
                yield (*at, name), f"{figure.value:g}", f"0 to {MOST_PCT:g} %", "Write the fall in per cent: 1 in in 10 ft is 0.83."
        bearing = own.fall_bearing_deg
        if bearing is not None and bearing.value > 360:
            yield (*at, "fall_bearing_deg"), f"{bearing.value:g}", "0 to 360 degrees clockwise from grid north", "Correct the bearing: it points downhill."
        least, most = (getattr(own, n) or getattr(grading, n) for n in ("slope_min_pct", "slope_max_pct"))
        if least is not None and most is not None and least.value > most.value:
            name = "slope_max_pct" if own.slope_max_pct is not None else "slope_min_pct"
            yield (*at, name), f"least {least.value:g}, most {most.value:g} %", "a most fall that is no less than the least", "Correct one of the two."
        form = own.form
        ridged = [f for f in ([field_id] if field_id else [k for k in ridges if k not in grading.fields or grading.fields[k].form is None]) if form in RIDGED and not ridges.get(f, True)]
        if ridged:
            yield (*at, "form"), f"{form} on {', '.join(ridged)}", "a field whose home plate and second base are known", "Give the field a layout with home and second, or wish for plane or free."
    ratio = material.cut_fill_ratio
    if ratio is not None and not 1 <= ratio.value <= MOST_RATIO:
        yield ("material", "cut_fill_ratio"), f"{ratio.value:g}", f"1 to {MOST_RATIO:g}: cut needed for one of settled fill", "Correct the ratio: mix shrinks when it is placed."
