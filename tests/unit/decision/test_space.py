"""What a plan may choose: ranges of counts, points with levers, the scenario that a point is, and what it costs."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.decision.counts import MOST, CountRange, GivenRanges, ranges_of
from batsim.decision.space import Move, Point, Space
from batsim.record.tables import TABLES
from batsim.scenario.site import Scenario
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.levers import (
    AT_LEVEL,
    BY_DRIVERS,
    CHARGING,
    DELAY,
    EARLY,
    EXCHANGE_BY,
    IN_BREAKS,
    LOOSE_LEADS,
    NOT_ABOVE,
    POWER_LIMIT,
    SPREAD,
    WITHOUT_ATTENDANTS,
    Lever,
    choices_of,
    with_levers,
)
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    SET_DOWN_BAYS,
    STATIONS,
    Counted,
    Counts,
    counts_of,
    with_counts,
)
from tests.sites import FROSTHOLM, KESTREL

SCENARIOS = Path(__file__).parents[3] / "scenarios"
CASES = Path(__file__).parents[1] / "cases"
FILES = sorted(SCENARIOS.glob("*.yaml"))
LAYOUTS = [(file.stem, layout) for file in FILES for layout in batsim.read(file).layouts]
DRAWN = [(file, layout) for file, layout in LAYOUTS if file not in ("machine-interference", "two-battery-carriage")]
"""Those that are not like others."""
SMALL = batsim.read(CASES / "size_small.yaml")
TWO_AREAS = batsim.read(CASES / "two_areas.yaml")
PEAK_KW = 170.0
ROLLERS, HOIST = "side rollers", "hoist"
RANGES: GivenRanges = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}

Spans = dict[str, tuple[int, int]]
"""Least and most by name."""


@cache
def site(file: str) -> Scenario:
    """A scenario that is shipped."""
    return batsim.read(SCENARIOS / f"{file}.yaml")


@cache
def space_of(file: str, layout: str) -> Space:
    """Everything that a layout of it may choose."""
    scenario = site(file)
    return Space(scenario, layout, ranges_of(scenario, layout, {}), tuple(choices_of(scenario, layout, PEAK_KW)))


def room(scenario: Scenario, layout: str = "room", given: GivenRanges | None = None) -> Space:
    """Counts of a layout alone, all or those that are given."""
    return Space(scenario, layout, ranges_of(scenario, layout, given or {}))


def changed(scenario: Scenario, layout: str, **keys: object) -> Scenario:
    """Copy of a scenario with other things said of a layout."""
    for key, value in keys.items():
        scenario = batsim.changed(scenario, {f"layouts.{layout}.{key}": value})
    return scenario


def spans(scenario: Scenario, layout: str) -> Spans:
    """Least and most of everything that may be chosen, by name."""
    return {each.name: (each.low, each.high) for each in ranges_of(scenario, layout, {})}


def named(space: Space, move: Move) -> dict[str, int]:
    """A step of counts by their names."""
    return {space.ranges[position].name: number for position, number in move.items()}


def bought(space: Space, point: Point) -> float:
    """Cost of what a point buys, and of its attendants. [currency/year]"""
    return sum(line.per_year for line in space.cost_lines(space.made(point)))


def rule_of(scenario: Scenario, layout: str, given: GivenRanges) -> str:
    """What is said of ranges that are refused."""
    with pytest.raises(batsim.ScenarioError) as caught:
        ranges_of(scenario, layout, given)
    return str(caught.value)


# --- ranges of every scenario ---


def of_room(trucks: int, batteries: dict[str, int], chargers: str, device: str = "", shifts: str = "") -> Spans:
    """Ranges of a room: batteries by label with how many trucks have them, all else up to one for each truck."""
    return {
        **{label: (number + 1, MOST) for label, number in batteries.items()},
        **{label: (1, MOST) for label in chargers.split(", ") if label},
        "stations": (1, trucks),
        **({device: (1, trucks)} if device else {}),
        **{f"attendants room {shift}": (0, MOST) for shift in shifts.split()},
    }


def of_area(area: str, found: Spans) -> Spans:
    """The same of an area."""
    return {f"{name} of {area}": span for name, span in found.items()}


TWO_TYPES = {"batteries lead 48 V 750 Ah": 12, "batteries lead 24 V 465 Ah": 16}
TWO_CHARGERS = "chargers iuia 48 V, chargers iuia 24 V"
KESTREL_LANE = {
    "side rollers": of_room(24, {"batteries": 24}, "chargers", "battery_carriage", "early late night"),
    "portable stands": of_room(24, {"batteries": 24}, "chargers", "hand_pallet_truck", "early late night"),
    "hoist": of_room(24, {"batteries": 24}, "chargers", "hoist", "early late night"),
    "in the truck": {"chargers": (1, 24)},
}
SPANS: dict[str, dict[str, Spans]] = {
    "alder-street-joinery": {
        "in the truck": {"chargers": (1, 6)},
        "portable stands": of_room(6, {"batteries": 6}, "chargers", "hand_pallet_truck"),
        "hoist": of_room(6, {"batteries": 6}, "chargers", "hoist"),
    },
    "frostholm-cold-store": {
        "side rollers": of_room(28, TWO_TYPES, TWO_CHARGERS, "battery_carriage", "early late"),
        "portable stands": of_room(28, TWO_TYPES, TWO_CHARGERS, "hand_pallet_truck", "early late"),
        "in the truck": {"chargers opportunity 48 V": (1, 28), "chargers opportunity 24 V": (1, 28)},
    },
    "kestrel-lane": KESTREL_LANE,
    "larkfield-bottling": dict.fromkeys(
        ("one hoist", "two hoists"), of_room(14, {"batteries": 14}, "chargers", "hoist", "early late")
    ),
    "machine-interference": dict.fromkeys(
        ("one station", "two stations", "three stations"), of_room(5, {"batteries": 5}, "")
    ),
    "saltmarsh-road": {
        "today": of_area("reach", of_room(14, {"batteries": 14}, "chargers", "hand_pallet_truck"))
        | of_area("yard", of_room(8, {"batteries": 8}, "chargers", "hoist"))
        | of_area("picking", of_room(9, {"batteries": 9}, "chargers", "hand_pallet_truck"))
        | {f"attendants room {shift}": (0, MOST) for shift in ("early", "late", "night")},
        "each its own way": of_area("reach", of_room(14, {"batteries": 14}, "chargers", "battery_carriage"))
        | of_area("yard", of_room(8, {"batteries": 8}, "chargers", "hoist"))
        | {"chargers of picking": (1, 9), "attendants room night": (0, MOST)},
        "all plugged in": {"chargers lithium 48 V": (1, 31), "chargers lithium 24 V": (1, 31)},
    },
    "two-battery-carriage": KESTREL_LANE
    | {
        "two-battery carriage": of_room(24, {"batteries": 24}, "chargers", "two-battery carriage", "early late night")
    },
}  # fmt: skip
"""In every layout of every scenario that is shipped, in order."""


@pytest.mark.parametrize(("file", "layout"), LAYOUTS)
def test_everything_that_has_a_limit_has_a_range(file: str, layout: str) -> None:
    """One battery more than trucks is the fewest, one of all else; nobody is the fewest of attendants."""
    found = {each.name: (each.low, each.high) for each in space_of(file, layout).ranges}
    assert list(found.items()) == list(SPANS[file][layout].items())


@pytest.mark.parametrize(("file", "layout"), LAYOUTS)
def test_a_range_holds_what_is_stated_and_half_as_many_again(file: str, layout: str) -> None:
    """By the counts of the scenario; nothing in abundance where none are stated, nor beyond the most."""
    numbers = counts_of(site(file), layout)
    for each in space_of(file, layout).ranges:
        assert each.stated == numbers[each.counted]
        assert each.low <= each.stated <= each.generous <= each.high
        assert each.generous >= min(each.high, 1.5 * each.stated - 0.5)
        assert not each.given


def test_what_is_enough() -> None:
    """Half as many again as stated, of people and stations four at least; more batteries where a rule of thumb says."""
    enough = {each.name: each.generous for each in ranges_of(KESTREL, ROLLERS, {})}
    assert enough == {
        "batteries": 123, "chargers": 87, "stations": 4, "battery_carriage": 4,
        "attendants room early": 4, "attendants room late": 4, "attendants room night": 4,
    }  # fmt: skip
    few = changed(KESTREL, ROLLERS, batteries=30, attendants={"room early": 5, "room late": 0})
    enough = {each.name: each.generous for each in ranges_of(few, ROLLERS, {})}
    assert enough["batteries"] > 1.5 * 30 + 24
    assert (enough["attendants room early"], enough["attendants room late"]) == (8, 0)


def test_what_is_unlimited_has_no_range() -> None:
    """Here the attendants; then the chargers as well; then the stations."""
    assert list(spans(SMALL, "room")) == ["batteries", "chargers", "stations"]
    free = changed(SMALL, "room", chargers="unlimited x electronic_iuia")
    assert list(spans(free, "room")) == ["batteries", "stations"]
    assert list(spans(changed(free, "room", stations="unlimited"), "room")) == ["batteries"]


def test_bays_have_a_range_where_they_are_stated() -> None:
    (bays,) = (each for each in ranges_of(changed(SMALL, "room", bays=9), "room", {}) if each.kind == BAYS)
    assert (bays.low, bays.high, bays.stated, bays.generous) == (1, MOST, 9, 14)


def test_batteries_that_trucks_keep_are_counted_in_all() -> None:
    """By a type of the trucks, whichever truck keeps them."""
    kept = batsim.changed(SMALL, {"trucks[0].own_batteries": True})
    assert spans(kept, "room") == spans(SMALL, "room")


def test_words() -> None:
    """Of a type, of a device of an area, of attendants on a shift."""
    ranges = {each.name: each for each in ranges_of(site("saltmarsh-road"), "today", {})}
    assert ranges["hand_pallet_truck of reach"].label == "hand pallet truck of reach"
    assert ranges["attendants room night"].label == "attendants (room night)"
    types = {each.name: each for each in ranges_of(FROSTHOLM, ROLLERS, {})}
    assert types["chargers iuia 48 V"].label == "chargers iuia 48 V"


# --- ranges that are given ---


def test_a_range_leaves_all_else_as_stated() -> None:
    (one,) = ranges_of(SMALL, "room", {"chargers": (2, 5)})
    (stated,) = (each for each in ranges_of(SMALL, "room", {}) if each.name == "chargers")
    assert one == stated._replace(low=2, high=5, generous=5, given=True)


def test_what_is_enough_stays_within_the_ends_that_are_given() -> None:
    """Six chargers would be, of four that are stated."""
    ends = {(low, high): ranges_of(SMALL, "room", {"chargers": (low, high)})[0] for low, high in ((1, 3), (7, 9))}
    assert {span: each.generous for span, each in ends.items()} == {(1, 3): 3, (7, 9): 7}
    assert {span: Space(SMALL, "room", (each,)).stated for span, each in ends.items()} == {(1, 3): (3,), (7, 9): (7,)}


def test_attendants_are_those_of_every_shift() -> None:
    """Those of one shift by its name; of the shared ones without an area."""
    every = ranges_of(KESTREL, HOIST, {"attendants": (1, 3), "stations": (1, 2)})
    assert [(each.name, each.low, each.high) for each in every] == [
        ("attendants room early", 1, 3), ("attendants room late", 1, 3), ("attendants room night", 1, 3),
        ("stations", 1, 2),
    ]  # fmt: skip
    assert [each.name for each in ranges_of(KESTREL, HOIST, {"attendants room late": (0, 2)})] == [
        "attendants room late"
    ]
    areas = {"layouts.rooms.attendants": {"all day": 2}, "layouts.rooms.areas.north.attendants": None,
             "layouts.rooms.areas.south.attendants": {"all day": 1}}  # fmt: skip
    shared = batsim.changed(TWO_AREAS, areas)
    assert [each.counted for each in ranges_of(shared, "rooms", {"attendants": (1, 3)})] == [
        Counted(ATTENDANTS, "all day")
    ]
    assert [each.counted for each in ranges_of(shared, "rooms", {"attendants of south": (1, 3)})] == [
        Counted(ATTENDANTS, "all day", area="south")
    ]


def test_ranges_of_nothing() -> None:
    given = {"batteris": (5, 8), "chargers": (4, 2), "stations": (0, 2), "hoist": (1, 2), "batteries": (1, 3)}
    assert rule_of(SMALL, "room", given) == (
        f"{SMALL.file}: 4 problems\n"
        f"  {SMALL.file}: range batteris: no count of this name in layout 'room'; did you mean 'batteries'?\n"
        f"  {SMALL.file}: range chargers: must rise from 1 or more (got 4:2)\n"
        f"  {SMALL.file}: range hoist: no count of this name in layout 'room'; known: batteries, chargers, stations\n"
        f"  {SMALL.file}: range stations: must rise from 1 or more (got 0:2)"
    )


def test_nobody_may_be_the_fewest_of_attendants_but_not_fewer() -> None:
    low = [each.low for each in ranges_of(KESTREL, HOIST, {"attendants": (0, 2)})]
    assert low == [0, 0, 0]
    assert "range attendants: must rise from 0 or more (got -1:2)" in rule_of(KESTREL, HOIST, {"attendants": (-1, 2)})


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("stations", "say of which area: stations of north, stations of south"),
        ("stations of soth", "did you mean 'stations of south'?"),
        ("attendants", "known: batteries of north, chargers of north, stations of north, batteries of south, "
                       "chargers of south, stations of south"),
    ],
)  # fmt: skip
def test_ranges_of_no_area(name: str, rule: str) -> None:
    said = f"  {TWO_AREAS.file}: range {name}: no count of this name in layout 'rooms'; {rule}"
    assert rule_of(TWO_AREAS, "rooms", {name: (1, 2)}) == f"{TWO_AREAS.file}: 1 problem\n{said}"


# --- points ---


def point_of(space: Space, *levers: Lever, **counts: int) -> Point:
    """As stated, but for some levers, and counts by the first words of their names."""
    point = list(space.stated)
    for position, choice in enumerate(space.choices, len(space.ranges)):
        ways = [way for way, option in enumerate(choice.options) if option and option[0] in levers]
        point[position] = ways[0] if ways else 0
    for name, number in counts.items():
        for position, each in enumerate(space.ranges):
            if each.name.startswith(name.replace("_", " ")):
                point[position] = number
    assert set(space.levers(tuple(point))) == set(levers)
    return tuple(point)


def test_the_layout_as_stated_and_enough_of_everything() -> None:
    """The second differs in counts alone."""
    space = space_of("kestrel-lane", ROLLERS)
    ways = (0,) * len(space.choices)
    assert space.stated == (82, 58, 2, 2, 2, 2, 2, *ways)
    assert space.generous == (123, 87, 4, 4, 4, 4, 4, *ways)
    assert counts_of(space.made(space.stated), ROLLERS) == counts_of(KESTREL, ROLLERS)
    assert space.levers(space.generous) == ()


def test_no_fewer_than_stated_is_enough() -> None:
    """Five people where four would do."""
    one = CountRange("attendants", Counted(ATTENDANTS, "room early"), 0, 9, 5, 4)
    assert Space(KESTREL, HOIST, (one,)).generous == (5,)


def test_a_point_is_a_layout_with_its_counts_and_levers() -> None:
    """All that is not named stays as it is stated."""
    space = space_of("kestrel-lane", ROLLERS)
    levers = (
        Lever(SPREAD, "docks", 60.0), Lever(NOT_ABOVE, "docks"), Lever(EARLY, "aisles"), Lever(IN_BREAKS, "aisles"),
        Lever(BY_DRIVERS, "", shift="night"), Lever(LOOSE_LEADS, ""), Lever(DELAY, ""),
        next(lever for choice in space.choices for (lever,) in choice.options[1:] if lever.kind == POWER_LIMIT),
    )  # fmt: skip
    point = point_of(space, *levers, batteries=70, chargers=44, stations=3, attendants_room_night=0)
    assert space.without_idle(point) == point
    assert set(space.changes(point).levers) == set(levers)
    assert dict(space.changes(point).numbers) == {
        Counted("batteries", "lead 48 V 750 Ah"): 70,
        Counted("chargers", "electronic_iuia"): 44,
        Counted("stations"): 3,
        Counted("devices", "battery_carriage"): 2,
        Counted("attendants", "room early"): 2,
        Counted("attendants", "room late"): 2,
        Counted("attendants", "room night"): 0,
    }

    made = space.made(point)
    layout, (docks, aisles) = made.layouts[ROLLERS], made.in_layout(ROLLERS).trucks
    assert layout.batteries == {"lead 48 V 750 Ah": 70}
    assert layout.chargers == ((44, "electronic_iuia"),)
    assert (layout.stations, layout.devices) == (3, {"battery_carriage": 2})
    assert layout.attendants == {"room early": 2, "room late": 2, "room night": 0}
    assert (docks.exchange_when.spread.over_min, aisles.exchange_when.spread.over_min) == (60.0, 0.0)
    assert docks.exchange_when.not_above_share == KESTREL.figures["lever.not_above"].value / 100.0
    assert aisles.exchange_when.early_below_share == KESTREL.figures["lever.early"].value / 100.0
    assert aisles.exchange_when.in_breaks_below_share == KESTREL.figures["lever.in_breaks"].value / 100.0
    by_drivers = {shift: layout.exchanged_by_drivers(shift, "docks") for shift in ("early", "late", "night")}
    assert by_drivers == {"early": False, "late": False, "night": True}
    assert layout.charger_leads == "loose"
    rules = made.charging_of(ROLLERS)
    assert (rules.delay_min, rules.power_limit_kw) == (KESTREL.figures["lever.delay"].value, levers[-1].value)
    assert made.with_layout(ROLLERS, KESTREL.layouts[ROLLERS]).layouts == KESTREL.layouts


@pytest.mark.parametrize(("file", "layout"), DRAWN)
def test_a_job_carries_what_a_point_is(file: str, layout: str) -> None:
    """Of points drawn: each count is that of its range, each lever that of its way; the cost is of all that."""
    space, generator, checked = space_of(file, layout), np.random.default_rng(7), 0
    units = UnitCosts(space.scenario, layout)
    for _ in range(4):
        point = space.without_idle(
            (
                *(int(generator.integers(each.low, each.generous + 1)) for each in space.ranges),
                *(int(generator.integers(len(choice.options))) for choice in space.choices),
            )
        )
        if space.attempt(point)[1]:
            continue
        made, levers = space.made(point), space.levers(point)
        numbers = counts_of(made, layout)
        nobody = any(lever.kind == WITHOUT_ATTENDANTS for lever in levers)
        for each, number in zip(space.ranges, point, strict=False):
            assert numbers.get(each.counted) == (None if nobody and each.kind == ATTENDANTS else number)
        counted = with_counts(space.scenario, Counts(layout, space.changes(point).numbers))
        apart = with_levers(counted, layout, levers)
        assert made.layouts == apart.layouts
        assert bought(space, point) == pytest.approx(
            sum(line.per_year for line in cost_lines(apart, layout, units)), rel=1e-12
        )
        checked += 1
    assert checked


def test_counts_are_changed_in_their_area() -> None:
    """As well as shared attendants."""
    space = space_of("saltmarsh-road", "today")
    by_night = Lever(BY_DRIVERS, "reach", shift="night")
    point = point_of(space, by_night, batteries_of_yard=17, stations_of_picking=2, attendants_room_late=1)
    before, after = counts_of(space.scenario, "today"), counts_of(space.made(point), "today")
    moved = {counted: number for counted, number in after.items() if number != before[counted]}
    follows = (BAYS, SET_DOWN_BAYS)
    assert {counted: number for counted, number in moved.items() if counted.kind not in follows} == {
        Counted(BATTERIES, "lead 48 V 750 Ah", area="yard"): 17.0,
        Counted(STATIONS, area="picking"): 2.0,
        Counted(ATTENDANTS, "room late"): 1.0,
    }
    assert {counted.area for counted in moved} == {"yard", "picking", ""}


def test_skills_go_with_the_attendants() -> None:
    """One more attendant is qualified, one fewer is one fewer of those who are."""
    scenario = site("larkfield-bottling")
    space, stated = room(scenario, "one hoist", {"attendants": (2, 4)}), scenario.layouts["one hoist"].attendants
    assert isinstance(stated, dict)
    assert any(on_duty.qualified for on_duty in stated.values())
    for number in (2, 3, 4):
        attendants = space.made((number, number)).layouts["one hoist"].attendants
        assert isinstance(attendants, dict)
        for shift, on_duty in stated.items():
            assert int(attendants[shift]) == number
            skilled = {name: count + number - int(on_duty) for name, count in (on_duty.qualified or {}).items()}
            assert (attendants[shift].qualified or {}) == skilled


def test_the_rule_that_a_point_breaks() -> None:
    """A battery more than trucks at least; six bays hold five spares and one empty spot."""
    space = room(changed(SMALL, "room", bays=6), given={"batteries": (1, 12)})
    assert [number for number in range(1, 13) if not space.attempt((number,))[1]] == [5, 6, 7, 8, 9]
    assert space.attempt((3,))[1].endswith("must be at least 4, one for each truck of battery type 'plain' (got 3)")
    assert "layouts.room.bays: would deadlock" in space.attempt((10,))[1]


# --- what has no effect ---


def runs_of(space: Space, point: Point) -> dict[str, Any]:
    """All that two days of a plan leave."""
    settings = batsim.Settings(weeks=2 / 7, warm_up_weeks=0.0)
    record = batsim.simulate(space.made(point), space.layout, settings=settings)
    return {table: record.rows(table) for table in TABLES}


def test_where_drivers_do_it_all_nobody_counts_attendants() -> None:
    """Nor asks who exchanges in a shift; whatever else is done stays."""
    space = space_of("kestrel-lane", ROLLERS)
    nobody, loose = Lever(WITHOUT_ATTENDANTS, ""), Lever(LOOSE_LEADS, "")
    by_night = Lever(BY_DRIVERS, "", shift="night")
    point = point_of(space, nobody, by_night, loose, stations=3, attendants_room_early=4, attendants_room_late=0)
    at_rest = {f"attendants_room_{shift}": 1 for shift in ("early", "late", "night")}
    cleared = point_of(space, nobody, loose, stations=3, **at_rest)
    assert space.without_idle(point) == cleared
    theirs, mine = runs_of(space, point), runs_of(space, cleared)
    assert mine["exchanges"]
    assert all(np.array_equal(theirs[table], mine[table], equal_nan=True) for table in TABLES)
    assert space.made(point).layouts[ROLLERS].attendants is None
    assert not [counted for counted, _ in space.changes(point).numbers if counted.kind == ATTENDANTS]


def test_where_no_truck_comes_at_a_shift_change_no_level_is_asked_for_there() -> None:
    """A rule forbids it; of another group, or where trucks come over more time, it is asked for."""
    space = space_of("kestrel-lane", ROLLERS)
    at_level, not_above, early = (Lever(kind, "docks") for kind in (AT_LEVEL, NOT_ABOVE, EARLY))
    assert "is read where 'shift_change' is if_short" in space.attempt(point_of(space, at_level, not_above, early))[1]
    assert space.without_idle(point_of(space, at_level, not_above, early)) == point_of(space, at_level, early)
    assert not space.attempt(point_of(space, at_level, early))[1]
    spread = point_of(space, Lever(SPREAD, "docks"), not_above)
    assert space.without_idle(spread) == spread
    other = space.choices[0]._replace(of="aisles", options=((), (Lever(AT_LEVEL, "aisles"),)))
    both = replace(space, choices=(*space.choices, other))
    assert both.without_idle((*point_of(space, not_above), 1)) == (*point_of(space, not_above), 1)


@pytest.mark.parametrize(("file", "layout"), DRAWN)
def test_moves_and_turns_lead_to_points_without_idle_parts(file: str, layout: str) -> None:
    """From everything done otherwise at once; the second time nothing is left to clear."""
    space = space_of(file, layout)
    point = (*space.stated[: len(space.ranges)], *(len(choice.options) - 1 for choice in space.choices))
    assert space.without_idle(space.without_idle(point)) == space.without_idle(point)
    moved = [space.moved(point, move, 1) for move in space.counting]
    turned = [space.turned(point, move) for move in (*space.turning, *space.turning_of_charging)]
    assert moved
    assert all(space.without_idle(each) == each for each in (*moved, *turned))


# --- moves ---


def test_counts_move_as_far_as_their_ranges_go() -> None:
    space = room(SMALL, given=RANGES)
    assert space.moved((6, 2, 1), {0: 1}, 2) == (8, 2, 1)
    assert space.moved((6, 2, 1), {0: 1}, 5) == (8, 2, 1)
    assert space.moved((6, 2, 1), {0: 1, 1: 2}, -1) == (5, 1, 1)
    assert space.moved((6, 2, 1), {0: -1, 2: 1}, 1) == (5, 2, 2)
    assert space.moved((5, 1, 1), {0: 1}, -3) == (5, 1, 1)


def test_stations_go_with_their_devices_and_attendants_of_all_shifts_together() -> None:
    """Before each alone; of two things of a kind one is given for another last."""
    space = room(KESTREL, HOIST)
    moves = [named(space, move) for move in space.counting]
    assert moves[:2] == [
        {"attendants room early": 1, "attendants room late": 1, "attendants room night": 1},
        {"stations": 1, "hoist": 1},
    ]
    assert sorted(name for move in moves[2:9] for name in move) == sorted(each.name for each in space.ranges)
    assert moves[9:] == [
        {"attendants room early": -1, "attendants room late": 1},
        {"attendants room early": -1, "attendants room night": 1},
        {"attendants room late": -1, "attendants room night": 1},
    ]


def test_a_shift_that_has_nobody_does_not_go_with_the_others() -> None:
    uneven = changed(KESTREL, HOIST, attendants={"room early": 3, "room late": 2, "room night": 0})
    space = room(uneven, HOIST)
    assert named(space, space.counting[0]) == {"attendants room early": 1, "attendants room late": 1}
    one = room(changed(KESTREL, HOIST, attendants={"room early": 3, "room late": 0, "room night": 0}), HOIST)
    assert named(one, one.counting[0]) == {"stations": 1, "hoist": 1}


def test_a_station_goes_with_as_many_devices_as_an_exchange_holds() -> None:
    """However few are to be looked at."""
    space = room(KESTREL, HOIST)
    two = tuple(each._replace(low=3, held=2) if each.name == "hoist" else each for each in space.ranges)
    assert {"stations": 1, "hoist": 2} in [named(space, move) for move in replace(space, ranges=two).counting]


def test_each_area_has_moves_of_its_own() -> None:
    """Stations go with devices of their area, shared attendants with one another; a kind is traded within an area."""
    space = room(site("saltmarsh-road"), "today")
    moves = [named(space, move) for move in space.counting]
    together = [move for move in moves if len(move) > 1 and -1 not in move.values()]
    assert {tuple(move) for move in together} == {
        ("attendants room early", "attendants room late", "attendants room night"),
        ("stations of reach", "hand_pallet_truck of reach"),
        ("stations of yard", "hoist of yard"),
        ("stations of picking", "hand_pallet_truck of picking"),
    }
    assert {"attendants room early": -1, "attendants room night": 1} in moves
    assert {"batteries of reach": -1, "batteries of picking": 1} not in moves
    assert {"hand_pallet_truck of reach": -1, "hand_pallet_truck of picking": 1} not in moves


def test_what_matters_to_a_truck_group_is_of_its_area_or_shared() -> None:
    """Batteries of another area do not; attendants do, and who exchanges in all shifts of another area."""
    plain = room(site("saltmarsh-road"), "today")
    space = replace(plain, choices=tuple(choices_of(plain.scenario, "today")))
    counts = {name for move in space.adding if space.matters(move, "reach") for name in named(space, move)}
    first = len(space.ranges)
    turns = [[space.choices[position - first] for position in move] for move in space.turning]
    kept = [
        turn for turn, move in zip(turns, space.turning, strict=True) if space.matters(move, "reach") and len(turn) == 1
    ]
    whole = [move for move in space.turning if len(move) > 1]

    assert {name.partition(" of ")[2] for name in counts} == {"reach", ""}
    assert {choice.of for (choice,) in kept} == {"reach", ""}
    assert all(space.matters(move, "reach") for move in whole)
    assert all(space.matters(move, "") for move in (*space.adding, *space.turning))


def test_the_dearest_step_comes_first() -> None:
    """By its length and the price of one; together and alone each in their order."""
    for file, layout in DRAWN:
        space = space_of(file, layout)

        def dearness(move: Move, space: Space = space) -> float:
            units = [space.units.by_counted[space.ranges[position].counted.anywhere] for position in move]
            prices = [unit.per_year * number for unit, number in zip(units, move.values(), strict=True)]
            return space.first_step(move) * sum(prices)

        moves = [move for move in space.counting if -1 not in move.values()]
        for part in ([move for move in moves if len(move) > 1], [move for move in moves if len(move) == 1]):
            dear = [dearness(move) for move in part]
            assert dear == sorted(dear, reverse=True)


def test_first_steps_are_a_part_of_the_way_to_enough() -> None:
    """An eighth of what there is a lot of, a quarter of people and stations, never less than one; a trade is of one."""
    space = room(KESTREL, ROLLERS)
    steps = {name: space.first_step(move) for move in space.counting for name in named(space, move) if len(move) == 1}
    assert steps == {
        "batteries": (123 - 25) // 8, "chargers": (87 - 1) // 8, "stations": 1, "battery_carriage": 1,
        "attendants room early": 1, "attendants room late": 1, "attendants room night": 1,
    }  # fmt: skip
    many = room(changed(KESTREL, ROLLERS, attendants={"room early": 8, "room late": 2}), ROLLERS)
    assert many.first_step({4: 1}) == many.first_step({4: 1, 5: 1}) == 12 // 4
    assert many.first_step({4: -1, 5: 1}) == 1


def test_every_other_way_is_a_turn() -> None:
    """All shifts together first, there and back, and all but one, with attendants; what is about charging apart."""
    space = space_of("kestrel-lane", ROLLERS)
    first = len(space.ranges)
    shifts = [position for position, choice in enumerate(space.choices, first)
              if choice.subject == EXCHANGE_BY and choice.options[1][0].shift]  # fmt: skip
    assert space.turning[:2] == (dict.fromkeys(shifts, 1), dict.fromkeys(shifts, 0))
    (nobody,) = (position for position, choice in enumerate(space.choices, first)
                 if choice.options[-1][0].kind == WITHOUT_ATTENDANTS)  # fmt: skip
    assert space.turning[2:6] == (
        {nobody: 0, **dict.fromkeys(shifts, 1)},
        *({nobody: 0, **dict.fromkeys(shifts, 1), shift: 0} for shift in shifts),
    )
    alone = [
        (position, way) for move in (*space.turning[6:], *space.turning_of_charging) for position, way in move.items()
    ]
    assert sorted(alone) == [
        (position, way) for position, choice in enumerate(space.choices, first) for way in range(len(choice.options))
    ]
    assert all(space.concerns(move, CHARGING) for move in space.turning_of_charging)
    assert not any(space.concerns(move, CHARGING) for move in space.turning)
    assert space.concerns(space.turning[0], EXCHANGE_BY)
    assert space.levers(space.turned(space.stated, space.turning[0])) == tuple(
        Lever(BY_DRIVERS, "", shift=shift) for shift in ("early", "late", "night")
    )
    assert space.turned(space.turned(space.stated, space.turning[0]), space.turning[1]) == space.stated


# --- what a point costs ---


def test_one_more_costs_what_one_costs() -> None:
    """A battery and a station with the bay of each; people the hours of their shift."""
    space = room(KESTREL, HOIST)
    price = {counted: unit.per_year for counted, unit in UnitCosts(KESTREL, HOIST).by_counted.items()}
    for position, each in enumerate(space.ranges):
        bay = price[Counted(BAYS)] if each.kind in (BATTERIES, STATIONS) else 0.0
        more = bought(space, space.moved(space.stated, {position: 1}, 1)) - bought(space, space.stated)
        assert more == pytest.approx(price[each.counted] + bay)


@pytest.mark.parametrize(
    "owned",
    [
        {},
        {"plain": 8},
        {"electronic_iuia": 4, "stations": 2},
        {"bays": 6},
        {"plain": 8, "electronic_iuia": 3},
        {"bays": 1},
    ],
)
def test_what_is_owned_costs_nothing(owned: dict[str, int]) -> None:
    """As many as are there; what goes beyond them is bought, and having fewer earns nothing. By hand."""
    space = room(changed(SMALL, "room", owned=owned), given=RANGES)

    def paid(name: str, number: int) -> int:
        return max(0, number - owned.get(name, 0))

    for batteries, chargers, stations in ((5, 1, 1), (6, 4, 2), (7, 2, 2), (8, 3, 1), (8, 4, 2)):
        assert bought(space, (batteries, chargers, stations)) == pytest.approx(
            1000.0 * paid("plain", batteries)
            + 200.0 * paid("electronic_iuia", chargers)
            + 100.0 * paid("stations", stations)
            + 40.0 * paid("bays", batteries - 4 + stations)
        )


def test_what_is_owned_is_there_for_all_areas() -> None:
    """Five chargers and three stations are there, whichever area needs them. By hand."""
    owned = batsim.changed(TWO_AREAS, {"layouts.rooms.owned": {"electronic_iuia": 5, "stations": 3}})
    names = ("batteries of north", "chargers of north", "batteries of south", "stations of south")
    space = Space(owned, "rooms", ranges_of(owned, "rooms", dict.fromkeys(names, (1, 9))))
    for north, chargers, south, stations in ((6, 4, 5, 1), (7, 2, 6, 2), (8, 3, 7, 1), (8, 1, 6, 2)):
        bays = north - 4 + 2 + south - 3 + stations
        assert bought(space, (north, chargers, south, stations)) == pytest.approx(
            1000.0 * north + 800.0 * south + 200.0 * max(0, chargers + 3 - 5) + 100.0 * max(0, 2 + stations - 3)
            + 40.0 * bays
        )  # fmt: skip


def test_uneven_attendants_are_paid_shift_by_shift() -> None:
    """One late costs the hours of that shift, and one early of that; without attendants nobody is paid."""
    uneven = changed(KESTREL, HOIST, attendants={"room early": 3, "room late": 2, "room night": 0})
    without = tuple(choice for choice in choices_of(uneven, HOIST) if choice.options[1][0].kind == WITHOUT_ATTENDANTS)
    space = Space(uneven, HOIST, ranges_of(uneven, HOIST, {"attendants": (0, 4)}), without)
    units = UnitCosts(uneven, HOIST)
    early, late = (units.by_counted[Counted(ATTENDANTS, f"room {shift}")].per_year for shift in ("early", "late"))
    stated = bought(space, (3, 2, 0, 0))
    assert stated - bought(space, (2, 2, 0, 0)) == pytest.approx(early)
    assert bought(space, (3, 4, 0, 0)) - stated == pytest.approx(2 * late)
    assert stated - bought(space, (3, 2, 0, 1)) == pytest.approx(3 * early + 2 * late)


def test_levers_cost_nothing_that_is_bought() -> None:
    """But for attendants who are done without."""
    space = space_of("kestrel-lane", ROLLERS)
    for position, choice in enumerate(space.choices, len(space.ranges)):
        for way, (lever,) in enumerate(choice.options[1:], 1):
            turned = space.turned(space.stated, {position: way})
            same = bought(space, turned) == pytest.approx(bought(space, space.stated))
            assert same is (lever.kind != WITHOUT_ATTENDANTS)


def test_unlimited_bays_cost_nothing() -> None:
    space = room(changed(SMALL, "room", bays="unlimited"), given=RANGES)
    assert [line.unit.thing for line in space.cost_lines(space.made((6, 2, 1)))] == ["battery", "charger", "station"]
