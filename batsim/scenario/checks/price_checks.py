"""Checks on prices: one currency, and names of things that there are."""

from collections.abc import Iterator, Mapping, Sequence

from batsim.errors import Problem
from batsim.scenario.checks.lot_checks import lot_faults
from batsim.scenario.parts.faults import Fault, did_you_mean, shown
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.parts.prices import StatedPrice
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path

Offers = Mapping[str, Sequence[str]]
"""Names that the catalogue offers, by the kind of thing that they stand for."""
Known = Mapping[str, tuple[Sequence[str], Sequence[str]]]
"""Names of the scenario and of the catalogue, by kind of thing."""
PARTS = (
    "single-point watering set",
    "water cart",
    "eyewash and shower",
    "spill kit",
    "protective equipment",
    "exhaust fan with interlock",
)
"""Parts that watering and rooms ask for, whatever the arrangement."""
OWNED = ("bays", "stations")
"""Words under `owned` beside the names of types, devices, parts and shifts."""


def price_problems(scenario: Scenario, source: LocatedData, offers: Offers) -> Iterator[Problem]:
    """Find prices in another currency than the site's, and prices of what neither scenario nor catalogue has.

    A layout that is left out may have been the only one to use what the catalogue has; its price does no harm.
    """
    handling = scenario.handling.values()
    known: Known = {
        "battery": (list(scenario.batteries), offers["battery type"]),
        "charger": (list(scenario.chargers), offers["charger type"]),
        "device": (list(dict.fromkeys(name for kind in handling for name in kind.devices_held)), offers["device"]),
        "part": (list(dict.fromkeys(name for kind in handling for name in part_names(kind))), offers["part"]),
    }
    for key, (names, shipped) in known.items():
        priced: dict[str, StatedPrice] = getattr(scenario.prices, key)
        for name, money in priced.items():
            path: Path = ("prices", key, name) if name else ("prices", key)
            if name and name not in names and name not in shipped:
                rule = f"no {key} of this name in the scenario{did_you_mean(name, names)}"
                yield source.problem(path, rule, of_key=True)
            yield from _currency(scenario, source, path, money)
    for path, price in (*_of_one_kind(scenario), *_of_types(scenario)):
        yield from _currency(scenario, source, path, price)
    yield from _terms(scenario, source, known)
    yield from _owned(scenario, source)
    yield from _tariff(scenario, source)


def _of_one_kind(scenario: Scenario) -> Iterator[tuple[Path, StatedPrice]]:
    """Prices of what there is one kind of, and where."""
    for key in ("bay", "station", "attendant", "driver", "truck", "demand", "water", "floor"):
        if (price := getattr(scenario.prices, key)) is not None:
            yield ("prices", key), price


def _of_types(scenario: Scenario) -> Iterator[tuple[Path, StatedPrice]]:
    """Prices and rents that types and their lots state, and where."""
    for name, battery in scenario.batteries.items():
        for lot, stated in battery.lots.items():
            for key, price in (("price", stated.price), ("rent", stated.rent)):
                if price is not None:
                    yield ("batteries", name, "lots", lot, key), price
    for name, charger in scenario.chargers.items():
        if charger.rent is not None:
            yield ("chargers", name, "rent"), charger.rent


def _terms(scenario: Scenario, source: LocatedData, known: Known) -> Iterator[Problem]:
    """Find lives and interest of what neither scenario nor catalogue has."""
    bought = {"battery": ("battery",), "charger": ("charger",), "device": ("device", "part"), "room": ("part",)}
    for thing, kinds in bought.items():
        names = [*(OWNED if thing == "room" else ()), *(name for kind in kinds for name in known[kind][0])]
        shipped = {name for kind in kinds for name in known[kind][1]}
        for key in ("lives", "interest"):
            for name in getattr(getattr(scenario.prices, key), thing):
                if name and name not in names and name not in shipped:
                    rule = f"nothing of this name is bought{did_you_mean(name, names)}"
                    yield source.problem(("prices", key, thing, name), rule, of_key=True)


def _tariff(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find prices of energy in another currency."""
    tariff, whole = scenario.prices.energy, ("prices", "energy")
    if tariff is None:
        return
    in_a_block = source.holds((*whole, "otherwise"))
    yield from _currency(scenario, source, (*whole, "otherwise") if in_a_block else whole, tariff.otherwise)
    for number, band in enumerate(tariff.bands):
        yield from _currency(scenario, source, (*whole, "bands", number, "price"), band.price)


def _owned(scenario: Scenario, source: LocatedData) -> Iterator[Problem]:
    """Find things that are said to be there already, and that the layout does not have."""
    for title, layout in scenario.layouts.items():
        known = [*OWNED, *scenario.batteries, *layout.chargers_by_type]
        for area in layout.by_area.values():
            if handling := scenario.handling.get(area.handling):
                known += [*handling.devices, *handling.watering_devices, *part_names(handling)]
        for people in (layout.attendants, *(area.attendants for area in layout.areas.values())):
            known += people if isinstance(people, dict) else ()
        for name, counted in layout.owned.items():
            for fault in _owned_faults(scenario, name, counted, list(dict.fromkeys(known))):
                at = ("layouts", title, "owned", name, *fault.path)
                yield source.problem(at, fault.rule, got=fault.got, of_key=name not in known)


def _owned_faults(scenario: Scenario, name: str, counted: BatteryCount, known: list[str]) -> Iterator[Fault]:
    """Find what is wrong with one thing that is owned; the path is that within its number."""
    if name not in known:
        yield Fault((), f"nothing of this name in the layout{did_you_mean(name, known)}")
    elif name in scenario.batteries:
        yield from lot_faults(scenario, name, counted)
    elif counted.lots:
        yield Fault((), "needs a number: only batteries have lots", counted.text)


def part_names(arrangement: Arrangement) -> tuple[str, ...]:
    """Parts that an equipment list may hold beside batteries, chargers and devices."""
    return (*dict.fromkeys((*(part.part for part in arrangement.needs.parts), *PARTS)),)


def _currency(scenario: Scenario, source: LocatedData, path: Path, money: StatedPrice) -> Iterator[Problem]:
    if money.currency != scenario.site.currency:
        rule = f"needs the currency of the site ({scenario.site.currency}); convert it, or change site.currency"
        yield source.problem(path, rule, got=shown(source.at(path)))
