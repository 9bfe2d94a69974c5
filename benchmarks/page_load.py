"""How heavy a field's page is and how long a browser takes to open it from disk: median of seven openings, cold, by the
browser's own navigation timing.

    .venv/bin/python benchmarks/page_load.py results/fields/moth/report.html [more pages ...]

Needs a Chromium on the PATH. Prints: page, MB, ms to the first paint, ms until everything is drawn (`loadEventEnd`).
"""

from __future__ import annotations

import shutil
import statistics
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

TIMES, WIDE = 7, {"width": 1280, "height": 800}
TIMING = """() => new Promise(done => requestAnimationFrame(() => setTimeout(() => done([
  performance.getEntriesByType('paint').find(p => p.name === 'first-contentful-paint')?.startTime ?? NaN,
  performance.getEntriesByType('navigation')[0].loadEventEnd]))))"""


def opened(browser, page_file: Path) -> tuple[float, float]:
    """First paint and load, ms, of one opening in a fresh context."""
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    page.goto(page_file.resolve().as_uri(), wait_until="load")
    found = page.evaluate(TIMING)
    context.close()
    return tuple(found)


def main(paths: list[str]) -> None:
    if not paths or paths[0] in ("-h", "--help"):
        sys.exit(__doc__)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium") or shutil.which("google-chrome"), args=["--no-sandbox"])
        print(f"{'page':50} {'MB':>6} {'paint':>7} {'load':>7}")
        for path in map(Path, paths):
            paint, load = (statistics.median(t) for t in zip(*(opened(browser, path) for _ in range(TIMES))))
            print(f"{str(path)[-50:]:50} {path.stat().st_size / 1e6:6.2f} {paint:7.0f} {load:7.0f}")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1:])
