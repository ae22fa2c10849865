"""Commands on studies: decide, sweep, merge, export."""

import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli import options as common
from batsim.cli.group import main
from batsim.cli.options import decided, progress, refuse, say, settings_of, shared, show, width
from batsim.output import replacing

OBJECTIVES = ("yearly", "bought")
"""What a decision may make least; as `decision.trials` has them, which is heavy to load."""


@main.command()
@click.argument("study", type=click.Path(dir_okay=False))
@click.option("--store", type=click.Path(dir_okay=False), help="File that keeps finished cases; default: STUDY.store.")
@shared("replications", "weeks", "warm_up", "seed", "workers", "as_json")
@click.option("--scheduler", help="Address of a Dask scheduler, such as tcp://10.0.0.1:8786, to run there instead.")
@click.option("--shard", help="Only a part of the cases, such as 3/20; put the stores together with merge.")
def sweep(study: str, store: str | None, as_json: bool, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Run a study: a scenario at many points; what its store holds already is not run again."""
    from batsim.views.text.sweep_text import sweep_text  # noqa: PLC0415 - heavy

    part = "" if options["shard"] is None else f".{options['shard'].replace('/', '-of-')}"
    kept = store or str(Path(study).with_suffix(f"{part}.store"))
    settings = replace(settings_of(options), progress=progress("cases"))
    command = " ".join(["batsim", *sys.argv[1:]])
    try:
        result = batsim.sweep(
            study, settings, store=kept, scheduler=options["scheduler"], shard=options["shard"], command=command
        )
    except KeyboardInterrupt:
        if Path(kept).exists():
            click.echo(f"what is finished is in {kept}; the same command goes on from there", err=True)
        raise
    show(result.as_json() if as_json else sweep_text(result, kept, width()))


@main.command()
@shared("file", "layouts", "weeks", "warm_up", "seed", "workers", "as_json")
@click.option(
    "--range",
    "ranges",
    multiple=True,
    help="Choose only these counts, within a range: batteries=60:100, chargers=40:80, stations=1:3, attendants=1:4, "
    "or a device by its name; in a layout with areas those of one, such as 'stations of yard=1:3'; may be repeated. "
    "Without it all counts and levers are chosen.",
)
@click.option(
    "--fix",
    multiple=True,
    help="What may not change: counts, levers, or some of them (batteries, chargers, stations, devices, bays, "
    "attendants, exchange_when, exchange_by, charger_leads, charging); may be repeated.",
)
@click.option(
    "--objective",
    type=click.Choice(OBJECTIVES),
    default=OBJECTIVES[0],
    help="What is made least: yearly, all that differs in a year at equal work; bought, what is bought and attendants.",
)
@click.option(
    "--indifference",
    multiple=True,
    help="How near below a target makes no difference: downtime=0.5 (min), waits=2%, 'none ready=1%', cut-out=1.",
)
@click.option("--confidence", help="That no plan is named that misses a target, such as 95%; default: the scenario's.")
@click.option("--write", "written_to", type=click.Path(dir_okay=False), help="Scenario of the best plans to write.")
@shared("store", "draws")
def decide(file: str, as_json: bool, written_to: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find the best plan of each layout: how many of everything, when trucks come, who exchanges.

    All runs are kept in a store, so that the same command, or plan --best and report --best, go on from there.
    """
    from batsim.views.text.decision_text import decision_text  # noqa: PLC0415 - heavy

    if written_to is not None and not Path(written_to).absolute().parent.is_dir():
        refuse(f"--write: there is no folder for {written_to}; make it, or choose another file")
    confidence = None if options["confidence"] is None else _confidence(options["confidence"])
    decision = decided(
        file,
        replace(settings_of(options), confidence=confidence),
        store=options["store"],
        draws=options["draws"],
        ranges=dict(_range(text) for text in options["ranges"]),
        indifference=dict(_near(text) for text in options["indifference"]),
        fix=options["fix"],
        objective=options["objective"],
    )
    if written_to is not None:
        with common.written("--write", "choose another file"), replacing(Path(written_to)) as beside:
            beside.write_text(decision.written(written_to), encoding="utf-8")
    show(decision.as_json() if as_json else decision_text(decision, width()))
    if written_to is not None and not as_json:
        say(f"wrote {written_to}: batsim compare, plan and report take it as it is")


@main.command()
@click.argument("into", type=click.Path(dir_okay=False))
@click.argument("stores", type=click.Path(dir_okay=False), nargs=-1, required=True)
def merge(into: str, stores: tuple[str, ...]) -> None:
    """Put stores together, such as those of the shards of a study, INTO one that is made if it is not there."""
    from batsim.views.text.numbers import counted  # noqa: PLC0415 - with the rest

    for store, new in batsim.merge_stores(into, stores).items():
        itself = Path(store).samefile(into)
        say(f"{store}: {'the store itself, nothing to take over' if itself else counted(new, 'new case')}")


@main.command()
@click.argument("store", type=click.Path(dir_okay=False))
@click.argument("output", type=click.Path(dir_okay=False))
def export(store: str, output: str) -> None:
    """Write the cases of a STORE to OUTPUT, .csv or .parquet, with a data dictionary beside it."""
    for written, what in batsim.export_store(store, output):
        say(f"wrote {written}: {what}")


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
