"""One charge: where its phases fall in time, and what it does to the battery."""

from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.formulas.gassing import gas_current_a
from batsim.formulas.heat import charge_end_degc, charge_heat_kwh
from batsim.formulas.phases import Phase, cut, phases_totals, rest_of
from batsim.record.tables import standing
from batsim.record.words import ON_CHARGE, PAUSED
from batsim.room.timing.clock import ticked

if TYPE_CHECKING:
    from collections.abc import Sequence

    from batsim.formulas.phases import Profile
    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.plans.battery_plan import BatteryPlan
    from batsim.room.timing.timetable import Timetable

new: Any = tuple.__new__
"""`new(Begin, (all four fields))` does what `Begin(...)` does in little more than half the time."""
Piece = tuple[float, Phase]
"""When a phase begins, or goes on after a pause, and the phase. [min]"""


class Begin(NamedTuple):
    """When the current comes on, and how warm it is then."""

    start_min: float
    degc: float
    """Electrolyte. [degC]"""
    air_degc: float
    delayed_min: float
    """How long the start was put off because the battery was too warm or too cold. [min]"""


class Outcome(NamedTuple):
    """What a charge gives and leaves."""

    end_min: float
    """Current off. [min]"""
    given_ah: float
    given_kwh: float
    """Energy into the battery. [kWh]"""
    stored_ah: float
    gas_ah: float
    end_degc: float
    """Electrolyte at the end. [degC]"""
    heat_kwh: float


class Planned(NamedTuple):
    """Phases of a charge that is to come, with what they rest on."""

    phases: tuple[Phase, ...]
    left_ah: float
    """What a full charge leaves missing: IU stops while a little current flows. [Ah]"""
    side_gas_a: float
    """Gas current while the voltage is held, where the ampere-hours do not tell: IU. [A]"""
    degc: float
    """Temperature that its profile is for. [degC]"""
    equalising_min: float = 0.0
    timed: bool = False
    """Whether its length is stated: it says nothing of the current, so nothing of its heat."""


class Course(NamedTuple):
    """A charge worked out: its start, its plan, where its phases fall in time, and what comes of it."""

    begin: Begin
    planned: Planned
    pieces: "Sequence[Piece]"
    result: Outcome


def laid_out(phases: "Sequence[Phase]", start_min: float, open_hours: "Timetable | None") -> tuple[list[Piece], float]:
    """Put phases into the hours in which current may flow; returns the pieces and the end. [min]"""
    pieces: list[Piece] = []
    begin = start_min
    if open_hours is None:
        for phase in phases:
            pieces.append((begin, phase))
            begin += 60.0 * phase[0]
        return pieces, start_min + ticked(begin - start_min)
    left = tuple(phases)
    while left:
        opens, closes = open_hours.window(begin)
        begin = max(begin, opens)
        hours = (closes - begin) / 60.0
        done = cut(left, hours)
        left = rest_of(left, hours)
        for phase in done:
            pieces.append((begin, phase))
            begin += 60.0 * phase[0]
        if left:
            begin = closes
    return pieces, start_min + ticked(begin - start_min)


def ended_at(pieces: "Sequence[Piece]", time_min: float) -> list[Piece]:
    """What of a charge lies before a time. [min]"""
    kept: list[Piece] = []
    for begin, phase in pieces:
        kept += [(begin, each) for each in cut((phase,), (time_min - begin) / 60.0)]
    return kept


def outcome(battery: "Battery", planned: Planned, begin: Begin, end_min: float, *, full: bool) -> Outcome:
    """Work out what a charge gives and how warm the battery gets; changes nothing."""
    plan = battery.queue.plan
    phases, left_ah, side_gas_a, _, _, timed = planned
    thermal, cells = plan.thermal, plan.rated_cell.cells
    _, ah, kwh = phases_totals(phases, cells)
    if full:
        stored_ah = max(0.0, battery.missing_ah - left_ah)
    else:
        stored_ah = (phases[-1].soc_to - phases[0].soc_from) * plan.capacity_ah if phases else 0.0
    gas_ah = max(0.0, ah - stored_ah)
    heat_kwh = 0.0
    if not timed:
        storing_v, splitting_v = thermal.storing_v, thermal.splitting_v
        heat_kwh = charge_heat_kwh(kwh, stored_ah, gas_ah, cells, storing_v=storing_v, splitting_v=splitting_v)
    start_min, degc, air_degc, _ = begin
    hours = (end_min - start_min) / 60.0
    end_degc = charge_end_degc(degc, air_degc, heat_kwh, thermal.room_loss_w_per_k, thermal.room_tau_h, hours)
    if side_gas_a:
        gas_ah += side_gas_a * sum(phase.hours for phase in phases if phase.decay_per_h)
    result: Outcome = new(Outcome, (end_min, ah, kwh, stored_ah, gas_ah, end_degc, heat_kwh))
    return result


def begun(battery: "Battery", begin: Begin, pieces: "Sequence[Piece]") -> Begin:
    """When the current of a charge really came on, which may have had to wait for power."""
    if not pieces or pieces[0][0] <= begin.start_min:
        return begin
    first_min = pieces[0][0]
    return begin._replace(start_min=first_min, degc=battery.degc_after_rest(first_min, begin.air_degc))


def put_in(battery: "Battery", result: Outcome, planned: Planned, *, full: bool) -> None:
    """Change the battery as a charge does; who keeps `owed_ah` in part charges does that."""
    battery.missing_ah -= result.stored_ah
    battery.degc, battery.degc_min = result.end_degc, result.end_min
    battery.stay_kwh += result.heat_kwh
    battery.gas_ah += result.gas_ah * battery.queue.plan.gassing.vented_share
    battery.charged_min = result.end_min
    if full:
        battery.missing_ah = planned.left_ah
        battery.surplus_ah = 0.0
        battery.owed_ah = 0.0
        battery.full_min = result.end_min
        battery.part_charges = 0
        if planned.equalising_min:
            battery.equalised_min = result.end_min - planned.equalising_min
    else:
        battery.part_charges += 1


def write_charge(
    area: "Area", battery: "Battery", charger: int, times: tuple[float, float, float], course: Course, *, full: bool
) -> None:
    """Write the row of a charge that has been put in, and those of its phases.

    Parameters
    ----------
    room, battery
        The room, and the battery after the charge.
    charger
        Number of the charger type.
    times
        Discharged, connected, cooled down. [min]
    course
        The charge.
    full
        Whether it ended full.
    """
    begin, planned, pieces, result = course
    number, queue = battery.number, battery.queue.number
    discharged_min, connected_min, cooled_min = times
    start_min, start_degc, _, delayed_min = begin
    end_min, given_ah, given_kwh, stored_ah, gas_ah, end_degc, _ = result
    capacity_ah = battery.queue.plan.capacity_ah
    soc_to = 1.0 - battery.missing_ah / capacity_ah
    write = area.record.write
    write.charges(
        standing=standing(battery=number, queue=queue, charger=charger, bay=battery.bay, discharged_min=discharged_min),
        connected_min=connected_min,
        start_min=start_min,
        end_min=end_min,
        cooled_min=cooled_min,
        soc_from_share=soc_to - stored_ah / capacity_ah,
        soc_to_share=soc_to,
        charged_ah=given_ah,
        charged_kwh=given_kwh,
        gas_ah=gas_ah,
        start_degc=start_degc,
        end_degc=end_degc,
        delayed_min=delayed_min,
        full=full,
        equalising_min=planned.equalising_min,
    )
    write_phase, side_gas_a = write.charge_phases, planned.side_gas_a
    for phase_min, phase in pieces:
        write_phase(
            battery=number,
            queue=queue,
            charger=charger,
            start_min=phase_min,
            phase=phase,
            side_gas_a=side_gas_a and (side_gas_a if phase.decay_per_h else 0.0),
        )


APART_MIN = 1e-3
"""Phases of a charge that are no further apart follow each other at once. [min]"""


def write_pauses(area: "Area", battery: "Battery", course: Course) -> None:
    """Write when a charge is without current between its start and its end."""
    begin, _, pieces, result = course
    time = begin.start_min
    for piece_min, phase in pieces:
        if piece_min > time + APART_MIN:
            area.state(battery, PAUSED, time)
            area.state(battery, ON_CHARGE, piece_min)
        time = piece_min + 60.0 * phase.hours
    if result.end_min > time + APART_MIN:
        area.state(battery, PAUSED, time)


def accepting_degc(
    plan: "BatteryPlan", profile: "Profile", missing_ah: float, start_degc: float, air_degc: float
) -> float:
    """Temperature that the main stage brings the battery to, where acceptance begins to set the current. [degC]"""
    limit_ah = profile.main_a * profile.tau_h
    bulk_ah, thermal = missing_ah - limit_ah, plan.thermal
    if bulk_ah <= 0.0:
        return start_degc
    mean_v = profile.absorption_v
    if plan.capacity_ah > limit_ah:  # from the empty battery to the limit the voltage rises along a line
        mean_v -= (mean_v - profile.empty_v) * 0.5 * bulk_ah / (plan.capacity_ah - limit_ah)
    heat_kwh = plan.battery.cells * (mean_v - thermal.storing_v) * bulk_ah / 1000.0
    hours = bulk_ah / profile.main_a
    return charge_end_degc(start_degc, air_degc, heat_kwh, thermal.room_loss_w_per_k, thermal.room_tau_h, hours)


def held_gas_a(plan: "BatteryPlan", profile: "Profile", temperature_degc: float) -> float:
    """Gas current while the voltage of IU is held; the charge factor of the others tells. [A]"""
    return gas_current_a(profile.absorption_v, temperature_degc, plan.gassing.law)
