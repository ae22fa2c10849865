"""The command that fits a site's inputs to its records and sets its model beside them."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

import batsim
from batsim import units
from batsim.cli.group import main
from batsim.cli.options import as_usage_error, refuse, say, settings_of, shared, show, width, written
from batsim.cli.pages import write_page
from batsim.output import replacing

KINDS = ("exchanges", "charges", "trucks", "steps")
PAGE, SCENARIO = ".html", (".yaml", ".yml")
LOGS = {
    "exchanges": "Exchanges: which truck, when it came, began, was free and ended, state of charge.",
    "charges": "Charges: which battery, when it began and ended, ampere-hours or kWh.",
    "trucks": "Trucks at work: which truck, which shift, hours worked, energy or ampere-hours.",
    "steps": "Timed steps: which step of an exchange, of a way or of what is done to a battery, and how long.",
}


def _logs(command: Any) -> Any:  # noqa: ANN401 - as click decorates
    """Give a command an option for each kind of log."""
    for kind in reversed(KINDS):
        log = click.Path(dir_okay=False)
        command = click.option(f"--{kind}", type=log, help=f"Table with a header. {LOGS[kind]}")(command)
    return command


@main.command()
@shared("file")
@_logs
@click.option(
    "--map",
    "maps",
    multiple=True,
    metavar="COLUMN=HEADER",
    help="Header of a column that is not found by its name, such as start=Begin or charges.start=On. May be repeated.",
)
@click.option(
    "--unit",
    "stated",
    multiple=True,
    metavar="COLUMN=UNIT",
    help="Unit of a column whose header has none, such as duration=s. May be repeated.",
)
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal sign, where numbers leave it open.")
@click.option("--times", metavar="FORM", help="Form of the times, such as '%d.%m.%Y %H:%M'; ISO 8601 if not stated.")
@click.option("--zone", help="Time zone, such as Europe/Madrid; without it the clock never changes.")
@click.option("--strict", is_flag=True, help="Refuse logs of which a row would be left out.")
@click.option("--hold-out", default="25 %", show_default=True, help="Share of the whole weeks kept for judging.")
@click.option("--layout", help="The layout that was there; default: 'present', or the only one.")
@click.option("--write", "place", type=click.Path(dir_okay=False), help="Scenario to write: .yaml.")
@click.option("--output", type=click.Path(dir_okay=False), help="Page to write: .html.")
@shared("replications", "seed", "workers", "as_json")
def calibrate(
    file: str,
    maps: tuple[str, ...],
    stated: tuple[str, ...],
    hold_out: str,
    place: str | None,
    output: str | None,
    as_json: bool,
    **options: Any,  # noqa: ANN401 - click's options
) -> None:
    """Fit a site's inputs to its own records, and compare its model with weeks that were not used.

    Logs are tables with a header (comma, semicolon or tab), one row for each event; `batsim guide calibrating` has
    their columns. What makes no sense is listed by line and left out. Names of people are not read.
    """
    from batsim.views.text.calibration_text import calibration_text  # noqa: PLC0415 - heavy

    logs = {kind: options[kind] for kind in KINDS}
    if not any(logs.values()):
        refuse(f"--{', --'.join(KINDS)}: name a log, one or more")
    _check_endings(place, output)
    with as_usage_error("--hold-out:"):
        share = units.parse(hold_out, "share")
    found = batsim.calibrate(
        batsim.read(file),
        **logs,
        layout=options["layout"],
        hold_out=share,
        settings=settings_of({key: options[key] for key in ("replications", "seed", "workers")}),
        mapping=_by_kind("--map", maps),
        units=_by_kind("--unit", stated),
        **{key: options[key] for key in ("decimal", "times", "zone", "strict")},
    )
    show(found.as_json() if as_json else calibration_text(found, width()))
    if place is not None:
        with written("--write", "choose another file"), replacing(Path(place)) as beside:
            beside.write_text(found.text(place), encoding="utf-8")
    if output is not None:
        write_page(output, batsim.calibration_html(found))
    if not as_json and (named := [name for name in (place, output) if name is not None]):
        next_one = f"; next: batsim check {place}, then batsim compare {place}" if place else ""
        say(f"wrote {' and '.join(named)}{next_one}")


def _check_endings(place: str | None, output: str | None) -> None:
    """Refuse files of another kind before anything is read."""
    if place is not None and Path(place).suffix.lower() not in SCENARIO:
        refuse(f"--write: a scenario must end in .yaml (got {place})")
    if output is not None and Path(output).suffix.lower() != PAGE:
        refuse(f"--output: a page must end in {PAGE} (got {output})")


def _by_kind(option: str, texts: Sequence[str]) -> dict[str, dict[str, str]]:
    """What is stated of columns, by kind of log; under no name what holds for each that has such a column."""
    found: dict[str, dict[str, str]] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        kind, dot, column = name.strip().rpartition(".")
        if not sign or not column or not value.strip() or (dot and kind not in KINDS):
            refuse(f"{option}: needs COLUMN=VALUE, such as start=Begin or charges.start=On (got {text})")
        found.setdefault(kind, {})[column] = value.strip()
    return found
