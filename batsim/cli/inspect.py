"""Commands that look inside one run: trace, day."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from batsim.cli.group import main
from batsim.cli.options import as_usage_error, read_scenario, shared, terminal_width

if TYPE_CHECKING:
    from batsim.record import Record
    from batsim.scenario.site import Scenario


def _one_run_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add what trace and day have in common."""
    which = click.IntRange(0, 99_999)
    command = click.option("--replication", type=which, default=0, help="Which replication; default: 0.")(command)
    command = click.option("--layout", help="The layout; needed when there are several.")(command)
    return shared("file", "seed")(command)


@main.command()
@_one_run_options
@click.option("--from", "begin", required=True, help="Begin, such as 'week 1 Mon 13:50'; week 0 is the warm-up's last.")
@click.option("--to", "end", required=True, help="End, such as 'week 1 Mon 15:30'.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table as CSV instead of text.")
def trace(file: str, begin: str, end: str, as_csv: bool, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Tell what happened in the room from one moment to another, line by line."""
    from batsim.study.running.one_run import window_of  # noqa: PLC0415 - heavy
    from batsim.views.text.trace_text import trace_csv, trace_text  # noqa: PLC0415

    scenario = read_scenario(file)
    with as_usage_error():
        from_min, to_min = window_of(scenario, begin, end)
    record = _record(scenario, to_min, options)
    if as_csv:
        click.echo(trace_csv(record, from_min, to_min).rstrip())
    else:
        click.echo(trace_text(record, from_min, to_min, terminal_width()))


@main.command()
@_one_run_options
@click.option("--on", "on_day", required=True, help="The day, such as 'week 1 Tue'; week 0 is the warm-up's last.")
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Picture to write: .png or .svg.")
def day(file: str, on_day: str, output: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Draw the room over a day: trucks waiting, batteries by state, chargers, attendants."""
    from batsim.study.running.one_run import day_of  # noqa: PLC0415 - heavy
    from batsim.views.charts.room_chart import room_chart  # noqa: PLC0415

    suffix = Path(output).suffix.lower()
    if suffix not in PICTURES:
        message = f"--output: a picture must end in {' or '.join(PICTURES)} (got {output})"
        raise click.UsageError(message)
    scenario = read_scenario(file)
    with as_usage_error():
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


def _record(scenario: "Scenario", to_min: float, options: dict[str, Any]) -> "Record":
    """Simulate what trace and day look at."""
    from batsim.study.running.one_run import layout_of, record_until  # noqa: PLC0415 - heavy

    with as_usage_error():
        layout = layout_of(scenario, options["layout"])
    return record_until(scenario, layout, to_min, replication=options["replication"], seed=options["seed"])
