"""Drivers' minutes in no truck's downtime, from rows written by hand."""

from pathlib import Path

import pytest

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, CONNECTING, DRIVER, EXCHANGING, FETCHING, PLUGGING, WATERING
from tests.rows import write_row
from tests.runs import record_of

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
DAY_MIN, START_MIN, END_MIN = 1440.0, 360.0, 840.0
"""One shift from 06:00 to 14:00, Monday to Friday."""


@pytest.mark.parametrize(
    ("rows", "minutes"),
    [
        ([], 0.0),
        # While the truck stands for it within the shift, the driver's minutes are those of its downtime.
        ([(DRIVER, EXCHANGING, START_MIN, 10.0, 4.0)], 0.0),
        ([(DRIVER, FETCHING, START_MIN, 10.0, 10.0), (DRIVER, PLUGGING, START_MIN, 1.0, 1.0)], 0.0),
        # Two drivers at one exchange, one of them called from work: both stand.
        ([(DRIVER, EXCHANGING, START_MIN, 10.0, 16.0)], 0.0),
        # After the shift all of it counts, over its end what lies behind it, two people twice.
        ([(DRIVER, EXCHANGING, END_MIN, 10.0, 4.0)], 4.0),
        ([(DRIVER, PLUGGING, END_MIN, 1.0, 1.0)], 1.0),
        ([(DRIVER, EXCHANGING, END_MIN - 6.0, 10.0, 10.0)], 4.0),
        ([(DRIVER, EXCHANGING, END_MIN - 5.0, 10.0, 20.0)], 10.0),
        # No truck stands for what is done to batteries beside it.
        ([(DRIVER, CONNECTING, START_MIN, 2.0, 2.0), (DRIVER, WATERING, START_MIN, 9.0, 9.0)], 11.0),
        # Attendants are paid for their shift.
        ([(ATTENDANT, CONNECTING, START_MIN, 2.0, 2.0)], 0.0),
    ],
)
def test_what_drivers_do_beside_downtime(rows: list[tuple[int, int, float, float, float]], minutes: float) -> None:
    """Person, task, start, length and hands-on minutes of each; a week has five working days."""
    some = record_of(batsim.read(FILE), "stands", length_min=7 * DAY_MIN, warm_up_min=0.0)
    record = Record(some.facts)
    for person, task, start_min, length_min, hands_on_min in rows:
        write_row(record, "work", 0.0, person=person, task=task, start_min=start_min, end_min=start_min + length_min,
                  hands_on_min=hands_on_min, people=1)  # fmt: skip

    assert measure(record)["driver_outside_downtime_min_per_day"] == pytest.approx(minutes / 5.0)
