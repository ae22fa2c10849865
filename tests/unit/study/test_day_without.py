"""A day without a device: what it costs, worked out by hand in a room where nothing is random."""

import json
from dataclasses import replace
from html import escape
from pathlib import Path

import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT, Day, DayWithout, LostMinutes, usual_day

ROOT = Path(__file__).parents[3]
TEXT = (Path(__file__).parents[1] / "cases" / "cart_room.yaml").read_text(encoding="utf-8")
SITE = batsim.read_scenario_text(TEXT)
ALL_DAY = 'all day: {days: Mon-Sun, from: "00:00", to: "24:00"}'

# The truck comes at 590 min and every 600 min after that: at 590, 1190, 1790, 2390, ... The day is Tuesday, from 1440
# to 2880 min, one truck-shift. As it is, the truck is away from 1790 to 1800 and from 2390 to 2400: 20 min.
# Without the cart it comes at 1790 and stands until 2880: 1090 min, and 10 min more after the day.
# With the slow table it is away from 1790 to 1830 and from 2420 to 2460: 80 min.


def of(layout, device=None, site=SITE, **how):
    """The one answer for a layout, in this process."""
    (one,) = batsim.day_without(site, batsim.Settings(layouts=layout, workers=1, **how), device=device)
    return one


def means(one):
    """Downtime of the day by way. [min per truck-shift]"""
    return {way: one.downtime(way).mean for way in one.lost}


def on_shifts(shift, run="590 min"):
    """The room with another shift."""
    return batsim.read_scenario_text(TEXT.replace(ALL_DAY, f"all day: {json.dumps(shift)}").replace("590 min", run))


# --- minutes ---


def test_without_a_standby_trucks_wait_until_the_day_is_over():
    one = of("nothing stands by")

    assert isinstance(one, batsim.DayWithout)
    assert (one.layout, one.device, one.count, one.standby) == ("nothing stands by", "hand_cart", 1, "")
    assert one.day == (1440.0, "week 1 Tue 00:00", 1.0)
    assert means(one) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}


def test_with_a_standby_exchanges_go_on_at_its_pace():
    one = of("table stands by")

    assert one.standby == "1 lifting table"
    assert means(one) == {AS_IT_IS: 20.0, WITH_STANDBY: 80.0, WITHOUT: 1090.0}


def test_the_week_counts_what_the_day_leaves_behind():
    """Visits of 10 min: 16 as it is; without, 2 before the day and 11 from 3480 min on, and one of 1100 min.

    With the table 2 before the day, 2 of 40 min, and 12 from 3050 min on.
    """
    one = of("table stands by")
    week = {way: {each.week_min for each in found} for way, found in one.lost.items()}

    assert week == {AS_IT_IS: {160.0}, WITH_STANDBY: {20.0 + 80.0 + 120.0}, WITHOUT: {20.0 + 1100.0 + 110.0}}
    assert one.cost_h(AS_IT_IS) == (0.0, 0.0, 0.0)
    assert one.cost_h(WITH_STANDBY) == (1.0, 1.0, 1.0)
    assert one.cost_h(WITHOUT).mean == pytest.approx(1070.0 / 60.0)


def test_all_units_of_a_kind_are_out():
    """One of two carts would do for one truck."""
    one = of("nothing stands by", site=batsim.changed(SITE, {"layouts.'nothing stands by'.devices": {"hand_cart": 2}}))

    assert one.count == 2
    assert means(one) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}


def test_each_kind_of_device_in_turn():
    """In the order of the layouts; an exchange needs both, so either stops it."""
    found = batsim.day_without(SITE, batsim.Settings(layouts=["two devices", "nothing stands by"], workers=1))

    assert [(one.layout, one.device) for one in found] == [
        ("two devices", "hand_cart"),
        ("two devices", "winch"),
        ("nothing stands by", "hand_cart"),
    ]
    assert [means(one) for one in found] == [{AS_IT_IS: 20.0, WITHOUT: 1090.0}] * 3


def test_only_the_device_asked_for():
    """Layouts that have none of it are left out."""
    assert [one.layout for one in batsim.day_without(SITE, batsim.Settings(workers=1), device="winch")] == [
        "two devices"
    ]
    assert [one.layout for one in batsim.day_without(SITE, batsim.Settings(workers=1), device="hand_cart")] == [
        "table stands by",
        "nothing stands by",
        "two devices",
    ]


def test_layouts_without_a_limited_device_have_no_such_day():
    """None at all, as many as asked for, or charging in the truck, where pallet trucks only help with watering."""
    unlimited = batsim.changed(SITE, {"layouts.'nothing stands by'.devices": {"hand_cart": "unlimited"}})
    watered = batsim.changed(SITE, {"batteries.plain.watering": {"every": "7 charges", "by": "hand"}})

    assert batsim.day_without(SITE, batsim.Settings(layouts="no device", workers=1)) == []
    assert batsim.day_without(unlimited, batsim.Settings(layouts="nothing stands by", workers=1)) == []
    assert batsim.day_without(watered, batsim.Settings(layouts="in the truck", workers=1)) == []


def test_what_stands_by_in_words():
    """Its devices with their numbers, or its handling when it takes none."""
    path = "layouts.'table stands by'.standby"

    two = of(
        "table stands by", site=batsim.changed(SITE, {path: {"handling": "by table", "devices": {"lifting_table": 2}}})
    )
    both = of(
        "table stands by",
        site=batsim.changed(SITE, {path: {"handling": "cart and winch", "devices": {"hand_cart": 2}}}),
    )
    none = of("table stands by", site=batsim.changed(SITE, {path: {"handling": "by_hand"}}))

    assert (two.standby, both.standby, none.standby) == ("2 lifting tables", "2 hand carts and 1 winch", "by hand")
    assert means(none)[WITH_STANDBY] == 20.0


@pytest.mark.parametrize("name", ["O'Brien's", 'the "old" one', "a.b[0]"])
def test_any_name_of_a_layout(name):
    site = batsim.changed(
        SITE, {"layouts": {name: {"handling": "cart", "batteries": 3, "chargers": "2 x electronic_iuia"}}}
    )

    assert means(of(name, site=site)) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}


# --- the day differs in nothing else ---


def test_stated_outages_breakdowns_and_holidays_are_left_out():
    """With any of them the day as it is would cost more than 20 min, or nothing."""
    path = "layouts.'nothing stands by'"
    out = batsim.changed(SITE, {f"{path}.out": [{"thing": "hand_cart", "from": "week 1 Tue 00:00", "for": "6 h"}]})
    breaks = batsim.changed(SITE, {f"{path}.breakdowns": {"hand_cart": {"every": "3 h", "repair": "3 h"}}})
    closed = batsim.changed(SITE, {"week.holidays": ["week 1 Tue"]})

    for site in (out, breaks, closed):
        assert batsim.simulate(site, "nothing stands by").rows("exchanges") != batsim.simulate(
            SITE, "nothing stands by"
        ).rows("exchanges")
        assert means(of("nothing stands by", site=site)) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}


def test_the_warm_up_is_of_whole_weeks():
    """Else week 1 would not begin on a Monday. After a week the truck comes at 11990 min, 970 min before the end."""
    for weeks in (0.3, 1.0):
        assert means(of("nothing stands by", warm_up_weeks=weeks)) == {AS_IT_IS: 20.0, WITHOUT: 970.0}
    assert means(of("nothing stands by", warm_up_weeks=0.0)) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}


def test_the_length_of_the_scenario_does_not_matter():
    for length in ("1 day", "3 weeks"):
        assert means(of("nothing stands by", site=batsim.changed(SITE, {"simulation.length": length}))) == {
            AS_IT_IS: 20.0,
            WITHOUT: 1090.0,
        }


def test_a_day_that_reaches_into_the_next_week_is_counted_to_its_end():
    """One shift a week, Sunday 22:00 to Monday 06:00; 100 min on a battery.

    Of the first Monday's six hours 30 min are worked on the battery that Sunday begins with, so the truck comes after
    70 min: at 70, 180, 290 and 400 min of the shift, with the table at 70, 210 and 350, without at 70 for 410 min.
    """
    one = of("table stands by", site=on_shifts({"days": "Sun", "from": "22:00", "to": "06:00"}, "100 min"))

    assert one.day == (9960.0, "week 1 Sun 22:00", 1.0)
    assert means(one) == {AS_IT_IS: 40.0, WITH_STANDBY: 120.0, WITHOUT: 410.0}
    assert one.cost_h(WITHOUT).mean == pytest.approx(370.0 / 60.0)


# --- which day ---


@pytest.mark.parametrize(
    ("shift", "day"),
    [
        ({"days": "Mon-Fri", "from": "06:00", "to": "14:00"}, (1800.0, "week 1 Tue 06:00", 1.0)),
        ({"days": "Sat-Sun", "from": "08:00", "to": "12:00"}, (9120.0, "week 1 Sun 08:00", 1.0)),
        ({"days": "Wed", "from": "06:00", "to": "14:00"}, (3240.0, "week 1 Wed 06:00", 1.0)),
        ({"days": "Sun-Thu", "from": "22:00", "to": "06:00"}, (2760.0, "week 1 Tue 22:00", 1.0)),
        ({"days": "Fri", "from": "22:00", "to": "06:00"}, (7080.0, "week 1 Fri 22:00", 1.0)),
        (
            {"days": "Mon-Fri", "from": "06:00", "to": "14:00", "breaks": ["09:00 for 60 min"]},
            (1800.0, "week 1 Tue 06:00", 1.0),
        ),
    ],
)
def test_the_usual_day(shift, day):
    """Begins on the second day on which a shift begins, with its first shift."""
    assert usual_day(on_shifts(shift)) == day


def test_the_usual_day_of_several_groups():
    """24 trucks on three shifts: 72 truck-shifts, whatever shifts begin on Monday and on holidays."""
    site = batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")
    late = batsim.changed(site, {"trucks[1].shifts": ["late"], "week.holidays": ["week 1 Tue", "week 2 Tue"]})

    assert usual_day(site) == (1800.0, "week 1 Tue 06:00", 72.0)
    assert usual_day(late) == (1800.0, "week 1 Tue 06:00", 48.0)
    assert usual_day(batsim.changed(late, {"trucks[0].shifts": ["late", "night"]})) == (
        2280.0,
        "week 1 Tue 14:00",
        36.0,
    )


# --- what is told, from made-up numbers ---


def made_up(usual, bare, helped=None, **changes):
    """An answer from minutes lost on the day and in the week, in two truck-shifts."""
    found = {AS_IT_IS: usual} | ({WITH_STANDBY: helped} if helped else {}) | {WITHOUT: bare}
    what = {"layout": "building", "device": "hand_cart", "count": 1, "standby": "1 table" if helped else ""} | changes
    return DayWithout(
        schedule=Settings(
            layouts=("no device",), replications=len(usual), weeks=1.0, warm_up_weeks=0.0, seed=1
        ).schedule(SITE),
        day=Day(1440.0, "week 1 Tue 00:00", 2.0),
        lost={way: tuple(LostMinutes(*each) for each in lost) for way, lost in found.items()},
        **what,
    )


USUAL = [(20.0, 600.0), (30.0, 660.0), (40.0, 540.0)]
BARE = [(400.0, 1800.0), (500.0, 1980.0), (600.0, 1800.0)]


def test_intervals_are_paired():
    """More hours: 20, 22 and 21; Student's quantile of two degrees of freedom at 97.5 % is 4.3027."""
    one = made_up(USUAL, BARE)

    half = 4.30265 / 3.0**0.5
    assert one.downtime(AS_IT_IS) == pytest.approx((15.0, 15.0 - 5.0 * half, 15.0 + 5.0 * half), rel=1e-5)
    assert one.downtime(WITHOUT) == pytest.approx((250.0, 250.0 - 50.0 * half, 250.0 + 50.0 * half), rel=1e-5)
    assert one.cost_h(WITHOUT) == pytest.approx((21.0, 21.0 - half, 21.0 + half), rel=1e-5)


def test_sentence_without_a_standby():
    start = (
        "in 'building' (week 1 Tue 00:00 for 24 h) stops exchanges: trucks lose 250 min per truck-shift that day "
        "instead "
    )
    end = "of 15, 21 truck-hours more in that week. State a 'standby' to see what it would save."

    assert made_up(USUAL, BARE).sentence == f"A day without the hand cart {start}{end}"
    assert made_up(USUAL, BARE, count=3).sentence == f"A day without all 3 hand carts {start}{end}"


@pytest.mark.parametrize(
    ("week_min", "words"),
    [(660.0, "1 truck-hour more"), (780.0, "3 truck-hours more"), (590.0, "0 truck-hours more"),
     (540.0, "1 truck-hour less"), (480.0, "2 truck-hours less")],
)  # fmt: skip
def test_sentence_with_a_standby(week_min, words):
    one = made_up([(20.0, 600.0)] * 2, [(400.0, 1800.0)] * 2, [(60.0, week_min)] * 2)

    assert one.sentence == (
        "A day without the hand cart in 'building' (week 1 Tue 00:00 for 24 h) is bridged by 1 table: trucks lose 30 "
        f"min per truck-shift that day instead of 10, {words} in that week; without what stands by they would lose "
        "200 min per truck-shift and 20 truck-hours."
    )


def test_frame():
    frame = of("table stands by").frame

    assert list(frame.columns) == ["way", "day_min_per_truck_shift", "low", "high", "more_truck_hours_in_week"]
    assert frame["way"].tolist() == ["as it is", "out, standby takes over", "out, no standby"]
    assert frame.iloc[:, 1:].round(3).to_numpy().tolist() == [
        [20.0, 20.0, 20.0, 0.0],
        [80.0, 80.0, 80.0, 1.0],
        [1090.0, 1090.0, 1090.0, 17.833],
    ]
    shown = of("table stands by")
    assert shown._repr_html_().startswith(
        f"<p>{escape(shown.sentence)}</p><p>The day begins with its first shift, the worst hour"
    )


def test_json():
    one = of("table stands by")

    assert json.loads(json.dumps(one.as_json(), allow_nan=False)) == {
        "device": "hand_cart",
        "units": 1,
        "standby": "1 lifting table",
        "day": "week 1 Tue 00:00",
        "note": (
            "The day begins with its first shift, the worst hour where trucks come at the change of shifts: one that "
            "begins at another hour may cost less."
        ),
        "ways": {
            "as it is": {
                "day_min_per_truck_shift": {"mean": 20.0, "low": 20.0, "high": 20.0},
                "more_truck_hours_in_week": {"mean": 0.0, "low": 0.0, "high": 0.0},
            },
            "out, standby takes over": {
                "day_min_per_truck_shift": {"mean": 80.0, "low": 80.0, "high": 80.0},
                "more_truck_hours_in_week": {"mean": 1.0, "low": 1.0, "high": 1.0},
            },
            "out, no standby": {
                "day_min_per_truck_shift": {"mean": 1090.0, "low": 1090.0, "high": 1090.0},
                "more_truck_hours_in_week": dict.fromkeys(("mean", "low", "high"), pytest.approx(1070.0 / 60.0)),
            },
        },
        "sentence": one.sentence,
    }


def test_json_of_one_replication_has_no_limits():
    data = of("nothing stands by", replications=1).as_json()

    assert data["standby"] is None
    assert list(data["ways"]) == ["as it is", "out, no standby"]
    assert data["ways"]["out, no standby"]["day_min_per_truck_shift"] == {"mean": 1090.0, "low": None, "high": None}


# --- what is refused ---


@pytest.mark.parametrize(
    ("layouts", "device", "rule"),
    [
        (None, "hand_card", "no such device in these layouts; did you mean 'hand_cart'? (got 'hand_card')"),
        ("nothing stands by", "winch", "no such device in these layouts; known: hand_cart, station (got 'winch')"),
        ("no device", "hand_cart", "no such device in these layouts; known: station (got 'hand_cart')"),
    ],
)
def test_a_device_that_no_layout_has(layouts, device, rule):
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.day_without(SITE, batsim.Settings(layouts=layouts), device=device)

    assert str(caught.value) == f"scenario.yaml: 1 problem\n  scenario.yaml: device: {rule}"


def test_a_layout_that_is_not_there_and_numbers_out_of_range():
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.day_without(SITE, batsim.Settings(layouts="two device", replications=0, warm_up_weeks=-1.0))

    assert str(caught.value) == (
        "scenario.yaml: 3 problems\n"
        "  scenario.yaml: layouts.two device: no layout of this name; did you mean 'two devices'?\n"
        "  scenario.yaml: replications: must be at least 1 (got 0)\n"
        "  scenario.yaml: warm-up: must be from 0 to 1040 weeks (got -1)"
    )


# --- where they run ---


def test_the_same_on_one_process_and_on_two(monkeypatch):
    """With random run times, so that every replication is another one."""
    monkeypatch.setattr("batsim.study.running.executors.POOL_PAYS_S", 0.0)
    site = batsim.changed(SITE, {"trucks[0].run_time": {"low": "200 min", "typical": "400 min", "high": "600 min"}})
    shown = []

    settings = Settings(["table stands by", "two devices"], replications=4, workers=2)
    told = replace(settings, workers=1, progress=lambda done, of: shown.append((done, of)))

    one, two = batsim.day_without(site, told), batsim.day_without(site, settings)

    assert len(one) == 3
    assert [each.lost for each in one] == [each.lost for each in two]
    assert all(len(set(found)) > 1 for each in one for found in each.lost.values())
    assert shown[-1] == (28, 28)
    assert batsim.day_without(site, batsim.Settings(layouts="two devices", seed=2, workers=1))[0].lost != one[1].lost
