"""A small invented field that the simulator's tests share: cheap to fly, with everything planted switched off."""

from __future__ import annotations

from datetime import date

FIRST = date(2025, 4, 7)
LATER = date(2026, 4, 7)
PAD = {"name": "pad", "at": [12.0, 2.0], "along_m": 3.0, "across_m": 2.0, "turned_deg": 45.0, "lift_mm": 50.0}


def plain(field: dict | None = None, survey: dict | None = None) -> dict:
    """A scenario of one quiet field and one survey as plain values; arguments replace single keys."""
    return {
        "seed": 5,
        "district": "nowhere",
        "first_day": FIRST,
        "fields": {
            "quiet": {
                "crs": "EPSG:6550", "table_crs": "EPSG:6550", "layout": "softball-55", "home": [507000.0, 175000.0],
                "bearing_deg": 30.0, "height_m": 300.5, "fall": {"slope_pct": 0.0, "bearing_deg": 0.0},
                "skin_waves_mm": 0.0, "turf_waves_mm": 0.0, "finish_waves_mm": 0.0, "movement": 0.0,
                "slabs": [PAD],
                **(field or {}),
            }
        },
        "surveys": {
            "once": {
                "day": FIRST, "fields": ["quiet"], "instrument": "exact", "spacing_m": 0.3, "canopy_mm": 0.0,
                "file": "clouds/once.laz", "file_crs": "EPSG:6550+5703", **(survey or {}),
            }
        },
    }  # fmt: skip
