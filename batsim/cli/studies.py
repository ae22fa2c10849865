"""Commands on studies: sweep, merge, export."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from batsim.cli.group import main
from batsim.cli.options import progress, show, width


@main.command()
@click.argument("study", type=click.Path(dir_okay=False))
@click.option("--store", type=click.Path(dir_okay=False), help="File that keeps finished cases; default: STUDY.store.")
@click.option("-r", "--replications", type=click.IntRange(1, 100_000), help="Independent runs at each point.")
@click.option("--weeks", type=click.FloatRange(0.01, 1040), help="Measured weeks of one run.")
@click.option("--warm-up", type=click.FloatRange(0, 1040), help="Weeks before them that are dropped.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Seed of all random streams and of the design.")
@click.option("--workers", type=click.IntRange(1), help="Processes; default: one for each core, if it pays.")
@click.option("--scheduler", help="Address of a Dask scheduler, such as tcp://10.0.0.1:8786, to run there instead.")
@click.option("--shard", help="Only a part of the cases, such as 3/20; put the stores together with merge.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of tables.")
def sweep(study: str, store: str | None, as_json: bool, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Run a study: a scenario at many points; what its store holds already is not run again."""
    from batsim.study.sweep import sweep as run_sweep  # noqa: PLC0415 - heavy
    from batsim.views.sweep_text import sweep_text  # noqa: PLC0415

    kept = store or _store_of(study, options["shard"])
    options["warm_up_weeks"] = options.pop("warm_up")
    command = " ".join(["batsim", *sys.argv[1:]])
    with _kept(kept):
        found = run_sweep(study, store=kept, command=command, progress=progress("cases"), **options)
    show(found.as_json() if as_json else sweep_text(found, kept, width()))


@main.command()
@click.argument("into", type=click.Path(dir_okay=False))
@click.argument("stores", type=click.Path(dir_okay=False), nargs=-1, required=True)
def merge(into: str, stores: tuple[str, ...]) -> None:
    """Put stores together, such as those of the shards of a study, INTO one that is made if it is not there."""
    from batsim.study.store import Store  # noqa: PLC0415 - with the rest

    with Store.open(into) as store:
        for each in stores:
            new = store.take_over(Path(each))
            click.echo(f"{each}: {new} new cases")


@main.command()
@click.argument("store", type=click.Path(dir_okay=False))
@click.argument("output", type=click.Path(dir_okay=False))
def export(store: str, output: str) -> None:
    """Write the cases of a STORE to OUTPUT, .csv or .parquet, with a data dictionary beside it."""
    from batsim.study.export import export_store  # noqa: PLC0415 - heavy

    for written, what in export_store(store, output):
        click.echo(f"wrote {written}: {what}")


def _store_of(study: str, shard: str | None) -> str:
    """Name of the store beside a study file; each shard has its own."""
    part = "" if shard is None else f".{shard.replace('/', '-of-')}"
    return str(Path(study).with_suffix(f"{part}.store"))


@contextmanager
def _kept(store: str) -> Iterator[None]:
    """Say where finished cases are when the user stops a sweep."""
    try:
        yield
    except KeyboardInterrupt:
        click.echo(f"what is finished is in {store}; the same command goes on from there", err=True)
        raise
