"""The file that the week's page saves: one header over the rows of three tables, each row named for its table."""

from __future__ import annotations

from pipeline.tables import CREW_COLUMNS, LOGGED

COLUMNS, INTO = CREW_COLUMNS, LOGGED
ACTIONS = ("marked_off", "closed", "repaired")  # what a crew does about a hazard; accepting one is the owner's
