"""Days without something, waits, targets, sweeps and unknowns of a site with areas."""

import json
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT
from batsim.study.limits import limits_of
from batsim.study.uncertain import compare_uncertain
from batsim.study.waits import WholeShift, waits_over, whole_shifts_waited
from batsim.views.charts.waits_chart import waits_chart
from batsim.views.charts.week_chart import week_chart
from batsim.views.text.day_without_text import day_without_text
from batsim.views.text.sweep_text import sweep_text

CASES = Path(__file__).parents[1] / "cases"
CART = batsim.read(CASES / "cart_room.yaml")
SITE = batsim.read(CASES / "two_areas.yaml")
DOWN = "downtime_min_per_truck_shift"

# The room with one truck of `cart_room.yaml` twice: see there for the minutes. A third truck is plugged in.


def rooms(**east):
    """Two such rooms and one truck that is plugged in, none of them sharing anything."""
    truck = {"count": 1, "shifts": ["all day"], "battery": "plain", "run_time": "590 min", "first_run": "590 min"}
    room = {"handling": "cart", "batteries": 3, "chargers": "2 x electronic_iuia"}
    areas = {
        "east": {"for": ["east trucks"], **room, **east},
        "west": {"for": ["west trucks"], **room},
        "yard": {"for": ["yard trucks"], "handling": "in_truck", "chargers": "1 x electronic_iuia"},
    }
    trucks = [{"group": group, **truck} for group in ("east trucks", "west trucks", "yard trucks")]
    return batsim.changed(CART, {"trucks": trucks, "layouts": {"rooms": {"areas": areas}}})


def without(device, site=None):
    """The one answer."""
    (one,) = batsim.day_without(site or rooms(), Settings(workers=1), device=device)
    return one


def means(one):
    """Downtime of the day by way. [min per truck-shift]"""
    return {way: one.downtime(way).mean for way in one.lost}


# --- a day without something ---


def test_every_area_with_a_device_in_turn():
    found = batsim.day_without(rooms(), Settings(workers=1))

    assert [(one.layout, one.area, one.device) for one in found] == [
        ("rooms", "east", "hand_cart"),
        ("rooms", "west", "hand_cart"),
    ]


@pytest.mark.parametrize("device", ["hand_cart", "station"])
def test_only_the_trucks_of_the_area_stand(device):
    """By hand as in the room alone; the other area loses no more, so the week costs what it costs there."""
    one = without(f"{device} of east")

    assert (one.area, one.device, one.count, one.day.truck_shifts) == ("east", device, 1, 1.0)
    assert means(one) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}
    assert one.cost_h(WITHOUT).mean == pytest.approx(1070.0 / 60.0)


def test_what_stands_by_in_the_area_bridges_it():
    one = without("hand_cart of east", rooms(standby={"handling": "by table"}))

    assert means(one) == {AS_IT_IS: 20.0, WITH_STANDBY: 80.0, WITHOUT: 1090.0}
    assert one.standby == "1 lifting table"


def test_nothing_stands_by_for_a_station():
    one = without("station of east", rooms(standby={"handling": "by table"}))

    assert means(one) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}
    assert one.sentence == (
        "A day without the station of the east area in 'rooms' (week 1 Tue 00:00 for 24 h) stops exchanges there: "
        "trucks there lose 1,090 min per truck-shift that day instead of 20, 18 truck-hours more in that week."
    )


def test_all_stations_of_a_layout_of_one_area():
    site = batsim.changed(CART, {"layouts.'nothing stands by'.stations": 2})
    (one,) = batsim.day_without(site, Settings(layouts="nothing stands by", workers=1), device="station")

    assert (one.area, one.count) == ("", 2)
    assert means(one) == {AS_IT_IS: 20.0, WITHOUT: 1090.0}
    assert one.sentence.startswith("A day without both stations in 'nothing stands by' (week 1 Tue 00:00 for 24 h)")


def test_what_is_said_of_an_area():
    one = without("hand_cart of west")
    data = json.loads(json.dumps(one.as_json()))

    assert one.sentence == (
        "A day without the hand cart of the west area in 'rooms' (week 1 Tue 00:00 for 24 h) stops exchanges there: "
        "trucks there lose 1,090 min per truck-shift that day instead of 20, 18 truck-hours more in that week. "
        "State a 'standby' to see what it would save."
    )
    assert day_without_text(one).startswith("rooms: hand cart of the west area\n")
    assert (data["device"], data["area"]) == ("hand_cart", "west")


def test_the_day_is_one_of_the_area():
    """Trucks of the west work on Saturdays alone, so that is their day; those of the east keep theirs."""
    saturday = {"days": "Sat", "from": "08:00", "to": "16:00"}
    site = batsim.changed(rooms(), {"week.shifts.Saturday": saturday, "trucks[1].shifts": ["Saturday"]})

    assert [one.day.text for one in batsim.day_without(site, Settings(workers=1))] == [
        "week 1 Tue 00:00", "week 1 Sat 08:00",
    ]  # fmt: skip


@pytest.mark.parametrize("device", ["hand_cart of wst", "station of yard"])
def test_what_an_area_does_not_have(device):
    near = {"hand_cart of wst": "hand_cart of west", "station of yard": "station of east"}[device]
    with pytest.raises(batsim.ScenarioError) as caught:
        without(device)

    rule = f"no such device in these layouts; did you mean '{near}'? (got '{device}')"
    assert str(caught.value) == f"{CART.file}: 1 problem\n  {CART.file}: device: {rule}"


# --- waits and targets ---


def test_waits_are_told_by_area():
    """Those of the areas are those of the site."""
    waits = waits_over(SITE, Settings(replications=2, weeks=0.2, workers=1))
    site, north, south = (np.concatenate(waits.waits[name]) for name in waits.layouts)

    assert waits.layouts == ("rooms", "rooms, north", "rooms, south")
    assert north.size
    assert south.size
    assert sorted([*north, *south]) == pytest.approx(sorted(site))
    assert "rooms, south" in {text.get_text() for text in waits_chart(waits).get_legend().get_texts()}


def test_a_target_on_exchanges_is_about_areas_that_exchange():
    """Of the site where some area exchanges, of a group where its area does."""
    waits = {"waits": "95 % under 10 min"}
    groups = dict.fromkeys(("east trucks", "yard trucks"), waits)
    site = batsim.changed(rooms(), {"targets": {**waits, "groups": groups}})

    assert {limit.group: limit.is_about(site, "rooms") for limit in limits_of(site)} == {
        "": True, "east trucks": True, "yard trucks": False,
    }  # fmt: skip


@pytest.mark.parametrize(("wait", "told"), [(1439.0, False), (1440.0, True)])
def test_an_area_in_which_one_in_twenty_waits_for_a_whole_shift_is_named(wait, told):
    """Trucks work round the clock."""
    runs = batsim.run(SITE, Settings(replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1))
    runs.areas["south"].values["rooms"]["wait_min_p95"] = np.full(2, wait)

    assert whole_shifts_waited(runs) == ({"rooms, south": WholeShift(wait, 1440.0)} if told else {})


# --- the room over a week ---


def test_the_room_of_an_area_is_its_part_of_the_whole():
    """Batteries, chargers and stations of each add up, in every quarter of an hour; the yard has no stock."""
    settings = Settings(replications=1, weeks=1, workers=1)
    whole, *parts = (batsim.room_over(rooms(), "rooms", settings, area=area) for area in ("", "east", "west", "yard"))

    assert [part.title for part in parts] == ["rooms, east", "rooms, west", "rooms, yard"]
    assert [part.in_truck for part in (whole, *parts)] == [False, False, False, True]
    assert [(part.batteries, part.chargers, part.stations) for part in parts] == [(3, 2, 1), (3, 2, 1), (1, 1, 1)]
    for name in ("in truck", "ready", "trucks away", "stations", "devices"):
        assert sum(part.counts[name] for part in parts) == pytest.approx(whole.counts[name])
    assert week_chart(parts[0]).get_suptitle() == "rooms, east: a mean week"


def test_the_room_of_an_area_that_is_not_there():
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.room_over(rooms(), "rooms", Settings(workers=1), area="eats")

    rule = "no area of this name in layout 'rooms'; did you mean 'east'? (got 'eats')"
    assert str(caught.value) == f"{CART.file}: 1 problem\n  {CART.file}: area: {rule}"


# --- what varies ---


def test_a_study_varies_what_an_area_has():
    """One station less in the north costs the trucks of the north alone."""
    path = "layouts.rooms.areas.north.stations"
    found = batsim.sweep(SITE, Settings(replications=2, weeks=0.2, workers=1), vary={path: [1, 2]})
    values = found.values["rooms"][DOWN].mean(axis=-1)

    assert values[0] > values[1]
    assert path in sweep_text(found, "a.store", 100)
    (one, two) = (batsim.run(batsim.changed(SITE, {path: number}), Settings(replications=2, weeks=0.2, workers=1))
                  for number in (1, 2))  # fmt: skip
    assert values.tolist() == pytest.approx([runs.values["rooms"][DOWN].mean() for runs in (one, two)])


def test_an_unknown_of_an_area_is_drawn():
    path = "layouts.rooms.areas.south.exchange_time"
    unknown = batsim.changed(SITE, {path: {"between": ["10 min", "40 min"]}})
    found = compare_uncertain(unknown, 4, Settings(weeks=0.2, workers=1))

    assert [factor.path for factor in found.points.factors] == [path]
    drawn = [float(str(point[path]).split()[0]) for point in found.points.all]
    assert np.argmax(drawn) == np.argmax(found.values["rooms"][DOWN].mean(axis=1))
