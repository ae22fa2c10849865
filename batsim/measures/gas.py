"""Gas and water: hydrogen that leaves the batteries, in all and over time, water put in, batteries that ran low."""

import numpy as np

from batsim.formulas.gassing import hydrogen_l, water_deficit_g
from batsim.measures.electrical_load import QUARTER_MIN, by_quarter, hours_at_start, quarters_of
from batsim.measures.windows import Floats, Measured, Whole, rate
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN

HYDROGEN_DEGC, HYDROGEN_PA = 25.0, 101_325.0
"""State in which a volume of hydrogen is given: a warm room at one atmosphere. [degC, Pa]"""
ROUNDING = 1e-9
"""Water this near to the reserve is at it. [-]"""


def gas_measures(measured: Measured) -> dict[str, float]:
    """Hydrogen and water in a working day, equalising charges, and charges on low water."""
    facts, charges, days = measured.facts, measured.columns("charges"), measured.working_days
    queue = np.nan_to_num(charges["queue"]).astype(int)
    vented_share, cells = np.array([(kind.vented_share, kind.cells) for kind in facts.battery_types])[queue].T
    cell_ah = float(np.sum(np.nan_to_num(charges["gas_ah"]) * measured.charged_part * vented_share * cells))
    started = measured.inside(charges["start_min"])
    waterings = measured.columns("waterings")
    poured = measured.inside(waterings["start_min"])
    weeks = measured.minutes / WEEK_MIN
    equalised = started & (charges["equalising_min"] > 0.0)
    return {
        "hydrogen_m3_per_day": rate(hydrogen_l(cell_ah, 1, HYDROGEN_DEGC, HYDROGEN_PA) / 1000.0, days),
        "water_lost_kg_per_day": rate(water_deficit_g(cell_ah, 1) / 1000.0, days),
        "water_added_kg_per_day": rate(float(np.sum(waterings["water_kg"][poured])), days),
        "waterings_per_battery_per_week": rate(float(np.sum(poured)) / facts.batteries, weeks),
        "equalising_per_battery_per_week": rate(float(np.sum(equalised)) / facts.batteries, weeks),
        "low_water_share": _low_water(measured),
        "waterings": float(np.sum(poured)),
    }


def _low_water(measured: Measured) -> float:
    """Share of waterings that came after the water above the plates was used up."""
    types, waterings = measured.facts.battery_types, measured.columns("waterings")
    poured = measured.inside(waterings["start_min"])
    if not np.any(poured) or not np.isfinite(min(kind.water_reserve_ah for kind in types)):
        return float("nan")
    number = np.array(measured.facts.type_numbers)[waterings["battery"][poured].astype(int)]
    cells, reserve_ah = np.array([(kind.cells, kind.water_reserve_ah) for kind in types])[number].T
    per_cell_kg: Floats = waterings["water_kg"][poured] / cells
    reserve_kg = reserve_ah * water_deficit_g(1.0, 1) / 1000.0
    return float(np.mean(per_cell_kg > reserve_kg * (1.0 + ROUNDING)))


def gas_course(record: Record) -> Floats:
    """Hydrogen that leaves all batteries in each quarter of an hour of the measured time, at 25 degC and 1 atm.

    Within a phase of a charge gas is what the current gives less what the battery stores; each charge gives as much
    gas as its row in the record says.

    Parameters
    ----------
    record
        What the run left behind.

    Returns
    -------
    array, one entry for each quarter of an hour
        Flow of hydrogen. [m3/h]
    """
    measured = Measured(record)
    flow = np.zeros(quarters_of(measured))
    phases, owner = _phases(measured)
    scale = _scale(measured, phases, owner)

    def gas_ah(times: Floats, numbers: Whole) -> Floats:
        """Gas of phases up to given times."""
        some = {name: column[numbers] for name, column in phases.items()}
        return _gas_ah(some, (times - some["start_min"]) / 60.0) * scale[numbers]

    quarter, given, _ = by_quarter(measured, phases["start_min"], phases["hours"], gas_ah)
    np.add.at(flow, quarter, given)
    cubic_metres: float = hydrogen_l(1.0, 1, HYDROGEN_DEGC, HYDROGEN_PA) / 1000.0
    return np.maximum(0.0, flow) * (cubic_metres * 60.0 / QUARTER_MIN)  # a difference may fall a rounding below zero


def _phases(measured: Measured) -> tuple[dict[str, Floats], Whole]:
    """Phases that belong to a charge, with what the charge stores for each share of its charge; the charge's number."""
    rows, charges = measured.columns("charge_phases"), measured.columns("charges")
    came = np.flatnonzero(np.isfinite(charges["start_min"]))
    order = came[np.lexsort((charges["start_min"][came], charges["battery"][came]))]
    far = measured.end + 1.0 - min(0.0, float(np.min(rows["start_min"], initial=0.0)))
    keys = charges["battery"][order] * far + charges["start_min"][order]
    at = np.searchsorted(keys, rows["battery"] * far + rows["start_min"], side="right") - 1
    known = at >= 0
    owner: Whole = order[np.maximum(at, 0)]
    known &= charges["battery"][owner] == rows["battery"]
    owner = owner[known]
    phases = {name: column[known] for name, column in rows.items()}
    rise = charges["soc_to_share"] - charges["soc_from_share"]
    stored = np.maximum(0.0, np.nan_to_num(charges["charged_ah"] - charges["gas_ah"]))
    phases["capacity_ah"] = (stored / np.where(rise > 0.0, rise, np.inf))[owner]
    return phases, owner


def _gas_ah(phases: dict[str, Floats], passed_h: Floats) -> Floats:
    """Ampere-hours of gas of phases up to a time since their start, all cells in series counted. [Ah x cells]"""
    hours, decay = phases["hours"], phases["decay_per_h"]
    passed = np.clip(passed_h, 0.0, hours)
    given, whole = (hours_at_start(each, decay) * phases["start_a"] for each in (passed, hours))
    stored = np.maximum(0.0, phases["soc_to_share"] - phases["soc_from_share"]) * phases["capacity_ah"]
    acceptance = phases["acceptance_per_h"]
    with np.errstate(invalid="ignore", divide="ignore"):
        accepted = hours_at_start(passed, acceptance) / hours_at_start(hours, acceptance)
        part = np.where(acceptance > 0.0, accepted, given / whole)
    gas: Floats = np.maximum(0.0, given - stored * np.nan_to_num(part)) + phases["side_gas_a"] * passed
    return gas


def _scale(measured: Measured, phases: dict[str, Floats], owner: Whole) -> Floats:
    """What turns the gas of each phase into that of its charge, all cells, and leaves out what stays in the cells."""
    charges = measured.columns("charges")
    cells_venting = np.array([kind.vented_share * kind.cells for kind in measured.facts.battery_types])
    found = np.zeros(charges["battery"].size)
    np.add.at(found, owner, _gas_ah(phases, phases["hours"]))
    queue = np.nan_to_num(charges["queue"]).astype(int)
    leaves = np.nan_to_num(charges["gas_ah"]) * cells_venting[queue]
    scale: Floats = (leaves / np.where(found > 0.0, found, np.inf))[owner]
    return scale
