"""Labour, rules of thumb and money as the trade reckons: plain arithmetic that the program must come to as well.

How true what the trade takes for granted is of a site is another matter.
"""

import pytest
import yaml

from batsim.catalogue import FIGURES, document
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.formulas.wear import Life, discharge_damage
from batsim.scenario.parts.batteries import read_charge_current, read_rated_capacity
from batsim.study.cost import UnitCosts
from batsim.study.running.counts import Counted


def _watering_min(cells, which):
    """Minutes to water one battery by hand, by the catalogue."""
    return getattr(FIGURES["watering.by_hand_per_cell"], which) * cells


# Watering


@pytest.mark.worked_out(where="100 vehicles, monthly, 6 to 12 min by hand and 1 to 2 min by one point")
def test_watering_of_a_hundred_vehicles():
    """24 cells, gear left out: 120 to 240 h a year, 1,800 to 3,600 at 15 an hour; one point 20 to 40 h, 300 to 600."""
    times_a_year = 100 * 12
    by_hand_h = [times_a_year * _watering_min(24, which) / 60.0 for which in ("low", "value")]
    point = FIGURES["watering.single_point"]
    one_point_h = [times_a_year * minutes / 60.0 for minutes in (point.low, point.value)]

    assert by_hand_h == [120.0, 240.0]
    assert [15.0 * hours for hours in by_hand_h] == [1800.0, 3600.0]
    assert one_point_h == [20.0, 40.0]
    assert [15.0 * hours for hours in one_point_h] == [300.0, 600.0]


@pytest.mark.common_practice(where="10 to 15 min with gear and caps for 24 cells; 0.25 to 0.63 min a cell")
def test_watering_of_one_battery():
    """The catalogue's range of a cell spans that, to its digits; the usual time is the longer one."""
    per_cell = FIGURES["watering.by_hand_per_cell"]

    assert per_cell.low * 24 == 6.0
    assert per_cell.high == pytest.approx(15.0 / 24.0, abs=0.0051)
    assert FIGURES["watering.by_hand_base"].value + _watering_min(24, "value") == 15.0


# Exchanges


# Rules of thumb


@pytest.mark.common_practice(where="1, 2 and 3 shifts: 1, 2 and 3 batteries a truck; 25 trucks: 25 and 50 stored")
@pytest.mark.parametrize(
    ("run_h", "charge_h", "cool_h", "per_truck", "stored"),
    [(8.0, 8.0, 0.0, 2.0, 25.0), (8.0, 8.0, 8.0, 3.0, 50.0)],
)
def test_batteries_by_shifts(run_h, charge_h, cool_h, per_truck, stored):
    """In two shifts a battery is back after one shift of charging, in three after one more of rest."""
    found = batteries_per_truck(run_h, 0.0, charge_h, cool_h)

    assert found == per_truck
    assert 25 * (found - 1.0) == stored


@pytest.mark.common_practice(where="18-125-17: 18 cells, 125 Ah a positive plate, 17 plates; 170, 250, 400 A")
def test_a_battery_by_its_name():
    """36 V and (17 - 1)/2 x 125 = 1,000 Ah, the catalogue's 36 V type; 17 A, 25 A and 40 A per 100 Ah."""
    named_ah = (17 - 1) / 2 * 125.0
    types = yaml.safe_load(document("battery_types").read_text(encoding="utf-8"))
    stated = types["vented_lead_acid_36v"]
    read = read_charge_current.read
    usual = FIGURES["charger.electronic_iuia.main_current"]

    assert stated["cells"] == 18
    assert read_rated_capacity.read(stated["capacity"]) == (named_ah, 6.0)
    assert read("17 A per 100 Ah").of(named_ah) == pytest.approx(170.0)
    assert usual.low <= 17.0 <= usual.high
    assert read(FIGURES["charger.opportunity_iuia.main_current"].text).of(named_ah) == pytest.approx(250.0)
    assert read(FIGURES["charger.fast_iuia.main_current"].text).of(named_ah) == pytest.approx(400.0)


# Money


@pytest.mark.common_practice(where="300 working days, one cycle each, 5 years: 1,500 cycles")
def test_life_in_cycles_and_years():
    """The upper end of the catalogue's cycles is its usual years at one cycle a working day."""
    cycles = FIGURES["battery.vented_lead_acid.life_cycles"]
    test = Life(cycles.high, 0.8, 1.2, 1.2, 30.0, 10.0)

    assert 300 * FIGURES["price.life.battery"].value == cycles.high
    assert 1.0 / discharge_damage(0.8, 30.0, test) / 300.0 == pytest.approx(5.0)


@pytest.mark.worked_out(where="24 V 560 Ah at 2,688 and 48 V 550 Ah at 6,600: 200 and 250 a kWh")
@pytest.mark.parametrize(
    ("cells", "ah", "kwh", "price", "per_kwh"),
    [(12, 560, 13.44, 2688.0, 200.0), (24, 550, 26.4, 6600.0, 250.0)],
)
def test_price_by_nominal_energy(case, cells, ah, kwh, price, per_kwh):
    """A price for each kWh, stated so, makes the price of the battery: 2 V a cell times the rated capacity."""
    scenario = case(
        "stations",
        {
            "batteries.plain.cells": cells,
            "batteries.plain.capacity": f"{ah} Ah at 5 h",
            "prices": {"battery": f"{price / kwh:.9f} EUR/kWh"},
        },
    )
    found = UnitCosts(scenario, "one").by_counted[Counted("batteries", "plain")]

    assert scenario.batteries["plain"].nominal_v * ah / 1000.0 == pytest.approx(kwh)
    assert found.price == pytest.approx(price, abs=1e-4)
    assert found.price / kwh == pytest.approx(per_kwh, abs=0.5)
