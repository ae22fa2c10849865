"""The room over time as step functions, and its chart: what is counted, what adds up, what is drawn."""

import re
import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise
from math import inf, nan
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

import batsim
from batsim.measures.room_course import CHARGER_STATES, room_course
from batsim.record.words import (  # fmt: skip
    ATTENDANT,
    BEING_CONNECTED,
    CAUSES,
    CHARGE_IN_TRUCK,
    COOLING,
    DRIVER,
    EXCHANGE,
    IN_TRANSFER,
    NO_ATTENDANT,
    NO_BAY,
    NO_DEVICE,
    NO_STATION,
    NOTHING,
    ON_CHARGE,
    PAUSED,
    STATES,
    TURNED_AWAY,
    WAITS_FOR_CONNECTING,
    WAITS_FOR_CURRENT,
)
from batsim.scenario.parts.week import WEEK_MIN
from batsim.views.charts.palette import CAUSE_LOOKS, STATE_LOOKS, pale
from batsim.views.charts.room_chart import room_chart, room_text
from tests.rows import made
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
DAY = 1440.0
TUESDAY = (WEEK_MIN + DAY, WEEK_MIN + 2 * DAY)
LAYOUTS = ("side rollers", "portable stands", "hoist", "in the truck")


@pytest.fixture(scope="module")
def two_trucks():
    """Record of two trucks, one station, three batteries."""
    return batsim.simulate(batsim.read(TWO_TRUCKS), "one")


@pytest.fixture(scope="module")
def runs():
    """A warm-up and two days of each layout of the reference site."""
    scenario = batsim.read(KESTREL)
    return {name: record_of(scenario, name, length_min=2 * DAY) for name in LAYOUTS}


def spans(course, counts):
    """Stretches of the same count."""
    changes = [0, *(n for n in range(1, len(counts)) if counts[n] != counts[n - 1])]
    return [(course.time_min[n], counts[n]) for n in changes]


# --- by hand ---


def test_two_trucks_and_three_batteries(two_trucks):
    """From the hand solution: exchanges of 10 min at 60, 220, 380, 540, 700; charges of 150 min after each."""
    course = room_course(two_trucks, 0.0, 720.0)

    starts = [60.0, 220.0, 380.0, 540.0, 700.0]
    busy = [(0.0, 0), *(each for start in starts for each in ((start, 1), (start + 10.0, 0)))]
    charging = [(0.0, 0), *(each for start in starts for each in ((start + 10.0, 1), (start + 160.0, 0)))][:-1]
    assert spans(course, course.stations_busy) == busy
    assert spans(course, course.chargers["giving current"]) == charging
    assert spans(course, course.batteries["in transfer"]) == [(time, 2 * count) for time, count in busy]
    assert spans(course, course.batteries["ready"]) == [(0.0, 1), (60.0, 0)]
    assert spans(course, course.waiting["battery"])[:4] == [(0.0, 0), (65.0, 1), (170.0, 2), (220.0, 1)]
    assert spans(course, course.trucks_away)[:6] == [(0.0, 0), (60.0, 1), (65.0, 2), (70.0, 1), (170.0, 2), (230.0, 1)]
    assert (course.chargers_in_all, course.stations, course.idle) == (2.0, 1.0, [])
    assert not course.attendants_on_duty.any()
    assert spans(course, course.attendants_busy) == busy


def test_trucks_waiting_by_what_they_wait_for(two_trucks):
    """Two queues wait for different things at a time; a truck that is turned away or on its way is in none."""
    area = replace(two_trucks.facts.areas[0], queues=(0, 1))
    types = two_trucks.facts.battery_types * 2
    facts = replace(two_trucks.facts, areas=(area,), battery_types=types, horizon_min=100.0)
    base = {"group": 0, "kind": EXCHANGE, "ready_found": 0, "left_min": 0}
    record = made(
        facts,
        exchanges=[
            {**base, "queue": 0, "joined_min": 10, "start_min": 50},
            {**base, "queue": 1, "joined_min": 20},
            {**base, "queue": 0, "joined_min": 30, "kind": TURNED_AWAY, "start_min": 30},
            {**base, "queue": 0, "joined_min": 40, "ready_found": nan},
        ],
        queues=[
            {"queue": 0, "cause": NO_STATION, "from_min": 10}, {"queue": 0, "cause": NO_ATTENDANT, "from_min": 25},
            {"queue": 0, "cause": NOTHING, "from_min": 50}, {"queue": 1, "cause": NO_BAY, "from_min": 20},
            {"queue": 1, "cause": NO_DEVICE, "from_min": 60},
        ],
    )  # fmt: skip

    course = room_course(record, 0.0, 100.0)

    assert spans(course, course.waiting["station"]) == [(0.0, 0), (10.0, 1), (25.0, 0)]
    assert spans(course, course.waiting["attendant"]) == [(0.0, 0), (25.0, 1), (50.0, 0)]
    assert spans(course, course.waiting["bay"]) == [(0.0, 0), (20.0, 1), (60.0, 0)]
    assert spans(course, course.waiting["device"]) == [(0.0, 0), (60.0, 1)]
    assert not course.waiting["nothing"].any()


def test_attendants_on_duty_and_busy(two_trucks):
    """People of a job count, those of drivers do not; work that goes on after duty is overtime."""
    facts = replace(
        two_trucks.facts,
        attendant_windows=((10.0, 50.0, 2), (50.0, 60.0, 0), (60.0, 80.0, 3)),
        site_windows=((20.0, 70.0),),
    )
    record = made(
        facts,
        work=[
            {"person": ATTENDANT, "task": 0, "start_min": 40, "end_min": 50, "people": 2, "overtime": 0},
            {"person": ATTENDANT, "task": 0, "start_min": 50, "end_min": 55, "people": 2, "overtime": 1},
            {"person": DRIVER, "task": 0, "start_min": 40, "end_min": 55, "people": 1, "overtime": 0},
        ],
    )

    course = room_course(record, 5.0, 100.0)

    assert spans(course, course.attendants_on_duty) == [(5.0, 0), (10.0, 2), (50.0, 0), (60.0, 3), (80.0, 0)]
    assert spans(course, course.attendants_busy) == [(5.0, 0), (40.0, 2), (50.0, 0)]
    assert spans(course, course.attendants_in_overtime) == [(5.0, 0), (50.0, 2), (55.0, 0)]
    assert course.idle == [(5.0, 20.0), (70.0, 100.0)]


def test_what_chargers_do(two_trucks):
    """One is connected, gives current, pauses, and is held while its battery cools; the other is out for a time."""
    states = [
        (10, WAITS_FOR_CONNECTING), (20, BEING_CONNECTED), (25, WAITS_FOR_CURRENT), (30, ON_CHARGE), (50, PAUSED),
        (60, ON_CHARGE), (90, COOLING), (150, IN_TRANSFER),
    ]  # fmt: skip
    record = made(
        replace(two_trucks.facts, charger_counts=(2.0,)),
        battery_states=[{"battery": 0, "state": state, "from_min": time} for time, state in states],
        chargers=[{"battery": 0, "from_min": 10, "to_min": 160}],
        outages=[{"thing": len(two_trucks.facts.things) - 1, "unit": -1, "from_min": 100, "to_min": 120}],
    )

    course = room_course(record, 0.0, 200.0)

    assert {state: spans(course, count) for state, count in course.chargers.items()} == {
        "giving current": [(0.0, 0), (30.0, 1), (50.0, 0), (60.0, 1), (90.0, 0)],
        "paused": [(0.0, 0), (50.0, 1), (60.0, 0)],
        "battery waits": [(0.0, 0), (10.0, 1), (30.0, 0)],
        "held after the charge": [(0.0, 0), (90.0, 1), (160.0, 0)],
        "out of use": [(0.0, 0), (100.0, 1), (120.0, 0)],
        "free": [(0.0, 2), (10.0, 1), (100.0, 0), (120.0, 1), (160.0, 2)],
    }


def test_spots_of_charging_in_the_truck(two_trucks):
    """A spot is taken from plugging in to the end of the charge; without an end it stays taken."""
    plugged = replace(two_trucks.facts.areas[0], in_truck=True)
    record = made(
        replace(two_trucks.facts, areas=(plugged,), chargers=("quick",), charger_counts=(inf,)),
        charges=[
            {"battery": 0, "queue": 0, "connected_min": 10, "end_min": 30},
            {"battery": 1, "queue": 0, "connected_min": 20},
        ],
        exchanges=[{"queue": 0, "kind": CHARGE_IN_TRUCK, "start_min": 10, "truck_free_min": 90, "left_min": 8}],
    )

    course = room_course(record, 0.0, 100.0)

    assert spans(course, course.stations_busy) == [(0.0, 0), (10.0, 1), (20.0, 2), (30.0, 1)]
    assert spans(course, course.trucks_away) == [(0.0, 0), (8.0, 1)]
    assert course.chargers_in_all == inf


# --- what adds up ---


@pytest.mark.parametrize("layout", LAYOUTS)
def test_states_add_up_to_all_batteries(runs, layout):
    """At every instant of the run."""
    record = runs[layout]

    course = room_course(record, 0.0, record.facts.horizon_min)

    assert len(course.time_min) > 3000
    assert (sum(course.batteries.values()) == record.facts.batteries).all()
    assert all((counts >= 0).all() for counts in (*course.batteries.values(), *course.waiting.values()))
    assert (course.chargers["giving current"] <= course.chargers_in_all).all()
    assert (course.stations_busy <= course.stations).all()


@pytest.mark.parametrize("layout", LAYOUTS)
def test_minutes_under_the_steps_are_those_of_the_tables(runs, layout):
    """Waiting, current, jobs and absence, each as an area."""
    record = runs[layout]
    course = room_course(record, 0.0, 1e9)
    end = record.facts.horizon_min
    minutes = np.diff(np.append(course.time_min, end))
    rows, charges, work = (record.columns(name) for name in ("exchanges", "charges", "work"))

    def between(start, finish, weight=1.0):
        came = ~np.isnan(start)
        return np.sum(
            ((np.minimum(np.where(np.isnan(finish), end, finish), end) - start) * weight)[came & (start < end)]
        )

    known = ~np.isnan(rows["ready_found"])
    mine = work["person"] == ATTENDANT
    jobs = between(work["start_min"][mine], work["end_min"][mine], work["people"][mine])
    assert np.sum(sum(course.waiting.values()) * minutes) == pytest.approx(
        between(rows["joined_min"][known], rows["start_min"][known])
    )
    assert np.sum((course.attendants_busy + course.attendants_in_overtime) * minutes) == pytest.approx(jobs)
    assert np.sum(course.trucks_away * minutes) == pytest.approx(between(rows["left_min"], rows["back_min"]))
    assert np.sum(course.chargers["giving current"] * minutes) == pytest.approx(
        between(charges["start_min"], charges["end_min"]), rel=1e-3
    )


def test_chargers_that_give_current_are_batteries_on_charge(runs):
    """Where current flows from the start of a charge to its end."""
    course = room_course(runs["hoist"], *TUESDAY)

    assert (course.chargers["giving current"] == course.batteries["on charge"]).all()
    assert course.chargers["giving current"].max() > 20


def test_a_window_is_a_part_of_the_whole(runs):
    whole, part = (room_course(runs["hoist"], *window).frame() for window in ((0.0, 1e9), TUESDAY))

    inside = whole[(whole["time_min"] > TUESDAY[0]) & (whole["time_min"] < TUESDAY[1])]
    assert part["time_min"].iloc[0] == TUESDAY[0]
    assert inside.to_numpy().tolist() == part.iloc[1:].to_numpy().tolist()


def test_the_frame_names_causes_and_states(two_trucks):
    names = list(room_course(two_trucks, 0.0, 720.0).frame().columns)

    assert names == [
        "time_min", *(f"waiting_{cause}" for cause in CAUSES),
        *(f"batteries_{state.replace(' ', '_')}" for state in STATES),
        *(f"chargers_{state.replace(' ', '_')}" for state in CHARGER_STATES),
        "stations_busy", "devices_busy", "attendants_on_duty",
        "attendants_busy", "attendants_in_overtime", "trucks_away",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("window", "message"),
    [
        ((10.0, 10.0), "the end of a window must lie after its start, both finite (got 10 to 10 min)"),
        ((nan, 10.0), "the end of a window must lie after its start, both finite (got nan to 10 min)"),
        ((720.0, 900.0), "a window must overlap the run, 0 to 720 min (got 720 to 900 min)"),
    ],
)
def test_windows_that_cannot_be_shown(two_trucks, window, message):
    for look in (room_course, room_chart):
        with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
            look(two_trucks, *window)


# --- the chart ---


def drawn(figure):
    """Draw a figure as a file would."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return canvas.get_renderer()


def labels(figure):
    """Axis label of each panel, from the top."""
    return [panel.get_ylabel() for panel in figure.axes]


def legend_words(panel):
    """Words beside a panel, from the top."""
    return [text.get_text() for text in panel.get_legend().get_texts()]


def test_panels_and_their_words(runs):
    figure = room_chart(runs["hoist"], *TUESDAY)

    assert isinstance(figure, Figure)
    assert labels(figure) == ["Trucks", "Batteries", "Chargers", "Stations", "Devices", "Attendants"]
    assert legend_words(figure.axes[0]) == [
        "away from work, in all", "waits for a device", "waits for an attendant", "waits for a station"
    ]  # fmt: skip
    assert legend_words(figure.axes[1]) == [
        "ready", "being watered", "waits for watering", "cooling", "on charge", "being connected",
        "waits to be connected", "in transfer", "in truck",
    ]  # fmt: skip
    assert legend_words(figure.axes[2]) == ["in all", "battery waits", "giving current"]
    assert legend_words(figure.axes[3]) == legend_words(figure.axes[4]) == ["in all", "in use"]
    assert legend_words(figure.axes[5]) == ["on duty", "in overtime", "busy"]
    assert [text.get_text() for text in figure.texts] == [
        "hoist: week 1 Tue",
        "One run: replication 0, seed 1; week 1 is the first after the warm-up.",
        "Grey strips: no truck works (breaks, hours without a shift).",
    ]


def test_the_words_say_what_is_drawn(two_trucks):
    """From the hand solution: the most of each count and when first, the fewest ready batteries."""
    assert room_text(two_trucks, 0.0, 720.0) == (
        "one: week 1 Mon 00:00 to week 1 Mon 12:00. At most: trucks waiting 2 (Mon 02:50); trucks away from work 2 "
        "(Mon 01:05); chargers giving current 1 (Mon 01:10); stations in use 1 (Mon 01:00); devices in use 0; "
        "attendants busy 1 (Mon 01:00). Fewest ready batteries: plain 0 (Mon 01:00). One run: replication 0, seed 1."
    )


def test_no_panel_for_attendants_that_are_not_there(runs, two_trucks):
    """Drivers do it all; attendants without limit are shown at work, without a number on duty."""
    assert labels(room_chart(runs["in the truck"], *TUESDAY)) == [
        "Trucks", "Batteries", "Chargers", "Charging\nspots", "Devices",
    ]  # fmt: skip
    unlimited = room_chart(two_trucks, 0.0, 720.0)
    assert legend_words(unlimited.axes[-1]) == ["busy"]
    assert unlimited.texts[0].get_text() == "one: week 1 Mon 00:00 to week 1 Mon 12:00"
    assert len(unlimited.texts) == 2


def test_the_stack_is_the_course(runs):
    """Each band of batteries is as high as its count, and the top is all of them."""
    record = runs["portable stands"]
    course = room_course(record, *TUESDAY)
    figure = room_chart(record, *TUESDAY)

    bands = {band.get_label(): band for band in figure.axes[1].collections}
    for word, counts in course.batteries.items():
        if counts.any():
            heights = bands[word].get_paths()[0].vertices[:, 1]
            assert heights.max() <= record.facts.batteries
    tops = [path.vertices[:, 1].max() for path in bands["ready"].get_paths()]
    assert max(tops) == record.facts.batteries == figure.axes[1].get_ylim()[1]
    away = figure.axes[0].get_lines()[0]
    assert away.get_ydata().tolist() == [*course.trucks_away, course.trucks_away[-1]]
    assert away.get_xdata().tolist() == [*course.time_min, TUESDAY[1]]


def test_stations_and_devices_are_the_course(runs):
    """As many as there are busy, below all that there are; a device is held for a part of an exchange."""
    record = runs["hoist"]
    course, figure = room_course(record, *TUESDAY), room_chart(record, *TUESDAY)

    assert (course.devices, int(course.devices_busy.max())) == (sum(record.facts.device_counts), 1)
    for panel, counts, in_all in (
        (figure.axes[3], course.stations_busy, course.stations),
        (figure.axes[4], course.devices_busy, course.devices),
    ):
        (filled,) = panel.collections
        assert filled.get_paths()[0].vertices[:, 1].max() == counts.max()
        assert panel.get_lines()[0].get_ydata()[0] == in_all


def test_breaks_are_marked_in_every_panel(runs):
    """The trucks' three breaks of a day."""
    figure = room_chart(runs["hoist"], *TUESDAY)

    breaks = [(TUESDAY[0] + start, 20.0) for start in (120.0, 570.0, 1080.0)]
    for panel in figure.axes:
        assert [(patch.get_x(), patch.get_width()) for patch in panel.patches] == breaks


def test_time_axis_with_weekdays_and_weeks(runs):
    figure = room_chart(runs["hoist"], *TUESDAY)
    drawn(figure)
    assert [text.get_text() for text in figure.axes[-1].get_xticklabels()][1:3] == ["Tue 00:00", "Tue 03:00"]

    figure = room_chart(runs["hoist"], WEEK_MIN - 180.0, WEEK_MIN + 180.0)
    drawn(figure)
    ticks = [text.get_text() for text in figure.axes[-1].get_xticklabels()]
    assert ("Sun 23:00\nweek 0" in ticks, "Mon 01:00\nweek 1" in ticks) == (True, True)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_nothing_collides(runs, layout):
    """Title, notes, legends and panels keep apart and stay on the page, with a long name too."""
    record = runs[layout]
    record.facts = replace(
        record.facts, layout=f"{layout} with a name that nobody would want to read out aloud, and then more of it"
    )
    try:
        figure = room_chart(record, *TUESDAY)
    finally:
        record.facts = replace(record.facts, layout=layout)
    renderer = drawn(figure)
    boxes = [text.get_window_extent(renderer) for text in figure.texts]
    boxes += [panel.get_legend().get_window_extent(renderer) for panel in figure.axes]
    boxes += [panel.get_window_extent(renderer) for panel in figure.axes]
    boxes.append(figure.axes[-1].xaxis.label.get_window_extent(renderer))

    assert not any(first.overlaps(second) for first, second in combinations(boxes, 2))
    assert all(box.x0 >= 0 and box.y0 >= 0 for box in boxes)
    assert all(box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1 for box in boxes)


def test_neighbours_differ_in_grey():
    """By hatch, or by lightness."""

    def grey(colour):
        red, green, blue = to_rgb(pale(colour))
        return 0.299 * red + 0.587 * green + 0.114 * blue

    for looks in ([CAUSE_LOOKS[word] for word in CAUSES], [STATE_LOOKS[state] for state in STATES]):
        for (colour, hatch, _), (other, another, _) in pairwise(looks):
            assert hatch != another or abs(grey(colour) - grey(other)) > 0.05


def test_drawing_opens_no_window():
    """No pyplot, so a notebook or a server is left as it was."""
    code = (
        f"import sys, batsim; r = batsim.simulate(batsim.read({str(TWO_TRUCKS)!r}), 'one'); "
        "batsim.room_chart(r, 0.0, 720.0); "
        "print('matplotlib.pyplot' in sys.modules)"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "False\n"
