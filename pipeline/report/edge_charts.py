"""The drawings of edges beside their heights: growth since the baseline, and the cross-section at the highest place."""

from __future__ import annotations

from pipeline.report.field_input import FieldInput
from pipeline.report.figures import Z95
from pipeline.report.findings import LIP
from pipeline.report.growth_chart import growth_chart
from pipeline.report.lip_charts import places
from pipeline.report.profile_chart import profile_chart
from pipeline.report.saying import Sayer
from pipeline.report.standing import Standing
from pipeline.surface.verdict import UNSAFE, WORK

MOST_GROWTH, MOST_PROFILES = 4, 2
LEAST_HIDDEN_MM = 1.0  # less further up is not worth a reader's time


def growth_charts(given: FieldInput, now: Standing, sayer: Sayer) -> list[dict]:
    """Edges on which growth since the first survey was detected, the most grown first."""
    if len(now.surveys) < 2:
        return []
    first, last, words = now.surveys[0], now.newest, sayer.words
    rows = [r for r in given.tables["lip_change"] if (r["from_survey"], r["to_survey"]) == (first.survey_id, last.survey_id)]
    out = []
    for edge in given.edges:
        mine = [r for r in rows if r["edge_id"] == edge.edge_id]
        segments = [r for r in mine if r["station_m"] is not None and r["growth_mm"] is not None]
        if not segments or not any(r["detected"] for r in mine):
            continue
        name = sayer.placing.edge(edge.edge_id)
        dates = {"earlier": sayer.day(first.flown_on, first.survey_id), "later": sayer.day(last.flown_on, last.survey_id)}
        title = words("growth_title", edge=name, **dates)
        svg = growth_chart(f"growth-{edge.edge_id}", segments, edge.length_m, places(given.layout.anchors, edge, sayer), sayer.units, title, words("growth_about"))
        whole = next((r for r in mine if r["station_m"] is None and r["growth_mm"] is not None), None)
        said = _whole(whole, sayer) if whole is not None else ""
        out.append((-max(abs(r["growth_mm"]) for r in segments), {"svg": svg, "title": title, "said": said}))
    return [c for _, c in sorted(out, key=lambda c: c[0])][:MOST_GROWTH]


def _whole(row: dict, sayer: Sayer) -> str:
    """Growth of a whole edge, and how far up its range reaches where mix that hides takes it further."""
    height, most = sayer.height(row["growth_mm"], row["growth_sigma_mm"]), row["growth_high95_mm"]
    if most - row["growth_mm"] - Z95 * row["growth_sigma_mm"] < LEAST_HIDDEN_MM:
        return sayer.words("growth_whole", height=height)
    return sayer.words("growth_whole_hidden", height=height, most=sayer.height(most))


def profile_charts(given: FieldInput, now: Standing, sayer: Sayer) -> list[dict]:
    """Cross-sections where a lip over a limit stands highest."""
    if now.newest is None:
        return []
    words, out = sayer.words, []
    for finding in now.newest.of(UNSAFE, WORK):
        seen = next((p for p in given.profiles if (p.edge_id, p.station_m) == (finding.place_id, finding.row.get("station_m"))), None)
        if finding.kind != LIP or seen is None:
            continue
        at = sayer.length(seen.station_m)
        title = words("profile_title", edge=sayer.placing.edge(seen.edge_id), at=at, day=sayer.day(now.newest.flown_on, now.newest.survey_id))
        labels = {
            "skin": words("profile_skin"), "crest": words("profile_crest"), "turf": words("profile_turf"),
            "across": words("profile_across", unit=sayer.units.length.name), "height": sayer.height(finding.value_mm, finding.sigma_mm),
        }  # fmt: skip
        name = f"profile-{seen.edge_id}-{seen.station_m:.1f}".replace(".", "-")
        svg = profile_chart(name, seen, finding.row, sayer.units, labels, title, words("profile_about"))
        out.append({"svg": svg, "title": title})
    return out[:MOST_PROFILES]
