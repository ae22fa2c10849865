"""A layout with one more of each thing: which variants there are, each checked."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.room.area_plan import AreaPlan
from batsim.scenario.parts.handling import LOOSE
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    SET_DOWN_BAYS,
    STATIONS,
    Counted,
    Counts,
    can_grow,
    counts_of,
    week_plan,
    with_counts,
)

Numbers = Mapping[Counted, float]
LOOSE_LEADS = "loose charger leads"
"""The same chargers on leads that reach other bays, each free when its charge ends."""
EVERY_SHIFT = "one more attendant on every shift"


class Addition(NamedTuple):
    """One more of a thing."""

    label: str
    """Such as `one more station`."""
    thing: str
    """What it is one more of, such as `the station`."""
    kind: str
    """station, device, attendants, charger, leads, battery, bay, set-down bay or spot."""
    more: Numbers
    """How many there are with it, of each thing of which there are more."""
    parts: tuple[str, ...] = ()
    """Labels of what it is made of, where it is more than one: attendants on all shifts, a station with its devices."""
    charger_leads: str | None = None
    """Other charger leads, in place of one more of something."""

    def counts(self, layout: str) -> Counts:
        """Counts of a layout with it."""
        return Counts(layout, tuple(self.more.items()), self.charger_leads)


class LeftOut(NamedTuple):
    """What was not tried, and why."""

    label: str
    why: str


def variants(scenario: Scenario, layout: str) -> tuple[list[Addition], list[LeftOut]]:
    """Find every variant of a layout with one more of something that has a limit.

    Parameters
    ----------
    scenario
        The site.
    layout
        Name of one of its layouts.

    Returns
    -------
    variants, left out
        Additions that keep the rules of a scenario; those that break one, with the rule.
    """
    made, left_out = [], []
    for addition in _Additions(scenario, layout).all():
        if not all(can_grow(scenario, counted) for counted in addition.more):
            left_out.append(LeftOut(addition.label, "no more of it can be had"))
            continue
        try:
            with_counts(scenario, addition.counts(layout))
        except ScenarioError as error:
            left_out.append(LeftOut(addition.label, "; ".join(_rule(problem) for problem in error.problems)))
        else:
            made.append(addition)
    return made, left_out


def _rule(problem: Problem) -> str:
    """Say a broken rule without its place: the variant stands in no file."""
    return problem.rule if problem.got is None else f"{problem.rule} (got {problem.got})"


class _Additions:
    """One more of everything that a layout has a limited number of."""

    def __init__(self, scenario: Scenario, layout: str) -> None:
        self.layout = scenario.layouts[layout]
        self.blueprint: AreaPlan = week_plan(scenario, layout)
        self.numbers: Numbers = {
            counted: number for counted, number in counts_of(scenario, layout).items() if number < UNLIMITED
        }

    def all(self) -> Iterator[Addition]:
        """Every addition, those of a station first."""
        if self.blueprint.arrangement.in_truck:
            yield from self._devices()
            yield from self._spots()
            return
        yield from self._stations()
        yield from self._devices()
        yield from self._attendants()
        yield from self._types(CHARGERS, "charger", "chargers")
        if self.blueprint.bound_chargers:
            yield Addition(LOOSE_LEADS, "the chargers bound to their bays", "leads", {}, charger_leads=LOOSE)
        yield from self._types(BATTERIES, "battery", "batteries")
        if Counted(BAYS) in self.numbers:
            word = self.blueprint.arrangement.bay
            yield Addition(f"one more {word}", f"the {word}s", "bay", self._more(BAYS))
        if self.numbers.get(Counted(SET_DOWN_BAYS)):
            yield Addition("one more set-down bay", "the set-down bays", "set-down bay", self._more(SET_DOWN_BAYS))

    def _of(self, kind: str) -> dict[str, float]:
        """Numbers of a kind by name."""
        return {counted.name: number for counted, number in self.numbers.items() if counted.kind == kind}

    def _more(self, kind: str, *names: str, by: int = 1) -> dict[Counted, float]:
        """So many more of a thing, or of each of some of a kind."""
        return {counted: self.numbers[counted] + by for counted in (Counted(kind, name) for name in names or ("",))}

    def _stations(self) -> Iterator[Addition]:
        """One more station, alone and with all that one exchange holds there."""
        if Counted(STATIONS) not in self.numbers:
            return
        thing, its = ("the station", "its") if self.numbers[Counted(STATIONS)] == 1 else ("the stations", "their")
        yield Addition("one more station", thing, "station", self._more(STATIONS))
        exchange = self.blueprint.exchange
        held = exchange.attendants.devices if exchange else {}
        if scarce := {name: number for name, number in held.items() if Counted(DEVICES, name) in self.numbers}:
            yield from self._stations_with(scarce, thing, its)

    def _stations_with(self, scarce: Mapping[str, int], thing: str, its: str) -> Iterator[Addition]:
        """One more station with the devices that an exchange holds there, and with attendants too."""
        more = self._more(STATIONS)
        for name, held in scarce.items():
            more |= self._more(DEVICES, name, by=held)
        if self.layout.set_down_bays not in (None, UNLIMITED):
            more |= self._more(SET_DOWN_BAYS, by=self.blueprint.arrangement.set_down_bays)
        words = " and ".join(_word(name) for name in scarce)
        parts = ("one more station", *(f"one more {_word(name)}" for name in scarce), "one more set-down bay")
        label, thing = f"one more station with its {words}", f"{thing} with {its} {words}"
        yield Addition(label, thing, "station", more, parts)
        shifts, exchange = list(self._of(ATTENDANTS)), self.blueprint.exchange
        if shifts and exchange is not None and exchange.attendants:
            parts = (*parts, label, EVERY_SHIFT if len(shifts) > 1 else _one_more_attendant(shifts[0]))
            attended = more | self._more(ATTENDANTS, *shifts)
            yield Addition(f"{label} and attendants", f"{thing} and attendants", "station", attended, parts)

    def _devices(self) -> Iterator[Addition]:
        """One more of each kind of device; where none is stated there are as many as one exchange holds."""
        for name, number in self._of(DEVICES).items():
            thing = f"the {_word(name)}" if number == 1 else f"the {_word(name)}s"
            yield Addition(f"one more {_word(name)}", thing, "device", self._more(DEVICES, name))

    def _attendants(self) -> Iterator[Addition]:
        """One more attendant on each shift, qualified as somebody there is, and one on every shift."""
        shifts = list(self._of(ATTENDANTS))
        for shift in shifts:
            thing = f"the attendants of {_shift(shift, 'the ')}"
            yield Addition(_one_more_attendant(shift), thing, "attendants", self._more(ATTENDANTS, shift))
        if len(shifts) > 1:
            parts = tuple(_one_more_attendant(shift) for shift in shifts)
            yield Addition(EVERY_SHIFT, "the attendants", "attendants", self._more(ATTENDANTS, *shifts), parts)

    def _types(self, kind: str, word: str, words: str) -> Iterator[Addition]:
        """One more charger, or battery that trucks use, of each type that has a limit."""
        for name, of in self._named(kind):
            for counted in self.numbers:
                if (counted.kind, counted.name) == (kind, name):
                    which = f" of lot {counted.lot}{of}" if counted.lot else of
                    more = {counted: self.numbers[counted] + 1}
                    yield Addition(f"one more {word}{which}", f"the {words}{which}", word, more)

    def _named(self, kind: str) -> list[tuple[str, str]]:
        """Types of chargers or batteries, limited or not, each with how it is told from the others."""
        names = tuple(self.blueprint.charger_counts) if kind == CHARGERS else tuple(self._of(kind))
        return [(name, f" ({name})" if len(names) > 1 else "") for name in names]

    def _spots(self) -> Iterator[Addition]:
        """One more charging spot with its charger; the spots that are not stated follow from the chargers."""
        spots = self._more(STATIONS) if self.layout.stations not in (None, UNLIMITED) else {}
        for name, of in self._named(CHARGERS):
            limited = Counted(CHARGERS, name) in self.numbers
            more = spots | self._more(CHARGERS, name) if limited else spots
            if more:
                label = f"one more charging spot with its charger{of}" if limited else "one more charging spot"
                yield Addition(label, f"the charging spots{of}", "spot", more)


def _one_more_attendant(shift: str) -> str:
    return f"one more attendant, {_shift(shift)}"


def _shift(name: str, article: str = "") -> str:
    """Name of a shift with the word; with an article where the name is not a name by itself, such as `shift 1`."""
    return name if "shift" in name.lower() else f"{article}{name} shift"


def _word(device: str) -> str:
    """Kind of device in words."""
    return device.replace("_", " ")
