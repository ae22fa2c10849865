"""How warm batteries get, and what their temperature puts off."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from batsim.measures.windows import Flags, Measured, mean_of, rate, share_of

ROUNDING_K = 1e-3
"""A start this near to a limit is at the limit. [K]"""


def warmth_measures(measured: Measured) -> dict[str, float]:
    """Temperatures in use and after charge, hot starts, and charges that waited for their temperature."""
    facts, discharges, charges = measured.facts, measured.columns("discharges"), measured.columns("charges")
    types = facts.battery_types
    begun = measured.inside(discharges["start_min"])
    use_below = np.array([types[number].use_below_degc for number in facts.type_numbers])
    ends = np.where(np.isfinite(discharges["end_min"]), discharges["end_min"], measured.end)
    in_use = (ends - discharges["start_min"])[begun]
    hot = begun & (discharges["start_degc"] > use_below[discharges["battery"].astype(int)])
    started = measured.inside(charges["start_min"])
    return {
        "use_degc_mean": rate(float(np.sum(discharges["mean_degc"][begun] * in_use)), float(np.sum(in_use))),
        "charged_degc_mean": mean_of(charges["end_degc"][started]),
        "charged_degc_max": float(np.max(charges["end_degc"][started])) if np.any(started) else np.nan,
        "discharges_started": float(np.sum(begun)),
        "charges_started": float(np.sum(started)),
        "hot_starts_share": share_of(hot, begun),
        "delayed_share": share_of(started & (charges["delayed_min"] > 0.0), started),
        "delayed_min_per_charge": mean_of(charges["delayed_min"][started]),
        "outside_temperature_share": share_of(_outside(measured) & started, started),
    }


def _outside(measured: Measured) -> Flags:
    """Charges that began with the battery colder or warmer than it should be charged."""
    charges, types = measured.columns("charges"), measured.facts.battery_types
    limits = np.array([(kind.charge_from_degc, kind.charge_below_degc) for kind in types])
    least, most = limits[np.nan_to_num(charges["queue"]).astype(int)].T
    at_start = charges["start_degc"]
    outside: Flags = (at_start < least - ROUNDING_K) | (at_start > most + ROUNDING_K)
    return outside


class Hardship(NamedTuple):
    """What a battery type went through that its limits speak of."""

    charges: int
    """Charges begun."""
    outside: int
    """Of these, begun with the battery colder or warmer than it should be charged."""
    coldest_degc: float
    """Electrolyte at the start of a charge; infinite without charges. [degC]"""
    warmest_degc: float
    """The same; less than anything without charges. [degC]"""
    least_left_share: float
    """Rated ampere-hours left at the end of the deepest discharge, over all of them; 1 without discharges. [-]"""


def hardships(measured: Measured) -> dict[str, Hardship]:
    """What each battery type went through in the measured time, by its name."""
    types, charges, discharges = (
        measured.facts.battery_types,
        measured.columns("charges"),
        measured.columns("discharges"),
    )
    started, ended = measured.inside(charges["start_min"]), measured.inside(discharges["end_min"])
    of_charge = np.nan_to_num(charges["queue"]).astype(int)
    of_discharge = np.array(measured.facts.type_numbers)[discharges["battery"].astype(int)]
    outside, found = _outside(measured), {}
    for name in dict.fromkeys(kind.battery_type for kind in types):
        own = [number for number, kind in enumerate(types) if kind.battery_type == name]
        begun = started & np.isin(of_charge, own)
        degc = charges["start_degc"][begun]
        depths = discharges["depth_share"][ended & np.isin(of_discharge, own)]
        found[name] = Hardship(
            charges=int(np.sum(begun)),
            outside=int(np.sum(outside & begun)),
            coldest_degc=float(np.min(degc, initial=np.inf)),
            warmest_degc=float(np.max(degc, initial=-np.inf)),
            least_left_share=1.0 - float(np.max(depths, initial=0.0)),
        )
    return found


def worst_of(each: Iterable[Hardship]) -> Hardship:
    """What one battery type went through in several runs."""
    charges, outside, coldest, warmest, left = zip(*each, strict=True)
    return Hardship(sum(charges), sum(outside), min(coldest), max(warmest), min(left))
