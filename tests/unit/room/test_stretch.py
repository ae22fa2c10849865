"""Parts of a discharge within one shift: by hand, cut anywhere, and where a level is never reached."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.discharge import Cell, discharge_at_power
from batsim.formulas.kibam import Wells
from batsim.room.timing.timetable import Timetable
from batsim.room.use.recovery import FromWells
from batsim.room.use.stretch import AtPace, AtPower

PLAIN = Cell(500.0, 24, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0)
POWER_W = 4800.0  # 100 A at 48 V: a fifth of PLAIN in an hour
USUAL = Cell(500.0, 24, 1.97, 0.16, 0.5, 1.2, 0.891, 1.0)
ALWAYS = Timetable([], always=True)
TABLE = Timetable([(0.0, 60.0), (90.0, 200.0), (300.0, 900.0)])
EMPTIES_A = 100.0 / (1.0 + 0.5 / math.log(2.0))
"""Empties the available half of 100 Ah in an hour: 0 = c (100 - I) - I (1 - c) (1 - 2^-1)/k, c = 1/2, k = ln 2."""
EMPTIES_W = 48.0 * EMPTIES_A
WELLS = FromWells(Wells(math.log(2.0), 0.5, 100.0), PLAIN._replace(capacity_ah=100.0), 1.0)
SOURCES = {
    "plain": (AtPower(PLAIN), POWER_W, 1e-6),
    "usual": (AtPower(USUAL), POWER_W, 1e-4),  # its Gauss sums are good to 0.01 %
    "pace": (AtPace(300.0, 1.0, 0.25, 500.0), 0.0, 1e-6),
    "wells": (WELLS, EMPTIES_W / 4.0, 1e-6),
}


def ends(stretch):
    """When a stretch ends, at which state of charge, minutes of use and ampere-hours."""
    return stretch.end_min, stretch.soc_share, stretch.used_min, stretch.ah


# --- at a power ---


@pytest.mark.parametrize(
    ("begin_min", "stop_min", "soc", "level", "driven_min", "expected"),
    [
        (0.0, math.inf, 1.0, 0.6, 0.0, (150.0, 0.6, 120.0, 200.0)),  # two hours of work: 60 min, and 60 from 90 on
        (0.0, 150.0, 1.0, 0.6, 0.0, (150.0, 0.6, 120.0, 200.0)),  # its level just when it has to stop
        (0.0, 100.0, 1.0, 0.6, 0.0, (100.0, 1.0 - 70.0 / 300.0, 70.0, 700.0 / 6.0)),  # cut after 70 min of work
        (70.0, 80.0, 0.9, 0.6, 0.0, (80.0, 0.9, 0.0, 0.0)),  # cut before work begins
        (0.0, math.inf, 1.0, 0.6, 30.0, (120.0, 0.6, 120.0, 200.0)),  # 30 min of use are on the way
        (0.0, 60.0, 1.0, 0.6, 30.0, (60.0, 0.7, 90.0, 150.0)),
        (10.0, math.inf, 1.0, 0.6, 180.0, (10.0, 0.4, 180.0, 300.0)),  # the way alone takes it below its level
        (0.0, math.inf, 0.5, 0.6, 0.0, (0.0, 0.5, 0.0, 0.0)),  # below its level from the start
    ],
)
def test_at_a_power_down_to_a_level_or_until_a_time(begin_min, stop_min, soc, level, driven_min, expected):
    """By hand: a fifth of 500 Ah in an hour of use."""
    stretch = AtPower(PLAIN).part(TABLE, begin_min, stop_min, soc, level, POWER_W, driven_min)

    assert ends(stretch) == pytest.approx(expected)
    assert (stretch.begin_min, stretch.before, stretch.after) == (begin_min, soc, stretch.soc_share)
    assert stretch.power_w == POWER_W


def test_a_power_that_the_battery_cannot_give_to_its_level():
    """2.05 V are needed, which half the charge gives: it stops there, above its level, and work ends."""
    power_w = 2.05**2 * 24 * 500 / (4 * 0.5)
    hours, ah = discharge_at_power(1.0, 0.5, power_w, USUAL)

    stretch = AtPower(USUAL).part(TABLE, 0.0, math.inf, 1.0, 0.2, power_w, 0.0)

    assert 60.0 * hours < 60.0
    assert ends(stretch) == pytest.approx((60.0 * hours, 0.5, 60.0 * hours, ah), rel=1e-6)


@pytest.mark.parametrize(("power_w", "windows"), [(0.0, [(0.0, 60.0)]), (POWER_W, [(0.0, 60.0)])])
def test_a_level_that_is_never_reached(power_w, windows):
    """Without power, or without working time: no end, unless there is a time at which it has to stop."""
    source, table = AtPower(PLAIN), Timetable(windows)

    assert source.part(table, 0.0, math.inf, 1.0, 0.6, power_w, 0.0).end_min == math.inf
    worked = source.part(table, 0.0, 500.0, 1.0, 0.6, power_w, 0.0)
    assert ends(worked) == pytest.approx((500.0, 1.0 - 0.2 * power_w / POWER_W, 60.0, 100.0 * power_w / POWER_W))


def test_driving_ends_with_an_empty_battery():
    """A way of six hours on a battery of five."""
    assert AtPower(PLAIN).used(1.0, POWER_W, 60.0) == pytest.approx((0.8, 100.0))
    assert AtPower(PLAIN).used(1.0, POWER_W, 360.0) == pytest.approx((0.0, 500.0))


def test_a_way_takes_nothing_from_a_battery_that_cannot_give_its_power():
    """2.05 V are needed, which half the charge gives."""
    assert AtPower(USUAL).used(0.4, 2.05**2 * 24 * 500 / (4 * 0.5), 10.0) == (0.4, 0.0)


# --- at a pace ---


@pytest.mark.parametrize(
    ("begin_min", "stop_min", "soc", "level", "expected"),
    [
        (0.0, math.inf, 1.0, 0.25, (430.0, 0.25, 300.0, 375.0)),  # 60 + 110 + 130 min of work
        (0.0, 100.0, 1.0, 0.25, (100.0, 0.825, 70.0, 87.5)),  # 70 of 300 min: 0.175 of 500 Ah
        (100.0, math.inf, 0.825, 0.25, (430.0, 0.25, 230.0, 287.5)),  # and on
        (0.0, math.inf, 0.25, 0.2, (20.0, 0.2, 20.0, 25.0)),  # below the level that it is stated for, at the same pace
    ],
)
def test_at_a_pace_down_to_a_level_or_until_a_time(begin_min, stop_min, soc, level, expected):
    """By hand: three quarters in 300 min of work, whatever the power; ways do not count."""
    source = AtPace(300.0, 1.0, 0.25, 500.0)

    for driven_min in (0.0, 30.0):
        assert ends(source.part(TABLE, begin_min, stop_min, soc, level, POWER_W, driven_min)) == pytest.approx(expected)
    assert source.used(soc, POWER_W, 30.0) == (soc, 0.0)


def test_a_run_time_beyond_the_calendar_has_no_end():
    """There are 770 min of work in it."""
    source = AtPace(800.0, 1.0, 0.25, 500.0)

    assert source.part(TABLE, 0.0, math.inf, 1.0, 0.25, 0.0, 0.0).end_min == math.inf
    stretch = source.part(TABLE, 0.0, 5000.0, 1.0, 0.25, 0.0, 0.0)
    assert ends(stretch) == pytest.approx((5000.0, 1.0 - 0.75 * 770.0 / 800.0, 770.0, 375.0 * 770.0 / 800.0))


# --- from two wells ---


def test_two_wells_without_a_break():
    """An hour, when the available well is empty and the bound one is not."""
    stretch = WELLS.part(ALWAYS, 0.0, math.inf, WELLS.full, 0.0, EMPTIES_W, 0.0)

    assert ends(stretch) == pytest.approx((60.0, 0.0, 60.0, EMPTIES_A), abs=1e-5)
    assert stretch.after[0] == pytest.approx(100.0 - EMPTIES_A)
    driven = WELLS.part(ALWAYS, 0.0, math.inf, WELLS.full, 0.0, EMPTIES_W, 20.0)
    assert ends(driven) == pytest.approx((40.0, 0.0, 60.0, EMPTIES_A), abs=1e-5)


def test_two_wells_even_out_in_a_break():
    """Half an hour of work, half an hour of a break: what is missing above level halves with each hour of rest."""
    table = Timetable([(0.0, 30.0), (90.0, 900.0)])
    surplus_ah = -EMPTIES_A * 0.5 * (1.0 - 0.5**0.5) / math.log(2.0)  # d = -I (1 - c) [1 - exp(-k t)]/k

    before = WELLS.part(table, 0.0, 30.0, WELLS.full, 0.0, EMPTIES_W, 0.0)
    half_way = WELLS.part(table, 0.0, 60.0, WELLS.full, 0.0, EMPTIES_W, 0.0)
    through = WELLS.part(table, 0.0, 90.0, WELLS.full, 0.0, EMPTIES_W, 0.0)

    left_ah = 100.0 - EMPTIES_A / 2.0
    assert before.after == pytest.approx((left_ah, surplus_ah))
    assert half_way.after == pytest.approx((left_ah, surplus_ah * 0.5**0.5))
    assert through.after == pytest.approx((left_ah, surplus_ah * 0.5))
    assert through.soc_share == pytest.approx((left_ah / 2.0 + surplus_ah / 2.0) / 50.0)
    assert [each.used_min for each in (before, half_way, through)] == [30.0, 30.0, 30.0]


def test_two_wells_hold_no_more_than_rated():
    """A weak current could draw 120 Ah of 100: the level of one half is reached after 50."""
    large = FromWells(Wells(math.log(2.0), 0.5, 120.0), PLAIN._replace(capacity_ah=100.0), 1.0)

    stretch = large.part(ALWAYS, 0.0, math.inf, large.full, 0.5, 48.0, 0.0)

    assert ends(stretch) == pytest.approx((3000.0, 0.5, 3000.0, 50.0))


def test_two_wells_of_an_old_battery_hold_less():
    old = FromWells(Wells(math.log(2.0), 0.5, 100.0), PLAIN._replace(capacity_ah=100.0), 0.8)

    assert old.full == (80.0, 0.0)
    assert old.soc(old.full) == 1.0
    stretch = old.part(ALWAYS, 0.0, math.inf, old.full, 0.0, 0.8 * EMPTIES_W, 0.0)
    assert ends(stretch) == pytest.approx((60.0, 0.0, 60.0, 0.8 * EMPTIES_A), abs=1e-5)


def test_driving_from_two_wells_ends_when_the_available_one_is_empty():
    state, ah = WELLS.used(WELLS.full, EMPTIES_W, 120.0)

    assert ah == pytest.approx(EMPTIES_A)
    assert WELLS.soc(state) == pytest.approx(0.0, abs=1e-9)
    assert WELLS.soc(WELLS.used(WELLS.full, EMPTIES_W, 30.0)[0]) > 0.0


def test_two_wells_in_a_calendar_that_ends():
    """60 min of work and no more: no end, unless there is a time at which it has to stop."""
    table = Timetable([(0.0, 60.0)])

    assert WELLS.part(table, 0.0, math.inf, WELLS.full, 0.0, EMPTIES_W / 4.0, 0.0).end_min == math.inf
    stretch = WELLS.part(table, 0.0, 500.0, WELLS.full, 0.0, EMPTIES_W / 4.0, 0.0)
    assert (stretch.end_min, stretch.used_min) == (500.0, 60.0)
    assert stretch.ah == pytest.approx(EMPTIES_A / 4.0)


# --- any of them ---


@pytest.mark.parametrize("source", SOURCES)
@given(cut_min=st.floats(0.0, 250.0), driven_min=st.floats(0.0, 20.0))
def test_two_halves_make_one_whole(source, cut_min, driven_min):
    """Cut anywhere, in work or in a break, and taken up again: the same end, use and ampere-hours."""
    gives, power_w, near = SOURCES[source]
    whole = gives.part(TABLE, 0.0, math.inf, gives.full, 0.25, power_w, driven_min)
    assert whole.end_min > 150.0
    cut_min = min(cut_min, whole.end_min)

    first = gives.part(TABLE, 0.0, cut_min, gives.full, 0.25, power_w, driven_min)
    second = gives.part(TABLE, cut_min, math.inf, first.after, 0.25, power_w, 0.0)

    assert first.end_min == cut_min
    assert gives.soc(first.after) == first.soc_share
    assert (second.end_min, second.soc_share) == pytest.approx((whole.end_min, whole.soc_share), rel=near)
    assert first.used_min + second.used_min == pytest.approx(whole.used_min, rel=near)
    assert first.ah + second.ah == pytest.approx(whole.ah, rel=near)
