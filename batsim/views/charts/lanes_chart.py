"""Chart of the worst hour of a run as lanes: trucks over the stations, devices and attendants that serve them."""

import math
from itertools import groupby
from operator import attrgetter

from batsim.display import counted
from batsim.measures.thing_lanes import OUT, Lane
from batsim.measures.truck_lanes import SERVED, WAITING, Stretch, TruckLane
from batsim.record.facts import RunFacts
from batsim.record.words import CAUSES, NO_BATTERY, NO_BAY, NO_DEVICE
from batsim.scenario.parts.week import DAYS, FULL_DAYS
from batsim.study.worst_hour import WorstHour
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit
from batsim.views.text.trace_text import clock, first_week_note

LEAST_IN, MOST_IN, AROUND_IN, ROW_IN = 2.2, 3.94, 1.3, 0.2
"""Least and greatest height of the figure, what stands around the lanes, and height of a lane with room. [in]"""
MOST_LANES, LEAST_TRUCKS = 16, 9
"""Lanes up to which words of their size can be read, and of them trucks that are never left out for things."""
LETTERS, HEIGHT, GAP = 28, 0.84, 0.35
"""Letters of the name of a lane, height of what is in it, and gap between kinds of lane. [-, lanes, lanes]"""
LEGEND_PT = 20.0
"""How far under the axis the legend lies. [pt]"""
BESIDE_PT = (27.0, 53.0)
"""Where the columns of minutes end, to the right of the lanes. [pt]"""
LEAST_SAID_MIN = 0.5
"""A wait that is shorter is not written into its lane. [min]"""
COLOURS = {**{word: look[:2] for word, look in palette.LOST_LOOKS.items()}, OUT: (palette.BLACK, "xxxx")}
ONE_OF = {CAUSES[NO_BATTERY]: "a ready battery", CAUSES[NO_BAY]: "an empty bay", CAUSES[NO_DEVICE]: "a device"}
NOTHING_LOST = "No truck loses a minute to its battery in the measured time."


def lanes_chart(worst_hour: WorstHour, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw the worst hour of a run, a lane for each truck, station, device and attendant.

    Parameters
    ----------
    worst_hour
        What `batsim.worst_hour` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Above, trucks in the order in which they are served: way, waiting with what for, exchanging or charging, other;
        beside them how long they wait of how long they are away. Below, what stations, devices and attendants are busy
        with; a number is that of the truck. The title says how many trucks wait for what.
    """
    trucks, things = _shown(worst_hour)
    count = len(trucks) + len(things)
    ax = style.axes_for(ax, (style.COLUMN_IN, min(MOST_IN, max(LEAST_IN, AROUND_IN + ROW_IN * count))))
    if not trucks:
        return style.empty(ax, _finding(worst_hour), NOTHING_LOST, style.FINDING_PT)
    ax.set_xlim(worst_hour.from_min, worst_hour.to_min)
    places = _places(trucks, things)
    lanes: list[TruckLane | Lane] = [*trucks, *things]
    used = {each.what for lane in lanes for each in _inside(lane, worst_hour)}
    for lane, place in zip(lanes, places, strict=True):
        _draw(ax, lane, place, worst_hour)
    _beside(ax, trucks)
    _frame(ax, trucks, things, places, worst_hour)
    style.legend_row(ax, {word: _sample(word) for word in COLOURS if word in used}, LEGEND_PT)
    style.heading(ax, _finding(worst_hour), _note(worst_hour, len(trucks), len(things)), style.FINDING_PT)
    return ax


def lanes_text(worst_hour: WorstHour) -> str:
    """Say in words what `lanes_chart` draws, with its numbers."""
    facts = worst_hour.facts
    if not worst_hour.trucks:
        return f"{_finding(worst_hour)}. {NOTHING_LOST}"
    longest = max(worst_hour.trucks, key=lambda lane: (lane.waited_min, lane.away_min))
    trucks = counted(worst_hour.trucks_away, "truck")
    says = (
        f"{_finding(worst_hour)}. Layout '{facts.title}', {_span(worst_hour)}: "
        f"{trucks} away, {worst_hour.lost_min:,.0f} truck-minutes lost in this hour, {worst_hour.waited_min:,.0f} of "
        f"them waiting. {_name(facts, longest).capitalize()} {_how_long(longest)}."
    )
    return f"{says} One simulated run{first_week_note(facts)}."


def _how_long(lane: TruckLane) -> str:
    """How long the truck that waits longest does so."""
    waits, away = (f"{minutes:,.0f} min" for minutes in (lane.waited_min, lane.away_min))
    return f"waits longest, {waits} of the {away} that it is away" if lane.waited_min else f"is away longest, {away}"


def _shown(worst_hour: WorstHour) -> tuple[list[TruckLane], list[Lane]]:
    """Lanes that are drawn: where there are too many, the trucks that wait longest, and the first of the things."""
    room = MOST_LANES - min(LEAST_TRUCKS, len(worst_hour.trucks))
    things = [*worst_hour.things, *worst_hour.attendants][:room]
    longest = sorted(worst_hour.trucks, key=lambda lane: (-lane.waited_min, -lane.away_min))
    kept = longest[: MOST_LANES - len(things)]
    return [lane for lane in worst_hour.trucks if lane in kept], things


def _places(trucks: list[TruckLane], things: list[Lane]) -> list[float]:
    """Where the middle of each lane lies, with a gap between kinds. [lanes]"""
    places, place = [float(number) for number in range(len(trucks))], len(trucks) - 1.0
    for _, of_kind in groupby(things, key=attrgetter("kind")):
        place += GAP
        for _ in of_kind:
            place += 1.0
            places.append(place)
    return places


def _inside(lane: TruckLane | Lane, hour: WorstHour) -> list[Stretch]:
    """Stretches of a lane, cut at the ends of the hour."""
    cut = [
        each._replace(from_min=max(hour.from_min, each.from_min), to_min=min(hour.to_min, each.to_min))
        for each in lane.stretches
    ]
    return [each for each in cut if each.from_min < each.to_min]


def _draw(ax: style.Axes, lane: TruckLane | Lane, place: float, hour: WorstHour) -> None:
    """Draw what is in a lane, and write into it what a truck waits for, or which truck is served."""
    stretches = _inside(lane, hour)
    for each in stretches:
        colour, hatch = COLOURS[each.what]
        ax.barh([place], [each.to_min - each.from_min], HEIGHT, [each.from_min], **palette.solid_of(colour, hatch))
    if isinstance(lane, TruckLane):
        waits = [each for each in stretches if each.what == WAITING]
        if waits:
            begin, end = waits[0].from_min, waits[-1].to_min
            _write(ax, (begin, end), place, _waits_for(waits), WAITING)
        return
    for each in stretches:
        word = f"{each.truck + 1}" if each.truck >= 0 else each.detail if each.what != SERVED else ""
        _write(ax, (each.from_min, each.to_min), place, [word], each.what)


def _write(ax: style.Axes, span: tuple[float, float], place: float, texts: list[str], what: str) -> None:
    """Write the first of some texts that fits into a stretch."""
    text = next((text for text in texts if text and style.text_width(ax, text) <= span[1] - span[0]), "")
    if text:
        style.write_on(ax, sum(span) / 2.0, place, text, COLOURS[what][0], HEIGHT)


def _waits_for(waits: list[Stretch]) -> list[str]:
    """What a truck waits for with the minutes of each, the longest first; shorter and shorter."""
    minutes: dict[str, float] = {}
    for each in waits:
        minutes[each.detail] = minutes.get(each.detail, 0.0) + each.to_min - each.from_min
    known = sorted(((time, word) for word, time in minutes.items() if time >= LEAST_SAID_MIN), reverse=True)
    parts = [f"{'its turn' if word == CAUSES[0] else word} {time:,.0f}" for time, word in known]
    return [f"{', '.join(parts[:number])} min" for number in range(len(parts), 0, -1)]


def _beside(ax: style.Axes, trucks: list[TruckLane]) -> None:
    """Write beside each truck how long it waits, and how long it is away."""
    rows = [("waits", "away"), *((f"{lane.waited_min:,.0f}", f"{lane.away_min:,.0f}") for lane in trucks)]
    for place, row in enumerate(rows, -1):
        for across_pt, text in zip(BESIDE_PT, row, strict=True):
            ax.annotate(
                text, (1.0, place), xycoords=ax.get_yaxis_transform(), xytext=(across_pt, 0.0),
                textcoords="offset points", ha="right", va="center", fontsize=style.NOTE_PT,
                color="0.3" if place < 0 else palette.BLACK, annotation_clip=False,
            )  # fmt: skip


def _frame(
    ax: style.Axes, trucks: list[TruckLane], things: list[Lane], places: list[float], hour: WorstHour
) -> None:  # fmt: skip
    """Names of lanes, times, lines between kinds of lane, breaks."""
    style.frame(ax, "x")
    style.time_ticks(ax, hour.from_min, hour.to_min, lambda time_min: clock(hour.facts, time_min).partition(" ")[2])
    names = [*(_name(hour.facts, lane) for lane in trucks), *(_thing(lane) for lane in things)]
    ax.set_yticks(places, names_fit(names, LETTERS, 1), parse_math=False, fontsize=style.NOTE_PT)
    ax.tick_params(axis="y", length=0.0)
    ax.tick_params(axis="x", labelsize=style.NOTE_PT)
    ax.set_ylim(places[-1] + 0.7, -1.5)
    for place, before in zip(places[1:], places, strict=False):
        if place - before > 1.0:
            ax.axhline((place + before) / 2.0, color=palette.GREY, linewidth=0.8)
    style.shade(ax, hour.idle, 0.12)


def _sample(word: str) -> style.Artist:
    """What stands for a word in the legend."""
    from matplotlib.patches import Patch

    return Patch(**palette.solid_of(*COLOURS[word]))


def _name(facts: RunFacts, lane: TruckLane) -> str:
    """Name of a truck, with its group where there are several."""
    return f"truck {lane.truck + 1}" + (f" ({lane.group})" if len(facts.groups) > 1 else "")


def _thing(lane: Lane) -> str:
    """Name of a station, a device or an attendant."""
    return f"{lane.kind.replace('_', ' ')} {lane.number + 1}" + (f", {lane.area}" if lane.area else "")


def _finding(hour: WorstHour) -> str:
    """What the lanes say, as a sentence without its full stop."""
    if not hour.trucks:
        return f"No time is lost in layout '{hour.facts.title}'"
    crowd = hour.crowd
    if crowd is None:
        away = counted(hour.trucks_away, "truck")
        begin, end = (clock(hour.facts, time_min)[4:] for time_min in (hour.from_min, hour.to_min))
        return (
            f"Nobody waits; most time is lost on {_day(hour.facts, hour.from_min)} from {begin} to {end}: {away} away"
        )
    at = f"At {clock(hour.facts, crowd.time_min)[4:]} on {_day(hour.facts, crowd.time_min)}"
    waits = f"{counted(crowd.trucks, 'truck')} {'waits' if crowd.trucks == 1 else 'wait'}"
    where = f" in area '{crowd.area}'" if crowd.area else ""
    return f"{at} {waits} for {_what(crowd.cause, crowd.thing, crowd.number)}{where}"


def _what(cause: str, thing: str, number: float) -> str:
    """What trucks wait for, such as `one hoist`, `2 stations` or `a ready battery`."""
    if not number or math.isinf(number):
        return ONE_OF.get(cause, f"an {cause}" if cause[0] in "aeiou" else f"a {cause}")
    return f"one {thing}" if number == 1 else counted(number, thing)


def _day(facts: RunFacts, time_min: float) -> str:
    """Weekday of a time."""
    return FULL_DAYS[DAYS.index(clock(facts, time_min)[:3])]


def _note(hour: WorstHour, trucks: int, things: int) -> str:
    """What is drawn, of which run, and what is left out."""
    facts, more = hour.facts, hour.trucks_away - trucks
    left_out = f"; {counted(more, 'more truck')} {'waits' if more == 1 else 'wait'} less long" if more else ""
    if lanes := len(hour.things) + len(hour.attendants) - things:
        left_out += f"; {counted(lanes, 'lane')} below left out"
    minutes, shaded = ("minutes of work", " Shaded: trucks have a break or no shift.") if hour.idle else ("minutes", "")
    return (
        f"Layout '{facts.title}', {_span(hour)}, the worst hour of one simulated run."
        f" Number in a bar: truck that is served. Right: {minutes} that a truck waits, and is away{left_out}.{shaded}"
    )


def _span(hour: WorstHour) -> str:
    """The hour, such as `week 2 Wed 21:30 to 22:30`."""
    return f"{clock(hour.facts, hour.from_min, weeks=True)} to {clock(hour.facts, hour.to_min)[4:]}"
