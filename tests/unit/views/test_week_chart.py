"""The room over a mean week and day: exact means of quarters, bands over weeks, and charts that draw just them."""

import numpy as np
import pytest

from batsim.measures.room_course import CHARGERS, quarter_means, room_course
from batsim.record.words import STATES
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.study.room_over import RoomOver, room_over
from batsim.views.charts.week_chart import day_chart, week_chart
from tests.runs import record_of
from tests.sites import CART
from tests.sites import KESTREL as SITE

WEEK = 672

ON_COUNT = (
    *("trucks waiting", "trucks away", "stations", "attendants busy", "attendants in overtime", "attendants on duty"),
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


def made(values, *, working=None, layout="hoist", **counts):
    """Room in which every count is one of some values in each of as many weeks."""
    rows = np.repeat(np.array(values, dtype=float)[:, None], WEEK, axis=1)
    every = {name: counts.get(name.replace(" ", "_"), rows) for name in (*ON_COUNT, *STATES)}
    works = np.full(WEEK, 15.0) if working is None else working
    return RoomOver(SITE, layout, len(values), 1, every, works, 82.0, 44.0, 1.0)


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


def means(ax):
    """Values of the lines of a panel that are drawn as steps."""
    return [patch.get_data().values.tolist() for patch in ax.patches if hasattr(patch, "get_data")]


def test_panels_have_names_and_legends(over):
    """Mean, band and what there is in all."""
    assert words(week_chart(over)) == {
        "Trucks": ["waiting, mean", "waiting, 5 % to 95 %", "away from work, mean"],
        "Ready batteries": ["ready, mean", "ready, 5 % to 95 %"],
        "Batteries, mean": [
            "ready", "being watered", "waits for watering", "cooling", "on charge", "being connected",
            "waits to be connected", "in transfer", "in truck",
        ],
        "Chargers": ["giving current, mean", "giving current, 5 % to 95 %", "with a battery, mean", "in all"],
        "Attendants": ["busy, mean", "busy, 5 % to 95 %", "in overtime, mean", "on duty"],
    }  # fmt: skip


@pytest.mark.parametrize(("panel", "name"), [(1, "ready"), (3, "chargers: giving current")])
def test_lines_and_bands_are_what_the_study_found(over, panel, name):
    """Nothing is calculated on the way."""
    for figure, band in ((week_chart(over), over.week(name)), (day_chart(over), over.day(name))):
        ax = figure.axes[panel]
        heights = ax.collections[0].get_paths()[0].vertices[:, 1]
        assert means(ax)[0] == band.mean.tolist()
        assert (heights.min(), heights.max()) == (band.low.min(), band.high.max())


def test_batteries_fill_their_panel(over):
    """The stack ends at all batteries."""
    ax = week_chart(over).axes[2]

    assert ax.get_ylim() == (0.0, 82.0)
    assert max(path.vertices[:, 1].max() for fill in ax.collections for path in fill.get_paths()) == pytest.approx(82.0)


def test_titles_and_notes(over):
    """They say how many weeks or days stand behind the mean."""
    week, day, tuesday = (figure.axes[0] for figure in (week_chart(over), day_chart(over), day_chart(over, ("Tue",))))

    assert [ax.get_title("left") for ax in (week, day, tuesday)] == [
        "side rollers: a mean week", "side rollers: a mean day", "side rollers: a mean Tue",
    ]  # fmt: skip
    assert " ".join(day.texts[0].get_text().split()) == (
        "Lines: means of 10 days (Mon, Tue, Wed, Thu, Fri). Bands: 5 % to 95 % of them, each the mean of a quarter of "
        "an hour. Grey strips: no truck works, and none is counted."
    )
    assert " ".join(week.texts[0].get_text().split()).startswith("Lines: means of 2 weeks.")


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
        [1.0], layout="in the truck", attendants_busy=none, attendants_on_duty=none, attendants_in_overtime=none
    )

    assert [ax.get_ylabel() for ax in week_chart(over).axes] == ["Trucks", "Batteries, mean", "Chargers"]


def test_a_site_without_work_is_said():
    """A mean working day needs one."""
    figure = day_chart(made([1.0], working=np.zeros(WEEK)))

    assert [text.get_text() for text in figure.axes[0].texts][-1] == "No working day in the week."
    figure.draw_without_rendering()


def test_a_day_that_there_is_not():
    """The message names those that there are."""
    with pytest.raises(ValueError, match=r"^days must be among Mon, Tue, Wed, Thu, Fri, Sat, Sun \(got Tuesday\)$"):
        day_chart(made([1.0]), ("Tuesday",))
