"""What a full table is held to. Heights in mm, lengths in m; s.d. and shares as they are."""

from __future__ import annotations

LONG_M = 37.5  # usable edge, 1 m off ends and corners left out: an edge of 40 m and more
COVER = (0.92, 0.99)
MOST_FLAGGED = 0.08
MOST_BIAS = 1.0
LONG_RMSE = {"good": 2.0, "weak": 2.5, "lidar": 2.0, "rover": 2.5}
PIECE_RMSE = {"good": 4.0, "weak": 6.0, "lidar": 3.0}
HEIGHT_RMSE = {"15 readings on the edge": 2.0, "15 readings over the other edges": 4.0}
WRONG_KIND = 0.05
SHIFT_COST = 1.5
TIE_RMSE = {("good", 5): 4.5, ("lidar", 5): 4.0, ("weak", 5): 9.5, ("good", 7): 3.0, ("lidar", 7): 3.0, ("weak", 7): 5.5}
TIE_COVER = (0.93, 0.98)
LEAST_NAMED = 0.80
