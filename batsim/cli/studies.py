"""Commands on studies: decide, sweep, merge, export."""

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli import options as common
from batsim.cli.deciding import decided, deciding
from batsim.cli.group import main
from batsim.cli.options import progress, refuse, say, settings_of, shared, show, width
from batsim.output import replacing


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
@deciding
@click.option("--write", "written_to", type=click.Path(dir_okay=False), help="Scenario of the best plans to write.")
def decide(file: str, as_json: bool, written_to: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find the best plan of each layout: how many of everything, when trucks come, who exchanges.

    All runs are kept in a store, so that the same command, or plan --best and report --best, go on from there.
    """
    from batsim.views.text.decision_text import decision_text  # noqa: PLC0415 - heavy

    if written_to is not None and not Path(written_to).absolute().parent.is_dir():
        refuse(f"--write: there is no folder for {written_to}; make it, or choose another file")
    decision = decided(file, options)
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
    from batsim.display import counted  # noqa: PLC0415 - with the rest

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
