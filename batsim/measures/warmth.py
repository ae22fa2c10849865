"""How warm batteries get, and what their temperature puts off."""

import numpy as np

from batsim.measures.windows import Measured, mean_of, rate, share_of

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
    limits = np.array([(kind.charge_from_degc, kind.charge_below_degc) for kind in types])
    limits = limits[np.nan_to_num(charges["queue"]).astype(int)]
    at_start = charges["start_degc"]
    outside = started & ((at_start < limits[:, 0] - ROUNDING_K) | (at_start > limits[:, 1] + ROUNDING_K))
    return {
        "use_degc_mean": rate(float(np.sum(discharges["mean_degc"][begun] * in_use)), float(np.sum(in_use))),
        "charged_degc_mean": mean_of(charges["end_degc"][started]),
        "charged_degc_max": float(np.max(charges["end_degc"][started])) if np.any(started) else np.nan,
        "discharges_started": float(np.sum(begun)),
        "charges_started": float(np.sum(started)),
        "hot_starts_share": share_of(hot, begun),
        "delayed_share": share_of(started & (charges["delayed_min"] > 0.0), started),
        "delayed_min_per_charge": mean_of(charges["delayed_min"][started]),
        "outside_temperature_share": share_of(outside, started),
    }
