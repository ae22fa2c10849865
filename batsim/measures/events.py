"""Kinds of event in a room, their order at one instant, and what is told of each."""

from math import nan
from typing import NamedTuple

EVENTS = {
    "truck_free": "a truck leaves the station, or unplugs",
    "exchange_end": "the last step is done, the discharged battery stands in its bay",
    "back_at_work": "a truck is back at its work",
    "outage_end": "a thing is back in use",
    "charge_end": "current off",
    "cooled": "a battery has cooled down, and is not ready yet",
    "watering_end": "a battery has its water",
    "inspection_end": "an inspection is over",
    "readings_end": "readings are taken",
    "wash_end": "a battery is washed",
    "ready": "a battery is ready",
    "attendants": "attendants come on duty or go",
    "outage_start": "a thing is out of use",
    "leaves_work": "a truck leaves its work for the room",
    "arrive": "a truck joins the queue",
    "turned_away": "a truck finds no ready battery and goes back with what is left",
    "waits_for_spot": "a truck that does not work finds no free charging spot",
    "gives_up": "it goes back to work without a charge",
    "exchange_start": "an exchange begins",
    "plugged_in": "a truck takes a charging spot",
    "discharged": "a discharged battery is pulled out on arrival and stands in its bay",
    "laid_down": "a battery is left in the middle of its exchange, and nobody works on it",
    "taken_up": "somebody goes on with that exchange",
    "waits_for_charger": "a battery has no charger yet",
    "waits_for_connecting": "it has one, and nobody to connect it",
    "waits_for_current": "it is connected, and no current may flow yet",
    "watering_due": "water is due, and nobody there yet",
    "inspection_due": "an inspection is due, and nobody there yet",
    "readings_due": "readings are due, and nobody there yet",
    "wash_due": "a wash is due, and nobody there yet",
    "connect": "a battery is being connected to a charger",
    "charge_start": "current on",
    "charge_pause": "no current for a time in the middle of a charge",
    "charge_go_on": "current on again",
    "watering_start": "watering begins",
    "inspection_start": "an inspection begins",
    "readings_start": "somebody takes readings",
    "wash_start": "a wash begins",
    "cause": "the queue lacks something else from now on",
}
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
    """Who does it: a word of `batsim.record.PERSONS`."""
    reason: str = ""
    """Why the truck came: a word of `batsim.record.REASONS`."""
    cause: str = ""
    """What the queue lacks: a word of `batsim.record.CAUSES`; empty when the truck need not wait."""
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
