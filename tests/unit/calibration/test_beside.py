"""A simulated layout beside its logs: limits, verdicts, weeks of the calendar, draws, and inputs tried otherwise."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim import Settings
from batsim.calibration.beside import course_of_run
from batsim.calibration.candidates import LOOK_AT, Otherwise, candidates, otherwise, scaled
from batsim.calibration.closing import closing
from batsim.calibration.compared import ABOVE, BELOW, INSIDE, Compared, predicted
from batsim.calibration.course import Where, course
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.event_log import event_log, event_log_csv
from tests.runs import record_of
from tests.sites import KESTREL, LEAD_OR_LITHIUM

ROOM = Path(__file__).parents[1] / "cases" / "hidden_room.yaml"
MONDAY = date(2024, 3, 4)  # of week 10
SITE = Where()
ONE = Settings(replications=2, workers=1, warm_up_weeks=0)


@pytest.fixture(scope="module")
def room():
    return batsim.read(ROOM)


@pytest.fixture(scope="module")
def logs(room, tmp_path_factory):
    """Exchanges and hours of two weeks of the room, as files of a site hold them."""
    file = tmp_path_factory.mktemp("logs") / "events.csv"
    record = record_of(room, "today", seed=99, length_min=2 * WEEK_MIN)
    file.write_text(event_log_csv(event_log(record, MONDAY)), encoding="utf-8")
    return {kind: batsim.read_log(file, kind, scenario=room) for kind in ("exchanges", "trucks")}


@pytest.fixture(scope="module")
def beside(room, logs):
    return batsim.beside(room, "today", logs, [0, 1], settings=ONE)


def compared(measured, values, measure="wait_min", where=SITE):
    return Compared(measure, where, measured, predicted(np.array(values), 0.95), decides=True)


# --- limits ---


def test_limits_hold_one_more_value_as_often_as_is_said():
    """Waits with a gamma law of cv 0.5, twelve runs: 95 % of further ones, give or take 1.4 (three sigma of 2000)."""
    rng = np.random.default_rng(1)
    values = rng.gamma(4.0, 1.0, size=(2000, 13))

    inside = [abs(predicted(row[:-1], 0.95).half_widths(row[-1])) <= 1.0 for row in values]

    assert 0.935 < np.mean(inside) < 0.965


def test_limits_lie_where_a_value_is_one_half_width_away():
    found = predicted(np.array([1.0, 2.0, np.nan, 4.0, 8.0]), 0.9)

    assert found.mean == pytest.approx(3.75)
    assert found.half_widths(found.high) == pytest.approx(1.0)
    assert predicted(np.array([50.0, 51.0, 52.0]), 0.9).half_widths(51.0) == pytest.approx(0.0, abs=0.01)


def test_a_model_without_chance_is_given_within_a_hundredth():
    assert compared(0.2520, [0.25, 0.25]).verdict == INSIDE
    assert compared(0.2535, [0.25, 0.25]).verdict == ABOVE
    assert compared(0.0, [0.0, 0.0]).verdict == INSIDE
    assert compared(0.1, [0.0, 0.0]).verdict == ABOVE


def test_a_gap_in_words():
    found = compared(12.34, [4.0, 5.0, 6.0], where=Where("shift", "night"))

    assert (found.verdict, found.gap) == (ABOVE, pytest.approx(7.34))
    assert found.sentence == (
        "wait for an exchange (night shift): 12.3 min measured, 5.00 min in the model (1.46 to 11.8 min)"
    )
    assert compared(0.2, [0.4, 0.5, 0.45], "waited_share").sentence.startswith(
        "share of exchanges that wait more than 1 min: 20.0 % measured, 45.0 % in the model"
    )
    assert compared(1.0, [4.0, 4.1, 4.2], "chargers_in_use").verdict == BELOW


# --- the layout beside its logs ---


def test_only_what_the_logs_tell_is_set_beside(beside):
    """No log of charges and steps: nothing on chargers, nor on times away."""
    assert {each.measure for each in beside.compared} == {
        "exchanges_per_day", "wait_min", "waited_share", "wait_p95_min", "station_min", "soc_arrival_share",
        "used_kwh_per_day", "worked_h_per_day",
    }  # fmt: skip


def test_measured_numbers_are_those_of_the_logs(beside, room, logs):
    rows = {kind: log.rows for kind, log in logs.items()}

    told = course(rows, [0, 1], room)

    assert {(each.measure, each.where): each.measured for each in beside.compared} == {
        key: told[key] for key in beside.simulated
    }


def test_frame_and_plain_data_say_the_same(beside):
    frame, data = beside.frame, beside.as_json()

    assert len(frame) == len(data["measures"]) == len(beside.compared)
    assert frame["measured"].tolist() == [each["measured"] for each in data["measures"]]
    assert data["verdict"] == beside.verdict
    assert "exchanges_per_day" in beside._repr_html_()
    assert repr(beside) == "<Beside: Hidden room (invented): today beside its logs, weeks 10-11 of 2024>"


def test_a_note_tells_of_rows_that_are_not_used(room, logs):
    log = logs["exchanges"]
    half = replace(log, rows=log.rows, read=2 * log.read)

    noted = batsim.beside(room, "today", {"exchanges": half}, [0], settings=ONE)

    assert noted.note == "Of the exchanges, 50 % of the rows are used: counts a day are too low."


def test_one_replication_carries_no_verdict(room, logs):
    alone = batsim.beside(room, "today", logs, [0], settings=replace(ONE, replications=1))

    assert alone.verdict == "One replication carries no verdict; take at least two."


def test_draws_are_simulated_each_once(room, logs):
    """Half the power in one draw, the stated one in the other: half the energy."""
    draws = [{"trucks[*].duty.mean_power": power} for power in ("1 kW", "2 kW")]

    told = batsim.beside(room, "today", logs, [0], draws, ONE)

    low, high = told.simulated["used_kwh_per_day", SITE]
    assert high / low == pytest.approx(2.0, rel=0.05)
    assert told.schedule.replications == 2


def test_runs_lie_in_the_calendar_weeks_of_the_log(room, logs):
    """Half the work in weeks 11 and 12: the second week of a log that begins in week 10."""
    quiet = batsim.changed(room, {"demand": {"weeks": {"11-12": "50 %"}}})

    first, second = (batsim.beside(quiet, "today", logs, [week], settings=ONE) for week in (0, 1))

    ratio = second.simulated["used_kwh_per_day", SITE] / first.simulated["used_kwh_per_day", SITE]
    assert ratio == pytest.approx([0.5, 0.5], rel=0.05)


def test_weeks_that_are_not_looked_at_lie_between(room, logs):
    """Weeks 1 and 3: the runs are three weeks long, and the second of them does not count."""
    told = batsim.beside(room, "today", logs, [0, 2], settings=ONE)

    assert told.schedule.weeks == 3.0
    assert told.weeks_in_words == "weeks 10 and 12 of 2024"
    record = record_of(room, "today", seed=7, length_min=3 * WEEK_MIN, warm_up_min=0.0)
    whole = course_of_run(record, room, [0, 1, 2])
    assert course_of_run(record, room, [0, 2])["exchanges_per_day", SITE] != whole["exchanges_per_day", SITE]


def test_logs_of_different_mondays_are_refused(room, logs):
    other = replace(logs["trucks"], first_monday=date(2024, 3, 11))

    with pytest.raises(ValueError, match="from one Monday"):
        batsim.beside(room, "today", logs | {"trucks": other}, [0])


def test_no_weeks_are_refused(room, logs):
    with pytest.raises(ValueError, match="numbers of the weeks"):
        batsim.beside(room, "today", logs, [])


def test_a_layout_that_is_not_there_is_refused(room, logs):
    with pytest.raises(batsim.ScenarioError, match="no layout of this name"):
        batsim.beside(room, "todya", logs, [0])


# --- inputs otherwise ---


def test_what_is_tried_of_the_room(room):
    found = {each.label: each.steps for each in candidates(room, "today")}

    assert found == {
        "stations": (-1.0, 1.0),
        "crane": (-1.0, 1.0),
        "attendants, day shift": (-1.0, 1.0),
        "attendants, night shift": (-1.0, 1.0),
        "chargers": (-2.0, -1.0, 1.0, 2.0),
        "batteries": (-2.0, -1.0, 1.0, 2.0),
        "mean power": (-0.1, 0.1),
        "mean power of 'docks'": (-0.1, 0.1),
        "mean power of 'aisles'": (-0.1, 0.1),
        "exchange times": (-0.2, 0.2),
        "state of charge at which trucks come": (-0.05, 0.05),
        "cool-down": (-60.0, 60.0),
    }


@pytest.mark.parametrize(
    ("scenario", "layout"), [(KESTREL, "hoist"), (KESTREL, "in the truck"), (LEAD_OR_LITHIUM, None)]
)
def test_every_step_is_a_sound_scenario_and_in_words(scenario, layout):
    layout = layout or next(iter(scenario.layouts))
    for candidate in candidates(scenario, layout):
        assert candidate.kind in LOOK_AT
        for step in candidate.steps:
            assert otherwise(scenario, layout, Otherwise(candidate, step)) != scenario
            assert candidate.in_words(step) != candidate.in_words(-step)


def test_steps_in_words(room):
    words = {each.label: each.in_words(each.steps[0]) for each in candidates(room, "today")}

    assert words["attendants, night shift"] == "1 attendant fewer (night shift)"
    assert words["crane"] == "1 crane fewer"
    assert words["chargers"] == "2 chargers fewer"
    assert words["batteries"] == "2 batteries fewer"
    assert words["mean power of 'docks'"] == "10 % less mean power of 'docks'"
    assert words["exchange times"] == "exchange times 20 % shorter"
    assert words["cool-down"] == "a cool-down 60 min shorter"
    assert words["state of charge at which trucks come"] == "trucks that come with 5 % less charge left"


def test_laws_are_stretched_whole(room):
    law = room.handling["crane"].steps[0].time_min

    assert scaled(law, 1.5).mean == pytest.approx(1.5 * law.mean)
    assert scaled(law, 1.5).cv == law.cv


def test_without_a_gap_there_is_nothing_to_close(beside):
    inside = replace(beside, measured={key: float(np.mean(values)) for key, values in beside.simulated.items()})

    assert inside.holds
    assert closing(inside) is None


def test_inputs_of_areas_types_and_lots_are_told_apart():
    cases = ROOM.parent
    words = [
        each.in_words(1.0)
        for case, layout in (("three_areas", "mixed"), ("mixed_stock", "today"))
        for each in candidates(batsim.read(cases / f"{case}.yaml"), layout)
    ]

    assert len(words) == len(set(words)) + 4  # power, times, level and cool-down have one name in both
    assert "1 attendant more (late shift, the lifted area)" in words
    assert "1 charger more (e48, the sideways area)" in words
    assert "1 battery more (lot new)" in words
