"""The room of a replay as SVG at one instant, the legend of what is seen, and the same as data for what moves."""

from collections import defaultdict
from collections.abc import Iterator
from functools import cached_property
from html import escape
from itertools import chain
from typing import Any, NamedTuple

from batsim.record.words import PERSONS
from batsim.study.replay.replay import Replay
from batsim.study.replay.window import BATTERY, CHARGER, DEVICE, QUEUE, STATION, TRUCK, Step, Thing
from batsim.views.charts.palette import Look
from batsim.views.page.hatches import fill_of, patterns
from batsim.views.page.replay_scene import (
    BESIDE_CHIP,
    BOX,
    BOX_OF_STATION,
    CHIP,
    LETTER,
    LOOKS,
    OUTLINED,
    WAITING,
    WIDTH,
    Cell,
    Point,
    point_of,
    scene_of,
    words_of,
)

INK, SOFT, LINE = "#1c2430", "#55606e", "#c9d0d8"
"""Colours of words, of what is written beside things, and of empty places; those of the page."""
ROOT = f'font-family="DejaVu Sans, Verdana, Liberation Sans, Arial, sans-serif" font-size="12" fill="{INK}"'
EDGES = {TRUCK: (INK, 1.8), STATION: (SOFT, 1.0)}
USUAL_EDGE = ("#4d4d4d", 0.6)
"""Colour and width of the edges of things. As attributes, for not all that prints a page reads its style."""
ORDER = (STATION, BATTERY, CHARGER, DEVICE, *PERSONS, QUEUE, TRUCK)
"""Kinds from the bottom to the top."""
BOXES = (TRUCK, BATTERY)
"""Kinds whose words stand on them, on a white ground of their own so that hatches leave them legible."""
SIZES: dict[str, Cell] = {TRUCK: BOX, BATTERY: BOX, QUEUE: (0, 0), **dict.fromkeys((CHARGER, DEVICE, *PERSONS), CHIP)}
"""Sizes of what is filled; of a station that of its cell."""
WORDS_AT = {STATION: (5, 16), QUEUE: (0, 12), **dict.fromkeys((DEVICE, *PERSONS), (CHIP[0] + BESIDE_CHIP, 12))}
"""Where words begin, from the upper left corner."""
DIGIT, GROUND, BASE = 8, 14, 13
"""Width of a digit on a box, height of its white ground, and how far down it is written."""
HEADS = {TRUCK: "Trucks", BATTERY: "Batteries", CHARGER: "Chargers", DEVICE: "Stations and devices", "people": "People"}
"""Kinds in the legend, under their heads."""
OF_LEGEND = {STATION: DEVICE, **dict.fromkeys(PERSONS, "people")}
CORNER = "h9l-9 9z"
"""The dark corner of a truck that waits, whatever its fill, from the corner of its box on."""
EDGE = 2
"""Around the picture."""
LEGEND_LINE, LEGEND_INSET = 20, 158
"""Height of the lines of a legend, and where its words begin beside the heads."""


class Mark(NamedTuple):
    """How a thing is drawn at one of its steps."""

    point: Point
    look: Look
    words: str
    waits: bool = False
    """Whether it is a truck that waits: one with a dark corner."""


class Picture:
    """The room of a replay, drawn."""

    def __init__(self, replay: Replay) -> None:
        self.replay, self.scene = replay, scene_of(replay)
        things = enumerate(replay.things)
        self.things = sorted(things, key=lambda each: ORDER.index(each[1].kind))
        """Things with their position in the replay, from the bottom to the top."""

    def mark(self, which: int, thing: Thing, step: Step) -> Mark | None:
        """How a thing is drawn at a step; not at all where it is not seen."""
        point = point_of(self.scene, which, thing, step)
        if point is None:
            return None
        look = ("", "", "") if thing.kind == QUEUE else LOOKS[thing.kind][step.state]
        return Mark(point, look, words_of(thing, step), thing.kind == TRUCK and look in WAITING)

    def size(self, thing: Thing) -> Cell:
        """Size of what is filled."""
        return (
            self.scene.cells[BOX_OF_STATION, thing.area, thing.number] if thing.kind == STATION else SIZES[thing.kind]
        )

    def _marks(self) -> Iterator[tuple[str, Mark]]:
        """Kind of each thing, and how it is drawn at each of its steps."""
        for which, thing in self.things:
            for step in thing.steps:
                mark = self.mark(which, thing, step)
                if mark is not None:
                    yield thing.kind, mark

    @cached_property
    def seen(self) -> dict[str, list[Look]]:
        """By head of the legend: looks that are seen in the window, in the order of their list."""
        found = {(_head(kind), mark.look) for kind, mark in self._marks()}
        every = [(_head(kind), look) for kind, looks in LOOKS.items() for look in looks.values()]
        seen: dict[str, list[Look]] = {head: [] for head in HEADS}
        for head, look in dict.fromkeys(every):
            if (head, look) in found:
                seen[head].append(look)
        return {head: looks for head, looks in seen.items() if looks}

    def patterns(self, prefix: str) -> str:
        """Patterns of all that is seen."""
        return f"<defs>{patterns(chain.from_iterable(self.seen.values()), prefix)}</defs>"

    def ground(self) -> str:
        """What does not move: labels, and outlines of where something may stand."""
        outlined = [place for place in self.scene.cells if place[0] in OUTLINED]
        lines = "".join(_box(*self.scene.points[place], self.scene.cells[place]) for place in outlined)
        labels, titles = (
            "".join(f'<text x="{x}" y="{y}">{escape(words)}</text>' for x, y, words in named)
            for named in (self.scene.labels, self.scene.titles)
        )
        place = f'<path fill="none" stroke="{LINE}" d="{lines}"/>'
        return f'{place}<g fill="{SOFT}">{labels}</g><g font-weight="bold">{titles}</g>'

    def still(self, time_min: float, prefix: str, label: str) -> str:
        """The room at one instant, as an SVG element with ids of its own. [min]"""
        shapes: dict[tuple[str, str], list[str]] = defaultdict(list)
        corners, grounds, on_boxes, beside = [], [], [], []
        for which, thing in self.things:
            mark = self.mark(which, thing, thing.at(time_min))
            if mark is None:
                continue
            (x, y), size = mark.point, self.size(thing)
            if any(size):
                shapes[thing.kind, fill_of(mark.look, prefix)].append(_box(x, y, size))
            if mark.waits:
                corners.append(f"M{x} {y}{CORNER}")
            if thing.kind in BOXES:
                wide = _ground(mark.words)
                grounds.append(_box(x + (size[0] - wide) // 2, y + (size[1] - GROUND) // 2, (wide, GROUND)))
                begin = x + (size[0] - DIGIT * len(mark.words)) // 2
                on_boxes.append(f'<text x="{begin}" y="{y + BASE}">{mark.words}</text>')
            elif mark.words:
                across, down = WORDS_AT[thing.kind]
                beside.append(f'<text x="{x + across}" y="{y + down}">{escape(mark.words)}</text>')
        drawn = "".join(
            f'<path class="{kind}" fill="{fill}"{_edge(kind)} d="{"".join(boxes)}"/>'
            for (kind, fill), boxes in shapes.items()
        )
        ground = f'{_corners("".join(corners))}<path fill="#fff" fill-opacity=".9" d="{"".join(grounds)}"/>'
        words = f'<g font-weight="bold">{"".join(on_boxes)}</g>{"".join(beside)}'
        return f"{self.head(label)}{self.patterns(prefix)}{self.ground()}{drawn}{ground}{words}</svg>"

    def head(self, label: str) -> str:
        """Begin an SVG element of the size of the room."""
        return _begun(self.scene.height, label)

    def legend(self, prefix: str) -> str:
        """What the fills mean that are seen in the window."""
        parts, x, y = [], 0, 0
        for head, looks in self.seen.items():
            x, y = 0, y + LEGEND_LINE
            parts.append(f'<text font-weight="bold" y="{y - 6}">{HEADS[head]}</text>')
            x = LEGEND_INSET
            for look in looks:
                words = look[2]
                wide = CHIP[0] + 8 + round(LETTER * len(words)) + 14
                if x + wide > WIDTH:
                    x, y = LEGEND_INSET, y + LEGEND_LINE
                chip = f'<rect{_edge(head)} x="{x}" y="{y - 17}" width="{CHIP[0]}" height="{CHIP[1]}"'
                parts.append(f'{chip} fill="{fill_of(look, prefix)}"/>')
                if head == TRUCK and look in WAITING:
                    parts.append(_corners(f"M{x} {y - 17}{CORNER}"))
                parts.append(f'<text x="{x + CHIP[0] + BESIDE_CHIP}" y="{y - 6}">{escape(words)}</text>')
                x += wide
        begin = _begun(y, "What the fills mean")
        return f"{begin}{self.patterns(prefix)}{''.join(parts)}</svg>"

    def data(self, prefix: str) -> dict[str, Any]:
        """Everything that moves, as plain data: timed steps of each thing, by number of look, point and words."""
        looks, points, words = _Numbers(), _Numbers(), _Numbers()
        since = self.replay.from_min
        things = []
        for which, thing in self.things:
            steps = []
            for step in thing.steps:
                mark = self.mark(which, thing, step)
                fill = fill_of(mark.look, prefix) if mark is not None and mark.look[0] else ""
                state = (step.state, fill, int(mark is not None and mark.waits))
                place = -1 if mark is None else points(mark.point)
                said = words("" if mark is None else mark.words)
                steps.append([round(step.from_min - since, 3), looks(state), place, said])
            numbers = {"number": thing.number, "size": self.size(thing), "words": WORDS_AT.get(thing.kind)}
            numbers["edge"] = EDGES.get(thing.kind, USUAL_EDGE)
            things.append({"kind": thing.kind, "name": thing.name, "area": thing.area, **numbers, "steps": steps})
        return {"looks": looks.all, "points": points.all, "words": words.all, "things": things}


class _Numbers:
    """Numbers of things that come again and again, in the order in which they came first."""

    def __init__(self) -> None:
        self._numbers: dict[Any, int] = {}

    def __call__(self, what: Any) -> int:  # noqa: ANN401 - whatever can be told apart
        """Number of a thing."""
        return self._numbers.setdefault(what, len(self._numbers))

    @property
    def all(self) -> list[Any]:
        """All of them, by their numbers."""
        return list(self._numbers)


def _begun(height: int, label: str) -> str:
    """Begin an SVG element with a little room for the edges of what it shows."""
    box = f"{-EDGE} {-EDGE} {WIDTH + 2 * EDGE} {height + 2 * EDGE}"
    return f'<svg class="replay-picture" viewBox="{box}" {ROOT} role="img" aria-label="{escape(label)}">'


def _head(kind: str) -> str:
    """Head of the legend under which a kind stands."""
    return OF_LEGEND.get(kind, kind)


def _edge(kind: str) -> str:
    """Attributes of the edge of a kind of thing."""
    colour, width = EDGES.get(kind, USUAL_EDGE)
    return f' stroke="{colour}" stroke-width="{width:g}"'


def _corners(path: str) -> str:
    """Draw dark corners, if there are any."""
    return f'<path class="waits" fill="{INK}" d="{path}"/>' if path else ""


def _box(x: int, y: int, size: Cell) -> str:
    """Write a rectangle as part of a path."""
    return f"M{x} {y}h{size[0]}v{size[1]}h-{size[0]}z"


def _ground(words: str) -> int:
    """Width of the white ground of a number."""
    return DIGIT * len(words) + 4
