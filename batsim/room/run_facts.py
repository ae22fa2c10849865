"""What measures need to know about a room, gathered from its blueprint."""

from itertools import pairwise

from batsim.formulas.wear import throughput_ah
from batsim.record.facts import RunFacts, TypeFacts
from batsim.room.battery_plan import BatteryPlan
from batsim.room.blueprint import Blueprint


def facts_of(blueprint: Blueprint, seed: int, replication: int) -> RunFacts:
    """Gather what measures need to know about the room."""
    return RunFacts(
        layout=blueprint.layout,
        in_truck=blueprint.exchange is None,
        seed=seed,
        replication=replication,
        horizon_min=blueprint.horizon_min,
        warm_up_min=blueprint.warm_up_min,
        groups=tuple(group.truck.group for group in blueprint.groups),
        group_trucks=tuple(group.truck.count for group in blueprint.groups),
        group_windows=tuple(group.windows for group in blueprint.groups),
        group_shift_min=tuple(group.shift_min for group in blueprint.groups),
        site_windows=blueprint.site_windows,
        minutes_per_working_day=blueprint.minutes_per_working_day,
        battery_types=tuple(map(_type_facts, blueprint.battery_plans)),
        stations=blueprint.stations,
        bay=blueprint.arrangement.bay,
        bays=blueprint.bays,
        devices=(*blueprint.devices, *blueprint.standby_devices),
        device_counts=(*blueprint.devices.values(), *blueprint.standby_devices.values()),
        chargers=blueprint.charger_names,
        charger_counts=blueprint.charger_counts,
        charger_efficiency=blueprint.charger_efficiency,
        charger_power_factor=blueprint.charger_power_factor,
        charger_standby_kw=blueprint.charger_standby_kw,
        attendant_windows=_attendant_windows(blueprint),
    )


def _type_facts(plan: BatteryPlan) -> TypeFacts:
    """Gather what measures need to know about a battery type."""
    return TypeFacts(
        name=plan.name,
        battery_type=plan.battery_type,
        trucks=plan.trucks,
        cells=plan.battery.cells,
        capacity_ah=plan.capacity_ah,
        room_tau_h=plan.thermal.room_tau_h,
        truck_tau_h=plan.thermal.truck_tau_h,
        charge_from_degc=plan.thermal.charge_from_degc,
        charge_below_degc=plan.thermal.charge_below_degc,
        use_below_degc=plan.thermal.use_below_degc,
        vented_share=plan.gassing.vented_share,
        life_ah=throughput_ah(plan.capacity_ah, plan.ageing.life),
        calendar_years=plan.ageing.calendar_years,
        discharge_to_share=plan.battery.discharge_to_share,
        water_reserve_ah=plan.gassing.reserve_ah,
        batteries=plan.batteries,
    )


def _attendant_windows(blueprint: Blueprint) -> tuple[tuple[float, float, int], ...]:
    """Attendants on duty: from, to, how many; none where their number has no limit or drivers do it all. [min]"""
    if not blueprint.attendants_limited:
        return ()
    changes: dict[float, int] = {}
    for shift in blueprint.attendant_shifts:
        for start, end in shift.windows:
            changes[start] = changes.get(start, 0) + shift.attendants
            changes[end] = changes.get(end, 0) - shift.attendants
    windows, on_duty = [], 0
    for start, end in pairwise(sorted(changes)):
        on_duty += changes[start]
        windows.append((start, end, on_duty))
    return tuple(windows)
