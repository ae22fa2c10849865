"""What is measured of the twin of a site, under the names of the package's measures, by its own arithmetic."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from itertools import chain, pairwise

import numpy as np

from tests.behaviour.mixed_site import CELLS, DRIVE_IN_MIN, EFFICIENCY, STANDBY_KW, WEEK_MIN
from tests.behaviour.site_twin import BATTERY, PEOPLE, STATION, SiteTwin
from tests.behaviour.site_twin_battery import WATER_G_PER_AH, Calendar, charge
from tests.behaviour.site_twin_rows import Charged, Exchange, Truck

DAYS_A_WEEK = 5.0
"""In which somebody works: a shift belongs to the day that holds its middle."""
CAUSES = {"wait_battery": BATTERY, "wait_station": STATION, "wait_attendant": PEOPLE}


class Window:
    """The measured time. [min]"""

    def __init__(self, begin_min: float, end_min: float) -> None:
        self.begin, self.end = begin_min, end_min
        self.days = (end_min - begin_min) / WEEK_MIN * DAYS_A_WEEK

    def holds(self, time_min: float) -> bool:
        """Whether a time lies in it, its end left out."""
        return self.begin <= time_min < self.end

    def clip(self, time_min: float) -> float:
        """A time moved into it."""
        return min(max(time_min, self.begin), self.end)

    def part(self, start_min: float, end_min: float) -> float:
        """Share of a stretch of time that lies in it."""
        return (self.clip(end_min) - self.clip(start_min)) / (end_min - start_min)

    def minutes(self, calendar: Calendar, start_min: float, end_min: float) -> float:
        """Working minutes of a stretch of time that lie in it."""
        return calendar.worked(self.clip(end_min)) - calendar.worked(self.clip(start_min))


def measures_of(twin: SiteTwin, warm_up_min: float) -> dict[str, float]:
    """All that is measured of a run."""
    window = Window(warm_up_min, twin.until_min)
    return {
        **_downtime(twin, window),
        **_visits(twin, window),
        **_stock(twin, window),
        **_labour(twin, window),
        **_chargers(twin, window),
        **_energy(twin, window),
    }


def _asked(twin: SiteTwin) -> list[Exchange]:
    """Exchanges, and the visits of trucks that still come or wait when the run ends."""
    begun = {(each.truck, each.left_min) for each in twin.exchanges}
    never = float("inf")
    still = [
        Exchange(
            truck.number,
            truck.battery.number,
            -1,
            truck.ready_found if truck.joined_min < twin.until_min else -1,
            truck.left_min,
            truck.joined_min,
            *[never] * 4,
        )
        for truck in twin.trucks
        if (truck.number, truck.left_min) not in begun and truck.left_min < twin.until_min
    ]
    return twin.exchanges + still


def _downtime(twin: SiteTwin, window: Window) -> dict[str, float]:
    """Scheduled minutes that are lost, by cause."""
    trucks = twin.trucks
    lost = dict.fromkeys(("travel", *CAUSES, "exchange"), 0.0)
    courses = _courses(twin)
    for each in _asked(twin):
        calendar, queue = trucks[each.truck].calendar, trucks[each.truck].queue.place
        lost["travel"] += window.minutes(calendar, each.left_min, each.joined_min)
        lost["travel"] += window.minutes(calendar, each.free_min, each.back_min)
        lost["exchange"] += window.minutes(calendar, each.start_min, each.free_min)
        for name, cause in CAUSES.items():
            for start_min, end_min in _while(courses[queue], cause, each.joined_min, each.start_min):
                lost[name] += window.minutes(calendar, start_min, end_min)
    scheduled = [window.minutes(truck.calendar, window.begin, window.end) for truck in trucks]
    shifts = sum(minutes / _shift_min(twin, truck) for minutes, truck in zip(scheduled, trucks, strict=True))
    down = sum(lost.values())
    return {
        "downtime_min_per_truck_shift": down / shifts,
        **{f"{name}_min_per_truck_shift": minutes / shifts for name, minutes in lost.items()},
        "availability_share": 1.0 - down / sum(scheduled),
        "work_hours_per_day": (sum(scheduled) - down) / 60.0 / window.days,
    }


def _shift_min(twin: SiteTwin, truck: Truck) -> float:
    """Mean working time of a shift of a truck. [min]"""
    shifts = [twin.site.shifts[name] for name in truck.group.shifts]
    week_min = sum(len(shift.days) * (shift.length_min - shift.break_min) for shift in shifts)
    return week_min / sum(len(shift.days) for shift in shifts)


Course = tuple[list[float], list[int]]


def _courses(twin: SiteTwin) -> list[Course]:
    """For each queue, when what its head lacks has changed, and to what."""
    courses: list[Course] = [([0.0], [0]) for _ in twin.queues]
    for time_min, place, cause in twin.lacked:
        courses[place][0].append(time_min)
        courses[place][1].append(cause)
    return courses


def _while(course: Course, cause: int, start_min: float, end_min: float) -> Iterator[tuple[float, float]]:
    """Parts of a stretch of time in which a queue lacks something."""
    times, causes = course
    for place in range(bisect_right(times, start_min) - 1, bisect_right(times, end_min)):
        if causes[place] == cause:
            until = times[place + 1] if place + 1 < len(times) else float("inf")
            yield max(times[place], start_min), min(until, end_min)


def _visits(twin: SiteTwin, window: Window) -> dict[str, float]:
    """Exchanges, their waits, and what trucks find."""
    waits = [
        twin.trucks[each.truck].calendar.worked(each.start_min)
        - twin.trucks[each.truck].calendar.worked(each.joined_min)
        for each in twin.exchanges
        if window.holds(each.start_min)
    ]
    found = [each.ready_found for each in _asked(twin) if window.holds(each.joined_min)]
    return {
        "exchanges_per_day": sum(window.holds(each.free_min) for each in twin.exchanges) / window.days,
        "wait_min_per_exchange": float(np.mean(waits)),
        "wait_min_p95": float(np.quantile(waits, 0.95)),
        "waited_share": float(np.mean(np.array(waits) > 0.0)),
        "found_none_ready_share": found.count(0) / len(found),
    }


def _stock(twin: SiteTwin, window: Window) -> dict[str, float]:
    """Ready batteries over time."""
    counts = [0] * len(twin.queues)
    total = none = 0.0
    fewest: int | float = float("inf")
    edges = chain(twin.stock, [(twin.until_min, 0, 0)])
    for (since, place, count), (until, _, _) in pairwise(edges):
        counts[place] = count
        minutes = window.clip(until) - window.clip(since)
        if minutes > 0.0:
            total += sum(counts) * minutes
            none += (0 in counts) * minutes
            fewest = min(fewest, *counts)
    whole = window.end - window.begin
    return {
        "ready_batteries_mean": total / whole,
        "ready_batteries_min": float(fewest),
        "none_ready_time_share": none / whole,
    }


def _labour(twin: SiteTwin, window: Window) -> dict[str, float]:
    """What attendants and drivers do."""
    calendars = {person.shift: person.calendar for person in twin.people}
    on_duty = sum(window.minutes(person.calendar, window.begin, window.end) for person in twin.people)
    busy = overtime = 0.0
    hands_on = dict.fromkeys(("exchange", "connect", "watering"), 0.0)
    for job in twin.jobs:
        calendar = calendars[job.shift]
        shift_end_min = calendar.spans[calendar.shift_at(job.start_min)][1]
        in_shift_min = _within(window, [(job.start_min, min(job.end_min, shift_end_min))])
        on_duty_min = window.minutes(calendar, job.start_min, job.end_min)
        if twin.site.at_break == "finish_then_full_break":  # the break is kept, only later
            on_duty_min = in_shift_min
        busy += job.people * on_duty_min
        overtime += job.people * _within(window, [(max(job.start_min, min(shift_end_min, job.end_min)), job.end_min)])
        if twin.site.at_break == "finish":
            overtime += job.people * (in_shift_min - on_duty_min)
        hands_on[job.task] += job.hands_on_min * window.part(job.start_min, job.end_min)
    driving = sum(DRIVE_IN_MIN * window.part(each.start_min, each.start_min + DRIVE_IN_MIN) for each in twin.exchanges)
    hands_on["exchange"] += driving
    return {
        "attendants_busy_share": busy / on_duty,
        "attendants_overtime_min_per_day": overtime / window.days,
        "labour_min_per_day": sum(hands_on.values()) / window.days,
        **{f"labour_{task}_min_per_day": minutes / window.days for task, minutes in hands_on.items()},
    }


def _chargers(twin: SiteTwin, window: Window) -> dict[str, float]:
    """What chargers do, over their number and all time."""
    whole = _chargers_of(twin) * (window.end - window.begin)
    open_held = [(each.held_min, twin.until_min) for each in twin.batteries if each.held_min is not None]
    taken = _within(window, [(each.from_min, each.to_min) for each in twin.held] + open_held)
    busy = _within(window, ((each.start_min, each.end_min) for each in twin.charges))
    return {"charger_busy_share": busy / whole, "charger_taken_share": taken / whole}


def _within(window: Window, spells: Iterable[tuple[float, float]]) -> float:
    """Minutes of spells that lie in the measured time."""
    return sum(window.clip(end) - window.clip(start) for start, end in spells)


def _energy(twin: SiteTwin, window: Window) -> dict[str, float]:
    """Energy, charges, gas and water; what is cut off by the window goes by length, but for what the wall gives."""
    parts = [window.part(each.start_min, each.end_min) for each in twin.charges]
    charged_kwh = sum(part * each.kwh for part, each in zip(parts, twin.charges, strict=True))
    gas_ah = sum(part * each.gas_ah for part, each in zip(parts, twin.charges, strict=True))
    drawn_kwh = sum(
        each.kwh * window.part(each.start_min, each.end_min)
        for each in twin.discharges
        if each.start_min < twin.until_min
    )
    given_kwh = sum(
        _given_kwh(twin, each, window.clip(each.end_min)) - _given_kwh(twin, each, window.clip(each.start_min))
        for each in twin.charges
    )
    idle_min = _chargers_of(twin) * (window.end - window.begin)
    idle_min -= _within(window, ((each.start_min, each.end_min) for each in twin.charges))
    watered = [each for each in twin.waterings if window.holds(each.start_min)]
    kg_per_ah, weeks = CELLS * WATER_G_PER_AH / 1000.0, (window.end - window.begin) / WEEK_MIN
    return {
        "energy_charged_kwh_per_day": charged_kwh / window.days,
        "energy_kwh_per_day": (given_kwh / EFFICIENCY + STANDBY_KW * idle_min / 60.0) / window.days,
        "energy_drawn_kwh_per_day": drawn_kwh / window.days,
        "charges_started": float(sum(window.holds(each.start_min) for each in twin.charges)),
        "water_lost_kg_per_day": gas_ah * kg_per_ah / window.days,
        "water_added_kg_per_day": sum(each.gas_ah for each in watered) * kg_per_ah / window.days,
        "waterings_per_battery_per_week": len(watered) / len(twin.batteries) / weeks,
    }


def _given_kwh(twin: SiteTwin, charged: Charged, until_min: float) -> float:
    """What a charge has put in by a time. [kWh]"""
    capacity_ah = twin.capacity_ah(twin.batteries[charged.battery])
    return charge(charged.missing_ah, capacity_ah, max(0.0, until_min - charged.start_min) / 60.0).kwh


def _chargers_of(twin: SiteTwin) -> int:
    """Chargers of the site."""
    return sum(sum(area.chargers.values()) for area in twin.site.areas.values())
