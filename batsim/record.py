"""What a run leaves behind: a few narrow tables, one for each activity, every column declared once.

Processes only add the numbers of a row to a flat list: that is the cheapest thing there is, and leaves the
garbage collector nothing to look through. Numpy appears when the run is over, pandas only when a person asks for a
table. Times are minutes from Monday 00:00. A row is written when its activity starts, with the times it is planned
to end: an end after the horizon marks work that the run left unfinished.
"""

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from struct import pack
from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.display import Shows

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

STATES = (
    "in truck",
    "in transfer",
    "waiting for a charger",
    "on charge",
    "cooling",
    "being watered",
    "ready",
    "discharged",
    "out of use",
)
"""States of a battery: it is in exactly one at any instant."""
IN_TRUCK, IN_TRANSFER, WAITING, ON_CHARGE, COOLING, WATERED, READY, DISCHARGED, OUT_OF_USE = range(len(STATES))

CAUSES = ("nothing", "battery", "station", "bay", "attendant", "device")
"""What the queue waits for, in the order in which it is asked."""
NOTHING, BATTERY, STATION, BAY, PEOPLE, DEVICE = range(len(CAUSES))

KINDS = ("exchange", "charge in truck", "turned away")
"""Why a truck left its work: for an exchange, for a charge in shift time, or it found no battery."""
EXCHANGE, CHARGE_IN_TRUCK, TURNED_AWAY = range(len(KINDS))

REASONS = ("level", "shift change", "break", "early")
"""Why a truck went for another battery when it did."""
LEVEL, SHIFT_CHANGE, IN_BREAK, EARLY = range(len(REASONS))

PERSONS = ("attendant", "driver")
ATTENDANT, DRIVER = range(len(PERSONS))

TASKS = ("exchange", "connect", "watering", "plug", "inspection", "readings", "wash")
EXCHANGING, CONNECTING, WATERING, PLUGGING, INSPECTING, READING, WASHING = range(len(TASKS))


class Column(NamedTuple):
    """A column of a table: its name, unit and meaning; words where it holds a code."""

    name: str
    unit: str
    meaning: str
    words: tuple[str, ...] = ()


TABLES: dict[str, tuple[Column, ...]] = {
    "exchanges": (
        Column("truck", "-", "number of the truck"),
        Column("group", "-", "number of its group"),
        Column("queue", "-", "number of its queue, one for each battery type"),
        Column("kind", "-", "why it left its work", KINDS),
        Column("discharged", "-", "number of the battery that came in the truck"),
        Column("charged", "-", "number of the battery that left in the truck"),
        Column("soc_share", "-", "state of charge on arrival"),
        Column("below_cut_out", "-", "1 when it arrived below its cut-out"),
        Column("ready_found", "-", "ready batteries of its type when it joined the queue"),
        Column("left_min", "min", "left its work"),
        Column("joined_min", "min", "joined the queue"),
        Column("start_min", "min", "exchange began"),
        Column("truck_free_min", "min", "truck may leave the station"),
        Column("end_min", "min", "last step done, discharged battery in its bay"),
        Column("back_min", "min", "truck back at work"),
        Column("watering_min", "min", "part of the time in which it was watered in the truck"),
        Column("reason", "-", "why it went when it did", REASONS),
        Column("station", "-", "number of the station; -1 without a limit and in the truck"),
        Column("standby", "-", "1 when made with the standby method"),
    ),
    "queues": (
        Column("queue", "-", "number of the queue"),
        Column("cause", "-", "what its first truck waits for from now on", CAUSES),
        Column("from_min", "min", "since when"),
    ),
    "discharges": (
        Column("truck", "-", "number of the truck"),
        Column("group", "-", "number of its group"),
        Column("battery", "-", "number of the battery"),
        Column("start_min", "min", "work with it began"),
        Column("end_min", "min", "work with it ended"),
        Column("soc_from_share", "-", "state of charge at the start"),
        Column("soc_to_share", "-", "state of charge at the end"),
        Column("drawn_ah", "Ah", "ampere-hours drawn"),
        Column("drawn_kwh", "kWh", "energy drawn"),
        Column("start_degc", "degC", "electrolyte at the start"),
        Column("mean_degc", "degC", "its mean over the discharge"),
        Column("end_degc", "degC", "electrolyte at the end"),
        Column("damage", "-", "share of its life that the discharge used up"),
    ),
    "charges": (
        Column("battery", "-", "number of the battery"),
        Column("queue", "-", "number of its battery type"),
        Column("charger", "-", "number of the charger type"),
        Column("bay", "-", "bay it stands in; -1 in the truck"),
        Column("discharged_min", "min", "stood in its bay, waiting"),
        Column("connected_min", "min", "had a charger; connecting began"),
        Column("start_min", "min", "current on"),
        Column("end_min", "min", "current off"),
        Column("cooled_min", "min", "cooled down"),
        Column("soc_from_share", "-", "state of charge at the start"),
        Column("soc_to_share", "-", "state of charge at the end"),
        Column("charged_ah", "Ah", "ampere-hours put in"),
        Column("charged_kwh", "kWh", "energy put in, at the battery"),
        Column("gas_ah", "Ah", "part of the ampere-hours that made gas"),
        Column("start_degc", "degC", "electrolyte when the current came on"),
        Column("end_degc", "degC", "electrolyte when it went off"),
        Column("delayed_min", "min", "start put off because the battery was too warm or too cold"),
        Column("full", "-", "1 when it ended full"),
        Column("equalising_min", "min", "part of it that was an equalising charge"),
    ),
    "charge_phases": (
        Column("battery", "-", "number of the battery"),
        Column("queue", "-", "number of the battery type"),
        Column("charger", "-", "number of the charger type"),
        Column("start_min", "min", "phase began"),
        Column("hours", "h", "its length"),
        Column("start_a", "A", "current at its start"),
        Column("decay_per_h", "1/h", "decay of the current; 0 where it is constant"),
        Column("volts_per_cell", "V", "mean voltage of a cell"),
        Column("soc_from_share", "-", "state of charge at its start"),
        Column("soc_to_share", "-", "state of charge at its end"),
        Column(
            "acceptance_per_h", "1/h", "decay of what is missing, the rest makes gas; 0: all in proportion is stored"
        ),
        Column("side_gas_a", "A", "gas current at a held voltage, beside what the phase itself makes"),
    ),
    "waterings": (
        Column("battery", "-", "number of the battery"),
        Column("due_min", "min", "due and out of charge and cool-down"),
        Column("start_min", "min", "began"),
        Column("end_min", "min", "ended"),
        Column("water_kg", "kg", "water put in"),
    ),
    "maintenance": (
        Column("battery", "-", "number of the battery"),
        Column("task", "-", "what: inspection, readings or wash", TASKS),
        Column("due_min", "min", "due and out of charge and cool-down"),
        Column("start_min", "min", "began"),
        Column("end_min", "min", "ended"),
    ),
    "devices": (
        Column("device", "-", "number of the kind of device"),
        Column("unit", "-", "which of its kind"),
        Column("start_min", "min", "held from then on"),
        Column("end_min", "min", "free again"),
        Column("metres", "m", "way that it went; 0 where no positions are stated"),
    ),
    "outages": (
        Column("thing", "-", "number of the kind of thing that is out: `Facts.things`"),
        Column("unit", "-", "which of its kind; -1 where they are not told apart"),
        Column("from_min", "min", "out from then on"),
        Column("to_min", "min", "back in use"),
    ),
    "work": (
        Column("person", "-", "who", PERSONS),
        Column("task", "-", "what", TASKS),
        Column("start_min", "min", "began"),
        Column("end_min", "min", "free again"),
        Column("hands_on_min", "min", "people-minutes of hands-on work in it"),
        Column("people", "-", "how many were kept"),
    ),
    "battery_states": (
        Column("battery", "-", "number of the battery"),
        Column("state", "-", "state from now on", STATES),
        Column("from_min", "min", "since when"),
    ),
}
"""The tables of a record."""


@dataclass(frozen=True)
class Facts:
    """What a record needs to know about the room it came from."""

    layout: str
    in_truck: bool
    seed: int
    replication: int
    horizon_min: float
    warm_up_min: float
    groups: tuple[str, ...]
    group_trucks: tuple[int, ...]
    group_windows: tuple[tuple[tuple[float, float], ...], ...]
    group_shift_min: tuple[float, ...]
    """Mean working minutes of one shift. [min]"""
    site_windows: tuple[tuple[float, float], ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""
    queues: tuple[str, ...]
    queue_cells: tuple[int, ...]
    queue_capacity_ah: tuple[float, ...]
    """Capacity of each battery type at the 5 h rate. [Ah]"""
    queue_room_tau_h: tuple[float, ...]
    """Thermal time constant of each battery type in its bay. [h]"""
    queue_truck_tau_h: tuple[float, ...]
    """Thermal time constant of each battery type in a truck. [h]"""
    queue_charge_degc: tuple[tuple[float, float], ...]
    """Electrolyte temperatures between which a charge of each battery type may begin. [degC]"""
    queue_use_below_degc: tuple[float, ...]
    """Electrolyte temperature above which use of each battery type counts as a hot start. [degC]"""
    queue_vented_share: tuple[float, ...]
    """Share of its gas that leaves each battery type. [-]"""
    queue_life_ah: tuple[float, ...]
    """Ampere-hours that each battery type gives in its life at the depth of the cycle test. [Ah]"""
    queue_discharge_to_share: tuple[float, ...]
    """Cut-out of each battery type. [-]"""
    queue_water_reserve_ah: tuple[float, ...]
    """Ampere-hours of gassing that use up the water above the plates; infinite where none is added. [Ah]"""
    queue_batteries: tuple[int, ...]
    battery_queues: tuple[int, ...]
    """Battery type of each battery."""
    stations: float
    bay: str
    """What holds a battery out of a truck."""
    bays: float
    devices: tuple[str, ...]
    """Kinds of device, those of the standby method last."""
    device_counts: tuple[float, ...]
    chargers: tuple[str, ...]
    charger_counts: tuple[float, ...]
    charger_efficiency: tuple[float, ...]
    charger_power_factor: tuple[float, ...]
    charger_standby_kw: tuple[float, ...]
    """Power from the wall while a charger gives no current. [kW]"""
    attendant_windows: tuple[tuple[float, float, int], ...]
    """Attendants on duty: from, to, how many. Empty when attendants is unlimited or drivers do it all."""

    @property
    def things(self) -> tuple[str, ...]:
        """Kinds of thing that may be out of use, in the order of the outages table."""
        return ("station", *self.devices, *self.chargers)

    @property
    def trucks(self) -> int:
        """Trucks in all groups."""
        return sum(self.group_trucks)

    @property
    def batteries(self) -> int:
        """Batteries in all types."""
        return sum(self.queue_batteries)


class Record(Shows):
    """The rows of one run, and the facts of its room.

    ``write[table]`` takes the numbers of one row, in the order of the table's columns.
    """

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self._flat: dict[str, list[float]] = {name: [] for name in TABLES}
        self._packed = {name: array("d") for name in TABLES}
        self.write: dict[str, Callable[[Iterable[float]], None]] = {
            name: numbers.extend for name, numbers in self._flat.items()
        }

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.facts.layout}, replication {self.facts.replication}, seed {self.facts.seed}"

    def pack(self) -> None:
        """Move what has been written into packed arrays, a quarter of the size."""
        for name, numbers in self._flat.items():
            if numbers:
                self._packed[name].frombytes(pack(f"{len(numbers)}d", *numbers))
                numbers.clear()

    def count(self, table: str) -> int:
        """Rows of a table."""
        return len(self._numbers(table)) // len(TABLES[table])

    def rows(self, table: str) -> list[tuple[float, ...]]:
        """Rows of a table as tuples, in the order in which they were written."""
        numbers, width = self._numbers(table), len(TABLES[table])
        return [tuple(numbers[start : start + width]) for start in range(0, len(numbers), width)]

    def _numbers(self, table: str) -> "array[float]":
        """All numbers of a table, row after row."""
        self.pack()
        return self._packed[table]

    def columns(self, table: str) -> "dict[str, np.ndarray[Any, np.dtype[np.float64]]]":
        """Columns of a table as arrays, in the order in which rows were written."""
        import numpy as np  # noqa: PLC0415 - the record can be made without numpy

        names = [column.name for column in TABLES[table]]
        matrix = np.array(self._numbers(table)).reshape(-1, len(names))
        return dict(zip(names, matrix.T.copy(), strict=True))

    def frame(self, table: str) -> "pd.DataFrame":
        """Table for people: codes written as words, times in minutes from Monday 00:00.

        Rows that ran over the horizon carry ``finished`` False.
        """
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        frame = pd.DataFrame(self.columns(table))
        for column in TABLES[table]:
            if column.words:
                frame[column.name] = [column.words[int(code)] for code in frame[column.name]]
        if "end_min" in frame:
            frame["finished"] = frame["end_min"] < self.facts.horizon_min
        return frame
