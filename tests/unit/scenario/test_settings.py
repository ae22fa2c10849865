"""Settings: what is run of a scenario, and what cannot be run."""

import pytest

from batsim import ScenarioError, read
from batsim.scenario.settings import Settings

SCENARIO = read("scenarios/kestrel-lane.yaml")


def test_what_is_not_given_is_as_the_scenario_says() -> None:
    """Layouts, replications, times, seed and confidence."""
    schedule = Settings().schedule(SCENARIO)
    usual = SCENARIO.simulation
    assert schedule.layouts == tuple(SCENARIO.layouts)
    assert (schedule.replications, schedule.seed) == (usual.replications, usual.seed)
    assert (schedule.length_min, schedule.warm_up_min) == (usual.length_min, usual.warm_up_min)
    assert schedule.confidence == usual.confidence_share


def test_what_is_given_takes_its_place() -> None:
    """One layout may be given by its name alone; each is run once."""
    name = next(iter(SCENARIO.layouts))
    schedule = Settings(name, replications=3, weeks=2, warm_up_weeks=0, seed=7, confidence=0.9).schedule(SCENARIO)
    assert schedule.as_json() == {
        "scenario": SCENARIO.site.name,
        "seed": 7,
        "replications": 3,
        "weeks": 2.0,
        "warm_up_weeks": 0.0,
        "confidence": 0.9,
    }
    assert schedule.layouts == (name,)
    assert Settings([name, name]).schedule(SCENARIO).layouts == (name,)


def test_all_that_cannot_be_run_is_told_at_once() -> None:
    """With the rule and what was given."""
    settings = Settings("nowhere", replications=0, weeks=0, warm_up_weeks=-1, seed=-1, confidence=95)
    with pytest.raises(ScenarioError) as error:
        settings.schedule(SCENARIO)
    file = SCENARIO.file
    assert [str(problem) for problem in error.value.problems] == [
        f"{file}: confidence: must lie between 0 and 1 (got 95)",
        f"{file}: layouts.nowhere: no layout of this name; known: {', '.join(SCENARIO.layouts)}",
        f"{file}: replications: must be at least 1 (got 0)",
        f"{file}: seed: must be at least 0 (got -1)",
        f"{file}: warm-up: must be from 0 to 1040 weeks (got -1)",
        f"{file}: weeks: must be from 0.005 to 1040 (got 0)",
    ]
