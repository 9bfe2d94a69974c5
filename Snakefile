"""The workflow: one rule a verb, each one command. Tables and settings travel as params, so that a job
runs again when its own row, its own settings or its own code change, and for nothing else."""

import re, shlex, sys
from pipeline.desk.workflow import Workflow

PYTHON = shlex.quote(sys.executable)
work = Workflow(config["project"], verbs=("simulate", "layout", "grid", "tie", "measure", "change", "grade", "history", "report", "bid", "season", "week", "plan", "portfolio", "workbook", "board", "catalogue"))
at = work.where
STEP = f"{PYTHON} -m pipeline step {{rule}} --results {shlex.quote(at.results)} --given {{params.given:q}}"


wildcard_constraints:
    field=r"[a-z0-9-]+",
    survey=r"[a-z0-9-]+",


rule all:
    input: at.index, at.portfolio, at.week("html"), at.capital_plan, at.workbook, [at.paper(f, "workbook.xlsx") for f in work.fields], at.board_paper, at.catalogue, [at.bid(year, field) for year, field in work.bids]


if work.made:
    rule simulate:
        output: f"{work.folder}/{{cloud}}"
        wildcard_constraints: cloud="|".join(map(re.escape, work.made))
        log: at.log("simulate", "{cloud}")
        params: code=work.code("simulate"), scenario=work.scenario_digest, survey=lambda w: work.made[w.cloud]
        shell: f"{PYTHON} -m pipeline simulate {shlex.quote(str(work.scenario))} {{params.survey:q}} {shlex.quote(str(work.folder))} 2> {{log:q}}"


rule layout:
    input: lambda w: work.features(w.field)
    output: at.layout("{field}")
    log: at.log("layout", "{field}")
    params: code=work.code("layout"), given=lambda w: work.given("layout", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule grid:
    input: lambda w: work.clouds(w.survey), lambda w: [at.layout(f) for f in work.fields_of(w.survey)]
    output: directory(at.flight("{survey}"))
    log: at.log("grid", "{survey}")
    params: code=work.code("grid"), given=lambda w: work.given("grid", survey=w.survey)
    shell: STEP + " --survey {wildcards.survey} 2> {log:q}"


rule tie:
    input: at.layout("{field}"), at.flight("{survey}"), lambda w: [at.flight(s) for s in work.earlier_baselines(w.field, w.survey)]
    output: directory(at.survey("{field}", "{survey}")), at.tied("{field}", "{survey}")
    log: at.log("tie", "{field}", "{survey}")
    params: code=work.code("tie"), given=lambda w: work.given("tie", w.field, w.survey)
    shell: STEP + " --field {wildcards.field} --survey {wildcards.survey} 2> {log:q}"


rule measure:
    input: at.layout("{field}"), at.survey("{field}", "{survey}"), at.tied("{field}", "{survey}"), lambda w: work.features(w.field)
    output: at.measured("{field}", "{survey}"), directory(at.surface("{field}", "{survey}"))
    log: at.log("measure", "{field}", "{survey}")
    params: code=work.code("measure"), given=lambda w: work.given("measure", w.field, w.survey)
    shell: STEP + " --field {wildcards.field} --survey {wildcards.survey} 2> {log:q}"


rule change:
    input: at.layout("{field}"), lambda w: [p for s in work.surveys_of(w.field) for p in (at.tied(w.field, s), at.survey(w.field, s), at.measured(w.field, s))]
    output: directory(at.changes("{field}")), at.changed("{field}")
    log: at.log("change", "{field}")
    params: code=work.code("change"), given=lambda w: work.given("change", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule grade:
    input: at.layout("{field}"), lambda w: work.features(w.field), lambda w: [p for s in work.surveys_of(w.field) for p in (at.tied(w.field, s), at.survey(w.field, s), at.measured(w.field, s), at.surface(w.field, s))]
    output: directory(at.grade("{field}")), at.graded("{field}"), at.table("{field}", "quantities"), at.table("{field}", "handoffs")
    log: at.log("grade", "{field}")
    params: code=work.code("grade"), given=lambda w: work.given("grade", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule history:
    input: at.layout("{field}"), lambda w: work.features(w.field) + work.designs_named(w.field), at.graded("{field}"), at.changed("{field}"), at.changes("{field}"), lambda w: [p for s in work.surveys_of(w.field) for p in (at.tied(w.field, s), at.measured(w.field, s), at.surface(w.field, s))]
    output: at.cube("{field}"), at.vectors("{field}"), at.provenance("{field}"), at.worked("{field}"), work.history_tables
    log: at.log("history", "{field}")
    params: code=work.code("history"), given=lambda w: work.given("history", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule report:
    input: at.layout("{field}"), at.graded("{field}"), at.worked("{field}"), at.vectors("{field}"), at.provenance("{field}"), work.history_tables, lambda w: [at.tied(w.field, s) for s in work.surveys_of(w.field)], lambda w: work.issued(w.field)
    output: at.report("{field}"), at.paper("{field}", "work_package.pdf"), at.paper("{field}", "work_package.html"), at.paper("{field}", "keep_out.pdf"), directory(at.work_records("{field}")), directory(at.styles("{field}"))
    log: at.log("report", "{field}")
    params: code=work.code("report"), given=lambda w: work.given("report", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule bid:
    input: at.layout("{field}"), at.graded("{field}"), at.report("{field}"), lambda w: work.features(w.field)
    output: directory(at.bid("{year}", "{field}"))
    wildcard_constraints: year=r"\d{4}"
    log: at.log("bid", "{field}", "{year}")
    params: code=work.code("bid"), given=lambda w: work.given("bid", w.field, w.year)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule season:
    input: [at.layout(f) for f in work.fields], [at.table(f, "quantities") for f in work.fields], [at.table(f, t) for f in work.fields for t in work.tables], [at.tied(f, s) for f in work.fields for s in work.surveys_of(f)]
    output: at.season_queue, at.order, at.season_said
    log: at.log("season", "all")
    params: code=work.code("season"), given=work.given("season")
    shell: STEP + " 2> {log:q}"


rule week:
    input: at.season_queue, at.season_said, [at.layout(f) for f in work.fields], [at.graded(f) for f in work.fields], [at.table(f, t) for f in work.fields for t in work.tables], [at.tied(f, s) for f in work.fields for s in work.surveys_of(f)]
    output: at.week("html"), at.week("pdf")
    log: at.log("week", "all")
    params: code=work.code("week"), given=work.given("week")
    shell: STEP + " 2> {log:q}"


rule plan:
    input: [at.layout(f) for f in work.fields], [at.table(f, "quantities") for f in work.fields], [at.table(f, t) for f in work.fields for t in work.tables]
    output: at.plan_outcome, at.budget_steps, at.plan_record
    log: at.log("plan", "all")
    params: code=work.code("plan"), given=work.given("plan")
    shell: STEP + " 2> {log:q}"


rule portfolio:
    input: at.season_said, at.plan_record, at.plan_outcome, work.issued(), [at.report(f) for f in work.fields], [at.table(f, "quantities") for f in work.fields], [at.table(f, t) for f in work.fields for t in work.tables]
    output: at.index, at.portfolio, at.hazards, at.progress, at.capital_plan, at.portfolio_said
    log: at.log("portfolio", "all")
    params: code=work.code("portfolio"), given=work.given("portfolio")
    shell: STEP + " 2> {log:q}"


rule workbook:
    input: at.graded("{field}"), at.table("{field}", "handoffs"), work.history_tables
    output: at.paper("{field}", "workbook.xlsx")
    log: at.log("workbook", "{field}")
    params: code=work.code("workbook"), given=lambda w: work.given("workbook", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule workbook_all:
    input: at.plan_record, at.capital_plan, at.portfolio, at.portfolio_said, at.season_queue, at.order, at.plan_outcome, at.hazards
    output: at.workbook
    log: at.log("workbook", "all")
    params: code=work.code("workbook"), given=work.given("workbook")
    shell: STEP.replace("{rule}", "workbook") + " 2> {log:q}"


rule board:
    input: at.plan_record, at.plan_outcome, at.portfolio, at.portfolio_said
    output: at.board_paper
    log: at.log("board", "all")
    params: code=work.code("board"), given=work.given("board")
    shell: STEP + " 2> {log:q}"


rule catalogue:
    input: at.layout("{field}"), rules.change.output, rules.grade.output, rules.history.output, rules.report.output, rules.workbook.output, lambda w: [p for s in work.surveys_of(w.field) for p in (at.survey(w.field, s), at.surface(w.field, s))], lambda w: [at.bid(y, f) for y, f in work.bids if f == w.field]
    output: at.collection("{field}"), directory(at.items("{field}"))
    log: at.log("catalogue", "{field}")
    params: code=work.code("catalogue"), given=lambda w: work.given("catalogue", w.field)
    shell: STEP + " --field {wildcards.field} 2> {log:q}"


rule catalogue_root:
    input: [at.collection(f) for f in work.fields], rules.season.output, rules.week.output, rules.portfolio.output, rules.plan.output, rules.workbook_all.output, rules.board.output
    output: at.catalogue, at.district
    log: at.log("catalogue", "all")
    params: code=work.code("catalogue"), given=work.given("catalogue")
    shell: STEP.replace("{rule}", "catalogue") + " 2> {log:q}"
