"""One battery over time: its course on an even grid and the stretches of its states, from its rows."""

from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, frame_of
from batsim.errors import require
from batsim.formulas.gassing import hydrogen_l
from batsim.measures.electrical_load import hours_at_start
from batsim.measures.gas import HYDROGEN_DEGC, HYDROGEN_PA
from batsim.measures.windows import Floats, Whole, Worked, check_window, stays
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import STATES

Rows = dict[str, Floats]

ROUNDED = 9
"""Decimals of the gas current, so that rounding is not taken for gas."""


class Stretch(NamedTuple):
    """A battery in one state."""

    battery: int
    state: str
    """A word of `batsim.record.words.STATES`."""
    from_min: float
    to_min: float


def battery_course(record: Record, battery: int, start_min: float, end_min: float, step_min: float) -> Frame:
    """Course of one battery, read from its rows at even instants.

    Parameters
    ----------
    record
        What the run left behind. The warm-up may be looked at too.
    battery
        Number of the battery, from 0.
    start_min, end_min
        First instant, and the last one if a whole number of steps leads there. [min]
    step_min
        Time from one instant to the next. [min]

    Returns
    -------
    DataFrame
        A row for each instant; its ``attrs`` name the battery, its type, ``warm_up_min`` of the run [min] and
        ``hydrogen_l_per_ah``, the hydrogen that an ampere-hour of gas makes in it. [l/Ah]

        ======================  ====  ==================================================================
        time_min                min   from Monday 00:00
        state                   -     word of `batsim.record.words.STATES`
        soc_share               -     state of charge
        amps                    A     above 0 on charge, below 0 in use
        temperature_degc        degC  electrolyte
        gas_a                   A     part of the current that makes gas
        hydrogen_l_per_h        l/h   at 25 degC and 101,325 Pa, what leaves the cells; not a number where none does
        ======================  ====  ==================================================================

    Raises
    ------
    ValueError
        If there is no such battery, it has no states, the span is empty or endless, or the step is not above 0.

    Notes
    -----
    In use the current is the mean of the discharge, in working time only, and the state of charge a share of what can
    be had at the work's current and temperature. On charge it is 1 - missing/C5. So the curve may step where a charge
    or a discharge begins. In between it holds; before the first row it has the first value, and is not a number without
    any. Temperature is known where discharges and charges begin and end; in between it runs as one lump under constant
    heat. Beyond the horizon only what had been planned by then is known. A discharge that the calendar does not see the
    end of is spread over what the calendar has.

    References
    ----------
    Charge: `batsim.formulas.charging`. Temperature: Newton's law of cooling, `batsim.formulas.heat`. Hydrogen:
    Faraday's law, `batsim.formulas.gassing`.
    """
    facts = record.facts
    _check_battery(facts, battery)
    check_window(start_min, end_min, "the span")
    require(0.0 < step_min < np.inf, f"the step must be above 0 and finite (got {step_min:g} min)")
    steps = int((end_min - start_min) / step_min * (1.0 + 1e-12))
    times: Floats = start_min + step_min * np.arange(steps + 1, dtype=np.float64)
    kind = facts.battery_types[facts.type_numbers[battery]]
    discharges, charges = _rows(record, "discharges", battery), _rows(record, "charges", battery)
    phases = _rows(record, "charge_phases", battery)
    soc, amps, gas = _electricity(facts, kind.capacity_ah, times, discharges, charges, phases)
    litres_per_ah = np.nan
    if kind.vented_share:
        litres_per_ah = kind.vented_share * hydrogen_l(1.0, kind.cells, HYDROGEN_DEGC, HYDROGEN_PA)
    course = frame_of(
        {
            "time_min": times,
            "state": _states(record, battery, times),
            "soc_share": soc,
            "amps": amps,
            "temperature_degc": _temperature(times, discharges, charges, kind.truck_tau_h, kind.room_tau_h),
            "gas_a": gas,
            "hydrogen_l_per_h": litres_per_ah * gas,
        }
    )
    course.attrs = {
        "battery": int(battery),
        "type": kind.name,
        "hydrogen_l_per_ah": litres_per_ah,
        "warm_up_min": record.facts.warm_up_min,
    }
    return course


def first_cycle(record: Record, battery: int, after_min: float) -> tuple[float, float]:
    """First whole cycle of use, charge and rest that begins at or after a time.

    Parameters
    ----------
    record
        What the run left behind.
    battery
        Number of the battery, from 0.
    after_min
        The cycle begins no earlier. [min]

    Returns
    -------
    tuple of float
        Start of a discharge on the charged battery, and of its next discharge after a charge. [min]

    Raises
    ------
    ValueError
        If there is no such battery, or no such cycle.

    Notes
    -----
    A truck that found no battery and carries on begins a new discharge without a charge: it stays within the cycle.
    """
    _check_battery(record.facts, battery)
    discharges, charges = (_rows(record, table, battery)["start_min"] for table in ("discharges", "charges"))
    begun = np.searchsorted(charges, discharges, side="right")  # charges before each discharge
    begins = discharges[np.append(True, begun[1:] > begun[:-1])] if discharges.size else discharges
    first = int(np.searchsorted(begins, after_min, side="left"))
    rule = f"battery {battery} must have a charge and two discharges that begin after the time asked for"
    require(first + 1 < begins.size, f"{rule}; ask for an earlier time or simulate longer (got {after_min:g} min)")
    return float(begins[first]), float(begins[first + 1])


def battery_stretches(record: Record, battery: int, from_min: float, to_min: float) -> list[Stretch]:
    """States of a battery over a window of a run, one after the other.

    Parameters
    ----------
    record
        What the run left behind. The warm-up may be looked at too.
    battery
        Number of the battery, from 0.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]

    Returns
    -------
    list of Stretch
        They fill the window from the battery's first row on; of rows at the same instant the last one holds.

    Raises
    ------
    ValueError
        If there is no such battery, or the window is empty, endless or outside the run.
    """
    facts = record.facts
    _check_battery(facts, battery)
    begin, end = max(from_min, 0.0), min(to_min, facts.horizon_min)
    overlaps = -np.inf < from_min < to_min < np.inf and begin < end
    rule = f"a window must end after it begins and overlap the run, 0 to {facts.horizon_min:g} min"
    require(overlaps, f"{rule} (got {from_min:g} to {to_min:g} min)")
    batteries, codes, since, until = stays(record)
    found: list[Stretch] = []
    for row in np.flatnonzero(batteries == battery):
        start, stop, code = max(since[row], begin), min(until[row], end), codes[row]
        if start < stop:
            if found and found[-1].state == STATES[code]:
                start = found.pop().from_min  # the same state goes on
            found.append(Stretch(int(battery), STATES[code], float(start), float(stop)))
    return found


def _check_battery(facts: RunFacts, battery: int) -> None:
    """Refuse a number that no battery has."""
    rule = f"a battery must have a number from 0 to {facts.batteries - 1}"
    require(battery in range(facts.batteries), f"{rule} (got {battery})")


def _rows(record: Record, table: str, battery: int) -> Rows:
    """Rows of one battery in order of their start; those that never started are left out."""
    rows = record.columns(table)
    start = rows["start_min"]
    mine = np.flatnonzero((rows["battery"] == battery) & ~np.isnan(start))
    mine = mine[np.argsort(start[mine], kind="stable")]
    return {name: column[mine] for name, column in rows.items()}


def _last(starts: Floats, times: Floats) -> tuple[Whole, Floats]:
    """Number of the last row that began by each time, and when that was; 0 and minus infinity where none did."""
    index = np.searchsorted(starts, times, side="right") - 1
    number = np.maximum(index, 0)
    since = np.where(index >= 0, starts[number], -np.inf) if starts.size else np.full(times.size, -np.inf)
    return number, since


def _states(record: Record, battery: int, times: Floats) -> "np.ndarray[Any, Any]":
    """Word of the state at each time; of rows at the same time the last one holds."""
    batteries, codes, since, _ = stays(record)
    mine = batteries == battery
    require(mine.any(), f"a battery must have states in the record (got none for battery {battery})")
    words: np.ndarray[Any, Any] = np.array(STATES, dtype=object)[codes[mine][_last(since[mine], times)[0]]]
    return words


def _electricity(
    facts: RunFacts, capacity_ah: float, times: Floats, discharges: Rows, charges: Rows, phases: Rows
) -> tuple[Floats, Floats, Floats]:
    """State of charge, current and gas current at each time. [-, A, A]"""
    use_since, use_soc, use_amps = _in_use(facts, times, discharges)
    charge_since, charge_soc, charge_amps, gas = _on_charge(capacity_ah, times, phases)
    number, rest_since = _last(charges["end_min"], times)
    rest_soc = charges["soc_to_share"][number] if charges["end_min"].size else np.full(times.size, np.nan)
    # What began last holds; at the same instant use goes before rest, and charge before use.
    since = np.stack([charge_since, use_since, rest_since])
    soc = np.choose(np.argmax(since, axis=0), [charge_soc, use_soc, rest_soc])
    first, come = np.inf, np.nan
    for rows in (discharges, charges, phases):
        if rows["start_min"].size and rows["start_min"][0] < first:
            first, come = float(rows["start_min"][0]), float(rows["soc_from_share"][0])
    return np.where(np.max(since, axis=0) == -np.inf, come, soc), use_amps + charge_amps, gas


def _in_use(facts: RunFacts, times: Floats, discharges: Rows) -> tuple[Floats, Floats, Floats]:
    """Start, state of charge and current of the last discharge that began by each time. [min, -, A]"""
    number, since = _last(discharges["start_min"], times)
    soc, amps = np.full(times.size, np.nan), np.zeros(times.size)
    for group, windows in enumerate(facts.group_windows):
        here = np.flatnonzero(since > -np.inf)
        here = here[discharges["group"][number[here]] == group]
        if not here.size:
            continue
        now, worked = times[here], Worked(windows)
        start, end, soc_from, soc_to, drawn_ah = (
            discharges[name][number[here]]
            for name in ("start_min", "end_min", "soc_from_share", "soc_to_share", "drawn_ah")
        )
        minutes = worked(end) - worked(start)
        works = minutes > 0.0
        minutes = np.where(works, minutes, 1.0)
        done = np.where(works, (worked(np.minimum(now, end)) - worked(start)) / minutes, now >= end)
        soc[here] = soc_from + (soc_to - soc_from) * done
        at_work = works & (now < end) & (np.searchsorted(worked.edges, now, side="right") % 2 == 1)
        amps[here] = np.where(at_work, -60.0 * drawn_ah / minutes, 0.0)
    return since, soc, amps


def _on_charge(capacity_ah: float, times: Floats, phases: Rows) -> tuple[Floats, Floats, Floats, Floats]:
    """Start, state of charge, current and gas current of the last phase that began by each time. [min, -, A, A]"""
    number, since = _last(phases["start_min"], times)
    if not phases["start_min"].size:
        return since, np.full(times.size, np.nan), np.zeros(times.size), np.zeros(times.size)
    names = ("hours", "start_a", "decay_per_h", "soc_from_share", "soc_to_share", "acceptance_per_h", "side_gas_a")
    hours, start_a, decay, soc_from, soc_to, acceptance, side_gas_a = (phases[name][number] for name in names)
    began = np.where(since > -np.inf, since, times)
    passed = np.clip((times - began) / 60.0, 0.0, hours)
    current = start_a * np.exp(-decay * passed)
    ah, all_ah = start_a * hours_at_start(passed, decay), start_a * hours_at_start(hours, decay)
    per_ah = (soc_to - soc_from) / np.where(all_ah > 0.0, all_ah, 1.0)
    missing = (1.0 - soc_from) * np.exp(-acceptance * passed)
    accepts = acceptance > 0.0
    soc = np.where(accepts, 1.0 - missing, soc_from + per_ah * ah)
    stored = capacity_ah * np.where(accepts, acceptance * missing, per_ah * current)
    on = (since > -np.inf) & (times < since + 60.0 * hours)
    gas = np.round(np.maximum(current - stored, 0.0) + side_gas_a, ROUNDED)
    return since, soc, np.where(on, current, 0.0), np.where(on, gas, 0.0)


def _temperature(times: Floats, discharges: Rows, charges: Rows, truck_tau_h: float, room_tau_h: float) -> Floats:
    """Temperature at each time, between those known at the ends of discharges and charges. [degC]

    Time constants in the truck and in the room. [h]
    """
    start, end, start_degc, end_degc = (
        np.concatenate([discharges[name], charges[name]]) for name in ("start_min", "end_min", "start_degc", "end_degc")
    )
    if not start.size:
        return np.full(times.size, np.nan)
    order = np.lexsort((end, start))
    nodes = np.stack([start[order], end[order]], axis=1).reshape(-1)
    degc = np.stack([start_degc[order], end_degc[order]], axis=1).reshape(-1)
    tau_h = np.full(nodes.size, room_tau_h)
    tau_h[0::2] = np.where(order < discharges["start_min"].size, truck_tau_h, room_tau_h)
    number, since = _last(nodes, times)
    following = np.minimum(number + 1, nodes.size - 1)
    within = (since > -np.inf) & (following > number)
    tau_min = 60.0 * tau_h[number]
    whole = -np.expm1(-np.where(within, nodes[following] - since, 1.0) / tau_min)
    part = -np.expm1(-np.where(within, times - since, 0.0) / tau_min)
    result: Floats = degc[number] + (degc[following] - degc[number]) * part / whole
    return result
