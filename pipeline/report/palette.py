"""Every colour of the pages, in one place. Chosen here; readable without colour sight, in grey, light and dark.

Pictures keep a light ground in dark mode too: darker always means higher there.
"""

from __future__ import annotations

# Page colours by theme: names become CSS variables `--<name>`.
LIGHT = {
    "paper": "#faf8f3",
    "panel": "#ffffff",
    "ink": "#221e19",
    "soft": "#5d554a",
    "line": "#d9d2c5",
    "link": "#7a3e12",
    "shade": "#f1ece2",
}
DARK = {
    "paper": "#191714",
    "panel": "#221f1b",
    "ink": "#efe9de",
    "soft": "#b8ae9f",
    "line": "#474037",
    "link": "#e8b184",
    "shade": "#2a2621",
}

# Pictures.
GROUND = "#f3f0e8"  # grass and all that is not measured for itself
SKIN = "#e8dccb"
INK = "#221e19"
QUIET = "#6b6358"
STILL = "#d5d2cc"  # measured, no change detected

WEEDS = "#56602e"  # plants on the skin, dashed outline

# Lip: one hue, darker is higher.
LIP = ("#b4d3da", "#7fb3bf", "#35798c", "#0b3746")

# Mix over its base: darker is deeper.
MIX = ("#f2e3c6", "#d9b884", "#a87f4a", "#6b4a24")
# Over and under the skin's plane, lowest first: darker is lower.
PLANE = ("#3b2a1a", "#6e5133", "#a1835d", "#d3bd9b", "#e6d8bf", "#f3ebdc", "#fdfaf4")
# Water: one hue, darker is deeper.
WATER = ("#bcd0e8", "#6c95c8", "#1f4f8f")

# Change: from almost nothing to the most shown.
LOST = ("#fbe0c6", "#e78a2e", "#9c4300")
GAINED = ("#e6ddf4", "#9672cc", "#4a2391")


def rgb(colour: str) -> tuple[int, int, int]:
    """'#rrggbb' as three numbers of 0..255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def ramp(colours: tuple[str, ...], share: float) -> tuple[int, int, int]:
    """The colour at a share of 0..1 along a row of colours."""
    at = min(max(share, 0.0), 1.0) * (len(colours) - 1)
    k = min(int(at), len(colours) - 2)
    a, b = rgb(colours[k]), rgb(colours[k + 1])
    return tuple(round(p + (q - p) * (at - k)) for p, q in zip(a, b))


PICTURE = {
    "ground": GROUND,
    "skin": SKIN,
    "mark": INK,
    "quiet": QUIET,
    "still": STILL,
    "weeds": WEEDS,
    "lost": LOST[-1],
    "gained": GAINED[-1],
    "lost-pale": LOST[1],
    "gained-pale": GAINED[1],
    "band": LIP[0],
    "height": LIP[3],
    **{f"mix-{k}": colour for k, colour in enumerate(MIX)},
    **{f"lip-{k}": colour for k, colour in enumerate(LIP)},
    **{f"plane-{k}": colour for k, colour in enumerate(PLANE)},
    **{f"water-{k}": colour for k, colour in enumerate(WATER)},
}


def css() -> str:
    """CSS custom properties: the light theme, the dark one where the reader asks for it, light again on paper."""
    light, dark, pictures = (_declared(d) for d in (LIGHT, DARK, {f"pic-{k}": v for k, v in PICTURE.items()}))
    return (
        f":root{{color-scheme:light dark;{light}{pictures}}}@media (prefers-color-scheme:dark){{:root{{{dark}}}}}"
        f"@media print{{:root{{color-scheme:light;{light}}}}}"
    )


def _declared(colours: dict[str, str]) -> str:
    return "".join(f"--{name}:{colour};" for name, colour in colours.items())
