"""Charts of a layout beside its logs: what is drawn, what is said, long names, logs that tell little."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

import batsim
from batsim.calibration.course import Where
from batsim.scenario.settings import Settings
from batsim.views.charts.beside_chart import (
    BY_HOUR,
    MEASURED,
    MOST_BAND,
    MOST_HALF_WIDTHS,
    NO_HOURS,
    NOTHING,
    OUTSIDE,
    beside_chart,
    beside_text,
    compared_chart,
    compared_text,
)
from tests.calibrations import LAYOUT, MONDAY
from tests.sites import SURVEYED

SITE, SIX, SEVEN = Where(), Where("hour", "06:00-07:00"), Where("hour", "07:00-08:00")
AROUND = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])


def beside_of(numbers, replications=5):
    """A layout beside its logs: by key what was measured, and the mean of runs that lie around it by up to 2."""
    schedule = Settings(LAYOUT, replications=replications).schedule(SURVEYED)
    measured = {key: value for key, (value, _) in numbers.items()}
    simulated = {key: mean + AROUND[:replications] for key, (_, mean) in numbers.items()}
    return batsim.Beside(schedule, MONDAY, (8, 9), measured, simulated)


WAITS = {
    ("wait_min", SITE): (10.0, 11.0), ("exchanges_per_day", SITE): (90.0, 60.0), ("charge_h", SITE): (1.0, 20.0),
    ("wait_min", SIX): (12.0, 11.0), ("wait_min", SEVEN): (80.0, 20.0), ("chargers_in_use", SIX): (21.0, 20.0),
}  # fmt: skip


@pytest.fixture(scope="module")
def found():
    return beside_of(WAITS)


def drawn(figure):
    FigureCanvasAgg(figure).draw()
    return figure, figure.axes


def test_a_day_is_drawn(found):
    """Means and limits of the model, dots of the log, the hour outside as another mark; hours without any are empty."""
    figure, (waits, chargers) = drawn(beside_chart(found))
    inside, outside = waits.get_lines()
    mean = next(patch for patch in waits.patches if hasattr(patch, "get_data")).get_data().values

    assert [ax.get_ylabel() for ax in (waits, chargers)] == [BY_HOUR["wait_min"], BY_HOUR["chargers_in_use"]]
    assert np.flatnonzero(np.isfinite(mean)).tolist() == [6, 7]
    assert mean[6:8].tolist() == [11.0, 20.0]
    assert (inside.get_xdata()[6], inside.get_ydata()[6]) == (6.5, 12.0)
    assert (outside.get_xdata().tolist(), outside.get_ydata().tolist()) == ([7.5], [80.0])
    assert inside.get_marker() != outside.get_marker()
    assert (
        figure.get_suptitle()
        .replace("\n", " ")
        .endswith(", weeks 18-19 of 2024: 1 of 3 numbers by the hour lies outside, of wait for an exchange")
    )
    words = [text.get_text() for text in figure.legends[0].get_texts()]
    assert words == [MEASURED, OUTSIDE, "model, mean and limits"]


def test_limits_that_say_nothing_leave_the_dots_to_be_seen():
    """A band beyond three times the means and dots is cut by its panel."""
    wide = beside_of({("wait_min", SIX): (5.0, 4.0)})
    wide = replace(wide, simulated={key: np.array([0.0, 0.0, 0.0, 0.0, 20.0]) for key in wide.simulated})
    _, (ax,) = drawn(beside_chart(wide))

    assert wide.compared[0].simulated.high > 15.0 * MOST_BAND
    assert MOST_BAND * 5.0 <= ax.get_ylim()[1] <= 1.2 * MOST_BAND * 5.0


def test_a_day_is_said_in_words(found):
    text = beside_text(found)
    (late,) = (each for each in found.compared if each.where == SEVEN)

    assert (
        "Wait for an exchange by hour: 12.0 min to 80.0 min measured, 11.0 min to 20.0 min in the model, 1 of 2 hours"
        in text
    )
    assert f"outside: {late.sentence}." in text
    assert "Chargers in use by hour: 21.0 to 21.0 measured, 20.0 to 20.0 in the model, 0 of 1 hour outside." in text


def test_numbers_lie_where_their_half_widths_say(found):
    """The widest gap first and bold; what lies beyond the axis is an arrow at its end; both numbers stand beside."""
    figure, (ax,) = drawn(compared_chart(found))
    rows = {row: dot for dot in ax.get_lines()[1:] for row in dot.get_ydata()}
    by_name = {each.measure: each for each in found.deciding}
    labels = ax.get_yticklabels()

    assert [each.measure for each in found.gaps] == ["charge_h", "exchanges_per_day"]
    assert [label.get_text().replace("\n", " ") for label in labels] == [
        "Length of a charge", "Exchanges a working day", "Wait for an exchange",
    ]  # fmt: skip
    assert [label.get_fontweight() for label in labels] == ["bold", "bold", "normal"]
    assert by_name["exchanges_per_day"].gap_in_half_widths > MOST_HALF_WIDTHS
    assert (rows[0].get_xdata()[0], rows[0].get_marker()) == (-MOST_HALF_WIDTHS, "<")
    assert (rows[1].get_xdata()[0], rows[1].get_marker()) == (MOST_HALF_WIDTHS, ">")
    assert rows[2].get_xdata()[0] == by_name["wait_min"].gap_in_half_widths
    texts = [text.get_text() for text in ax.texts]
    assert texts == ["measured", "1.00 h", "90.0", "10.0 min", "in the model", "20.0 h", "60.0", "11.0 min"]
    assert figure.get_suptitle().replace("\n", " ") == (
        "Layout 'hoist': 2 of 3 numbers of weeks 18-19 of 2024 lie outside; "
        "length of a charge is below what the model gives"
    )


def test_great_numbers_stand_apart():
    """What was measured ends before what the model gives begins."""
    great = beside_of({("charged_kwh_per_day", SITE): (12_361.0, 12_396.0), ("used_kwh_per_day", SITE): (9.0, 9.0)})
    figure, (ax,) = drawn(compared_chart(great))
    measured, simulated = ([text.get_window_extent() for text in ax.texts[first : first + 3]] for first in (0, 3))

    assert len(ax.texts) == 6
    assert [left.x1 < right.x0 for left, right in zip(measured, simulated, strict=True)] == [True] * 3
    assert max(box.x1 for box in simulated) <= figure.bbox.x1


def test_numbers_are_said_in_words(found):
    text = compared_text(found)
    (first, second), (last,) = found.gaps, [each for each in found.deciding if each.measure == "wait_min"]

    assert f"L{first.sentence[1:]}, outside; E{second.sentence[1:]}, outside; " in text
    assert f"W{last.sentence[1:]}." in text
    assert text.count("outside") == 3  # once in the title


def test_a_model_that_gives_all_says_so():
    good = beside_of({("wait_min", SITE): (10.0, 10.0), ("wait_min", SIX): (10.0, 10.0)})

    assert compared_text(good).startswith("Layout 'hoist': the model gives all 1 number of weeks 18-19 of 2024. ")
    assert "all hours of the day lie inside the limits of the model" in beside_text(good)
    assert OUTSIDE not in [text.get_text() for text in drawn(beside_chart(good))[0].legends[0].get_texts()]


def test_logs_that_tell_little():
    """Nothing by the hour, nothing that decides, one replication: it is said, and drawn as far as it can be."""
    no_hours, nothing = beside_of({("wait_min", SITE): (10.0, 10.0)}), beside_of({("wait_min", SIX): (10.0, 10.0)})
    none = beside_of({})

    assert beside_text(no_hours).endswith(NO_HOURS)
    assert drawn(beside_chart(no_hours))[1][0].texts[0].get_text() == NO_HOURS
    for one in (nothing, none):
        assert compared_text(one).endswith(NOTHING)
        assert drawn(compared_chart(one))[1][0].texts[0].get_text().replace("\n", " ") == NOTHING
    assert len(drawn(beside_chart(nothing))[1]) == 1
    assert beside_text(none).endswith(NO_HOURS)


def test_twenty_long_names_do_not_collide():
    """Truck groups with names of sixty letters, dollars taken as they are; in type of 8 pt or more."""
    groups = [Where("group", f"Reach trucks $5 or $6 of the eleventh northern high bay number {n}") for n in range(20)]
    numbers = {("wait_min", group): (10.0 + n, 10.0) for n, group in enumerate(groups)}
    figure, (ax,) = drawn(compared_chart(beside_of(numbers)))
    renderer = figure.canvas.get_renderer()
    texts = [*ax.get_yticklabels(), *ax.get_xticklabels(), *ax.texts, figure._suptitle, *figure.legends[0].get_texts()]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts if text.get_text()]

    assert min(text.get_fontsize() for text in texts) >= 8.0
    assert len({label.get_text() for label in ax.get_yticklabels()}) == 20
    assert [(one, other) for (one, a), (other, b) in combinations(boxes, 2) if a.overlaps(b)] == []
    assert [text for text, box in boxes if box.x0 < 0.0 or box.x1 > figure.bbox.x1 or box.y1 > figure.bbox.y1] == []
