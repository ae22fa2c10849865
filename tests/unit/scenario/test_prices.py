"""Prices: what an amount of money is, for what it stands, and how long things last."""

import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.scenario.parts.prices import (
    THINGS,
    Interests,
    Lives,
    Prices,
    PricesText,
    PriceText,
    StatedPrice,
    read_years,
)
from batsim.scenario.site import Scenario
from batsim.study.prices import Price, interest_of, life_of

ONE, KWH, HOUR = PriceText(), PriceText(per="kWh"), PriceText(per="h", or_each=False)
PLAIN = """\
site: {name: Plain, currency: USD}
week: {shifts: {day: {days: Mon-Fri, from: "07:00", to: "15:00"}}}
trucks: [{group: trucks, count: 2, class: stacker_24v, shifts: [day], battery: vented_lead_acid_24v}]
batteries: {vented_lead_acid_24v: {from: vented_lead_acid_24v}}
layouts: {stands: {handling: portable_stands, batteries: 4, chargers: 2 x electronic_iuia}}
"""


def priced(prices: str) -> Scenario:
    """The small scenario with prices."""
    return batsim.read_scenario_text(f"{PLAIN}prices: {prices}\n", "site.yaml")


@pytest.mark.parametrize(
    ("kind", "text", "money"),
    [
        (ONE, "5200 EUR", StatedPrice(5200.0, "EUR", "")),
        (ONE, "0 EUR", StatedPrice(0.0, "EUR", "")),
        (ONE, "  12.50USD ", StatedPrice(12.5, "USD", "")),
        (ONE, "0.123456789 EUR", StatedPrice(0.123456789, "EUR", "")),
        (KWH, "150 EUR/kWh", StatedPrice(150.0, "EUR", "kWh")),
        (KWH, "150 EUR / kWh", StatedPrice(150.0, "EUR", "kWh")),
        (KWH, "5200 EUR", StatedPrice(5200.0, "EUR", "")),
        (HOUR, "32.5 GBP/h", StatedPrice(32.5, "GBP", "h")),
    ],
)
def test_amounts_of_money(kind: PriceText, text: str, money: StatedPrice) -> None:
    """A number, three capital letters, and what it is for."""
    assert kind.read(text) == money


@pytest.mark.parametrize(
    ("kind", "example", "texts"),
    [
        (ONE, "2500 EUR", ["2500", 2500, "-5 EUR", "5 Euro", "5 eur", "EUR 5", "1e3 EUR", "1,200 EUR", "5 EUR/kWh"]),
        (ONE, "2500 EUR", [None, True, ["5 EUR"], {}]),
        (KWH, "150 EUR/kWh", ["150", "150 EUR/h", "150 EUR/kwh", "150 EUR/", "150 /kWh"]),
        (HOUR, "32 EUR/h", ["32 EUR", "32 EUR/day", "32 EUR/kWh", "32 /h"]),
    ],
)  # fmt: skip
def test_what_is_no_money_is_answered_with_an_example(kind: PriceText, example: str, texts: list[object]) -> None:
    """Of the form that is wanted there."""
    for text in texts:
        with pytest.raises(ValueError, match="money") as caught:
            kind.read(text)
        assert str(caught.value) == f"needs an amount of money such as '{example}'", text


def test_one_price_for_all_or_prices_by_name() -> None:
    """The empty name stands for all that are not named."""
    kind = PricesText(KWH)

    assert kind.read("150 EUR/kWh") == {"": StatedPrice(150.0, "EUR", "kWh")}
    assert kind.read({"big": "150 EUR/kWh", "small": "900 EUR"}) == {
        "big": StatedPrice(150.0, "EUR", "kWh"),
        "small": StatedPrice(900.0, "EUR", ""),
    }
    assert kind.read({}) == {}


@pytest.mark.parametrize(
    ("text", "years"), [("10 years", 10.0), ("1 year", 1.0), (" 7.5 years ", 7.5), ("6.25481 years", 6.25481)]
)
def test_years(text: str, years: float) -> None:
    """Also such as a study draws them."""
    assert read_years.read(text) == years


@pytest.mark.parametrize(
    "text", ["10", 10, "0 years", "0.0 years", "-1 years", "10 y", "1000 years", "ten years", "", None]
)
def test_what_is_no_number_of_years(text: object) -> None:
    """The rule to the letter."""
    with pytest.raises(ValueError, match="years") as caught:
        read_years.read(text)

    assert str(caught.value) == "needs a number of years above 0, such as '10 years'"


def test_what_is_not_stated_is_the_catalogue_s() -> None:
    """No prices, lives or interest; those of the catalogue are asked for by whoever needs one."""
    prices = Prices()

    assert (prices.battery, prices.charger, prices.device) == ({}, {}, {})
    assert (prices.bay, prices.station, prices.attendant) == (None, None, None)
    assert (prices.interest, prices.lives) == (Interests(), Lives())
    assert {name: getattr(prices.lives, name) for name in THINGS} == {key: {} for key in THINGS}
    scenario = priced("{}")
    life, interest = FIGURES["price.life.charger"], FIGURES["price.interest"]
    assert life_of(scenario, "charger", "any") == Price(life.value, life.low, life.high, placeholder=True)
    assert interest_of(scenario, "room", "bays").value == pytest.approx(interest.value / 100.0)


def test_lives_and_interest_by_name() -> None:
    """One for all of a kind, by name, or both; one interest for everything."""
    prices = priced(
        "{interest: {battery: 4 %, charger: {electronic_iuia: 0 %}}, "
        "lives: {charger: {electronic_iuia: 1 year}, device: {'': 9 years, hand_pallet_truck: 3 years}}}"
    ).prices
    scenario = batsim.changed(priced("{}"), {"prices.interest": "5 %"})

    assert (prices.interest.battery, prices.interest.charger) == ({"": 0.04}, {"electronic_iuia": 0.0})
    assert (prices.lives.charger, prices.lives.device) == (
        {"electronic_iuia": 1.0},
        {"": 9.0, "hand_pallet_truck": 3.0},
    )
    assert {interest_of(scenario, thing, "any").value for thing in THINGS} == {0.05}


def test_prices_of_a_scenario() -> None:
    """Each for what it stands, in the currency of the site."""
    prices = priced(
        "{battery: {vented_lead_acid_24v: 160 USD/kWh}, charger: 2000 USD, device: {hand_pallet_truck: 800 USD}, "
        "bay: 0 USD, station: 1500.5 USD, attendant: 40 USD/h, interest: 8 %, lives: {battery: 6 years}}"
    ).prices

    assert prices.battery == {"vented_lead_acid_24v": StatedPrice(160.0, "USD", "kWh")}
    assert prices.charger == {"": StatedPrice(2000.0, "USD", "")}
    assert prices.device == {"hand_pallet_truck": StatedPrice(800.0, "USD", "")}
    assert (prices.bay, prices.station) == (StatedPrice(0.0, "USD", ""), StatedPrice(1500.5, "USD", ""))
    assert prices.attendant == StatedPrice(40.0, "USD", "h")
    assert (prices.interest.room, prices.lives.battery) == ({"": 0.08}, {"": 6.0})
    assert prices.lives.charger == {}


@pytest.mark.parametrize(
    ("prices", "expected"),
    [
        (
            "{battery: 5200 EUR, bay: 600 EUR, station: 2 GBP, attendant: 32 EUR/h}",
            [
                f"6:{column}: prices.{key}: needs the currency of the site (USD); convert it, or change site.currency "
                f"(got '{got}')"
                for column, key, got in (
                    (19, "battery", "5200 EUR"),
                    (34, "bay", "600 EUR"),
                    (52, "station", "2 GBP"),
                    (70, "attendant", "32 EUR/h"),
                )
            ],
        ),
        (
            "{charger: {electronic_iua: 2000 EUR}}",
            [
                "6:20: prices.charger.electronic_iua: no charger of this name in the scenario; did you mean "
                "'electronic_iuia'?",
                "6:36: prices.charger.electronic_iua: needs the currency of the site (USD); convert it, or change "
                "site.currency (got '2000 EUR')",
            ],
        ),
        (
            "{battery: {lithium_ion_84v: 1 USD}, device: {fork: 1 USD, bay: 1 USD}}",
            [
                "6:20: prices.battery.lithium_ion_84v: no battery of this name in the scenario; known: "
                "vented_lead_acid_24v",
                "6:54: prices.device.fork: no device of this name in the scenario; known: hand_pallet_truck",
                "6:67: prices.device.bay: no device of this name in the scenario; known: hand_pallet_truck",
            ],
        ),
    ],
)
def test_prices_that_do_not_fit_the_scenario(prices: str, expected: list[str]) -> None:
    """Another currency, or what is not there: each at its place."""
    with pytest.raises(batsim.ScenarioError) as caught:
        priced(prices)

    assert [str(each).removeprefix("site.yaml:") for each in caught.value.problems] == expected


def test_what_the_catalogue_has_may_have_a_price() -> None:
    """Though no layout uses it now: another may, and a copy with fewer layouts must still be read."""
    prices = priced("{charger: {fast_iuia: 4000 USD}, device: {hoist: 18000 USD, battery_carriage: 9 USD}}").prices

    assert (list(prices.charger), list(prices.device)) == (["fast_iuia"], ["hoist", "battery_carriage"])


def test_a_battery_type_that_only_a_dropped_layout_uses_keeps_its_price() -> None:
    """Its price and its life are read without that layout too, though the type is not in the scenario then."""
    name, price, years = "valve_regulated_24v", "210 USD/kWh", "9 years"
    plugged_in = f"plugged in: {{handling: in_truck, chargers: 2 x gel_iu, trucks: {{trucks: {{battery: {name}}}}}}}"
    prices = f"prices: {{battery: {{{name}: {price}}}, lives: {{battery: {{{name}: {years}}}}}}}\n"
    both = batsim.read_scenario_text(PLAIN.replace("electronic_iuia}}", f"electronic_iuia}}, {plugged_in}}}") + prices)
    one = batsim.changed(both.with_layouts(["stands"]), {"site.name": "Without (invented)"})

    assert (name in both.batteries, name in one.batteries) == (True, False)
    assert one.prices == both.prices
    assert (one.prices.battery, one.prices.lives.battery) == ({name: StatedPrice(210.0, "USD", "kWh")}, {name: 9.0})


def test_a_price_that_is_not_known() -> None:
    """Its middle stands in for it; every price that a study may draw is read."""
    scenario = priced(
        "{battery: {between: [120 USD/kWh, 220 USD/kWh]}, lives: {battery: {between: [4 years, 7 years]}}}"
    )
    price, life = scenario.unknowns

    assert scenario.prices.battery == {"": StatedPrice(170.0, "USD", "kWh")}
    assert (price.path, life.path, scenario.prices.lives.battery) == (
        "prices.battery",
        "prices.lives.battery",
        {"": 5.5},
    )
    for share in (0.0, 0.12345, 0.7654321, 1.0):
        drawn = batsim.changed(scenario, {each.path: each.at(share) for each in scenario.unknowns}).prices
        assert drawn.battery[""].amount == pytest.approx(120.0 + 100.0 * share, rel=1e-5)
        assert drawn.lives.battery[""] == pytest.approx(4.0 + 3.0 * share, rel=1e-5)
