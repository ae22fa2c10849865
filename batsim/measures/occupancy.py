"""How busy stations, devices, chargers and attendants are, and what hands-on work people do."""

from collections.abc import Callable

import numpy as np

from batsim.measures.stock import spells
from batsim.measures.windows import Floats, Measured, rate
from batsim.record.facts import RunFacts
from batsim.record.words import ATTENDANT, CONNECTED, ON_CHARGE, PAUSED, PERSONS, TASKS, TURNED_AWAY


def occupancy_measures(measured: Measured) -> dict[str, float]:
    """Busy shares; not a number where there is no limit to be busy against."""
    facts = measured.facts
    start, free = (measured.clip(times) for times in at_stations(facts, measured.columns))
    open_min = measured.site.between(measured.start, measured.end)
    at_station = float(np.sum(measured.site(free) - measured.site(start)))
    chargers = sum(facts.charger_counts)
    return {
        "station_busy_share": _share(at_station, facts.stations * open_min),
        **_chargers(measured, chargers),
        "device_busy_share": _devices(measured, open_min),
        **_attendants(measured),
        "batteries": float(facts.batteries),
        "batteries_per_truck": facts.batteries / facts.trucks,
        "chargers": chargers if np.isfinite(chargers) else np.nan,
        "stations": facts.stations if np.isfinite(facts.stations) else np.nan,
    }


def at_stations(facts: RunFacts, columns: Callable[[str], dict[str, Floats]]) -> tuple[Floats, Floats]:
    """When trucks began to take a station, or a charging spot, and when it was free again. [min]"""
    rows, charges = columns("exchanges"), columns("charges")
    plugged = np.array([area.in_truck for area in facts.area_of_queue])
    served = (rows["kind"] != TURNED_AWAY) & ~plugged[rows["queue"].astype(int)]
    at_spot = plugged[charges["queue"].astype(int)]
    began = np.concatenate([rows["start_min"][served], charges["connected_min"][at_spot]])
    free = np.concatenate([rows["truck_free_min"][served], charges["end_min"][at_spot]])
    return began, free


def _devices(measured: Measured, open_min: float) -> float:
    """Share of the site's working time in which jobs hold devices, all kinds together."""
    rows = measured.columns("devices")
    start, end = (measured.site(measured.clip(rows[name])) for name in ("start_min", "end_min"))
    return _share(float(np.sum(end - start)), sum(measured.facts.device_counts) * open_min)


def _chargers(measured: Measured, chargers: float) -> dict[str, float]:
    """Shares of the chargers' time by what they do; together they are all of it."""
    outages, taken = measured.columns("outages"), measured.columns("chargers")
    of_chargers = outages["thing"] >= measured.facts.first_charger
    minutes = {
        "busy": _minutes(*spells(measured, ON_CHARGE)[1:]),
        "paused": _minutes(*spells(measured, PAUSED)[1:]),
        "waiting": _minutes(*spells(measured, *CONNECTED)[1:]),
    }
    taken_min = _minutes(measured.clip(taken["from_min"]), measured.clip(taken["to_min"]))
    minutes["held"] = taken_min - sum(minutes.values())
    minutes["out"] = _minutes(*(measured.clip(outages[edge][of_chargers]) for edge in ("from_min", "to_min")))
    whole = chargers * measured.minutes
    minutes["free"] = whole - taken_min - minutes["out"]
    return {f"charger_{what}_share": _share(part, whole) for what, part in minutes.items()}


def _minutes(start: Floats, end: Floats) -> float:
    """Sum of stretches of time. [min]"""
    return float(np.sum(end - start))


def _attendants(measured: Measured) -> dict[str, float]:
    """Attendants' time on duty: hands-on, kept by a job without work of theirs, idle; and their overtime."""
    on_duty = sum(
        count * max(0.0, min(end, measured.end) - max(start, measured.start))
        for start, end, count in measured.facts.attendant_windows
    )
    work, part = measured.columns("work"), measured.work_part
    mine = work["person"] == ATTENDANT
    kept = part * (work["end_min"] - work["start_min"]) * work["people"]
    in_duty = mine & (work["overtime"] == 0.0)
    busy, overtime = float(np.sum(kept[in_duty])), float(np.sum(kept[mine & ~in_duty]))
    hands_on = float(np.sum((part * work["hands_on_min"])[in_duty]))
    minutes = {"on_duty": on_duty, "hands_on": hands_on, "held": busy - hands_on, "idle": on_duty - busy}
    minutes["overtime"] = overtime
    limited, days = bool(measured.facts.attendant_windows), measured.working_days
    return {
        "attendants_busy_share": _share(busy, on_duty),
        **{
            f"attendants_{what}_min_per_day": rate(amount, days) if limited else np.nan
            for what, amount in minutes.items()
        },
    }


def _share(part: float, whole: float) -> float:
    """Part of a whole; not a number when the whole is nothing or without limit."""
    return part / whole if whole > 0.0 and np.isfinite(whole) else np.nan


def labour_measures(measured: Measured) -> dict[str, float]:
    """Labour per working day, in all, by person, by task, and by both; each way adds up to the same."""
    work, days = measured.columns("work"), measured.working_days
    names = {"labour_min_per_day": 0.0}
    hands_on = measured.work_part * work["hands_on_min"]
    for person, who in enumerate(PERSONS):
        for task, what in enumerate(TASKS):
            mine = (work["person"] == person) & (work["task"] == task)
            minutes = float(np.sum(hands_on[mine])) / days if days else np.nan
            for name in ("labour", f"labour_{who}", f"labour_{what}", f"labour_{who}_{what}"):
                key = f"{name}_min_per_day"
                names[key] = names.get(key, 0.0) + minutes
    return names
