"""Commands only: parse, call, print, exit code."""

from __future__ import annotations

import atexit
import gc
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stressmap import __version__
from stressmap.command_frame import bars, guarded, refuse_wrong, value_of
from stressmap.core import interrupts
from stressmap.core.option_values import clock_of, day_of, language_of, volume_of
from stressmap.core.surroundings import printing, settle
from stressmap.core.text import one_line

if TYPE_CHECKING:
    from stressmap.jobs.check import Checked
    from stressmap.jobs.water import Watered
    from stressmap.output.staging.starter import Start

CommandError: Any = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException")
"""What the parser raises for a wrong command; typer exports only its descendants."""

app = typer.Typer(
    name="stressmap",
    help="From midday stem water potential readings to ranked valve zones and an offline map for the crew.",
    epilog="Example: stressmap run config/demo_ranch.toml",
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

RanchFile = Annotated[Path, typer.Argument(metavar="RANCH.toml", help="Settings of the ranch.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]


def _version(*, wanted: bool) -> None:
    if wanted:
        typer.echo(f"stressmap {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=lambda value: _version(wanted=value),
            is_eager=True,
            help="Show the version.",
        ),
    ] = False,
) -> None:
    """Hold what is common to all commands."""


@app.command(
    epilog="Example: stressmap run config/demo_ranch.toml --out results --visit 2026-07-14",
    help="Do the main job: files in, maps and lists out.",
)
def run(
    ranch: RanchFile,
    out: Annotated[Path | None, typer.Option(help="Folder for the results.", metavar="DIR")] = None,
    visit: Annotated[str | None, typer.Option(help="A day of the visit to map.", metavar="DATE")] = None,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Parallel workers; default: the cores there are.", metavar="N")
    ] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Run the main job and print the first valve zones."""
    day = value_of(visit, "--visit", day_of)

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.core.parallel import cores
        from stressmap.jobs.run import run as run_job

        with bars(hidden=quiet) as progress:
            result = run_job(ranch, out=out, on=day, jobs=jobs or cores(), progress=progress)
        if not quiet:
            with printing():
                from stressmap.output.outputs import first_files
                from stressmap.output.terminal.plain_console import PlainConsole
                from stressmap.output.terminal.run_summary import print_summary

                console = PlainConsole(soft_wrap=False)
                print_summary(result.content, result.folder, console, first_files(result.folder))

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap check config/demo_ranch.toml",
    help="Read and check the inputs, print what is wrong and what would be used, write nothing.",
)
def check(
    ranch: RanchFile,
    out: Annotated[
        Path | None,
        typer.Option(help="A CSV file (or folder) for the doubtful readings.", metavar="FILE"),
    ] = None,
    debug: Debug = False,
) -> None:
    """Check the inputs of a ranch."""

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.check import check as check_job
        from stressmap.jobs.check import list_to_mend
        from stressmap.output.text.words import Words

        with bars() as progress:
            checked = check_job(ranch, progress, out=out)
        with printing():
            _print_checked(checked)
        if out is not None:
            listed = list_to_mend(checked, out)
            with printing():
                words = Words(checked.inputs.settings.ranch.languages[0])
                typer.echo(words("check.to_mend", file=listed))
        if checked.stop is not None:
            raise checked.stop

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap start my_ranch --blocks blocks.geojson --valves valves.gpkg",
    help="Make a new ranch folder: settings filled in from the polygons, empty sheets for readings.",
)
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.")],
    blocks: Annotated[Path, typer.Option(help="Polygons of the blocks.", metavar="FILE")],
    valves: Annotated[Path | None, typer.Option(help="Polygons of the valve zones.", metavar="FILE")] = None,
    crop: Annotated[str | None, typer.Option(help="The crop of all blocks.", metavar="CROP")] = None,
    language: Annotated[
        str | None, typer.Option(help="First language of the ranch: en or es.", metavar="LANGUAGE")
    ] = None,
    debug: Debug = False,
) -> None:
    """Start a ranch."""
    first = value_of(language, "--language", language_of)

    def work() -> None:
        from stressmap.jobs.start import start as start_job

        made = start_job(folder, blocks, valves, crop=crop, language=first)
        with printing():
            _print_started(folder, made)

    guarded(work, debug=debug)


@app.command(
    epilog='Example: stressmap water config/demo_ranch.toml --available "80000 m3" --curve',
    help="Make the water plan alone, for trying amounts.",
)
def water(
    ranch: RanchFile,
    available: Annotated[
        str | None, typer.Option(help='Water there is, such as "80000 m3" or "65 acre-ft".', metavar="VOLUME")
    ] = None,
    days: Annotated[int | None, typer.Option(min=1, max=60, help="Days of the plan.", metavar="N")] = None,
    curve: Annotated[bool, typer.Option("--curve", help="Show relief against water.")] = False,
    out: Annotated[Path | None, typer.Option(help="Folder for the plan's files.", metavar="DIR")] = None,
    visit: Annotated[str | None, typer.Option(help="A day of the visit.", metavar="DATE")] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Plan water and print who gets what."""
    day, volume = value_of(visit, "--visit", day_of), value_of(available, "--available", volume_of)
    asked = {k: v for k, v in {"available": volume, "days": days}.items() if v is not None}

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.water import plan_water

        with bars(hidden=quiet) as progress:
            made = plan_water(ranch, asked=asked, on=day, with_curve=curve, out=out, progress=progress)
        if not quiet:
            with printing():
                _print_water(made, out)

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap season config/demo_ranch.toml --out season",
    help="Follow the season: what each irrigation did, how blocks dry, when the next water is due.",
)
def season(
    ranch: RanchFile,
    out: Annotated[Path | None, typer.Option(help="Folder for the results.", metavar="DIR")] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Follow the season and print what is due first."""

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.season import follow_season
        from stressmap.output.terminal.season_summary import print_season

        with bars(hidden=quiet) as progress:
            made = follow_season(ranch, out=out, progress=progress)
        if not quiet:
            with printing():
                print_season(made.season, made.ranch, made.folder, made.notes)

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap district config/demo_district.toml --out district",
    help="Map many ranches at once, those that changed, and give one overview of all.",
)
def district(
    listed: Annotated[Path, typer.Argument(metavar="DISTRICT.toml", help="Lists the ranches.")],
    scheduler: Annotated[
        str | None,
        typer.Option(
            help="A Dask scheduler, as tcp://10.0.0.5:8786; default: workers here.", metavar="ADDRESS"
        ),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the results.", metavar="DIR")] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Map the ranches of a district and print what is driest."""

    def work() -> None:
        from stressmap.core import district_settings

        district_settings.load(listed)
        from stressmap.jobs.district import run_district

        with bars(hidden=quiet) as progress:
            made = run_district(listed, scheduler=scheduler, out=out, progress=progress)
        if not quiet:
            with printing():
                from stressmap.output.terminal.district_summary import print_district
                from stressmap.output.terminal.plain_console import PlainConsole

                print_district(made.content, made.folder, PlainConsole(soft_wrap=True))
        if made.stop is not None:
            raise made.stop

    guarded(work, debug=debug, left=interrupts.REST_NOT_DONE)


@app.command(
    epilog="Example: stressmap form config/demo_ranch.toml --out form",
    help="Make the field form for phones: a folder that any https host serves.",
)
def form(
    ranch: RanchFile,
    out: Annotated[Path, typer.Option(help="Folder for the form.", metavar="DIR")],
    round_file: Annotated[
        Path | None, typer.Option("--round", help="The round's stops: round.csv.", metavar="FILE")
    ] = None,
    timetable: Annotated[
        Path | None,
        typer.Option(help="The planned sets, whose times are asked: timetable.csv.", metavar="FILE"),
    ] = None,
    debug: Debug = False,
) -> None:
    """Make the field form and say what it knows."""

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.form import form as form_job

        made = form_job(ranch, out, round_file=round_file, timetable=timetable)
        with printing():
            from stressmap.output.terminal.short_summaries import form_lines

            known = {"trees": made.trees, "stops": made.stops, "sets": made.sets}
            for line in form_lines(made.settings.ranch, out, made.notes, **known):
                typer.echo(line)

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap add config/demo_ranch.toml valve_times.xlsx phone1.csv --dry-run",
    help="Put what came back (readings, valve times) into the ranch's record, each row once.",
)
def add(
    ranch: RanchFile,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="Filled sheets, exports of phones, tables of readings."),
    ],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would be added.")] = False,
    debug: Debug = False,
) -> None:
    """Add files to the record."""

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.add import add as add_job

        with bars() as progress:
            added = add_job(ranch, files, dry=dry_run, progress=progress)
        with printing():
            from stressmap.output.terminal.add_summary import print_added
            from stressmap.output.terminal.plain_console import PlainConsole

            print_added(added.files, added.settings, PlainConsole(soft_wrap=True), dry=added.dry)

    guarded(work, debug=debug)


@app.command(
    epilog="Example: stressmap record config/demo_ranch.toml --out record",
    help="Say what the ranch's record holds; with --out all of it as CSV and GeoPackage.",
)
def record(
    ranch: RanchFile,
    out: Annotated[Path | None, typer.Option(help="Folder for the tables.", metavar="DIR")] = None,
    debug: Debug = False,
) -> None:
    """Show the record, or give all of it out."""

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.record import give_out
        from stressmap.output.terminal.record_summary import record_lines

        made = give_out(ranch, out)
        with printing():
            for line in record_lines(made.held, made.settings, out, made.names):
                typer.echo(line)

    guarded(work, debug=debug)


@app.command(
    "round",
    epilog="Example: stressmap round config/demo_ranch.toml --crews 2 --from 13:00 --to 15:00",
    help="Plan the next measuring round: which trees, in which order, bag and read times.",
)
def plan_round(
    ranch: RanchFile,
    on: Annotated[str | None, typer.Option(help="Day of the round.", metavar="DATE")] = None,
    crews: Annotated[int | None, typer.Option(min=1, max=20, help="Crews that go out.", metavar="N")] = None,
    opens: Annotated[
        str | None,
        typer.Option(
            "--from",
            help="When readings begin, as 13:00; begun late, no bag goes on before.",
            metavar="CLOCK",
        ),
    ] = None,
    closes: Annotated[str | None, typer.Option("--to", help="When they end.", metavar="CLOCK")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the files.", metavar="DIR")] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Plan a round and print who goes where when."""
    day = value_of(on, "--on", day_of)
    first, last = value_of(opens, "--from", clock_of), value_of(closes, "--to", clock_of)

    def work() -> None:
        refuse_wrong(ranch)
        from stressmap.jobs.round import RoundWish, plan_next_round

        with bars(hidden=quiet) as progress:
            made = plan_next_round(ranch, RoundWish(day, crews, first, last), out=out, progress=progress)
        if not quiet:
            with printing():
                from stressmap.output.terminal.plain_console import PlainConsole
                from stressmap.output.terminal.round_summary import print_round

                print_round(made, PlainConsole(soft_wrap=True))

    guarded(work, debug=debug)


def _print_started(folder: Path, made: Start) -> None:
    from stressmap.core.unfilled import ASKED
    from stressmap.output.terminal.short_summaries import start_lines
    from stressmap.output.text.words import Words

    known = len(made.blocks), bool((made.blocks["crop"] == ASKED).any())
    words = Words(made.place.language, made.place.units)
    for line in start_lines(folder, made.pages, words, known, made.notes, made.to_mend):
        typer.echo(line)


def _print_water(made: Watered, out: Path | None) -> None:
    from stressmap.output.terminal.plain_console import PlainConsole
    from stressmap.output.terminal.short_summaries import print_plan

    plan = (made.advice, made.curve)
    print_plan(made.ranch, plan, made.notes, PlainConsole(), trees=made.trees, out=out)


def _print_checked(checked: Checked) -> None:
    from stressmap.output.terminal.check_summary import print_check
    from stressmap.output.terminal.plain_console import PlainConsole
    from stressmap.quality.assessment_summary import summarise

    inputs = checked.inputs
    found = summarise(checked.readings, inputs.blocks, inputs.valves, inputs.settings, weather=inputs.weather)
    print_check(inputs, checked.visit, found, checked.notes, PlainConsole(soft_wrap=True))


def main() -> None:
    """Enter from the shell: any wrong command is one line and exit code 2."""
    settle()
    # What is left at the end goes with the process; searching all of it for cycles would take a check's last
    # quarter of a second.
    atexit.register(gc.freeze)
    # Tables and shapes are many objects that stay: looking through them as often as Python does by itself
    # takes a tenth of a large run.
    gc.set_threshold(50_000, 20, 20)
    try:
        code = app(prog_name="stressmap", standalone_mode=False)
    except typer.Exit as error:
        code = error.exit_code
    except CommandError as error:
        help_hint = "See stressmap --help"
        typer.echo(
            f"error: command line: {one_line(error.format_message()).rstrip('.')}. {help_hint}.", err=True
        )
        code = 2
    except typer.Abort:
        code = 130
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
