"""Kinds of event in a room, their order at one instant, and what is told of each."""

import csv
from math import nan
from pathlib import Path
from typing import NamedTuple

with Path(__file__).with_name("events.csv").open(newline="", encoding="utf-8") as _lines:
    EVENTS = {row["event"]: row["meaning"] for row in csv.DictReader(_lines)}
"""Kinds of event, in the order in which they stand at one instant; see `event_trace`."""
RANK = {name: float(number) for number, name in enumerate(EVENTS)}
WAITED = RANK["leaves_work"] - 0.6
"""Where the exchange of a truck stands that has waited for it: before those who come only now."""
JUST_AFTER = 0.3
"""How far behind its start the end of something stands that takes no time."""


class Event(NamedTuple):
    """One thing that happened; numbers count from 0 and are -1 where there is none."""

    time_min: float
    event: str
    """A word of `EVENTS`."""
    truck: int = -1
    battery: int = -1
    """The battery it is about; in an exchange the one that leaves in the truck."""
    discharged: int = -1
    """In an exchange, the battery that came in the truck."""
    queue: int = -1
    bay: int = -1
    """Where the battery stands out of a truck; at the end of an exchange, the discharged one."""
    station: int = -1
    standby: bool = False
    """Made with the standby method."""
    person: str = ""
    """Who does it: a word of `batsim.record.words.PERSONS`."""
    reason: str = ""
    """Why the truck came: a word of `batsim.record.words.REASONS`."""
    cause: str = ""
    """What the queue lacks: a word of `batsim.record.words.CAUSES`; empty when the truck need not wait."""
    detail: str = ""
    """What else is to be said: a name, or what follows at the same instant."""
    unit: int = -1
    """Which of a kind of thing."""
    soc_share: float = nan
    """State of charge on arrival, of what can be had at its work. [-]"""
    full: bool = False
    """The charge ended full."""
    wait_min: float = nan
    """How long it has waited; for a charge, how long it was delayed by temperature. [min]"""
    ready: int = -1
    """Ready batteries of its type that the truck found."""
    trucks_waiting: int = -1
    """Trucks waiting from then on."""
    people: int = -1
    """Attendants on duty."""
    area: int = -1
    """Where it happens; -1 where it concerns the whole site."""
