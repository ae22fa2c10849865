"""What commands that decide have in common: their options, the decision, the scenario of the best plans."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli.options import line_progress, refuse, settings_of

OBJECTIVES = ("yearly", "bought")
"""What a decision may make least; as `decision.trials` has them, which is heavy to load."""
OPTIONS = {
    "ranges": click.option(
        "--range",
        "ranges",
        multiple=True,
        help="Choose only these counts, within a range: batteries=60:100, chargers=40:80, stations=1:3, "
        "attendants=1:4, "
        "or a device by its name; in a layout with areas those of one, such as 'stations of yard=1:3'; may be "
        "repeated. Without it all counts and levers are chosen.",
    ),
    "fix": click.option(
        "--fix",
        multiple=True,
        help="What may not change: counts, levers, or some of them (batteries, chargers, stations, devices, bays, "
        "attendants, exchange_when, exchange_by, charger_leads, charging); may be repeated.",
    ),
    "objective": click.option(
        "--objective",
        type=click.Choice(OBJECTIVES),
        default=OBJECTIVES[0],
        help="What is made least: yearly, all that differs in a year at equal work; bought, what is bought and "
        "attendants.",
    ),
    "indifference": click.option(
        "--indifference",
        multiple=True,
        help="How near below a target makes no difference: downtime=0.5 (min), waits=2%, 'none ready=1%', cut-out=1.",
    ),
    "confidence": click.option(
        "--confidence", help="That no plan is named that misses a target, such as 95%; default: the scenario's."
    ),
    "store": click.option(
        "--store", type=click.Path(dir_okay=False), help="File that keeps the runs of a decision; default: FILE.store."
    ),
    "draws": click.option(
        "--draws", type=click.IntRange(2, 10_000), help="Draws of inputs that are not known; default: 20."
    ),
}
"""By the name of the value."""


def deciding(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command what a decision takes."""
    for option in reversed(OPTIONS.values()):
        command = option(command)
    return command


def deciding_first(command: Callable[..., None]) -> Callable[..., None]:
    """Let a command decide first, and take the best plan of each layout."""
    best = click.option("--best", is_flag=True, help="Decide first, and take the best plan of each layout.")
    return best(deciding(command))


def decided(file: str, options: dict[str, Any]) -> "batsim.Decision":
    """Decide with what a store holds already; say where finished runs are when it is interrupted."""
    how = {
        "ranges": dict(_range(text) for text in options["ranges"]),
        "indifference": dict(_near(text) for text in options["indifference"]),
        **{key: options[key] for key in ("fix", "objective", "draws")},
    }
    kept = options["store"] or str(Path(file).with_suffix(".store"))
    try:
        return batsim.decide(batsim.read(file), _settings(options), store=kept, progress=line_progress(), **how)
    except KeyboardInterrupt:
        if Path(kept).exists():
            click.echo(f"what is finished is in {kept}; the same command goes on from there", err=True)
        raise


def to_plan(file: str, options: dict[str, Any]) -> "tuple[batsim.Scenario, batsim.Settings]":
    """What is planned, and with what settings: the scenario of a file, or with --best that of its best plans."""
    if options["best"]:
        best = decided(file, options | {"replications": None}).best_scenario
        return best, _settings(options | {"layouts": ()})
    if asked := [name for name in OPTIONS if options[name] not in (None, (), OBJECTIVES[0])]:
        option = {"ranges": "range"}.get(asked[0], asked[0])
        refuse(f"--{option} goes with --best: add that, or leave --{option} out")
    return batsim.read(file), _settings(options)


def _settings(options: dict[str, Any]) -> "batsim.Settings":
    """Settings of a run, with the confidence that is asked for."""
    confidence = None if options["confidence"] is None else _confidence(options["confidence"])
    return replace(settings_of(options), confidence=confidence)


def _range(text: str) -> tuple[str, tuple[int, int]]:
    """Read such as `batteries=60:100`."""
    read = re.fullmatch(r"([^=]*)=\s*(\d+)\s*:\s*(\d+)\s*", text)
    if read is None:
        refuse(f"--range needs a name and two whole numbers, such as batteries=60:100 (got {text})")
    return read[1].strip(), (int(read[2]), int(read[3]))


def _near(text: str) -> tuple[str, float]:
    """Read such as `downtime=0.5` or `waits=2%`."""
    name, equals, value = text.partition("=")
    number = value.strip().removesuffix("%").strip()
    try:
        amount = float(number)
    except ValueError:
        amount = -1.0
    if not equals or not 0.0 < amount < float("inf"):
        refuse(f"--indifference needs a target and a number above 0, such as downtime=0.5 or waits=2% (got {text})")
    unit = {"downtime": "minutes", "cut-out": "trucks"}.get(name.strip())
    percent = value.strip().endswith("%")
    if unit is not None and percent:
        refuse(f"--indifference of {name.strip()} is in {unit}, not in % (got {text})")
    return name.strip(), amount / 100.0 if percent else amount


def _confidence(text: str) -> float:
    """Read a probability such as `95%`, or `0.95`."""
    least, most = 0.5, 0.999
    try:
        share = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        share = -1.0
    if not least <= share <= most:
        refuse(f"--confidence needs a share from {100 * least:g}% to {100 * most:g}%, such as 95% (got {text})")
    return share
