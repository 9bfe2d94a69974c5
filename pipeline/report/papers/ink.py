"""A drawing of the pages on its own: the page's style for pictures written into it, colours as figures."""

from __future__ import annotations

import re

from pipeline.report import palette

FONT = "Libertinus Serif"  # comes with the typesetter of the papers, so that no font of the machine shows
TEXT_PX = 15
VALUES = {f"--{k}": v for k, v in palette.LIGHT.items()} | {f"--pic-{k}": v for k, v in palette.PICTURE.items()}


def inked(svg: str, style: str) -> str:
    """The drawing with its strokes and fills in it.

    style : the pages' style sheet; its rules for `.map`, `.chart` and `.mark` before the first @ rule count
    """
    screen = style.split("\n@", 1)[0].splitlines()
    rules = "\n".join(line for line in screen if re.match(r"\.(map|chart|mark)[ .,]", line))
    rules = re.sub(r"font:[^;}]*", f"font-family:'{FONT}';font-size:{TEXT_PX}px", rules)
    return coloured(re.sub(r"(<svg[^>]*>)", lambda m: f"{m[1]}<style>{rules}</style>", svg, count=1))


def coloured(text: str) -> str:
    """Names of colours as the colours of the light page. Raises KeyError for a name that the palette does not have."""
    return re.sub(r"var\((--[\w-]+)\)", lambda m: VALUES[m[1]], text)
