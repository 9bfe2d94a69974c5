"""What a layout's name stands for: the published sizes of an infield, in metres.

Sources: Official Baseball Rules 2.01 and NFHS 1-2 for 90 ft; Little League and softball rule pages for the
pitching distances of 70 ft baseball and softball. The arc, home circle and cut-out radii of the smaller sizes
come from a trade dimension chart: common practice, no source. They are where a drawing starts, never
what a survey is judged against; `rulebook` items carry their own source.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.units import feet, inches

PLATE_WIDTH_M = inches(17)  # home plate, front edge (rule 2.02)
RUBBER_LENGTH_M, RUBBER_WIDTH_M = inches(24), inches(6)  # pitcher's plate (rule 2.04)
BASE_SIDE_M = inches(15)  # older texts; 18 in in current professional play
FOUL_STRIP_M = feet(3)  # skin beyond the foul line and grass line inside it: common practice, no source
PLATE_BEHIND_CENTRE_M = inches(18)  # front of the pitcher's plate behind the mound's centre


@dataclass(frozen=True)
class Dimensions:
    """Sizes of one layout, m.

    base_m     : side of the square
    pitch_m    : front of the pitcher's plate to the rear point of home plate
    arc_m      : radius of the skin's outer arc
    arc_from_m : distance of the arc's centre from the rear point of home plate
    home_m     : radius of the home circle
    cutout_m   : radius of the cut-outs at first, second, third; 0 where the infield is skinned
    mound_m    : radius of the mound; 0 where the pitcher stands level
    mound_height_m : pitcher's plate over home plate
    grass      : True where the infield is grass by default
    """

    base_m: float
    pitch_m: float
    arc_m: float
    arc_from_m: float
    home_m: float
    cutout_m: float
    mound_m: float
    mound_height_m: float
    grass: bool

    @property
    def home_to_second_m(self) -> float:
        """Rear point of home plate to the middle of second base, m (exact diagonal)."""
        return self.base_m * 2**0.5

    @property
    def lead_off_m(self) -> float:
        """How far from the base a runner leads off: 12 ft on 90 ft bases (common practice, no source)."""
        return feet(12) * self.base_m / feet(90)


def _row(base, pitch, arc, home_diameter, cutout, mound_diameter, mound_in, grass):
    return Dimensions(
        feet(base), feet(pitch), feet(arc), feet(pitch), feet(home_diameter / 2), feet(cutout),
        feet(mound_diameter / 2), inches(mound_in), grass,
    )  # fmt: skip


LAYOUTS = {
    "baseball-90": _row(90, 60.5, 95, 26, 13, 18, 10, True),
    "baseball-80": _row(80, 54, 80, 24, 12, 15, 8, True),
    "baseball-70": _row(70, 50, 65, 22, 11, 12, 6, False),
    "baseball-60": _row(60, 46, 50, 18, 9, 10, 6, False),
    "baseball-50": _row(50, 38, 50, 20, 9, 9, 4, False),
    "softball-65": _row(65, 50, 65, 18, 0, 0, 0, False),
    "softball-60": _row(60, 43, 60, 18, 0, 0, 0, False),
    "softball-55": _row(55, 35, 55, 18, 0, 0, 0, False),
}


def base_feet(layout: str) -> int:
    """The base distance a layout's name carries, ft."""
    return int(layout.rsplit("-", 1)[1])
