"""One run of any length, in minutes."""

from batsim.record.record import Record
from batsim.room.simulation import replicate
from batsim.scenario.site import Scenario


def record_of(
    scenario: Scenario,
    layout: str,
    *,
    seed: int | None = None,
    replication: int = 0,
    length_min: float | None = None,
    warm_up_min: float | None = None,
) -> Record:
    """Simulate a layout; what is not given is as the scenario says. [min]"""
    usual = scenario.simulation
    return replicate(
        scenario,
        layout,
        seed=usual.seed if seed is None else seed,
        replication=replication,
        length_min=usual.length_min if length_min is None else length_min,
        warm_up_min=usual.warm_up_min if warm_up_min is None else warm_up_min,
    )
