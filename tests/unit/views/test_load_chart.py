"""Load and hydrogen over a week: means, peaks and the worst week, and charts that draw just them."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

import batsim
from batsim.measures.mean_week import QUARTERS, mean_week
from batsim.plan.evidence import evidence
from batsim.plan.ventilation import hydrogen_week, ventilation
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.views.charts.hydrogen_chart import hydrogen_chart, hydrogen_text
from batsim.views.charts.load_chart import NONE, load_chart, load_text
from tests.sites import KESTREL as SITE

LAYOUT = "hoist"


@pytest.fixture(scope="module")
def found():
    """Two replications of a week after a week of warm-up."""
    settings = Settings(layouts=LAYOUT, replications=2, weeks=1.0, workers=1)
    return evidence(settings.schedule(SITE), settings)[LAYOUT]


@pytest.fixture(scope="module")
def asked(found):
    """Ventilation of the layout."""
    (air,) = ventilation(SITE, LAYOUT, found)
    return air


def with_gas(found, *courses, warm_up_min=WEEK_MIN):
    """Evidence with other flows of hydrogen."""
    run = found.replications[0]
    areas = [{"": run.areas[""]._replace(gas_m3_per_h=np.array(each, dtype=float))} for each in courses]
    taken = tuple(run._replace(areas=each) for each in areas)
    schedule = replace(found.runs.schedule, warm_up_min=warm_up_min)
    return replace(found, replications=taken, runs=replace(found.runs, schedule=schedule))


def words(ax):
    """Words of the legend."""
    return [text.get_text() for text in ax.get_legend().get_texts()]


# --- the mean week ---


def test_a_course_lies_where_its_time_is():
    """One that begins on a Tuesday at noon leaves Monday open."""
    week = mean_week([np.array([4.0, 6.0])], 1440.0 + 720.0)

    assert np.flatnonzero(np.isfinite(week.mean)).tolist() == [144, 145]
    assert week.mean[[144, 145]].tolist() == [4.0, 6.0]
    assert (week.peak, week.peak_min) == (6.0, 1440.0 + 735.0)
    assert week.weeks == pytest.approx(2 / QUARTERS)


def test_weeks_and_replications_count_alike():
    """Three weeks in two replications: mean, range and the most of any."""
    week = mean_week([np.repeat([0.0, 3.0], QUARTERS), np.full(QUARTERS, 6.0)], 5 * WEEK_MIN)

    assert (week.mean == 3.0).all()
    assert (week.low == np.quantile([0.0, 3.0, 6.0], 0.05)).all()
    assert (week.high == np.quantile([0.0, 3.0, 6.0], 0.95)).all()
    assert (week.most == 6.0).all()
    assert week.weeks == 3.0


@pytest.mark.parametrize("courses", [[], [np.array([])]], ids=["no course", "an empty one"])
def test_nothing_measured_has_no_peak(courses):
    """And no number anywhere."""
    week = mean_week(courses, 0.0)

    assert np.isnan(week.mean).all()
    assert np.isnan(week.peak)
    assert week.weeks == 0.0


def test_the_mean_week_has_the_energy_of_the_evidence(found):
    """Both lay the same load over a week."""
    week = mean_week([each.load_kw for each in found.replications], found.runs.schedule.warm_up_min)

    assert week.mean / 4.0 == pytest.approx(found.week_kwh)
    assert week.peak == max(each.results.site["peak_of_all_weeks_kw"] for each in found.replications)


# --- the worst week of hydrogen ---


def test_the_worst_week_has_the_peak_of_the_ventilation(found, asked):
    """Both follow the same gas through the same room."""
    week = hydrogen_week(found, asked)

    assert week.peak_share == asked.peak_share
    assert (week.air_m3_per_h, week.by_rule, week.limit_share) == (3600.0, False, 0.01)


def test_the_worst_of_several_weeks_is_picked(found, asked):
    """By its calendar week, counted from that in which the measured time begins."""
    gas = np.zeros(3 * QUARTERS)
    gas[2 * QUARTERS + 10 : 2 * QUARTERS + 20] = 5.0
    week = hydrogen_week(with_gas(found, np.zeros(3 * QUARTERS), gas), asked)

    assert (week.replication, week.week) == (1, 2)
    assert week.peak_min == 20 * 15.0
    assert (week.time_min[0], week.time_min[-1]) == (15.0, WEEK_MIN)
    assert week.share.size == QUARTERS


def test_a_week_may_be_measured_in_part(found, asked):
    """After half a week of warm-up its first half is not there."""
    week = hydrogen_week(with_gas(found, np.ones(QUARTERS // 2), warm_up_min=WEEK_MIN / 2), asked)

    assert week.time_min[0] == WEEK_MIN / 2 + 15.0
    assert week.time_min[-1] == WEEK_MIN


def test_without_a_fan_the_air_of_the_rule_is_taken(found, asked):
    """And said to be."""
    week = hydrogen_week(found, replace(asked, air_m3_per_h=None))

    assert (week.air_m3_per_h, week.by_rule) == (asked.flow_m3_per_h, True)
    assert week.peak_share == asked.peak_share_at_rule


def test_a_room_of_unknown_size_has_no_course(found, asked):
    """Nor one without any air."""
    schedule = replace(found.runs.schedule, scenario=batsim.changed(SITE, {"room": {}}))
    small = replace(found, runs=replace(found.runs, schedule=schedule))

    assert hydrogen_week(small, asked) is None
    assert hydrogen_week(found, replace(asked, air_m3_per_h=0.0)) is None


# --- what is drawn ---


def test_the_load_is_drawn_as_it_was_measured(found):
    """Mean, band, and the peak at its quarter of an hour."""
    ax = load_chart(found)
    week = mean_week([each.load_kw for each in found.replications], found.runs.schedule.warm_up_min)
    heights = ax.collections[0].get_paths()[0].vertices[:, 1]
    mark = next(line for line in ax.get_lines() if line.get_marker() == "v")

    assert ax.patches[0].get_data().values.tolist() == week.mean.tolist()
    assert (heights.min(), heights.max()) == (week.low.min(), week.high.max())
    assert [float(each[0]) for each in mark.get_data()] == [week.peak_min, week.peak]
    level = next(line for line in ax.get_lines() if line.get_linestyle() == "--")
    assert level.get_ydata() == [found.mean("peak_kw")] * 2
    assert words(ax)[2] == f"peak load as tables state it: mean of the weeks' peaks {found.mean('peak_kw'):.0f} kW"
    assert words(ax)[3].startswith(f"greatest quarter of all weeks {week.peak:.0f} kW, ")


def test_axes_and_titles_of_the_load(found):
    """Units and what the mean is of."""
    ax = load_chart(found)

    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Weekday", "Load [kW]")
    assert ax.get_title("left") == "hoist: load at the wall over a mean week"
    assert " ".join(ax.texts[0].get_text().split()) == (
        "Means of a quarter of an hour, standby included, over 2 weeks of 2 replications. Tables state the mean of the "
        "weeks' peaks; the greatest of them all is higher where weeks differ."
    )


def test_the_peak_of_the_tables_is_the_mean_of_those_drawn(found):
    """Week by week, the same quarters of an hour; the mark is the greatest of them."""
    peaks = [run.load_kw.max() for run in found.replications]
    week = mean_week([each.load_kw for each in found.replications], found.runs.schedule.warm_up_min)

    assert found.mean("peak_kw") == pytest.approx(np.mean(peaks))
    assert week.peak == max(peaks)


def test_the_words_say_what_is_drawn(found, asked):
    """Mean, least, most and both peaks of the load; the most hydrogen and its limit."""
    courses = np.full(QUARTERS, 10.0), np.full(QUARTERS, 20.0)
    courses[1][96] = 50.0
    made = replace(
        found,
        replications=tuple(
            run._replace(load_kw=course) for run, course in zip(found.replications, courses, strict=True)
        ),
    )

    assert load_text(made).startswith(
        "hoist: load at the wall over a mean week, on average 15 kW, least 15 kW (Mon 00:00), most 30 kW (Tue 00:00); "
        "peak load as tables state it: mean of the weeks' peaks "
    )
    assert "; greatest quarter of all weeks 50 kW, Tue 00:00. Means of a quarter" in load_text(made)
    week = hydrogen_week(found, asked)
    assert hydrogen_text(found, asked).startswith(
        f"hoist: hydrogen in the battery room: hydrogen, at most {100.0 * week.peak_share:.2g} % ("
    )
    assert "; limit: 1 %, a quarter of the lower flammable limit. The simulated week" in hydrogen_text(found, asked)


def test_no_load_is_said(found):
    """An empty frame would look like an error."""
    idle = replace(found, replications=tuple(each._replace(load_kw=np.zeros(QUARTERS)) for each in found.replications))

    assert load_chart(idle).texts[-1].get_text() == NONE
    assert load_text(idle) == NONE


def test_hydrogen_is_drawn_in_percent_beside_the_limit(found, asked):
    """With its peak, and the axis reaches the limit however little there is."""
    ax, week = hydrogen_chart(found, asked), hydrogen_week(found, asked)
    curve, limit, mark = ax.get_lines()

    assert curve.get_xdata().tolist() == week.time_min.tolist()
    assert curve.get_ydata().tolist() == (100.0 * week.share).tolist()
    assert list(limit.get_ydata()) == [1.0, 1.0]
    assert [float(each[0]) for each in mark.get_data()] == [week.peak_min, 100.0 * week.peak_share]
    assert ax.get_ylim()[1] > 1.0
    assert ax.get_ylabel() == "Hydrogen [% of the air]"
    assert words(ax)[0] == "limit: 1 %, a quarter of the lower flammable limit"


def test_the_note_says_whose_air_it_is(found, asked):
    """What is stated, or what the rule asks for."""
    notes = [
        " ".join(hydrogen_chart(found, each).texts[0].get_text().split())
        for each in (asked, replace(asked, air_m3_per_h=None))
    ]

    assert "air of 3,600 m³/h, as stated. Well mixed: near the cells and under covers there is more." in notes[0]
    assert f"air of {asked.flow_m3_per_h:,.0f} m³/h, as the rule asks for; nobody says what there is." in notes[1]


def test_a_room_that_nobody_measured_is_said(found, asked):
    """What has to be found out for the chart."""
    schedule = replace(found.runs.schedule, scenario=batsim.changed(SITE, {"room": {}}))
    unknown = replace(found, runs=replace(found.runs, schedule=schedule))

    needed = "Length, width and height of the battery room and its air have to be known for this chart."
    assert " ".join(hydrogen_chart(unknown, asked).texts[-1].get_text().split()) == needed
    assert hydrogen_text(unknown, asked) == f"hoist: hydrogen in the battery room: {needed}"


def test_given_axes_are_drawn_on(found, asked):
    """And handed back."""
    first, second = Figure().subplots(1, 2)

    assert load_chart(found, first) is first
    assert hydrogen_chart(found, asked, second) is second
