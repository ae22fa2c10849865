"""Scheduled minutes that trucks lose to their batteries, by cause."""

import numpy as np

from batsim.measures.names import PARTS
from batsim.measures.profile import lost_before
from batsim.measures.windows import Floats, Measured, Worked, rate
from batsim.record.words import (
    CHARGE_IN_TRUCK,
    DRIVER,
    EXCHANGING,
    FETCHING,
    MAINTENANCE,
    NO_ATTENDANT,
    NO_BATTERY,
    NO_BAY,
    NO_DEVICE,
    NO_STATION,
    PLUGGING,
)
from batsim.scenario.parts.week import WEEK_MIN

WAITS = {
    "wait_station": NO_STATION,
    "wait_battery": NO_BATTERY,
    "wait_bay": NO_BAY,
    "wait_attendant": NO_ATTENDANT,
    "wait_device": NO_DEVICE,
}


LEAST_WAIT_MIN = 1e-6
"""A wait that is shorter is none, but rounding. [min]"""


def downtime_by_cause(measured: Measured) -> tuple[dict[str, Floats], dict[str, int]]:
    """Scheduled truck minutes that each group lost in the measured time, by cause; how many trucks waited for each.

    The minutes add up to all that is lost. [min]
    """
    rows = measured.columns("exchanges")
    lost: dict[str, Floats] = {part: np.zeros(len(measured.groups)) for part in PARTS}
    counts = dict.fromkeys(WAITS, 0)
    for number, worked in enumerate(measured.groups):
        mine = rows["group"] == number
        times = ("left_min", "joined_min", "start_min", "truck_free_min", "back_min")
        left, joined, start, free, back = (measured.clip(rows[name][mine]) for name in times)
        left_at, back_at = worked(left), worked(back)
        joined_at, start_at, free_at = worked(joined), worked(start), worked(free)
        stops_at = worked(np.maximum(left, joined - rows["fetched_min"][mine]))
        lost["travel"][number] = float(np.sum(stops_at - left_at)) + float(np.sum(back_at - free_at))
        lost["fetch"][number] = float(np.sum(joined_at - stops_at))
        stands = measured.columns("stands")
        helping = stands["group"] == number
        begin, end = (worked(measured.clip(stands[name][helping])) for name in ("start_min", "end_min"))
        with_exchange = stands["task"][helping] == EXCHANGING
        lost["help"][number] = float(np.sum((end - begin)[with_exchange]))
        maintaining = float(np.sum((end - begin)[~with_exchange]))
        in_truck = rows["kind"][mine] == CHARGE_IN_TRUCK
        lost["exchange"][number] = float(np.sum((free_at - start_at)[~in_truck]))
        # Water goes in at the end, just before the truck is free again.
        water_at = worked(np.maximum(start, free - np.nan_to_num(rows["watering_min"][mine])))
        lost["watering"][number] = maintaining + float(np.sum((free_at - water_at)[in_truck]))
        lost["charge_in_truck"][number] = float(np.sum((water_at - start_at)[in_truck]))
        for queue in range(len(measured.facts.battery_types)):
            here = rows["queue"][mine] == queue
            for name, minutes in _waits(measured, worked, queue, joined[here], start[here]).items():
                lost[name][number] += float(np.sum(minutes))
                counts[name] += int(np.count_nonzero(minutes > LEAST_WAIT_MIN))
    return lost, counts


def _waits(measured: Measured, worked: Worked, queue: int, joined: Floats, start: Floats) -> dict[str, Floats]:
    """Working minutes of each truck in one queue, until its exchange, booked on what its first truck lacked. [min]"""
    rows = measured.columns("queues")
    here = rows["queue"] == queue
    since = np.concatenate([[0.0], rows["from_min"][here]])
    causes = np.concatenate([[0.0], rows["cause"][here]])
    at_change = worked(since)
    first = np.searchsorted(since, joined, side="right") - 1
    last = np.searchsorted(since, start, side="right") - 1
    into_first, into_last = worked(joined) - at_change[first], worked(start) - at_change[last]
    booked = {}
    for name, cause in WAITS.items():
        on = causes == cause
        until_change = np.concatenate([[0.0], np.cumsum(np.diff(at_change) * on[:-1])])
        upto_start = until_change[last] + into_last * on[last]
        upto_joined = until_change[first] + into_first * on[first]
        booked[name] = upto_start - upto_joined
    return booked


def downtime_measures(measured: Measured) -> dict[str, float]:
    """Downtime and its parts per truck-shift, and availability."""
    by_group, counts = downtime_by_cause(measured)
    lost = {cause: sum(minutes.tolist()) for cause, minutes in by_group.items()}
    total = sum(lost.values())
    scheduled = float(np.sum(measured.scheduled_min))
    standing = _drivers_standing(measured, by_group)
    return {
        f"{cause}_min_per_truck_shift": rate(minutes, measured.truck_shifts)
        for cause, minutes in {"downtime": total, **lost}.items()
    } | {
        **{name.replace("wait_", "waits_"): float(count) for name, count in counts.items()},
        **_weeks(measured),
        "availability_share": 1.0 - total / scheduled if scheduled else np.nan,
        "driver_waiting_min_per_day": rate(standing, measured.working_days),
        "driver_outside_downtime_min_per_day": rate(_drivers_outside_downtime(measured), measured.working_days),
    }


def _weeks(measured: Measured) -> dict[str, float]:
    """Downtime per truck-shift of whole weeks since the warm-up, of all time without one: worst, first and later ones.

    Weeks in which nobody works are left out. [min]
    """
    weeks = max(1, int(measured.minutes // WEEK_MIN))
    edges = np.minimum(measured.start + WEEK_MIN * np.arange(weeks + 1), measured.end)
    lost = np.diff(lost_before(measured, edges))
    shifts = np.zeros_like(lost)
    facts = measured.facts
    for worked, trucks, length in zip(measured.groups, facts.group_trucks, facts.group_shift_min, strict=True):
        shifts += np.diff(worked(edges)) * trucks / length
    lost, shifts = lost[shifts > 0.0], shifts[shifts > 0.0]
    return {
        "worst_week_downtime_min_per_truck_shift": float(np.max(lost / shifts, initial=0.0)) if lost.size else np.nan,
        "first_week_downtime_min_per_truck_shift": float(lost[0] / shifts[0]) if lost.size else np.nan,
        "later_weeks_downtime_min_per_truck_shift": float(np.sum(lost[1:]) / np.sum(shifts[1:]))
        if lost.size > 1
        else np.nan,
    }


def _drivers_standing(measured: Measured, lost: dict[str, Floats]) -> float:
    """Lost minutes in which drivers neither drive, nor help, nor have their hands on a battery of their area. [min]"""
    standing = sum(lost.values()) - lost["travel"] - lost["help"]
    areas = zip(measured.facts.areas, _drivers_hands_on(measured), strict=True)
    return sum(max(0.0, float(np.sum(standing[list(area.groups)])) - hands_on) for area, hands_on in areas)


def _drivers_hands_on(measured: Measured) -> list[float]:
    """Drivers' hands-on minutes in each area that fall into scheduled time. [min]"""
    work = measured.columns("work")
    drivers = (work["person"] == DRIVER) & measured.inside(work["start_min"])
    scheduled = _scheduled(measured, work["start_min"], work["end_min"])
    within = np.minimum(scheduled, work["hands_on_min"])
    areas = range(len(measured.facts.areas))
    return [float(np.sum(within[drivers & (work["area"] == number)])) for number in areas]


def _scheduled(measured: Measured, start: Floats, end: Floats) -> Floats:
    """Minutes of each stretch of work in which trucks of its area are scheduled. [min]"""
    scheduled, areas = np.zeros_like(start), measured.columns("work")["area"]
    for number, worked in enumerate(measured.areas):
        mine = areas == number
        scheduled[mine] = worked(end[mine]) - worked(start[mine])
    return scheduled


def _drivers_outside_downtime(measured: Measured) -> float:
    """Drivers' hands-on minutes in no truck's downtime: what lies outside scheduled time, and what no truck stands for.

    While a truck is exchanged, fetched or plugged in within its shift, or stands or waits while its driver maintains a
    battery, its driver's minutes are those of its downtime.
    """
    work = measured.columns("work")
    start, end = measured.clip(work["start_min"]), measured.clip(work["end_min"])
    hands_on, length = measured.work_part * work["hands_on_min"], end - start
    people = np.maximum(1.0, np.divide(hands_on, length, out=np.ones_like(length), where=length > 0.0))
    within = np.minimum(hands_on, people * _scheduled(measured, start, end))
    maintaining = [number for number, area in enumerate(measured.facts.areas) if area.drivers_maintain]
    stands = np.isin(work["task"], (EXCHANGING, FETCHING, PLUGGING))
    stands |= np.isin(work["task"], MAINTENANCE) & np.isin(work["area"], maintaining)
    return float(np.sum((hands_on - within * stands)[work["person"] == DRIVER]))
