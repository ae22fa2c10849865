"""The commands of batsim. Only wires; heavy parts are loaded when a command needs them."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batsim import __version__
from batsim.errors import BatsimError, ScenarioError

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario
    from batsim.study.executors import Progress

BAD_INPUT, OUR_FAULT, STOPPED = 2, 1, 130
"""Exit status: the scenario or the command line is wrong, batsim is wrong, the user stopped it."""


class _Commands(click.Group):
    """A group that turns what goes wrong into a message and an exit status."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click declares it
        """Run a command; a traceback is shown only with --debug."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except ScenarioError as error:
            click.echo(str(error), err=True)
            ctx.exit(BAD_INPUT)
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            ctx.exit(STOPPED)
        except BrokenPipeError:
            # The reader of our output has gone, as `head` does: that is no error.
            sys.stderr.close()
            ctx.exit(0)
        except OSError as error:
            if ctx.params.get("debug"):
                raise
            click.echo(f"batsim: {error.strerror or error}: {error.filename or ''}".rstrip(": "), err=True)
            ctx.exit(OUR_FAULT)
        except Exception as error:
            if ctx.params.get("debug"):
                raise
            kind = "" if isinstance(error, BatsimError) else f"{type(error).__name__}: "
            click.echo(f"batsim: internal error: {kind}{error}", err=True)
            click.echo("This is batsim's fault, not yours; run again with 'batsim --debug ...' for a trace.", err=True)
            ctx.exit(OUR_FAULT)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="batsim")
@click.option("--debug", is_flag=True, help="Show a traceback when something goes wrong in batsim itself.")
def main(debug: bool) -> None:
    """Simulate battery rooms of electric lift-truck fleets.

    A scenario file (YAML) states a site and the layouts to compare. Start with `batsim new`.
    """


def _simulation_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add what run and compare have in common."""
    options = (
        click.argument("file", type=click.Path(dir_okay=False)),
        click.option("--layout", "layouts", multiple=True, help="Only this layout; may be repeated."),
        click.option("-r", "--replications", type=click.IntRange(1, 100_000), help="Independent runs of each layout."),
        click.option("--weeks", type=click.FloatRange(0.01, 1040), help="Measured weeks of one run."),
        click.option("--warm-up", type=click.FloatRange(0, 1040), help="Weeks before them that are dropped."),
        click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Seed of all random streams."),
        click.option("--workers", type=click.IntRange(1), help="Processes; default: one for each core, if it pays."),
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of tables."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@main.command()
@_simulation_options
def compare(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Compare the layouts of a scenario: downtime, labour, counts, with intervals and a verdict."""
    from batsim.study.compare import compare as compare_layouts  # noqa: PLC0415 - heavy
    from batsim.views.tables import comparison_text  # noqa: PLC0415

    scenario = _read(file)
    comparison = compare_layouts(scenario, **_settings(options))
    _print(comparison.as_json() if options["as_json"] else comparison_text(comparison, _width()))


@main.command()
@_simulation_options
def run(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Simulate layouts and print every measure of each."""
    from batsim.study.replications import run as run_layouts  # noqa: PLC0415 - heavy
    from batsim.views.tables import CAUTION, heading, layout_text  # noqa: PLC0415

    scenario = _read(file)
    runs = run_layouts(scenario, **_settings(options))
    if options["as_json"]:
        _print(runs.as_json())
    else:
        blocks = [heading(runs), *(layout_text(runs, layout) for layout in runs.layouts), CAUTION]
        _print("\n\n".join(blocks))


@main.command("one-more")
@_simulation_options
def one_more(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find what binds: how much downtime one more of each thing would save, and when in the week."""
    from batsim.study.one_more import one_more_each  # noqa: PLC0415 - heavy
    from batsim.study.replications import settings  # noqa: PLC0415
    from batsim.views.one_more_text import one_more_answer  # noqa: PLC0415

    given = _settings(options)
    workers, progress = given.pop("workers"), given.pop("progress")
    stated = settings(_read(file), **given)
    found = one_more_each(stated, workers=workers, progress=progress)
    if options["as_json"]:
        _print(stated.as_json() | {"layouts": {name: one.layout_json() for name, one in found.items()}})
    else:
        _print(one_more_answer(stated, list(found.values()), _width()))


@main.command("day-without")
@click.option("--device", help="Only this device, by its name in the layout; default: each in turn.")
@_simulation_options
def day_without(file: str, device: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find what a day without a device costs, with what stands by and without it; always simulates that one week."""
    from batsim.study.day_without import days_without  # noqa: PLC0415 - heavy
    from batsim.study.replications import settings  # noqa: PLC0415
    from batsim.views.day_without_text import day_without_answer  # noqa: PLC0415

    given = _settings(options)
    workers, progress = given.pop("workers"), given.pop("progress")
    if given.pop("weeks") is not None:
        msg = "the day and its week are fixed; leave --weeks out"
        raise click.UsageError(msg)
    stated = settings(_read(file), **given)
    found = days_without(stated, device, workers=workers, progress=progress)
    if options["as_json"]:
        days = [{"layout": one.layout, **one.as_json()} for one in found]
        _print({**stated.as_json(), "weeks": 1.0, "days": days})
    else:
        _print(day_without_answer(stated, found, _width()))


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
def check(file: str) -> None:
    """Read a scenario and say everything that is wrong with it, or what it states."""
    from batsim.study.outline import outline  # noqa: PLC0415 - heavy
    from batsim.views.summary import summary_text  # noqa: PLC0415

    click.echo(summary_text(outline(_read(file))))


def _one_run_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add what trace and day have in common."""
    options = (
        click.argument("file", type=click.Path(dir_okay=False)),
        click.option("--layout", help="The layout; needed when there are several."),
        click.option("--replication", type=click.IntRange(0, 99_999), default=0, help="Which replication; default: 0."),
        click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Seed of all random streams."),
    )
    for option in reversed(options):
        command = option(command)
    return command


@main.command()
@_one_run_options
@click.option("--from", "begin", required=True, help="Begin, such as 'week 1 Mon 13:50'; week 0 is the warm-up's last.")
@click.option("--to", "end", required=True, help="End, such as 'week 1 Mon 15:30'.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table as CSV instead of text.")
def trace(file: str, begin: str, end: str, as_csv: bool, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Tell what happened in the room from one moment to another, line by line."""
    from batsim.study.one_run import window_of  # noqa: PLC0415 - heavy
    from batsim.views.trace_text import trace_csv, trace_text  # noqa: PLC0415

    scenario = _read(file)
    with _as_usage_error():
        from_min, to_min = window_of(scenario, begin, end)
    record = _record(scenario, to_min, options)
    click.echo(trace_csv(record, from_min, to_min).rstrip() if as_csv else trace_text(record, from_min, to_min))


@main.command()
@_one_run_options
@click.option("--on", "on_day", required=True, help="The day, such as 'week 1 Tue'; week 0 is the warm-up's last.")
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Picture to write: .png or .svg.")
def day(file: str, on_day: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Draw the room over a day: trucks in line, batteries by state, chargers, crew."""
    from batsim.study.one_run import day_of  # noqa: PLC0415 - heavy
    from batsim.views.room_chart import room_chart  # noqa: PLC0415

    suffix = Path(output).suffix.lower()
    if suffix not in PICTURES:
        message = f"--output: a picture must end in {' or '.join(PICTURES)} (got {output})"
        raise click.UsageError(message)
    scenario = _read(file)
    with _as_usage_error():
        from_min, to_min = day_of(scenario, on_day)
    figure = room_chart(_record(scenario, to_min, options), from_min, to_min)
    try:
        figure.savefig(output, **PICTURES[suffix])
    except OSError as error:
        message = f"--output: cannot write {output}: {error.strerror or error}"
        raise click.UsageError(message) from error
    click.echo(f"wrote {output}")


PICTURES: dict[str, dict[str, Any]] = {".png": {"dpi": 150}, ".svg": {"metadata": {"Date": None}}}
"""Kinds of picture, and how each is written; an SVG without the date, so that it is the same every time."""


@contextmanager
def _as_usage_error() -> Iterator[None]:
    """Show what is wrong with a value as the message of the command."""
    try:
        yield
    except ScenarioError:
        raise
    except ValueError as error:
        raise click.UsageError(str(error)) from error


def _record(scenario: "Scenario", to_min: float, options: dict[str, Any]) -> "Record":
    """Simulate what trace and day look at."""
    from batsim.study.one_run import layout_of, run_until  # noqa: PLC0415 - heavy

    with _as_usage_error():
        layout = layout_of(scenario, options["layout"])
    return run_until(scenario, layout, to_min, replication=options["replication"], seed=options["seed"])


@main.command()
def schema() -> None:
    """Print the JSON Schema of scenario files, for an editor's YAML support."""
    from batsim.scenario.json_schema import scenario_schema  # noqa: PLC0415 - heavy

    _print(scenario_schema())


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--site", prompt="Name of the site", help="Name of the site.")
@click.option("--trucks", type=click.IntRange(1, 2000), prompt="Trucks in use", help="Trucks in use.")
@click.option("--shifts", type=click.IntRange(1, 3), prompt="Shifts a day (1, 2 or 3)", help="Shifts a day.")
@click.option(
    "--voltage",
    type=click.Choice(["24", "36", "48", "80"]),
    prompt="Battery voltage",
    default="48",
    help="Voltage of the trucks.",
)
@click.option(
    "--distance",
    type=click.FloatRange(0, 100_000),
    prompt="Metres from work to the room, one way",
    default=100.0,
    help="Way from work to the battery room. [m]",
)
@click.option("--power", type=click.FloatRange(0.05, 50), help="Mean power of a truck at work, if known. [kW]")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def new(file: str, force: bool, **answers: Any) -> None:  # noqa: ANN401 - click's options
    """Write a commented starter scenario from a few survey answers; asks for what is not given."""
    from batsim.scenario.reading import read_scenario_text  # noqa: PLC0415 - heavy
    from batsim.scenario.starter import Answers, starter_text  # noqa: PLC0415

    path = Path(file)
    if path.exists() and not force:
        message = f"{file} is there already; choose another name or add --force"
        raise click.UsageError(message)
    text = starter_text(
        Answers(
            answers["site"],
            answers["trucks"],
            answers["shifts"],
            int(answers["voltage"]),
            answers["distance"],
            answers["power"],
        )
    )
    read_scenario_text(text, file)
    path.write_text(text, encoding="utf-8")
    click.echo(f"wrote {file}; next: batsim check {file}, then batsim compare {file}")


def _read(file: str) -> "Scenario":
    """Read the scenario that a command names."""
    from batsim.scenario.reading import read  # noqa: PLC0415 - heavy

    return read(file)


def _settings(options: dict[str, Any]) -> dict[str, Any]:
    """Turn command-line options into arguments."""
    return {
        "layouts": tuple(dict.fromkeys(options["layouts"])) or None,
        "replications": options["replications"],
        "weeks": options["weeks"],
        "warm_up_weeks": options["warm_up"],
        "seed": options["seed"],
        "workers": options["workers"],
        "progress": _progress(),
    }


def _progress() -> "Progress | None":
    """Show progress on a terminal, nothing on a pipe."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, of: int) -> None:
        end = "\r" if done < of else "\r\033[K"
        print(f"\r{done} of {of} replications" if done < of else "", end=end, file=sys.stderr, flush=True)

    return show


def _width() -> int:
    """Characters in a line of the terminal, at most 100; 100 on a pipe."""
    import shutil  # noqa: PLC0415 - one use

    return min(100, shutil.get_terminal_size((100, 40)).columns) if sys.stdout.isatty() else 100


def _print(what: "str | dict[str, Any]") -> None:
    """Print text, or plain data as JSON."""
    if isinstance(what, str):
        click.echo(what)
        return
    import json  # noqa: PLC0415 - one use

    click.echo(json.dumps(what, indent=2, ensure_ascii=False, allow_nan=False))
