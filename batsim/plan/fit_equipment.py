"""Whether equipment fits trucks and batteries: dimensions from the survey, rated masses, insulation."""

from collections.abc import Iterator

from batsim.display import words
from batsim.plan.checks import ROUNDING, Check, Requirement
from batsim.plan.geometry import dimensions_of
from batsim.plan.survey import Trucks, carried_kg, equipment_of, pulled_out, trucks_alike
from batsim.scenario.parts.fit import BEAM, Equipment
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.site import Scenario


def equipment_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check the equipment of a layout against every kind of truck."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        for name in arrangement.needs.dimensions:
            for dimension in dimensions_of(scenario, arrangement, trucks, name):
                yield dimension.check(layout)
        yield from _ratings(scenario, arrangement, trucks)
    if arrangement.needs.lifts is not None:
        beam = equipment_of(scenario, arrangement, BEAM)
        yield Requirement("insulation", BEAM).case("no" if beam.insulated == "no" else "ok")


def _ratings(scenario: Scenario, arrangement: Arrangement, trucks: Trucks) -> Iterator[Check]:
    """Rated masses of what carries or lifts a battery."""
    needs = arrangement.needs
    forks = needs.forks if pulled_out(trucks, arrangement) else None
    for key in (forks, needs.beside, needs.lifts, BEAM if needs.lifts else None):
        if key is not None:
            device, beside_kg = equipment_of(scenario, arrangement, key), carried_kg(scenario, arrangement, key)
            too_heavy = "too heavy" if key in (needs.beside, needs.lifts) else "too heavy, order"
            yield _rating(trucks, key, device, beside_kg, too_heavy)


def _rating(trucks: Trucks, key: str, device: Equipment, beside_kg: float, too_heavy: str) -> Check:
    """Rated mass of a device against the battery and what goes with it.

    A pallet truck or a beam is changed for a stronger one; another hoist or carriage is another layout.
    """
    mass, rated = trucks.battery.mass_kg, device.rated_mass_kg
    plate = Requirement("rating", words(key), trucks=trucks, key=key, rated=rated)
    if mass is None:
        return plate.case("no mass")
    load = mass + beside_kg
    if rated is None:
        return plate.case("no rating", load=load)
    return plate.case("ok" if load <= rated + ROUNDING else too_heavy, load=load, beyond=load - rated)
