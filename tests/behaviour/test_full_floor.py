"""Where bays, stations and devices stand: times of exchanges from ways that are worked out by hand."""

from itertools import pairwise

import pytest

import batsim
from batsim.record.record import Record
from batsim.record.words import NO_BAY
from tests.behaviour.ledger import room, rows_of, run

CASE = "small_room.yaml"
TICKS = 1e-5
"""Every way is rounded to ticks of 2**-20 min. [min]"""
HOIST = {"held": 1, "loaded": "60 m/min", "empty": "120 m/min", "lift": "2 m/min"}
STEPS = [
    {"step": "drive up", "by": "driver", "time": "1 min"},
    {
        "step": "take out",
        "by": "attendant",
        "device": "hoist",
        "time": "9 min",
        "at_ends": "1 min",
        "ways": [{"from": "where_it_stands", "to": "station"}, {"from": "station", "to": "set_down", "carrying": 1}],
    },
    {
        "step": "bring",
        "by": "attendant",
        "device": "hoist",
        "time": "9 min",
        "at_ends": "1 min",
        "ways": [{"from": "set_down", "to": "ready_bay"}, {"from": "ready_bay", "to": "station", "carrying": 1}],
    },
    {"step": "drive off", "by": "driver", "time": "1 min"},
    {
        "step": "put away",
        "by": "attendant",
        "device": "hoist",
        "time": "9 min",
        "at_ends": "1 min",
        "truck": "gone",
        "ways": [{"from": "station", "to": "set_down"}, {"from": "set_down", "to": "discharged_bay", "carrying": 1}],
    },
]
"""4 min at the ends until the truck leaves, 1 more until the discharged battery is in its bay."""
ROW = {"at": ["0 m", "10 m"], "pitch": "3 m"}


def floor_room(
    asked: list[int],
    changes: dict[str, object] | None = None,
    batteries: int = 2,
    floor: object = None,
    **hoist: object,
) -> Record:
    """Run of the small room with a hoist, a row of bays 10 m behind the stations, and trucks that ask once."""
    stated: dict[str, object] = {
        "trucks[0].count": len(asked),
        "trucks[0].first_run": [f"{each} min" for each in asked],
        "trucks[0].run_time": "500 h",
        "handling": {
            "by hoist": {
                "title": "A hoist",
                "bay": "spot",
                "connect_time": "0 min",
                "set_down_bays": 1,
                "devices": {"hoist": {**HOIST, **hoist}},
                "steps": STEPS,
            }
        },
        "layouts.room": {
            "handling": "by hoist",
            "stations": 1,
            "batteries": len(asked) + batteries,
            "chargers": "20 x electronic_iuia",
            "bays": 4,
            "attendants": "unlimited",
            "picking": "nearest",
            "floor": floor or {"rows": [ROW], "stations": {"at": ["0 m", "0 m"], "pitch": "9 m"}},
        },
    }
    return run(room({**stated, **(changes or {})}, CASE))


def spans(record: Record) -> list[tuple[float, float]]:
    """Minutes from the start of each exchange to the truck's leaving and to the end."""
    rows = sorted(rows_of(record, "exchanges"), key=lambda row: (row["start_min"], row["truck"]))
    return [(row["truck_free_min"] - row["start_min"], row["end_min"] - row["start_min"]) for row in rows]


def bays(record: Record) -> list[int]:
    """Bays of the discharged batteries, in the order of their trucks' exchanges."""
    bay_of = {row["battery"]: row["bay"] for row in rows_of(record, "charges")}
    rows = sorted(rows_of(record, "exchanges"), key=lambda row: (row["start_min"], row["truck"]))
    return [bay_of[row["discharged"]] for row in rows]


def test_time_follows_from_empty_and_loaded_ways_along_aisles():
    """Ready batteries at 10 and 13 m, the nearest empty bays at 16 and 19 m; the hoist is at the station first.

    The first: out 0, bring 10 m empty and 10 m loaded, put away 16 m loaded. The second begins with the 16 m that
    the hoist has to come back, takes the battery at 13 m, and the bay at 10 m is the nearest empty one now.
    """
    record = floor_room([0, 100])
    first = 4.0 + 10.0 / 120.0 + 10.0 / 60.0
    second = 4.0 + 16.0 / 120.0 + 13.0 / 120.0 + 13.0 / 60.0
    expected = [(first, first + 1.0 + 16.0 / 60.0), (second, second + 1.0 + 10.0 / 60.0)]
    assert spans(record) == [pytest.approx(each, abs=TICKS) for each in expected]
    assert [row["metres"] for row in rows_of(record, "devices")] == pytest.approx([36.0, 52.0])
    assert bays(record) == [2, 0]


def test_overhead_both_distances_go_at_once():
    """From the station all bays within 10 m across are 10 m away; so they are taken by their numbers."""
    record = floor_room([0, 100], path="overhead")
    first = 4.0 + 10.0 / 120.0 + 10.0 / 60.0
    second = 4.0 + 10.0 / 120.0 + 10.0 / 120.0 + 10.0 / 60.0
    expected = [(first, first + 1.0 + 10.0 / 60.0), (second, second + 1.0 + 10.0 / 60.0)]
    assert spans(record) == [pytest.approx(each, abs=TICKS) for each in expected]


def test_levels_take_time_up_and_down():
    """One bay below the other, 3 m apart at 2 m/min: 1.5 min up or down, once for each way to the upper one."""
    floor = {
        "rows": [{**ROW, "bays": 1, "levels": 2, "level_height": "3 m"}],
        "stations": {"at": ["0 m", "0 m"]},
    }
    record = floor_room([0, 200], {"layouts.room.bays": 2}, batteries=1, floor=floor)
    low = 4.0 + 10.0 / 120.0 + 10.0 / 60.0
    high = 4.0 + (1.5 + 10.0 / 120.0) + 2 * 1.5 + 10.0 / 120.0 + 10.0 / 60.0
    expected = [(low, low + 1.0 + 1.5 + 10.0 / 60.0), (high, high + 1.0 + 10.0 / 60.0)]
    assert spans(record) == [pytest.approx(each, abs=TICKS) for each in expected]
    assert bays(record) == [1, 0]


def test_each_station_takes_the_nearest_and_the_device_that_stands_nearest():
    """Stations at 0 and 9 m, bays at 0 to 12 m: ready at 0, 6 and 9 m, empty at 3 and 12 m.

    Both trucks take the battery right behind them and the empty bay beside it, each with one of the hoists; both
    hoists stand at the first station at the start. Then each is left at a bay 13 m from its own station.
    """
    changes = {"layouts.room.bays": 5, "layouts.room.stations": 2, "layouts.room.devices": {"hoist": 2}}
    record = floor_room([0, 0, 200, 200], changes, batteries=3)
    free = 4.0 + 10.0 / 120.0 + 10.0 / 60.0
    late = free + 9.0 / 120.0
    expected = [(free, free + 1.0 + 13.0 / 60.0), (late, late + 1.0 + 13.0 / 60.0)]
    assert spans(record)[:2] == [pytest.approx(each, abs=TICKS) for each in expected]
    assert bays(record)[:2] == [1, 4]
    assert [row["unit"] for row in rows_of(record, "devices")] == [0, 1, 0, 1]
    later = 4.0 + 13.0 / 120.0 + 13.0 / 120.0 + 13.0 / 60.0  # the nearest that are ready are 13 m away now
    assert [free for free, _ in spans(record)[2:]] == pytest.approx([later, later], abs=TICKS)


def test_of_two_hoists_the_nearer_one_comes():
    """After the first exchange one hoist is left at its bay, the other still at the station: it is taken."""
    record = floor_room([0, 100], {"layouts.room.devices": {"hoist": 2}})
    assert [row["unit"] for row in rows_of(record, "devices")] == [0, 1]
    assert spans(record)[1][0] == pytest.approx(4.0 + 13.0 / 120.0 + 13.0 / 60.0, abs=TICKS)


def test_what_is_out_of_reach_is_never_used():
    """Reach of 14 m: only the first two bays, one of them kept empty. The other battery, at 16 m, never moves."""
    record = floor_room([0, 10, 20], reach="14 m")
    rows = rows_of(record, "exchanges")
    assert {row["bay"] for row in rows_of(record, "charges")} == {0, 1}
    assert len({row["charged"] for row in rows}) == 3
    charged_min = 120.0
    for before, after in pairwise(rows):
        assert after["start_min"] == pytest.approx(before["end_min"] + charged_min, abs=TICKS)
    assert NO_BAY in {row["cause"] for row in rows_of(record, "queues")}


def test_stations_with_bays_of_their_own_all_get_batteries():
    """Two stations that share no bay: put out together at one of them, the spares would never move again."""
    changes = {"layouts.room.stations": 2, "layouts.room.devices": {"hoist": 2}}
    record = floor_room([0, 0, 300, 300], changes, reach="14 m")
    rows = rows_of(record, "exchanges")
    assert [row["start_min"] for row in rows] == [0.0, 0.0, 300.0, 300.0]
    assert sorted(row["station"] for row in rows[:2]) == [0, 1]
    assert {row["bay"] for row in rows_of(record, "charges")} == {0, 1, 2, 3}


def test_ways_do_not_count_where_no_positions_are_stated():
    record = floor_room([0], {"layouts.room.floor": None, "layouts.room.set_down_bays": 1})
    assert spans(record) == [(20.0, 29.0)]
    assert [row["metres"] for row in rows_of(record, "devices")] == [0.0]


def test_one_set_down_bay_lets_one_exchange_at_a_time():
    """Two stations, two hoists, one set-down bay: the second exchange begins when the first is all over."""
    changes = {
        "layouts.room.stations": 2,
        "layouts.room.devices": {"hoist": 2},
        "layouts.room.floor": None,
        "layouts.room.set_down_bays": 1,
    }
    rows = rows_of(floor_room([0, 0], changes), "exchanges")
    assert [row["start_min"] for row in rows] == [0.0, 29.0]


def test_too_few_set_down_bays_for_what_stands_by_are_refused():
    """The layout's own hoist takes one, what stands by takes two."""
    stands = {
        "title": "Two set down",
        "bay": "spot",
        "set_down_bays": 2,
        "steps": [{"step": "swap", "by": "attendant", "time": "5 min"}],
    }
    changes = {
        "handling.stands": stands,
        "layouts.room.standby": {"handling": "stands"},
        "layouts.room.set_down_bays": 1,
    }
    with pytest.raises(batsim.ScenarioError) as caught:
        room(changes, CASE)
    rule = "would deadlock: one exchange takes 2 (got 1)"
    assert str(caught.value).splitlines()[-1].endswith(f"layouts.room.set_down_bays: {rule}")
