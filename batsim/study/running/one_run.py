"""One run looked at closely: moments as people write them, and a run no longer than needed."""

import re

from batsim.errors import Problem, ScenarioError, require
from batsim.record.record import Record
from batsim.room.simulation import replicate
from batsim.scenario.parts.calendar import first_week_min
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.week import DAY_MIN, DAYS, FULL_DAYS, WEEK_MIN, clock_minutes
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario

BEYOND_MIN = WEEK_MIN
"""How long a run goes on after what is looked at: the hours of charging come round in a week. [min]"""
EXAMPLE_OF_A_DAY = ("a week and a weekday", "week 1 Tue")
DAY_NAMES = {name.lower(): number for names in (DAYS, FULL_DAYS) for number, name in enumerate(names)}


def window_of(scenario: Scenario, begin: str, end: str) -> tuple[float, float]:
    """Read two moments of a run, such as `week 1 Mon 13:50`.

    Parameters
    ----------
    scenario
        The site: its warm-up says where week 1 begins.
    begin, end
        Week, weekday and time of day; without a week, week 1, the first after the warm-up. Week 0 is the last of the
        warm-up, week -1 the one before.

    Returns
    -------
    tuple of float
        Minutes from Monday 00:00 of the first simulated week. [min]

    Raises
    ------
    ValueError
        If one of them is no moment, lies outside the run, or the second is not after the first.
    """
    from_min, to_min = _moment(scenario, "the beginning", begin), _moment(scenario, "the end", end)
    require(from_min < to_min, f"the window must end after it begins (got {begin} to {end})")
    return from_min, to_min


def day_of(scenario: Scenario, day: str) -> tuple[float, float]:
    """Read a day of a run, such as `week 1 Tue`, from midnight to midnight or the end of the run; see `window_of`."""
    from_min = _moment(scenario, "the day", day)
    return from_min, min(from_min + DAY_MIN, _length_min(scenario))


def layout_of(scenario: Scenario, layout: str | None) -> str:
    """Name of a layout of the scenario; may be left out where there is only one.

    Raises
    ------
    ValueError
        If no layout is named where there are several.
    ScenarioError
        If there is no layout of this name.
    """
    if layout is None:
        rule = f"name one of the layouts with --layout: {', '.join(scenario.layouts)}"
        require(len(scenario.layouts) == 1, rule)
        return next(iter(scenario.layouts))
    if layout not in scenario.layouts:
        rule = f"no layout of this name{did_you_mean(layout, list(scenario.layouts))}"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule, None)])
    return layout


def as_long_as(scenario: Scenario, settings: Settings) -> Scenario:
    """Return a copy of a scenario whose runs, and warm-ups, are as long as settings say.

    Raises
    ------
    ScenarioError
        If a length is out of range.
    """
    schedule, usual = settings.schedule(scenario), scenario.simulation
    lengths = {"length_min": schedule.length_min, "warm_up_min": schedule.warm_up_min}
    return scenario.model_copy(update={"simulation": usual.model_copy(update=lengths)})


def record_until(
    scenario: Scenario, layout: str, to_min: float, *, replication: int = 0, seed: int | None = None
) -> Record:
    """Simulate a layout long enough to look at it up to a time.

    What happens does not depend on where the end of a run is. What is told of it does: a row is written when its
    activity starts, so a battery that is just being connected, or waits for the hours of charging, has none yet. So the
    run goes on for `BEYOND_MIN`, unless it is over before.

    Parameters
    ----------
    scenario
        The site.
    layout
        Name of the layout.
    to_min
        Time from Monday 00:00 of the first simulated week. [min]
    replication, seed
        As in `simulate`.

    Returns
    -------
    Record
        The tables of the run, up to that time as if it had run its whole length.
    """
    usual = scenario.simulation
    return replicate(
        scenario,
        layout,
        seed=usual.seed if seed is None else seed,
        replication=replication,
        length_min=max(0.0, min(to_min + BEYOND_MIN, _length_min(scenario)) - usual.warm_up_min),
        warm_up_min=usual.warm_up_min,
    )


def _moment(scenario: Scenario, what: str, text: str) -> float:
    """Read week, weekday and, unless it is a day, time of day; refuse what lies outside the run. [min]"""
    first_min, length_min = first_week_min(scenario.simulation.warm_up_min), _length_min(scenario)
    time_min = first_min + _since_week_1_min(what, text)
    first = f"week {1 - int(first_min // WEEK_MIN)} Mon 00:00"
    require(time_min >= 0.0, f"{what} must lie in the run, which begins at {first} (got {text})")
    within = time_min < length_min or (time_min == length_min and what == "the end")
    require(within, f"{what} must lie in the run, which ends at {_end(scenario)} (got {text})")
    return time_min


def _since_week_1_min(what: str, text: str) -> float:
    """Read the same as time from Monday 00:00 of week 1. [min]"""
    clock = what != "the day"
    form = r"(?:week (-?\d{1,4}) )?([a-z]+)" + (r" (\d?\d:\d\d)" if clock else "()")
    match = re.fullmatch(form, " ".join(text.split()), re.IGNORECASE)
    if match is None or match[2].lower() not in DAY_NAMES:
        needs, example = ("a week, a weekday and a time of day", "week 1 Mon 13:50") if clock else EXAMPLE_OF_A_DAY
        msg = f"{what} needs {needs} such as '{example}' (got {text})"
        raise ValueError(msg)
    try:
        minutes = clock_minutes(match[3]) if clock else 0.0
    except ValueError as error:
        msg = f"{what} {error} (got {text})"
        raise ValueError(msg) from error
    return (int(match[1] or 1) - 1) * WEEK_MIN + DAY_NAMES[match[2].lower()] * DAY_MIN + minutes


def _length_min(scenario: Scenario) -> float:
    """Length of a run, warm-up and all. [min]"""
    return scenario.simulation.warm_up_min + scenario.simulation.length_min


def _end(scenario: Scenario) -> str:
    """Say when a run ends."""
    since = _length_min(scenario) - first_week_min(scenario.simulation.warm_up_min)
    week, rest = divmod(since, WEEK_MIN)
    day, minutes = divmod(rest, DAY_MIN)
    whole = round(minutes)
    return f"week {int(week) + 1} {DAYS[int(day)]} {whole // 60:02d}:{whole % 60:02d}"
