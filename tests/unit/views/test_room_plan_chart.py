"""Plan of a room: positions are those that the layout states, and the chart draws just them, to scale."""

from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

import batsim
from batsim.room.plans.blueprint import blueprint_of
from batsim.study.room_plan import Box, room_plan
from batsim.views.charts.room_plan_chart import NO_FLOOR, STATION_M, room_plan_chart, room_plan_text
from tests.sites import KESTREL as SITE
from tests.sites import LARKFIELD as HOISTS

SCENARIOS = Path(__file__).parents[3] / "scenarios"
ROLLERS = 'layouts."side rollers"'
FLOOR = {
    "stations": {"at": ["5 m", "5 m"], "pitch": "4 m"},
    "rows": [
        {"row": "A", "at": ["2 m", "2 m"], "pitch": "1.2 m", "bays": 10, "levels": 2, "level_height": "1 m"},
        {"row": "B", "at": ["30 m", "1 m"], "pitch": "0.5 m", "along": "y"},
    ],
}


def placed(**floor):
    """Kestrel Lane with another floor."""
    return batsim.changed(SITE, {f"{ROLLERS}.floor": {**FLOOR, **floor}})


ACROSS = placed(rows=[{**FLOOR["rows"][0], "at": ["2 m", "0 m"]}, FLOOR["rows"][1]])
"""Bays that lie across the walls."""


# --- what stands where ---


def test_bays_are_as_many_as_the_room_has():
    """Each at its position, with the size of its battery."""
    plan = room_plan(SITE, "side rollers")
    bays = blueprint_of(SITE, "side rollers", 10080.0, 0.0).areas[0].bays

    assert len(plan.bays) == bays
    assert [(each.row, each.number) for each in plan.bays[:2]] == [("A", 1), ("A", 2)]
    assert plan.bays[1].box == pytest.approx(Box(2.2 - 0.49, 2.5 - 0.514, 0.98, 1.028))
    assert plan.bays[30].box.y_m == pytest.approx(6.5 - 0.514)
    assert plan.stations == ((15.0, 4.5), (19.0, 4.5))


def test_levels_are_one_bay_of_the_plan():
    """And a row across turns its bays, no longer than their pitch."""
    plan = room_plan(placed(), "side rollers")
    first, last = plan.bays[0], plan.bays[-1]

    assert [each.levels for each in plan.bays[:10]] == [2] * 10
    assert (last.row, last.levels) == ("B", 1)
    assert (last.box.width_m, last.box.height_m) == pytest.approx((1.028, 0.48))
    assert first.box.x_m == pytest.approx(2.0 - 0.49)
    assert last.number == blueprint_of(placed(), "side rollers", 10080.0, 0.0).areas[0].bays - 20


def test_aisles_lie_in_front_of_the_rows():
    """On the side of the stations, as wide as the room says."""
    north, west = room_plan(placed(), "side rollers").aisles

    assert north == pytest.approx(Box(1.51, 2.514, 9 * 1.2 + 0.98, 3.0))
    assert west.x_m == pytest.approx(30.0 - 0.514 - 3.0)
    assert west.width_m == pytest.approx(3.0)
    assert room_plan(batsim.changed(SITE, {"room.aisle": None}), "side rollers").aisles == ()


def test_ways_are_those_that_the_room_reckons_with():
    """The longest of each station, along aisles or overhead."""
    for site, layout in ((SITE, "side rollers"), (HOISTS, "two hoists")):
        plan, floor = room_plan(site, layout), blueprint_of(site, layout, 10080.0, 0.0).areas[0].floor
        metres = floor.ways[0].metres
        longest = [max(metres[floor.bays + number][: floor.bays]) for number in range(floor.stations)]
        assert [way.metres for way in plan.ways] == pytest.approx(longest)
        assert [way.points[0] for way in plan.ways] == list(plan.stations)
    assert {len(way.points) for way in room_plan(SITE, "side rollers").ways} == {3}
    assert {len(way.points) for way in room_plan(HOISTS, "two hoists").ways} == {2}


def test_walls_only_where_they_hold_everything():
    """Positions are not always counted from the corner of the room."""
    assert room_plan(SITE, "side rollers").room == Box(0.0, 0.0, 37.0, 9.0)
    assert room_plan(ACROSS, "side rollers").room is None
    assert room_plan(ACROSS, "side rollers").size_m == (37.0, 9.0)
    assert room_plan(batsim.changed(SITE, {"room": {}}), "side rollers").size_m is None


def test_zones_are_rectangles():
    """What the hoist reaches."""
    assert room_plan(HOISTS, "two hoists").zones == {"hoist": Box(0.0, 0.0, 20.0, 6.0)}


def test_without_a_floor_there_is_no_plan():
    """Positions are not made up."""
    assert room_plan(SITE, "hoist") is None


# --- what is drawn ---


def middle(box):
    """Middle of a rectangle."""
    return box.x_m + box.width_m / 2.0, box.y_m + box.height_m / 2.0


def boxes(ax):
    """Rectangles of the chart."""
    return [
        (*patch.get_xy(), patch.get_width(), patch.get_height()) for patch in ax.patches if type(patch) is Rectangle
    ]


@pytest.mark.parametrize(
    ("site", "layout"), [(SITE, "side rollers"), (HOISTS, "two hoists"), (placed(), "side rollers")]
)
def test_rectangles_are_those_of_the_plan(site, layout):
    """To scale, and all of them inside."""
    ax, plan = room_plan_chart(site, layout), room_plan(site, layout)
    half = STATION_M / 2.0
    stations = [(x_m - half, y_m - half, STATION_M, STATION_M) for x_m, y_m in plan.stations]
    walls = [] if plan.room is None else [plan.room]
    far = [each.box for way in plan.ways for each in plan.bays if middle(each.box) == pytest.approx(way.points[-1])]
    wanted = [*walls, *plan.aisles, *plan.zones.values(), *(each.box for each in plan.bays), *stations, *far]
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()

    assert sorted(boxes(ax)) == sorted(tuple(each) for each in wanted)
    assert ax.get_aspect() == 1.0
    assert all(left < x and x + wide < right and bottom < y and y + high < top for x, y, wide, high in wanted)
    assert [tuple(zip(*line.get_data(), strict=True)) for line in ax.get_lines()] == [way.points for way in plan.ways]
    assert len(far) == len(plan.ways)


@pytest.mark.parametrize(("site", "layout"), [(SITE, "side rollers"), (HOISTS, "two hoists")])
def test_no_way_lies_over_a_bay(site, layout):
    """Bays cover it, so that their numbers can be read; the bay at its end has a frame."""
    ax = room_plan_chart(site, layout)
    bays = {tuple(each.box) for each in room_plan(site, layout).bays}
    covers = [
        patch.get_zorder()
        for patch in ax.patches
        if (*patch.get_xy(), patch.get_width(), patch.get_height()) in bays and patch.get_facecolor()[3] > 0.0
    ]

    assert len(covers) == len(bays)
    assert max(line.get_zorder() for line in ax.get_lines()) < min(covers)


def test_the_words_say_what_is_drawn():
    """Rows and their bays, stations, aisle, farthest way."""
    assert room_plan_text(SITE, "side rollers") == (
        "side rollers: plan of the room: row A of 30 bays, row B of 30 bays; 2 stations; aisle of 3 m; farthest way, "
        "along aisles: 22.8 m. To scale; positions are those of middles, a station is a mark and no truck. Eyewash and "
        "shower: 6 m from the acid work; its place is "
        "not stated."
    )
    assert room_plan_text(SITE, "hoist") == f"hoist: plan of the room. {NO_FLOOR}"


def test_words_of_the_plan():
    """Units, what is what, and what is not drawn."""
    ax = room_plan_chart(SITE, "side rollers")

    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Along the room [m]", "Across [m]")
    assert [text.get_text() for text in ax.get_legend().get_texts()] == [
        "walls", "aisle, keep clear (3 m)", "bay of a battery", "station, where a truck stops",
        "farthest way, along aisles: 22.8 m",
    ]  # fmt: skip
    assert " ".join(ax.texts[-1].get_text().split()) == (
        "To scale; positions are those of middles, a station is a mark and no truck. Eyewash and shower: 6 m from the "
        "acid work; its place is "
        "not stated."
    )
    assert " ".join(room_plan_chart(ACROSS, "side rollers").texts[-1].get_text().split()) == (
        "To scale; positions are those of middles, a station is a mark and no truck. Room 37 m by 9 m; its walls are "
        "not drawn, since bays would lie across them. Eyewash and shower: 6 m from the acid work; its place is "
        "not stated."
    )


def test_levels_and_long_names_of_rows():
    """Levels are said in the legend, names are cut and never read as a formula."""
    rows = [{**FLOOR["rows"][0], "row": "the long $ row $ by the window"}, FLOOR["rows"][1]]
    ax = room_plan_chart(placed(rows=rows), "side rollers")
    ax.figure.draw_without_rendering()

    assert "bays, up to 2 above each other" in [text.get_text() for text in ax.get_legend().get_texts()]
    assert [text.get_text() for text in ax.texts if "…" in text.get_text()] == ["the lo…indow"]


def test_a_layout_without_positions_says_how_to_get_them():
    """No empty frame."""
    ax = room_plan_chart(SITE, "hoist")

    assert " ".join(ax.texts[-1].get_text().split()) == NO_FLOOR
    assert not ax.axison


def test_given_axes_are_drawn_on():
    """And handed back."""
    ax = Figure().subplots()

    assert room_plan_chart(SITE, "side rollers", ax) is ax
