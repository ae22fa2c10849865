"""What a driver can know: the charge that is left and the mean of the group, not the power of a shift to come."""

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.record.record import Record
from batsim.record.words import SHIFT_CHANGE, TURNED_AWAY
from tests.sites import KESTREL


def visits(record: Record, reason: int) -> np.ndarray:
    """State of charge of trucks that came for a reason."""
    rows = record.columns("exchanges")
    return rows["soc_share"][rows["reason"] == reason]


def with_rule(scenario: batsim.Scenario, when: dict[str, object], **rules: object) -> batsim.Scenario:
    """The scenario with another rule for visits before the level."""
    changes: dict[str, object] = {f"trucks[{n}].exchange_when": when for n in range(len(scenario.trucks))}
    return batsim.changed(scenario, changes | {f"rules.{key}": value for key, value in rules.items()})


def run(scenario: batsim.Scenario, layout: str = "side rollers", weeks: float = 2) -> Record:
    """One run of the flagship."""
    return batsim.simulate(scenario, layout, settings=batsim.Settings(weeks=weeks))


@pytest.mark.parametrize("level", [40, 50, 70])
def test_no_battery_is_given_away_above_the_level(level: int) -> None:
    """At the end of a shift none comes above it, however short it may be for the next shift."""
    soc = visits(run(with_rule(KESTREL, {"shift_change": "if_short", "not_above": f"{level} %"})), SHIFT_CHANGE)
    assert soc.size > 30
    assert level / 100.0 - 0.1 < np.max(soc) <= level / 100.0


def test_the_usual_level_is_the_catalogues() -> None:
    soc = visits(run(with_rule(KESTREL, {"shift_change": "if_short"}), "hoist"), SHIFT_CHANGE)
    assert 0.0 < np.max(soc) <= FIGURES["truck.exchange_not_above"].value / 100.0


def test_a_driver_does_not_know_the_next_shift() -> None:
    """The shifts that follow visits at the change draw the mean power: none is chosen by what is to come."""
    record = run(with_rule(KESTREL, {"shift_change": "if_short", "not_above": "100 %"}), weeks=4)
    rows, shifts = record.columns("exchanges"), record.columns("truck_shifts")
    came = (rows["reason"] == SHIFT_CHANGE) & (rows["kind"] != TURNED_AWAY)
    following = []
    for truck, left in zip(rows["truck"][came], rows["left_min"][came], strict=True):
        mine = (shifts["truck"] == truck) & (shifts["start_min"] > left)
        following += shifts["power_w"][mine][:1].tolist()
    mean = float(np.mean(shifts["power_w"]))
    error = float(np.std(following)) / np.sqrt(len(following))
    assert len(following) > 150
    assert error < 0.03 * mean
    assert abs(float(np.mean(following)) - mean) < 3.5 * error


def scarce(patience: str, if_none_ready: str = "wait") -> Record:
    """Few batteries, trucks that come in breaks while they could go on."""
    scenario = with_rule(KESTREL, {"in_breaks_below": "70 %"}, patience=patience, if_none_ready=if_none_ready)
    batteries = dict.fromkeys(scenario.batteries_of("side rollers"), 62)
    few = scenario.layouts["side rollers"].with_counts(batteries=batteries, chargers={"electronic_iuia": 36})
    return run(scenario.with_layout("side rollers", few), weeks=1)


def longest_wait_above_level(record: Record) -> float:
    """Longest wait of a truck that could have gone on. [min]"""
    rows = record.columns("exchanges")
    could = (rows["soc_share"] > KESTREL.trucks[0].exchange_at_share + 0.05) & (rows["kind"] != TURNED_AWAY)
    return float(np.nanmax((rows["start_min"] - rows["joined_min"])[could]))


def test_a_truck_above_its_level_waits_no_longer_than_its_patience_lets_it_expect() -> None:
    """It goes back to work and comes again at its level; with all the patience in the world it waits."""
    patient, usual = scarce("3000 min"), scarce("15 min")
    assert longest_wait_above_level(patient) > 60.0
    assert longest_wait_above_level(usual) < longest_wait_above_level(patient) / 2.0
    rows = usual.columns("exchanges")
    turned = rows["kind"] == TURNED_AWAY
    assert np.sum(turned) > 20
    assert np.all(rows["soc_share"][turned] > 0.25)
    for truck, back in zip(rows["truck"][turned], rows["back_min"][turned], strict=True):
        later = (rows["truck"] == truck) & (rows["left_min"] >= back)
        if np.any(later):  # it works on down to its level, and asks once more
            assert rows["soc_share"][later][0] < 0.26


def test_those_who_wait_are_counted_before_a_truck_carries_on() -> None:
    """At its level a truck carries on as well where the ready batteries are for those before it."""
    rows = scarce("15 min", "carry_on").columns("exchanges")
    served = rows["kind"] != TURNED_AWAY
    cut_out = KESTREL.batteries[KESTREL.trucks[0].battery].discharge_to_share
    could = served & (rows["soc_share"] > cut_out + 0.02)
    assert np.nanmax((rows["start_min"] - rows["joined_min"])[could]) < 120.0


RUN_TIMES = """
site: {name: Run times (invented)}
week: {shifts: {early: {days: Mon-Sun, from: "06:00", to: "14:00"}, late: {days: Mon-Sun, from: "14:00", to: "22:00"}}}
trucks:
  - {group: trucks, count: 6, shifts: [early, late], battery: lead, run_time: 600 min,
     exchange_when: {shift_change: always}}
batteries: {lead: {from: vented_lead_acid_48v, charge_time: 10 h}}
layouts: {room: {handling: side_rollers, batteries: 7, chargers: 1 x electronic_iuia, attendants: unlimited}}
rules: {patience: 0 min}
"""


def test_a_run_time_says_nothing_of_what_is_left() -> None:
    """Trucks with a run time never turn back for want of patience."""
    settings = batsim.Settings(weeks=2, warm_up_weeks=0)
    rows = batsim.simulate(batsim.read_scenario_text(RUN_TIMES), "room", settings=settings).columns("exchanges")
    assert np.sum(rows["reason"] == SHIFT_CHANGE) > 10
    assert not np.any(rows["kind"] == TURNED_AWAY)
