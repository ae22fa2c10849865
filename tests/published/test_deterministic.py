"""Schedules without chance, worked by hand: the record and the measures must agree exactly."""

import re

import pytest

import batsim
from batsim.views.charts.palette import STATE_LOOKS

THREAD = "Issue thread of an open-source queueing library"


def _whole(message):
    return f"^{re.escape(message)}$"


def _measures(scenario, layout="one", **times):
    """Every measure of a run without chance."""
    runs = batsim.run(scenario, batsim.Settings(layouts=layout, replications=1, workers=1, **times))
    return {name: values[0] for name, values in runs.values[layout].items()}


def _waits(exchanges):
    return (exchanges["start_min"] - exchanges["joined_min"]).tolist()


# 8 h work, 8 h charge, 8 h cool-down


@pytest.mark.worked_out(where="(8 + 8 + 8) / 8 = 3 batteries per truck")
def test_three_batteries_are_enough(case, record):
    """From 24 h on a battery becomes ready at the very instant at which it is asked for."""
    scenario = case("eights")

    exchanges = record(scenario, "three").frame("exchanges")

    assert exchanges["start_min"].tolist() == [480.0 * number for number in range(1, 30)]
    assert _waits(exchanges) == [0.0] * 29
    measures = _measures(scenario, "three")
    assert measures["availability_share"] == 1.0
    assert measures["exchanges_per_day"] * 10.0 == pytest.approx(29.0, rel=1e-12)
    assert measures["waited_share"] == 0.0
    assert measures["found_none_ready_share"] == 0.0


@pytest.mark.worked_out(where="the release rule matters")
@pytest.mark.parametrize(
    ("release", "starts_h", "waits_h"),
    [
        ("at_arrival", [8, 24, 32, 48, 56, 72], [0, 8, 0, 8, 0, 8]),
        ("with_exchange", [8, 24, 40, 56, 72, 88], [0, 8, 8, 8, 8, 8]),
    ],
)
def test_two_batteries_and_when_the_discharged_one_goes_on_charge(case, record, release, starts_h, waits_h):
    """16 h of work in 24 h when it is pulled out on arrival, 8 h in 16 h when it leaves with the exchange."""
    scenario = case("eights", {"rules": {"discharged_on_charge": release}})

    exchanges = record(scenario, "two").frame("exchanges").head(6)

    assert exchanges["start_min"].tolist() == [60.0 * hour for hour in starts_h]
    assert _waits(exchanges) == [60.0 * hour for hour in waits_h]


@pytest.mark.worked_out(where="8 / (8 + 8 + 8), pulled out on arrival")
def test_one_battery_works_when_it_is_drawn_out_on_arrival(case, record):
    scenario = case("eights_one_battery")

    exchanges = record(scenario).frame("exchanges")

    assert _waits(exchanges)[:4] == [960.0] * 4


@pytest.mark.worked_out(where="deadlock when it leaves with the exchange")
def test_one_battery_deadlocks_when_it_leaves_with_the_exchange(case):
    """The truck would wait for ever; the scenario is refused when it is read."""
    scenario = case("eights_one_battery")

    message = (
        f"{scenario.file}: 1 problem\n"
        f"  {scenario.file}:6:59: layouts.one.batteries: would deadlock: without a spare battery of type 'plain' no "
        f"exchange can ever start; have at least 2, or set rules.discharged_on_charge to at_arrival (got 1)"
    )
    with pytest.raises(batsim.ScenarioError, match=_whole(message)):
        batsim.changed(scenario, {"rules.discharged_on_charge": "with_exchange"})


# Two trucks, one station, three batteries, minute by minute

# fmt: off
EVENTS = [
    (60, "arrive", "T1", "b1"), (60, "exchange_start", "T1", "b3"), (65, "arrive", "T2", "b2"),
    (70, "exchange_end", "T1", "b3"), (70, "charge_start", "b1"), (170, "arrive", "T1", "b3"),
    (220, "charge_end", "b1"), (220, "ready", "b1"), (220, "exchange_start", "T2", "b1"),
    (230, "exchange_end", "T2", "b1"), (230, "charge_start", "b2"), (330, "arrive", "T2", "b1"),
    (380, "charge_end", "b2"), (380, "ready", "b2"), (380, "exchange_start", "T1", "b2"),
    (390, "exchange_end", "T1", "b2"), (390, "charge_start", "b3"), (490, "arrive", "T1", "b2"),
    (540, "charge_end", "b3"), (540, "ready", "b3"), (540, "exchange_start", "T2", "b3"),
    (550, "exchange_end", "T2", "b3"), (550, "charge_start", "b1"), (650, "arrive", "T2", "b3"),
    (700, "charge_end", "b1"), (700, "ready", "b1"), (700, "exchange_start", "T1", "b1"),
    (710, "exchange_end", "T1", "b1"), (710, "charge_start", "b2"),
]
# fmt: on


def _events(record):
    """Tell a record as the list of its events before the horizon."""

    def truck(row):
        return f"T{int(row.truck) + 1}"

    def battery(number):
        return f"b{int(number) + 1}"

    events = []
    for row in record.frame("exchanges").itertuples():
        events += [
            (row.joined_min, "arrive", truck(row), battery(row.discharged)),
            (row.start_min, "exchange_start", truck(row), battery(row.charged)),
            (row.truck_free_min, "exchange_end", truck(row), battery(row.charged)),
        ]
    for row in record.frame("charges").itertuples():
        events += [
            (row.start_min, "charge_start", battery(row.battery)),
            (row.end_min, "charge_end", battery(row.battery)),
        ]
    states = record.frame("battery_states")
    ready = states[(states["state"] == "ready") & (states["from_min"] > 0.0)]
    events += [(row.from_min, "ready", battery(row.battery)) for row in ready.itertuples()]
    return sorted(event for event in events if event[0] < record.facts.horizon_min)


@pytest.mark.worked_out(where="two trucks, one station, three batteries, minute by minute")
def test_every_event_of_two_trucks_and_three_batteries(case, record):
    assert _events(record(case("two_trucks_three_batteries"))) == sorted(EVENTS)


@pytest.mark.worked_out(where="waits of both trucks; the last one ends after the run")
def test_waits_of_two_trucks_and_three_batteries(case, record):
    exchanges = record(case("two_trucks_three_batteries", {"simulation.length": "15 h"})).frame("exchanges")

    waits = {
        truck: list(zip(rows["joined_min"], rows["start_min"] - rows["joined_min"], strict=True))[:3]
        for truck, rows in exchanges.groupby("truck")
    }
    assert waits == {
        0: [(60.0, 0.0), (170.0, 210.0), (490.0, 210.0)],
        1: [(65.0, 155.0), (330.0, 210.0), (650.0, 210.0)],
    }


@pytest.mark.worked_out(where="29 events before 720 min, one truck in line and one on charge")
def test_unfinished_work_stays_in_the_record(case, record):
    """At 720 min truck 2 waits for a battery since 650 min, and battery 2 is on charge until 860 min."""
    made = record(case("two_trucks_three_batteries"))

    exchanges, charges = made.frame("exchanges"), made.frame("charges")
    unfinished = exchanges[~exchanges["finished"]]
    assert unfinished[["truck", "discharged", "joined_min"]].to_numpy().tolist() == [[1.0, 2.0, 650.0]]
    assert unfinished["start_min"].isna().all()
    on_charge = charges[~charges["finished"]]
    assert on_charge[["battery", "start_min", "end_min"]].to_numpy().tolist() == [[1.0, 710.0, 860.0]]


# fmt: off
LINES = [
    [(0, 60, "in truck"), (60, 70, "in transfer"), (70, 220, "on charge"), (220, 230, "in transfer"),
     (230, 540, "in truck"), (540, 550, "in transfer"), (550, 700, "on charge"), (700, 710, "in transfer"),
     (710, 720, "in truck")],
    [(0, 220, "in truck"), (220, 230, "in transfer"), (230, 380, "on charge"), (380, 390, "in transfer"),
     (390, 700, "in truck"), (700, 710, "in transfer"), (710, 720, "on charge")],
    [(0, 60, "ready"), (60, 70, "in transfer"), (70, 380, "in truck"), (380, 390, "in transfer"),
     (390, 540, "on charge"), (540, 550, "in transfer"), (550, 720, "in truck")],
]
# fmt: on


@pytest.mark.worked_out(where="as it is drawn, battery by battery")
def test_the_chart_of_two_trucks_and_three_batteries(case, record):
    """Bars of the life lines are those of the hand solution: an exchange takes 10 min, a charge 150."""
    ax = batsim.life_line_chart(record(case("two_trucks_three_batteries")), [0, 1, 2], 0.0, 720.0)
    states = {hatch: state for state, (_, hatch, _) in STATE_LOOKS.items()}
    drawn = [[], [], []]
    for bars in ax.collections:
        for box in bars.get_paths():
            (left, low), (right, high) = box.vertices.min(axis=0), box.vertices.max(axis=0)
            drawn[round((low + high) / 2.0)].append((left, right, states[bars.get_hatch() or ""]))

    assert [sorted(row) for row in drawn] == LINES
    assert [label.get_text() for label in ax.get_yticklabels()] == ["1", "2", "3"]


@pytest.mark.worked_out(where="as it is drawn, trucks in line")
def test_the_chart_of_trucks_that_wait(case, record):
    """Truck 2 waits from 65 min on, both from the second arrival of truck 1 until battery 1 is ready, and so on."""
    figure = batsim.room_chart(record(case("two_trucks_three_batteries")), 0.0, 720.0)
    (waiting,) = [bars for bars in figure.axes[0].collections if bars.get_label() == "waits for a battery"]
    minutes = (62.0, 67.0, 160.0, 180.0, 225.0, 325.0, 350.0, 384.0, 645.0, 660.0, 705.0)
    in_line = [
        sum(path.contains_point((minute, truck - 0.5)) for path in waiting.get_paths() for truck in (1, 2, 3))
        for minute in minutes
    ]

    assert in_line == [0, 1, 1, 2, 1, 1, 2, 1, 1, 2, 1]


# Regular arrivals and bursts


@pytest.mark.worked_out(where="D/D/c: wait of the i-th is 4 i with one station, 0 with two")
@pytest.mark.parametrize(("layout", "gap_min", "last_min"), [("one", 4.0, 800.0), ("two", 0.0, 484.0)])
def test_regular_arrivals(case, record, layout, gap_min, last_min):
    """80 trucks, one every 6 min from the start, 10 min each."""
    scenario = case("arrivals_every_6_min")

    exchanges = record(scenario, layout).frame("exchanges")

    assert _waits(exchanges) == [gap_min * number for number in range(80)]
    assert exchanges["end_min"].max() == last_min
    assert (exchanges["truck_free_min"] - exchanges["start_min"]).sum() == 800.0


# Attendants, watering and the end of the run


@pytest.mark.worked_out(where="break 120-135 min, trucks at 118 and 125 min, exchange 10 min")
@pytest.mark.parametrize(
    ("rule", "first", "second"),
    [
        ("finish", [118.0, 128.0], [135.0, 145.0]),
        ("finish_then_full_break", [118.0, 128.0], [143.0, 153.0]),
        ("pause", [118.0, 143.0], [143.0, 153.0]),
        ("put_back", [118.0, 145.0], [145.0, 155.0]),
    ],
)
def test_a_break_in_the_middle_of_an_exchange(case, record, rule, first, second):
    """Honest rules, each with its own answer; the one that begins the step again was added by hand here."""
    scenario = case("break_in_an_exchange", {"rules": {"at_break": rule}})

    exchanges = record(scenario).frame("exchanges")

    assert exchanges[["start_min", "truck_free_min"]].to_numpy().tolist() == [first, second]
    down_min = (exchanges["truck_free_min"] - exchanges["joined_min"]).sum()
    lost_share = 1.0 - _measures(scenario)["availability_share"]
    assert lost_share * 2.0 * 1440.0 == pytest.approx(down_min, rel=1e-9)


@pytest.mark.worked_out(where="12 floor(60 / 5) = 144 waterings, 36 h; 720 exchanges, 72 h")
def test_watering_and_labour_of_sixty_days(case, record):
    """Twelve batteries have a charge a day each, and water after every fifth."""
    scenario = case("watering_every_fifth_charge")

    made = record(scenario)

    charges, waterings, exchanges = (made.frame(table) for table in ("charges", "waterings", "exchanges"))
    assert charges["battery"].value_counts().tolist() == [60] * 12
    assert waterings["battery"].value_counts().tolist() == [12] * 12
    assert len(exchanges) == 720
    assert exchanges["finished"].all()
    hours = made.frame("work").groupby("task")["hands_on_min"].sum() / 60.0
    assert hours.to_dict() == {"exchange": 72.0, "watering": 36.0}


@pytest.mark.published(
    source=THREAD, where="CiwPython/Ciw issue 260 (user expected 24, library listed 22 completed records)"
)
def test_what_counts_at_the_end_of_the_run(case, record):
    """What falls on the horizon is not run: 23 trucks came, 22 have left, one is under way."""
    scenario = case("arrivals_every_hour")

    exchanges = record(scenario).frame("exchanges")

    assert exchanges["joined_min"].tolist() == [60.0 * hour for hour in range(1, 24)]
    assert exchanges["finished"].tolist() == [True] * 22 + [False]
    measures = _measures(scenario)
    assert measures["wait_min_per_exchange"] == 0.0
    assert measures["trucks_waiting_mean"] == 0.0
