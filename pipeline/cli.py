"""The command line: the operator's verbs, and `step`, with which the workflow runs one job."""

from __future__ import annotations

import sys
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from pipeline.desk.stop import Stopped, stoppable
from pipeline.errors import BadInput


class Source(str, Enum):
    """How a survey is made."""

    photogrammetry = "photogrammetry"
    lidar = "lidar"
    rover = "rover"


app = typer.Typer(add_completion=False, no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None)
ConfigArgument = Annotated[Path, typer.Argument(metavar="CONFIG", help="config.yaml, or the folder that holds it")]

BAD_INPUT = 1


@app.command()
def check(config: ConfigArgument) -> None:
    """Check settings, tables and the header of every cloud; run nothing.

    Example: skinplane check demo_inputs
    """
    from pipeline.desk.check import check as checked

    raise typer.Exit(checked(config))


@app.command()
def run(
    config: ConfigArgument,
    cores: Annotated[int, typer.Option(min=0, help="Jobs at once; 0: all cores.")] = 0,
    profile: Annotated[str, typer.Option(help="A folder of config/profiles: workstation, slurm or kubernetes.")] = "",
    dry: Annotated[bool, typer.Option("--dry", help="List what would run; run nothing.")] = False,
) -> None:
    """Check, then bring every result up to date. Only what changed is done again.

    Exit status: 0 all done, 1 bad input or a job failed, 2 usage, 3 done with surveys refused, 130 or 143 stopped.

    Example: skinplane run demo_inputs
    """
    from pipeline.desk.run import run as ran

    raise typer.Exit(ran(config, cores=cores, profile=profile, dry=dry))


@app.command()
def foresee(
    config: ConfigArgument,
    field: Annotated[str, typer.Argument(metavar="FIELD", help="A field_id of the table of fields.")],
    source: Annotated[Source, typer.Option(help="How the survey would be made.")] = Source.photogrammetry,
    height_m: Annotated[float | None, typer.Option(min=5, max=120, help="Height flown above ground, m; 30 where nothing is said.")] = None,
    spacing_mm: Annotated[float | None, typer.Option(min=5, max=500, help="Distance between ground points, mm.")] = None,
    like: Annotated[str, typer.Option(help="A survey_id that was run: its scatter and density are taken.")] = "",
) -> None:
    """Before flying: say what a survey of a field would see, which stable ground to add, and where to walk.

    Writes a page and tables to results/foresee/FIELD.

    Example: skinplane foresee demo_inputs moth --height-m 40
    """
    from pipeline.desk.foresee import foresee as foreseen

    raise typer.Exit(foreseen(config, field, source.value, height_m, spacing_mm, like))


@app.command()
def day(
    config: ConfigArgument,
    on: Annotated[datetime, typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="The day, as 2026-04-18.")],
    rain: Annotated[float, typer.Option(min=0, max=300, metavar="MM", help="Rain that has fallen, mm.")] = 0.0,
) -> None:
    """Lay one crew's work around the games of a day: what to open first, what fits between games, which bases to swap.

    Writes a page and a table to results/days.

    Example: skinplane day demo_inputs --on 2026-04-18 --rain 8
    """
    from pipeline.desk.day import day as laid

    raise typer.Exit(laid(config, on.date(), rain))


@app.command()
def log(
    given: Annotated[list[Path], typer.Argument(metavar="[FILE] CONFIG", help="The CSV that the week's page saved; without it, every row is asked for. Then config.yaml or its folder.")],
    keep_good: Annotated[bool, typer.Option("--keep-good", help="Add the good rows although others are bad; those are laid aside in a file.")] = False,
) -> None:
    """Add what the crew wrote down to the tables of works, readings and walks.

    Every row is checked; nothing is written while one is bad. A row that stands there already is not added again. The tables as they
    were are kept beside them.

    Exit status: 0 all rows stand in the tables, 1 a row is bad and nothing was written, 2 usage, 3 good rows added, bad ones laid aside.

    Example: skinplane log week.csv demo_inputs
    """
    from pipeline.desk.log import log as logged

    if len(given) > 2:
        raise typer.BadParameter("one FILE and one CONFIG")
    raise typer.Exit(logged(given, keep_good))


@app.command()
def issue(
    config: ConfigArgument,
    fields: Annotated[list[str] | None, typer.Argument(metavar="[FIELD]...", help="What is handed on: pages of these fields; without any all fields and the page over them.")] = None,
    to: Annotated[str, typer.Option(metavar="WHO", help="To whom it is given.")] = "",
    note: Annotated[str, typer.Option(metavar="TEXT", help="What is to be remembered of it.")] = "",
    on: Annotated[datetime | None, typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="The day, as 2026-04-18; today where nothing is said.")] = None,
) -> None:
    """Keep a report as it is handed on; the next one says what is new and which figures were revised since.

    Copies pages, papers, and the tables their figures came from into a folder of its own below `issued`, beside config.yaml, with
    checksums. Never overwrites; results can be deleted and made again, this stays.

    Example: skinplane issue demo_inputs moth --to "the crew's contractor"
    """
    from pipeline.desk.issue import issue as issued

    raise typer.Exit(issued(config, fields or (), to, note, on.date() if on else None))


@app.command(hidden=True)
def simulate(scenario: Path, survey: str, out: Path) -> None:
    """Make the cloud of one survey of an invented scenario."""
    from pipeline.steps.simulate import run as made

    made(scenario, survey, out)


@app.command(hidden=True)
def step(
    verb: str,
    given: Annotated[str, typer.Option(help="What the job is handed, as JSON.")],
    results: str = "results",
    field: str = "",
    survey: str = "",
) -> None:
    """Run one job of the workflow, as its rule does."""
    from importlib import import_module

    from pipeline.jobs import job
    from pipeline.store.where import Where

    import_module(f"pipeline.steps.{verb}").run(job(given, field, survey), Where(results))


def main() -> None:
    """Entry point of `skinplane` and `python -m pipeline`."""
    try:
        with stoppable():
            app()
    except BadInput as bad:
        for problem in bad.problems:
            print(problem, file=sys.stderr)
        print(f"{len(bad.problems)} problem{'s' * (len(bad.problems) != 1)} found; nothing was run.", file=sys.stderr)
        sys.exit(BAD_INPUT)
    except Stopped as stopped:
        print("Stopped; run again to go on.", file=sys.stderr)
        sys.exit(stopped.status)
