"""When drivers are at work who exchange, connect or maintain batteries, by what a layout says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from batsim.room.plans.group_plan import ALWAYS_AHEAD
from batsim.room.timing.timetable import Timetable
from batsim.scenario.parts.calendar import Begin, group_windows
from batsim.scenario.parts.group_change import CONNECT_BY, MAINTAIN_BY
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.site import Scenario


@dataclass(frozen=True)
class DriversPlan:
    """What drivers do in one area, and when those are at work who do it."""

    exchange: bool
    """Whether drivers exchange batteries in some shift."""
    at_work: Timetable
    """When drivers of any group are at work."""
    connect: Timetable | None
    """When drivers who connect batteries are at work; None when they never do."""
    connect_of: dict[int, Timetable | None]
    """The same by queue, of queues for whose batteries the layout names who connects them."""
    maintain_of: dict[int, Timetable | None]
    """By queue, of those for whose batteries the layout names who maintains them: when drivers do who are at work."""


def drivers_plan(
    scenario: Scenario, name: str, queues: Mapping[str, tuple[int, ...]], until_min: float, begin: Begin
) -> DriversPlan:
    """Work out what drivers do in an area; `queues` are those of the trucks of each group. [min]"""
    layout = scenario.layouts[name]
    shifts = sorted({shift for group in scenario.trucks for shift in group.shifts})
    exchanging = [
        shift
        for shift in shifts
        if any(layout.exchanged_by_drivers(shift, group.group) for group in scenario.trucks if shift in group.shifts)
    ]
    connecting = shifts if scenario.arrangement(name).connects == "driver" else exchanging

    def table(named: Sequence[str]) -> Timetable | None:
        return Timetable(group_windows(scenario.week, named, until_min + ALWAYS_AHEAD, begin)) if named else None

    def by_queue(key: str, usual: Sequence[str]) -> dict[int, Timetable | None]:
        groups_of: dict[int, list[TruckGroup]] = {}
        for group in scenario.trucks:
            for queue in dict.fromkeys(queues[group.group]):
                groups_of.setdefault(queue, []).append(group)
        return {
            queue: table([shift for shift in shifts if any(_do(layout, key, shift, group, usual) for group in groups)])
            for queue, groups in groups_of.items()
            if any(layout.by_whom(key, group.group) is not None for group in groups)
        }

    return DriversPlan(
        exchange=bool(exchanging),
        at_work=Timetable(group_windows(scenario.week, shifts, until_min + ALWAYS_AHEAD, begin)),
        connect=table(connecting),
        connect_of=by_queue(CONNECT_BY, connecting),
        maintain_of=by_queue(MAINTAIN_BY, ()),
    )


def _do(layout: Layout, key: str, shift: str, group: TruckGroup, usual: Sequence[str]) -> bool:
    """Whether drivers do something for the batteries of a group in a shift.

    A group that names drivers itself means its own, else those of the area are meant; where nobody is named it is as
    usual.
    """
    if layout.by_whom(key, group.group) is None:
        return shift in usual
    own = group.group in layout.trucks and getattr(layout.trucks[group.group], key) is not None
    return layout.names_drivers(key, shift, group.group) and (not own or shift in group.shifts)
