"""Fixtures every test may use. Only `real_data` and `browser` may skip."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

import pipeline  # noqa: F401  sets one thread a product before numpy loads

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def real_data() -> Path:
    """The folder of real, openly licensed files: $SKINPLANE_REAL_DATA, else `shared/data` beside the checkout."""
    folder = Path(os.environ.get("SKINPLANE_REAL_DATA", ROOT.parent / "shared" / "data"))
    if not (folder / "SHA256SUMS").is_file():
        pytest.skip("the folder of real files is not on this machine; set SKINPLANE_REAL_DATA to it")
    return folder


@pytest.fixture(scope="session")
def browser():
    """A Chromium of this machine, driven by playwright; nothing is downloaded."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium on this machine; install one and put it on the PATH")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        # Tests run as root in containers, where Chromium's own sandbox cannot start; the pages are local files.
        started = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


LONG = ("workflow", "real", "browser")  # folders whose files take longest begin first, so that no process ends alone


def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: next((k for k, folder in enumerate(LONG) if folder in item.path.parts), len(LONG)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Two processes share the work: a file stays together, and so does the folder of whole runs, whose district is run once."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::")[0]
            return "workflow" if "workflow" in Path(file).parts else file

    config.option.loadscopereorder = False  # in the order above
    return ByFile(config, log)
