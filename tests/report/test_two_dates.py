"""Any two dates beside one another: what the page carries, and what its script says of it in a browser."""

from __future__ import annotations

import base64
from dataclasses import replace

import numpy as np
import pytest
from report.scene import WORDS, given, layout, surface

from pipeline.report.field_page import field_page
from pipeline.report.figures import METRIC, US, figure
from pipeline.report.raster import coarser
from pipeline.report.two_dates import MOST_DATES, NONE, S_NONE, carried, kept_dates, skin_plane
from pipeline.store import pages

LABELS = {s: s for s in ("a", "b", "c")}


def heights(date: dict, data: dict) -> np.ndarray:
    z = np.frombuffer(base64.b64decode(date["z"]), "<i2").reshape(data["ny"], data["nx"])
    return np.where(z == NONE, np.nan, z.astype(float))


@pytest.mark.analytic
def test_what_the_page_carries_gives_back_the_difference_of_the_surfaces_to_a_millimetre():
    dates = [surface("a"), surface("b", 0.020, 2)]
    data = carried(dates, skin_plane(dates[0], layout()), layout(), 1.0, METRIC, LABELS)
    a, b = (heights(d, data) for d in data["dates"])
    mask = layout().grid.mask(layout().skin)
    za, zb = (coarser(np.where(mask, d.z, np.nan), layout().grid, 1.0)[0] for d in dates)
    both = np.isfinite(a) & np.isfinite(b)
    assert both.sum() > 100
    assert np.abs((b - a)[both] - 1000 * (zb - za)[both]).max() <= 1.0
    assert abs(np.nanmedian(a)) <= 1.0, "heights are over the skin's own plane on the first date"
    s = np.frombuffer(base64.b64decode(data["dates"][0]["s"]), np.uint8).reshape(data["ny"], data["nx"])
    assert set(np.unique(s[np.isfinite(a)])) == {8} and set(np.unique(s[~np.isfinite(a)])) == {S_NONE}


@pytest.mark.invariant
def test_nothing_is_carried_with_one_date_or_with_nothing_seen():
    assert carried([surface("a")], skin_plane(surface("a"), layout()), layout(), 1.0, METRIC, LABELS) == {}
    blind = surface("b")
    assert carried([surface("a"), replace(blind, z=np.full_like(blind.z, np.nan))], skin_plane(surface("a"), layout()), layout(), 1.0, METRIC, LABELS) == {}
    three = carried([surface("a"), replace(blind, z=np.full_like(blind.z, np.nan)), surface("c")], skin_plane(surface("a"), layout()), layout(), 1.0, METRIC, LABELS)
    assert [d["id"] for d in three["dates"]] == ["a", "c"]


@pytest.mark.analytic
def test_the_newest_dates_are_kept_and_the_baseline_beside_them():
    ids = [f"s{k:02d}" for k in range(20)]
    assert kept_dates(ids, "s03") == ["s03", *ids[-MOST_DATES:]]
    assert kept_dates(ids, "s19") == ids[-MOST_DATES:]
    assert kept_dates(ids[:3], None) == ids[:3]


@pytest.mark.invariant
def test_the_script_rounds_a_mean_as_the_page_rounds_all_its_figures_and_tells_none_of_dates_without_a_tie(browser, tmp_path):
    for tie, sigma in ((3.0, 3.0 * np.sqrt(2)), (9.0, 9.0 * np.sqrt(2)), (None, None)):
        made = replace(given(), surfaces=(surface("a", tie=tie), surface("b", 0.020, 2, tie=tie)))
        where = tmp_path / "field.html"
        where.write_text(pages.render("field.html", field_page(made, WORDS)), encoding="utf-8")
        tab = browser.new_page()
        tab.goto(where.as_uri())
        told = tab.locator("#two-dates [role=status]").inner_text()
        if sigma is None:
            assert "±" not in told and "cannot be told" in told
        else:
            value, half = figure(20.0, sigma, US.height).split("\u00a0\u00b1\u00a0")
            assert f"On the mean {value}," in told and f"±\u00a0{half}\u00a0in." in told
        tab.close()


@pytest.mark.independent  # numpy's own count and mean, against what the script says in a browser
def test_in_a_browser_the_chosen_dates_are_drawn_and_told(browser, tmp_path):
    dates = (surface("a"), surface("b", 0.020, 2), surface("c", 0.020, 3))
    made = replace(given(), surfaces=dates)
    where = tmp_path / "field.html"
    where.write_text(pages.render("field.html", field_page(made, WORDS)), encoding="utf-8")
    tab = browser.new_page(viewport={"width": 390, "height": 800})
    said: list[str] = []
    tab.on("console", lambda m: said.append(m.text))
    tab.on("pageerror", lambda e: said.append(str(e)))
    tab.goto(where.as_uri())
    block = tab.locator("#two-dates")
    assert "1 March 2025 less 1 February 2025" in block.inner_text().replace("\u00a0", " ")
    block.locator("select").nth(0).select_option("0")
    block.locator("select").nth(1).select_option("2")
    told = block.locator("[role=status]").inner_text().replace("\u00a0", " ")
    data = carried(dates, made.first_plane, made.layout, made.settings.report.map_cell_m, METRIC, LABELS)
    a, c = heights(data["dates"][0], data), heights(data["dates"][2], data)
    change = (c - a)[np.isfinite(a) & np.isfinite(c)]
    assert f"On the mean {change.mean() / 25.4:.2f} in" in told
    feet = lambda cells: round(cells * data["cell_m2"] / 0.3048**2)
    assert f"lower on {feet((change < -6.35).sum())} sq ft of the {feet(len(change))} sq ft" in told and f"higher on {feet((change > 6.35).sum())} sq ft" in told
    assert f"± {1.96 * np.hypot(3, 3) / 25.4:.2f} in" in told
    painted = tab.evaluate("() => [...document.querySelectorAll('#two-dates canvas')].map((c) => { const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0; for (let k = 3; k < d.length; k += 4) n += d[k] > 0; return n; })")
    assert min(painted) > 1000 and not said
    block.locator("select").nth(0).select_option("2")
    assert "same date twice" in block.locator("[role=status]").inner_text()
    tab.close()
