"""The command line: the operator's verbs, and `step`, with which the workflow runs one job."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from pipeline.errors import BadInput

app = typer.Typer(add_completion=False, no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None)
ConfigArgument = Annotated[Path, typer.Argument(metavar="CONFIG", help="config.yaml, or the folder that holds it")]

BAD_INPUT, REFUSALS = 1, 3


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
    dry: Annotated[bool, typer.Option("--dry", help="Say what would run; run nothing.")] = False,
) -> None:
    """Check, then bring every result up to date. Only what changed is done again.

    Exit status: 0 all done, 1 bad input, 2 usage, 3 done, with surveys refused.

    Example: skinplane run demo_inputs
    """
    from pipeline.desk.run import run as ran

    raise typer.Exit(ran(config, cores=cores, profile=profile, dry=dry))


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
        app()
    except BadInput as bad:
        for problem in bad.problems:
            print(problem, file=sys.stderr)
        print(f"{len(bad.problems)} problem{'s' * (len(bad.problems) != 1)} found; nothing was run.", file=sys.stderr)
        sys.exit(BAD_INPUT)
