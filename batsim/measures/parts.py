"""The same measures of a part of the site: an area, a truck group, or a battery type."""

from batsim.measures import measure
from batsim.measures.downtime import downtime_measures
from batsim.measures.electrical_load import energy_charged, energy_drawn
from batsim.measures.exchanges import exchange_measures
from batsim.measures.gas import gas_measures
from batsim.measures.names import MEASURES, WITHIN_TARGET
from batsim.measures.stock import stock_measures
from batsim.measures.warmth import warmth_measures
from batsim.measures.wear import wear_measures
from batsim.measures.windows import Measured
from batsim.measures.work import work_hours
from batsim.record.part import of_area, of_battery_type, of_group, of_lot
from batsim.record.record import Record

SHARED = ("attendants_", "peak_kva", "peak_of_all_weeks_kva")
"""How names of measures begin that only the site has: its attendants go from area to area, its supply feeds all."""


def area_measures(record: Record, name: str, wait_target_min: float | None = None) -> dict[str, float]:
    """Measures of one area of a layout.

    Parameters
    ----------
    record
        What the run left behind.
    name
        Of the area.
    wait_target_min
        Wait that counts as within target; None when there is no target. [min]

    Returns
    -------
    dict
        Value by name. What a day holds adds up over areas to what the site has; a peak is that of the area's own
        chargers, and such peaks need not fall together. People on duty and apparent power, which areas share, are left
        out; what people do in the area is not.

    Raises
    ------
    ValueError
        If the layout has no area of this name.
    """
    found = measure(of_area(record, name), wait_target_min)
    return {measured: value for measured, value in found.items() if not measured.startswith(SHARED)}


def group_measures(record: Record, number: int, wait_target_min: float | None = None) -> dict[str, float]:
    """Measures of one truck group: those that are its own.

    Parameters
    ----------
    record
        What the run left behind.
    number
        Of the group, in the order of the scenario.
    wait_target_min
        Wait that counts as within target; None when there is no target. [min]

    Returns
    -------
    dict
        Value by name. What a day holds adds up over groups to what the site has.
    """
    measured = Measured(of_group(record, number))
    found = downtime_measures(measured)
    for name in ("driver_waiting_min_per_day", "driver_outside_downtime_min_per_day"):
        del found[name]  # what drivers do by hand is not told apart by groups
    return _in_order(
        {
            **found,
            **work_hours(measured),
            **exchange_measures(measured, wait_target_min),
            **energy_drawn(measured),
        }
    )


def type_measures(record: Record, name: str) -> dict[str, float]:
    """Measures of one battery type: its stock, its energy, how warm it gets and how long it lasts.

    Parameters
    ----------
    record
        What the run left behind.
    name
        Of the type.

    Returns
    -------
    dict
        Value by name. What a day holds adds up over types to what the site has.
    """
    measured = Measured(of_battery_type(record, name))
    trucks = sum(kind.trucks for kind in measured.facts.battery_types)
    return _in_order(
        {
            "batteries": float(measured.facts.batteries),
            "batteries_per_truck": measured.facts.batteries / trucks,
            **stock_measures(measured),
            **energy_charged(measured),
            **energy_drawn(measured),
            **warmth_measures(measured),
            **gas_measures(measured),
            **wear_measures(measured),
        }
    )


def lot_measures(record: Record, name: str, lot: str) -> dict[str, float]:
    """Measures of one lot of a battery type: its energy, its use and how long it lasts; see `type_measures`."""
    measured = Measured(of_lot(record, name, lot))
    energy = {**energy_charged(measured), **energy_drawn(measured)}
    batteries = float(measured.facts.batteries)
    return _in_order({"batteries": batteries, **energy, **warmth_measures(measured), **wear_measures(measured)})


def _in_order(found: dict[str, float]) -> dict[str, float]:
    """Measures in their usual order."""
    return {name: float(found[name]) for name in (*MEASURES, WITHIN_TARGET.name) if name in found}
