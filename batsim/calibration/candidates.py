"""Inputs that may be otherwise than stated: one at a time, in steps to either side."""

from collections import Counter
from collections.abc import Callable, Iterator
from typing import NamedTuple

from batsim.errors import ScenarioError
from batsim.scenario.parts.group_change import GroupChange
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.trucks import ExchangeWhen, Roster, TruckGroup
from batsim.scenario.site import Scenario
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    CHARGERS,
    DEVICES,
    STATIONS,
    Counted,
    Counts,
    area_in_words,
    counts_of,
    with_counts,
)

COUNT_STEPS = {
    STATIONS: (-1, 1),
    DEVICES: (-1, 1),
    ATTENDANTS: (-1, 1),
    CHARGERS: (-2, -1, 1, 2),
    BATTERIES: (-2, -1, 1, 2),
}
"""How many more or fewer there may be, by what is counted."""
ONE_OF = {STATIONS: "station", ATTENDANTS: "attendant", CHARGERS: "charger", BATTERIES: "battery"}
"""One of what is counted."""
POWER, TIMES, LEVEL, COOLING, SPREAD = "mean_power", "exchange_times", "exchange_at", "cool_down", "spread"
POWER_STEPS, TIMES_STEPS, LEVEL_STEPS = (-0.1, 0.1), (-0.2, 0.2), (-0.05, 0.05)
"""Shares of a mean power and of exchange times, and points of a level."""
COOLING_STEPS, SPREAD_STEPS = (-60.0, 60.0), (-30.0, 30.0)
"""Minutes of a cool-down, and of the time over which trucks come at a shift change. [min]"""


class Candidate(NamedTuple):
    """An input, with the steps by which it may be otherwise."""

    kind: str
    """What is counted (see `batsim.study.running.counts`), or one of the others named here."""
    what: str
    """Such as `attendants` or `mean power`."""
    steps: tuple[float, ...]
    """How much more or less, without nothing; in the unit of the input."""
    counted: Counted | None = None
    """What there may be more or fewer of."""
    of: str = ""
    """Truck group or battery type that it concerns; all when empty."""
    which: str = ""
    """What tells it from others of its kind, such as `late shift`."""

    @property
    def label(self) -> str:
        """Such as `attendants, late shift`."""
        return f"{self.what}, {self.which}" if self.which else self.what

    def in_words(self, step: float) -> str:
        """How much more or less, such as `1 attendant fewer (late shift)`."""
        return IN_WORDS[self.kind if self.counted is None else "count"](self, step)


class Otherwise(NamedTuple):
    """A candidate at one of its steps, as a job carries it."""

    candidate: Candidate
    step: float


def candidates(scenario: Scenario, layout: str) -> list[Candidate]:
    """Find what may be otherwise in a layout than it is stated, with the steps that no rule of a scenario forbids."""
    found = [*_counts(scenario, layout), *_of_groups(scenario, layout), *_of_batteries(scenario, layout)]
    kept = [allowed(scenario, layout, candidate) for candidate in found]
    return [candidate for candidate in kept if candidate.steps]


def otherwise(scenario: Scenario, layout: str, changed: Otherwise) -> Scenario:
    """Return a copy in which one input is otherwise.

    Raises
    ------
    ScenarioError
        When the layout breaks a rule with it.
    """
    candidate, step = changed
    if candidate.counted is not None:
        number = counts_of(scenario, layout)[candidate.counted] + step
        return with_counts(scenario, Counts(layout, ((candidate.counted, number),)))
    return CHANGES[candidate.kind](scenario, layout, candidate.of, step)


def allowed(scenario: Scenario, layout: str, candidate: Candidate) -> Candidate:
    """A candidate with the steps that no rule of a scenario forbids."""
    steps = []
    for step in candidate.steps:
        try:
            made = otherwise(scenario, layout, Otherwise(candidate, step))
        except ScenarioError:
            continue
        if made is not scenario:
            steps.append(step)
    return candidate._replace(steps=tuple(steps))


def _counts(scenario: Scenario, layout: str) -> Iterator[Candidate]:
    """Everything of which there is a limited number, but bays."""
    numbers = counts_of(scenario, layout)
    types = Counter(kind for kind, _ in {(counted.kind, counted.name) for counted in numbers})
    for counted, number in numbers.items():
        if counted.kind in COUNT_STEPS and number < UNLIMITED:
            steps = tuple(float(step) for step in COUNT_STEPS[counted.kind] if number + step >= 1)
            what = counted.name.replace("_", " ") if counted.kind == DEVICES else counted.kind
            which = ", ".join(_which(counted, types[counted.kind] > 1))
            yield Candidate(counted.kind, what, steps, counted, which=which)


def _which(counted: Counted, several: bool) -> Iterator[str]:
    """What tells it from others: shift, type where there are several, lot and area."""
    if counted.kind == ATTENDANTS:
        yield counted.name if "shift" in counted.name.lower() else f"{counted.name} shift"
    elif counted.kind != DEVICES and several:
        yield counted.name
    if counted.lot:
        yield f"lot {counted.lot}"
    if counted.area:
        yield area_in_words(counted.area)


def _of_groups(scenario: Scenario, layout: str) -> Iterator[Candidate]:
    """What truck groups do, all alike and each by itself."""
    groups = scenario.in_layout(layout).trucks
    names = ["", *(group.group for group in groups)] if len(groups) > 1 else [""]
    for of in names:
        yield Candidate(POWER, f"mean power{_of(of)}", POWER_STEPS, of=of)
    yield Candidate(TIMES, "exchange times", TIMES_STEPS)
    if any(group.duty is not None for group in groups):
        yield Candidate(LEVEL, "state of charge at which trucks come", LEVEL_STEPS)
    if any(group.exchange_when.shift_change != "never" for group in groups):
        yield Candidate(SPREAD, "time over which trucks come at a shift change", SPREAD_STEPS)


def _of_batteries(scenario: Scenario, layout: str) -> Iterator[Candidate]:
    """How long batteries cool down."""
    names = list(dict.fromkeys(group.battery for group in scenario.in_layout(layout).trucks))
    for name in names:
        of = name if len(names) > 1 else ""
        yield Candidate(COOLING, f"cool-down{_of(of)}", COOLING_STEPS, of=name)


def _of(name: str) -> str:
    """Words on what it concerns."""
    return f" of '{name}'" if name else ""


def _power(scenario: Scenario, _: str, of: str, step: float) -> Scenario:
    """Trucks that draw a share more at work, or work a share less on a battery."""

    def drawing(group: TruckGroup) -> TruckGroup:
        if of not in ("", group.group):
            return group
        if group.duty is None:
            law = group.run_time_min
            return group if law is None else group.model_copy(update={"run_time_min": scaled(law, 1.0 / (1.0 + step))})
        return group.model_copy(update={"duty": group.duty.times(1.0 + step)})

    return scenario.model_copy(update={"trucks": tuple(map(drawing, scenario.trucks))})


def _times(scenario: Scenario, layout: str, _: str, step: float) -> Scenario:
    """Exchanges that take a share longer: the stated exchange times, or the steps of the arrangements."""
    stated, longer = scenario.layouts[layout], 1.0 + step
    made = stated
    for name, area in stated.by_area.items():
        if area.exchange_time_min is not None:
            own = area.model_copy(update={"exchange_time_min": scaled(area.exchange_time_min, longer)})
            made = made.with_area(name, own)
    handling = dict(scenario.handling)
    for name in {area.handling for area in stated.by_area.values()}:
        arrangement = handling[name]
        steps = tuple(
            each.model_copy(
                update={
                    key: scaled(law, longer)
                    for key, law in (("time_min", each.time_min), ("at_ends_min", each.at_ends_min))
                    if law is not None
                }
            )
            for each in arrangement.steps
        )
        handling[name] = arrangement.model_copy(update={"steps": steps})
    return scenario.model_copy(update={"handling": handling}).with_layout(layout, made)


def _level(scenario: Scenario, layout: str, _: str, step: float) -> Scenario:
    """Trucks that come at another state of charge."""
    return _with_groups(
        scenario, layout, lambda group: {"exchange_at_share": min(1.0, max(0.0, group.exchange_at_share + step))}
    )


def _spread(scenario: Scenario, layout: str, _: str, step: float) -> Scenario:
    """Trucks that come over more or less time at a shift change."""

    def come(group: TruckGroup) -> dict[str, object]:
        when: ExchangeWhen = group.exchange_when
        if when.shift_change == "never":
            return {}
        over_min = max(0.0, when.spread.over_min + step)
        return {"exchange_when": when.model_copy(update={"spread": Roster(over_min, when.spread.anew)})}

    groups = scenario.in_layout(layout).trucks
    if step < 0.0 and all(group.exchange_when.spread.over_min == 0.0 for group in groups):
        return scenario
    return _with_groups(scenario, layout, come)


def _with_groups(scenario: Scenario, layout: str, change: Callable[[TruckGroup], dict[str, object]]) -> Scenario:
    """Return a copy in which a layout changes its truck groups."""
    stated = scenario.layouts[layout]
    trucks = dict(stated.trucks)
    for group in scenario.in_layout(layout).trucks:
        if update := change(group):
            trucks[group.group] = trucks.get(group.group, GroupChange()).model_copy(update=update)
    return scenario.with_layout(layout, stated.model_copy(update={"trucks": trucks}))


def _cooling(scenario: Scenario, _: str, of: str, step: float) -> Scenario:
    """Batteries that cool down longer or shorter."""
    battery = scenario.batteries[of]
    mean = battery.cool_down_min.mean
    if mean + step < 0.0 or not mean:
        return scenario
    cooled = battery.model_copy(update={"cool_down_min": scaled(battery.cool_down_min, (mean + step) / mean)})
    return scenario.model_copy(update={"batteries": {**scenario.batteries, of: cooled}})


def scaled(law: DurationLaw, factor: float) -> DurationLaw:
    """Law of durations that are so many times as long."""
    names = ("fixed_min", "low_min", "typical_min", "high_min", "mean_min")
    longer: dict[str, object] = {name: factor * value for name in names if (value := getattr(law, name)) is not None}
    if law.observed_min is not None:
        longer["observed_min"] = tuple(factor * value for value in law.observed_min)
    return law.model_copy(update=longer)


CHANGES: dict[str, Callable[[Scenario, str, str, float], Scenario]] = {
    POWER: _power, TIMES: _times, LEVEL: _level, COOLING: _cooling, SPREAD: _spread,
}  # fmt: skip
"""What makes an input otherwise, by its kind."""


def _count_in_words(candidate: Candidate, step: float) -> str:
    """Such as `1 attendant fewer (late shift)`."""
    number, what = abs(step), candidate.what
    if candidate.kind == DEVICES:
        what = what if number == 1.0 else f"{what}s"
    elif number == 1.0:
        what = ONE_OF[candidate.kind]
    which = f" ({candidate.which})" if candidate.which else ""
    return f"{number:.0f} {what} {_more(step, 'more', 'fewer')}{which}"


def _more(step: float, more: str, less: str) -> str:
    """The word for more or less."""
    return less if step < 0.0 else more


IN_WORDS: dict[str, Callable[[Candidate, float], str]] = {
    "count": _count_in_words,
    POWER: lambda one, step: f"{100 * abs(step):.0f} % {_more(step, 'more', 'less')} {one.what}",
    TIMES: lambda one, step: f"{one.what} {100 * abs(step):.0f} % {_more(step, 'longer', 'shorter')}",
    LEVEL: lambda _, step: f"trucks that come with {100 * abs(step):.0f} % {_more(step, 'more', 'less')} charge left",
    COOLING: lambda one, step: f"a {one.what} {abs(step):.0f} min {_more(step, 'longer', 'shorter')}",
    SPREAD: lambda one, step: (
        f"trucks that come at a shift change over {abs(step):.0f} min {_more(step, 'more', 'less')}"
    ),
}
"""How much more or less, by what it is."""
LOOK_AT = {
    STATIONS: "look at where trucks are exchanged",
    DEVICES: "look at what is out of use, or used for something else",
    ATTENDANTS: "look at who is on duty",
    CHARGERS: "look at which chargers are out of use, or used for something else",
    BATTERIES: "count the batteries that are in use",
    POWER: "look at the work of the trucks in these weeks",
    TIMES: "time some exchanges",
    LEVEL: "look at when drivers come",
    COOLING: "look at how long batteries are left to cool",
    SPREAD: "look at when trucks come at a shift change",
}
"""Where to look, by what it is."""
