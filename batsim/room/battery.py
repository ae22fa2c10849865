"""One numbered traction battery in the room."""

from math import exp, inf, nan
from typing import TYPE_CHECKING

from batsim.formulas.heat import mean_of_stay_degc
from batsim.formulas.wear import discharge_damage, part_charge_factor

if TYPE_CHECKING:
    from batsim.record.tables import Warmth
    from batsim.room.on_charge.charging import ChargerPool
    from batsim.room.queue import Queue


class Battery:
    """State of one battery; what happened to it is in the record."""

    turn: int
    """When it began to wait for a person, among all that wait."""

    def __init__(self, number: int, queue: "Queue") -> None:
        self.number, self.queue = number, queue
        plan = queue.plan
        self.lost_share = plan.ageing.capacity_lost_share
        self.room_tau_min = 60.0 * plan.thermal.room_tau_h
        self.bay = -1
        """Bay it stands in; -1 in a truck."""
        self.pool: ChargerPool | None = None
        """Charger that it keeps from others."""
        self.charger_min = nan
        """Since when; not a number without one. [min]"""
        self.soc_share = 1.0
        """What is left of what can be had at its work's current and temperature. [-]"""
        self.missing_ah = 0.0
        """Ampere-hours that a charger really has to put back. [Ah]"""
        self.owed_ah = 0.0
        """Ampere-hours that a full charge has to return, gassing included. [Ah]"""
        self.owed_factor = plan.profiles[plan.chargers[0]].factor
        """Charge factor with which that was worked out: of the charger that it was last on. [-]"""
        self.surplus_ah = 0.0
        """Two wells: available ampere-hours above level, below 0 after strong currents. [Ah]"""
        self.used_min = 0.0
        """End of its last use. [min]"""
        self.degc = self.degc_min = 0.0
        """Electrolyte temperature, and since when it is left alone with that, or will be after what is under way.
        [degC, min]"""
        self.stay_degc = self.stay_min = 0.0
        """Electrolyte temperature at the end of its last discharge, and when that was. [degC, min]"""
        self.stay_kwh = 0.0
        """Heat of its charges since. [kWh]"""
        self.capacity_share = 1.0
        """Capacity when new, over the rated one. [-]"""
        self.damage = 0.0
        """Share of its life that is used up. [-]"""
        self.part_charges = 0
        """Charges in a row that did not end full."""
        self.full_min = 0.0
        """End of its last full charge. [min]"""
        self.equalised_min = 0.0
        """Start of its last equalising charge. [min]"""
        self.gas_ah = 0.0
        """Ampere-hours of gassing since the last watering. [Ah]"""
        self.maintenance_charges = [0.0] * len(plan.maintenance)
        """Charges since the last maintenance of each kind, part charges in proportion."""
        self.maintenance_min = [0.0] * len(plan.maintenance)
        """When the last maintenance of each kind was begun. [min]"""
        self.ready_min = 0.0
        """When it will have cooled down after its present charge, or did after the last one. [min]"""
        self.charged_min = 0.0
        """End of its last charge. [min]"""
        self.discharged_min = 0.0
        """When it came to stand in its bay, discharged. [min]"""

    def count_charge(self, part: float = 1.0) -> None:
        """Count a charge, or part of one, for all that is due by charges."""
        charges = self.maintenance_charges
        for index in range(len(charges)):
            charges[index] += part

    def owes_to(self, factor: float) -> None:
        """Work out anew what a full charge has to return, for a charger with another charge factor."""
        self.owed_ah *= factor / self.owed_factor
        self.owed_factor = factor

    def degc_after_rest(self, time_min: float, air_degc: float) -> float:
        """Electrolyte temperature at a time, when it has stood in its bay since it was last used or charged."""
        passed = time_min - self.degc_min
        excess = self.degc - air_degc
        if passed <= 0.0 or excess == 0.0:
            return self.degc
        return air_degc + excess * exp(-passed / self.room_tau_min)

    def used(self, start_min: float, end_min: float, warmth: "Warmth", air_degc: float) -> float:
        """Note the warmth of a discharge; returns the mean temperature since the discharge before. [degC]"""
        _, mean_degc, end_degc = warmth
        stayed_min, used_min = start_min - self.stay_min, end_min - start_min
        if stayed_min > 0.0 and used_min < inf:
            thermal, rested_degc = self.queue.plan.thermal, self.degc_after_rest(start_min, air_degc)
            loss_w_per_k, tau_h, stayed_h = thermal.room_loss_w_per_k, thermal.room_tau_h, stayed_min / 60.0
            stay = mean_of_stay_degc(
                self.stay_degc, rested_degc, air_degc, self.stay_kwh, loss_w_per_k, tau_h, stayed_h
            )
            mean_degc = (stayed_min * stay + used_min * mean_degc) / (stayed_min + used_min)
        self.degc = self.stay_degc = end_degc
        self.degc_min = self.stay_min = end_min
        self.stay_kwh = 0.0
        return mean_degc

    def wear(self, drawn_ah: float, mean_degc: float) -> float:
        """Add the damage of a discharge at the mean temperature since the one before, and return it. [-]"""
        plan = self.queue.plan
        damage = discharge_damage(drawn_ah / plan.capacity_ah, mean_degc, plan.ageing[0])
        if self.part_charges:
            ageing = plan.ageing
            damage *= part_charge_factor(self.part_charges, ageing.part_charges_free, ageing.part_charge_surcharge)
        self.damage += damage
        return damage
