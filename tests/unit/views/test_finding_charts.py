"""Charts whose title is the finding: what it says, what is drawn and written in words, and that nothing collides."""

import re
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.container import BarContainer
from matplotlib.figure import Figure

import batsim
from batsim.measures import MEASURES
from batsim.measures.names import LOST_TO, PART_LABELS
from batsim.plan.cost_items import INPUTS, cost_items
from batsim.plan.plan import Plan, plan_layouts
from batsim.record.record import Record
from batsim.scenario.settings import Schedule, Settings
from batsim.statistics.intervals import Interval
from batsim.study.compare import Comparison
from batsim.study.lost_by_hour import LostByHour
from batsim.study.running.runs import Runs
from batsim.study.worst_hour import Crowd, worst_hour
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.cost_chart import cost_chart, cost_text
from batsim.views.charts.heat_chart import heat_chart, heat_text
from batsim.views.charts.lanes_chart import HEIGHT, lanes_chart, lanes_text
from batsim.views.charts.minutes_chart import minutes_chart, minutes_text
from batsim.views.charts.season_chart import NO_SEASON, season_chart, season_text
from batsim.views.charts.solid_rows import Part, Row, draw_rows
from batsim.views.charts.truck_shift_chart import truck_shift_chart, truck_shift_text
from tests.runs import record_of
from tests.sites import KESTREL

ROOT = Path(__file__).parents[3]
DAY = 1440.0
LONG = "a layout of which the name says how it is done and by whom and why not otherwise"
NOISE = np.array([-1.0, 1.0, 0.0])
SITE = batsim.changed(KESTREL, {"targets": {"downtime_per_truck_shift": "at most 20 min"}})
"""Today a hoist; a target on downtime alone."""
FREE = batsim.changed(KESTREL, {"targets": {}, "present": None})
MOST_IN = (160.0 / 25.4 + 0.01, 100.0 / 25.4 + 0.01)
"""Width and height of a printed picture. [in]"""


def values(**downtime):
    """Measures of a layout from parts of its downtime."""
    found = {name: np.zeros(3) for name in MEASURES}
    for part, minutes in downtime.items():
        found[f"{part}_min_per_truck_shift"] = minutes + NOISE
    found["downtime_min_per_truck_shift"] = sum(found[f"{part}_min_per_truck_shift"] for part in PART_LABELS)
    return found


ROLLERS, HOIST = values(travel=2.0, wait_bay=1.0, exchange=5.0), values(travel=2.0, wait_station=25.0, exchange=12.0)
PLUGGED = values(travel=2.0, charge_in_truck=70.0, help=3.0)
IDLE = {name: np.full(3, np.nan) for name in MEASURES}


def plan_of(layouts, scenario=SITE, **more):
    """Plan of made-up layouts."""
    schedule = Schedule(scenario, tuple(layouts), 1, 3, 10080.0, 0.0, 0.95)
    return Plan(schedule, Comparison(Runs(schedule, layouts), **more), {})


@pytest.fixture(scope="module")
def kestrel():
    """Plan of a day of the reference site: today a hoist, a target of 15 min, no season."""
    layouts = ["side rollers", "hoist"]
    return plan_layouts(KESTREL, Settings(layouts, replications=2, weeks=0.15, warm_up_weeks=0.15, workers=1))


@pytest.fixture(scope="module")
def saltmarsh():
    """Plan of a day of a site of three areas with a season."""
    site = batsim.read(ROOT / "scenarios" / "saltmarsh-road.yaml")
    layouts = ["each its own way", "today"]
    return plan_layouts(site, Settings(layouts, replications=2, weeks=0.15, warm_up_weeks=0.15, workers=1))


@pytest.fixture(scope="module")
def hour():
    """Worst hour of two days with a hoist."""
    return worst_hour(record_of(KESTREL, "hoist", length_min=2 * DAY, warm_up_min=DAY))


def title(ax):
    """Title in one line."""
    return " ".join(ax.get_title("left").split())


def bars(ax):
    """Left ends and lengths of the bars with a word, by it."""
    return {
        each.get_label(): [(bar.get_x(), bar.get_width()) for bar in each]
        for each in ax.containers
        if isinstance(each, BarContainer) and not each.get_label().startswith("_")
    }


def texts(ax):
    """What is written on axes."""
    return [text.get_text() for text in ax.texts]


def outside_or_on_another(ax):
    """Words that lie outside of the picture, or on one another, when it is drawn."""
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    left, right = ax.get_xlim()
    ticks = [tick for tick in ax.get_xticklabels() if left <= tick.get_position()[0] <= right]
    drawn = [*ax.get_yticklabels(), *ticks, *ax.texts]
    if ax.get_legend():
        drawn += ax.get_legend().get_texts()
    boxes = {text: text.get_window_extent(renderer).padded(-1.0) for text in drawn if text.get_text().strip()}
    width, height = ax.figure.get_size_inches() * ax.figure.dpi
    out = [
        text.get_text() for text, box in boxes.items() if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height
    ]
    return out + [
        (one.get_text(), two.get_text()) for one, two in combinations(boxes, 2) if boxes[one].overlaps(boxes[two])
    ]


# --- minutes by layout ---


@pytest.mark.parametrize(
    ("layouts", "scenario", "expected"),
    [
        (
            {"side rollers": ROLLERS, "hoist": HOIST},
            SITE,
            "Layout 'side rollers' loses 8.0 min per truck-shift, today's layout 39.0; only it keeps the target of 20",
        ),
        (
            {"hoist": ROLLERS, "side rollers": HOIST},
            batsim.changed(SITE, {"targets.downtime_per_truck_shift": "at most 90 min"}),
            "Today's layout 'hoist' loses 8.0 min per truck-shift, the least; the target is 90",
        ),
        ({"hoist": HOIST, "in the truck": PLUGGED}, FREE, "Layout 'hoist' loses 39.0 min per truck-shift, the least"),
        ({"hoist": HOIST}, FREE, "Layout 'hoist' loses 39.0 min per truck-shift"),
        ({"hoist": IDLE}, SITE, "No layout that is possible has a value of downtime"),
    ],
)
def test_the_title_says_who_loses_least(layouts, scenario, expected):
    """With today's layout and the target, where there are any."""
    plans = plan_of(layouts, scenario)

    assert title(minutes_chart(plans)) == expected
    assert minutes_text(plans).startswith(f"{expected}.")


def test_an_impossible_layout_is_never_the_best():
    """It is drawn and says so."""
    plans = plan_of({"side rollers": ROLLERS, "hoist": HOIST}, impossible={"side rollers": "the battery is too long"})
    ax = minutes_chart(plans)

    assert title(ax) == "Today's layout 'hoist' loses 39.0 min per truck-shift; the target is 20"
    assert "8.0 ± 7.5 (impossible)" in texts(ax)


def test_causes_are_put_together_into_four():
    """One behind the other, from nothing on."""
    found = bars(minutes_chart(plan_of({"hoist": HOIST, "in the truck": PLUGGED})))

    assert found == {
        "way": [(0.0, 2.0), (0.0, 2.0)],
        "waiting": [(2.0, 25.0), (2.0, 0.0)],
        "exchanging or charging": [(27.0, 12.0), (2.0, 70.0)],
        "other": [(39.0, 0.0), (72.0, 3.0)],
    }


def test_words_stand_in_the_bars_and_the_rest_in_the_legend():
    """Each meaning once at least."""
    ax = minutes_chart(plan_of({"hoist": HOIST, "in the truck": PLUGGED}))
    legend = [text.get_text() for text in ax.get_legend().get_texts()]

    assert legend == ["way", "other"]
    assert {"waiting", "exchanging or charging"} <= set(texts(ax))
    assert "39.0 ± 7.5 (today)" in texts(ax)
    assert "target 20" in texts(ax)


def test_the_words_carry_the_numbers():
    """For those who cannot see the picture."""
    assert minutes_text(plan_of({"side rollers": ROLLERS, "hoist": HOIST})) == (
        "Layout 'side rollers' loses 8.0 min per truck-shift, today's layout 39.0; only it keeps the target of 20. "
        "Minutes per truck-shift: 'side rollers' 8.0 ± 7.5 (way 2, waiting 1, exchanging or charging 5); 'hoist' "
        "(today) 39.0 ± 7.5 (way 2, waiting 25, exchanging or charging 12). Means of 3 replications of 1 week; "
        "whiskers: 95 % intervals of the total."
    )


# --- yearly cost ---


def test_the_cheapest_layout_is_named_with_what_it_saves(kestrel):
    """Against today's."""
    cost = {name: plan.money.at_equal_work.value for name, plan in kestrel.layouts.items()}
    cheapest = min(cost, key=cost.get)
    ax = cost_chart(kestrel)

    assert [label.get_text() for label in ax.get_yticklabels()] == sorted(cost, key=cost.get)
    assert title(ax).startswith(f"Layout '{cheapest}' costs ")
    assert title(ax).endswith("less than today's")


def test_items_are_drawn_in_thousands(kestrel):
    """Those that cost nothing anywhere are left out."""
    found = bars(cost_chart(kestrel))
    layouts = sorted(kestrel.layouts.values(), key=lambda plan: plan.money.at_equal_work.value)

    for name in INPUTS:
        amounts = [cost_items(plan.money)[name].value / 1000.0 for plan in layouts]
        drawn = [length for _, length in found.get(palette.COST_LOOKS[name][2], [])]
        assert drawn == pytest.approx(amounts if any(amounts) else [])


def test_cost_in_words_has_every_layout_and_item(kestrel):
    """With the range of the total."""
    text = cost_text(kestrel)

    assert all(f"'{name}'" in text for name in kestrel.layouts)
    assert "'hoist' (today)" in text
    assert re.search(r"[\d,]+\* \([\d,]+ to [\d,]+\) \(batteries [\d,]+", text)
    assert cost_text(replace(kestrel, layouts={})).startswith("No layout that is possible has a known cost.")


def test_one_layout_has_nothing_to_be_compared_with(kestrel):
    """The title says what it costs."""
    ax = cost_chart(replace(kestrel, layouts={"hoist": kestrel.layouts["hoist"]}))

    assert re.fullmatch(r"Today's layout 'hoist' costs [\d,]+ EUR a year", title(ax))


# --- the worst hour ---


def test_lanes_are_those_of_the_hour(hour):
    """Trucks above, then what serves them, with how long each waits and is away."""
    ax = lanes_chart(hour)
    names = [label.get_text() for label in ax.get_yticklabels()]
    trucks = [f"truck {lane.truck + 1} ({lane.group})" for lane in hour.trucks]

    assert names[: len(trucks)] == trucks
    assert names[len(trucks) :] == ["station 1", "hoist 1", "attendant 1", "attendant 2"]
    assert ax.get_xlim() == (hour.from_min, hour.to_min)
    assert {f"{lane.waited_min:.0f}" for lane in hour.trucks} <= set(texts(ax))


@pytest.mark.parametrize(
    ("crowd", "expected"),
    [
        (Crowd(2 * DAY + 840.0, 7, "device", "hoist", 1.0, ""), "At 14:00 on Wednesday 7 trucks wait for one hoist"),
        (
            Crowd(845.0, 1, "station", "station", 2.0, "yard"),
            "At 14:05 on Monday 1 truck waits for 2 stations in area 'yard'",
        ),
        (Crowd(845.0, 3, "battery", "battery", 0.0, ""), "At 14:05 on Monday 3 trucks wait for a ready battery"),
        (Crowd(845.0, 3, "attendant", "attendant", 0.0, ""), "At 14:05 on Monday 3 trucks wait for an attendant"),
    ],
)  # fmt: skip
def test_the_title_says_how_many_wait_for_what(hour, crowd, expected):
    """In the words of the trade."""
    assert title(lanes_chart(replace(hour, crowd=crowd))) == expected
    assert lanes_text(replace(hour, crowd=crowd)).startswith(f"{expected}. Layout 'hoist', week ")


def test_what_is_shaded_in_the_lanes_is_said(hour):
    """A truck that stands through its break waits no minute of work: else bar and number would say two things."""
    said = [
        " ".join(" ".join(text.get_text() for text in lanes_chart(replace(hour, idle=idle)).texts).split())
        for idle in ([], [(hour.from_min, hour.from_min + 20.0)])
    ]

    assert ["Shaded: trucks have a break or no shift." in each for each in said] == [False, True]
    assert ["minutes of work that a truck waits" in each for each in said] == [False, True]


def test_the_words_of_the_hour_name_who_waits_longest(hour):
    """And what is lost in all."""
    longest = max(hour.trucks, key=lambda lane: lane.waited_min)
    text = lanes_text(hour)

    assert f"{hour.trucks_away} trucks away, {hour.lost_min:.0f} truck-minutes lost in this hour" in text
    assert f"Truck {longest.truck + 1} ({longest.group}) waits longest, {longest.waited_min:.0f} min of the" in text


def test_nobody_waits_and_nothing_is_lost():
    """Trucks that are charged where they stand; a record without rows."""
    plugged = worst_hour(record_of(KESTREL, "in the truck", length_min=DAY, warm_up_min=DAY))
    empty = worst_hour(Record(plugged.facts))

    assert title(lanes_chart(plugged)).startswith("Nobody waits; most time is lost on ")
    assert "is away longest" in lanes_text(plugged)
    assert not lanes_chart(empty).axison
    assert lanes_text(empty).startswith("No time is lost in layout 'in the truck'.")


def test_lanes_fit_a_printed_column(hour):
    """Twenty trucks with long names of groups: those that wait longest, and it is told how many are left out."""
    facts = replace(hour.facts, groups=(LONG, "b"))
    lane = hour.trucks[0]
    lanes = tuple(
        lane._replace(truck=number, group=LONG, waited_min=float(number), away_min=100.0 + number)
        for number in range(20)
    )
    things = hour.things * 5
    ax = lanes_chart(replace(hour, facts=facts, trucks=lanes, more=3, things=things))
    names = [label.get_text() for label in ax.get_yticklabels()]

    assert (len(names), len(things), len(hour.attendants)) == (16, 10, 2)
    assert names[0].startswith("truck 12 ")
    assert "14 more trucks wait less long; 5 lanes below left out." in " ".join(texts(ax)[-1].split())
    assert outside_or_on_another(ax) == []
    lane_pt = 72.0 / ax.figure.dpi * abs(np.diff(ax.transData.transform([(0.0, 0.0), (0.0, 1.0)])[:, 1])[0])
    assert HEIGHT * lane_pt >= style.NOTE_PT  # words stand within their bars


# --- by the hour of the week ---


def lost(by_hour):
    """What is lost by the hour in two replications, the second without any."""
    schedule = Schedule(KESTREL, ("hoist",), 1, 2, 10080.0, 0.0, 0.95)
    working = np.where(np.arange(168) < 120, 60.0, 0.0)
    return LostByHour(schedule, "hoist", np.stack([by_hour, np.zeros(168)]), working)


def test_the_worst_hour_of_the_week_is_marked():
    """Tuesday 14:00: 300 min in one replication of two."""
    by_hour = np.zeros(168)
    by_hour[[0, 38]] = 100.0, 300.0
    ax = heat_chart(lost(by_hour))

    assert title(ax) == "Most time is lost on Tuesday from 14:00 to 15:00: 150 truck-minutes"
    assert "150" in texts(ax)
    assert ax.images[0].get_array()[1, 14] == 150.0
    assert [len(line.get_xdata()) for line in ax.get_lines()] == [48]
    assert "75 % of the 200 of a mean week. By weekday, in truck-minutes: Mon 50, Tue 150." in heat_text(lost(by_hour))


def test_minutes_wider_than_their_field_have_a_ground():
    """White on the fields beside it, they could not be read."""
    by_hour = np.zeros(168)
    grounds = []
    for minutes in (900.0, 9_000.0):
        by_hour[38] = minutes
        (number,) = [text for text in heat_chart(lost(by_hour)).texts if text.get_color() == palette.WHITE]
        grounds.append(number.get_bbox_patch())

    assert [ground is None for ground in grounds] == [True, False]


def test_darker_is_more_in_grey_too():
    """Shades fall from white to black."""
    by_hour = np.linspace(0.0, 1.0, 168)
    image = heat_chart(lost(by_hour)).images[0]
    shades = image.cmap(image.norm(np.linspace(0.0, 0.5, 6)))[:, :3].mean(axis=1)

    assert all(np.diff(shades) < 0.0)


def test_a_week_without_a_loss_says_so():
    """No field is worse than another."""
    assert not heat_chart(lost(np.zeros(168))).axison
    assert heat_text(lost(np.zeros(168))).startswith("No time is lost in layout 'hoist'.")


# --- the steps of a truck-shift, and seasons ---


def test_steps_go_down_from_the_shift_to_the_work():
    """480 min with 20 of breaks, less 2 + 25 + 12."""
    runs = plan_of({"hoist": HOIST}).comparison.runs
    ax = truck_shift_chart(runs, "hoist")
    ends = [(bar.get_x(), bar.get_x() + bar.get_width()) for each in ax.containers for bar in each]
    names = [label.get_text() for label in ax.get_yticklabels()]

    assert dict(zip(names, ends, strict=True)) == {
        "the shift": (400.0, 480.0),
        "breaks and handover": (460.0, 480.0),
        "scheduled time": (400.0, 460.0),
        "way to the room and back": (458.0, 460.0),
        "waits for a station": (433.0, 458.0),
        "exchange": (421.0, 433.0),
        "work": (400.0, 421.0),
    }
    assert title(ax) == "Layout 'hoist' leaves 421 of 460 scheduled minutes of a truck-shift for work, 92 %"
    assert "waits for a station −25; exchange −12; work 421." in truck_shift_text(runs, "hoist")


def test_a_layout_without_a_shift_has_no_steps():
    """Nobody works in the measured time."""
    runs = plan_of({"hoist": IDLE}).comparison.runs

    assert not truck_shift_chart(runs, "hoist").axison
    assert truck_shift_text(runs, "hoist") == "No truck of layout 'hoist' has a shift in the measured time."


def test_seasons_stand_below_normal_weeks(saltmarsh):
    """For each layout, the best first, with the target."""
    ax = season_chart(saltmarsh)
    ranking = saltmarsh.comparison.ranking

    assert [label.get_text() for label in ax.get_yticklabels()] == [
        name for layout in ranking for name in (layout, "in weeks 47-51")
    ]
    assert title(ax).startswith(f"In weeks 47-51 layout '{ranking[0]}' loses ")
    assert title(ax).endswith("; target 20")
    assert season_text(saltmarsh).count("weeks 47-51") == 1 + len(ranking)


def test_a_short_word_in_a_bar_does_not_stand_for_the_legend():
    """'battery' alone does not say that trucks wait for one; where a bar has room for that, no legend is needed."""
    look = palette.LOST_LOOKS["waiting"]
    legends = []
    for wide in (20.0, 60.0):
        ax = style.axes_for(None, (style.COLUMN_IN, 3.0))
        row = Row("hoist", Interval(60.0, 60.0, 60.0), "60")
        draw_rows(ax, [row], [Part(look, [wide], ("waits for a battery", "battery"))])
        legends.append((next(text.get_text() for text in ax.texts), ax.get_legend() is not None))

    assert legends == [("battery", True), ("waits for a battery", False)]


def test_no_number_stands_on_the_line_of_the_target():
    """It begins behind the line where it would else be crossed, and stays inside the axis."""
    begun = {}
    for target in (None, 61.0, 90.0, 10.0):
        ax = style.axes_for(None, (style.COLUMN_IN, 3.0))
        rows = [Row("hoist", Interval(60.0, 60.0, 60.0), "60.0 ± 1.5"), Row("stands", Interval(5.0, 5.0, 5.0), "5")]
        draw_rows(ax, rows, [Part(palette.LOST_LOOKS["waiting"], [60.0, 5.0])], target)
        text = next(text for text in ax.texts if text.get_text() == rows[0].text)
        begun[target] = text.xy[0]
        assert text.xy[0] + style.text_width(ax, text.get_text()) < ax.get_xlim()[1] * (1.0 + 1e-9)

    assert begun == {None: 60.0, 61.0: 61.0, 90.0: 60.0, 10.0: 60.0}


def test_without_a_season_a_sentence_stands_in_its_place(kestrel):
    """Not an empty frame."""
    ax = season_chart(kestrel)

    assert not ax.axison
    assert " ".join(texts(ax)[-1].split()) == season_text(kestrel) == NO_SEASON


# --- what they have in common ---


def test_a_colour_has_one_meaning():
    """Four meanings, four colours; in grey print neighbours differ in lightness or hatch."""
    looks = palette.LOST_LOOKS

    assert list(looks) == list(LOST_TO)
    assert len({colour for colour, _, _ in looks.values()}) == 4
    assert [name for name, (_, hatch, _) in looks.items() if hatch] == ["waiting"]
    assert not {look[0] for look in looks.values()} & {look[0] for look in palette.COST_LOOKS.values()}
    assert set(palette.COST_LOOKS) == set(INPUTS)
    assert len(set(palette.COST_LOOKS.values())) == len(INPUTS)


def test_bars_have_the_colour_of_their_meaning():
    """Full, not pale."""
    ax = minutes_chart(plan_of({"hoist": HOIST}))
    drawn = {
        each.get_label(): to_hex(each[0].get_facecolor()).upper()
        for each in ax.containers
        if each.get_label() in LOST_TO
    }

    assert drawn == {name: palette.LOST_LOOKS[name][0] for name in ("way", "waiting", "exchanging or charging")}


@pytest.mark.parametrize("count", [1, 2, 20])
def test_long_names_do_not_collide(count):
    """Up to twenty layouts, of which nothing lies outside the picture."""
    layouts = {f"{number} {LONG} {number}": HOIST for number in range(count)}
    ax = minutes_chart(plan_of(layouts, FREE))

    assert outside_or_on_another(ax) == []
    assert len({label.get_text() for label in ax.get_yticklabels()}) == count


def test_pictures_fit_a_printed_column_in_type_that_can_be_read(kestrel, saltmarsh, hour):
    """160 mm by 100 mm, no type below 8 pt, nothing on another."""
    runs = kestrel.comparison.runs
    charts = [
        minutes_chart(kestrel), cost_chart(kestrel), cost_chart(saltmarsh), lanes_chart(hour), season_chart(saltmarsh),
        truck_shift_chart(runs, "hoist"), heat_chart(lost(np.arange(168.0))),
    ]  # fmt: skip

    for ax in charts:
        width, height = ax.figure.get_size_inches()
        assert (width <= MOST_IN[0], height <= MOST_IN[1]) == (True, True), title(ax)
        assert outside_or_on_another(ax) == [], title(ax)
        drawn = [*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label]
        assert min(text.get_fontsize() for text in drawn) >= 8.0


def test_given_axes_are_drawn_on_and_handed_back(kestrel, hour):
    """And a new figure shows itself in a notebook."""
    draw = [
        lambda ax: minutes_chart(kestrel, ax), lambda ax: cost_chart(kestrel, ax), lambda ax: season_chart(kestrel, ax),
        lambda ax: lanes_chart(hour, ax), lambda ax: heat_chart(lost(np.ones(168)), ax),
        lambda ax: truck_shift_chart(kestrel.comparison.runs, "hoist", ax),
    ]  # fmt: skip

    for chart in draw:
        ax = Figure().subplots()
        assert chart(ax) is ax
    assert minutes_chart(kestrel)._repr_png_().startswith(b"\x89PNG")
