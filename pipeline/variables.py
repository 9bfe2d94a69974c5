"""Every raster and every column that leaves this project: name, unit, meaning, in one place.

`store` stamps these on the files it writes and refuses a table that disagrees; the docs' lists are made from them.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.columns import DECIMALS, Column
from pipeline.columns import PAIR as _PAIR
from pipeline.columns import columns_of as _columns
from pipeline.works_columns import WORKS_TABLES


@dataclass(frozen=True)
class Variable:
    """One raster. `sign` says what positive means, empty where nothing can be negative."""

    name: str
    unit: str
    long_name: str
    sign: str = ""
    standard_name: str = ""
    dtype: str = "float32"
    nodata: float | None = float("nan")


RASTERS = {
    v.name: v
    for v in (
        Variable("elevation", "m", "ground height, tied to the field's baseline", "", "surface_altitude"),
        Variable("sigma", "m", "one standard deviation of the height, tie included"),
        Variable("count", "1", "ground points in the cell", "", "", "uint32", None),
        Variable("mix_depth", "m", "depth of mix over its base, kriged from cores; nothing beyond 10 m of one"),
        Variable("mix_depth_sigma", "m", "one standard deviation of the depth of mix"),
        Variable("blade_depth", "m", "how deep a blade may go and leave the owner's reserve over the base, 95 % sure"),
        Variable("pond_depth", "m", "depth of water in each closed hollow when full; 0 where none stands"),
        Variable("design", "m", "designed height; nothing off the ground that is graded"),
        Variable("cut_fill", "m", "design minus existing", "positive = fill, negative = cut"),
        Variable("change", "m", "height gained between two dates", "positive = gained"),
        Variable("change_sigma", "m", "one standard deviation of the change, tie included"),
        Variable("detected", "1", "1 gained, -1 lost, 0 not detected, -128 no data", "positive = gained", "", "int8", -128),
    )
}


_SURVEY = ("survey_id", "word", "the survey", True)
_EDGE = ("edge_id", "word", "the grass edge", True)

TABLES: dict[str, tuple[Column, ...]] = {
    "survey_quality": _columns(
        _SURVEY,
        ("flown_on", "date", "day of the flight or walk"),
        ("points_read", "count", "points in the file that fall on the field's grid, or rows of a walk"),
        ("points_ground", "count", "points kept as ground"),
        ("covered_pct", "pct", "share of the skin's cells that hold a height"),
        ("tie_model", "word", "reference, drift or none"),
        ("tie_shift_mm", "mm", "mean over the skin of what was added to the survey"),
        ("tie_shift_sigma_mm", "mm", "one s.d. of that mean"),
        ("tie_residual_mm", "mm", "root mean square of the left-out residuals on stable ground"),
        ("surface_sigma_mm", "mm", "median over the skin of one cell's s.d., tie included"),
        ("checkpoints", "count", "independent points compared with the surface"),
        ("checkpoint_mean_mm", "mm", "mean of surface minus checkpoint"),
        ("checkpoint_rmse_mm", "mm", "root mean square of surface minus checkpoint"),
        ("verdict", "word", "absolute, relative_only or refused"),
        ("reason", "text", "why, where the verdict is not absolute"),
    ),
    "lip": _columns(
        _SURVEY,
        _EDGE,
        ("station_m", "m", "distance along the edge", True),
        ("e", "m", "easting in the working CRS"),
        ("n", "m", "northing in the working CRS"),
        ("kind", "word", "lip, low_skin, flush or not_enough_evidence"),
        ("height_mm", "mm", "rise of the crest over the skin; for low_skin the step"),
        ("height_sigma_mm", "mm", "one s.d. of the height"),
        ("rise_low95_mm", "mm", "lower end of the 95 % bracket of the rise"),
        ("rise_high95_mm", "mm", "upper end of the 95 % bracket of the rise"),
        ("fall_mm", "mm", "crest over the grass behind it"),
        ("fall_sigma_mm", "mm", "one s.d. of the fall"),
        ("calibration", "word", "none, field or edge: which ruler readings stand behind the height"),
        ("crest_offset_mm", "mm", "where the crest is, positive = in the grass"),
        ("width_mm", "mm", "width of the bump at half its height"),
        ("section_m2", "rate4", "cross-section of the bump over the skin line"),
        ("edge_source", "word", "drawn, fitted or layout: where the line comes from"),
    ),
    "lip_change": _columns(
        *_PAIR,
        _EDGE,
        ("station_m", "m", "middle of the 5 m segment; empty = whole edge", True),
        ("growth_mm", "mm", "growth of the crest against skin and grass, positive = grew"),
        ("growth_sigma_mm", "mm", "one s.d. of the growth"),
        ("detected", "flag", "growth differs from none at 95 %, Holm within the edge"),
        ("canopy_change_mm", "mm", "grass surface against skin, later minus earlier"),
        ("growth_low95_mm", "mm", "lower end of the 95 % range of the growth"),
        ("growth_high95_mm", "mm", "upper end of it, as if as much new mix lay hidden between the blades as may"),
    ),
    "low_spots": _columns(
        _SURVEY,
        ("low_spot_id", "word", "a declared place, or pond-<n> for one found", True),
        ("near", "text", "where, in words"),
        ("e", "m", "easting of its middle"),
        ("n", "m", "northing of its middle"),
        ("depth_mm", "mm", "ring depth at a declared place, else pond depth; positive = low"),
        ("depth_sigma_mm", "mm", "one s.d. of the depth"),
        ("ring_depth_mm", "mm", "disc mean below the plane of the ring around it"),
        ("ring_depth_sigma_mm", "mm", "one s.d."),
        ("pond_depth_mm", "mm", "deepest water it can hold before it spills"),
        ("pond_depth_sigma_mm", "mm", "one s.d."),
        ("plane_depth_mm", "mm", "deepest below the zone's best plane"),
        ("plane_depth_sigma_mm", "mm", "one s.d."),
        ("area_m2", "m2", "area under water when full; disc area where it holds none"),
        ("volume_m3", "m3", "water it can hold"),
        ("volume_sigma_m3", "m3", "one s.d."),
        ("ponded_m3", "m3", "water standing after 10 mm of rain"),
        ("fill_tonnes", "t", "mix to fill it, placed density of the config; empty where none is given"),
        ("tolerance_mm", "mm", "the owner's tolerance"),
        ("probability", "p", "probability that the depth exceeds the tolerance"),
        ("reason", "text", "why a figure is missing"),
        ("fill_tonnes_low", "t", "lower end of the 95 % range of that mix, by the survey and by how densely it settles"),
        ("fill_tonnes_high", "t", "upper end of it"),
        ("fill_loose_m3", "m3", "the same mix loose; empty where no loose density is given"),
        ("ponded_depth_mm", "mm", "deepest water after 10 mm of rain of which nothing soaks in; here and below empty where no pond is more than noise"),
        ("ponded_depth_sigma_mm", "mm", "one s.d."),
        ("ponded_area_m2", "m2", "area under that water"),
        ("ponded_sigma_m3", "m3", "one s.d. of the water after 10 mm of rain"),
        ("ponded_2mm_m3", "m3", "water standing after 2 mm of rain"),
        ("ponded_5mm_m3", "m3", "water standing after 5 mm of rain"),
        ("ponded_25mm_m3", "m3", "water standing after 25 mm of rain"),
        ("full_at_mm", "mm", "rain that fills it, nothing soaking in"),
        ("catchment_m2", "m2", "ground that drains into it without another pond between"),
        ("pour_e", "m", "easting of the place on its rim where it spills"),
        ("pour_n", "m", "northing of that place"),
        ("lip_held_m3", "m3", "of the water it can hold, what would run off if the lip were taken off the grass edge"),
        ("lip_held_sigma_m3", "m3", "one s.d."),
    ),
    "low_spot_change": _columns(
        *_PAIR,
        ("low_spot_id", "word", "the declared place or found pond", True),
        ("near", "text", "where, in words"),
        ("depth_change_mm", "mm", "later minus earlier, positive = deeper"),
        ("depth_change_sigma_mm", "mm", "one s.d."),
        ("volume_change_m3", "m3", "material gained in its footprint against its surroundings"),
        ("volume_change_sigma_m3", "m3", "one s.d."),
        ("detected", "flag", "the depth change differs from none at 95 %"),
        ("reason", "text", "why there is no figure, or why a change is not called detected"),
    ),
    "zones": _columns(
        _SURVEY,
        ("zone", "word", "the zone", True),
        ("area_m2", "m2", "its area with heights"),
        ("planarity_mm", "mm", "root mean square off its best plane, noise taken off"),
        ("planarity_sigma_mm", "mm", "one s.d."),
        ("straightedge_mm", "mm", "95th percentile of the gap under the straightedge, noise taken off"),
        ("straightedge_noise_mm", "mm", "the gap survey noise alone would show"),
        ("slope_pct", "pct", "fall of the best plane"),
        ("slope_sigma_pct", "pct", "one s.d."),
        ("fall_bearing_deg", "deg", "downhill, clockwise from grid north; empty where level"),
        ("covered_by_weeds_pct", "pct", "share of its cells under plants, of those clear of the grass edge; empty where nothing tells"),
        ("verdict", "word", "unsafe, work, watch, good or not_enough_evidence"),
        ("straightedge_sigma_mm", "mm", "one s.d. of the gap"),
        ("straightedge_over_pct", "pct", "share of the straightedges laid whose gap is over the owner's limit, as measured"),
        ("straightedge_noise_over_pct", "pct", "the share that survey noise alone would show on plane ground"),
        ("straightedge_verdict", "word", "work, watch, good, or not_enough_evidence where noise alone shows more than the limit"),
        ("fall_along_pct", "pct", "fall toward the wanted direction, negative = it runs the other way; without one the steepest fall"),
        ("fall_along_sigma_pct", "pct", "one s.d."),
        ("fall_verdict", "word", "within, too_flat, too_steep, near or cannot_tell, against the owner's limits"),
        ("fall_reason", "text", "why it cannot be told"),
        ("covered_m2", "m2", "area of it under plants"),
        ("covered_low95_pct", "pct", "lower end of the 95 % bracket of the share under plants"),
        ("covered_high95_pct", "pct", "upper end; 100 where the survey cannot see low plants"),
        ("covered_told_by", "word", "colour, intensity or roughness: what shows plants; not_seen where nothing does"),
        ("reason", "text", "why there are no figures"),
    ),
    "mix_depth": _columns(
        _SURVEY,
        ("zone", "word", "the zone", True),
        ("basis", "word", "cores, stated (in fields.csv, nobody measured it) or none"),
        ("cores", "count", "cores it rests on"),
        ("oldest_core", "date", "day of the oldest"),
        ("newest_core", "date", "day of the newest"),
        ("depth_mm", "mm", "mean depth of mix over its base where cores speak for it"),
        ("depth_sigma_mm", "mm", "one s.d., age of the cores included"),
        ("blade_mm", "mm", "how deep a blade may go anywhere in it and leave the reserve, 95 % sure"),
        ("told_pct", "pct", "share of its ground within 10 m of a core"),
        ("least_mm", "mm", "the owner's least depth"),
        ("probability", "p", "probability that the mean depth is under it"),
        ("thin_m2", "m2", "ground that is under it with a probability of 80 % or more"),
        ("tonnes", "t", "mix to bring it to the least depth everywhere, expected; of the whole skin only"),
        ("tonnes_low95", "t", "lower end of the 95 % range"),
        ("tonnes_high95", "t", "upper end of the 95 % range"),
        ("loose_m3", "m3", "the same, loose, by the supplier's density"),
        ("verdict", "word", "work, watch, good or not_enough_evidence"),
        ("reason", "text", "why a figure or a verdict is missing"),
    ),
    "change": _columns(
        *_PAIR,
        ("zone", "word", "the zone", True),
        ("mean_mm", "mm", "mean change, positive = gained"),
        ("mean_sigma_mm", "mm", "one s.d., correlated error and tie included"),
        ("pair_tie_mm", "mm", "mean over the skin by which this pair's tie differs from the two baseline ties"),
        ("gain_m3", "m3", "gross gain, includes noise"),
        ("loss_m3", "m3", "gross loss, includes noise, >= 0"),
        ("net_m3", "m3", "gain minus loss"),
        ("net_sigma_m3", "m3", "one s.d. of the net"),
        ("detected_m2", "m2", "area of detected cells"),
        ("detected", "flag", "the zone's mean differs from none, Holm over the zones"),
        ("p_holm", "p", "p value after Holm"),
        ("noise_m3", "m3", "gross gain (and as much loss) that noise alone would show"),
        ("relative", "flag", "true = the skin's own robust plane was taken off first"),
        ("reason", "text", "why the zone is not judged, or why a change is not called detected"),
    ),
    "grass_edge": _columns(
        _SURVEY,
        _EDGE,
        ("station_m", "m", "middle of the 5 m segment; empty = whole edge", True),
        ("e", "m", "easting of the edge as given there, working CRS"),
        ("n", "m", "northing of the same"),
        ("encroached_mm", "mm", "how far inside the edge as given the grass begins, positive = grass has come into the skin"),
        ("encroached_sigma_mm", "mm", "one s.d.; of a layout's edge also how far it may stand off the edge that was built"),
        ("skin_lost_m2", "m2", "area between the edge as given and the grass, along what was seen"),
        ("against", "word", "drawn or layout: whose edge it is held against"),
        ("told_by", "word", "colour, intensity or roughness: what shows the grass; not_seen where nothing does"),
        ("seen_m", "m", "so much of the edge the grass was seen to begin along"),
        ("last_survey", "word", "the survey before that shows the edge, empty for the first"),
        ("since_last_mm", "mm", "grass come into the skin since then"),
        ("since_last_sigma_mm", "mm", "one s.d."),
        ("since_last_m2", "m2", "skin lost since then"),
        ("since_baseline_mm", "mm", "grass come into the skin since the baseline"),
        ("since_baseline_sigma_mm", "mm", "one s.d."),
        ("since_baseline_m2", "m2", "skin lost since the baseline"),
        ("reason", "text", "why there is no figure"),
    ),
    "rulebook": _columns(
        _SURVEY,
        ("layout", "word", "the base set", True),
        ("item", "word", "what is held against the book", True),
        ("measured_mm", "mm", "what was found; empty where it was not seen"),
        ("sigma_mm", "mm", "one s.d."),
        ("rule_mm", "mm", "what the book asks for; empty where none was found in print"),
        ("tolerance_mm", "mm", "the owner's tolerance, empty where none is set or kept for it"),
        ("rule_source", "text", "whose rule it is, or what practice says where there is none"),
        ("verdict", "word", "within, outside, cannot_tell or not_seen"),
        ("reason", "text", "why nothing can be told, or a remark"),
    ),
    "balance": _columns(
        *_PAIR,
        ("skin_m3", "m3", "gained by the skin, positive = gained"),
        ("skin_sigma_m3", "m3", "one s.d., tie included"),
        ("edge_m3", "m3", "gained by the lips beyond the grass edges"),
        ("edge_sigma_m3", "m3", "one s.d."),
        ("beyond_m3", "m3", "gained by the turf 1.4 to 2.4 m beyond the edges, the ruler's change of the grass taken off"),
        ("beyond_sigma_m3", "m3", "one s.d., tie and grass included"),
        ("delivered_m3", "m3", "placed volume of the mix that works.csv records as brought"),
        ("delivered_sigma_m3", "m3", "one s.d., of amounts and densities"),
        ("unexplained_m3", "m3", "skin + edge + beyond - delivered"),
        ("unexplained_sigma_m3", "m3", "one s.d.; skin and beyond err together through the tie"),
        ("balanced", "flag", "what is unexplained is within its 95 % range"),
        ("moved_bearing_deg", "deg", "which way mix moved across the skin, clockwise from grid north; empty where none was detected"),
        ("moved_bearing_sigma_deg", "deg", "one s.d."),
        ("moved_p", "p", "chance of so much movement across the skin where nothing moved"),
        ("along_passes", "word", "agrees, differs or cannot_tell: with the bearings of the works between"),
        ("out_of_corner", "word", "agrees, differs or cannot_tell: away from the corner the works between entered at"),
        ("notes", "text", "what limits the figures"),
        ("reason", "text", "why there is no balance, or why nothing is said of passes and corners"),
    ),
    "trend": _columns(
        ("measure", "word", "lip, growth, ring_depth, planarity, mean_height, encroachment", True),
        ("edge_id", "word", "the grass edge, empty where the measure is of a zone", True),
        ("zone", "word", "the zone or place, empty where the measure is of an edge", True),
        ("rate_mm_per_year", "mm", "rate by generalised least squares"),
        ("rate_sigma_mm_per_year", "mm", "one s.d."),
        ("surveys", "count", "surveys behind it"),
        ("detected", "flag", "the rate differs from none at 95 %"),
        ("reason", "text", "why there is no rate"),
        ("season_mm", "mm", "half the swing within a year, where two years of surveys or more tell it"),
        ("season_sigma_mm", "mm", "one s.d. of it"),
    ),
    **WORKS_TABLES,
    "quantities": _columns(
        ("variant", "word", "touch_up (low spots filled), no_mix_bought or laser_plane", True),
        ("cut_m3", "m3", "cut, as the survey shows it"),
        ("fill_m3", "m3", "fill, as the survey shows it"),
        ("noise_m3", "m3", "cut, and as much fill, that survey noise alone would show on the worked ground"),
        ("net_m3", "m3", "fill minus cut"),
        ("net_sigma_m3", "m3", "one s.d., tie and what neighbours share included"),
        ("mix_tonnes", "t", "mix to buy, placed density of the config; empty where none is given"),
        ("loads", "count", "truck loads of it; empty where the owner stated no load"),
        ("hours", "rate4", "crew hours by the owner's figures; empty where none are set"),
        ("cost_low", "m2", "lower end of the cost, config's currency; empty where a price is missing"),
        ("cost_high", "m2", "upper end of it"),
        ("planarity_after_mm", "mm", "root mean square of the designed surface off its best plane; finishing adds to it"),
        ("straightedge_after_mm", "mm", "95th percentile of the gap under a 3 m straightedge on the designed surface"),
        ("mix_low95_t", "t", "lower end of the 95 % range of the mix to buy"),
        ("mix_high95_t", "t", "upper end of it"),
        ("mix_reserve_t", "t", "so much more kept in reserve covers 19 orders in 20"),
        ("worked_m2", "m2", "ground that moves by more than 3 mm"),
        ("graded_m2", "m2", "ground the design covers: skin clear of the grass edge, mound and keep-outs"),
        ("feasible", "flag", "there is such a design"),
        ("reason", "text", "why there is none, or why a figure is missing"),
    ),
    "hazards": _columns(
        ("hazard_id", "word", "field, place and measure", True),
        ("field_id", "word", "the field"),
        ("place", "text", "where, in words"),
        ("found_on", "date", "first survey that showed it"),
        ("source", "word", "that survey"),
        ("measure", "word", "lip or low_spot"),
        ("value", "text", "what was found"),
        ("tolerance", "text", "the owner's trip limit"),
        ("set_by", "text", "who set the limit"),
        ("action", "text", "what was done, from walks"),
        ("action_on", "date", "when"),
        ("state", "word", "open or closed"),
    ),
    "portfolio": _columns(
        ("field_id", "word", "the field", True),
        ("site", "word", "its site"),
        ("last_survey", "word", "newest survey that is not refused"),
        ("lip_max_mm", "mm", "highest lip found on it"),
        ("lip_over_tolerance_m", "m", "edge length whose lip exceeds the tolerance at 80 %"),
        ("low_spots_over_tolerance", "count", "low spots over the tolerance at 80 %"),
        ("planarity_mm", "mm", "planarity of the skin"),
        ("mix_needed_tonnes", "t", "mix to fill the low spots over tolerance"),
        ("verdict", "word", "unsafe, work, watch, good or not_enough_evidence"),
        ("reason", "text", "why"),
    ),
}


def column_names(table: str) -> tuple[str, ...]:
    """The header of a result table, in order."""
    return tuple(c.name for c in TABLES[table])


def key_names(table: str) -> tuple[str, ...]:
    """The columns its rows are sorted by."""
    return tuple(c.name for c in TABLES[table] if c.key)


# The tables of one field, in the order they are listed in the docs.
FIELD_TABLES = ("survey_quality", "lip", "lip_change", "low_spots", "low_spot_change", "zones", "mix_depth", "change", "balance", "rulebook",
                "grass_edge", "trend", "works_record", "as_built", "progress")  # fmt: skip
