"""Calendar, discharge and charge of the twin of a site, from the words of the guide and from first principles."""

from bisect import bisect_right
from collections.abc import Sequence
from math import exp, inf, log
from typing import NamedTuple

from tests.behaviour.mixed_site import (
    CELL_V,
    CELLS,
    CHARGE_FACTOR,
    DAY_MIN,
    END_PER_AH,
    LEVEL_SHARE,
    MAIN_PER_AH,
    PEUKERT,
    WEEK_MIN,
    Shift,
)

MAIN_FROM_V, LIMIT_V, END_V = 2.0, 2.4, 2.6
"""Voltage of a cell where an empty one begins, in the middle stage, and in the last one."""
TAU_H = 1.0
"""What is missing over the current that is accepted: Woodbridge's law."""
WATER_G_PER_AH = 18.015 / (2.0 * 96_485.33) * 3600.0
"""Faraday's law: a molecule of water takes two electrons."""


class Calendar:
    """Working hours of a truck group or of attendants, in minutes from Monday 00:00."""

    def __init__(self, shifts: Sequence[Shift], weeks: int) -> None:
        self.spans: list[tuple[float, float]] = []
        """Each shift from its beginning to its end, in order."""
        self.windows: list[tuple[float, float, int]] = []
        """Without the breaks; the last number is that of the shift."""
        begun = (
            (week * WEEK_MIN + day * DAY_MIN + shift.from_min, shift)
            for week in range(-1, weeks)
            for shift in shifts
            for day in shift.days
        )
        for start, shift in sorted(begun):
            if start + shift.length_min <= 0.0:
                continue
            rest, again = start + shift.break_after_min, start + shift.break_after_min + shift.break_min
            pieces = (start, rest), (again, start + shift.length_min)
            self.windows += [(max(0.0, begin), end, len(self.spans)) for begin, end in pieces if end > 0.0]
            self.spans.append((start, start + shift.length_min))
        self.begins = [begin for begin, _, _ in self.windows]
        self.starts = [start for start, _ in self.spans]
        self.before = [0.0]
        for begin, end, _ in self.windows:
            self.before.append(self.before[-1] + end - begin)

    def worked(self, time_min: float) -> float:
        """Working minutes before a time."""
        place = bisect_right(self.begins, time_min) - 1
        if place < 0:
            return 0.0
        begin, end, _ = self.windows[place]
        return self.before[place] + min(time_min, end) - begin

    def shift_at(self, time_min: float) -> int:
        """Number of the shift that has begun last."""
        return max(0, bisect_right(self.starts, time_min) - 1)

    def after_breaks(self, start_min: float, minutes: float) -> float:
        """When so many minutes from a time on are over, breaks left out; work goes on beyond the end of a shift."""
        span_end = self.spans[self.shift_at(start_min)][1]
        place = max(0, bisect_right(self.begins, start_min) - 1)
        while True:
            begin, end, _ = self.windows[place]
            start_min = max(start_min, begin)
            if end == span_end or start_min + minutes <= end:
                return start_min + minutes
            minutes -= max(0.0, end - start_min)
            place += 1


class Drain(NamedTuple):
    """What a power takes from a battery in an hour."""

    amps: float
    soc_per_h: float


def drain(power_w: float, capacity_ah: float) -> Drain:
    """Current of a power, and how fast the state of charge falls, never slower than by ampere-hours."""
    amps = power_w / (CELLS * CELL_V)
    return Drain(amps, amps / capacity_ah * max(1.0, (amps / (capacity_ah / 5.0)) ** (PEUKERT - 1.0)))


class Work(NamedTuple):
    """How a truck works on one battery: when it leaves its work, and what that has drawn. [min, Ah, kWh]"""

    left_min: float
    ah: float
    kwh: float


def work(calendar: Calendar, powers_w: Sequence[float], since_min: float, soc: float, capacity_ah: float) -> Work:
    """Work from a time on, shift by shift, down to the level. [min, -, Ah]"""
    ah = kwh = 0.0
    place = max(0, bisect_right(calendar.begins, since_min) - 1)
    while True:
        begin, end, shift = calendar.windows[place]
        start_min, power_w = max(begin, min(since_min, end)), powers_w[shift]
        amps, soc_per_h = drain(power_w, capacity_ah)
        hours = min((end - start_min) / 60.0, max(0.0, (soc - LEVEL_SHARE) / soc_per_h))
        ah, kwh, soc = ah + amps * hours, kwh + power_w * hours / 1000.0, soc - soc_per_h * hours
        if start_min + hours * 60.0 < end:
            return Work(start_min + hours * 60.0, ah, kwh)
        place += 1


class Charge(NamedTuple):
    """A charge, which leaves the battery full unless it is cut off. [h, Ah, kWh]"""

    hours: float
    ah: float
    kwh: float


def charge(missing_ah: float, capacity_ah: float, most_h: float = inf) -> Charge:
    """Main current down to what is accepted, falling current at the limit, end current until nothing is owed."""
    main_a, end_a = MAIN_PER_AH * capacity_ah, END_PER_AH * capacity_ah
    knee_ah, stop_ah = main_a * TAU_H, end_a * TAU_H
    main_ah = max(0.0, missing_ah - knee_ah)
    falling_ah = max(0.0, missing_ah - main_ah - stop_ah)
    end_ah = CHARGE_FACTOR * missing_ah - main_ah - falling_ah

    main_h = min(most_h, main_ah / main_a)
    falling_h = min(most_h - main_h, TAU_H * log(1.0 + falling_ah / stop_ah))
    end_h = min(most_h - main_h - falling_h, end_ah / end_a)
    given_ah = main_h * main_a, (stop_ah + falling_ah) * (1.0 - exp(-falling_h / TAU_H)), end_h * end_a
    per_ah_v = (LIMIT_V - MAIN_FROM_V) / (capacity_ah - knee_ah)
    main_v = LIMIT_V - per_ah_v * (main_ah - given_ah[0] / 2.0)
    volt_ah = given_ah[0] * main_v + given_ah[1] * LIMIT_V + given_ah[2] * END_V
    return Charge(main_h + falling_h + end_h, sum(given_ah), CELLS * volt_ah / 1000.0)
