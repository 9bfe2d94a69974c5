"""Phrases that the page's script says: it holds no language of its own."""

from __future__ import annotations

HANDED = (
    "week_say_now", "week_say_later", "week_say_early", "week_say_over", "week_say_none", "week_say_nothing", "week_say_hazards", "week_say_done", "week_say_planned",
    "week_say_hours", "week_say_as_sheet", "week_say_all_as_sheet", "week_say_as_hours", "week_say_bearing", "week_say_corner", "week_say_mix", "week_say_unit", "week_say_note",
    "week_say_day", "week_say_choose", "week_say_hand", "week_say_off", "week_say_other", "week_say_eyes", "week_say_tap", "week_say_word_first",
    "week_say_place", "week_say_back", "week_say_at", "week_say_on_plan", "week_say_at_place", "week_say_remove", "week_say_walked", "week_say_walk_item",
    "week_say_walk_place", "week_say_walk_finding", "week_say_by_sheet", "week_say_refused", "week_say_unread", "week_say_summary_none",
    "week_say_summary_one", "week_say_summary_many", "week_say_saved_one", "week_say_saved_many", "week_say_clear", "week_say_clear_sure",
    "week_say_save", "week_say_text", "week_say_share", "week_say_given", "week_say_wrong", "week_say_bad_number", "week_say_bad_bearing",
    "week_say_bad_unit", "week_say_bad_amount", "week_say_bad_day", "week_say_line_work", "week_say_line_hand", "week_say_line_seen",
    "week_say_line_walk", "week_say_line_walked", "week_say_state_saved",
)  # fmt: skip
