"""What measures need to know about a room, gathered from its blueprint."""

from itertools import pairwise
from typing import Any

from batsim.formulas.wear import throughput_ah
from batsim.record.facts import AreaFacts, RunFacts, TypeFacts
from batsim.room.plans.area_plan import AreaPlan, ChargerPlan
from batsim.room.plans.battery_plan import BatteryPlan
from batsim.room.plans.blueprint import Blueprint
from batsim.room.plans.group_plan import GroupPlan


def facts_of(blueprint: Blueprint, seed: int, replication: int) -> RunFacts:
    """Gather what measures need to know about the room."""
    devices = [item for area in blueprint.areas for item in (*area.devices.items(), *area.standby_devices.items())]
    return RunFacts(
        layout=blueprint.layout,
        areas=tuple(map(_area_facts, blueprint.areas)),
        seed=seed,
        replication=replication,
        horizon_min=blueprint.horizon_min,
        warm_up_min=blueprint.warm_up_min,
        **_group_facts(blueprint.groups),
        site_windows=blueprint.site_windows,
        minutes_per_working_day=blueprint.minutes_per_working_day,
        battery_types=tuple(map(_type_facts, blueprint.battery_plans)),
        devices=tuple(name for name, _ in devices),
        device_counts=tuple(count for _, count in devices),
        **_charger_facts(blueprint.chargers),
        attendant_windows=_attendant_windows(blueprint),
    )


def _group_facts(groups: tuple[GroupPlan, ...]) -> dict[str, Any]:
    """Gather what measures need to know about truck groups, by name of the fact."""
    return {
        "groups": tuple(group.truck.group for group in groups),
        "group_trucks": tuple(group.truck.count for group in groups),
        "group_windows": tuple(group.windows for group in groups),
        "group_shift_min": tuple(group.shift_min for group in groups),
    }


def _charger_facts(chargers: tuple[ChargerPlan, ...]) -> dict[str, Any]:
    """Gather what measures need to know about charger types, by name of the fact."""
    return {
        "chargers": tuple(charger.name for charger in chargers),
        "charger_counts": tuple(charger.count for charger in chargers),
        "charger_efficiency": tuple(charger.efficiency_share for charger in chargers),
        "charger_power_factor": tuple(charger.power_factor for charger in chargers),
        "charger_standby_kw": tuple(charger.standby_kw for charger in chargers),
    }


def _area_facts(area: AreaPlan) -> AreaFacts:
    """Gather what measures need to know about an area."""
    devices = len(area.devices) + len(area.standby_devices)
    return AreaFacts(
        name=area.name,
        in_truck=area.exchange is None,
        stations=area.stations,
        bay=area.arrangement.bay,
        bays=area.bays,
        groups=area.group_numbers,
        queues=tuple(plan.number for plan in area.battery_plans),
        devices=tuple(range(area.first_device, area.first_device + devices)),
        chargers=tuple(range(area.first_charger, area.first_charger + len(area.chargers))),
        drivers_maintain=bool(area.drivers.maintain_of),
        windows=area.windows,
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
        lots=tuple(lot.name for lot in plan.lots if lot.name),
    )


def _attendant_windows(blueprint: Blueprint) -> tuple[tuple[float, float, int], ...]:
    """Attendants on duty: from, to, how many; none where their number has no limit or drivers do it all. [min]"""
    changes: dict[float, int] = {}
    for shift in (*blueprint.shared_shifts, *(shift for area in blueprint.areas for shift in area.own_shifts)):
        for start, end in shift.windows:
            changes[start] = changes.get(start, 0) + shift.on_duty
            changes[end] = changes.get(end, 0) - shift.on_duty
    windows, on_duty = [], 0
    for start, end in pairwise(sorted(changes)):
        on_duty += changes[start]
        windows.append((start, end, on_duty))
    return tuple(windows)
