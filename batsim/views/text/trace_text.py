"""Events of a window as text that a person can follow line by line, and as CSV."""

import csv
from collections.abc import Iterable
from pathlib import Path

from batsim.display import counted
from batsim.measures.event_trace import event_frame, event_trace
from batsim.measures.events import Event
from batsim.output import csv_text
from batsim.record.facts import AreaFacts, RunFacts
from batsim.record.record import Record
from batsim.record.words import CAUSES, NOTHING
from batsim.scenario.parts.calendar import first_week_min
from batsim.scenario.parts.week import DAY_MIN, DAYS, WEEK_MIN
from batsim.views.text.lines import LEAST_LABEL, hung, listed, sentence

REASONS = {
    "level": "down to the exchange level",
    "shift change": "at the shift change",
    "break": "in a break",
    "early": "early, while there is time",
}
"""Why a truck comes, by the word of the record."""
NUMBERS = ("truck", "battery", "discharged", "queue", "bay", "station", "unit")
"""Columns that count from 0 in the record and from 1 for people."""
COUNTS = ("ready", "trucks_waiting", "people")
with Path(__file__).with_name("sentences.csv").open(newline="", encoding="utf-8") as _lines:
    SENTENCES = {row["event"]: row["sentence"] for row in csv.DictReader(_lines)}
"""Sentences on events that always read alike; the others are put together in `_Words`."""


def trace_text(record: Record, from_min: float, to_min: float, width: int | None = None, area: str = "") -> str:
    """Write what happened in a window, one line for each event under a heading; see `event_trace`.

    Trucks, batteries, bays and stations count from 1, bays and stations within their area, which is named where there
    are several; week 1 is the first measured one. With a width, for a terminal so many characters wide, an event may
    take several lines. With an area, what happens in others is left out.

    Raises
    ------
    ValueError
        If the layout has no area of that name, or the window is empty or endless.
    """
    facts = record.facts
    events = event_trace(record, from_min, to_min)
    if area:
        own = facts.areas.index(facts.area_named(area))
        events = [event for event in events if event.area in (own, -1)]
    weeks = moment(facts, from_min)[0] != moment(facts, max(from_min, to_min - 1.0))[0]
    seconds = any(round(60.0 * event.time_min) % 60 for event in events)
    times = [clock(facts, event.time_min, weeks=weeks, seconds=seconds) for event in events]
    sentences = list(zip(times, event_sentences(facts, events), strict=True))
    span = f"{clock(facts, from_min, weeks=True)} to {clock(facts, to_min, weeks=True)}"
    heading = f"{facts.layout}: {span} (replication {facts.replication}, seed {facts.seed}{first_week_note(facts)})"
    if width is None:
        lines = [f"{time}  {what}" for time, what in sentences]
    else:
        heading, lines = sentence(heading, width), [_event_lines(time, what, width) for time, what in sentences]
    return "\n".join([heading, "", *(lines or ["nothing happens in this time"])])


def event_sentences(facts: RunFacts, events: Iterable[Event]) -> list[str]:
    """Write events as sentences, without their time; numbers count from 1."""
    words = _Words(facts)
    return [words.of(event) for event in events]


def _event_lines(time: str, what: str, width: int) -> str:
    """Break an event into lines, under one another beside its time if that leaves room."""
    if width - len(time) - 2 < LEAST_LABEL:
        return hung(f"{time} {what}", width)
    return listed(what, width, first=f"{time}  ")


def trace_csv(record: Record, from_min: float, to_min: float, area: str = "") -> str:
    """Write what happened in a window as CSV, with `moment` beside the minutes; numbers count from 1.

    Raises
    ------
    ValueError
        As for `trace_text`.
    """
    facts = record.facts
    frame = event_frame(record, from_min, to_min)
    if area:
        frame = frame[frame["area"].isin([facts.area_named(area).name, ""])].reset_index(drop=True)
    moments = [clock(facts, time, weeks=True, seconds=True) for time in frame["time_min"]]
    frame.insert(1, "moment", moments)
    for name in (*NUMBERS, *COUNTS):
        shift = int(name in NUMBERS)
        frame[name] = ["" if number < 0 else str(number + shift) for number in frame[name]]
    for name in ("standby", "full"):
        frame[name] = frame[name].astype(int)
    frame = frame.rename(columns={"people": "attendants_on_duty"})
    for name, digits in (("time_min", 6), ("wait_min", 3), ("soc_share", 4)):
        frame[name] = frame[name].round(digits)
    return csv_text(frame)


def first_week_note(facts: RunFacts) -> str:
    """Say which week is the first, as the end of a note; empty where nothing is left out."""
    return "; week 1 is the first after the warm-up" if facts.warm_up_min else ""


def moment(facts: RunFacts, time_min: float) -> tuple[int, str]:
    """Week and weekday of a time; week 1 is the first measured one, the warm-up before it is week 0, -1 and so on."""
    since = time_min - first_week_min(facts.warm_up_min)
    return int(since // WEEK_MIN) + 1, DAYS[int(since % WEEK_MIN // DAY_MIN)]


def clock(facts: RunFacts, time_min: float, *, weeks: bool = False, seconds: bool = False) -> str:
    """Write a time as weekday and time of day, such as `week 2 Mon 14:05:30`."""
    whole = round(60.0 * time_min) if seconds else 60 * round(time_min)
    week, day = moment(facts, whole / 60.0)
    minutes, rest = divmod(whole, 60)
    text = f"{day} {minutes // 60 % 24:02d}:{minutes % 60:02d}" + (f":{rest:02d}" if seconds else "")
    return f"week {week} {text}" if weeks else text


def _count(number: int, thing: str) -> str:
    """Write how many there are of a thing."""
    return counted(number, thing) if number else f"no {thing}"


def _waiting(event: Event, *, still: bool = False) -> str:
    """Say how many trucks wait from an event on."""
    return f"{_count(event.trucks_waiting, 'truck')} {'still ' if still else ''}waiting"


def _minutes(minutes: float) -> str:
    """Write a duration to the minute, a short one to the tenth."""
    return f"{minutes:.0f} min" if minutes >= 10.0 else f"{round(minutes, 1):g} min"


def _level(share: float) -> str:
    """Write a state of charge."""
    return f"{100.0 * share:.0f} %"


class _Words:
    """Puts events into sentences, with the names of one layout."""

    def __init__(self, facts: RunFacts) -> None:
        self.facts = facts
        groups = [name for name, count in zip(facts.groups, facts.group_trucks, strict=True) for _ in range(count)]
        self.group = [f" ({name})" if len(facts.groups) > 1 else "" for name in groups]
        several = len(facts.battery_types) > 1
        self.kind = [f" ({facts.battery_types[number].name})" if several else "" for number in facts.type_numbers]

    def of(self, event: Event) -> str:
        """Write one event."""
        where = f"{self._area(event).name}: " if len(self.facts.areas) > 1 and event.area >= 0 else ""
        return f"{where}{self._said(event)}"

    def _said(self, event: Event) -> str:
        """Write one event without its area."""
        if event.event in SENTENCES:
            return SENTENCES[event.event].format(
                truck=self._truck(event), battery=self._battery(event.battery), bay=self._bay(event),
                thing=f"{event.detail} {event.unit + 1}" if event.unit >= 0 else f"one {event.detail}",
                who={"attendant": "an attendant", "driver": "a driver"}.get(event.person, "somebody"),
                attendants=_count(event.people, "attendant"), level=_level(event.soc_share),
                reason=REASONS.get(event.reason),
            )  # fmt: skip
        sentence: str = getattr(self, f"_{event.event}")(event)
        return sentence

    def _area(self, event: Event) -> AreaFacts:
        return self.facts.areas[event.area]

    def _truck(self, event: Event) -> str:
        return f"truck {event.truck + 1}{self.group[event.truck]}"

    def _battery(self, number: int) -> str:
        return f"battery {number + 1}{self.kind[number]}"

    def _bay(self, event: Event, before: str = "at ") -> str:
        if event.bay < 0:
            return ""
        return f" {before}{self._area(event).bay} {event.bay + 1}"

    def _charger(self, event: Event, before: str) -> str:
        return f" {before} {event.detail}" if event.detail and len(self._area(event).chargers) > 1 else ""

    def _truck_free(self, event: Event) -> str:
        done = "unplugs" if self._area(event).in_truck else f"leaves the station with {self._battery(event.battery)}"
        return f"{self._truck(event)} {done}" + (" and is back at work" if event.detail == "back" else "")

    def _exchange_end(self, event: Event) -> str:
        stands = f"{self._battery(event.discharged)} now{self._bay(event) or ' in the room'}"
        if event.detail == "left":
            return f"exchange of {self._truck(event)} is done: {stands}"
        goes = "works on" if event.detail == "back" else "drives back"
        return f"exchange of {self._truck(event)} is done: it {goes} with {self._battery(event.battery)}; {stands}"

    def _charge_start(self, event: Event) -> str:
        late = f", delayed {_minutes(event.wait_min)} by temperature" if event.wait_min > 0.0 else ""
        charger = self._charger(event, "on")
        return f"charge of {self._battery(event.battery)} starts{charger}{late}"

    def _charge_end(self, event: Event) -> str:
        how = "full" if event.full else "not yet full"
        cools = "; it cools down" if event.detail == "cools" else ""
        return f"charge of {self._battery(event.battery)} ends, {how}{cools}"

    def _ready(self, event: Event) -> str:
        cool = "cool and " if event.detail == "cooled" else ""
        return f"{self._battery(event.battery)} is {cool}ready{self._bay(event)}"

    def _arrive(self, event: Event) -> str:
        low = ", below the cut-out" if event.detail else ""
        text = f"{self._truck(event)} arrives with {self._battery(event.battery)} at {_level(event.soc_share)}{low}"
        parts = [] if event.ready < 0 else [f"{_count(event.ready, 'battery')} ready"]
        if event.cause:
            cause = event.cause if event.cause != CAUSES[NOTHING] else "its turn"
            parts += [_waiting(event), f"waits for: {cause}"]
        return "; ".join([text, ", ".join(parts)]) if parts else text

    def _exchange_start(self, event: Event) -> str:
        several = event.station >= 0 and self._area(event).stations > 1
        where = f" at station {event.station + 1}" if several else ""
        how = " with the standby method" if event.standby else ""
        line = f" after {_minutes(event.wait_min)} of waiting" if event.wait_min > 0.0 else ""
        what = f"{self._battery(event.battery)}{self._bay(event, 'from ')} for {self._battery(event.discharged)}"
        return f"exchange of {self._truck(event)} begins{where}{how}{line}: {what}{self._others(event)}"

    def _plugged_in(self, event: Event) -> str:
        line = f" after {_minutes(event.wait_min)} of waiting" if event.wait_min > 0.0 else ""
        return f"{self._truck(event)} takes a charging spot{line}{self._others(event)}"

    def _others(self, event: Event) -> str:
        return f"; {_waiting(event, still=True)}" if event.trucks_waiting > 0 else ""

    def _connect(self, event: Event) -> str:
        whom = f"{self._battery(event.battery)}{self._charger(event, 'to')}"
        who = {"attendant": "an attendant", "driver": "the driver"}.get(event.person)
        return f"{who} connects {whom}" if who else f"{whom} is connected"

    def _cause(self, event: Event) -> str:
        several = len(self._area(event).queues) > 1 and not self._area(event).in_truck
        of = f" for {self.facts.battery_types[event.queue].name}" if several else ""
        return f"the queue{of} now waits for: {event.cause}; {_waiting(event)}"
