"""The season and a day of a whole run: written, within the crew's hours, on the page."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import pandas as pd
import pypdfium2
import pytest
import yaml

from pipeline.desk.day import day
from pipeline.errors import BadInput
from pipeline.store.where import Where

WHERE = Where()


@pytest.mark.invariant
def test_the_queue_stays_within_each_days_hours_and_names_what_is_left(ran):
    queue = pd.read_csv(ran.root / WHERE.season_queue)
    crew = yaml.safe_load((ran.folder / "config.yaml").read_text())["crew"]
    planned = queue[queue.done == "planned"]
    by_day = planned.groupby("on")[["hours", "travel_hours"]].sum().sum(axis=1)
    assert len(planned) and by_day.max() <= crew["hours_per_week"] / len(crew["working_days"]) + 0.01 * 12
    assert set(planned.field_id) == {"moth", "two-lamps"} and set(queue.done) <= {"planned", "dropped"}
    first = planned.sort_values(["week_start", "order"]).iloc[0]
    assert (first.field_id, first["rank"]) == ("moth", "unsafe")
    order = pd.read_csv(ran.root / WHERE.order)
    assert (order.low95 <= order.tonnes).all() and (order.tonnes <= order.high95).all()


@pytest.mark.invariant
def test_the_page_over_all_fields_has_the_season_and_a_fields_page_its_forecast(ran):
    index = (ran.root / WHERE.index).read_text()
    assert 'id="season"' in index and "On the road" in index
    assert "Not enough surveys yet to carry anything on" in (ran.root / WHERE.report("moth")).read_text()
    forecast = pd.read_csv(ran.root / WHERE.table("moth", "forecast"))
    assert forecast.on.isna().all() and forecast.reason.str.startswith("not enough surveys yet").any()


@pytest.mark.independent  # PDFium
def test_the_sheet_of_the_week_has_the_queue_s_first_week_on_paper_and_every_week_on_the_phone(ran):
    queue = pd.read_csv(ran.root / WHERE.season_queue)
    planned = queue[queue.done == "planned"]
    data = json.loads(re.search(r'id="data">(.*?)</script>', (ran.root / WHERE.week("html")).read_text()).group(1))
    assert [w["start"] for w in data["weeks"]] == sorted(set(planned.week_start))
    listed = {(t[0], t[1], t[2]) for w in data["weeks"] for t in w["tasks"]}
    assert listed == set(zip(planned.field_id, planned.task, planned.on))
    hours = sum(t[4] for w in data["weeks"] for t in w["tasks"])
    assert hours == pytest.approx(planned.hours.sum(), abs=0.005 * len(planned))
    document = pypdfium2.PdfDocument(ran.root / WHERE.week("pdf"))
    text = " ".join(" ".join(sheet.get_textpage().get_text_bounded() for sheet in document).split()).replace("\u00a0", " ")
    assert document.is_tagged() and "Moth Field" in text and "Two Lamps Field" in text and "Unsafe: first of all" in text
    first = planned[planned.week_start == planned.week_start.min()]
    assert text.count("Drag ") == (first.groupby(["field_id", "on"]).task.apply(set).map(lambda done: "drag" in done)).sum()


@pytest.mark.invariant
def test_a_day_is_laid_around_its_games(ran, capsys):
    assert day(ran.folder, dt.date(2026, 4, 18), 8.0) == 0
    assert "2026-04-18.html" in capsys.readouterr().out
    rows, games = pd.read_csv(ran.root / WHERE.day("2026-04-18", "csv")), pd.read_csv(ran.folder / "games.csv")
    done = rows[rows.order.notna()]
    assert len(done) and {"moth", "two-lamps"} == set(rows.field_id)
    for task in done.itertuples():
        for game in games[(games.field_id == task.field_id) & (games.on == "2026-04-18")].itertuples():
            assert task.ends <= game.starts or game.ends <= task.starts
    assert (done.starts.to_numpy()[1:] >= done.ends.to_numpy()[:-1]).all()
    page = (ran.root / WHERE.day("2026-04-18", "html")).read_text()
    assert "Moth Field" in page and "Games that cannot be had" in page and "stays closed" in page and "whoever stands on the field decides" in page
    assert day(ran.folder, dt.date(2026, 4, 20), 0.0) == 0 and "No games stand" in (ran.root / WHERE.day("2026-04-20", "html")).read_text()
    with pytest.raises(BadInput, match="a day from 2026-04-18 to 2026-04-22"):
        day(ran.folder, dt.date(2026, 1, 2), 0.0)


@pytest.mark.analytic
def test_a_day_before_any_run_is_refused(tmp_path):
    demo = Path(__file__).resolve().parents[2] / "demo_inputs"
    for name in ("fields", "surveys", "works", "control"):
        (tmp_path / f"{name}.csv").write_text((demo / f"{name}.csv").read_text())
    (tmp_path / "config.yaml").write_text("control: control.csv\n")
    with pytest.raises(BadInput, match="Run the project first"):
        day(tmp_path, dt.date(2026, 4, 18), 0.0)
