"""Chart of one battery over time: state of charge, current, temperature and gas, with its states behind."""

from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from typing import Any

from batsim.display import Frame
from batsim.measures.battery_course import battery_course, first_cycle
from batsim.record.record import Record
from batsim.scenario.parts.calendar import first_week_min
from batsim.scenario.parts.week import WEEK_MIN, moment_text
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

SIZE_IN = (11.0, 8.8)
"""Width and height: a page across. [in]"""
EDGES = {"left": 0.085, "right": 0.915, "top": 0.89, "bottom": 0.17, "hspace": 0.1}
"""Where the panels lie, in shares of the figure."""
RIBBON = (1.03, 0.13)
"""Where the strip of states lies above the first panel, and its height, in shares of the panel."""
WORD_PT = 8.5
"""Size of the words in the strip. [pt]"""
SAME_MIN = 1e-6
"""Time by which the end of a week lies in it. [min]"""
MOST_WORDS = 5
"""Words in a line of the legend."""
MOST_LINES = 60
"""Bands up to which their edges are drawn."""
NOTE = (
    "State of charge: in use, of what can be had at the current and temperature of the work; on charge, 1 less what is "
    "missing over the rated capacity."
)
"""Why the state of charge may step."""
Band = tuple[float, float, str]
"""Start, end and word of a state. [min]"""


def battery_chart(course: Frame) -> style.Figure:
    """Draw the course of one battery.

    Parameters
    ----------
    course
        What `batsim.measures.battery_course.battery_course` returns.

    Returns
    -------
    matplotlib.figure.Figure
        A figure and not one axes, because it has four panels that share the time axis: state of charge, current,
        temperature, gas. It belongs to no window and no session: show it in a notebook by naming it, or write it to a
        file with its ``savefig``.

    Raises
    ------
    ValueError
        If the course has no rows.
    """
    if not len(course):
        msg = "a chart needs a course with rows (got none)"
        raise ValueError(msg)
    figure = style.new_figure(SIZE_IN, constrained=False)
    panels: list[style.Axes] = list(figure.subplots(4, 1, sharex=True, gridspec_kw=EDGES))
    bands = _bands(course)
    for panel, draw in zip(panels, (_soc, _current, _temperature, _gas), strict=True):
        _frame(panel, bands)
        draw(panel, course)
    _time_axis(panels[3], course, bands[0][0], bands[-1][1])
    _ribbon(figure, panels[0], bands)
    figure.suptitle(_title(course, bands), fontsize=12, fontweight="bold", y=0.975, parse_math=False)
    figure.text(EDGES["left"], 0.012, NOTE, fontsize=8, color="0.3")
    figure.align_ylabels(panels)
    return figure


def cycle_chart(record: Record, battery: int, after_min: float = 0.0) -> style.Figure:
    """Draw the first whole use-charge-rest cycle of a battery after a time.

    Parameters
    ----------
    record
        What a run left behind, see `batsim.simulate`.
    battery
        Number of the battery.
    after_min
        Time after which the cycle begins, from Monday 00:00 of the first week. [min]

    Returns
    -------
    matplotlib.figure.Figure
        Four panels, see `battery_chart`; a notebook shows it.

    Raises
    ------
    ValueError
        If there is no such battery, or no whole cycle after that time.
    """
    begin, end = first_cycle(record, battery, after_min)
    return battery_chart(battery_course(record, battery, begin, end, (end - begin) / INSTANTS))


def battery_text(course: Frame) -> str:
    """Say in words what `battery_chart` draws, with its numbers."""
    bands = _bands(course)
    soc, warmth, amps = course["soc_share"], course["temperature_degc"], course["amps"]
    lengths = {state: sum(end - begin for begin, end in spans) for state, _, spans in _by_state(bands)}
    told = ", ".join(f"{state} {minutes:,.0f} min" for state, minutes in lengths.items())
    return (
        f"{_title(course, bands)}. State of charge {100.0 * soc.min():.0f} % to {100.0 * soc.max():.0f} %, "
        f"current {amps.min():.0f} A to {amps.max():.0f} A, electrolyte {warmth.min():.0f} °C to "
        f"{warmth.max():.0f} °C, gas current up to {course['gas_a'].max():.1f} A. {told[:1].upper()}{told[1:]}."
    )


INSTANTS = 600
"""Steps that a cycle is drawn in."""


def _bands(course: Frame) -> list[Band]:
    """Stretches of the same state, each to the beginning of the next."""
    times = course["time_min"].tolist()
    begins = [next(rows) for _, rows in groupby(zip(times, course["state"], strict=True), itemgetter(1))]
    ends = [begin for begin, _ in begins[1:]] + [times[-1] if len(times) > 1 else times[-1] + 1.0]
    return [(begin, end, state) for (begin, state), end in zip(begins, ends, strict=True)]


def _by_state(bands: list[Band]) -> Iterator[tuple[str, palette.Look, list[tuple[float, float]]]]:
    """States that there are, each with its look and from when to when it lasts."""
    for state, look in palette.STATE_LOOKS.items():
        spans = [(begin, end) for begin, end, word in bands if word == state]
        if spans:
            yield state, look, spans


def _strip(panel: style.Axes, spans: list[tuple[float, float]], up: tuple[float, float], **look: Any) -> None:  # noqa: ANN401
    """Draw a strip across a panel over stretches of time, from how far up and how high in shares of the panel."""
    lengths = [(begin, end - begin) for begin, end in spans]
    panel.broken_barh(lengths, up, transform=panel.get_xaxis_transform(), **look)


def _title(course: Frame, bands: list[Band]) -> str:
    """Name the battery, its type and the time."""
    number, kind = course.attrs.get("battery"), course.attrs.get("type")
    name = "Battery" if number is None else f"Battery {number + 1}"
    if kind is not None:
        name += f" ({kind})"
    begin, end = (_moment(course, time_min) for time_min in (bands[0][0], bands[-1][1]))
    return f"{name}, {begin} to {end}"


def _week(course: Frame, time_min: float) -> int:
    """Number of a week; week 1 is the first after the warm-up."""
    return int((time_min - first_week_min(course.attrs.get("warm_up_min", 0.0))) // WEEK_MIN) + 1


def _moment(course: Frame, time_min: float) -> str:
    """Weekday and time, with the week where it is another than the first."""
    week = _week(course, time_min)
    return moment_text(time_min) + (f" of week {week}" if week != 1 else "")


def _frame(panel: style.Axes, bands: list[Band]) -> None:
    """Draw the states, pale, and light lines behind everything."""
    for _, (colour, _, _), spans in _by_state(bands):
        _strip(panel, spans, (0.0, 1.0), facecolor=colour, alpha=0.13, linewidth=0.0)
    if len(bands) <= MOST_LINES:
        edges = [begin for begin, _, _ in bands[1:]]
        panel.vlines(edges, 0.0, 1.0, transform=panel.get_xaxis_transform(), color="0.7", linewidth=0.5)
    style.frame(panel, colour="0.75")


def _soc(panel: style.Axes, course: Frame) -> None:
    """State of charge."""
    panel.plot(course["time_min"], course["soc_share"], color=palette.BLACK, linewidth=1.6)
    panel.set_ylabel("State of charge\n[%]")
    style.percent_ticks(panel)
    panel.set_ylim(min(0.0, float(course["soc_share"].min())) - 0.02, 1.04)


def _current(panel: style.Axes, course: Frame) -> None:
    """Current: charge plain above the zero line, use hatched below."""
    times, amps = course["time_min"], course["amps"]
    panel.fill_between(times, amps.clip(lower=0.0), 0.0, facecolor=palette.VERMILION, alpha=0.35, linewidth=0.0)
    panel.fill_between(
        times,
        amps.clip(upper=0.0),
        0.0,
        facecolor="none",
        edgecolor=palette.BLUE,
        hatch="////",
        alpha=0.6,
        linewidth=0.0,
    )
    panel.axhline(0.0, color=palette.BLACK, linewidth=0.8)
    panel.plot(times, amps, color=palette.BLACK, linewidth=1.3)
    panel.margins(y=0.12)
    panel.set_ylabel("Current\n[A]")
    beside = panel.get_yaxis_transform()
    for word, colour, away_pt, align in (
        ("charge\n(plain)", palette.VERMILION, 8.0, "bottom"),
        ("use\n(hatched)", palette.BLUE, -8.0, "top"),
    ):
        panel.annotate(
            word, (1.01, 0.0), xycoords=beside, xytext=(0.0, away_pt), textcoords="offset points", va=align,
            color=colour, fontsize=9,
        )  # fmt: skip


def _temperature(panel: style.Axes, course: Frame) -> None:
    """Temperature of the electrolyte."""
    panel.plot(course["time_min"], course["temperature_degc"], color=palette.BLACK, linewidth=1.6)
    panel.margins(y=0.15)
    panel.set_ylabel("Electrolyte\n[°C]")


def _gas(panel: style.Axes, course: Frame) -> None:
    """Gas current, with the hydrogen that it makes on a second scale."""
    panel.fill_between(course["time_min"], course["gas_a"], 0.0, facecolor=palette.GREEN, alpha=0.35, linewidth=0.0)
    panel.plot(course["time_min"], course["gas_a"], color=palette.GREEN, linewidth=1.6)
    panel.set_ylim(0.0, 1.15 * float(course["gas_a"].max()) or 1.0)
    panel.set_ylabel("Gas current\n[A]")
    litres = course.attrs.get("hydrogen_l_per_ah")
    if litres is not None and litres > 0.0:
        scale = panel.secondary_yaxis("right", functions=(lambda amps: amps * litres, lambda rate: rate / litres))
        scale.set_ylabel("Hydrogen\n[l/h at 25 °C]")
        scale.tick_params(labelsize=9)


def _time_axis(panel: style.Axes, course: Frame, begin: float, end: float) -> None:
    """Weekday and time at even steps from Monday 00:00; the week too where it is another than the first."""
    weeks = not _week(course, begin) == _week(course, end - SAME_MIN) == 1

    def label(time_min: float) -> str:
        return moment_text(time_min) + (f"\nweek {_week(course, time_min)}" if weeks else "")

    style.time_ticks(panel, begin, end, label)
    panel.set_xlabel("Weekday and time" + ("; week 1 is the first after the warm-up" if weeks else ""))


def _ribbon(figure: style.Figure, panel: style.Axes, bands: list[Band]) -> None:
    """Draw the states in a strip above the first panel, with their words; what finds no room gets a legend."""
    from matplotlib.patches import Patch

    legend = []
    for state, (colour, hatch, short), spans in _by_state(bands):
        look = palette.fill_of(colour, hatch) | {"edgecolor": "0.45"}
        _strip(panel, spans, RIBBON, clip_on=False, **look)
        if not _words_in_strip(panel, (state, short), spans, bands[-1][1] - bands[0][0]):
            legend.append(Patch(**look, label=state))
    if legend:
        figure.legend(
            handles=legend, loc="lower right", ncols=min(len(legend), MOST_WORDS), fontsize=WORD_PT, frameon=False,
            bbox_to_anchor=(EDGES["right"], 0.03),
        )  # fmt: skip


def _words_in_strip(
    panel: style.Axes, words: tuple[str, str], spans: list[tuple[float, float]], shown_min: float
) -> bool:
    """Write the long or the short word of a state into every span that has room for it; false if none has."""
    from matplotlib.textpath import TextPath

    widths = {word: TextPath((0.0, 0.0), word, size=WORD_PT).get_extents().width + 8.0 for word in words}
    pt_per_min = 72.0 * SIZE_IN[0] * (EDGES["right"] - EDGES["left"]) / shown_min
    written = False
    for begin, end in spans:
        word = next((word for word, width in widths.items() if width <= (end - begin) * pt_per_min), None)
        if word is not None:
            written = True
            panel.text(
                (begin + end) / 2.0, RIBBON[0] + RIBBON[1] / 2.0, word, transform=panel.get_xaxis_transform(),
                ha="center", va="center", fontsize=WORD_PT,
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5},
            )  # fmt: skip
    return written
