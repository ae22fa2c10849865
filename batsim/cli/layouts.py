"""Commands that compare layouts: compare, run, one-more, day-without."""

from typing import Any

import click

from batsim.cli.group import main
from batsim.cli.options import read_scenario, run_settings, show, simulation_options, width


@main.command()
@simulation_options
def compare(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Compare the layouts of a scenario: downtime, labour, counts, with intervals and a verdict."""
    from batsim.study.compare import compare as compare_layouts  # noqa: PLC0415 - heavy
    from batsim.views.tables import comparison_text  # noqa: PLC0415

    scenario = read_scenario(file)
    comparison = compare_layouts(scenario, **run_settings(options))
    show(comparison.as_json() if options["as_json"] else comparison_text(comparison, width()))


@main.command()
@simulation_options
def run(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Simulate layouts and print every measure of each."""
    from batsim.study.replications import run as run_layouts  # noqa: PLC0415 - heavy
    from batsim.views.tables import CAUTION, heading, layout_text  # noqa: PLC0415

    scenario = read_scenario(file)
    runs = run_layouts(scenario, **run_settings(options))
    if options["as_json"]:
        show(runs.as_json())
    else:
        blocks = [heading(runs), *(layout_text(runs, layout) for layout in runs.layouts), CAUTION]
        show("\n\n".join(blocks))


@main.command("one-more")
@simulation_options
def one_more(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find what binds: how much downtime one more of each thing would save, and when in the week."""
    from batsim.study.one_more import one_more_each  # noqa: PLC0415 - heavy
    from batsim.study.replications import settings  # noqa: PLC0415
    from batsim.views.one_more_text import one_more_answer  # noqa: PLC0415

    given = run_settings(options)
    workers, progress = given.pop("workers"), given.pop("progress")
    stated = settings(read_scenario(file), **given)
    found = one_more_each(stated, workers=workers, progress=progress)
    if options["as_json"]:
        show(stated.as_json() | {"layouts": {name: one.layout_json() for name, one in found.items()}})
    else:
        show(one_more_answer(stated, list(found.values()), width()))


@main.command("day-without")
@click.option("--device", help="Only this device, by its name in the layout; default: each in turn.")
@simulation_options
def day_without(file: str, device: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find what a day without a device costs, with what stands by and without it; always simulates that one week."""
    from batsim.study.day_without import days_without  # noqa: PLC0415 - heavy
    from batsim.study.replications import settings  # noqa: PLC0415
    from batsim.views.day_without_text import day_without_answer  # noqa: PLC0415

    given = run_settings(options)
    workers, progress = given.pop("workers"), given.pop("progress")
    if given.pop("weeks") is not None:
        msg = "the day and its week are fixed; leave --weeks out"
        raise click.UsageError(msg)
    stated = settings(read_scenario(file), **given)
    found = days_without(stated, device, workers=workers, progress=progress)
    if options["as_json"]:
        days = [{"layout": one.layout, **one.as_json()} for one in found]
        show({**stated.as_json(), "weeks": 1.0, "days": days})
    else:
        show(day_without_answer(stated, found, width()))
