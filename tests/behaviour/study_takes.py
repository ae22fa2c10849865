"""What is kept of a record, by functions that other processes find: some of them come to grief on one replication."""

import os
import signal
import threading
from typing import Any

from batsim.record.record import Record
from batsim.scenario.site import Scenario

SICK = 5
"""Replication on which they come to grief."""


class TwoPartsError(Exception):
    """An error that cannot be sent to another process: it is made of two things and remembers one."""

    def __init__(self, one: str, other: str) -> None:
        super().__init__(f"{one} and {other}")


def number(record: Record, _: Scenario) -> int:
    """Number of the replication."""
    return record.facts.replication


def process(record: Record, _: Scenario) -> tuple[int, int]:
    """Replication and the process that ran it."""
    return record.facts.replication, os.getpid()


def killed(record: Record, scenario: Scenario) -> int:
    """Kill the process that works on the sick replication, each time, as a system short of memory does."""
    if record.facts.replication == SICK:
        os.kill(os.getpid(), signal.SIGKILL)
    return number(record, scenario)


def raised(record: Record, scenario: Scenario) -> int:
    """Raise an error."""
    if record.facts.replication == SICK:
        msg = "no such thing"
        raise LookupError(msg)
    return number(record, scenario)


def raised_here(record: Record, scenario: Scenario) -> int:
    """Raise an error that cannot leave the process."""
    if record.facts.replication == SICK:
        one, other = "this", "that"
        raise TwoPartsError(one, other)
    return number(record, scenario)


def kept_here(record: Record, scenario: Scenario) -> Any:
    """Take something that cannot leave the process."""
    if record.facts.replication == SICK:
        return threading.Lock()
    return number(record, scenario)
