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

POINT = {"point_id": "mark-a", "e": "507000.0000", "n": "175000.0000", "height": "300.0000", "unit": "m", "height_reference": "EPSG:5703", "description": "steel pin"}
ACCEPT = {"tolerance_mm": 6.35, "hand_levels": 30, "retest_days": 14, **SIGNED}
LASER = variant("laser_plane", mix_tonnes=26.5, mix_low95_t=20.7, mix_high95_t=32.3, noise_m3=0.4)


def made(units: str = "us", accept: dict = ACCEPT, control=(), relative: bool = False):
    record = design(variants=[variant("touch_up", cut_m3=0.0), LASER], flown_on="2026-04-07", relative=relative)
    field = given(units, designs=record, settings=config(units=units, report={"title": "Nowhere Parks"}, acceptance=accept))
    asked = items(LASER, [LIP], 50.0, 2, 30)
    told = [{**POINT, "at": at} for at in control]
    return asked, bid(field, 2026, asked, ring(field.layout.skin, control), told, {"form": "plane", "slope_pct": 0.6, "bearing_deg": 130.0}, WORDS)


@pytest.mark.analytic
def test_quantities_have_low_likely_high_and_how_they_are_measured():
    asked, paper = made()
    rows = {r[1]: r for b in paper.blocks if b.kind == "table" and b.heads[1:2] == ["item"] and "low" in b.heads for r in b.rows}
    assert rows["infield mix, brought, spread and mixed in"][2:] == ["tons", "22.82", "29.21", "35.60", "weighbridge tickets"]  # 20.7, 26.5, 32.3 t
    assert rows["grade by laser to the design"][2:6] == ["sq ft", "7427", "7427", "7427"]  # 690 m2
    assert rows["cut within the skin (for information)"][2:6] == ["cu yd", "1.96", "2.62", "2.75"]  # 2 - 0.4 - 1.96 x 0.1 x 2/3.8 m3


@pytest.mark.invariant
def test_no_price_stands_anywhere_and_the_schedule_is_blank(tmp_path):
    asked, paper = made()
    text = text_of(paper)
    assert "USD" not in text and "190" not in text and "cost" not in text.lower()
    prices = next(b for b in paper.blocks if b.kind == "table" and "unit price" in b.heads)
    assert all(r[4] == r[5] == "" for r in prices.rows) and prices.rows[-1][1] == "sum of all items"
    header, rows = price_rows(asked, sayer())
    assert header[-2:] == ["unit_price", "amount"] and all(r[-2:] == ["", ""] for r in rows) and len(rows) == len(asked)
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
