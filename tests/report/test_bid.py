"""The package contractors are asked with: quantities with a range, what is short, how it is accepted, and no price of ours."""

from __future__ import annotations

import csv

import pypdfium2
import pytest

from pipeline.report.papers.bid import bid, price_rows
from pipeline.store import pages, pdf
from pipeline.works.bid_items import items
from pipeline.works.control_ring import ring
from report.scene import HOME, SIGNED, WORDS, config, given, sayer
from report.test_grade_block import variant
from report.test_papers import LIP, design, text_of

POINT = {"point_id": "mark-a", "e": "507000.0000", "n": "175000.0000", "height": "300.0000", "unit": "m", "crs": "EPSG:6550", "height_reference": "EPSG:5703", "description": "steel pin"}
ACCEPT = {"tolerance_mm": 6.35, "hand_levels": 30, "retest_days": 14, **SIGNED}
LASER = variant("laser_plane", mix_tonnes=26.5, mix_low95_t=20.7, mix_high95_t=32.3, noise_m3=0.4)


def made(units: str = "us", accept: dict = ACCEPT, control=(), relative: bool = False, off=None, **over):
    record = design(variants=[variant("touch_up", cut_m3=0.0), LASER], flown_on="2026-04-07", relative=relative, **over)
    field = given(units, designs=record, settings=config(units=units, report={"title": "Nowhere Parks"}, acceptance=accept))
    asked = items(LASER, [LIP], 50.0, 2, 30)
    told = [{**POINT, "at": at} for at in control]
    return asked, bid(field, 2026, asked, ring(field.layout.skin, control), told, {"form": "plane", "slope_pct": 0.6, "bearing_deg": 130.0}, off, WORDS)


@pytest.mark.analytic
def test_quantities_have_low_likely_high_and_how_they_are_measured():
    asked, paper = made()
    rows = {r[1]: r for b in paper.blocks if b.kind == "table" and b.heads[1:2] == ["item"] and "low" in b.heads for r in b.rows}
    assert rows["infield mix, brought, spread and mixed in"][2:] == ["tons", "23", "29", "36", "weighbridge tickets"]  # 20.7, 26.5, 32.3 t
    assert rows["grade by laser to the design"][2:6] == ["sq ft", "7427", "7427", "7427"]  # 690 m2
    assert rows["cut within the skin (for information)"][2:6] == ["cu yd", "2.0", "2.6", "2.8"]  # 2 - 0.4 - 1.96 x 0.1 x 2/3.8 m3


@pytest.mark.invariant
def test_no_price_stands_anywhere_and_the_schedule_is_blank(tmp_path):
    asked, paper = made()
    text = text_of(paper)
    assert "USD" not in text and "190" not in text and "cost" not in text.lower()
    prices = next(b for b in paper.blocks if b.kind == "table" and "unit price" in b.heads)
    total = next(k for k, r in enumerate(prices.rows) if r[1] == "sum of all items")
    assert all(r[4] == r[5] == "" for k, r in enumerate(prices.rows) if k != total) and prices.rows[total][5] == ""
    assert not [r for r in prices.rows[:total] if "for information" in r[1]]  # nobody is paid twice for the same ground
    assert [r[0] for r in prices.rows[total + 1 :]] == ["A", "B", "C"] and "mix, more or less" in prices.rows[-2][1]
    header, rows = price_rows(asked, sayer())
    assert header[-2:] == ["unit_price", "amount"] and all(r[-2:] == ["", ""] for r in rows) and len(rows) == len(asked) - 2
    float_of = next(csv.reader([",".join(rows[-1][3:6])]))
    assert all(float(v) for v in float_of)  # a figure a sheet can reckon with


@pytest.mark.invariant
def test_what_is_short_of_control_is_said_and_what_suffices_too():
    assert "Short: 4 points around are wanted" in text_of(made()[1])
    e, n = HOME
    enough = text_of(made(control=[(e - 40, n - 40), (e + 60, n - 40), (e + 60, n + 70), (e - 40, n + 70), (e + 2, n + 6)])[1])
    assert "Short:" not in enough and "4 control points around the infield and 1 on it; 100 % of the skin" in enough


@pytest.mark.invariant
def test_acceptance_is_the_owner_s_or_asked_for():
    text = text_of(made()[1])
    assert "within ± 0.25 in of the design, set by Board of Nowhere on 3 March 2025" in text
    assert "Payment rests on 30 hand levels" in text and "within 14 days" in text and "by itself it neither accepts nor refuses" in text
    bare = text_of(made(accept={})[1])
    assert "has not stated a finish tolerance" in bare and "30 or more, before an offer" in bare and "has not stated a day" in bare


@pytest.mark.invariant
def test_counsel_licence_and_the_walk_are_left_to_those_they_belong_to():
    text = text_of(made()[1])
    assert "licensed surveyor or engineer" in text and "owner’s counsel" in text and "no defect" in text and "No gate is drawn" in text
    assert "shape only" in text_of(made(relative=True)[1]) and "shape only" not in text


@pytest.mark.independent  # PDFium
def test_the_package_is_a_tagged_pdf_of_a_few_sheets(tmp_path):
    paper = made("metric")[1]
    pdf.write(tmp_path / "bid.pdf", "papers/paper.typ", paper.plain(pages.style()), paper.day)
    document = pypdfium2.PdfDocument(tmp_path / "bid.pdf")
    assert document.is_tagged() and 2 <= len(document) <= 5
    assert "Price schedule" in " ".join(p.get_textpage().get_text_bounded() for p in document)


@pytest.mark.invariant
def test_what_the_design_breaks_is_said_and_the_edge_is_then_not_promised():
    told = [{"variant": "laser_plane", "family": "grass_edge", "place": "outer 21 m", "asked": 6.0, "possible": 26.2, "unit": "mm", "alone": True}]
    text = text_of(made(conflicts=told)[1])
    assert "It does not meet the level of the grass edge everywhere" in text and "1.03 in off" in text
    kept = text_of(made()[1])
    assert "meets home plate and the level of the grass edge" in kept and "does not meet" not in kept


@pytest.mark.invariant
def test_heights_against_control_and_work_since_the_survey_come_first():
    text = text_of(made(units="metric", off={"off_m": -0.0081, "sigma_m": 0.0014, "points": 6})[1])
    assert "By 6 levelled checkpoints of the same survey the design’s heights stand −8 mm ± 3 off them" in text and "level home plate and ten places" in text
    late = made(works_since=["w1"])[1]
    assert "The ground was worked after this survey" in next(b for b in late.blocks if b.kind == "caution").lines[0]


@pytest.mark.invariant
def test_contract_terms_are_blanks_and_no_words_of_ours():
    text = text_of(made()[1])
    assert "Levels that may lie outside" in text and "account" not in text and "risk" not in text
