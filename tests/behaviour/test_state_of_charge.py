"""State of charge: the lesser of 1 less ampere-hours over rated capacity and what the current can still get."""

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.measures import measure
from batsim.record.record import Record
from batsim.scenario.chemistry import rated_cell
from tests.sites import FROSTHOLM, KESTREL

SITE = """
site: {{name: One truck (invented), room_temperature: 30 degC}}
week: {{shifts: {{always: {{days: Mon-Sun, from: "00:00", to: "24:00"}}}}}}
trucks:
  - {{group: truck, count: 1, shifts: [always], battery: lead, temperature: 30 degC,
     duty: {{mean_power: {power}, between_trucks: 0 %, between_shifts: 0 %}}}}
batteries: {{lead: {{from: vented_lead_acid_48v, life_used: {used}, charge_time: 1 h, cool_down: 0 h, watering: none}}}}
layouts: {{room: {{handling: side_rollers, batteries: 2, chargers: 2 x electronic_iuia, attendants: unlimited}}}}
simulation: {{replications: 1, length: 2 weeks, warm_up: 0 weeks}}
"""


def simulated(power: str, used: str = "0 %") -> Record:
    """One truck that works round the clock at one power, its batteries with so much of their life behind them."""
    return batsim.simulate(batsim.read_scenario_text(SITE.format(power=power, used=used)), "room")


def drawn_ah(record: Record) -> float:
    """Ampere-hours of a discharge from full to the exchange level. [Ah]"""
    rows = record.columns("discharges")
    return float(rows["drawn_ah"][1])


@pytest.mark.parametrize("scenario", [KESTREL, FROSTHOLM], ids=["warm", "cold"])
def test_it_is_never_more_than_what_is_left_of_the_rated_ampere_hours(scenario: batsim.Scenario) -> None:
    """Nor below zero; what is deep is counted by ampere-hours."""
    for layout in scenario.layouts:
        record = batsim.simulate(scenario, layout, settings=batsim.Settings(weeks=1))
        rows = record.columns("discharges")
        ended = np.isfinite(rows["end_min"])
        soc, depth = rows["soc_to_share"][ended], rows["depth_share"][ended]
        full = rows["soc_from_share"][ended] == 1.0
        assert np.min(soc) >= 0.0
        assert np.all(
            soc[full] <= 1.0 - rows["drawn_ah"][ended][full] / record.facts.battery_types[0].capacity_ah + 1e-6
        )
        start, end = record.facts.warm_up_min, record.facts.horizon_min
        inside = (rows["end_min"][ended] >= start) & (rows["end_min"][ended] < end)
        deep = float(np.mean(depth[inside] > 1.0 - record.facts.battery_types[0].discharge_to_share + 1e-9))
        assert measure(record)["deep_discharges_share"] == pytest.approx(deep)


def test_a_weak_current_gets_the_rated_ampere_hours_and_no_more() -> None:
    """At 1.5 kW a battery of 48 V and 750 Ah gives 75 % of them down to 25 %; Peukert's law alone promises more."""
    capacity_ah = rated_cell(KESTREL.batteries[KESTREL.trucks[0].battery], FIGURES).capacity_ah
    record = simulated("1.5 kW")
    assert drawn_ah(record) == pytest.approx(0.75 * record.facts.battery_types[0].capacity_ah, rel=1e-3)
    assert capacity_ah == 750.0


def test_age_lowers_only_what_the_current_can_get() -> None:
    """Worn batteries give a weak current as much as new ones, and a strong one less."""
    assert drawn_ah(simulated("1.5 kW", "30 %")) == pytest.approx(drawn_ah(simulated("1.5 kW")), rel=1e-6)
    assert drawn_ah(simulated("12 kW", "80 %")) < 0.95 * drawn_ah(simulated("12 kW"))


def test_a_stated_exponent_is_the_usual_one_when_it_is_the_same() -> None:
    """Peukert 1.2 stated or left to the catalogue: the same cell, floor and all."""
    name = KESTREL.trucks[0].battery
    usual = FIGURES["battery.vented_lead_acid.peukert"].value
    stated = batsim.changed(KESTREL, {f"batteries.{name}.peukert": usual})
    assert rated_cell(stated.batteries[name], FIGURES) == rated_cell(KESTREL.batteries[name], FIGURES)
