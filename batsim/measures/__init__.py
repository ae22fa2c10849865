"""From a record to numbers: one dictionary of measures for each replication."""

from batsim.measures.names import MEASURES, WITHIN_TARGET, Measure
from batsim.record.record import Record

__all__ = ["MEASURES", "WITHIN_TARGET", "Measure", "measure"]


def measure(record: Record, wait_target_min: float | None = None) -> dict[str, float]:
    """Take every measure of one replication, its warm-up left out.

    Parameters
    ----------
    record
        What the run left behind.
    wait_target_min
        Wait that counts as within target; None when there is no target. [min]

    Returns
    -------
    dict
        Value by name, in the order of `MEASURES`; not a number where a measure has no meaning, such as ready
        batteries when they are charged in the truck.
    """
    from batsim.measures.downtime import downtime_measures  # noqa: PLC0415 - numpy only when measuring
    from batsim.measures.electrical_load import load_measures  # noqa: PLC0415
    from batsim.measures.exchanges import exchange_measures  # noqa: PLC0415
    from batsim.measures.gas import gas_measures  # noqa: PLC0415
    from batsim.measures.occupancy import labour_measures, occupancy_measures  # noqa: PLC0415
    from batsim.measures.stock import stock_measures  # noqa: PLC0415
    from batsim.measures.warmth import warmth_measures  # noqa: PLC0415
    from batsim.measures.wear import wear_measures  # noqa: PLC0415
    from batsim.measures.windows import Measured  # noqa: PLC0415
    from batsim.measures.work import work_measures  # noqa: PLC0415

    measured = Measured(record)
    load, gas = load_measures(measured), gas_measures(measured)
    days = measured.working_days
    found = {
        **downtime_measures(measured),
        **exchange_measures(measured, wait_target_min),
        **stock_measures(measured),
        **occupancy_measures(measured),
        **labour_measures(measured),
        **load,
        **warmth_measures(measured),
        **gas,
        **work_measures(measured, load["energy_kwh_per_day"] * days, gas["water_lost_kg_per_day"] * days),
        **wear_measures(measured),
    }
    names = [*MEASURES, *((WITHIN_TARGET.name,) if wait_target_min is not None else ())]
    return {name: float(found[name]) for name in names}
