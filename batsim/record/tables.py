"""Tables of a record: their rows, each column declared once, and what writes them.

Processes only add the numbers of a row to a flat list: that is the cheapest thing there is, and leaves the garbage
collector nothing to look through. A row is written when its activity starts, with the times it is planned to end: an
end after the horizon marks work that the run left unfinished. Times are minutes from Monday 00:00.
"""

from collections.abc import Callable
from functools import cache
from math import nan
from typing import Annotated, Any, ClassVar, NamedTuple, ParamSpec, TypeVar, cast, dataclass_transform

from batsim.formulas.phases import Phase
from batsim.record.words import CAUSES, EXCHANGING, KINDS, PERSONS, REASONS, STATES, TASKS


class Column(NamedTuple):
    """A column of a table: its name, unit and meaning; words where it holds a code."""

    name: str
    unit: str
    meaning: str
    words: tuple[str, ...] = ()


P = ParamSpec("P")
R = TypeVar("R")
TABLES: dict[str, tuple[Column, ...]] = {}
"""The tables of a record, and their columns."""
_ROWS: dict[str, type["Row"]] = {}


def part_columns(hint: Any) -> tuple[Column, ...]:  # noqa: ANN401 - what something is annotated with
    """Columns of a part of a row, by what it is annotated with; none where that is one column."""
    first, *_ = getattr(hint, "__metadata__", [None])
    if first is None:
        return _columns_of(hint)
    return hint.__metadata__ if isinstance(first, Column) else ()


def _columns_of(row: type) -> tuple[Column, ...]:
    """Columns that a row type declares, those of its parts among them."""
    columns: list[Column] = []
    for name, hint in row.__annotations__.items():
        columns += part_columns(hint) or [Column(name, *hint.__metadata__)]
    return tuple(columns)


@dataclass_transform(kw_only_default=True)
class Row:
    """A row of a table: what it is annotated with declares the columns, in order.

    No row is ever made: its writer takes the numbers by these names and adds them to the table. What has a default
    may be left out of a row that is written before all is known.
    """

    table: ClassVar[str]

    def __init_subclass__(cls, table: str) -> None:
        cls.table = table
        TABLES[table], _ROWS[table] = _columns_of(cls), cls


class Coming(NamedTuple):
    """How a truck came to the room: part of the row of its visit."""

    truck: Annotated[int, "-", "number of the truck"]
    group: Annotated[int, "-", "number of its group"]
    queue: Annotated[int, "-", "number of its queue, one for each battery type"]
    kind: Annotated[int, "-", "why it left its work", KINDS]
    discharged: Annotated[int, "-", "number of the battery that came in the truck"]
    soc_share: Annotated[float, "-", "state of charge on arrival"]
    below_cut_out: Annotated[int, "-", "1 when it arrived below its cut-out"]
    ready_found: Annotated[float, "-", "ready batteries of its type when it joined the queue"]
    left_min: Annotated[float, "min", "left its work"]
    joined_min: Annotated[float, "min", "joined the queue"]
    reason: Annotated[int, "-", "why it went when it did", REASONS]
    fetched_min: Annotated[float, "min", "part of its way in which it stood, empty, until it was fetched"]


class ExchangeRow(Row, table="exchanges"):
    """A truck's visit to the room, whether it got another battery, was charged or turned away."""

    came: Coming
    charged: Annotated[int, "-", "number of the battery that left in the truck; -1 when none has yet"]
    start_min: Annotated[float, "min", "exchange began"] = nan
    truck_free_min: Annotated[float, "min", "truck may leave the station"] = nan
    end_min: Annotated[float, "min", "last step done, discharged battery in its bay"] = nan
    back_min: Annotated[float, "min", "truck back at work"] = nan
    watering_min: Annotated[float, "min", "part of the time in which it was watered in the truck"] = 0.0
    station: Annotated[int, "-", "number of the station; -1 without a limit and in the truck"] = -1
    standby: Annotated[int, "-", "1 when made with the standby method"] = 0


class QueueRow(Row, table="queues"):
    """A change of what a queue waits for."""

    queue: Annotated[int, "-", "number of the queue"]
    cause: Annotated[int, "-", "what its first truck waits for from now on", CAUSES]
    from_min: Annotated[float, "min", "since when"]


class Drawn(NamedTuple):
    """What a discharge takes from a battery: part of its row."""

    soc_from_share: Annotated[float, "-", "state of charge at the start"]
    soc_to_share: Annotated[float, "-", "state of charge at the end"]
    drawn_ah: Annotated[float, "Ah", "ampere-hours drawn"]
    drawn_kwh: Annotated[float, "kWh", "energy drawn"]
    way_kwh: Annotated[float, "kWh", "part of it drawn on the way from and to the room"]
    depth_share: Annotated[float, "-", "ampere-hours that it lacks at the end, over the rated ones"]


class Warmth(NamedTuple):
    """How warm a battery is in a discharge: part of its row."""

    start_degc: Annotated[float, "degC", "electrolyte at the start"]
    mean_degc: Annotated[float, "degC", "its mean over the discharge"]
    end_degc: Annotated[float, "degC", "electrolyte at the end"]


class DischargeRow(Row, table="discharges"):
    """A truck's work on one battery, from one visit to the room to the next."""

    truck: Annotated[int, "-", "number of the truck"]
    group: Annotated[int, "-", "number of its group"]
    battery: Annotated[int, "-", "number of the battery"]
    start_min: Annotated[float, "min", "work with it began"]
    end_min: Annotated[float, "min", "work with it ended"]
    drawn: Drawn
    warmth: Warmth
    ageing_degc: Annotated[float, "degC", "mean electrolyte temperature since the discharge before, which ages it"]
    damage: Annotated[float, "-", "share of its life that the discharge used up"]


class TruckShiftRow(Row, table="truck_shifts"):
    """A scheduled shift of a truck, and the power drawn for it; no rows where run times are stated."""

    truck: Annotated[int, "-", "number of the truck"]
    group: Annotated[int, "-", "number of its group"]
    start_min: Annotated[float, "min", "shift begins"]
    end_min: Annotated[float, "min", "shift ends"]
    power_w: Annotated[float, "W", "mean power over its working time"]


class StandRow(Row, table="stands"):
    """A truck that stands because its driver lends a hand with another truck's exchange, or maintains a battery."""

    truck: Annotated[int, "-", "number of the truck"]
    group: Annotated[int, "-", "number of its group"]
    start_min: Annotated[float, "min", "called from work"]
    end_min: Annotated[float, "min", "at work again"]
    task: Annotated[int, "-", "what its driver does meanwhile", TASKS] = EXCHANGING


class Standing(NamedTuple):
    """A battery before its charge: part of the row of the charge."""

    battery: Annotated[int, "-", "number of the battery"]
    queue: Annotated[int, "-", "number of its battery type"]
    charger: Annotated[float, "-", "number of the charger type"]
    bay: Annotated[int, "-", "bay it stands in; -1 in the truck"]
    discharged_min: Annotated[float, "min", "stood in its bay, waiting"]


class ChargeRow(Row, table="charges"):
    """A charge, from the battery's waiting for a charger to the end of its cool-down."""

    standing: Standing
    connected_min: Annotated[float, "min", "had a charger; connecting began"] = nan
    start_min: Annotated[float, "min", "current on"] = nan
    end_min: Annotated[float, "min", "current off"] = nan
    cooled_min: Annotated[float, "min", "cooled down"] = nan
    soc_from_share: Annotated[float, "-", "state of charge at the start"] = nan
    soc_to_share: Annotated[float, "-", "state of charge at the end"] = nan
    charged_ah: Annotated[float, "Ah", "ampere-hours put in"] = nan
    charged_kwh: Annotated[float, "kWh", "energy put in, at the battery"] = nan
    gas_ah: Annotated[float, "Ah", "part of the ampere-hours that made gas"] = nan
    start_degc: Annotated[float, "degC", "electrolyte when the current came on"] = nan
    end_degc: Annotated[float, "degC", "electrolyte when it went off"] = nan
    delayed_min: Annotated[float, "min", "start delayed because the battery was too warm or too cold"] = nan
    full: Annotated[float, "-", "1 when it ended full"] = nan
    equalising_min: Annotated[float, "min", "part of it that was an equalising charge"] = nan


PHASE_COLUMNS = (
    Column("hours", "h", "its length"),
    Column("start_a", "A", "current at its start"),
    Column("decay_per_h", "1/h", "decay of the current; 0 where it is constant"),
    Column("volts_per_cell", "V", "voltage of a cell at its start; the mean where it does not rise"),
    Column("soc_from_share", "-", "state of charge at its start"),
    Column("soc_to_share", "-", "state of charge at its end"),
    Column("acceptance_per_h", "1/h", "decay of what is missing, the rest makes gas; 0: all in proportion is stored"),
    Column("rise_v", "V", "how far the voltage rises until its end, in proportion to the ampere-hours given"),
)
"""Columns of a phase, in the order of its own fields."""


class ChargePhaseRow(Row, table="charge_phases"):
    """A phase of a charge, or a piece of one that was interrupted."""

    battery: Annotated[int, "-", "number of the battery"]
    queue: Annotated[int, "-", "number of the battery type"]
    charger: Annotated[int, "-", "number of the charger type"]
    start_min: Annotated[float, "min", "phase began"]
    phase: Annotated[Phase, *PHASE_COLUMNS]
    side_gas_a: Annotated[float, "A", "gas current at a held voltage, beside what the phase itself makes"]


class WateringRow(Row, table="waterings"):
    """A battery that gets water, or waits for it."""

    battery: Annotated[int, "-", "number of the battery"]
    due_min: Annotated[float, "min", "due and out of charge and cool-down"]
    start_min: Annotated[float, "min", "began"] = nan
    end_min: Annotated[float, "min", "ended"] = nan
    water_kg: Annotated[float, "kg", "water put in"] = nan


class MaintenanceRow(Row, table="maintenance"):
    """Maintenance of a battery other than watering, or its wait for it."""

    battery: Annotated[int, "-", "number of the battery"]
    task: Annotated[int, "-", "what: inspection, readings or wash", TASKS]
    due_min: Annotated[float, "min", "due and out of charge and cool-down"]
    start_min: Annotated[float, "min", "began"] = nan
    end_min: Annotated[float, "min", "ended"] = nan


class DeviceRow(Row, table="devices"):
    """A device that is held for an exchange, or for watering."""

    device: Annotated[int, "-", "number of the kind of device"]
    unit: Annotated[int, "-", "which of its kind"]
    start_min: Annotated[float, "min", "held from then on"]
    end_min: Annotated[float, "min", "free again"]
    metres: Annotated[float, "m", "way that it went; 0 where no positions are stated"]


class ChargerRow(Row, table="chargers"):
    """A charger that a battery keeps from others, with current or without."""

    charger: Annotated[int, "-", "number of the charger type"]
    battery: Annotated[int, "-", "number of the battery"]
    from_min: Annotated[float, "min", "taken from then on"]
    to_min: Annotated[float, "min", "free again"] = nan


class OutageRow(Row, table="outages"):
    """A thing out of use."""

    thing: Annotated[int, "-", "number of the kind of thing that is out: `RunFacts.things`"]
    unit: Annotated[int, "-", "which of its kind; -1 where they are not told apart"]
    from_min: Annotated[float, "min", "out from then on"]
    to_min: Annotated[float, "min", "back in use"]


class WorkRow(Row, table="work"):
    """People at work."""

    area: Annotated[int, "-", "number of the area"]
    person: Annotated[int, "-", "who", PERSONS]
    task: Annotated[int, "-", "what", TASKS]
    start_min: Annotated[float, "min", "began"]
    end_min: Annotated[float, "min", "free again"]
    hands_on_min: Annotated[float, "min", "people-minutes of hands-on work in it"]
    people: Annotated[int, "-", "how many were kept"] = 1
    overtime: Annotated[int, "-", "1 for what lies after the end of their shift, or in their break"] = 0


class BatteryRow(Row, table="batteries"):
    """A battery as it is at the start."""

    battery: Annotated[int, "-", "number of the battery"]
    queue: Annotated[int, "-", "number of its battery type"]
    lot: Annotated[int, "-", "number of its lot within the type; 0 where lots are not told apart"]
    capacity_share: Annotated[float, "-", "capacity that it has left, over the rated one"]
    life_used_share: Annotated[float, "-", "share of its life that it has behind it"]
    age_years: Annotated[float, "years", "its age, as far as that is stated"]


class BatteryStateRow(Row, table="battery_states"):
    """A battery's change of state."""

    battery: Annotated[int, "-", "number of the battery"]
    state: Annotated[int, "-", "state from now on", STATES]
    from_min: Annotated[float, "min", "since when"]


@cache
def _writer_to(table: str) -> Any:  # noqa: ANN401 - a function that makes the writer of a table
    """Compile the writer of a table once: between the names and the table stands nothing but a tuple, or a list."""
    fields, defaults = _ROWS[table].__annotations__, vars(_ROWS[table])
    parameters = ", ".join(f"{name}={defaults[name]!r}" if name in defaults else name for name in fields)
    numbers = ", ".join(f"*{name}" if part_columns(hint) else name for name, hint in fields.items())
    row = f"[{numbers}]" if "*" in numbers else f"({numbers},)"
    return eval(f"lambda add: lambda *, {parameters}: add({row})", {"nan": nan})


def _writer(row: Callable[P, Row], numbers: dict[str, list[float]]) -> Callable[P, None]:
    """Make what adds a row to its table; its numbers are given by name."""
    table = cast("type[Row]", row).table
    write: Callable[P, None] = _writer_to(table)(numbers[table].extend)
    return write


def _part(part: Callable[P, R]) -> Callable[P, R]:
    """Make what gathers a part of a row by name: as a plain tuple, in a third of the time."""
    names = ", ".join(cast("type", part).__annotations__)
    gather: Callable[P, R] = eval(f"lambda *, {names}: ({names})")
    return gather


coming, standing = _part(Coming), _part(Standing)


class Writers:
    """What writes rows, one for each table; numbers are given by the names of the columns."""

    def __init__(self, numbers: dict[str, list[float]]) -> None:
        self.exchanges = _writer(ExchangeRow, numbers)
        self.queues = _writer(QueueRow, numbers)
        self.discharges = _writer(DischargeRow, numbers)
        self.truck_shifts = _writer(TruckShiftRow, numbers)
        self.stands = _writer(StandRow, numbers)
        self.charges = _writer(ChargeRow, numbers)
        self.charge_phases = _writer(ChargePhaseRow, numbers)
        self.waterings = _writer(WateringRow, numbers)
        self.maintenance = _writer(MaintenanceRow, numbers)
        self.devices = _writer(DeviceRow, numbers)
        self.chargers = _writer(ChargerRow, numbers)
        self.outages = _writer(OutageRow, numbers)
        self.work = _writer(WorkRow, numbers)
        self.batteries = _writer(BatteryRow, numbers)
        self.battery_states = _writer(BatteryStateRow, numbers)
