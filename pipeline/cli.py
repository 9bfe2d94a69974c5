"""The command line: the operator's verbs, and `step`, with which the workflow runs one job. Whatever is heavy is imported in its verb."""

from __future__ import annotations

import sys
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

from pipeline.desk import complete
from pipeline.desk.stop import Stopped, stoppable
from pipeline.errors import BadInput


class Source(str, Enum):
    """How a survey is made."""

    photogrammetry = "photogrammetry"
    lidar = "lidar"
    rover = "rover"


HELP = """How far the skin of an infield has left its plane.

\b
The first hour:
  skinplane doctor                    is this machine ready
  skinplane new eastside              a project with one field, from questions
  skinplane add FILE eastside         a survey's cloud or walk
  skinplane check eastside            every fault at once, before anything runs
  skinplane run eastside              everything brought up to date
  skinplane show eastside             the page
"""
EXITS = """\b
Exit status of every command:
  0    all done, nothing wrong
  1    bad input: nothing was done; or a job failed, the rest was done
  2    wrong usage
  3    done, with surveys refused (log: with bad rows laid aside)
  130  stopped by Ctrl-C, 143 stopped by the system: run again to go on

\b
CONFIG is config.yaml or the folder that holds it. A code in brackets at
the end of an error has a page: skinplane explain CODE.
"""
app = typer.Typer(help=HELP, epilog=EXITS, no_args_is_help=True, pretty_exceptions_enable=False, rich_markup_mode=None)
ConfigArgument = Annotated[Path, typer.Argument(metavar="CONFIG", help="config.yaml, or the folder that holds it", autocompletion=complete.projects)]

BAD_INPUT = 1


@app.command(short_help="Make a project folder with one field.")
def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to make; it must not be there yet, or be empty.")],
    title: Annotated[str | None, typer.Option(help="A line over every page: whose fields these are.")] = None,
    units: Annotated[str | None, typer.Option(help="Units of the pages: us or metric.")] = None,
    language: Annotated[str | None, typer.Option(help="Language of the pages: en or es.")] = None,
    crew_language: Annotated[str | None, typer.Option(help="Language of what the crew carries: en or es.")] = None,
    crs: Annotated[str | None, typer.Option(help="The field's coordinate system, as EPSG:6565, or a cloud that states it.")] = None,
    field: Annotated[str | None, typer.Option(metavar="ID", help="The field's id: small letters, digits, -.")] = None,
    name: Annotated[str | None, typer.Option(help="The field's name.")] = None,
    site: Annotated[str | None, typer.Option(metavar="ID", help="The site it belongs to.")] = None,
    layout: Annotated[str | None, typer.Option(help="baseball-90, -80, -70, -60, -50; softball-65, -60, -55.", autocompletion=complete.layouts)] = None,
    base_ft: Annotated[str | None, typer.Option(metavar="FT", help="Base distance, where no layout has it.")] = None,
    pitch_ft: Annotated[str | None, typer.Option(metavar="FT", help="Pitching distance, where it is not the layout's.")] = None,
    arc_m: Annotated[str | None, typer.Option(metavar="M", help="Radius of the outer arc, where it is not the layout's.")] = None,
    infield: Annotated[str | None, typer.Option(help="grass or skinned, where it is not the layout's.")] = None,
    home: Annotated[str | None, typer.Option(metavar="X,Y", help="Rear point of home plate, in the unit of the coordinate system.")] = None,
    second: Annotated[str | None, typer.Option(metavar="X,Y", help="Middle of second base.")] = None,
    lon_lat: Annotated[bool, typer.Option("--lon-lat", help="Both points are longitude,latitude.")] = False,
    shapes: Annotated[Path | None, typer.Option(metavar="FILE", help="Shapes drawn already (GeoPackage, GeoJSON) with the attribute role: slabs that do not move are `stable`.")] = None,
    tolerance: Annotated[list[str], typer.Option(metavar="KEY=VALUE", help="One of the owner's tolerances, as lip_mm=25; again for each.")] = [],
    set_by: Annotated[str | None, typer.Option(metavar="NAME", help="Who set the tolerances.")] = None,
    set_on: Annotated[str | None, typer.Option(metavar="DATE", help="When.")] = None,
    cell_m: Annotated[str | None, typer.Option(metavar="M", help="Cell of every raster; 0.10 where nothing is said, wider for a sparse cloud.")] = None,
) -> None:
    """Make a project folder with one field: settings, tables, and a first drawing from home plate, second base and a layout.

    What is not given is asked for in a terminal. Nothing is overwritten; the folder appears whole or not at all.

    \b
    Examples:
      skinplane new eastside
      skinplane new eastside --crs EPSG:6565 --field moth --layout softball-60 \\
          --home 2058597.917,275757.979 --second 2058669.876,275802.944
      skinplane new eastside --crs flight.laz --field moth --layout softball-60 \\
          --lon-lat --home=-77.42798,40.08986 --second=-77.42773,40.08998
    """
    from pipeline.desk.new import Given
    from pipeline.desk.new import new as made

    raise typer.Exit(made(folder, Given(title, units, language, crew_language, crs, field, name, site, layout, base_ft, pitch_ft, arc_m, infield, home, second, lon_lat, shapes, tolerance, set_by, set_on, cell_m)))


@app.command(short_help="Bring a survey's file into a project.")
def add(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A cloud (LAS, LAZ, COPC), a walk (CSV) or heights (GeoTIFF).")],
    config: ConfigArgument,
    link: Annotated[bool, typer.Option("--link", help="Leave the file where it is and link to it; else it is copied into clouds/.")] = False,
    survey_id: Annotated[str | None, typer.Option("--id", help="Id of the survey; made from field and month where nothing is said.")] = None,
    date: Annotated[str | None, typer.Option(metavar="DATE", help="Day it was flown or walked, as 2026-04-15, where the file does not know.")] = None,
    fields: Annotated[str | None, typer.Option(metavar="IDS", help="Fields it is for, with ;. Else those that it lies over.")] = None,
    source: Annotated[str | None, typer.Option(help="photogrammetry, lidar, rover or raster, where the file does not show it.", autocompletion=complete.sources)] = None,
    crs: Annotated[str | None, typer.Option(help="Its coordinate system, where the file does not say.")] = None,
    vertical_unit: Annotated[str | None, typer.Option(metavar="UNIT", help="m, ft or us-ft, where the file does not say.")] = None,
    height_reference: Annotated[str | None, typer.Option(metavar="DATUM", help="EPSG:5703 (NAVD88) or another datum, ellipsoidal, local.")] = None,
    sigma_mm: Annotated[str | None, typer.Option(metavar="MM", help="One s.d. of a point; of a raster's cell, required there.")] = None,
    turf_height: Annotated[str | None, typer.Option(metavar="HEIGHT", help="Height of the grass that day, as 1.2in or 30mm.")] = None,
    surface_state: Annotated[str | None, typer.Option(metavar="WORDS", help="dragged, played, wet, dry, topdressed, mown, shaggy, dormant, with ;.")] = None,
    purpose: Annotated[str | None, typer.Option(help="routine, baseline, before_work or after_work.")] = None,
    notes: Annotated[str | None, typer.Option(help="Anything worth knowing of it.")] = None,
) -> None:
    """Bring a survey's file into a project, with its row in surveys.csv.

    What the file says of its day, coordinates, kind and fields is read from it; the rest is asked for in a terminal. Nothing is
    overwritten; the table as it was is kept beside it.

    \b
    Examples:
      skinplane add ~/flights/moth.laz eastside
      skinplane add ~/flights/moth.laz eastside --link --date 2026-04-07 \\
          --vertical-unit us-ft --height-reference EPSG:5703 --turf-height 1.26in
    """
    from pipeline.desk.add import Given
    from pipeline.desk.add import add as added

    raise typer.Exit(added(file, config, Given(survey_id, date, fields, source, crs, vertical_unit, height_reference, sigma_mm, turf_height, surface_state, purpose, notes, link)))


@app.command(short_help="Name every fault before anything runs.")
def check(config: ConfigArgument) -> None:
    """Check settings, tables and the header of every cloud; run nothing.

    \b
    Examples:
      skinplane check demo_inputs
    """
    from pipeline.desk.check import check as checked

    raise typer.Exit(checked(config))


@app.command(short_help="Bring every result up to date.")
def run(
    config: ConfigArgument,
    cores: Annotated[int, typer.Option(min=0, help="Jobs at once; 0: all cores.")] = 0,
    profile: Annotated[str, typer.Option(help="A folder of config/profiles: workstation, slurm or kubernetes.", autocompletion=complete.profiles)] = "",
    dry: Annotated[bool, typer.Option("--dry", help="List what would run; run nothing.")] = False,
) -> None:
    """Check, then bring every result up to date. Only what changed is done again.

    Exit status: 0 all done, 1 bad input or a job failed, 2 usage, 3 done with surveys refused, 130 or 143 stopped.

    \b
    Examples:
      skinplane run demo_inputs
      skinplane run demo_inputs --dry
      skinplane run demo_inputs --cores 4
    """
    from pipeline.desk.run import run as ran

    raise typer.Exit(ran(config, cores=cores, profile=profile, dry=dry))


@app.command(short_help="What is done, refused, missing, open, due.")
def status(
    config: ConfigArgument,
    quick: Annotated[bool, typer.Option("--quick", help="Do not ask what is out of date: answers at once.")] = False,
) -> None:
    """Say per field what is done, refused, missing, out of date, open and due. Runs nothing.

    Exit status: 0, 1 bad input, 3 a survey is refused.

    \b
    Examples:
      skinplane status demo_inputs
      skinplane status demo_inputs --quick
    """
    from pipeline.desk.status import status as stated

    raise typer.Exit(stated(config, quick))


@app.command(short_help="Open the page over all fields, or a field's.")
def show(
    config: ConfigArgument,
    field: Annotated[str, typer.Argument(metavar="[FIELD]", help="A field_id; without it the page over all fields.", autocompletion=complete.fields)] = "",
    path_only: Annotated[bool, typer.Option("--print", help="Print where the page is; open nothing.")] = False,
) -> None:
    """Open the page over all fields, or a field's, in the browser.

    \b
    Examples:
      skinplane show demo_inputs
      skinplane show demo_inputs moth
      skinplane show demo_inputs moth --print
    """
    from pipeline.desk.show import show as shown

    raise typer.Exit(shown(config, field, path_only))


@app.command(short_help="Before flying: what a survey would see.")
def foresee(
    config: ConfigArgument,
    field: Annotated[str, typer.Argument(metavar="FIELD", help="A field_id of the table of fields.", autocompletion=complete.fields)],
    source: Annotated[Source, typer.Option(help="How the survey would be made.")] = Source.photogrammetry,
    height_m: Annotated[float | None, typer.Option(min=5, max=120, help="Height flown above ground, m; 30 where nothing is said.")] = None,
    spacing_mm: Annotated[float | None, typer.Option(min=5, max=500, help="Distance between ground points, mm.")] = None,
    like: Annotated[str, typer.Option(help="A survey_id that was run: its scatter and density are taken.", autocompletion=complete.surveys)] = "",
) -> None:
    """Before flying: say what a survey of a field would see, which stable ground to add, and where to walk.

    Writes a page and tables to results/foresee/FIELD.

    \b
    Examples:
      skinplane foresee demo_inputs moth --height-m 40
      skinplane foresee demo_inputs moth --source rover
    """
    from pipeline.desk.foresee import foresee as foreseen

    raise typer.Exit(foreseen(config, field, source.value, height_m, spacing_mm, like))


@app.command(short_help="One crew's work around a day's games.")
def day(
    config: ConfigArgument,
    on: Annotated[datetime, typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="The day, as 2026-04-18.")],
    rain: Annotated[float, typer.Option(min=0, max=300, metavar="MM", help="Rain that has fallen, mm.")] = 0.0,
) -> None:
    """Lay one crew's work around the games of a day: what to open first, what fits between games, which bases to swap.

    Writes a page and a table to results/days.

    \b
    Examples:
      skinplane day demo_inputs --on 2026-04-18 --rain 8
    """
    from pipeline.desk.day import day as laid

    raise typer.Exit(laid(config, on.date(), rain))


@app.command(short_help="Add what the crew wrote down.")
def log(
    given: Annotated[list[Path], typer.Argument(metavar="[FILE] CONFIG", help="The CSV that the week's page saved; without it, every row is asked for. Then config.yaml or its folder.")],
    keep_good: Annotated[bool, typer.Option("--keep-good", help="Add the good rows although others are bad; those are laid aside in a file.")] = False,
) -> None:
    """Add what the crew wrote down to the tables of works, readings and walks.

    Every row is checked; nothing is written while one is bad. A row that stands there already is not added again. The tables as they
    were are kept beside them.

    Exit status: 0 all rows stand in the tables, 1 a row is bad and nothing was written, 2 usage, 3 good rows added, bad ones laid aside.

    \b
    Examples:
      skinplane log week.csv demo_inputs
      skinplane log demo_inputs
    """
    from pipeline.desk.log import log as logged

    if len(given) > 2:
        raise typer.BadParameter("one FILE and one CONFIG")
    raise typer.Exit(logged(given, keep_good))


@app.command(short_help="What a code, verdict or reason stands for.")
def explain(code: Annotated[str, typer.Argument(metavar="[CODE]", help="What stands in brackets at the end of an error, or a word of the tables. Without it all are listed.", autocompletion=complete.codes)] = "") -> None:
    """Say what a code of an error, a verdict, a kind or a reason stands for: what was found, how to mend it, an example.

    \b
    Examples:
      skinplane explain
      skinplane explain unknown-key
      skinplane explain low_skin
    """
    from pipeline.desk.explain import explain as explained

    raise typer.Exit(explained(code))


@app.command(short_help="Is this machine ready, and a project on it.")
def doctor(config: Annotated[Path | None, typer.Argument(metavar="[CONFIG]", help="config.yaml, or its folder: its folders and disk are looked at, too.", autocompletion=complete.projects)] = None) -> None:
    """Look at this machine: Python, parts, coordinates, files, memory, disk; each fine, to look at, or broken.

    Exit status: 0 nothing is broken, 1 something is.

    \b
    Examples:
      skinplane doctor
      skinplane doctor demo_inputs
    """
    from pipeline.desk.doctor import doctor as looked

    raise typer.Exit(looked(config))


@app.command(short_help="Keep a report as it is handed on.")
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

    \b
    Examples:
      skinplane issue demo_inputs
      skinplane issue demo_inputs moth --to "the crew's contractor"
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
        if not any(problem.code == "unknown-code" for problem in bad.problems):
            print(f"skinplane explain {bad.problems[0].code} tells more.", file=sys.stderr)
        print(f"{len(bad.problems)} problem{'s' * (len(bad.problems) != 1)} found; nothing was run.", file=sys.stderr)
        sys.exit(BAD_INPUT)
    except Stopped as stopped:
        print(stopped.said, file=sys.stderr)
        sys.exit(stopped.status)
