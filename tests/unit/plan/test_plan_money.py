"""Money of a plan: every line by hand, sums and ranges, what rests on placeholders, and when it pays back."""

import math
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.plan.equipment import equipment_list
from batsim.plan.evidence import QUARTERS, AreaEvidence, Evidence, RunEvidence
from batsim.plan.money import YearlyCost, YearlyCostLine, money, payback
from batsim.plan.room_fit import needed_area_m2, room_checks
from batsim.scenario.parts.prices import Tariff
from batsim.scenario.site import Scenario
from batsim.study.prices import NOTHING, Price, charger_price, device_price, figure_name, part_price, price_of, summed
from tests.prices import ROUND

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
RECOVERY = {4.0: 0.2820118, 5.0: 0.2309748, 10.0: 0.1295046, 20.0: 0.0802426}
"""Capital recovery factors at 5 %, from memory: (A/P, 5 %, n)."""
PRICES: dict[str, Any] = {
    **ROUND,
    "interest": "5 %",
    "lives": {"battery": "5 years", "charger": "10 years", "device": "10 years", "room": "20 years"},
}
MEASURES = {
    "life_years": 9.0,
    "labour_attendant_min_per_day": 60.0,
    "labour_driver_min_per_day": 30.0,
    "driver_outside_downtime_min_per_day": 12.0,
    "downtime_min_per_truck_shift": 5.0,
    "travel_min_per_truck_shift": 2.0,
    "peak_of_all_weeks_kw": 25.0,
    "water_lost_kg_per_day": 2.0,
    "exchanges_per_day": 4.0,
}
DAYS, TRUCK_HOURS, TRUCK_SHIFTS = 52 * 5, 52 * 120.0, 52 * 15
"""Working days, scheduled truck hours and truck-shifts of a year: three trucks, one shift of 8 h, Monday to Friday."""


@cache
def priced() -> Scenario:
    """The surveyed site with round prices."""
    return batsim.changed(batsim.read(FILE), {"prices": PRICES})


def found(measures: dict[str, float] | None = None, load_kw: Any = 4.0) -> Evidence:
    """What a simulation might have found: four kilowatts all week when not stated otherwise."""
    known = MEASURES | (measures or {})
    runs: Any = SimpleNamespace(
        interval=lambda _, name: SimpleNamespace(mean=known[name]),
        schedule=SimpleNamespace(warm_up_min=0.0, weeks_a_year=52),
    )
    load = np.full(QUARTERS, load_kw, dtype=np.float64) if np.ndim(load_kw) == 0 else load_kw
    lives = {"lead": known["life_years"]}
    area = AreaEvidence(False, np.zeros(QUARTERS), {}, lives, known["labour_attendant_min_per_day"])
    taken = RunEvidence({}, load, 5.0, 120.0, 15.0, np.zeros(0), {}, {"": area})
    return Evidence("any", runs, (taken,))


def discharged(
    layout: str = "stands",
    changes: dict[str, Any] | None = None,
    measures: dict[str, float] | None = None,
    load_kw: Any = 4.0,
) -> YearlyCost:
    """Money of a layout."""
    scenario = batsim.changed(priced(), changes) if changes else priced()
    lines = equipment_list(scenario, layout, tuple(room_checks(scenario, layout)))
    return money(scenario, layout, found(measures, load_kw), lines)


def line_of(of: YearlyCost, what: str) -> YearlyCostLine:
    """The line of that name."""
    (line,) = (line for line in of.lines if line.what == what)
    return line


def values(of: YearlyCost) -> dict[str, float]:
    """What each line costs in a year."""
    return {line.what: line.per_year.value for line in of.lines}


# --- lines by hand ---


def test_all_lines_by_hand() -> None:
    """Seven batteries of 24 kWh, four chargers, two pallet trucks, six stands, two stations, two attendants, and parts.

    Parts are three roller beds and locks, two securing devices, a water cart, a spill kit and two sets of goggles;
    sides that open are there.
    """
    area = needed_area_m2(priced(), "stands")
    assert area == pytest.approx(6 * 1.05 * (0.75 + 1.1))
    expected = {
        "batteries": 7 * 24.0 * 100.0 * RECOVERY[5.0],
        "chargers": 4 * 1000.0 * RECOVERY[10.0],
        "devices and parts": (2 * 500.0 + (3 + 3 + 2 + 1 + 1 + 2) * 50.0) * RECOVERY[10.0],
        "bays, stations, room": (6 * 200.0 + 2 * 700.0) * RECOVERY[20.0],
        # Two on duty for 8 h on 260 days, busy or not.
        "attendants on duty": 2 * 8.0 * DAYS * 30.0,
        "trucks standing": 5.0 / 60.0 * TRUCK_SHIFTS * 12.0,
        # The way to the room is part of the five minutes; twelve minutes a day lie outside of them.
        "their drivers": 5.0 / 60.0 * TRUCK_SHIFTS * 20.0,
        "drivers outside downtime": 0.2 * DAYS * 20.0,
        "energy": 4.0 * 168.0 * 52.0 * 0.20,
        "demand": 25.0 * 12 * 10.0,
        "water": 2.0 * DAYS * 0.5,
        "floor": area * 60.0,
    }

    of = discharged()
    assert values(of) == pytest.approx(expected, rel=1e-5)
    assert of.per_year.value == pytest.approx(sum(expected.values()), rel=1e-5)
    assert of.per_exchange.value == pytest.approx(of.per_year.value / (4 * DAYS))
    worked = TRUCK_HOURS - 5.0 / 60.0 * TRUCK_SHIFTS
    assert of.per_truck_hour.value == pytest.approx(of.per_year.value / worked)
    assert of.at_equal_work.value == pytest.approx(of.per_year.value / worked * TRUCK_HOURS)
    capital = ("chargers", "devices and parts", "bays, stations, room")
    assert {what: cost.value for what, cost in of.running.items()} == pytest.approx(
        {what: value for what, value in expected.items() if what not in capital}, rel=1e-5
    )
    assert of.purchase.value == pytest.approx(7 * 2400 + 4000 + 1000 + 12 * 50 + 1200 + 1400)


BASES = {
    "batteries": "16,800 over 5 years at 5 %",
    "chargers": "4,000 over 10 years at 5 %",
    "devices and parts": "1,600 over 10 years at 5 %",
    "bays, stations, room": "2,600 over 20 years at 5 %",
    "attendants on duty": "4,160 h a year, 6 % of them hands-on",
    "trucks standing": "65 h a year: 5.0 min in each of 780 truck-shifts",
    "their drivers": "the same 65 h a year, 40 % of them on the way",
    "drivers outside downtime": "52 h a year: after shifts, connecting, maintenance",
    "energy": "34,944 kWh a year at 0.2000 on average over the bands",
    "demand": "25 kW, peak of all weeks (mean of 15 min), in each of 12 months",
    "water": "520 kg a year",
    "floor": "12 m² for bays and aisle",
}


def test_how_it_is_worked_out_to_the_letter() -> None:
    """With the numbers, so that anybody can work it out again."""
    assert {line.what: line.basis for line in discharged().lines} == BASES


def test_batteries_wear_out_with_use() -> None:
    """Four years by use where five are usual; owned or not, they are paid as they wear out."""
    worn = discharged(measures={"life_years": 4.0})
    owned = discharged(changes={"layouts.stands.owned": {"lead": 7, "hand_pallet_truck": 2}})

    assert values(worn)["batteries"] == pytest.approx(16_800 * RECOVERY[4.0], rel=1e-6)
    assert line_of(worn, "batteries").basis == (
        "16,800 over 4 years at 5 %, worn out by use before the 5 years that are usual"
    )
    assert values(owned)["batteries"] == values(discharged())["batteries"]
    assert owned.purchase.value == pytest.approx(discharged().purchase.value - 16_800 - 2 * 500)
    assert values(discharged(measures={"life_years": math.nan})) == values(discharged())
    assert values(discharged(measures={"life_years": math.inf})) == values(discharged())


@pytest.mark.parametrize(
    ("attendants", "busy", "expected"),
    [
        ({"day": 3}, 60.0, {"attendants on duty": 3 * 8 * DAYS * 30.0}),
        ({"day": 1}, math.nan, {"attendants on duty": 8 * DAYS * 30.0}),
        ("unlimited", 60.0, {"attendants hands-on": DAYS * 30.0}),
        (None, 0.0, {}),
        (None, math.nan, {}),
    ],
)
def test_attendants(attendants: object, busy: float, expected: dict[str, float]) -> None:
    """Paid while on duty; by the hours of work where they come when they are called."""
    of = discharged(changes={"layouts.stands.attendants": attendants}, measures={"labour_attendant_min_per_day": busy})

    assert {what: value for what, value in values(of).items() if what.startswith("attendants")} == pytest.approx(
        expected
    )


def test_people_who_cost_nothing() -> None:
    """A wage of 0 is a wage; what costs nothing has no line."""
    of = discharged(changes={"prices.attendant": "0 EUR/h", "prices.driver": "0 EUR/h"})

    assert {what for what in values(of) if "attendant" in what or "driver" in what} == set()


def test_drivers_are_paid_for_every_lost_hour_once() -> None:
    """Waiting, hands-on or on the way: whatever the minutes go to, they cost the same; those on the way are said."""
    still, moving = (discharged(measures={"travel_min_per_truck_shift": each}) for each in (0.0, 5.0))

    assert values(still) == values(moving)
    assert line_of(moving, "their drivers").basis.endswith("100 % of them on the way")
    longer = discharged(measures={"downtime_min_per_truck_shift": 7.0, "travel_min_per_truck_shift": 4.0})
    assert values(longer)["their drivers"] - values(still)["their drivers"] == pytest.approx(2 / 60 * TRUCK_SHIFTS * 20)


def test_measures_without_a_meaning_cost_nothing() -> None:
    """No number stays no number nowhere."""
    of = discharged(measures=dict.fromkeys(MEASURES, math.nan))

    assert {"trucks standing", "demand", "water", "their drivers", "drivers outside downtime"} & set(
        values(of)
    ) == set()
    assert math.isfinite(of.per_year.value)
    assert math.isnan(of.per_exchange.value)
    assert math.isnan(discharged(measures={"exchanges_per_day": 0.0}).per_exchange.value)


# --- tariff ---


def one_hour(day: int, hour: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """A load of 1 kW in one hour of the week, Monday is 0."""
    load = np.zeros(QUARTERS)
    first = (day * 24 + hour) * 4
    load[first : first + 4] = 1.0
    return load


BANDS = {
    "otherwise": "0.10 EUR/kWh",
    "bands": [
        {"days": "Mon-Fri", "from": "06:00", "to": "22:00", "price": "0.30 EUR/kWh"},
        {"days": "Fri, Sun", "from": "23:00", "to": "02:00", "price": "0.50 EUR/kWh"},
        {"days": "Sat", "from": "00:00", "to": "24:00", "price": "0.20 EUR/kWh"},
    ],
}


@pytest.mark.parametrize(
    ("day", "hour", "rate"),
    [
        (0, 5, 0.10), (0, 6, 0.30), (0, 21, 0.30), (0, 22, 0.10), (4, 21, 0.30), (4, 22, 0.10), (4, 23, 0.50),
        # The band of Friday night goes on to 2 on Saturday, before Saturday's own; that of Sunday night into Monday.
        (5, 0, 0.50), (5, 1, 0.50), (5, 2, 0.20), (5, 23, 0.20), (6, 0, 0.10), (6, 12, 0.10), (6, 22, 0.10),
        (6, 23, 0.50), (0, 0, 0.50), (0, 1, 0.50), (0, 2, 0.10),
    ],
)  # fmt: skip
def test_bands_of_a_tariff(day: int, hour: int, rate: float) -> None:
    """Over midnight, at weekends and from the end of the week to its beginning; the first that holds counts."""
    of = discharged(changes={"prices.energy": BANDS}, load_kw=one_hour(day, hour))

    assert values(of)["energy"] == pytest.approx(52 * rate)
    assert line_of(of, "energy").basis == f"52 kWh a year at {rate:.4f} on average over the bands"


def test_every_quarter_has_its_price() -> None:
    """The whole week at 1 kW: hours of each band by hand."""
    of = discharged(changes={"prices.energy": BANDS}, load_kw=1.0)

    by_hand = 80 * 0.30 + 6 * 0.50 + 22 * 0.20 + (168 - 80 - 6 - 22) * 0.10
    assert values(of)["energy"] == pytest.approx(52 * by_hand)


def test_a_band_that_begins_within_a_quarter() -> None:
    """It counts from that minute on; for a whole day where both ends are the same."""
    tariff = Tariff.model_validate(
        {"otherwise": "1 EUR/kWh", "bands": [{"from": "06:05", "to": "06:05", "price": "2 EUR/kWh", "days": "Mon"}]}
    )

    assert [tariff.bands[0].holds(minute) for minute in (364.9, 365.0, 1804.9, 1805.0)] == [False, True, True, False]


def test_no_load_no_energy() -> None:
    """Neither a line nor a mean price."""
    of = discharged(load_kw=0.0)

    assert "energy" not in values(of)


# --- prices ---


def test_ranges_are_carried_through() -> None:
    """Placeholders with their low and high ends; all low and all high in the sums."""
    of = discharged(changes={"prices": {"interest": "5 %", "lives": PRICES["lives"]}})
    kwh = 7 * 24.0
    battery, driver = FIGURES["price.battery.vented_lead_acid"], FIGURES["price.driver"]

    line = line_of(of, "batteries").per_year
    assert (line.value, line.low, line.high) == pytest.approx(
        tuple(kwh * RECOVERY[5.0] * each for each in (battery.value, battery.low, battery.high)), rel=1e-6
    )
    line = line_of(of, "their drivers").per_year
    assert (line.low, line.high) == pytest.approx((65 * driver.low, 65 * driver.high))
    assert of.per_year.low == pytest.approx(sum(each.per_year.low for each in of.lines))
    assert of.per_year.high == pytest.approx(sum(each.per_year.high for each in of.lines))
    assert of.per_year.low < of.per_year.value < of.per_year.high
    assert of.per_exchange.high == pytest.approx(of.per_year.high / (4 * DAYS))
    assert of.placeholders == tuple(values(of))


def test_prices_of_the_site_are_marked_nowhere() -> None:
    """Nothing rests on placeholders, and there is no range."""
    of = discharged()

    assert of.placeholders == ()
    assert (of.per_year.low, of.per_year.high) == pytest.approx((of.per_year.value, of.per_year.value))
    assert not of.per_year.placeholder


@pytest.mark.parametrize(
    ("key", "lines"),
    [
        ("battery", {"batteries"}),
        ("charger", {"chargers"}),
        ("device", {"devices and parts"}),
        ("part", {"devices and parts"}),
        ("bay", {"bays, stations, room"}),
        ("station", {"bays, stations, room"}),
        ("attendant", {"attendants on duty"}),
        ("driver", {"their drivers", "drivers outside downtime"}),
        ("truck", {"trucks standing"}),
        ("energy", {"energy"}),
        ("demand", {"demand"}),
        ("water", {"water"}),
        ("floor", {"floor"}),
        ("interest", {"batteries", "chargers", "devices and parts", "bays, stations, room"}),
        ("lives", {"batteries", "chargers", "devices and parts", "bays, stations, room"}),
    ],
)
def test_each_price_that_is_missing_marks_its_lines(key: str, lines: set[str]) -> None:
    """And no others; one price for a mixed line is enough to mark it."""
    of = discharged(changes={"prices": {name: price for name, price in PRICES.items() if name != key}})

    assert set(of.placeholders) == lines
    assert of.per_year.placeholder


def test_a_price_of_its_own_goes_before_that_of_all() -> None:
    """For a part, for a device, and a figure that is stated anew is no placeholder."""
    scenario = batsim.changed(
        priced(),
        {
            "prices.part": {"battery lock": "99 EUR"},
            "prices.device": {"hand_pallet_truck": "777 EUR"},
            "figures": {"price.part.other": "11 EUR", "price.truck": "3 EUR/h"},
        },
    )

    assert part_price(scenario, "battery lock") == Price(99.0, 99.0, 99.0, placeholder=False)
    assert part_price(scenario, "spill kit").value == FIGURES["price.part.spill_kit"].value
    assert part_price(scenario, "label") == Price(11.0, 11.0, 11.0, placeholder=False)
    assert device_price(scenario, "hand_pallet_truck").value == 777.0
    hoist, other = FIGURES["price.hoist"], FIGURES["price.device"]
    assert device_price(scenario, "hoist") == Price(hoist.value, hoist.low, hoist.high, placeholder=True)
    assert device_price(scenario, "tugger") == Price(other.value, other.low, other.high, placeholder=True)
    assert price_of(scenario, "truck", None) == Price(3.0, 3.0, 3.0, placeholder=False)


def test_names_of_parts_as_figures() -> None:
    """Small letters and underscores."""
    assert [figure_name(each) for each in ("pull-out frame", "Eyewash & shower ", "winch")] == [
        "pull_out_frame",
        "eyewash_shower",
        "winch",
    ]


def test_prices_add_up() -> None:
    """Low with low and high with high; a mark stays."""
    one, other = Price(2.0, 1.0, 4.0, placeholder=True), Price(10.0, 10.0, 10.0, placeholder=False)

    assert summed([one, other, one]) == Price(14.0, 12.0, 18.0, placeholder=True)
    assert summed([]) == NOTHING
    assert one.times(3.0) == Price(6.0, 3.0, 12.0, placeholder=True)


def test_lives_and_interest_of_each_thing() -> None:
    """A charger type of its own, one device and one part by name, bays apart from stations; the rest as before."""
    changes = {
        "prices.lives": {
            "battery": {"lead": "4 years"},
            "charger": {"electronic_iuia": "1 year"},
            "device": {"": "10 years", "hand_pallet_truck": "4 years"},
            "room": {"bays": "4 years", "stations": "20 years"},
        },
        "prices.interest": {"battery": "5 %", "charger": {"electronic_iuia": "0 %"}, "device": "5 %", "room": "5 %"},
    }
    of = discharged(changes=changes)
    costs = [(line.what, line.per_year.value) for line in of.lines if line.basis.endswith("%")]

    parts = (2 + 3 + 3 + 1 + 1 + 2) * 50.0
    assert costs == [
        ("batteries", pytest.approx(16_800 * RECOVERY[4.0])),
        ("chargers", pytest.approx(4000.0)),  # a life of one year and no interest
        ("devices and parts", pytest.approx(2 * 500.0 * RECOVERY[4.0])),
        ("bays, stations, room", pytest.approx(6 * 200.0 * RECOVERY[4.0])),
        ("devices and parts", pytest.approx(parts * RECOVERY[10.0])),
        ("bays, stations, room", pytest.approx(2 * 700.0 * RECOVERY[20.0])),
    ]
    assert line_of(of, "chargers").basis == "4,000 over 1 year at 0 %"


def test_a_life_that_nobody_stated_has_a_range() -> None:
    """Least with the longest life and the least interest, most with the others."""
    of = discharged(
        changes={"prices": {name: price for name, price in PRICES.items() if name not in ("interest", "lives")}}
    )
    life, interest = FIGURES["price.life.charger"], FIGURES["price.interest"]
    line = line_of(of, "chargers").per_year

    def recovered(years: float, percent: float) -> float:
        return percent / 100.0 / (1.0 - (1.0 + percent / 100.0) ** -years)

    assert (line.value, line.low, line.high) == pytest.approx(
        (
            4000.0 * recovered(life.value, interest.value),
            4000.0 * recovered(life.high, interest.low),
            4000.0 * recovered(life.low, interest.high),
        )
    )
    assert line.placeholder


@pytest.mark.parametrize(
    ("price", "text"),
    [
        (Price(949_213.0, 712_001.0, 1_204_444.0, placeholder=True), "950,000* (710,000 to 1,200,000)"),
        (Price(19.834, 14.91, 25.17, placeholder=True), "19.8* (14.9 to 25.2)"),
        (Price(0.1834, 0.0, 0.3, placeholder=True), "0.18* (0 to 0.3)"),
        (Price(117_930.4, 117_930.4, 117_930.4, placeholder=False), "118,000"),
        (Price(6.4321, 6.4321, 6.4321, placeholder=False), "6.43"),
        (Price(0.0, 0.0, 0.0, placeholder=False), "0"),
        (Price(math.nan, math.nan, math.nan, placeholder=True), "-"),
        (Price(-2000.0, -3000.0, 500.0, placeholder=True), "-2,000* (-3,000 to 500)"),
    ],
)
def test_numbers_are_rounded_to_what_is_known(price: Price, text: str) -> None:
    """Two digits of half the range; three without one."""
    assert price.text == text


def test_a_quotation_is_known_to_the_cent() -> None:
    """What is bought at stated prices is not rounded; at placeholders it is."""
    assert exactly(12_345.678).as_quoted.value == 12_345.68
    assert Price(12_345.0, 6000.0, 20_000.0, placeholder=True).as_quoted == Price(
        12_300.0, 6000.0, 20_000.0, placeholder=True
    )


def test_a_charger_type_has_its_own_figure_or_that_of_any() -> None:
    """A fast charger is dearer; the site's own price goes before both."""
    scenario = batsim.changed(priced(), {"prices.charger": {"gel_iu": "900 EUR"}})
    fast, usual = FIGURES["price.charger.fast_iuia"], FIGURES["price.charger"]

    assert charger_price(scenario, "fast_iuia") == Price(fast.value, fast.low, fast.high, placeholder=True)
    assert charger_price(scenario, "electronic_iuia") == Price(usual.value, usual.low, usual.high, placeholder=True)
    assert charger_price(scenario, "gel_iu") == exactly(900.0)
    stated = batsim.changed(scenario, {"figures": {"price.charger.fast_iuia": "7000 EUR"}})
    assert charger_price(stated, "fast_iuia") == exactly(7000.0)


def test_differences_rest_on_the_same_prices() -> None:
    """Ten hours more at a wage of 20 to 40 are 200 to 400 more, whatever both cost; at equal work."""

    def cost(hours: float, lost: float) -> YearlyCost:
        wage = Price(30.0, 20.0, 40.0, placeholder=True)
        return YearlyCost("EUR", (YearlyCostLine("people", wage.times(hours), ""),), NOTHING, 1.0, 100.0, lost, NOTHING)

    assert cost(110.0, 0.0).more_than(cost(100.0, 0.0)) == Price(300.0, 200.0, 400.0, placeholder=True)
    # Half of the hours lost: the same cost buys half of the work.
    assert cost(10.0, 50.0).at_equal_work == Price(600.0, 400.0, 800.0, placeholder=True)
    assert cost(10.0, 50.0).more_than(cost(10.0, 0.0)) == Price(300.0, 200.0, 400.0, placeholder=True)


# --- floor ---


def test_floor_of_a_room_whose_batteries_nobody_measured() -> None:
    """That of the whole room; nothing in the truck, or where the room is not measured either."""
    unknown: dict[str, Any] = {"batteries.lead.size": None}

    assert values(discharged(changes=unknown))["floor"] == pytest.approx(12 * 6 * 60.0)
    assert "floor" not in values(discharged(changes=unknown | {"room": {}}))
    assert "floor" not in values(discharged("in truck"))


# --- payback ---


def exactly(amount: float) -> Price:
    """A price that is known."""
    return Price(amount, amount, amount, placeholder=False)


def plain(purchase: Price | float, running: Price | float) -> YearlyCost:
    """Money with a purchase and a running cost."""
    bought, people = (each if isinstance(each, Price) else exactly(each) for each in (purchase, running))
    lines = (YearlyCostLine("devices", exactly(99.0), "", capital=True), YearlyCostLine("people", people, ""))
    return YearlyCost("EUR", lines, bought, 1.0, 1.0, 0.0, bought)


def test_payback_by_hand() -> None:
    """9000 saves 3000 a year: 3 years; 12 years are worth 27000 without interest."""
    back = payback(plain(9000.0, 5000.0), plain(0.0, 8000.0), "hoist", 12.0, exactly(0.0))

    assert (back.against, back.price, back.saved_per_year, back.horizon_years) == (
        "hoist",
        exactly(9000.0),
        exactly(3000.0),
        12.0,
    )
    assert (back.years, back.discounted_years) == (exactly(3.0), exactly(3.0))
    assert back.net_present_value.value == pytest.approx(27_000.0)


def test_payback_with_interest() -> None:
    """1735.54 for 1000 a year at 10 % is paid in two years; and is worth nothing over two."""
    back = payback(plain(1735.53719, 0.0), plain(0.0, 1000.0), "hoist", 2.0, exactly(0.10))

    assert back.years.value == pytest.approx(1.73553719)
    assert back.discounted_years.value == pytest.approx(2.0)
    assert back.net_present_value.value == pytest.approx(0.0, abs=1e-4)


def test_payback_lies_between_the_best_and_the_worst_case() -> None:
    """6,000 to 12,000 to pay and, at wages of 10 to 30, 1,000 to 3,000 saved: 2 to 12 years; marked."""
    bought = Price(9000.0, 6000.0, 12_000.0, placeholder=True)
    costs, less = (
        Price(20_000.0, 10_000.0, 30_000.0, placeholder=True),
        Price(18_000.0, 9000.0, 27_000.0, placeholder=True),
    )
    back = payback(plain(bought, less), plain(0.0, costs), "hoist", 2.0, Price(0.10, 0.0, 0.25, placeholder=True))

    assert back.saved_per_year == Price(2000.0, 1000.0, 3000.0, placeholder=True)
    assert back.years == Price(4.5, 2.0, 12.0, placeholder=True)
    # The best case: no interest. The worst: 1,000 a year do not pay for 25 % of 12,000.
    assert (back.discounted_years.low, back.discounted_years.high) == (2.0, math.inf)
    worth = back.net_present_value
    assert (worth.value, worth.low, worth.high) == pytest.approx(
        (-9000 + 2000 / 1.1 + 2000 / 1.21, -12_000 + 1000 / 1.25 + 1000 / 1.5625, -6000 + 2 * 3000)
    )
    assert worth.placeholder


@pytest.mark.parametrize(
    ("price", "saved", "interest", "years", "discounted"),
    [
        (0.0, 500.0, 0.05, 0.0, 0.0),
        (0.0, -500.0, 0.05, 0.0, 0.0),
        (1000.0, 0.0, 0.0, math.inf, math.inf),
        (1000.0, -5.0, 0.0, math.inf, math.inf),
        (1000.0, 50.0, 0.05, 20.0, math.inf),
        (1000.0, 50.0, 0.06, 20.0, math.inf),
    ],
)
def test_payback_at_once_or_never(price: float, saved: float, interest: float, years: float, discounted: float) -> None:
    """Nothing to pay, nothing saved, or less than the interest."""
    back = payback(plain(price, 1000.0 - saved), plain(0.0, 1000.0), "hoist", 12.0, exactly(interest))

    assert (back.years.value, back.discounted_years.value) == pytest.approx((years, discounted))
    assert back.saved_per_year.value == pytest.approx(saved)


def test_what_is_there_today_is_not_bought() -> None:
    """What the present layout counts is there, and another takes over what it needs of it; parts are ordered."""
    of = discharged("hoist", {"present": "hoist"})

    # Beam, three frames, pallet truck, securing device, cover; cart, spill kit, goggles; a standby method.
    assert of.purchase.value == pytest.approx((1 + 3 + 1 + 1) * 50.0 + 500.0 + 3 * 50.0 + 500.0)
    assert "batteries" in [line.what for line in of.lines]
    stands = discharged("stands", {"present": "hoist"})
    # One more battery and station; two pallet trucks; three roller beds and locks, two securing devices, water cart,
    # spill kit, two sets of goggles; six stands.
    parts = 3 + 3 + 2 + 1 + 1 + 2
    assert stands.purchase.value == pytest.approx(2400.0 + 700.0 + 2 * 500.0 + parts * 50.0 + 6 * 200.0)
