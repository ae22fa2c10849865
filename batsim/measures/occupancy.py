"""How busy stations, devices, chargers and attendants are, and what hands-on work people do."""

import numpy as np

from batsim.measures.windows import Measured, rate
from batsim.record import ATTENDANT, PERSONS, TASKS, TURNED_AWAY


def occupancy_measures(measured: Measured) -> dict[str, float]:
    """Busy shares; not a number where there is no limit to be busy against."""
    facts, rows, charges = measured.facts, measured.columns("exchanges"), measured.columns("charges")
    served = rows["kind"] != TURNED_AWAY
    if facts.in_truck:
        start, free = measured.clip(charges["connected_min"]), measured.clip(charges["end_min"])
    else:
        start, free = measured.clip(rows["start_min"][served]), measured.clip(rows["truck_free_min"][served])
    devices = measured.columns("devices")
    open_min = measured.site.between(measured.start, measured.end)
    at_station = float(np.sum(measured.site(free) - measured.site(start)))
    taken, returned = (measured.site(measured.clip(devices[name])) for name in ("start_min", "end_min"))
    held = float(np.sum(returned - taken))
    charging = float(np.sum(measured.clip(charges["end_min"]) - measured.clip(charges["start_min"])))
    chargers = sum(facts.charger_counts)
    return {
        "station_busy_share": _share(at_station, facts.stations * open_min),
        "charger_busy_share": _share(charging, chargers * measured.minutes),
        "device_busy_share": _share(held, sum(facts.device_counts) * open_min),
        **_attendants(measured),
        "batteries": float(facts.batteries),
        "batteries_per_truck": facts.batteries / facts.trucks,
        "chargers": chargers if np.isfinite(chargers) else np.nan,
        "stations": facts.stations if np.isfinite(facts.stations) else np.nan,
    }


def _attendants(measured: Measured) -> dict[str, float]:
    """Attendants' time on duty, how much of it jobs take and leave; work after the end of a shift counts as work."""
    on_duty = sum(
        count * max(0.0, min(end, measured.end) - max(start, measured.start))
        for start, end, count in measured.facts.attendant_windows
    )
    work = measured.columns("work")
    mine = work["person"] == ATTENDANT
    held = measured.clip(work["end_min"][mine]) - measured.clip(work["start_min"][mine])
    busy, days = float(np.sum(held * work["people"][mine])), measured.working_days
    limited = bool(measured.facts.attendant_windows)
    return {
        "attendants_busy_share": _share(busy, on_duty),
        "attendants_on_duty_min_per_day": rate(on_duty, days) if limited else np.nan,
        "attendants_idle_min_per_day": rate(max(0.0, on_duty - busy), days) if limited else np.nan,
    }


def _share(part: float, whole: float) -> float:
    """Part of a whole; not a number when the whole is nothing or without limit."""
    return part / whole if whole > 0.0 and np.isfinite(whole) else np.nan


def labour_measures(measured: Measured) -> dict[str, float]:
    """Labour per working day, in all, by person, by task, and by both; each way adds up to the same."""
    work, days = measured.columns("work"), measured.working_days
    names = {"labour_min_per_day": 0.0}
    inside = measured.inside(work["start_min"])
    for person, who in enumerate(PERSONS):
        for task, what in enumerate(TASKS):
            mine = inside & (work["person"] == person) & (work["task"] == task)
            minutes = float(np.sum(work["hands_on_min"][mine])) / days if days else np.nan
            for name in ("labour", f"labour_{who}", f"labour_{what}", f"labour_{who}_{what}"):
                key = f"{name}_min_per_day"
                names[key] = names.get(key, 0.0) + minutes
    return names
