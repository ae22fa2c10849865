"""When chargers may draw current, and how much together."""

from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.calendar import Window, joined, weekly_starts
from batsim.scenario.parts.kinds import Frozen, Words
from batsim.scenario.parts.quantities import Kilowatts, Minutes
from batsim.scenario.parts.week import minutes_from_to, read_time_of_day, read_weekdays


class ChargingWindow(Frozen):
    """Hours in which current may flow, on some weekdays."""

    days: Annotated[tuple[int, ...], read_weekdays] = Field("Mon-Sun")  # type: ignore[arg-type]
    """Weekdays on which it opens."""
    from_min: Annotated[float, read_time_of_day] = Field(alias="from")
    """When it opens. [min after midnight]"""
    to_min: Annotated[float, read_time_of_day] = Field(alias="to")
    """When it closes; at or before the opening it means the next day. [min after midnight]"""

    @property
    def minutes(self) -> float:
        """Length. [min]"""
        return minutes_from_to(self.from_min, self.to_min)


class ChargingRules(Frozen):
    """How chargers are held back; nothing holds them back when not stated."""

    power_limit_kw: Kilowatts | None = Field(None, alias="power_limit")
    """Most that all chargers may draw from the wall together; they share it. [kW]"""
    windows: tuple[ChargingWindow, ...] = ()
    """Hours in which current may flow; outside, a charge stands still and goes on later."""
    delay_min: Minutes = Field("0 min", alias="delay")  # type: ignore[assignment]
    """Time from connecting to the start of the current. [min]"""
    stagger_min: Minutes = Field("0 min", alias="stagger")  # type: ignore[assignment]
    """Least time between the starts of two charges. [min]"""
    too_warm_or_cold: Annotated[str, Words("wait", "start")] = "wait"
    """What happens with a battery outside the temperatures at which a charge may begin: it waits, unless the room
    would never bring it there, or starts."""

    def open_windows(self, until_min: float) -> list[Window]:
        """When current may flow, from Monday 00:00 on; empty when always. [min]"""
        spans = [
            (start, start + window.minutes)
            for window in self.windows
            for start in weekly_starts(window.days, window.from_min, until_min)
        ]
        return joined([(max(0.0, start), end) for start, end in spans if end > 0.0 and start < until_min])
