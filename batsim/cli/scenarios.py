"""Commands on scenario files: check, new, schema."""

from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli.group import main
from batsim.cli.options import refuse, say, show, width, written
from batsim.output import replacing


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
def check(file: str) -> None:
    """Read a scenario or study and say everything that is wrong with it, or what it states."""
    from batsim.scenario.study_file import is_study, read_study  # noqa: PLC0415 - heavy
    from batsim.study.first_estimate import outline  # noqa: PLC0415
    from batsim.views.text.summary import study_summary, summary_text  # noqa: PLC0415

    if is_study(file):
        from batsim.study.sweeps.agenda import agenda_of  # noqa: PLC0415 - only studies need it
        from batsim.study.sweeps.sweep import NAMES  # noqa: PLC0415

        click.echo(study_summary(agenda_of(read_study(file, NAMES)), width()))
        return
    click.echo(summary_text(outline(batsim.read(file)), width()))


@main.command()
@click.option("--study", is_flag=True, help="That of study files, as sweep reads them.")
def schema(study: bool) -> None:
    """Print the JSON Schema of scenario files, for an editor's YAML support."""
    from batsim.scenario.json_schema import scenario_schema, study_schema  # noqa: PLC0415 - heavy

    show(study_schema() if study else scenario_schema())


@main.command()
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--site", prompt="Name of the site", help="Name of the site.")
@click.option("--trucks", type=click.IntRange(1, 2000), prompt="Trucks in use", help="Trucks in use.")
@click.option("--shifts", type=click.IntRange(1, 3), prompt="Shifts a day (1, 2 or 3)", help="Shifts a day.")
@click.option(
    "--voltage", type=click.Choice(["24", "36", "48", "80"]), prompt="Battery voltage", default="48",
    help="Voltage of the trucks.",
)  # fmt: skip
@click.option(
    "--distance", "distance_m", type=click.FloatRange(0, 100_000), prompt="Metres from work to the room, one way",
    default=100.0, help="Way from work to the battery room. [m]",
)  # fmt: skip
@click.option(
    "--power", "power_kw", type=click.FloatRange(0.05, 50), help="Mean power of a truck at work, if known. [kW]"
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def new(file: str, force: bool, **answers: Any) -> None:  # noqa: ANN401 - click's options
    """Write a commented starter scenario from a few survey answers; asks for what is not given."""
    from batsim.scenario.starter import Answers, starter_text  # noqa: PLC0415 - heavy

    path = Path(file)
    if path.exists() and not force:
        refuse(f"{file} is there already; choose another name or add --force")
    text = starter_text(Answers(**answers | {"voltage": int(answers["voltage"])}))
    batsim.read_scenario_text(text, file)
    with written("FILE", "choose another file"), replacing(path) as beside:
        beside.write_text(text, encoding="utf-8")
    say(f"wrote {file}; next: batsim check {file}, then batsim compare {file}")
