"""Comparisons in which a layout that is impossible is never best, and cost settles ties."""

from dataclasses import replace

from batsim.plan.draft import cost_per_year
from batsim.plan.evidence import evidence
from batsim.plan.plan import comparison_of
from batsim.plan.possible import impossible_layouts
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study import compare as of_runs
from batsim.study import uncertain as of_draws
from batsim.study.compare import COMPARED, Comparison, check_measures
from batsim.study.uncertain import UncertainComparison


def compare(scenario: Scenario, settings: Settings = Settings(), *, measures: tuple[str, ...] = COMPARED) -> Comparison:
    """Compare layouts of a scenario under common random numbers.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says. With `within`, replications go on until every difference in
        the first measure is known that well in normal weeks; seasons are run as often.
    measures
        Measures whose differences are stated for every pair of layouts; the first decides.

    Returns
    -------
    Comparison
        Differences with their intervals, ranking, targets and a verdict, in which no impossible layout is best; what
        each costs in a year, but not with `within`.

    Raises
    ------
    ScenarioError, ValueError
        As `run`; when a measure is not known, or `within` is given for one layout only.
    """
    if settings.within is not None:  # nobody knows yet how often each is run
        comparison = of_runs.compare(scenario, settings, measures=measures)
        return replace(comparison, impossible=impossible_layouts(scenario, comparison.layouts))
    check_measures(scenario, measures)
    evidences = evidence(settings.schedule(scenario), settings)
    costs = {layout: cost_per_year(scenario, of_layout) for layout, of_layout in evidences.items()}
    return comparison_of(evidences, costs, measures)


def compare_uncertain(
    scenario: Scenario, draws: int, settings: Settings = Settings(), *, measures: tuple[str, ...] = COMPARED
) -> UncertainComparison:
    """Compare layouts at draws of the inputs that are not known, see `study.uncertain`; no impossible one is best."""
    comparison = of_draws.compare_uncertain(scenario, draws, settings, measures=measures)
    return replace(comparison, impossible=impossible_layouts(scenario, comparison.layouts))
