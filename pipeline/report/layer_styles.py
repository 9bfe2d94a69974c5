"""How each layer of a field's GeoPackage is drawn: told apart by form first, by shade second, so that it holds in grey."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.report import palette


@dataclass(frozen=True)
class Rule:
    """One way of drawing.

    kind     : `area`, `line` or `point`
    where    : (column, sign, value), (column, sign, value, upper) or (column, sign): what it is for; sign `=`, `<`, `>=`, `between`
               (from value, under upper) or `missing`; empty for all
    stroke, fill : colours `#rrggbb`; "" for none
    width, dash, size : pixels
    mark     : `circle`, `square`, `triangle`, `cross` or `x`
    opacity  : of the fill
    """

    name: str
    kind: str
    stroke: str = palette.INK
    fill: str = ""
    width: float = 1.0
    dash: str = ""
    mark: str = "circle"
    size: float = 8.0
    opacity: float = 1.0
    where: tuple = ()


INK, QUIET = palette.INK, palette.QUIET
LIP_MM = (0, 13, 25)  # steps of the shades, mm: a drawing's, no limits
_LIP = tuple(
    Rule(name, "point", INK, colour, 0.6, size=size, where=where)
    for name, colour, size, where in (
        ("lower than the skin", palette.LIP[0], 5, ("height_mm", "<", LIP_MM[0])),
        ("0 to 13 mm", palette.LIP[1], 6, ("height_mm", "between", LIP_MM[0], LIP_MM[1])),
        ("13 to 25 mm", palette.LIP[2], 8, ("height_mm", "between", LIP_MM[1], LIP_MM[2])),
        ("25 mm and higher", palette.LIP[3], 10, ("height_mm", ">=", LIP_MM[2])),
    )
) + (Rule("not measured", "point", QUIET, "", 0.6, mark="x", size=5, where=("height_mm", "missing")),)

STYLES: dict[str, tuple[Rule, ...]] = {
    "zones": (Rule("zone", "area", QUIET, palette.SKIN, 0.8, opacity=0.35),),
    "grass_edge": (
        Rule("edge of the layout", "line", INK, "", 1.2, "6 3", where=("source", "=", "layout")),
        Rule("edge as drawn", "line", INK, "", 1.8, where=("source", "=", "drawn")),
        Rule("edge fitted to a survey", "line", INK, "", 1.8, "10 2", where=("source", "=", "fitted")),
        Rule("where a survey saw the grass begin", "line", palette.WEEDS, "", 1.0, "2 2", where=("source", "=", "seen")),
    ),
    "lip": _LIP,
    "lip_change": (
        Rule("grew", "line", palette.GAINED[-1], "", 4.0, where=("growth_mm", ">=", 0)),
        Rule("went down", "line", palette.LOST[1], "", 4.0, "4 3", where=("growth_mm", "<", 0)),
        Rule("not told", "line", QUIET, "", 0.8, "1 3", where=("growth_mm", "missing")),
    ),
    "low_spots": (Rule("low spot", "point", INK, palette.WATER[1], 1.2, mark="triangle", size=12),),
    "detected_change": (
        Rule("gained", "area", palette.GAINED[-1], palette.GAINED[0], 1.2, "2 2", opacity=0.7, where=("direction", "=", "gained")),
        Rule("lost", "area", palette.LOST[-1], palette.LOST[1], 1.8, opacity=0.7, where=("direction", "=", "lost")),
    ),
    "passes": (Rule("run", "line", INK, "", 1.4, "10 4"),),
    "stakeout": (
        Rule("stake", "point", INK, "#ffffff", 1.2, mark="cross", size=9, where=("by_hand", "=", "false")),
        Rule("by hand: no blade here", "point", INK, palette.LOST[1], 2.0, mark="x", size=12, where=("by_hand", "=", "true")),
    ),
    "keep_out": (Rule("keep off", "area", INK, palette.LOST[0], 2.2, opacity=0.8),),
    "anchors": (Rule("base anchor", "point", INK, INK, 1.0, mark="square", size=8),),
    "weeds": (Rule("under plants", "area", palette.WEEDS, palette.WEEDS, 1.0, "3 2", opacity=0.45),),
    "patches": (
        Rule("stable ground, used", "area", INK, palette.STILL, 1.2, where=("used", "=", "true")),
        Rule("stable ground, not used", "area", QUIET, "", 1.0, "2 3", where=("used", "=", "false")),
    ),
}  # fmt: skip
