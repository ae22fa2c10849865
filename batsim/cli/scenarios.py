"""Commands on scenario files: check, schema."""

import click

import batsim
from batsim.cli.group import main
from batsim.cli.options import show, width


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
