"""Where everything stands in the drawing of a room: the same for the moving picture and for still frames."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, groupby
from math import inf
from typing import NamedTuple

from batsim.display import counted, words
from batsim.record.facts import AreaFacts
from batsim.record.words import CAUSES, PERSONS
from batsim.study.replay.people import ELSEWHERE, OFF_DUTY
from batsim.study.replay.replay import Replay
from batsim.study.replay.trucks import TRUCK_STATES, WAITS
from batsim.study.replay.window import (
    BATTERY,
    BAY,
    CHARGER,
    DEVICE,
    FROM_TRUCK,
    QUEUE,
    STATION,
    TO_TRUCK,
    TRUCK,
    WAY,
    WORK,
    Step,
    Thing,
)
from batsim.views.charts.names_fit import names_fit
from batsim.views.charts.palette import CAUSE_LOOKS, CHARGER_LOOKS, STATE_LOOKS, TASK_LOOKS, Look, looks_of

WIDTH = 740
"""Width of the drawing. Printed over a sheet of A4, a letter of 12 is 8 pt high."""
BETWEEN, GAP, LABEL, LETTER = 24, 3, 17, 7.2
"""Between areas and blocks; between cells; height of a label; width of a letter in it, about."""
MOST_BESIDE = 2
"""Areas that stand beside one another."""
Cell = tuple[int, int]
"""Width and height."""
BOX: Cell = (36, 18)
"""A truck, a battery."""
CHIP: Cell = (20, 14)
"""A charger; what tells the state of a device or a person, whose words stand beside it."""
NUMBER = 24
"""Width of the number of a station."""
STATION_CELL: Cell = (NUMBER + 3 * (BOX[0] + GAP), BOX[1] + 2 * GAP)
"""A station: its number, the truck, the battery out of it, the battery into it."""
SPOT_CELL: Cell = (NUMBER + BOX[0] + GAP, BOX[1] + 2 * GAP)
"""A charging spot: its number, the truck."""
BESIDE_CHIP, NAME_LETTERS = 6, 24
"""Between a chip and its words; letters of the name of a device."""
QUEUE_LETTERS = 48
"""Letters of the longest label of a queue."""
BOX_OF_STATION, WORDS = "box", "words"
"""Places of the outline of a station and of the label of a queue."""
BOXES = {STATION: BOX_OF_STATION, QUEUE: WORDS}
HIDDEN = (OFF_DUTY, ELSEWHERE)
"""States of people who are not in the room."""
OUTLINED = (WAY, QUEUE, BAY)
"""Places that are seen when nothing stands there."""
WAIT_LOOKS = {state: CAUSE_LOOKS[cause] for state, cause in zip(WAITS, CAUSES, strict=True)}
"""What a truck waits for."""
BATTERY_LOOKS: dict[str, Look] = {state: (*look[:2], state) for state, look in STATE_LOOKS.items()}
LOOKS: dict[str, dict[str, Look]] = {
    TRUCK: {state: (looks_of("truck") | WAIT_LOOKS)[state] for state in TRUCK_STATES} | BATTERY_LOOKS,
    BATTERY: BATTERY_LOOKS,
    CHARGER: looks_of("thing") | {state: (*look, state) for state, look in CHARGER_LOOKS.items()},
    **{kind: looks_of("thing") for kind in (STATION, DEVICE)},
    **{kind: looks_of("thing") | TASK_LOOKS for kind in PERSONS},
}
"""How things look, by kind and state."""
WAITING = frozenset(look for state, look in LOOKS[TRUCK].items() if state.startswith("waits"))
"""Looks of trucks that wait, in the queue, on the way or plugged in; they have a mark beside their fill."""

Place = tuple[str, int, int]
"""What it is, its area, its number; of things that stay where they are their position in the replay."""
Point = tuple[int, int]


class Block(NamedTuple):
    """Cells of a kind under a label."""

    label: str
    places: tuple[Place, ...]
    cell: Cell
    letters: int = 0
    """Room for a label that changes."""


@dataclass(frozen=True)
class Scene:
    """Where everything stands."""

    width: int
    height: int
    points: dict[Place, Point]
    """Upper left corner of each cell."""
    cells: dict[Place, Cell]
    labels: list[tuple[int, int, str]]
    """Where which label begins."""
    titles: list[tuple[int, int, str]]
    """Where the name of which area begins."""


class _Sheet:
    """A column of a drawing that blocks are put on, beside one another where there is room."""

    def __init__(self, left: int, top: int, width: int) -> None:
        self.left, self.top, self.width = left, top, width
        self.across = self.down = 0
        self.points: dict[Place, Point] = {}
        self.cells: dict[Place, Cell] = {}
        self.labels: list[tuple[int, int, str]] = []
        self.titles: list[tuple[int, int, str]] = []

    @property
    def bottom(self) -> int:
        """Where the next row of blocks would begin."""
        return self.top + self.down

    def begin(self, title: str) -> None:
        """Begin an area below whatever is there."""
        self.across, self.top, self.down = 0, self.bottom + (BETWEEN - GAP if self.points else 0), 0
        self.titles.append((self.left, self.top + 12, self._fitted(title)))
        self.top += LABEL + GAP

    def _fitted(self, words: str) -> str:
        """Words that are no wider than the column."""
        return names_fit([words], round(self.width / LETTER), 1)[0]

    def put(self, block: Block) -> None:
        """Put a block beside the last one, or below."""
        across, down = block.cell[0] + GAP, block.cell[1] + GAP
        wide = min(self.width, max(len(block.places) * across, round(LETTER * (block.letters or len(block.label)))))
        if self.across + wide > self.width:
            self.across, self.top, self.down = 0, self.bottom, 0
        left, columns = self.left + self.across, max(1, (self.width + GAP) // across)
        if block.label:
            self.labels.append((left, self.top + 12, self._fitted(block.label)))
        for number, place in enumerate(block.places):
            row, column = divmod(number, columns)
            point = (left + across * column, self.top + LABEL + down * row)
            self.cells[place], self.points[place] = block.cell, point
            if place[0] == BOX_OF_STATION:
                self._fit_out(place, point)
        if block.letters:
            self.points[WORDS, block.places[0][1], 0] = (left, self.top)
        rows = -(-len(block.places) // columns)
        self.across += wide + BETWEEN
        self.down = max(self.down, LABEL + down * rows + GAP)

    def _fit_out(self, place: Place, point: Point) -> None:
        """Make room in a station for its truck and the batteries of the exchange."""
        for beside, what in enumerate((STATION, FROM_TRUCK, TO_TRUCK)):
            self.points[what, *place[1:]] = (point[0] + NUMBER + beside * (BOX[0] + GAP), point[1] + GAP)


def scene_of(replay: Replay) -> Scene:
    """Put the areas of a room beside one another, each where there is most room, and its people below."""
    sheets = _areas_beside(replay)
    below = _Sheet(0, max(sheet.bottom for sheet in sheets), WIDTH)
    people = [each for kind in PERSONS for each in _own(replay, kind, -1)]
    if any(step.state not in HIDDEN for _, person in people for step in person.steps):
        below.put(_in_words("People", people))
    sheets.append(below)
    return Scene(
        WIDTH,
        below.bottom,
        dict(chain.from_iterable(sheet.points.items() for sheet in sheets)),
        dict(chain.from_iterable(sheet.cells.items() for sheet in sheets)),
        list(chain.from_iterable(sheet.labels for sheet in sheets)),
        list(chain.from_iterable(sheet.titles for sheet in sheets)),
    )


def _areas_beside(replay: Replay) -> list[_Sheet]:
    """Put areas into columns, each into the one that is shortest."""
    areas = replay.facts.areas
    columns = min(MOST_BESIDE, len(areas))
    width = (WIDTH - BETWEEN * (columns - 1)) // columns
    sheets = [_Sheet(column * (width + BETWEEN), 0, width) for column in range(columns)]
    for number, area in enumerate(areas):
        sheet = min(sheets, key=lambda sheet: sheet.bottom)
        if area.name:
            sheet.begin(f"Area {area.name}")
        for block in _blocks(replay, number, area):
            sheet.put(block)
    return sheets


Numbered = tuple[int, Thing]
"""A thing and its position in the replay."""


def _own(replay: Replay, kind: str, area: int) -> list[Numbered]:
    """Things of a kind in an area."""
    return [(which, thing) for which, thing in enumerate(replay.things) if thing.kind == kind and thing.area == area]


def _blocks(replay: Replay, number: int, area: AreaFacts) -> Iterator[Block]:
    """Blocks of an area, from where trucks work to where batteries are charged."""
    trucks = _own(replay, TRUCK, number)
    for group in (replay.facts.groups[group] for group in area.groups):
        places = tuple((WORK, number, thing.number) for _, thing in trucks if thing.name == group)
        yield Block(f"At work: {group}, {counted(len(places), 'truck')}", places, BOX)
    yield Block("On the way", _used(trucks, WAY, number), BOX)
    yield Block("", _used(trucks, QUEUE, number), BOX, QUEUE_LETTERS)
    name, cell = ("charging spot", SPOT_CELL) if area.in_truck else ("exchange station", STATION_CELL)
    stations = tuple((BOX_OF_STATION, number, thing.number) for _, thing in _own(replay, STATION, number))
    yield Block(counted(len(stations), name), stations, cell)
    devices = _own(replay, DEVICE, number)
    if devices:
        yield _in_words("Devices", devices)
    if not area.in_truck:
        yield _bays(_own(replay, BATTERY, number), number, area)
    yield from _chargers(replay, number)


def _bays(batteries: Sequence[Numbered], number: int, area: AreaFacts) -> Block:
    """Block of all bays, or of those that are used where there is no limit."""
    used = len(_used(batteries, BAY, number))
    bays = max(used, int(area.bays)) if area.bays < inf else used
    return Block(counted(bays, area.bay), tuple((BAY, number, bay) for bay in range(bays)), BOX)


def _chargers(replay: Replay, number: int) -> Iterator[Block]:
    """Blocks of the chargers of an area, one for each type."""
    chargers = groupby(_own(replay, CHARGER, number), key=lambda each: each[1].name)
    for charger, each in chargers:
        places = tuple((CHARGER, number, which) for which, _ in each)
        yield Block(f"{counted(len(places), 'charger')}, {words(charger)}", places, CHIP)


def _in_words(label: str, things: Sequence[Numbered]) -> Block:
    """Block of things that are chips with words, wide enough for the longest of them."""
    steps = [(thing, step) for _, thing in things for step in thing.steps if step.state not in HIDDEN]
    letters = max(len(words_of(thing, step)) for thing, step in steps)
    cell = (CHIP[0] + BESIDE_CHIP + round(LETTER * letters), BOX[1])
    return Block(label, tuple((thing.kind, thing.area, which) for which, thing in things), cell)


def _used(own: Sequence[Numbered], at: str, area: int) -> tuple[Place, ...]:
    """Places of a kind up to the last that is used in the window, one at least."""
    last = max((step.number for _, thing in own for step in thing.steps if step.at == at), default=0)
    return tuple((at, area, number) for number in range(last + 1))


def point_of(scene: Scene, which: int, thing: Thing, step: Step) -> Point | None:
    """Where a thing is drawn at one of its steps; nowhere while it is not in the room, or inside a truck."""
    if thing.kind in (TRUCK, BATTERY):
        return scene.points.get((step.at, thing.area, thing.number if step.at == WORK else step.number))
    if thing.kind in (STATION, QUEUE):
        return scene.points.get((BOXES[thing.kind], thing.area, thing.number))
    return None if step.state in HIDDEN else scene.points[thing.kind, thing.area, which]


def words_of(thing: Thing, step: Step) -> str:
    """What is written on a thing, or beside it; numbers count from 1."""
    number = str(thing.number + 1)
    if thing.kind in (TRUCK, BATTERY, STATION):
        return number
    if thing.kind == CHARGER:
        return ""
    if thing.kind == QUEUE:
        if not step.number:
            return "Waiting: no truck"
        return f"Waiting: {counted(step.number, 'truck')}, the first {WAIT_LOOKS[step.state][2]}"
    (name,) = names_fit([words(thing.name or thing.kind)], NAME_LETTERS, 1)
    return f"{name} {number}: {LOOKS[thing.kind][step.state][2]}"
