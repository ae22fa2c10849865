"""What batteries need beside charging: when it is due, in which rounds it is done, and what overdue means."""

import math
from collections.abc import Iterator
from typing import Annotated, NamedTuple

from pydantic import Field

from batsim.scenario.parts.calendar import Window, joined, weekly_starts
from batsim.scenario.parts.faults import Fault
from batsim.scenario.parts.kinds import Frozen, Quantity, Words, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.schemas import text_schema
from batsim.scenario.parts.week import WEEK_MIN, minutes_from_to, read_time_of_day, read_weekdays


class Rounds(Frozen):
    """Hours of the week in which batteries are taken care of."""

    days: Annotated[tuple[int, ...], read_weekdays]
    """Weekdays on which there is a round."""
    from_min: Annotated[float, read_time_of_day] = Field(alias="from")
    """When it begins. [min after midnight]"""
    to_min: Annotated[float, read_time_of_day] = Field(alias="to")
    """Until when work on a battery may begin; at or before the start it means the next day. [min after midnight]"""
    overdue: Annotated[str, Words("use", "hold")] = "use"
    """What happens between two rounds with a battery that is due: it is used on, or held until it is done."""

    def windows(self, until_min: float) -> list[Window]:
        """Rounds from Monday 00:00 on. [min]"""
        length = minutes_from_to(self.from_min, self.to_min)
        starts = weekly_starts(self.days, self.from_min, WEEK_MIN * (until_min // WEEK_MIN + 1.0))
        return joined([(max(0.0, start), start + length) for start in starts if start + length > 0.0])


class MaintenanceInterval(NamedTuple):
    """How often something is due; infinite where it does not count."""

    charges: float
    """Charges since it was last done. [charges]"""
    minutes: float
    """Time since it was last done. [min]"""


@reads(text_schema("1 charge", "10 charges", "4 weeks"))
def read_maintenance_interval(value: object) -> MaintenanceInterval:
    """How often something is due: `10 charges` or `4 weeks`."""
    if isinstance(value, str) and value.rstrip().endswith(("charge", "charges")):
        return MaintenanceInterval(Quantity("charge_count", least=1.0).read(value), math.inf)
    minutes = Quantity("duration", above=0.0, hint="; also read: '10 charges'").read(value)
    return MaintenanceInterval(math.inf, minutes)


class Maintenance(Frozen):
    """Inspection, readings or wash of a battery type."""

    every: Annotated[MaintenanceInterval, read_maintenance_interval]
    """Charges or time from one to the next. [charges or min]"""
    time_min: DurationLaw | None = Field(None, alias="time")
    """Minutes for one battery, as timed on site; from the catalogue when not stated. [min]"""
    when: Annotated[str, Words("after_charge", "before_charge")] = "after_charge"
    """Whether it is done on the charged and cooled battery, or on the discharged one before it goes on charge."""
    rounds: Rounds | None = None
    """Hours in which it is done; whenever it is due when not stated."""

    def _faults(self) -> Iterator[Fault]:
        """A discharged battery that would stand until the next round is no stock."""
        if self.when == "before_charge" and self.rounds is not None:
            rule = "go with after_charge only; a discharged battery is taken care of when it comes"
            yield Fault(("rounds",), rule)
