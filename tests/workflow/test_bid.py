"""The bid of a field, made by its step from what the workflow left."""

from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pypdfium2
import pytest
import rasterio

from pipeline import jobs
from pipeline.steps import bid
from pipeline.store.config import load
from pipeline.store.where import Where


@pytest.fixture(scope="module")
def made(ran, tmp_path_factory):
    """Folder of the bid of each field."""
    root = tmp_path_factory.mktemp("bid")
    for name in ("results", "build"):
        shutil.copytree(ran.root / name, root / name)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(root)
        project, folder = load(str(ran.folder))
        for field in project.fields:
            bid.run(jobs.job(jobs.given(project, "bid", str(folder), field, "2026"), field), Where("results"))
    return root / "results" / "bid" / "2026"


@pytest.mark.invariant
def test_a_bid_s_files_agree_with_the_laser_design_and_with_one_another(made, ran):
    folder = made / "moth"
    rows = pd.read_csv(folder / "prices.csv").set_index("item")
    row = pd.read_csv(ran.results / "fields" / "moth" / "quantities.csv").set_index("variant").loc["laser_plane"]
    assert rows.likely["grade by laser to the design"] == pytest.approx(row.graded_m2 / 0.3048**2, abs=1)
    with rasterio.open(folder / "cut_fill.tif") as tif:
        moved = tif.read(1) * tif.res[0] * tif.res[1]
    assert np.nansum(np.maximum(moved, 0)) == pytest.approx(row.fill_m3, rel=1e-3)
    assert not [item for item in rows.index if "for information" in item] and rows.unit_price.isna().all()
    assert {p.name for p in folder.iterdir()} >= {"bid.pdf", "prices.csv", "control.csv", "design.xml", "design.dxf", "stakeout.csv", "about.json"}


@pytest.mark.independent  # PDFium
def test_the_paper_names_the_field_the_year_and_its_survey(made):
    text = " ".join(p.get_textpage().get_text_bounded() for p in pypdfium2.PdfDocument(made / "moth" / "bid.pdf"))
    assert "Laser grade of Moth Field, 2026" in text and "7 April 2026" in text.replace("\u00a0", " ")
