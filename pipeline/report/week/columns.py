"""The file that the week's page saves: one header over the rows of three tables, each row named for its table."""

from __future__ import annotations

from pipeline.tables import TABLES

TABLE = "table"
INTO = ("works", "readings", "walks")
COLUMNS = (TABLE, *dict.fromkeys(f.name for table in INTO for f in TABLES[table]))
SEEN = ("puddle", "soft", "trip", "hole", "weeds")
CORNERS = ("home", "first", "second", "third", "left", "right", "centre")
MIX_UNITS = ("short_ton", "tonne", "yd3_loose", "m3_loose")
ACTIONS = ("marked_off", "closed", "repaired")  # what a crew does about a hazard; accepting one is the owner's
