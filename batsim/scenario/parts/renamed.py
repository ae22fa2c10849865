"""What words of the first version are called now: keys, words, figures and measures, so that `check` can say so."""

from collections.abc import Container

RENAMED = {
    # keys
    "between_stints": "between_shifts",
    "crew": "attendants",
    "crew_break": "at_break",
    "crew_shift_end": "at_shift_end",
    "draw_out_time": "pull_out_time",
    "draws": "duty",
    "drivers_exchange": "exchange_by",
    "empty_places": "empty_bays",
    "exit": "removal",
    "hall": "building",
    "mean": "mean_power",
    "place": "bay",
    "places": "bays",
    "set_down_places": "set_down_bays",
    "spent_release": "discharged_on_charge",
    "stranded_trucks": "trucks_below_cut_out",
    # words
    "bound_to_place": "bound_to_bay",
    "ready_place": "ready_bay",
    "spent_place": "discharged_bay",
    # figures
    "fit.place_gap": "fit.bay_gap",
    "handling.overhead_hoist.hook_spent": "handling.overhead_hoist.hook_discharged",
    "handling.overhead_hoist.lift_out_spent": "handling.overhead_hoist.lift_out_discharged",
    "handling.portable_stands.roll_out_spent": "handling.portable_stands.roll_out_discharged",
    "handling.portable_stands.set_aside_spent": "handling.portable_stands.set_aside_discharged",
    "handling.side_rollers.bay_spent": "handling.side_rollers.bay_discharged",
    "handling.side_rollers.bay_spent_at_ends": "handling.side_rollers.bay_discharged_at_ends",
    "handling.side_rollers.draw_out_spent": "handling.side_rollers.pull_out_discharged",
    "handling.side_rollers.release_spent": "handling.side_rollers.release_discharged",
    "heat.faces_in_place": "heat.faces_in_bay",
    "in_truck.draw_out": "in_truck.pull_out",
    "price.place": "price.bay",
    "size.indifference_downtime": "decide.indifference_downtime",
    "size.indifference_share": "decide.indifference_share",
    "size.indifference_trucks": "decide.indifference_trucks",
    "size.same_cost": "decide.same_cost",
    "truck.between_stints": "truck.between_shifts",
    # measures
    "crew_busy_share": "attendants_busy_share",
    "crew_idle_min_per_day": "attendants_idle_min_per_day",
    "crew_on_duty_min_per_day": "attendants_on_duty_min_per_day",
    "put_off_min_per_charge": "delayed_min_per_charge",
    "put_off_share": "delayed_share",
    "wait_crew_min_per_truck_shift": "wait_attendant_min_per_truck_shift",
    "wait_place_min_per_truck_shift": "wait_bay_min_per_truck_shift",
}
"""By its old name; a word has one new name wherever it stands, and is met only where that may stand."""


def renamed(word: str, known: Container[str]) -> str | None:
    """Name that an old word has now, where that is among the known ones.

    Examples
    --------
    >>> renamed("places", ["bays", "stations"])
    'bays'
    """
    new = RENAMED.get(word)
    return new if new is not None and new in known else None
