"""Commands on layouts: compare, run, warm-up, bottleneck, day-without."""

from typing import Any

import click

import batsim
from batsim.cli.group import main
from batsim.cli.options import PRECISION, RUN, as_usage_error, refuse, settings_of, shared, show, width


@main.command()
@shared(*RUN, "as_json", *PRECISION)
@click.option(
    "--uncertain", type=click.IntRange(2, 100_000),
    help="Compare at so many draws of the inputs that are not known, {between: [LOW, HIGH]}.",
)  # fmt: skip
def compare(file: str, uncertain: int | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Compare the layouts of a scenario: downtime, labour, counts, with intervals and a verdict."""
    from batsim.decision.ranking import order_of_runs  # noqa: PLC0415 - heavy
    from batsim.study.compare import COMPARED  # noqa: PLC0415
    from batsim.views.text.tables import comparison_text  # noqa: PLC0415

    scenario = batsim.read(file)
    measures = tuple(dict.fromkeys(options["measures"])) or COMPARED
    if uncertain is not None:
        _uncertain(scenario, uncertain, measures, options)
        return
    _check_precision(options)
    with as_usage_error("--within"):
        comparison = batsim.compare(scenario, settings_of(options), measures=measures)
    as_json = options["as_json"]
    ranked = {"ranking": order_of_runs(comparison)} if as_json else {}
    show(comparison.as_json() | ranked if as_json else comparison_text(comparison, width()))


def _uncertain(scenario: "batsim.Scenario", draws: int, measures: tuple[str, ...], options: dict[str, Any]) -> None:
    """Compare over what is not known."""
    from batsim.views.text.uncertain_text import uncertain_text  # noqa: PLC0415 - heavy

    if options["within"] is not None or options["most"] is not None:
        refuse("--uncertain states the number of draws; leave --within and --most out")
    comparison = batsim.compare_uncertain(scenario, draws, settings_of(options), measures=measures)
    show(comparison.as_json() if options["as_json"] else uncertain_text(comparison, width()))


def _check_precision(options: dict[str, Any]) -> None:
    """Refuse options that contradict each other."""
    if options["within"] is not None and options["replications"] is not None:
        refuse("--within finds the number of replications; state --most for a budget and leave --replications out")
    if options["within"] is None and options["most"] is not None:
        refuse("--most is the budget of --within; state that too, or --replications instead")


@main.command()
@shared(*RUN, "as_json", *PRECISION)
def run(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Simulate layouts and print every measure of each."""
    from batsim.study.compare import check_measures  # noqa: PLC0415 - heavy
    from batsim.study.running.runs import DOWNTIME  # noqa: PLC0415
    from batsim.views.text.tables import runs_text  # noqa: PLC0415

    scenario = batsim.read(file)
    measures = tuple(dict.fromkeys(options["measures"])) or (DOWNTIME,)
    check_measures(scenario, measures)
    _check_precision(options)
    with as_usage_error("--within"):
        runs = batsim.run(scenario, settings_of(options), measure=measures[0])
    show(runs.as_json() if options["as_json"] else runs_text(runs, measures, width()))


@main.command("warm-up")
@shared("file", "layouts", "seed", "workers")
@click.option("--pilot-weeks", type=click.IntRange(4, 1040), default=20, show_default=True, help="Length of the pilot.")
def warm_up(file: str, pilot_weeks: int, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find how many weeks of a run to drop, by a pilot without a warm-up (MSER-5, in whole weeks)."""
    from batsim.views.text.warm_up_text import warm_up_text  # noqa: PLC0415 - heavy

    scenario = batsim.read(file)
    warm_ups = batsim.warm_up(scenario, settings_of(options | {"weeks": pilot_weeks}))
    show(warm_up_text(scenario, warm_ups, pilot_weeks, width()))


@main.command("bottleneck")
@shared(*RUN, "as_json")
def bottleneck(file: str, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find the bottleneck: how much downtime one more of each thing would save, and when in the week."""
    from batsim.views.text.bottleneck_text import bottleneck_answer  # noqa: PLC0415 - heavy

    scenario, settings = batsim.read(file), settings_of(options)
    schedule, bottlenecks = settings.schedule(scenario), batsim.bottleneck(scenario, settings)
    if options["as_json"]:
        show(schedule.as_json() | {"layouts": {name: one.layout_json() for name, one in bottlenecks.items()}})
    else:
        show(bottleneck_answer(schedule, list(bottlenecks.values()), width()))


@main.command("day-without")
@click.option(
    "--device",
    help="Only this device, by its name in the layout, or station; of one area such as 'hoist of yard'; "
    "default: each device in turn.",
)
@shared(*RUN, "as_json")
def day_without(file: str, device: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Find what a day without a device costs, with what stands by and without it; always simulates that one week."""
    from batsim.views.text.day_without_text import day_without_answer  # noqa: PLC0415 - heavy

    if options["weeks"] is not None:
        refuse("the day and its week are fixed; leave --weeks out")
    scenario, settings = batsim.read(file), settings_of(options)
    schedule, days = settings.schedule(scenario), batsim.day_without(scenario, settings, device=device)
    if options["as_json"]:
        by_layout = [{"layout": day.layout, **day.as_json()} for day in days]
        show({**schedule.as_json(), "weeks": 1.0, "days": by_layout})
    else:
        show(day_without_answer(schedule, days, width()))
