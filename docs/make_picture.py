"""Takes the picture of the demo's page that README.md shows: once the page has changed, after `make demo`, with a Chromium on the path.

    .venv/bin/python docs/make_picture.py [results]
"""

import shutil
import sys
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
FIELD, SIZE, COLOURS = "moth", (1080, 860), 48


def main() -> None:
    page_file = Path(sys.argv[1] if len(sys.argv) > 1 else HERE.parent / "results").resolve() / "fields" / FIELD / "report.html"
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=shutil.which("chromium") or shutil.which("google-chrome"), args=["--no-sandbox"])
        page = started.new_page(viewport={"width": SIZE[0], "height": SIZE[1]})
        page.goto(page_file.as_uri())
        taken = page.screenshot()
        started.close()
    picture = Image.open(BytesIO(taken)).convert("RGB").quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    picture.save(HERE / "field-page.png", optimize=True)


if __name__ == "__main__":
    main()
