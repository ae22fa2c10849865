"""Areas that share attendants agree with the same site written a second time: draw for draw, and in the mean."""

from collections.abc import Iterator
from itertools import count, repeat
from typing import NamedTuple, Protocol

import numpy as np
import pytest
import yaml
from scipy import stats

import batsim
from batsim.record.record import Record
from batsim.record.words import BEING_CONNECTED
from batsim.room.chance.streams import Streams
from batsim.scenario.parts.laws import DurationLaw
from tests.behaviour.ledger import by, rows_of, started
from tests.behaviour.site_twin import Area, Battery, Exchange, Queue, SiteTwin, Truck
from tests.runs import record_of

WEEK_MIN = 7 * 1440.0


class Law(NamedTuple):
    """A duration by its mean: uniform, half of it to each side, or exponential. [min]"""

    mean_min: float
    exponential: bool = False

    def stated(self, *, fixed: bool) -> str | dict[str, str]:
        """As a scenario states it."""
        mean_min = self.mean_min
        if fixed:
            return f"{mean_min} min"
        if self.exponential:
            return {"mean": f"{mean_min} min", "law": "exponential"}
        return {"low": f"{mean_min / 2} min", "high": f"{mean_min * 1.5} min"}


class Group(NamedTuple):
    """A truck group: its queue, trucks, priority, and the mean of its run time. [min]"""

    queue: str
    trucks: int
    priority: int
    run_min: float


class Site(NamedTuple):
    """Counts of a site of two areas; queues are named by area and battery type. Mean times in minutes."""

    attendants: int
    groups: dict[str, Group]
    batteries: dict[str, int]
    chargers: dict[str, int]
    stations: dict[str, int]
    people: dict[str, int]
    exchange_min: dict[str, float]
    connect_min: float
    charge_min: float
    cool_min: float

    def exchange(self, area: str) -> Law:
        """How long an exchange takes in an area."""
        return Law(self.exchange_min[area], exponential=True)

    @property
    def connecting(self) -> Law:
        """How long it takes to connect a battery."""
        return Law(self.connect_min, exponential=True)


ONE_ATTENDANT = Site(
    attendants=1,
    groups={
        "reach": Group("north lead", 6, 1, 220.0),
        "tow": Group("north lead", 4, 2, 300.0),
        "carts": Group("north gel", 4, 1, 260.0),
        "heavy": Group("south lead", 6, 1, 250.0),
    },
    batteries={"north lead": 26, "north gel": 10, "south lead": 15},
    chargers={"north lead": 14, "north gel": 6, "south lead": 8},
    stations={"north": 2, "south": 1},
    people={"north": 1, "south": 1},
    exchange_min={"north": 8.0, "south": 10.0},
    connect_min=3.0,
    charge_min=200.0,
    cool_min=90.0,
)
TWO_FOR_ONE_AREA = ONE_ATTENDANT._replace(
    attendants=3,
    people={"north": 1, "south": 2},
    exchange_min={"north": 13.0, "south": 15.0},
    connect_min=5.0,
)
FEW_CHARGERS = ONE_ATTENDANT._replace(
    attendants=2,
    chargers={"north lead": 8, "north gel": 3, "south lead": 4},
    batteries={"north lead": 22, "north gel": 9, "south lead": 13},
    exchange_min={"north": 10.0, "south": 14.0},
    connect_min=4.0,
)
SITES = {"one attendant": ONE_ATTENDANT, "two for one area": TWO_FOR_ONE_AREA, "few chargers": FEW_CHARGERS}


def scenario_of(site: Site, *, fixed: bool) -> batsim.Scenario:
    """The site as a scenario; its queues, groups and batteries are numbered in the order of the twin."""

    starts = ("lead", "vented_lead_acid_48v"), ("gel", "valve_regulated_24v")
    stated = {
        "site": {"name": "Two areas, one crew (invented)"},
        "week": {"shifts": {"always": {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}}},
        "trucks": [
            {
                "group": name,
                "count": group.trucks,
                "shifts": ["always"],
                "battery": group.queue.split()[1],
                "run_time": Law(group.run_min).stated(fixed=fixed),
                "first_run": {"first": f"{first_min(name)} min", "every": "9 min"},
                "priority": group.priority,
            }
            for name, group in site.groups.items()
        ],
        "batteries": {
            name: {
                "from": start,
                "charge_time": Law(site.charge_min).stated(fixed=fixed),
                "cool_down": Law(site.cool_min).stated(fixed=fixed),
                "watering": "none",
            }
            for name, start in starts
        },
        "handling": {
            name: {
                "title": f"Exchange in the {name}",
                "bay": "bay",
                "charger_leads": "loose",
                "connects": "attendant",
                "connect_time": site.connecting.stated(fixed=fixed),
                "steps": [
                    {
                        "step": "exchange",
                        "by": f"{site.people[name]} attendants" if site.people[name] > 1 else "attendant",
                        "time": site.exchange(name).stated(fixed=fixed),
                    }
                ],
            }
            for name in site.stations
        },
        "layouts": {
            "room": {
                "attendants": {"always": site.attendants},
                "areas": {
                    name: {
                        "for": [group for group, each in site.groups.items() if each.queue.split()[0] == name],
                        "handling": name,
                        "stations": stations,
                        "batteries": in_area(site.batteries, name),
                        "chargers": [
                            f"{number} x {CHARGERS[battery]}"
                            for battery, number in in_area(site.chargers, name).items()
                        ],
                        "bays": "unlimited",
                    }
                    for name, stations in site.stations.items()
                },
            }
        },
    }
    return batsim.read_scenario_text(yaml.safe_dump(stated, sort_keys=False, width=200))


CHARGERS = {"lead": "electronic_iuia", "gel": "gel_iu"}


def in_area(counts: dict[str, int], area: str) -> dict[str, int]:
    """Counts by battery type in one area."""
    return {queue.split()[1]: number for queue, number in counts.items() if queue.split()[0] == area}


def first_min(group: str) -> int:
    """When the first truck of a group first asks; the others follow. [min]"""
    return {"reach": 20, "tow": 31, "carts": 27, "heavy": 16}[group]


class Source(Protocol):
    """Where the twin has its times from."""

    def __call__(self, law: Law, entity: str, number: int, purpose: str) -> Iterator[float]:
        """Endless times for one of some entity, for some purpose. [min]"""


def fixed_times(law: Law, *_: object) -> Iterator[float]:
    """Always the mean."""
    return repeat(law.mean_min)


def times_of_its_own(seed: int) -> Source:
    """Times that are drawn here, whatever the room draws."""
    generator = np.random.default_rng(seed)

    def times(law: Law, *_: object) -> Iterator[float]:
        mean_min = law.mean_min
        if law.exponential:
            return (float(generator.exponential(mean_min)) for _ in count())
        return (float(generator.uniform(mean_min / 2.0, mean_min * 1.5)) for _ in count())

    return times


def times_of_the_room(seed: int) -> Source:
    """The same times as those of the room: its streams, asked for by their names."""
    streams = Streams(seed, 0)

    def times(law: Law, entity: str, number: int, purpose: str) -> Iterator[float]:
        return streams.durations(DurationLaw.model_validate(law.stated(fixed=False)), entity, number, purpose)

    return times


def twin_of(site: Site, times: Source) -> SiteTwin:
    """The same site for the event loop."""
    areas = {name: Area(stations, site.people[name]) for name, stations in site.stations.items()}
    queues = {name: Queue(areas[name.split()[0]], chargers) for name, chargers in site.chargers.items()}
    numbers = count()
    batteries = {
        place: [_battery(site, times, next(numbers), name, position) for position in range(site.batteries[name])]
        for place, name in enumerate(queues)
    }
    trucks = [
        Truck(
            queues[group.queue],
            group.priority,
            times(Law(group.run_min), f"truck of group {name}", position, "run"),
            times(site.exchange(group.queue.split()[0]), f"truck of group {name}", position, "step 0 exchange"),
            first_min(name) + 9.0 * position,
        )
        for name, group in site.groups.items()
        for position in range(group.trucks)
    ]
    return SiteTwin(trucks, batteries, list(queues.values()), site.attendants)


def _battery(site: Site, times: Source, number: int, queue: str, position: int) -> Battery:
    """One battery of a queue."""
    area, kind = queue.split()
    laws = {"charge": Law(site.charge_min), "cool-down": Law(site.cool_min), "connect": site.connecting}
    return Battery(
        number, *(times(law, f"battery of type {kind} in {area}", position, what) for what, law in laws.items())
    )


def exchanges_in(record: Record) -> list[Exchange]:
    """Exchanges that have begun, in the order in which they did."""
    names = ("truck", "joined_min", "start_min", "truck_free_min", "discharged", "charged")
    rows = [row for row in rows_of(record, "exchanges") if row["start_min"] < record.facts.horizon_min]
    return [Exchange(*(row[name] for name in names)) for row in rows]


def connections_in(record: Record) -> list[tuple[int, float]]:
    """Batteries and when they were connected."""
    return sorted((row["battery"], row["start_min"]) for row in started(rows_of(record, "charges")))


@pytest.mark.parametrize("name", SITES)
@pytest.mark.parametrize("fixed", [True, False], ids=["fixed times", "random times"])
def test_the_twin_agrees_draw_for_draw(name: str, fixed: bool):
    """Every exchange: which truck, when it came, began and ended, which batteries; batteries connected; causes."""
    end_min = 6 * WEEK_MIN
    record = record_of(scenario_of(SITES[name], fixed=fixed), "room", seed=3, length_min=end_min, warm_up_min=0.0)
    twin = twin_of(SITES[name], fixed_times if fixed else times_of_the_room(3)).play(end_min)
    mine = exchanges_in(record)
    assert len(mine) > 1500
    assert sum(each.start_min > each.joined_min for each in mine) > len(mine) / 4
    for found, wanted in zip(mine, twin.exchanges, strict=True):
        assert found == wanted
    ended = sorted((each.battery, each.end_min) for each in twin.connections if each.end_min < end_min)
    assert [each for each in connections_in(record) if each[1] < end_min] == ended
    assert causes_of(record) == settled(twin.lacked)


def causes_of(record: Record) -> dict[int, list[tuple[float, int]]]:
    """For each queue, when what its first truck lacks has changed, and to what."""
    return settled([(row["from_min"], row["queue"], row["cause"]) for row in rows_of(record, "queues")])


def settled(changes: list[tuple[float, int, int]]) -> dict[int, list[tuple[float, int]]]:
    """Changes of each queue; of those of one instant the last one, where it makes a difference."""
    found: dict[int, list[tuple[float, int]]] = {}
    for time, queue, cause in changes:
        mine = found.setdefault(queue, [])
        if mine and mine[-1][0] == time:
            mine.pop()
        if (mine[-1][1] if mine else 0) != cause:
            mine.append((time, cause))
    return found


REPLICATIONS, WARM_UP_MIN, LENGTH_MIN = 24, WEEK_MIN, 21 * WEEK_MIN
MEASURES = (
    *(f"wait of {group}, min" for group in ONE_ATTENDANT.groups),
    "exchanges a day, north",
    "exchanges a day, south",
    "share of exchanges that wait",
    "95 % of waits, min",
    "wait to be connected, min",
    "people-minutes a day",
    "batteries connected a day",
)


def measured(site: Site, exchanges: list[Exchange], connections: list[tuple[float, float, float]]) -> list[float]:
    """What is measured of either: of exchanges begun in the measured time, and of batteries connected in it."""
    group_of = [name for name, group in site.groups.items() for _ in range(group.trucks)]
    inside = [each for each in exchanges if WARM_UP_MIN <= each.start_min < LENGTH_MIN]
    days = (LENGTH_MIN - WARM_UP_MIN) / 1440.0
    waits = {
        name: [each.start_min - each.joined_min for each in inside if group_of[each.truck] == name]
        for name in site.groups
    }
    people = {name: site.people[group.queue.split()[0]] for name, group in site.groups.items()}
    all_waits = [wait for mine in waits.values() for wait in mine]
    connected = [each for each in connections if WARM_UP_MIN <= each[1] < LENGTH_MIN]
    hands_on = sum(people[group_of[each.truck]] * (each.end_min - each.start_min) for each in inside)
    hands_on += sum(end - start for _, start, end in connected)
    return [
        *(float(np.mean(mine)) for mine in waits.values()),
        sum(len(waits[name]) for name, group in site.groups.items() if group.queue.startswith("north")) / days,
        sum(len(waits[name]) for name, group in site.groups.items() if group.queue.startswith("south")) / days,
        float(np.mean(np.array(all_waits) > 0.0)),
        float(np.percentile(all_waits, 95.0)),
        float(np.mean([start - charger for charger, start, _ in connected])),
        hands_on / days,
        len(connected) / days,
    ]


def in_the_room(site: Site, replication: int) -> list[float]:
    """The measures of one replication of the room."""
    scenario = scenario_of(site, fixed=False)
    record = record_of(scenario, "room", seed=5, replication=replication, length_min=LENGTH_MIN, warm_up_min=0.0)
    given = {(row["battery"], row["to_min"]): row["from_min"] for row in rows_of(record, "chargers")}
    charges = [row for row in started(rows_of(record, "charges")) if (row["battery"], row["end_min"]) in given]
    states = by("battery", rows_of(record, "battery_states"))
    begun = {
        battery: [row["from_min"] for row in mine if row["state"] == BEING_CONNECTED]
        for battery, mine in states.items()
    }
    connections = [
        (
            given[row["battery"], row["end_min"]],
            max(time for time in begun[row["battery"]] if time <= row["start_min"]),
            row["start_min"],
        )
        for row in charges
    ]
    return measured(site, exchanges_in(record), connections)


def in_the_twin(site: Site, seed: int) -> list[float]:
    """The measures of one run of the twin with times of its own."""
    twin = twin_of(site, times_of_its_own(seed)).play(LENGTH_MIN)
    return measured(site, twin.exchanges, [each[1:] for each in twin.connections])


@pytest.mark.slow
@pytest.mark.parametrize("name", ["one attendant", "few chargers"])
def test_the_twin_with_times_of_its_own_agrees_in_the_mean(name: str):
    """The 99.9 % intervals of all differences together hold zero; none is wider than 8 % of the value to each side."""
    room = np.array([in_the_room(SITES[name], replication) for replication in range(REPLICATIONS)])
    twin = np.array([in_the_twin(SITES[name], seed) for seed in range(2 * REPLICATIONS)])

    wanted, difference = np.mean(twin, axis=0), np.mean(room, axis=0) - np.mean(twin, axis=0)
    spread = np.sqrt(sum(np.var(each, axis=0, ddof=1) / len(each) for each in (room, twin)))
    half = stats.t.ppf(1.0 - 0.0005 / len(MEASURES), REPLICATIONS - 1) * spread
    told = list(zip(MEASURES, wanted, difference / wanted, half / wanted, strict=True))
    assert np.all(np.abs(difference) <= half), told
    assert np.all(half <= 0.08 * wanted), told
