"""The declared conditions and the cases beside them. Heights in mm, lengths in m."""

from __future__ import annotations

from dataclasses import dataclass, replace

from support.edge_scene import INSTRUMENTS, Instrument, Options

from pipeline.survey.noise import GOOD_PHOTOGRAMMETRY, LIDAR, ROVER, WEAK_PHOTOGRAMMETRY, Noise

NAMES = {"good": "good photogrammetry", "weak": "weak photogrammetry", "lidar": "lidar", "rover": "rover"}
FLOWN = ("good", "weak", "lidar")
NOISE: dict[str, Noise] = {"good": GOOD_PHOTOGRAMMETRY, "weak": WEAK_PHOTOGRAMMETRY, "lidar": LIDAR, "rover": ROVER}

@dataclass(frozen=True)
class Case:
    """What a case does to the edge scenes: options, and a factor on the correlated noise's ranges."""

    options: Options = Options()
    longer: float = 1.0

    def instrument(self, name: str) -> Instrument:
        of = INSTRUMENTS[name]
        return replace(of, parts=tuple((sd, reach * self.longer) for sd, reach in of.parts))


DECLARED = "as declared"
SHIFTED, FAR = "50 mm sideways", "200 mm sideways"
CASES = {
    DECLARED: Case(),
    SHIFTED: Case(),  # the direction goes by the seed: see `lips`
    FAR: Case(),
    "noise twice as long": Case(longer=2.0),
    "noise half as long": Case(longer=0.5),
    "grass 30 mm taller": Case(Options(canopy_mm=(22, 52))),
    "mown by 30 mm": Case(Options(canopy_mm=(52, 22))),
    "drawn 100 mm into the grass": Case(Options(drawn_shift_m=0.10)),
    "drawn 100 mm into the skin": Case(Options(drawn_shift_m=-0.10)),
    "30 % of new mix hidden": Case(Options(hidden=0.30)),
    "canopy texture 20 %": Case(Options(texture=20 / 12)),
    "blades thin twice as much": Case(Options(thinning=0.30)),
    "strip against interior 6 %": Case(Options(strip_pct=6.0)),
    "dust on the blades": Case(Options(dust=0.2)),
    "10 mm of new mix on the skin": Case(Options(topdress_mm=10)),
    "no colour, no intensity": Case(Options(colour=False)),
}
HARD = tuple(c for c in CASES if c not in (DECLARED, SHIFTED, FAR))


def longer(noise: Noise, factor: float) -> Noise:
    """The same noise with every range times a factor."""
    return replace(noise, parts=tuple((sd, reach * factor) for sd, reach in noise.parts))


def told(name: str) -> str:
    """One line of a condition's figures, for the head of a table."""
    n = NOISE[name]
    parts = ", ".join(f"{sd * 1e3:g}@{reach:g}" for sd, reach in n.parts)
    spacing = f"{INSTRUMENTS[name].spacing_m * 1e3:.0f} mm apart" if name in INSTRUMENTS else "240 points an edge"
    return (
        f"{NAMES[name]}: {spacing}, white {n.white_m * 1e3:g}, correlated {parts} (mm@m), shift {n.shift_m * 1e3:g}, "
        f"tilt {n.tilt * 1e3:g} per m, dome {n.dome_m * 1e3:g} at 30 m, sideways {n.horizontal_m * 1e3:.0f}"
    )
