"""The command that runs the checks against the outside again: verify."""

from pathlib import Path

import click

import batsim
from batsim.cli.group import OUR_FAULT, main
from batsim.cli.options import progress, refuse, say, shared, show, width, written
from batsim.output import csv_text, replacing

TABLE = ".csv"


@main.command()
@click.option("--full", is_flag=True, help="Long runs of the room too: a quarter of an hour and more on one core.")
@click.option("--output", type=click.Path(dir_okay=False), help="Table to write: .csv, a row for each check.")
@shared("workers", "as_json")
@click.pass_context
def verify(ctx: click.Context, full: bool, output: str | None, workers: int | None, as_json: bool) -> None:
    """Run the checks of the program against standards, books, tables and queueing theory again.

    Each is a row with what is expected, what came out and its source. The exit status is 1 when one fails.
    """
    from batsim.views.text.verification_text import verification_text  # noqa: PLC0415 - heavy

    if output is not None and Path(output).suffix.lower() != TABLE:
        refuse(f"--output: a table must end in {TABLE}; or print --json (got {output})")
    found = batsim.verify(full=full, workers=workers or 1, progress=progress("cases"))
    if output is not None:
        with written("--output", "choose another file"), replacing(Path(output)) as beside:
            beside.write_text(csv_text(found.frame), encoding="utf-8", newline="")
    show(found.as_json() if as_json else verification_text(found, width()))
    if output is not None and not as_json:
        say(f"wrote {output}")
    if found.failing:
        ctx.exit(OUR_FAULT)
