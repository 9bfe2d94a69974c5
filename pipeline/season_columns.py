"""Columns of the tables on what is coming: forecasts, the crew's season and its days."""

from __future__ import annotations

from pipeline.columns import Column, columns_of

SEASON_TABLES: dict[str, tuple[Column, ...]] = {
    "forecast": columns_of(
        ("measure", "word", "lip, growth, ring_depth, planarity, mean_height, encroachment, straightedge, slope (mm over a metre: 10 is 1 %), mix_depth", True),
        ("edge_id", "word", "the grass edge, empty where the measure is of a zone", True),
        ("zone", "word", "the zone or place, empty where the measure is of an edge", True),
        ("on", "date", "the day asked for; empty where nothing can be carried on", True),
        ("value_mm", "mm", "what a survey on that day would read, if it goes on as it has"),
        ("low95_mm", "mm", "lower end of its 95 % band, that survey's own error in it"),
        ("high95_mm", "mm", "upper end of it"),
        ("surveys", "count", "surveys behind it"),
        ("by_use", "flag", "wear by hours of play was told apart from wear by time"),
        ("season", "flag", "a season within the year was fitted"),
        ("last_inside", "flag", "the band made of all surveys but the last holds the last; empty where too few are left"),
        ("reason", "text", "why there is no forecast"),
    ),
    "season_queue": columns_of(
        ("week_start", "date", "Monday of the week; of what is left undone that of the first day it could have been done", True),
        ("order", "count", "order within the week, empty for what is left undone", True),
        ("field_id", "word", "the field", True),
        ("task", "word", "a word of works.csv", True),
        ("hours", "pct", "crew hours of it on that day; of what is left undone those that are missing, empty where nobody stated any"),
        ("travel_hours", "pct", "hours on the road it costs, loading and the way home included"),
        ("done", "word", "planned or dropped"),
        ("reason", "text", "why it is wanted, and of what is dropped why it is not done"),
        ("on", "date", "the day", True),
        ("site", "word", "the site"),
        ("rank", "word", "unsafe, opening, upkeep or repair: in this order hours are given out"),
        ("over", "value", "expected excess over the owner's tolerances that it takes off, in tolerances; empty where not known"),
        ("cost_in_condition", "value", "that excess times the share of the season for which it stays; of what is dropped all of it"),
    ),
    "day": columns_of(
        ("order", "count", "order within the crew's day, empty for what does not fit", True),
        ("field_id", "word", "the field", True),
        ("task", "word", "a word of works.csv", True),
        ("starts", "word", "time of day; empty for what does not fit", True),
        ("ends", "word", "time of day"),
        ("minutes", "count", "how long it takes; empty where nobody stated it"),
        ("base_set", "word", "of a swap of bases the set that goes in", True),
        ("reason", "text", "why it is wanted, and of what does not fit why not"),
        ("road_minutes", "count", "driven to it just before"),
        ("between", "text", "the window it has to lie in", True),
        ("game", "word", "when the game starts that cannot go on without it; empty of a drag that is good to have"),
    ),
    "order": columns_of(
        ("site", "word", "the site", True),
        ("material", "word", "mix", True),
        ("tonnes", "t", "to order: what the fields need less what lies there"),
        ("low95", "t", "lower end of the 95 % range"),
        ("high95", "t", "upper end of it"),
        ("in_stock", "t", "taken off for what lies there by stock.csv"),
        ("reason", "text", "which field wants how much and what for, what lies there and when it was counted, whose need nobody knows"),
    ),
}
