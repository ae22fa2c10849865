"""The room over a mean week and day: exact means of quarters, bands over weeks, and charts that draw just them."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from batsim.measures.room_course import CHARGER_STATES, CHARGERS, quarter_means, room_course
from batsim.record.words import STATES
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.study.room_over import Band, RoomOver, room_over
from batsim.views.charts.week_chart import day_chart, day_text, week_chart, week_text
from tests.runs import record_of
from tests.sites import CART
from tests.sites import KESTREL as SITE

WEEK = 672

ON_COUNT = (
    *(
        "trucks waiting",
        "trucks away",
        "stations",
        "devices",
        "attendants busy",
        "attendants in overtime",
        "attendants on duty",
    ),
    *CHARGERS.values(),
)


@pytest.fixture(scope="module")
def record():
    """Two weeks of a room with everything in it."""
    return record_of(SITE, "side rollers", length_min=2 * WEEK_MIN, warm_up_min=0.0)


@pytest.fixture(scope="module")
def over():
    """Two replications of a week."""
    return room_over(SITE, "side rollers", Settings(replications=2, weeks=1, workers=1))


def made(values, *, working=None, layout="hoist", devices=2.0, **counts):
    """Room in which every count is one of some values in each of as many weeks."""
    rows = np.repeat(np.array(values, dtype=float)[:, None], WEEK, axis=1)
    every = {name: counts.get(name.replace(" ", "_"), rows) for name in (*ON_COUNT, *STATES)}
    works = np.full(WEEK, 15.0) if working is None else working
    return RoomOver(SITE, layout, len(values), 1, every, works, 82.0, 44.0, 1.0, devices)


# --- quarters of an hour ---


def test_means_of_quarters_are_exact(record):
    """Each is the integral of the step function over its quarter."""
    edges = 300.0 + 15.0 * np.arange(97)
    found = quarter_means(record, edges)
    course = room_course(record, 300.0, 300.0 + 96 * 15.0)
    lengths = np.diff(np.append(course.time_min, course.to_min))

    for name, counts in (
        ("ready", course.batteries["ready"]),
        ("chargers: held after the charge", course.chargers["held after the charge"]),
    ):
        assert 15.0 * found[name].sum() == pytest.approx(np.sum(counts * lengths))
    begin, end = edges[40], edges[41]
    inside = np.clip(np.append(course.time_min, course.to_min), begin, end)
    assert found["ready"][40] == pytest.approx(np.sum(course.batteries["ready"] * np.diff(inside)) / 15.0)


def test_states_add_up_to_all_batteries(record):
    """In every quarter."""
    found = quarter_means(record, 15.0 * np.arange(WEEK + 1))

    assert sum(found[state] for state in STATES) == pytest.approx(np.full(WEEK, 82.0))


# --- over replications ---


def test_weeks_begin_after_the_warm_up(over):
    """A room simulated by hand shows the same: the third week of a run is not looked at."""
    run = record_of(SITE, "side rollers", replication=1, length_min=2 * WEEK_MIN, warm_up_min=WEEK_MIN)
    alone = quarter_means(run, WEEK_MIN + 15.0 * np.arange(WEEK + 1))

    assert set(over.counts) == {*ON_COUNT, *STATES, "ready lead 48 V 750 Ah"}
    for name, rows in over.counts.items():
        assert rows.shape == (2, WEEK)
        assert rows[1] == pytest.approx(alone[name]), name


def test_working_days_leave_out_a_sunday_night(over):
    """Trucks work on it for two hours only."""
    assert over.working_days == ("Mon", "Tue", "Wed", "Thu", "Fri")


def test_a_part_of_a_week_of_warm_up_is_not_shown():
    """The first whole week after it is the first that counts."""
    short = room_over(CART, "nothing stands by", Settings(replications=1, weeks=1, warm_up_weeks=0.3, workers=1))
    run = record_of(CART, "nothing stands by", length_min=2.7 * WEEK_MIN, warm_up_min=0.3 * WEEK_MIN)

    assert short.counts["in truck"][0] == pytest.approx(
        quarter_means(run, WEEK_MIN + 15.0 * np.arange(WEEK + 1))["in truck"]
    )


def test_bands_are_quantiles_of_the_weeks():
    """Of 21 weeks with 0 to 20, 5 % lie below 1 and 95 % below 19."""
    band = made(range(21)).week("ready")

    assert (band.mean == 10.0).all()
    assert (band.low == 1.0).all()
    assert (band.high == 19.0).all()


def test_a_day_is_one_of_the_named_weekdays():
    """Its mean is that of these days only."""
    rows = np.repeat(np.arange(7.0), 96)[None]
    over = made([0.0], ready=rows)

    assert (over.day("ready", ("Tue",)).mean == 1.0).all()
    assert (over.day("ready", ("Tue", "Sun")).mean == 3.5).all()
    assert (over.day("ready").mean == 3.0).all()


def test_trucks_are_counted_where_they_work():
    """One that stands in line over a break or the weekend waits for nobody; batteries are counted always."""
    working = np.full(WEEK, 15.0)
    working[96 + 8] = 7.0
    over = made([3.0], working=working)

    assert np.flatnonzero(np.isnan(over.week("trucks waiting").mean)).tolist() == [96 + 8]
    assert np.isnan(over.day("trucks waiting", ("Tue",)).high[8])
    assert over.day("trucks waiting").mean[8] == 3.0
    assert (over.week("ready").mean == 3.0).all()
    assert over.idle_week == [(15.0 * (96 + 8), 15.0 * (96 + 9))]
    assert over.idle_day(("Tue",)) == [(120.0, 135.0)]
    assert over.idle_day() == []


# --- what is drawn ---


def words(figure):
    """Name of each panel and the words of its legend."""
    return {ax.get_ylabel(): [text.get_text() for text in ax.get_legend().get_texts()] for ax in figure.axes}


def note(figure):
    """What stands under all panels."""
    return " ".join(figure.legends[0].get_title().get_text().split())


def means(ax):
    """Values of the lines of a panel that are drawn as steps."""
    return [patch.get_data().values.tolist() for patch in ax.patches if hasattr(patch, "get_data")]


def test_panels_have_names_and_legends(over):
    """Mean, band and what there is in all."""
    assert words(week_chart(over)) == {
        "Trucks": ["waiting, mean", "away from work, mean"],
        "Ready\nbatteries": ["ready, mean"],
        "Batteries, mean": [
            "ready", "being watered", "waits for watering", "cooling", "on charge", "being connected",
            "waits to be connected", "in transfer", "in truck",
        ],
        "Chargers, mean": ["held after the charge", "battery waits", "giving current", "in all: 58"],
        "Stations": ["in use, mean", "in all: 2"],
        "Devices": ["in use, mean", "in all: 3"],
        "Attendants": ["busy, mean", "in overtime, mean", "on duty"],
    }  # fmt: skip


@pytest.mark.parametrize(("panel", "name"), [(0, "trucks waiting"), (1, "ready"), (4, "stations"), (5, "devices")])
def test_lines_and_bands_are_what_the_study_found(over, panel, name):
    """Nothing is calculated on the way."""
    for figure, band in ((week_chart(over), over.week_by_hour(name)), (day_chart(over), over.day(name))):
        ax = figure.axes[panel]
        heights = np.concatenate([path.vertices[:, 1] for path in ax.collections[0].get_paths()])
        assert means(ax)[0] == pytest.approx(band.mean.tolist(), nan_ok=True)
        assert (heights.min(), heights.max()) == (np.nanmin(band.low), np.nanmax(band.high))


def test_chargers_are_stacked_by_what_they_do(over):
    """Those held after the charge on top of those that give current."""
    ax = week_chart(over).axes[3]
    tops = {path.vertices[:, 1].max() for fill in ax.collections[-1:] for path in fill.get_paths()}
    taken = sum(over.week_by_hour(CHARGERS[state]).mean for state in CHARGER_STATES[:5])

    assert max(tops) == pytest.approx(taken.max())


def test_ready_batteries_of_several_types_have_a_line_each():
    """In one area too."""
    named = {f"ready {name}": np.full((1, WEEK), number) for number, name in enumerate(("lead 48 V 750 Ah", "x"), 1)}
    over = made([3.0])
    over = replace(over, counts=over.counts | named, scenario=with_types("x"))

    for figure in (week_chart(over), day_chart(over)):
        assert words(figure)["Ready\nbatteries"] == ["ready, mean", "lead 48 V 750 Ah", "x"]
        assert [values[0] for values in means(figure.axes[1])] == [3.0, 1.0, 2.0]
    assert "Ready batteries of type 'x': on average 2, least 2 (Mon 00:00), most 2 (Mon 00:00)." in week_text(over)


def with_types(name):
    """The site with one more battery type, as its first one is."""
    first = next(iter(SITE.batteries))
    return SITE.model_copy(update={"batteries": {**SITE.batteries, name: SITE.batteries[first]}})


@pytest.mark.parametrize("chart", [week_chart, day_chart])
def test_words_can_be_read_in_a_printed_column(over, chart):
    """160 mm wide, no taller than a page, no type below 8 pt; nothing over another."""
    figure = chart(over)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    shown = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text()]
    heads = [ax.get_legend().get_window_extent() for ax in figure.axes]
    boxes = [
        *heads,
        *(text.get_window_extent() for text in (*figure.texts, *figure.legends)),
        *(ax.get_window_extent() for ax in figure.axes),
    ]

    width, height = figure.get_size_inches()
    assert (width <= 6.3, height <= 8.8) == (True, True)
    assert min(text.get_fontsize() for text in shown) >= 8.0
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))
    assert all(box.x0 >= 0.0 and box.x1 <= figure.bbox.x1 for box in boxes)


def test_an_hour_is_the_mean_of_its_quarters():
    """Of trucks, of those quarters in which they work; none of them is no number."""
    rows = np.tile([1.0, 2.0, 3.0, 6.0], 168)[None]
    working = np.full(WEEK, 15.0)
    working[4:7] = working[8:12] = 0.0
    over = made([0.0], working=working, trucks_waiting=rows, ready=rows)

    assert over.week_by_hour("ready").mean.tolist() == [3.0] * 168
    assert over.week_by_hour("trucks waiting").mean[:4].tolist() == pytest.approx([3.0, 6.0, np.nan, 3.0], nan_ok=True)
    assert over.hour_min[[0, 1, -1]].tolist() == [0.0, 60.0, WEEK_MIN]


def test_breaks_of_less_than_an_hour_are_not_marked_in_a_week():
    """They are in a day."""
    working = np.full(WEEK, 15.0)
    for day in range(7):
        working[96 * day + 8 : 96 * day + 10] = 0.0
    working[-4:] = 0.0
    over = made([1.0], working=working)

    strips = [[(patch.get_x(), patch.get_width()) for patch in chart.axes[0].patches if hasattr(patch, "get_x")]
              for chart in (week_chart(over), day_chart(over))]  # fmt: skip
    assert strips == [[(WEEK_MIN - 60.0, 60.0)], [(120.0, 30.0)]]


def test_the_words_say_what_is_drawn():
    """Mean, least and most of each count, and when."""
    ready = np.full((1, WEEK), 4.0)
    ready[0, 96 + 56 : 96 + 60] = 1.0, 2.0, 2.0, 3.0
    over = made([0.0], ready=ready)

    assert week_text(over) == (
        "hoist, a mean week, means of 1 week, each of an hour. "
        "Ready batteries: on average 4.0, least 2 (Tue 14:00), most 4 (Mon 00:00)."
    )
    assert day_text(over, ("Tue",)) == (
        "hoist, a mean Tue, means of 1 day (Tue), each of a quarter of an hour. "
        "Ready batteries: on average 3.9, least 1 (14:00), most 4 (00:00)."
    )
    stations = np.full((1, WEEK), 0.25)
    assert "Stations in use of 1: on average 0.25, least 0.25 (Mon 00:00), most 0.25 (Mon 00:00)." in week_text(
        made([0.0], stations=stations)
    )


def test_nothing_has_no_extremes():
    """Not a number where a course has none."""
    found = Band(*np.full((3, 4), np.nan)).extremes

    assert np.isnan([found.mean, found.least, found.most]).all()


def test_batteries_fill_their_panel(over):
    """The stack ends at all batteries."""
    ax = week_chart(over).axes[2]

    assert ax.get_ylim() == (0.0, 82.0)
    assert max(path.vertices[:, 1].max() for fill in ax.collections for path in fill.get_paths()) == pytest.approx(82.0)


def test_titles_and_notes(over):
    """They say how many weeks or days stand behind the mean."""
    week, day, _ = figures = [week_chart(over), day_chart(over), day_chart(over, ("Tue",))]

    assert [figure.get_suptitle() for figure in figures] == [
        "side rollers: a mean week", "side rollers: a mean day", "side rollers: a mean Tue",
    ]  # fmt: skip
    assert note(day) == (
        "Lines and areas: means of 10 days (Mon, Tue, Wed, Thu, Fri). Bands: 5 % to 95 % of them, "
        "each the mean of a quarter of an hour. Grey strips: no truck works, and none is counted."
    )
    assert note(week).startswith("Lines and areas: means of 2 weeks.")


def test_the_time_axis_names_days_and_hours(over):
    """A week by weekday, a day by the clock."""
    for chart, labels in ((week_chart, ["Mon", "Tue", "Wed"]), (day_chart, ["00:00", "03:00", "06:00"])):
        figure = chart(over)
        figure.draw_without_rendering()
        shown = [text.get_text() for text in figure.axes[-1].get_xticklabels() if text.get_position()[0] >= 0.0]
        assert shown[:3] == labels


def test_without_stock_and_attendants_their_panels_are_left_out():
    """Charging in the truck by drivers."""
    none = np.zeros((1, WEEK))
    over = made(
        [1.0],
        layout="in the truck",
        devices=0.0,
        attendants_busy=none,
        attendants_on_duty=none,
        attendants_in_overtime=none,
    )

    assert [ax.get_ylabel() for ax in week_chart(over).axes] == [
        "Trucks", "Batteries, mean", "Chargers, mean", "Charging\nspots",
    ]  # fmt: skip


def test_a_site_without_work_is_said():
    """A mean working day needs one."""
    figure = day_chart(made([1.0], working=np.zeros(WEEK)))

    assert [text.get_text() for text in figure.axes[0].texts][-1] == "No working day in the week."
    figure.draw_without_rendering()
    assert day_text(made([1.0], working=np.zeros(WEEK))).endswith(". No working day in the week.")


def test_a_day_that_there_is_not():
    """The message names those that there are."""
    with pytest.raises(ValueError, match=r"^days must be among Mon, Tue, Wed, Thu, Fri, Sat, Sun \(got Tuesday\)$"):
        day_chart(made([1.0]), ("Tuesday",))
