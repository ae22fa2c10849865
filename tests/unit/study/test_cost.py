"""Cost of a layout in a year: by hand from prices, lives and counts, and that what is owned costs nothing."""

from pathlib import Path

import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.scenario.site import Scenario
from batsim.study.cost import CostLine, UnitCost, UnitCosts, cost_lines
from batsim.study.prices import Price
from batsim.study.running.counts import Counted

SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
KESTREL = Path(__file__).parents[3] / "scenarios" / "kestrel-lane.yaml"
PRICES = {
    "battery": {"big": "6000 EUR", "small": "200 EUR/kWh"},
    "charger": {"our charger": "3000 EUR", "gel_iu": "1000 EUR"},
    "device": "9000 EUR",
    "bay": "500 EUR",
    "station": "2000 EUR",
    "attendant": "30 EUR/h",
    "interest": "5 %",
    "lives": {"battery": "5 years", "charger": "10 years", "device": "10 years", "room": "20 years"},
}
RECOVERY = {5.0: 0.2309748, 10.0: 0.1295046, 20.0: 0.0802426}
"""Capital recovery factors at 5 %, from memory: (A/P, 5 %, n)."""


@pytest.fixture(scope="module")
def sound() -> Scenario:
    """The sound scenario of the tests on bad input, with prices of the site."""
    return batsim.changed(batsim.read(SOUND), {"prices": PRICES})


def exactly(amount: float) -> Price:
    """A cost that is known."""
    return Price(amount, amount, amount, placeholder=False)


def lines_of(scenario: Scenario, layout: str, units: UnitCosts | None = None) -> dict[tuple[str, str], CostLine]:
    """Lines by thing and name."""
    lines = cost_lines(scenario, layout, units or UnitCosts(scenario, layout))
    assert len({(each.unit.thing, each.unit.name) for each in lines}) == len(lines)
    return {(each.unit.thing, each.unit.name): each for each in lines}


# --- one of each ---


def test_one_of_each_by_hand(sound: Scenario) -> None:
    """Price times the recovery of its life; a battery by the kWh of its nominal energy; an attendant by paid hours."""
    units = UnitCosts(sound, "extractor")
    small = sound.batteries["small"]
    kwh = 24.0 * small.capacity.ah / 1000.0

    assert units.by_counted[Counted("batteries", "big")].price == 6000.0
    assert units.by_counted[Counted("batteries", "big")].per_year == pytest.approx(6000.0 * RECOVERY[5.0], rel=1e-6)
    assert units.by_counted[Counted("batteries", "small")].price == pytest.approx(200.0 * kwh)
    assert units.by_counted[Counted("batteries", "small")].per_year == pytest.approx(
        200.0 * kwh * RECOVERY[5.0], rel=1e-6
    )
    assert {counted.name: each.price for counted, each in units.by_counted.items() if counted.kind == "chargers"} == {
        "our charger": 3000.0, "gel_iu": 1000.0,
    }  # fmt: skip
    assert units.by_counted[Counted("chargers", "our charger")].per_year == pytest.approx(
        3000.0 * RECOVERY[10.0], rel=1e-6
    )
    assert units.by_counted[Counted("devices", "extractor")].per_year == pytest.approx(
        9000.0 * RECOVERY[10.0], rel=1e-6
    )
    assert units.by_counted[Counted("bays")].per_year == pytest.approx(500.0 * RECOVERY[20.0], rel=1e-5)
    assert units.by_counted[Counted("stations")].per_year == pytest.approx(2000.0 * RECOVERY[20.0], rel=1e-5)
    # 16 h on five days, 52 weeks.
    assert {counted.name: each for counted, each in units.by_counted.items() if counted.kind == "attendants"} == {
        "room": UnitCost("attendant", "room", exactly(30.0 * 16.0 * 5.0 * 52.0), 30.0)
    }
    assert units.placeholders is False


def test_without_interest_a_price_is_dealt_over_the_years(sound: Scenario) -> None:
    """An eighth in each of eight years."""
    free = batsim.changed(sound, {"prices.interest": "0 %", "prices.lives.battery": "8 years"})

    assert UnitCosts(free, "extractor").by_counted[Counted("batteries", "big")].per_year == 750.0


def test_each_thing_has_its_life_and_interest(sound: Scenario) -> None:
    """By name, for all of a kind, or of the catalogue, which is a placeholder with a range."""
    changes = {
        "prices.lives": {"charger": {"our charger": "1 year"}, "battery": {"big": "5 years"}, "room": "20 years"},
        "prices.interest": {"charger": {"our charger": "0 %"}, "battery": "5 %", "room": {"bays": "5 %"}},
    }
    units = UnitCosts(batsim.changed(sound, changes), "extractor").by_counted

    assert units[Counted("chargers", "our charger")].yearly == exactly(3000.0)
    assert units[Counted("batteries", "big")].per_year == pytest.approx(6000.0 * RECOVERY[5.0], rel=1e-6)
    assert units[Counted("bays")].per_year == pytest.approx(500.0 * RECOVERY[20.0], rel=1e-5)
    for thing in (("chargers", "gel_iu"), ("batteries", "small"), ("stations", ""), ("devices", "extractor")):
        cost = units[Counted(*thing)].yearly
        assert cost.placeholder
        assert cost.low < cost.value < cost.high


def test_a_price_of_the_type_goes_before_that_of_all() -> None:
    """Which goes before the catalogue's."""
    scenario = batsim.read(KESTREL)
    carriage = batsim.changed(
        scenario, {"prices": {"device": {"battery_carriage": "20000 EUR"}, "charger": "1500 EUR"}}
    )
    all_alike = batsim.changed(scenario, {"prices": {"device": "20000 EUR", "battery": "100 EUR/kWh"}})

    assert UnitCosts(carriage, "side rollers").by_counted[Counted("devices", "battery_carriage")].price == 20_000.0
    assert UnitCosts(carriage, "hoist").by_counted[Counted("devices", "hoist")].price == FIGURES["price.hoist"].value
    assert UnitCosts(carriage, "hoist").by_counted[Counted("chargers", "electronic_iuia")].price == 1500.0
    assert UnitCosts(all_alike, "hoist").by_counted[Counted("devices", "hoist")].price == 20_000.0
    assert UnitCosts(all_alike, "hoist").by_counted[Counted("batteries", "lead 48 V 750 Ah")].price == pytest.approx(
        100.0 * 48.0 * 0.75
    )


def test_prices_of_the_catalogue_are_placeholders() -> None:
    """By chemistry, by kind of device where it has one, else those of any."""
    scenario = batsim.read(SOUND)
    units = UnitCosts(scenario, "extractor")
    big, small = (scenario.batteries[name] for name in ("big", "small"))

    assert units.by_counted[Counted("batteries", "big")].price == pytest.approx(
        FIGURES["price.battery.vented_lead_acid"].value * big.nominal_v * big.capacity.ah / 1000.0
    )
    assert units.by_counted[Counted("batteries", "small")].price == pytest.approx(
        FIGURES["price.battery.valve_regulated"].value * small.nominal_v * small.capacity.ah / 1000.0
    )
    assert units.by_counted[Counted("devices", "extractor")].price == FIGURES["price.device"].value
    assert (units.by_counted[Counted("bays")].price, units.by_counted[Counted("stations")].price) == (
        FIGURES["price.bay"].value,
        FIGURES["price.station"].value,
    )
    assert units.by_counted[Counted("attendants", "room")].price == FIGURES["price.attendant"].value
    assert units.placeholders is True
    assert {unit.placeholder for unit in units.by_counted.values()} == {True}


@pytest.mark.parametrize("missing", ["battery", "charger", "device", "bay", "station", "attendant"])
def test_one_price_of_the_catalogue_is_told(sound: Scenario, missing: str) -> None:
    """Whichever it is."""
    prices = {key: value for key, value in PRICES.items() if key != missing}

    assert UnitCosts(batsim.changed(sound, {"prices": prices}), "extractor").placeholders is True


def test_a_figure_stated_anew_is_a_price_of_the_site(sound: Scenario) -> None:
    """It is used, and no placeholder."""
    prices = {key: value for key, value in PRICES.items() if key != "bay"}
    changed = batsim.changed(sound, {"prices": prices, "figures.'price.bay'": "700 EUR"})
    units = UnitCosts(changed, "extractor")

    assert (
        units.by_counted[Counted("bays")].price,
        units.by_counted[Counted("bays")].placeholder,
        units.placeholders,
    ) == (
        700.0,
        False,
        False,
    )
    assert FIGURES["price.bay"].value != 700.0


# --- all of a layout ---


def test_the_lines_of_a_layout_by_hand(sound: Scenario) -> None:
    """Counts as the layout has them, those that follow from others too; a line for each."""
    lines = lines_of(sound, "extractor")

    assert {key: line.number for key, line in lines.items()} == {
        ("battery", "big"): 14.0,
        ("battery", "small"): 8.0,
        ("charger", "our charger"): 8.0,
        ("charger", "gel_iu"): 4.0,
        ("bay", ""): 13.0,
        ("station", ""): 1.0,
        ("device", "extractor"): 1.0,
        ("attendant", "room"): 1.0,
    }
    assert {line.owned for line in lines.values()} == {0.0}
    assert all(line.per_year == line.number * line.unit.per_year for line in lines.values())
    small = 8.0 * 200.0 * 24.0 * sound.batteries["small"].capacity.ah / 1000.0
    by_hand = (
        (14.0 * 6000.0 + small) * RECOVERY[5.0]
        + (8.0 * 3000.0 + 4.0 * 1000.0 + 9000.0) * RECOVERY[10.0]
        + (13.0 * 500.0 + 2000.0) * RECOVERY[20.0]
        + 124_800.0
    )
    assert sum(line.per_year for line in lines.values()) == pytest.approx(by_hand, rel=1e-5)


def test_charging_in_the_truck_has_no_bays(sound: Scenario) -> None:
    """Its stations are charging spots; drivers cost nothing; a device draws batteries out for water."""
    lines = lines_of(sound, "in the truck")

    assert {key: line.number for key, line in lines.items()} == {
        ("battery", "big"): 6.0,
        ("battery", "small"): 4.0,
        ("charger", "our charger"): 6.0,
        ("charger", "gel_iu"): 4.0,
        ("station", ""): 10.0,
        ("device", "hand_pallet_truck"): 1.0,
    }


def test_attendants_cost_their_hours(sound: Scenario) -> None:
    """By shift: days and length, breaks paid; none on a shift has no line."""
    attendants = {"early": 2, "late": 0, "room": 1}
    lines = lines_of(batsim.changed(sound, {"layouts.extractor.attendants": attendants}), "extractor")

    assert {name: line.number for (thing, name), line in lines.items() if thing == "attendant"} == {
        "early": 2.0,
        "room": 1.0,
    }
    assert lines["attendant", "early"].per_year == 2.0 * 30.0 * 8.0 * 5.0 * 52.0
    assert lines["attendant", "room"].per_year == 30.0 * 16.0 * 5.0 * 52.0
    for words in (None, "unlimited"):
        alone = lines_of(batsim.changed(sound, {"layouts.extractor.attendants": words}), "extractor")
        assert [key for key in alone if key[0] == "attendant"] == []


def test_a_night_shift_has_its_whole_length() -> None:
    """Over midnight, on its days."""
    units = UnitCosts(batsim.changed(batsim.read(KESTREL), {"prices": {"attendant": "10 EUR/h"}}), "side rollers")

    assert {
        counted.name: each.per_year for counted, each in units.by_counted.items() if counted.kind == "attendants"
    } == {f"room {shift}": 10.0 * 8.0 * 5.0 * 52.0 for shift in ("early", "late", "night")}


def test_what_is_without_a_limit_costs_nothing(sound: Scenario) -> None:
    """It is a question of theory."""
    free = batsim.changed(sound, {"layouts.extractor.stations": "unlimited", "layouts.extractor.bays": "unlimited"})

    assert {("station", ""), ("bay", "")} & set(lines_of(free, "extractor")) == set()
    assert ("battery", "big") in lines_of(free, "extractor")


def test_growth_of_the_fleet_buys_its_batteries(sound: Scenario) -> None:
    """In the truck each truck has one."""
    only = {"in the truck": {"handling": "in_truck", "chargers": ["6 x our charger", "4 x gel_iu"]}}
    demand = {"fleet_growth": "50 %", "years": 1}
    grown = batsim.changed(sound, {"demand": demand, "trucks[1].first_run": "1 h", "layouts": only})

    numbers = {key: line.number for key, line in lines_of(grown, "in the truck").items()}
    assert (numbers["battery", "big"], numbers["battery", "small"]) == (9.0, 6.0)


# --- what is owned ---


@pytest.mark.parametrize(
    ("owned", "free"),
    [
        ({}, set()),
        ({"extractor": 1}, {("device", "extractor")}),
        ({"big": 14, "small": 8}, {("battery", "big"), ("battery", "small")}),
        ({"big": 14, "room": 1}, {("battery", "big"), ("attendant", "room")}),
        ({"our charger": 8, "gel_iu": 4, "bays": 13}, {("charger", "our charger"), ("charger", "gel_iu"), ("bay", "")}),
        ({"gel_iu": 4, "stations": 1}, {("charger", "gel_iu"), ("station", "")}),
    ],
)
def test_what_is_owned_costs_nothing_up_to_what_is_stated(
    sound: Scenario, owned: dict[str, int], free: set[tuple[str, str]]
) -> None:
    """By name; everything else costs what it did."""
    before, lines = (
        lines_of(sound, "extractor"),
        lines_of(batsim.changed(sound, {"layouts.extractor.owned": owned}), "extractor"),
    )

    assert {key for key, line in lines.items() if line.per_year == 0.0} == free
    assert {key for key, line in lines.items() if line.owned} == free
    assert all(line.owned == line.number for key, line in lines.items() if key in free)
    assert {key: line.per_year for key, line in lines.items() if key not in free} == {
        key: line.per_year for key, line in before.items() if key not in free
    }


def test_more_than_is_owned_is_bought(sound: Scenario) -> None:
    """What is stated is there; more costs its difference, less saves nothing."""
    stated = batsim.changed(sound, {"layouts.extractor.owned": {"big": 14, "our charger": 8, "gel_iu": 4}})
    units = UnitCosts(stated, "extractor")
    more = batsim.changed(stated, {
        "layouts.extractor.batteries.big": 17,
        "layouts.extractor.bays": 20,
        "layouts.extractor.chargers": ["10 x our charger", "3 x gel_iu"],
    })  # fmt: skip
    lines = lines_of(more, "extractor", units)

    assert (lines["battery", "big"].number, lines["battery", "big"].owned) == (17.0, 14.0)
    assert lines["battery", "big"].per_year == 3.0 * units.by_counted[Counted("batteries", "big")].per_year
    assert (
        lines["charger", "our charger"].per_year == 2.0 * units.by_counted[Counted("chargers", "our charger")].per_year
    )
    assert (lines["charger", "gel_iu"].owned, lines["charger", "gel_iu"].per_year) == (4.0, 0.0)
    assert lines["bay", ""].per_year == 20.0 * units.by_counted[Counted("bays")].per_year


def test_costs_do_not_hang_on_what_is_varied(sound: Scenario) -> None:
    """Unit costs are those of the scenario as stated, whatever another point says."""
    units = UnitCosts(sound, "extractor")
    dearer = batsim.changed(sound, {"prices.battery": "9999 EUR", "layouts.extractor.stations": 2})

    lines = lines_of(dearer, "extractor", units)
    assert lines["battery", "big"].per_year == 14.0 * units.by_counted[Counted("batteries", "big")].per_year
    assert lines["station", ""].number == 2.0
