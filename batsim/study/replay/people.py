"""What people do in a window: attendants on duty, free or at a job, and drivers at a job."""

from collections.abc import Iterator
from itertools import chain, count, islice, pairwise
from math import inf

from batsim.record.words import ATTENDANT, PERSONS, TASKS
from batsim.study.replay.room import FREE
from batsim.study.replay.window import AREA, Row, Stay, Thing, Window, in_all, numbered

OFF_DUTY, ELSEWHERE = "off duty", "elsewhere"
"""Attendants who are not there; drivers who have no job in the room."""


def people(window: Window) -> Iterator[Thing]:
    """Attendants and drivers; those who are free are as many as are on duty and not at a job."""
    rows = window.rows("work", "start_min", "end_min")
    for person, name in enumerate(PERSONS):
        jobs = [row for row in rows if row["person"] == person for _ in range(int(row["people"]))]
        usual, spent = _spent(window, person, jobs)
        for number in range(in_all(0, (number for number, _ in spent))):
            own = [stay for each, stay in spent if each == number]
            yield window.thing(name, "", number, -1, [Stay(-inf, inf, usual), *own])


def _spent(window: Window, person: int, jobs: list[Row]) -> tuple[str, list[tuple[int, Stay]]]:
    """What people of a kind do without a job, and what they spend their time with, by their number."""
    at_job = list(_at_job(jobs))
    if person != ATTENDANT:
        return ELSEWHERE, at_job
    if not window.facts.attendant_windows:
        return FREE, at_job
    return OFF_DUTY, [*at_job, *_free(window, jobs, [number for number, _ in at_job])]


def _at_job(jobs: list[Row]) -> Iterator[tuple[int, Stay]]:
    """Jobs, each with the number of who does it."""
    for row, number in zip(jobs, numbered([(row["start_min"], row["end_min"]) for row in jobs]), strict=True):
        yield number, Stay(row["start_min"], row["end_min"], TASKS[int(row["task"])], AREA, int(row["area"]))


def _free(window: Window, jobs: list[Row], numbers: list[int]) -> Iterator[tuple[int, Stay]]:
    """Attendants on duty without a job."""
    shifts = window.facts.attendant_windows
    edges = [shift[:2] for shift in shifts] + [(row["start_min"], row["end_min"]) for row in jobs]
    for since, until in pairwise(window.instants(chain.from_iterable(edges))):
        on_duty = sum(people for begin, end, people in shifts if begin <= since < end)
        at_job = {number: row for number, row in zip(numbers, jobs, strict=True) if _under_way(row, since)}
        for number in _without_a_job(at_job, on_duty):
            yield number, Stay(since, until, FREE)


def _without_a_job(at_job: dict[int, Row], on_duty: int) -> Iterator[int]:
    """Numbers of those on duty without a job: the lowest that nobody at a job has."""
    in_duty = sum(row["overtime"] == 0.0 for row in at_job.values())
    return islice((number for number in count() if number not in at_job), max(0, on_duty - in_duty))


def _under_way(row: Row, time_min: float) -> bool:
    """Whether somebody is at a job at a time."""
    return row["start_min"] <= time_min < row["end_min"]
