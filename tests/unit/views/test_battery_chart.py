"""Chart of one battery: it shows the data it was given, names axes and states, and leaves no trace."""

import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

import batsim
from batsim.record.words import STATES
from batsim.scenario.parts.week import WEEK_MIN, moment_text
from batsim.views.charts.battery_chart import RIBBON, battery_chart, battery_text
from batsim.views.charts.palette import STATE_LOOKS
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
LITRES_PER_AH = 10.95
CYCLE = (
    ("ready", 60.0), ("in truck", 440.0), ("in transfer", 12.0), ("waits for a charger", 30.0), ("on charge", 450.0),
    ("cooling", 480.0), ("being watered", 12.0), ("ready", 180.0), ("in truck", 200.0),
)  # fmt: skip


def _course(begin=300.0, *, cycles=1, step=2.0, vents=True, states=CYCLE):
    """Course of some cycles, one after the other, and the instant after them."""
    words = [state for state, minutes in states for _ in range(int(minutes / step))] * cycles
    words.append(words[-1])
    times = begin + step * np.arange(len(words))
    state = np.array(words)
    amps = np.where(state == "on charge", 90.0, np.where(state == "in truck", -80.0, 0.0))
    gas = np.where(state == "on charge", 20.0, 0.0)
    course = pd.DataFrame(
        {
            "time_min": times,
            "state": words,
            "soc_share": 0.6 + 0.4 * np.cos(times / 300.0),
            "amps": amps,
            "temperature_degc": 30.0 + 8.0 * np.sin(times / 300.0),
            "gas_a": gas,
            "hydrogen_l_per_h": LITRES_PER_AH * gas if vents else np.nan,
        }
    )
    course.attrs = {"battery": 7, "type": "vented", "hydrogen_l_per_ah": LITRES_PER_AH if vents else np.nan}
    return course


def _drawn(figure):
    """Draw a figure as a file would."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return canvas.get_renderer()


def _line(panel):
    """The line of a panel that has all instants."""
    return max(panel.get_lines(), key=lambda line: len(line.get_xdata()))


def _ribbon_words(figure):
    """Words in the strip of states."""
    return [text.get_text() for text in figure.axes[0].texts]


# --- what is drawn ---


def test_four_panels_with_units():
    """They share the time axis."""
    figure = battery_chart(_course())

    assert isinstance(figure, Figure)
    assert [panel.get_ylabel() for panel in figure.axes] == [
        "State of charge\n[%]", "Current\n[A]", "Electrolyte\n[°C]", "Gas current\n[A]",
    ]  # fmt: skip
    assert figure.axes[3].get_xlabel() == "Weekday and time"
    assert len({panel.get_xlim() for panel in figure.axes}) == 1


@pytest.mark.parametrize(("panel", "column"), [(0, "soc_share"), (1, "amps"), (2, "temperature_degc"), (3, "gas_a")])
def test_lines_are_the_columns(panel, column):
    """Nothing is calculated on the way."""
    course = _course()
    line = _line(battery_chart(course).axes[panel])

    assert list(line.get_xdata()) == course["time_min"].tolist()
    assert list(line.get_ydata()) == course[column].tolist()


def test_everything_lies_inside():
    """No curve is cut off."""
    course = _course()
    figure = battery_chart(course)

    columns = ("soc_share", "amps", "temperature_degc", "gas_a")
    for panel, column in zip(figure.axes, columns, strict=True):
        low, high = panel.get_ylim()
        assert low <= course[column].min() < course[column].max() < high
        assert panel.get_xlim() == (course["time_min"].iloc[0], course["time_min"].iloc[-1])


def test_state_of_charge_in_percent():
    """Ticks from 0 to 100."""
    panel = battery_chart(_course()).axes[0]
    _drawn(panel.figure)

    assert [label.get_text() for label in panel.get_yticklabels()] == ["0", "20", "40", "60", "80", "100"]


def test_use_and_charge_are_told_apart_without_colour():
    """Use lies below the zero line and is hatched."""
    panel = battery_chart(_course()).axes[1]

    fills = [each for each in panel.collections if isinstance(each, PolyCollection) and each.get_hatch()]
    assert len(fills) == 1
    assert fills[0].get_paths()[0].vertices[:, 1].max() == 0.0
    assert [text.get_text().split() for text in panel.texts] == [["charge", "(plain)"], ["use", "(hatched)"]]
    assert any(set(line.get_ydata()) == {0.0} for line in panel.get_lines())


def test_hydrogen_has_a_second_scale():
    """Litres stand beside the amperes that make them."""
    panel = battery_chart(_course()).axes[3]
    _drawn(panel.figure)
    scale = panel.child_axes[0]

    assert scale.get_ylabel() == "Hydrogen\n[l/h at 25 °C]"
    assert scale.get_ylim() == pytest.approx([LITRES_PER_AH * amps for amps in panel.get_ylim()])


def test_a_sealed_battery_has_no_scale_of_hydrogen():
    """Nobody is told that it gives so much."""
    assert battery_chart(_course(vents=False)).axes[3].child_axes == []


def test_the_title_names_battery_type_and_time():
    """The week too, after the first."""
    title = "Battery 8 (vented), Mon 05:00 to Tue 12:04"

    assert battery_chart(_course()).get_suptitle() == title
    assert battery_chart(_course(300.0 + WEEK_MIN)).get_suptitle() == (
        "Battery 8 (vented), Mon 05:00 of week 2 to Tue 12:04 of week 2"
    )


def test_the_words_say_what_is_drawn():
    """Ends of each course, and how long it is in each state."""
    told = battery_text(_course())

    assert told.startswith("Battery 8 (vented), Mon 05:00 to Tue 12:04. State of charge ")
    assert "current -80 A to 90 A, electrolyte 22 °C to 38 °C, gas current up to 20.0 A. " in told
    assert sum(int(each.replace(",", "")) for each in re.findall(r"([\d,]+) min", told)) == 1864


def test_week_1_is_the_first_after_the_warm_up():
    """As in the trace: the warm-up before it is week 0."""
    course = _course(300.0)
    course.attrs["warm_up_min"] = WEEK_MIN
    figure, later = battery_chart(course), _course(300.0 + WEEK_MIN)
    later.attrs["warm_up_min"] = WEEK_MIN

    assert figure.get_suptitle() == "Battery 8 (vented), Mon 05:00 of week 0 to Tue 12:04 of week 0"
    assert figure.axes[3].get_xlabel() == "Weekday and time; week 1 is the first after the warm-up"
    assert battery_chart(later).get_suptitle() == "Battery 8 (vented), Mon 05:00 to Tue 12:04"
    assert battery_chart(later).axes[3].get_xlabel() == "Weekday and time"


def test_a_course_that_lost_its_name():
    """Some ways of copying a frame forget what it is about."""
    course = _course()
    course.attrs = {}
    figure = battery_chart(course)

    assert figure.get_suptitle() == "Battery, Mon 05:00 to Tue 12:04"
    assert figure.axes[3].child_axes == []


# --- states ---


def test_every_state_looks_different():
    """The hatch is enough; one colour stands for waiting, one for maintenance."""
    assert tuple(STATE_LOOKS) == STATES
    colours = {state: colour for state, (colour, _, _) in STATE_LOOKS.items()}
    assert len({colour for state, colour in colours.items() if state.startswith("waits")}) == 1
    alone = ("in truck", "on charge", "charge paused", "cooling", "being watered", "waits for a charger", "ready")
    assert len({colours[state] for state in alone}) == len(alone)
    assert len({hatch for _, hatch, _ in STATE_LOOKS.values()}) == len(STATES)


def test_wide_bands_carry_their_word_and_the_others_are_in_a_legend():
    """Each band once."""
    figure = battery_chart(_course())

    assert _ribbon_words(figure) == ["in truck", "in truck", "on charge", "cooling", "ready"]
    assert [text.get_text() for text in figure.legends[0].get_texts()] == [
        "in transfer", "waits for a charger", "being watered",
    ]  # fmt: skip


def test_short_words_where_long_ones_find_no_room():
    """Then the legend is not needed."""
    figure = battery_chart(_course(states=(("waits for a charger", 100.0), ("cooling", 800.0))))

    assert _ribbon_words(figure) == ["waiting", "cooling"]
    assert figure.legends == []


def test_bands_lie_where_the_states_are():
    """From the first instant of a state to the first of the next."""
    course = _course()
    figure = battery_chart(course)
    spans = set()
    for fill in figure.axes[0].collections:
        if isinstance(fill, PolyCollection):
            for path in fill.get_paths():
                (begin, bottom), (end, _) = path.vertices.min(axis=0), path.vertices.max(axis=0)
                if bottom == RIBBON[0]:
                    spans.add((begin, end))

    edges = [300.0 + sum(minutes for _, minutes in CYCLE[:number]) for number in range(len(CYCLE))]
    assert sorted(spans) == list(zip(edges, [*edges[1:], course["time_min"].iloc[-1]], strict=True))


# --- time axis ---


@pytest.mark.parametrize(
    ("minutes", "step"),
    [(8.0, 1.0), (60.0, 10.0), (480.0, 60.0), (1864.0, 240.0), (WEEK_MIN, 1440.0), (4 * WEEK_MIN, WEEK_MIN)],
)
def test_ticks_are_even_times_of_the_clock(minutes, step):
    """Counted from Monday 00:00, up to ten of them."""
    course = _course(0.0, step=minutes / 100.0, states=(("ready", minutes),))
    panel = battery_chart(course).axes[3]
    _drawn(panel.figure)

    ticks = [tick for tick in panel.get_xticks() if panel.get_xlim()[0] <= tick <= panel.get_xlim()[1]]
    assert np.diff(ticks).tolist() == pytest.approx([step] * (len(ticks) - 1))
    assert ticks[0] == 0.0
    assert 4 <= len(ticks) <= 10


def test_ticks_say_weekday_and_time():
    """And the week when the run is in its second."""
    for begin, more in [(0.0, ""), (WEEK_MIN, "\nweek 2")]:
        panel = battery_chart(_course(begin)).axes[3]
        _drawn(panel.figure)
        labels = [label.get_text() for label in panel.get_xticklabels()]
        said = dict(zip(panel.get_xticks().tolist(), labels, strict=True))
        for tick in (begin + 480.0, begin + 1680.0):
            assert said[tick] == moment_text(tick) + more


# --- spans long and short ---


@pytest.mark.parametrize(("cycles", "step"), [(1, 2.0), (5, 2.0), (11, 2.0), (290, 6.0)], ids=str)
def test_no_word_lies_on_another(cycles, step):
    """Of a day, a week, two weeks and a year."""
    figure = battery_chart(_course(cycles=cycles, step=step))
    renderer = _drawn(figure)
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in _texts(figure) if text.get_text()]
    width, height = figure.get_size_inches() * figure.dpi

    assert [(one[0], two[0]) for one, two in combinations(boxes, 2) if one[1].overlaps(two[1])] == []
    assert [word for word, box in boxes if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height] == []


def _texts(figure):
    """Texts that are drawn: of ticks, those within the limits of an axis that shows them."""
    panels = [each for panel in figure.axes for each in (panel, *panel.child_axes)]
    of_axes = {text for panel in panels for axis in (panel.xaxis, panel.yaxis) for text in axis.findobj(Text)}
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text not in of_axes]
    for panel in panels:
        for axis, part in ((panel.xaxis, 0), (panel.yaxis, 1)):
            low, high = axis.get_view_interval()
            ticks = [text for text in axis.get_ticklabels() if low <= text.get_position()[part] <= high]
            texts += [text for text in (*ticks, axis.label) if text.get_visible()]
    return texts


@pytest.mark.parametrize("state", STATES)
def test_a_single_instant(state):
    """There is not much to see, and no warning."""
    course = _course(states=((state, 2.0),)).iloc[:1]
    figure = battery_chart(course)
    _drawn(figure)

    assert len(course) == 1
    assert figure.axes[0].get_xlim() == (300.0, 301.0)


def test_a_battery_of_which_nothing_is_known():
    """Only its states are drawn."""
    course = _course(states=(("ready", 600.0),)).assign(soc_share=np.nan, temperature_degc=np.nan)
    figure = battery_chart(course)
    _drawn(figure)

    assert _ribbon_words(figure) == ["ready"]


def test_a_course_without_rows():
    """There is nothing to draw."""
    with pytest.raises(ValueError, match=f"^{re.escape('a chart needs a course with rows (got none)')}$"):
        battery_chart(_course().iloc[:0])


# --- no trace ---


def test_drawing_leaves_settings_and_data_alone():
    """The course is not changed, nor how other charts will look."""
    course, settings = _course(), dict(mpl.rcParams)
    before = course.copy(deep=True)
    _drawn(battery_chart(course))

    assert dict(mpl.rcParams) == settings
    assert course.equals(before)


def test_no_window_and_nothing_to_close():
    """Neither the module nor a chart loads what keeps windows; the module alone loads nothing that draws."""
    code = """
import sys
import batsim.views.charts.battery_chart as chart
print([name for name in ("pandas", "matplotlib") if name in sys.modules])
import pandas as pd
row = {"state": "ready", "soc_share": 1.0, "amps": 0.0, "temperature_degc": 25.0, "gas_a": 0.0}
chart.battery_chart(pd.DataFrame([{"time_min": 5.0 * n, **row} for n in range(9)])).savefig("/dev/null", format="png")
print("matplotlib.figure" in sys.modules, "matplotlib.pyplot" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)

    assert done.stdout.splitlines() == ["[]", "True False"], done.stderr


def test_notebooks_show_a_picture():
    """What a notebook asks an object for is a picture file."""
    assert battery_chart(_course())._repr_png_().startswith(b"\x89PNG")


def test_a_cycle_is_drawn_from_a_record_anew_each_time():
    """First whole cycle after a time; two figures, since one may be changed by whoever got it."""
    site = batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")
    record = record_of(site, "hoist", length_min=14 * 1440.0, warm_up_min=0.0)
    begin, end = batsim.first_cycle(record, 30, 1440.0)
    first, again = batsim.cycle_chart(record, 30, 1440.0), batsim.cycle_chart(record, 30, 1440.0)
    assert first is not again
    assert type(first) is type(again)
    times = first.axes[0].lines[0].get_xdata()
    assert (times[0], times[-1]) == pytest.approx((begin, end), abs=(end - begin) / 300)
    assert begin >= 1440.0
