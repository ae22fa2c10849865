"""The command that plans: checks, equipment, ventilation, supply, money, cautions."""

from pathlib import Path
from typing import Any

import click

from batsim.cli.group import main
from batsim.cli.options import read_scenario, run_settings, show, simulation_options, width

TABLES = ("checks", "equipment", "money")


@main.command()
@simulation_options
@click.option(
    "--tables", type=click.Path(file_okay=False), help="Folder to write checks, equipment and money to as CSV."
)
def plan(file: str, as_json: bool, tables: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Plan layouts: what fits, what to order, ventilation, supply, money, cautions, open questions."""
    from batsim.plan.plan import plan_layouts  # noqa: PLC0415 - heavy
    from batsim.views.plan_text import plan_text  # noqa: PLC0415

    scenario = read_scenario(file)
    found = plan_layouts(scenario, **run_settings(options))
    if tables is not None:
        folder = Path(tables)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name in TABLES:
                getattr(found, f"{name}_frame").to_csv(folder / f"{name}.csv", index=False)
        except OSError as error:
            message = f"--tables: cannot be written ({error.strerror or error}); choose another folder"
            raise click.UsageError(message) from error
    show(found.as_json() if as_json else plan_text(found, width()))
