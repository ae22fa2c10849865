"""Safety limits: force to move a battery by hand, distance of a wash."""

from batsim.catalogue import FIGURES
from batsim.formulas.push_force import largest_mass_kg, rolling_force_n
from batsim.units import parse

Numbers = dict[str, float]


def rolling(mass_kg: float, percent: float) -> Numbers:
    """Force that keeps a mass rolling."""
    return {"force, N": rolling_force_n(mass_kg, percent / 100.0)}


def measured_truck(start_n: float, rolling_n: float) -> Numbers:
    """Measured forces of 1250 kg over its weight, and over the limits of the catalogue."""
    weight_n = rolling_force_n(1250.0, 1.0)
    return {
        "start over weight": start_n / weight_n,
        "rolling over weight": rolling_n / weight_n,
        "start over limit": start_n / FIGURES["push.limit.hse_l23_men.start"].value,
        "rolling over limit": rolling_n / FIGURES["push.limit.hse_l23_men.rolling"].value,
    }


def largest_mass(limit: str) -> Numbers:
    """Largest mass on the catalogue's good floor."""
    newtons = FIGURES[f"push.limit.{limit}"].value
    return {"mass, kg": largest_mass_kg(newtons, FIGURES.number("push.resistance.good"))}


def wash() -> Numbers:
    """Distance of a wash in the catalogue."""
    return {"distance, ft": FIGURES["wash.reach_distance_us"].value / parse("1 ft", "distance")}


FUNCTIONS = {function.__name__: function for function in (rolling, measured_truck, largest_mass, wash)}
"""What the table names."""
