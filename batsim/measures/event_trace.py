"""What happened in a chosen window of a run, event by event, read from its tables."""

from bisect import bisect_right
from math import isnan, nan
from typing import Any

import numpy as np

from batsim.display import Frame, frame_of
from batsim.measures.events import JUST_AFTER, RANK, WAITED, Event
from batsim.measures.windows import Floats, Whole, check_window, queue_causes, stays
from batsim.record.record import Record
from batsim.record.words import (
    CAUSES,
    CHARGE_IN_TRUCK,
    CONNECTING,
    EXCHANGE,
    IN_TRANSFER,
    IN_TRUCK,
    LAID_DOWN,
    NOTHING,
    ON_CHARGE,
    PAUSED,
    PERSONS,
    READY,
    REASONS,
    TASKS,
    TURNED_AWAY,
    WAITS_FOR_CHARGER,
    WAITS_FOR_CONNECTING,
    WAITS_FOR_CURRENT,
    WATERING,
)


def event_trace(record: Record, from_min: float, to_min: float) -> list[Event]:
    """List what happened in a window of a run.

    Parameters
    ----------
    record
        What the run left behind. The warm-up may be looked at too.
    from_min, to_min
        The window; what happens at its very end is left out, like what falls on the end of the run. [min]

    Returns
    -------
    list of Event
        In the order of time. At one instant: work that ends and batteries that become ready; the calendar (attendants,
        outages); exchanges of trucks that have waited; trucks that leave their work, arrive and ask; whatever else
        begins; last, what the queue lacks from now on. Within a kind, the order of the record.

    Raises
    ------
    ValueError
        If the window is empty or endless.

    Notes
    -----
    Left out because another event says it: `truck_free` at the instant of `exchange_end`; `back_at_work` and
    `leaves_work` where there is no way to the room; `arrive` of a truck that is turned away; `discharged` at the end of
    an exchange; `cooled` without a cool-down or when the battery is ready then; charges and watering that take no time;
    `cause` when a truck that arrives, or an empty queue, says it. What began before the window and ends in it shows its
    end.
    """
    check_window(from_min, to_min)
    window = _Window(record, from_min, min(to_min, record.facts.horizon_min))
    for part in (window.trucks, window.charges, window.jobs, window.states, window.causes, window.calendar):
        part()
    return window.counted([event for _, _, event in sorted(window.told, key=lambda entry: entry[:2])])


def event_frame(record: Record, from_min: float, to_min: float) -> Frame:
    """List what happened in a window of a run as a table, see `event_trace`.

    Parameters
    ----------
    record
        What the run left behind.
    from_min, to_min
        The window. [min]

    Returns
    -------
    DataFrame
        A row for each event, a column for each field of `Event`, and the names of the truck's group and of the battery
        type; that of the area where areas have names. Numbers count from 0, as in the tables of the record; -1, an
        empty text or not a number where there is none.
    """
    facts = record.facts
    frame = frame_of(event_trace(record, from_min, to_min), columns=list(Event._fields))
    areas = frame.pop("area")
    groups = [name for name, count in zip(facts.groups, facts.group_trucks, strict=True) for _ in range(count)]
    frame.insert(3, "group", [groups[truck] if truck >= 0 else "" for truck in frame["truck"]])
    frame.insert(6, "battery_type", [facts.battery_types[queue].name if queue >= 0 else "" for queue in frame["queue"]])
    if any(area.name for area in facts.areas):
        frame.insert(1, "area", [facts.areas[area].name if area >= 0 else "" for area in areas])
    return frame


_CHANGES: dict[tuple[float | None, float], str] = {
    (None, WAITS_FOR_CHARGER): "waits_for_charger",
    (None, WAITS_FOR_CONNECTING): "waits_for_connecting",
    (None, WAITS_FOR_CURRENT): "waits_for_current",
    (None, LAID_DOWN): "laid_down",
    (LAID_DOWN, IN_TRANSFER): "taken_up",
    (None, PAUSED): "charge_pause",
    (PAUSED, ON_CHARGE): "charge_go_on",
}
"""Events that a change of state tells: what was before, None for whatever, and the state from then on."""
Row = dict[str, float]


class _Window:
    """One window of a record."""

    def __init__(self, record: Record, from_min: float, to_min: float) -> None:
        self.record, self.facts = record, record.facts
        self.from_min, self.to_min = from_min, to_min
        self.told: list[tuple[float, float, Event]] = []
        """Time, rank and what happened."""
        self._about_queues()
        self.exchange_rows = self.rows(
            "exchanges", "left_min", "joined_min", "start_min", "truck_free_min", "end_min", "back_min"
        )
        times = ("discharged_min", "connected_min", "start_min", "end_min", "cooled_min")
        self.charge_rows = self.rows("charges", *times)
        charges = record.columns("charges")
        self.stood: dict[int, list[tuple[float, int]]] = {}
        for battery, since, bay in zip(charges["battery"], charges["discharged_min"], charges["bay"], strict=True):
            self.stood.setdefault(int(battery), []).append((float(since), int(bay)))
        self.who = {
            (int(row["task"]), row["start_min"]): PERSONS[int(row["person"])] for row in self.rows("work", "start_min")
        }
        self.cool_downs = {
            (row["battery"], row["cooled_min"]) for row in self.charge_rows if row["cooled_min"] > row["end_min"]
        }
        self.readies = {
            (row["battery"], row["from_min"])
            for row in self.rows("battery_states", "from_min")
            if row["state"] == READY
        }

    def _about_queues(self) -> None:
        """Gather what each queue is, and what it waits for when."""
        record = self.record
        self.plugged = [area.in_truck for area in self.facts.area_of_queue]
        """Whether trucks of each queue are charged where they stand; those of an area wait together for its spots."""
        self.line_of = [
            area.queues[0] if area.in_truck else queue for queue, area in enumerate(self.facts.area_of_queue)
        ]
        """The queue that says what each queue waits for."""
        self.queue_causes = queue_causes(record)
        batteries, trucks = (record.columns("discharges")[name].astype(int).tolist() for name in ("battery", "truck"))
        kept = [self.plugged[queue] for queue in self.facts.type_numbers]
        self.truck_of = {battery: truck for battery, truck in zip(batteries, trucks, strict=True) if kept[battery]}

    def rows(self, table: str, *times: str) -> list[Row]:
        """Rows of a table of which any of the times falls into the window."""
        columns = self.record.columns(table)
        touches = np.any([(columns[name] >= self.from_min) & (columns[name] < self.to_min) for name in times], axis=0)
        found = {name: column[touches].tolist() for name, column in columns.items()}
        return [dict(zip(found, row, strict=True)) for row in zip(*found.values(), strict=True)]

    def at(self, time_min: float, name: str, rank: float | None = None, /, **told: Any) -> None:  # noqa: ANN401 - fields of `Event`
        """Tell an event with its rank, if it falls into the window."""
        if self.from_min <= time_min < self.to_min:
            if "queue" in told:
                told["area"] = self.facts.queue_areas[told["queue"]]
            self.told.append((time_min, RANK[name] if rank is None else rank, Event(time_min, name, **told)))

    def about(self, battery: int) -> dict[str, int]:
        """Say which battery, its queue and the truck that keeps it, -1 where trucks keep none."""
        queue, truck = self.facts.type_numbers[battery], self.truck_of.get(battery, -1)
        return {"battery": battery, "queue": queue, "truck": truck}

    def bay_of(self, battery: int, time_min: float) -> int:
        """Bay in which a battery stood last, -1 where the record does not tell."""
        stood = self.stood.get(battery, [])
        last = bisect_right(stood, time_min, key=lambda stay: stay[0])
        return stood[last - 1][1] if last else -1

    def cause_of(self, queue: int, time_min: float) -> str:
        """What a queue lacks after an instant."""
        since, causes = self.queue_causes[queue]
        last = int(np.searchsorted(since, time_min, side="right")) - 1
        return CAUSES[int(causes[last])] if last >= 0 else CAUSES[NOTHING]

    def trucks(self) -> None:
        """Trucks on their way, waiting, in the station and back."""
        for row in self.exchange_rows:
            self._coming(row)
            if row["kind"] == CHARGE_IN_TRUCK:
                self._charge_in_truck(row)
            elif row["kind"] != TURNED_AWAY:
                self._exchange(row)
            if row["back_min"] > row["truck_free_min"]:
                both = {"discharged": int(row["discharged"])} if row["kind"] == EXCHANGE else {}
                self.at(row["back_min"], "back_at_work", **_truck(row, "charged"), **both)

    def _coming(self, row: Row) -> None:
        """A truck that leaves its work and joins the queue, or is turned away."""
        came = {
            **_truck(row, "discharged"), "soc_share": row["soc_share"], "reason": REASONS[int(row["reason"])],
            "detail": "below cut-out" if row["below_cut_out"] else "",
        }  # fmt: skip
        joined = row["joined_min"]
        if joined > row["left_min"]:
            self.at(row["left_min"], "leaves_work", **came)
        if row["kind"] == TURNED_AWAY:
            self.at(joined, "turned_away", **came)
        elif not isnan(row["ready_found"]):
            cause = "" if row["start_min"] == joined else self.cause_of(int(row["queue"]), joined)
            ready = -1 if self.plugged[int(row["queue"])] else int(row["ready_found"])
            self.at(joined, "arrive", **came, cause=cause, ready=ready)

    def _charge_in_truck(self, row: Row) -> None:
        """A charge in shift time: plugged in, and free."""
        start, free, wait_min = row["start_min"], row["truck_free_min"], row["start_min"] - row["joined_min"]
        who = _truck(row, "discharged")
        self.at(start, "plugged_in", WAITED if wait_min > 0.0 else None, **who, wait_min=wait_min)
        self.at(free, "truck_free", **who, detail="" if row["back_min"] > free else "back")

    def _exchange(self, row: Row) -> None:
        """One exchange: start, truck free, end."""
        start, free, end = row["start_min"], row["truck_free_min"], row["end_min"]
        wait_min = start - row["joined_min"]
        charged, discharged = int(row["charged"]), int(row["discharged"])
        both = {**_truck(row, "charged"), "discharged": discharged}
        rank = WAITED if wait_min > 0.0 else RANK["exchange_start"]
        where = {"bay": self.bay_of(charged, start), "station": int(row["station"]), "standby": row["standby"] == 1.0}
        self.at(start, "exchange_start", rank, **both, wait_min=wait_min, **where)
        follows = "" if row["back_min"] > free else "back"
        if end > free:
            self.at(free, "truck_free", rank + JUST_AFTER if free == start else None, **both, detail=follows)
            follows = "left"
        after = rank + 2 * JUST_AFTER if end == start else None
        self.at(end, "exchange_end", after, **both, bay=self.bay_of(discharged, end), detail=follows)

    def charges(self) -> None:
        """Batteries on their way from discharged to cooled down."""
        exchanged = {(row["discharged"], row["end_min"]) for row in self.exchange_rows}
        in_shift = {(row["discharged"], row["start_min"]) for row in self.exchange_rows}
        for row in self.charge_rows:
            battery, connected = int(row["battery"]), row["connected_min"]
            who = {**self.about(battery), "queue": int(row["queue"]), "bay": int(row["bay"])}
            charger = "" if isnan(row["charger"]) else self.facts.chargers[int(row["charger"])]
            if row["bay"] >= 0:
                self._to_charger(row, who, charger, came_alone=(battery, row["discharged_min"]) not in exchanged)
            elif (battery, connected) not in in_shift:
                self.at(connected, "plugged_in", **who)
            self._on_charge(row, who, charger)

    def _to_charger(self, row: Row, who: dict[str, int], charger: str, *, came_alone: bool) -> None:
        """A battery in its bay, until it is connected."""
        discharged, connected = row["discharged_min"], row["connected_min"]
        if came_alone:
            self.at(discharged, "discharged", **who)
        if row["start_min"] > connected:
            person = self.who.get((CONNECTING, connected), "")
            self.at(connected, "connect", **who, person=person, detail=charger)

    def _on_charge(self, row: Row, who: dict[str, int], charger: str) -> None:
        """Current on, current off, cooled down."""
        start, end, cooled = row["start_min"], row["end_min"], row["cooled_min"]
        if end > start:
            self.at(start, "charge_start", **who, wait_min=row["delayed_min"] or nan, detail=charger)
            follows = "cools" if cooled > end and row["bay"] >= 0 else ""
            self.at(end, "charge_end", **who, full=row["full"] == 1.0, detail=follows)
        if cooled > end and (row["battery"], cooled) not in self.readies:
            self.at(cooled, "cooled", **who)

    def jobs(self) -> None:
        """Watering and maintenance."""
        for table in ("waterings", "maintenance"):
            for row in self.rows(table, "due_min", "start_min", "end_min"):
                battery, due, start, end = int(row["battery"]), row["due_min"], row["start_min"], row["end_min"]
                task = int(row.get("task", WATERING))
                who = {**self.about(battery), "bay": self.bay_of(battery, due)}
                if start != due:
                    self.at(due, f"{TASKS[task]}_due", **who)
                if end > start:
                    person = self.who.get((task, start), "")
                    self.at(start, f"{TASKS[task]}_start", **who, person=person)
                    self.at(end, f"{TASKS[task]}_end", **who)

    def states(self) -> None:
        """Batteries that become ready, wait, or lie in the middle of something; for a moment does not count there."""
        batteries, states, times, _ = stays(self.record)
        self._ready(batteries, states, times)
        stay = np.ones(states.size, dtype=bool)
        stay[:-1] = (batteries[1:] != batteries[:-1]) | (times[1:] > times[:-1])
        batteries, states, times = batteries[stay], states[stay], times[stay]
        arrivals = {(row["discharged"], row["joined_min"]) for row in self.exchange_rows}
        for row in self._changed(batteries, states, times):
            battery, time, state, before = int(batteries[row]), float(times[row]), int(states[row]), states[row - 1]
            who = self.about(battery)
            plugged = self.plugged[who["queue"]]
            if plugged:
                self._waiting_in_truck(state, before, time, who, arrives=(battery, time) in arrivals)
            what = _CHANGES.get((before, state)) or _CHANGES.get((None, state))
            if what is not None and not (plugged and state == WAITS_FOR_CHARGER):
                self.at(time, what, **who, bay=self.bay_of(battery, time))

    def _ready(self, batteries: Whole, states: Whole, times: Floats) -> None:
        """Batteries that become ready, after a rest or without."""
        for row in self._changed(batteries, states, times):
            if states[row] == READY:
                battery, time = int(batteries[row]), float(times[row])
                follows = "cooled" if (battery, time) in self.cool_downs else ""
                self.at(time, "ready", **self.about(battery), bay=self.bay_of(battery, time), detail=follows)

    def _changed(self, batteries: Whole, states: Whole, times: Floats) -> list[int]:
        """Rows in the window with which a battery goes over to another state."""
        changes = (times >= self.from_min) & (times < self.to_min) & (times > 0.0)
        changes[1:] &= (batteries[1:] != batteries[:-1]) | (states[1:] != states[:-1])
        rows: list[int] = np.flatnonzero(changes).tolist()
        return rows

    def _waiting_in_truck(
        self, state: int, before: float, time_min: float, who: dict[str, int], *, arrives: bool
    ) -> None:
        """A truck that does not work and waits for a charging spot, or ceases to."""
        if state == WAITS_FOR_CHARGER and not arrives:
            self.at(time_min, "waits_for_spot", **who)
        if before == WAITS_FOR_CHARGER and state == IN_TRUCK:
            self.at(time_min, "gives_up", **who)

    def causes(self) -> None:
        """What the queues lack, where no truck says so; those of an area share one queue for charging spots."""
        told = {
            (self.line_of[int(row["queue"])], row["joined_min"])
            for row in self.exchange_rows
            if row["start_min"] != row["joined_min"]
        }
        for queue in sorted(set(self.line_of)):
            since, codes = self.queue_causes[queue]
            last = np.append(since[1:] != since[:-1], True) if since.size else np.empty(0, bool)
            before = float(NOTHING)
            for time, code in zip(since[last].tolist(), codes[last].tolist(), strict=True):
                if code not in {before, NOTHING} and (queue, time) not in told:
                    self.at(time, "cause", queue=queue, cause=CAUSES[int(code)])
                before = code

    def calendar(self) -> None:
        """Attendants on duty and things out of use."""
        before = 0
        for start, _, people in self.facts.attendant_windows:
            if people != before and start > 0.0:
                self.at(start, "attendants", people=people)
            before = people
        for row in self.rows("outages", "from_min", "to_min"):
            thing = int(row["thing"])
            what = {
                "detail": self.facts.things[thing],
                "unit": int(row["unit"]),
                "area": self.facts.area_of_thing[thing],
            }
            self.at(row["from_min"], "outage_start", **what)
            self.at(row["to_min"], "outage_end", **what)

    def counted(self, events: list[Event]) -> list[Event]:
        """Fill in how many trucks wait after each arrival and each exchange that was waited for."""
        rows = self.record.columns("exchanges")
        joined, start = rows["joined_min"], rows["start_min"]
        waits = (joined < self.from_min) & ~(start < self.from_min) & ~(start == joined)
        waits &= ~np.isnan(rows["ready_found"])
        queues = np.array(self.line_of)[rows["queue"].astype(int)]
        count = {queue: int(np.sum(waits & (queues == queue))) for queue in range(len(self.facts.battery_types))}
        result = []
        for event in events:
            queue = self.line_of[event.queue]
            if event.event == "arrive" and event.cause:
                count[queue] += 1
            elif event.event in {"exchange_start", "plugged_in"} and event.wait_min > 0.0:
                count[queue] -= 1
            elif event.event != "cause":
                result.append(event)
                continue
            result.append(event._replace(trucks_waiting=count[queue]))
        return result


def _truck(row: Row, battery: str) -> dict[str, int]:
    """Say which truck, its queue and one of the batteries of its exchange."""
    return {"truck": int(row["truck"]), "queue": int(row["queue"]), "battery": int(row[battery])}
