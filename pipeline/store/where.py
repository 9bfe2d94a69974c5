"""Where every file lies: the one list of path patterns, for the workflow's rules and for the steps.

`{field}`, `{survey}` and the like may be real names or the workflow's wildcards.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath


@dataclass(frozen=True)
class Where:
    """results: the folder of results, as a path from the folder the workflow runs in."""

    results: str = "results"

    @property
    def build(self) -> str:
        """What no reader needs, beside the results."""
        path = PurePosixPath(self.results)
        return str(path.with_name("build" if path.name == "results" else f"build-{path.name}"))

    @property
    def logs(self) -> str:
        path = PurePosixPath(self.results)
        return str(path.with_name("logs" if path.name == "results" else f"logs-{path.name}"))

    def log(self, verb: str, *names: str) -> str:
        return "/".join([self.logs, verb, *names]) + ".log"

    def layout(self, field: str) -> str:
        return f"{self.build}/layout/{field}.json"

    def flight(self, survey: str) -> str:
        """Folder of one flight's ground points, a file a field."""
        return f"{self.build}/grid/{survey}"

    def gridded(self, survey: str, field: str) -> str:
        return f"{self.flight(survey)}/{field}.npz"

    def tied(self, field: str, survey: str) -> str:
        return f"{self.build}/tie/{field}/{survey}.npz"

    def measured(self, field: str, survey: str) -> str:
        return f"{self.build}/measure/{field}/{survey}.npz"

    def changed(self, field: str) -> str:
        return f"{self.build}/change/{field}.json"

    def field(self, field: str) -> str:
        return f"{self.results}/fields/{field}"

    def foresee(self, field: str) -> str:
        """Folder of what a survey of a field would see."""
        return f"{self.results}/foresee/{field}"

    def survey(self, field: str, survey: str) -> str:
        return f"{self.field(field)}/surveys/{survey}"

    def record(self, field: str, survey: str) -> str:
        return f"{self.survey(field, survey)}/survey.json"

    def raster(self, field: str, survey: str, name: str) -> str:
        """`elevation`, `sigma` or `count` of one survey."""
        return f"{self.survey(field, survey)}/{name}.tif"

    def surface(self, field: str, survey: str) -> str:
        """Folder of rasters made from one survey's surface."""
        return f"{self.field(field)}/surface/{survey}"

    def changes(self, field: str) -> str:
        return f"{self.field(field)}/change"

    def change(self, field: str, earlier: str, later: str, name: str) -> str:
        """`change`, `change_sigma` or `detected` of one pair."""
        return f"{self.changes(field)}/{earlier}--{later}/{name}.tif"

    def table(self, field: str, name: str) -> str:
        return f"{self.field(field)}/{name}.csv"

    def cube(self, field: str) -> str:
        return f"{self.field(field)}/elevation.nc"

    def vectors(self, field: str) -> str:
        return f"{self.field(field)}/field.gpkg"

    def styles(self, field: str) -> str:
        """Folder of one style a layer of the GeoPackage."""
        return f"{self.field(field)}/styles"

    def provenance(self, field: str) -> str:
        return f"{self.field(field)}/provenance.json"

    def graded(self, field: str) -> str:
        """Record and arrays of the designs, for the steps after."""
        return f"{self.build}/grade/{field}.npz"

    def worked(self, field: str) -> str:
        """Record of the works: what each changed, how it was built, how it held; places for hand levels."""
        return f"{self.build}/works/{field}.json"

    def grade(self, field: str) -> str:
        """Folder of what machines and surveyors take."""
        return f"{self.field(field)}/grade"

    def report(self, field: str) -> str:
        return f"{self.field(field)}/report.html"

    def paper(self, field: str, name: str) -> str:
        """`work_package.pdf`, `work_package.html` or `keep_out.pdf`."""
        return f"{self.field(field)}/{name}"

    def bid(self, year: int | str, field: str) -> str:
        """Folder of the package that contractors are asked with."""
        return f"{self.results}/bid/{year}/{field}"

    def work_records(self, field: str) -> str:
        """Folder of one sheet a work."""
        return f"{self.field(field)}/works"

    @property
    def index(self) -> str:
        return f"{self.results}/index.html"

    @property
    def portfolio(self) -> str:
        return f"{self.results}/portfolio.csv"

    @property
    def workbook(self) -> str:
        return f"{self.results}/portfolio.xlsx"

    @property
    def portfolio_said(self) -> str:
        """What the page over all fields says of unsafe ones, for the board's paper; the fields worst first, each with why, for the workbook."""
        return f"{self.build}/portfolio/all.json"

    @property
    def board_paper(self) -> str:
        """The board's two sheets."""
        return f"{self.results}/portfolio.pdf"

    @property
    def season_queue(self) -> str:
        return f"{self.results}/season_queue.csv"

    @property
    def order(self) -> str:
        """Mix to order, a row a site."""
        return f"{self.results}/order.csv"

    def day(self, on: str, ending: str) -> str:
        """One day around the games: `csv` or `html`."""
        return f"{self.results}/days/{on}.{ending}"

    def week(self, ending: str) -> str:
        """The crew's sheet of the week: `html` for a phone, `pdf` for print."""
        return f"{self.results}/week.{ending}"

    @property
    def season_said(self) -> str:
        """The season in words, for the page over all fields."""
        return f"{self.build}/season/all.json"

    @property
    def progress(self) -> str:
        """What an hour of crew work does, over all fields."""
        return f"{self.results}/progress.csv"

    @property
    def capital_plan(self) -> str:
        return f"{self.results}/capital_plan.csv"

    @property
    def plan_outcome(self) -> str:
        return f"{self.results}/plan_outcome.csv"

    @property
    def budget_steps(self) -> str:
        """The plan at other budgets, a row a step."""
        return f"{self.results}/budget_steps.csv"

    @property
    def plans(self) -> str:
        """Folder of every plan that was ever made, none overwritten."""
        return f"{self.results}/plans"

    @property
    def plan_record(self) -> str:
        """Record of the plan, for pages: bound, gap, rivals, what more money changes, reasons as data."""
        return f"{self.build}/plan/plan.json"

    @property
    def hazards(self) -> str:
        return f"{self.results}/hazards.csv"

    @property
    def catalogue(self) -> str:
        """The root of the catalogue."""
        return f"{self.results}/catalog.json"

    @property
    def district(self) -> str:
        """The catalogue's record of what is over all fields."""
        return f"{self.results}/collection.json"

    def collection(self, field: str) -> str:
        """The catalogue's record of one field."""
        return f"{self.field(field)}/collection.json"

    def items(self, field: str) -> str:
        """Folder of the catalogue's records of one field's surveys and products, a file each."""
        return f"{self.field(field)}/items"

    @property
    def over_all(self) -> tuple[str, ...]:
        """Files and folders over all fields: every property of this list that lies straight below the results, but for the
        catalogue's own."""
        named = [getattr(self, name) for name, made in vars(Where).items() if isinstance(made, property) and name not in ("over_all", "catalogue", "district")]
        named += [self.week("html"), self.week("pdf")]
        return tuple(sorted(path for path in named if str(PurePosixPath(path).parent) == self.results))
