"""What measures need to know about a room, gathered from its blueprint."""

from itertools import pairwise
from typing import TYPE_CHECKING

from batsim.formulas.wear import throughput_ah
from batsim.record import Facts

if TYPE_CHECKING:
    from batsim.room.blueprint import Blueprint


def facts_of(plan: "Blueprint", seed: int, replication: int) -> Facts:
    """Gather what measures need to know about the room."""
    edges: dict[float, int] = {}
    for shift in plan.crew_shifts:
        for start, end in shift.windows:
            edges[start] = edges.get(start, 0) + shift.attendants
            edges[end] = edges.get(end, 0) - shift.attendants
    crew_windows, on_duty, times = [], 0, sorted(edges)
    for start, end in pairwise(times):
        on_duty += edges[start]
        crew_windows.append((start, end, on_duty))
    return Facts(
        layout=plan.layout,
        in_truck=plan.exchange is None,
        seed=seed,
        replication=replication,
        horizon_min=plan.horizon_min,
        warm_up_min=plan.warm_up_min,
        groups=tuple(group.truck.group for group in plan.groups),
        group_trucks=tuple(group.truck.count for group in plan.groups),
        group_windows=tuple(group.windows for group in plan.groups),
        group_shift_min=tuple(group.shift_min for group in plan.groups),
        site_windows=plan.site_windows,
        minutes_per_working_day=plan.minutes_per_working_day,
        lines=tuple(line.name for line in plan.lines),
        line_cells=tuple(line.battery.cells for line in plan.lines),
        line_capacity_ah=tuple(line.capacity_ah for line in plan.lines),
        line_room_tau_h=tuple(line.thermal.room_tau_h for line in plan.lines),
        line_truck_tau_h=tuple(line.thermal.truck_tau_h for line in plan.lines),
        line_charge_degc=tuple((line.thermal.charge_from_degc, line.thermal.charge_below_degc) for line in plan.lines),
        line_use_below_degc=tuple(line.thermal.use_below_degc for line in plan.lines),
        line_vented_share=tuple(line.gassing.vented_share for line in plan.lines),
        line_life_ah=tuple(throughput_ah(line.capacity_ah, line.ageing.life) for line in plan.lines),
        line_discharge_to_share=tuple(line.battery.discharge_to_share for line in plan.lines),
        line_water_reserve_ah=tuple(line.gassing.reserve_ah for line in plan.lines),
        line_batteries=tuple(line.batteries for line in plan.lines),
        battery_lines=tuple(line.number for line in plan.lines for _ in range(line.batteries)),
        stations=plan.stations,
        place=plan.arrangement.place,
        places=plan.places,
        devices=(*plan.devices, *plan.standby_devices),
        device_counts=(*plan.devices.values(), *plan.standby_devices.values()),
        chargers=plan.charger_names,
        charger_counts=plan.charger_counts,
        charger_efficiency=plan.charger_efficiency,
        charger_power_factor=plan.charger_power_factor,
        charger_standby_kw=plan.charger_standby_kw,
        crew_windows=tuple(crew_windows) if plan.crew_limited else (),
    )
