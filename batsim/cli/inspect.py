"""Commands that look inside one run: trace, day, replay."""

from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli.group import main
from batsim.cli.options import as_usage_error, refuse, settings_of, shared, terminal_width, written
from batsim.output import replacing

AREA = click.option("--area", default="", help="Only this area of the layout; default: all of them.")
BEGIN = click.option(
    "--from", "begin", required=True, help="Begin, such as 'week 1 Mon 13:50'; week 0 is the warm-up's last."
)
END = click.option("--to", "end", required=True, help="End, such as 'week 1 Mon 15:30'.")
PAGE = ".html"


@main.command()
@shared("file", "weeks", "warm_up", "seed", "layout", "replication")
@click.option("--from", "begin", help="Begin, such as 'week 1 Mon 13:50'; week 0 is the warm-up's last.")
@click.option("--to", "end", help="End, such as 'week 1 Mon 15:30'.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a table as CSV instead of text.")
@click.option(
    "--log",
    type=click.Path(dir_okay=False),
    help="Write the whole run to this CSV file instead: case, activity, resource, start, end and more, one row each.",
)
@AREA
def trace(
    file: str,
    begin: str | None,
    end: str | None,
    as_csv: bool,
    log: str | None,
    area: str,
    **options: Any,  # noqa: ANN401 - click's options
) -> None:
    """Tell what happened in the room from one moment to another, line by line; or write the whole run as a log."""
    from batsim.study.running.one_run import as_long_as, window_of  # noqa: PLC0415 - heavy
    from batsim.views.text.trace_text import trace_csv, trace_text  # noqa: PLC0415

    if log is not None and (begin or end or as_csv):
        refuse("--log: writes the whole run; leave out --from, --to and --csv, or --log")
    scenario = as_long_as(batsim.read(file), settings_of(options))
    if log is not None:
        _write_log(scenario, log, area, options)
        return
    if begin is None or end is None:
        refuse("--from, --to: say which window to tell of, such as --from 'Mon 13:50' --to 'Mon 15:30'; or use --log")
    with as_usage_error():
        from_min, to_min = window_of(scenario, begin, end)
    record = _record(scenario, to_min, options)
    with as_usage_error("--area"):
        if as_csv:
            click.echo(trace_csv(record, from_min, to_min, area).rstrip())
        else:
            click.echo(trace_text(record, from_min, to_min, terminal_width(), area))


@main.command()
@shared("file", "seed", "layout", "replication")
@click.option("--on", "on_day", required=True, help="The day, such as 'week 1 Tue'; week 0 is the warm-up's last.")
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Picture to write: .png or .svg.")
@AREA
def day(file: str, on_day: str, output: str, area: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Draw the room over a day: trucks waiting, batteries by state, chargers, attendants."""
    from batsim.study.running.one_run import day_of  # noqa: PLC0415 - heavy

    suffix = Path(output).suffix.lower()
    if suffix not in PICTURES:
        refuse(f"--output: a picture must end in {' or '.join(PICTURES)} (got {output})")
    scenario = batsim.read(file)
    with as_usage_error():
        from_min, to_min = day_of(scenario, on_day)
    record = _record(scenario, to_min, options)
    with as_usage_error("--area"):
        figure = batsim.room_chart(batsim.of_area(record, area) if area else record, from_min, to_min)
    with written("--output", "choose another file"), replacing(Path(output)) as beside:
        figure.savefig(beside, **PICTURES[suffix])
    click.echo(f"wrote {output}")


@main.command()
@shared("file", "weeks", "warm_up", "seed", "layout", "replication")
@BEGIN
@END
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Page to write: .html.")
@AREA
def replay(file: str, begin: str, end: str, output: str, area: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Replay the room from one moment to another in a page: trucks, queue, stations, bays, chargers, people."""
    from batsim.study.running.one_run import as_long_as, window_of  # noqa: PLC0415 - heavy

    if Path(output).suffix.lower() != PAGE:
        refuse(f"--output: a replay must end in {PAGE} (got {output})")
    scenario = as_long_as(batsim.read(file), settings_of(options))
    with as_usage_error():
        from_min, to_min = window_of(scenario, begin, end)
    record = _record(scenario, to_min, options)
    with as_usage_error("--area"):
        part = batsim.of_area(record, area) if area else record
    page = batsim.replay_html(batsim.replay(part, from_min, to_min), scenario.site.name)
    with written("--output", "choose another file"), replacing(Path(output)) as beside:
        beside.write_text(page, encoding="utf-8")
    click.echo(f"wrote {output}")


PICTURES: dict[str, dict[str, Any]] = {".png": {"dpi": 150}, ".svg": {"metadata": {"Date": None}}}
"""Kinds of picture, and how each is written; an SVG without the date, so that it is the same every time."""


def _write_log(scenario: "batsim.Scenario", log: str, area: str, options: dict[str, Any]) -> None:
    """Write a run as a log of events."""
    from batsim.study.event_log import FIRST_MONDAY, event_log_csv  # noqa: PLC0415 - heavy

    record = _record(scenario, scenario.simulation.warm_up_min + scenario.simulation.length_min, options)
    frame = batsim.event_log(record)
    if area:
        with as_usage_error("--area"):
            frame = frame[frame["area"] == record.facts.area_named(area).name]
    with written("--log", "choose another file"), replacing(Path(log)) as beside:
        beside.write_text(event_log_csv(frame), encoding="utf-8")
    click.echo(f"wrote {log}: {len(frame)} events; Monday {FIRST_MONDAY} stands for that of week 1")


def _record(scenario: "batsim.Scenario", to_min: float, options: dict[str, Any]) -> "batsim.Record":
    """Simulate what trace and day look at."""
    from batsim.study.running.one_run import layout_of, record_until  # noqa: PLC0415 - heavy

    with as_usage_error():
        layout = layout_of(scenario, options["layout"])
    return record_until(scenario, layout, to_min, replication=options["replication"], seed=options["seed"])
