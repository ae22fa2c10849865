"""What trucks, stations and devices do minute by minute: triggers, priority, own batteries, outages, demand."""

import math

import numpy as np
import pytest
from scipy import stats

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import EARLY, IN_BREAK, LEVEL, NO_BATTERY, REASONS, SHIFT_CHANGE
from batsim.scenario.reading import source_of
from tests.behaviour.ledger import by, most_at_once, room, rows_of, run
from tests.runs import record_of

CASE = "small_room.yaml"
DAY_MIN, WEEK_MIN = 1440.0, 7 * 1440.0
BREAK = {"early": {"days": "Mon-Sun", "from": "06:00", "to": "14:00", "breaks": ["09:30 for 30 min"]}}
SHIFTS = ["early", "late", "night"]


def small(changes: dict[str, object]) -> batsim.Record:
    """One week of the small room with other words."""
    return run(room(changes, CASE))


def group(name: str, first_run: object, **other: object) -> dict[str, object]:
    """One group of the small room."""
    shared = {"count": 1, "shifts": SHIFTS, "battery": "plain", "run_time": "10 h", "exchange_at": "20 %"}
    return {"group": name, **shared, "first_run": first_run, **other}


def went(record: Record, truck: int = 0) -> list[tuple[float, str]]:
    """When a truck left its work, and why."""
    rows = by("truck", rows_of(record, "exchanges"))[truck]
    return [(row["left_min"], REASONS[row["reason"]]) for row in rows]


def began(record: Record) -> dict[int, list[float]]:
    """When the exchanges of each truck began."""
    rows = by("truck", rows_of(record, "exchanges"))
    return {truck: [row["start_min"] for row in mine] for truck, mine in sorted(rows.items())}


# --- when trucks go ------------------------------------------------------------------------------------------


def test_always_goes_before_each_shift_end_spread_over_the_group():
    when = {"shift_change": "always", "before_shift_end": "20 min", "spread": "30 min"}
    record = small({"trucks[0].exchange_when": when})
    change = REASONS[SHIFT_CHANGE]
    assert went(record, 0)[:4] == [(0.0, REASONS[LEVEL]), (340.0, change), (820.0, change), (1300.0, change)]
    assert went(record, 1)[1:4] == [(325.0, change), (805.0, change), (1285.0, change)]


def test_a_turn_drawn_anew_for_every_shift_lies_evenly_in_the_time():
    """Each truck goes 20 to 50 min before the end, every day at another time; no truck has a turn of its own."""
    when = {"shift_change": "always", "before_shift_end": "20 min", "spread": {"over": "30 min", "each": "anew"}}
    site = batsim.changed(room({"trucks[0].exchange_when": when}, CASE), {"simulation.length": "20 weeks"})
    rows = [row for row in rows_of(run(site), "exchanges") if row["reason"] == SHIFT_CHANGE]
    early = {
        truck: np.array([(360.0 - row["left_min"]) % 480.0 for row in mine])
        for truck, mine in by("truck", rows).items()
    }
    for minutes in early.values():
        assert minutes.min() >= 20.0
        assert minutes.max() <= 50.0
        assert stats.kstest(minutes, stats.uniform(20.0, 30.0).cdf).pvalue > 0.001
        assert np.unique(minutes).size > 0.9 * minutes.size
    assert abs(np.corrcoef(early[0][:100], early[1][:100])[0, 1]) < 0.35


@pytest.mark.parametrize(
    ("run_time", "rule", "left", "reason"),
    [
        ("10 h", "never", 613.0, LEVEL),
        ("9 h", "if_short", 360.0, SHIFT_CHANGE),  # 49 % are left
        ("10 h", "if_short", 613.0, LEVEL),  # 54 % are left: nobody gives half a battery away
        ("5 h", "if_short", 313.0, LEVEL),  # the level comes before the first shift end
        ("1000 min", "if_short", 840.0, SHIFT_CHANGE),  # it lasts the shift from 360 on, not the one from 840 on
        ("1000 min", "always", 360.0, SHIFT_CHANGE),
    ],
)
def test_if_short_goes_at_the_last_shift_end_before_the_level(run_time: str, rule: str, left: float, reason: int):
    record = small({"trucks[0].run_time": run_time, "trucks[0].exchange_when": {"shift_change": rule}})
    assert went(record)[1] == (left, REASONS[reason])


@pytest.mark.parametrize(("run_time", "left", "reason"), [("10 h", 570.0, IN_BREAK), ("20 h", 1243.0, LEVEL)])
def test_in_breaks_goes_at_the_first_break_below_its_level(run_time: str, left: float, reason: int):
    """60 % is reached after half the run: at 313, before the break at 570; or at 643, after it."""
    changes = {"week.shifts.early": BREAK["early"], "trucks[0].exchange_when": {"in_breaks_below": "60 %"}}
    record = small({**changes, "trucks[0].run_time": run_time})
    assert went(record)[1] == (left, REASONS[reason])


def test_what_is_drawn_before_a_visit_follows_the_time_worked():
    changes = {"week.shifts.early": BREAK["early"], "trucks[0].exchange_when": {"in_breaks_below": "60 %"}}
    discharge = by("truck", rows_of(small(changes), "discharges"))[0][1]
    assert discharge["soc_to_share"] == pytest.approx(1.0 - 0.8 * (570.0 - 13.0) / 600.0, abs=1e-12)


def test_early_trucks_go_one_at_a_time():
    """Both are below 90 % after 75 min of work; the second goes when the first has come, 10 min later."""
    way = {"distance": "600 m", "speed": "60 m/min"}
    record = small({"trucks[0].exchange_when": {"early_below": "90 %"}, "trucks[0].to_room": way})
    rows = by("truck", rows_of(record, "exchanges"))
    first, second = rows[0][1], rows[1][1]
    below_min = 10.0 + 13.0 + 10.0 + 75.0
    assert (first["left_min"], first["joined_min"], first["reason"]) == (below_min, below_min + 10.0, EARLY)
    assert (second["left_min"], second["joined_min"], second["reason"]) == (below_min + 10.0, below_min + 20.0, EARLY)


def test_early_trucks_do_not_go_while_any_truck_waits():
    """Below 90 % at 88, but a truck of another type waits from 50 until its battery is ready at 158."""
    groups = [
        group("one", "0 min", exchange_when={"early_below": "90 %"}),
        group("two", ["20 min", "50 min"], battery="other", count=2),
    ]
    plain = source_of(room({}, CASE)).at(("batteries", "plain"))
    record = small({"trucks": groups, "batteries.other": plain, "layouts.room.batteries": {"plain": 5, "other": 3}})
    assert began(record)[2][0] == 20.0 + 138.0
    assert went(record)[1] == (158.0, REASONS[EARLY])


def test_a_truck_that_is_never_called_early_goes_at_its_level():
    """Both stations are taken out of use from 60 on: no exchange could start before its level comes."""
    outage = {"thing": "station", "units": 2, "from": "week 1 Mon 01:00", "for": "20 h"}
    record = small({"trucks[0].exchange_when": {"early_below": "90 %"}, "layouts.room.out": [outage]})
    assert went(record)[1] == (613.0, REASONS[LEVEL])


def test_early_below_all_of_the_charge_is_refused():
    """Else a truck would go again as soon as it is back, with no exchange time at the very same minute."""
    with pytest.raises(batsim.ScenarioError) as caught:
        room({"trucks[0].exchange_when": {"early_below": "100 %"}}, CASE)
    rule = "must lie below 100 %; else a truck would go again as soon as it is back (got 100 %)"
    assert str(caught.value).splitlines()[-1].endswith(f"trucks[0].exchange_when.early_below: {rule}")


# --- who gets a battery --------------------------------------------------------------------------------------


def test_the_reserve_is_for_the_shift_change():
    """Two spares, one of them kept. At 100 one is ready: the truck waits until 138, the next one longer still.

    The truck of the shift change comes at 200 and passes it. It is served when two are ready again, at 338.
    """
    groups = [
        group("mid", ["100 min", "110 min"], count=2, run_time="100 h"),
        group("change", "0 min", exchange_when={"shift_change": "always", "before_shift_end": "160 min"}),
    ]
    record = small({"trucks": groups, "layouts.room.batteries": 5, "layouts.room.reserve_for_shift_change": 1})
    starts = began(record)
    assert (starts[0][0], starts[1][0], starts[2][:2]) == (138.0, 338.0, [0.0, 200.0])
    causes = {row["from_min"]: row["cause"] for row in rows_of(record, "queues")}
    assert causes[100.0] == NO_BATTERY


def test_own_batteries_need_a_spare_beyond_the_reserve():
    changes = {
        "trucks[0].own_batteries": True,
        "trucks[0].exchange_when": {"shift_change": "always"},
        "layouts.room.batteries": 4,
        "layouts.room.reserve_for_shift_change": 1,
    }
    with pytest.raises(batsim.ScenarioError) as caught:
        room(changes, CASE)
    rule = "must be below 1, the spare batteries that each truck with 'plain' keeps of its own (got 1)"
    assert str(caught.value).splitlines()[-1].endswith(f"layouts.room.reserve_for_shift_change: {rule}")


def test_priority_goes_before_the_order_of_coming():
    """One station, taken until 13; then those who wait by priority, not as they came."""
    groups = [
        group(f"priority {number}", first, priority=number)
        for number, first in ((1, "0 min"), (3, "1 min"), (2, "2 min"))
    ]
    groups.append(group("late comer", "3 min", priority=1))
    record = small({"trucks": groups, "layouts.room.stations": 1, "layouts.room.batteries": 20})
    assert [starts[0] for starts in began(record).values()] == [0.0, 39.0, 26.0, 13.0]


def test_own_batteries_never_change_trucks():
    changes = {"trucks[0].own_batteries": True, "trucks[0].run_time": "3 h", "layouts.room.batteries": 5}
    record = small(changes)
    rows = by("truck", rows_of(record, "exchanges"))
    mine = [
        {row["discharged"] for row in rows[truck]} | {row["charged"] for row in rows[truck]} - {-1} for truck in (0, 1)
    ]
    assert [len(each) for each in mine] == [3, 2]
    assert not mine[0] & mine[1]


# --- what is out of use --------------------------------------------------------------------------------------


def test_standby_is_used_exactly_while_the_own_device_is_out():
    """Out from 120 on, but in use until 123; back at 180. The standby takes 30 min, so its trucks tell."""
    means = {
        "title": "Another way",
        "bay": "bay",
        "devices": {"cart": 1},
        "steps": [{"step": "swap", "by": "attendant", "device": "cart", "time": "30 min"}],
    }
    changes = {
        "trucks": [group("trucks", {"first": "5 min", "every": "20 min"}, count=12)],
        "layouts.room.batteries": 30,
        "layouts.room.devices": {"cart": 1},
        "handling.another way": means,
        "layouts.room.standby": {"handling": "another way", "devices": {"cart": 3}},
        "layouts.room.out": [{"thing": "cart", "from": "week 1 Mon 02:00", "for": "60 min"}],
        "layouts.room.stations": 5,
    }
    record = small(changes)
    (outage,) = rows_of(record, "outages")
    assert (outage["from_min"], outage["to_min"]) == (123.0, 180.0)
    rows = rows_of(record, "exchanges")[:12]
    assert [row["standby"] for row in rows] == [int(120.0 <= row["start_min"] < 180.0) for row in rows]
    assert sum(row["standby"] for row in rows) == 3
    assert all(row["truck_free_min"] - row["start_min"] == (30.0 if row["standby"] else 13.0) for row in rows)


def test_what_stands_by_begins_when_the_own_device_fails_in_use():
    """The one cart is held until 18 and fails at 5: the second truck need not wait for it."""
    standby = {
        "title": "Another way",
        "bay": "bay",
        "steps": [{"step": "swap", "by": "attendant", "time": "30 min"}],
    }
    changes = {
        "layouts.room.devices": {"cart": 1},
        "handling.another way": standby,
        "layouts.room.standby": {"handling": "another way"},
        "layouts.room.out": [{"thing": "cart", "from": "week 1 Mon 00:05", "for": "60 min"}],
    }
    record = small(changes)
    assert [starts[0] for starts in began(record).values()] == [0.0, 5.0]
    assert rows_of(record, "outages")[0]["from_min"] == 18.0


def test_a_station_that_fails_finishes_its_truck_first():
    """It fails after 50 min in use: out from 58, when its truck leaves, to 88. The next truck waits for that."""
    changes = {
        "trucks": [group("trucks", ["45 min", "60 min"], count=2)],
        "layouts.room.stations": 1,
        "layouts.room.breakdowns": {"station": {"every": "50 min", "repair": "30 min"}},
    }
    record = small(changes)
    outages = [(row["from_min"], row["to_min"]) for row in rows_of(record, "outages")]
    assert outages[:3] == [(58.0, 88.0), (138.0, 168.0), (218.0, 248.0)]
    assert [starts[0] for starts in began(record).values()] == [45.0, 88.0]


def test_a_station_out_for_two_reasons_serves_its_truck_first():
    """Both begin while a truck is there until 13; it is back when the longer one is over."""
    out = [{"thing": "station", "from": f"week 1 Mon 00:0{n}", "for": f"{20 + 20 * n} min"} for n in (4, 8)]
    changes = {"trucks": [group("trucks", ["0 min", "30 min"], count=2)], "layouts.room.stations": 1}
    record = small({**changes, "layouts.room.out": out})
    assert [(row["from_min"], row["to_min"]) for row in rows_of(record, "outages")] == [(13.0, 104.0), (13.0, 188.0)]
    assert began(record)[1][0] == 188.0


def test_availability_is_time_between_failures_over_the_cycle():
    """Ten stations that nobody needs: 500 / (500 + 100), in the 99.9 % interval of a renewal process."""
    law = {"every": {"mean": "500 min", "law": "exponential"}, "repair": {"mean": "100 min", "law": "exponential"}}
    changes = {
        "trucks": [group("trucks", "100000 h", run_time="100000 h")],
        "layouts.room.stations": 10,
        "layouts.room.breakdowns": {"station": law},
    }
    record = run(room(changes, CASE), weeks=120.0)
    horizon = record.facts.horizon_min
    lost = sum(min(row["to_min"], horizon) - row["from_min"] for row in rows_of(record, "outages"))
    availability, cycles = 1.0 - lost / (10.0 * horizon), 10.0 * horizon / 600.0
    half_width = 3.29 * (5.0 / 6.0) * (1.0 / 6.0) * math.sqrt(2.0 / cycles)
    assert half_width < 0.005
    assert abs(availability - 5.0 / 6.0) < half_width


def test_chargers_out_of_use_charge_nothing():
    """Two chargers, one out on Tuesday; the one that is charging at midnight ends its charge first."""
    out = [{"thing": "electronic_iuia", "from": "week 1 Tue 00:00", "for": "24 h"}]
    changes = {"trucks[0].run_time": "2 h", "layouts.room.chargers": "2 x electronic_iuia", "layouts.room.out": out}
    record = small(changes)
    (outage,) = rows_of(record, "outages")
    assert DAY_MIN <= outage["from_min"] < DAY_MIN + 120.0
    assert outage["to_min"] == 2 * DAY_MIN
    stays = [(row["connected_min"], row["end_min"], 1.0) for row in rows_of(record, "charges") if row["end_min"] > 0.0]
    assert most_at_once([each for each in stays if outage["from_min"] <= each[0] < outage["to_min"]]) == 1.0
    assert most_at_once([each for each in stays if each[0] >= outage["to_min"]]) == 2.0


# --- demand --------------------------------------------------------------------------------------------------


def test_demand_of_a_week_shortens_its_discharges():
    record = run(room({"demand": {"weeks": {"1": "200 %", "3": "50 %"}}, "trucks[0].count": 1}, CASE), weeks=3.0)
    lengths = [(row["start_min"], row["end_min"] - row["start_min"]) for row in rows_of(record, "discharges")][1:]
    assert {length for start, length in lengths if start < WEEK_MIN} == {300.0}
    assert {length for start, length in lengths if WEEK_MIN <= start < 2 * WEEK_MIN} == {600.0}
    assert {length for start, length in lengths if start >= 2 * WEEK_MIN} == {1200.0}


def test_demand_of_a_week_scales_power():
    """A shift belongs to the day that holds its middle: week 2 begins with the night shift of Sunday 22:00."""
    stated = source_of(room({}, CASE)).at(("trucks", 0))
    del stated["run_time"]
    changes = {"trucks": [{**stated, "duty": {"mean_power": "3 kW", "between_trucks": "0 %", "between_shifts": "0 %"}}]}
    record = run(room({**changes, "demand": {"weeks": {"2": "150 %"}}}, CASE), weeks=2.0)
    begins_min, ends_min = WEEK_MIN - 120.0, 2.0 * WEEK_MIN - 120.0
    discharges = [row for row in rows_of(record, "discharges") if row["start_min"] > 0.0 and row["end_min"] < ends_min]
    for row in discharges:
        before_min = max(0.0, min(row["end_min"], begins_min) - row["start_min"])
        after_min = max(0.0, row["end_min"] - max(row["start_min"], begins_min))
        assert row["drawn_kwh"] == pytest.approx((3.0 * before_min + 4.5 * after_min) / 60.0)
    assert any(row["start_min"] < begins_min < row["end_min"] for row in discharges)


def test_a_growing_fleet_counts():
    grown = room(
        {"trucks[0].count": 10, "layouts.room.batteries": 30, "demand": {"fleet_growth": "10 %", "years": 2}}, CASE
    )
    assert grown.trucks[0].count == 12
    assert run(grown).facts.trucks == 12
    assert batsim.changed(grown, {"demand.years": 3}).trucks[0].count == 13


# --- all together --------------------------------------------------------------------------------------------


def test_no_exchange_time_and_endless_batteries_with_every_trigger():
    """Going all the time costs nothing then, and comes to an end."""
    when = {"shift_change": "always", "spread": "30 min", "in_breaks_below": "100 %", "early_below": "99 %"}
    changes = {
        "week.shifts.early": BREAK["early"],
        "trucks[0].exchange_when": when,
        "trucks[0].count": 5,
        "layouts.room.batteries": 500,
        "layouts.room.stations": 5,
        "handling.'by hand'.steps": [{"step": "swap", "by": "attendant", "device": "cart", "time": "0 min"}],
        "batteries.plain.charge_time": "0 min",
    }
    found = measure(small(changes))
    assert found["availability_share"] == 1.0
    assert found["exchanges_per_day"] > 500.0


def test_all_times_twice_as_long_double_all_waits():
    """One attendant round the clock, a cart, breakdowns, maintenance; shifts are the only times left as they are."""

    def waits(unit_min: int) -> tuple[float, ...]:
        def law(mean: int, cv: float) -> dict[str, object]:
            return {"mean": f"{mean * unit_min} min", "cv": cv}

        always = {"always": {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}}
        steps = [
            {"step": "swap", "by": "attendant", "device": "cart", "time": law(6, 0.5)},
            {"step": "put away", "by": "attendant", "device": "cart", "time": law(4, 0.3), "truck": "gone"},
        ]
        changes = {
            "week.shifts": always,
            "trucks": [group("trucks", None, count=12, run_time=law(120, 0.6), shifts=["always"])],
            "handling.'by hand'.steps": steps,
            "batteries.plain.charge_time": law(60, 0.2),
            "batteries.plain.cool_down": f"{20 * unit_min} min",
            "batteries.plain.inspection": {"every": f"{300 * unit_min} min", "time": law(5, 0.3)},
            "layouts.room.batteries": 18,
            "layouts.room.devices": {"cart": 1},
            "layouts.room.attendants": {"always": 2},
            "layouts.room.breakdowns": {"cart": {"every": law(200, 1.0), "repair": law(20, 1.0)}},
        }
        record = run(room(changes, CASE), weeks=float(unit_min))
        rows = rows_of(record, "exchanges")
        return tuple(row["start_min"] - row["joined_min"] for row in rows if not math.isnan(row["start_min"]))

    once, twice = waits(1), waits(2)
    assert sum(once) > 100.0
    assert 2.0 * np.array(once) == pytest.approx(np.array(twice), abs=1e-3)


def test_one_battery_type_in_bay_of_two_waits_no_longer():
    """Two types of half the size each keep their own spares; together the same batteries serve everyone sooner."""
    kind = source_of(room({}, CASE)).at(("batteries", "plain"))
    law = {"mean": "5 h", "law": "exponential"}

    def mean_wait(first: str, second: str, counts: dict[str, int], replication: int) -> float:
        groups = [group("one", None, count=6, run_time=law, battery=first)]
        groups += [group("two", None, count=6, run_time=law, battery=second)]
        kinds = dict.fromkeys((first, second), kind)
        changes = {"trucks": groups, "batteries": kinds, "layouts.room.batteries": counts, "layouts.room.stations": 4}
        record = record_of(
            room(changes, CASE), "room", seed=7, replication=replication, length_min=8 * WEEK_MIN, warm_up_min=0.0
        )
        return measure(record)["wait_min_per_exchange"]

    gains = [
        mean_wait("half", "other half", {"half": 8, "other half": 8}, number)
        - mean_wait("whole", "whole", {"whole": 16}, number)
        for number in range(4)
    ]
    assert min(gains) > 0.0
