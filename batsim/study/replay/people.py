"""What people do in a window: attendants on duty, free or at a job, and drivers at a job."""

from collections.abc import Iterator
from itertools import count, islice, pairwise
from math import inf

from batsim.record.words import ATTENDANT, PERSONS, TASKS
from batsim.study.replay.room import FREE
from batsim.study.replay.window import AREA, Row, Stay, Thing, Window, numbered

OFF_DUTY, ELSEWHERE = "off duty", "elsewhere"
"""Attendants who are not there; drivers who have no job in the room."""


def people(window: Window) -> Iterator[Thing]:
    """Attendants and drivers; those who are free are as many as are on duty and not at a job."""
    rows = window.rows("work", "start_min", "end_min")
    for person, name in enumerate(PERSONS):
        jobs = [row for row in rows if row["person"] == person for _ in range(int(row["people"]))]
        numbers = numbered([(row["start_min"], row["end_min"]) for row in jobs])
        spent = [
            (number, Stay(row["start_min"], row["end_min"], TASKS[int(row["task"])], AREA, int(row["area"])))
            for row, number in zip(jobs, numbers, strict=True)
        ]
        limited = person == ATTENDANT and bool(window.facts.attendant_windows)
        if limited:
            spent += _free(window, jobs, numbers)
        usual = OFF_DUTY if limited else FREE if person == ATTENDANT else ELSEWHERE
        for number in range(max((each for each, _ in spent), default=-1) + 1):
            own = [stay for each, stay in spent if each == number]
            yield window.thing(name, "", number, -1, [Stay(-inf, inf, usual), *own])


def _free(window: Window, jobs: list[Row], numbers: list[int]) -> Iterator[tuple[int, Stay]]:
    """Attendants on duty without a job."""
    shifts = [shift for shift in window.facts.attendant_windows if shift[0] < window.to_min]
    edges = [row[name] for row in jobs for name in ("start_min", "end_min")]
    for since, until in pairwise(window.instants([*edges, *(edge for shift in shifts for edge in shift[:2])])):
        on_duty = sum(people for begin, end, people in shifts if begin <= since < end)
        at_job = {
            number: row for row, number in zip(jobs, numbers, strict=True) if row["start_min"] <= since < row["end_min"]
        }
        free = on_duty - sum(row["overtime"] == 0.0 for row in at_job.values())
        for number in islice((number for number in count() if number not in at_job), max(0, free)):
            yield number, Stay(since, until, FREE)
