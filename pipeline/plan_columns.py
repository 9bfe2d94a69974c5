"""Columns of the result tables about the capital plan."""

from __future__ import annotations

from pipeline.columns import columns_of

_LINE = (
    ("year", "count", "year of the plan, from its first day on", True),
    ("field_id", "word", "the field", True),
    ("treatment", "word", "none, level, lip_cut, mix_add, laser_grade or rebuild"),
    ("cost", "m2", "in that year's prices with contingency, config's currency; what a contractor's coming costs is apart"),
    ("hours", "m2", "crew hours"),
    ("tonnes", "t", "mix to bring"),
    ("expected_condition_after", "value", "expected excess over tolerance at the year's end, all measures added, each in tolerances; 0 best"),
    ("firmness", "word", "firm, likely or survey_first"),
    ("pinned", "flag", "the owner's pin asks for this line"),
    ("loss_without", "value", "the field's loss over the plan if this line is left out"),
    ("reason", "text", "why"),
    ("share", "p", "share of draws of condition, rates and costs that keep the line"),
    ("loss", "value", "the field's loss over the plan as planned"),
    ("component", "word", "the measure that the line promises: lip, planarity, ring_depth, mix or skin_lost"),
    ("promised_mm", "mm", "it at the year's end; of mix the depth missing, negative = deeper than the least"),
    ("promised_low95_mm", "mm", "lower end of the 95 % band"),
    ("promised_high95_mm", "mm", "upper end of it"),
)

PLAN_TABLES = {
    "capital_plan": columns_of(*_LINE),
    "budget_steps": columns_of(
        ("budget_pct", "count", "per cent of the owner's money in every year; 100 is the plan itself", True),
        ("money", "m2", "that money over all years of the plan, config's currency"),
        ("state", "word", "owner: the plan itself; solved: no plan can be more than 1 % better; rough: one could be; no_plan: none keeps to what must be done"),
        ("spent", "m2", "what the plan spends then, contractors' comings in it"),
        ("hours", "m2", "crew hours over all years; they are not scaled"),
        ("missing", "m2", "of no_plan the least money that what must be done lacks, over all years"),
        ("condition_end", "value", "mean over the fields of the expected excess over tolerance at the last year's end, each in tolerances; 0 best"),
        ("condition_end_low95", "value", "lower end of its 95 % range, all errors one way"),
        ("condition_end_high95", "value", "upper end of it"),
        ("condition_mean", "value", "the same on average over the years' ends"),
        ("condition_mean_low95", "value", "lower end of its 95 % range, all errors one way"),
        ("condition_mean_high95", "value", "upper end of it"),
        ("loss", "value", "loss over all years, what the plan makes least"),
        ("gap", "p", "how much better a plan could be at most, as a share of this one"),
        ("over_trip", "text", "fields whose lip is over the trip limit at the last year's end with a chance of 0.8 or more, parted by `;`"),
        ("perhaps_over_trip", "text", "fields of which that can neither be said nor ruled out: a chance of 0.2 to 0.8"),
        ("bought", "text", "how many of each treatment"),
        ("added", "text", "year, field and treatment of what is done then and not so in the plan"),
        ("dropped", "text", "year, field and treatment of what the plan does and this does not"),
    ),
    "plan_outcome": columns_of(
        ("plan_year", "count", "year of the plan that the line stood in", True),
        ("field_id", "word", "the field", True),
        ("treatment", "word", "what was planned"),
        ("promised_mm", "mm", "what the treated measure was promised to be at that year's end"),
        ("promised_low95_mm", "mm", "lower end of the 95 % band"),
        ("promised_high95_mm", "mm", "upper end of it"),
        ("measured_mm", "mm", "the survey after the work nearest that year's end; empty where there is none or the work was not done"),
        ("measured_sigma_mm", "mm", "one s.d."),
        ("cost_planned", "m2", "as the plan had it"),
        ("cost_actual", "m2", "of the works of that kind in that year, from works.csv; empty where none was written down"),
        ("in_band", "flag", "measured and promised agree at 95 %, the survey's own s.d. allowed for"),
        ("component", "word", "the measure"),
        ("plan", "word", "the kept plan"),
        ("done_on", "date", "day of the work; empty where it was not done"),
    ),
}
