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
    for shift in plan.attendant_shifts:
        for start, end in shift.windows:
            edges[start] = edges.get(start, 0) + shift.attendants
            edges[end] = edges.get(end, 0) - shift.attendants
    attendant_windows, on_duty, times = [], 0, sorted(edges)
    for start, end in pairwise(times):
        on_duty += edges[start]
        attendant_windows.append((start, end, on_duty))
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
        queues=tuple(queue.name for queue in plan.queues),
        queue_cells=tuple(queue.battery.cells for queue in plan.queues),
        queue_capacity_ah=tuple(queue.capacity_ah for queue in plan.queues),
        queue_room_tau_h=tuple(queue.thermal.room_tau_h for queue in plan.queues),
        queue_truck_tau_h=tuple(queue.thermal.truck_tau_h for queue in plan.queues),
        queue_charge_degc=tuple(
            (queue.thermal.charge_from_degc, queue.thermal.charge_below_degc) for queue in plan.queues
        ),
        queue_use_below_degc=tuple(queue.thermal.use_below_degc for queue in plan.queues),
        queue_vented_share=tuple(queue.gassing.vented_share for queue in plan.queues),
        queue_life_ah=tuple(throughput_ah(queue.capacity_ah, queue.ageing.life) for queue in plan.queues),
        queue_discharge_to_share=tuple(queue.battery.discharge_to_share for queue in plan.queues),
        queue_water_reserve_ah=tuple(queue.gassing.reserve_ah for queue in plan.queues),
        queue_batteries=tuple(queue.batteries for queue in plan.queues),
        battery_queues=tuple(queue.number for queue in plan.queues for _ in range(queue.batteries)),
        stations=plan.stations,
        bay=plan.arrangement.bay,
        bays=plan.bays,
        devices=(*plan.devices, *plan.standby_devices),
        device_counts=(*plan.devices.values(), *plan.standby_devices.values()),
        chargers=plan.charger_names,
        charger_counts=plan.charger_counts,
        charger_efficiency=plan.charger_efficiency,
        charger_power_factor=plan.charger_power_factor,
        charger_standby_kw=plan.charger_standby_kw,
        attendant_windows=tuple(attendant_windows) if plan.attendants_limited else (),
    )
