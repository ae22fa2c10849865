"""A scenario to start from: layouts that are possible for each group, counts with which little is waited for."""

from dataclasses import replace
from functools import cache

import pytest
from jsonschema import Draft202012Validator

import batsim
from batsim.plan.possible import impossible_layouts
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.reading import read_scenario_text
from batsim.scenario.site import Scenario
from batsim.scenario.starter import flow, survey_problems
from batsim.scenario.survey import Survey, SurveyedGroup, located_option, read_survey
from batsim.scenario.text.located_data import LocatedData
from batsim.scenario.text.yaml_text import read_text
from batsim.study.starter import TRIAL, starter_scenario

PICKERS = "group: pickers, count: 8, class: order_picker_24v, shifts: [day]"
REACH = "group: reach, count: 5, voltage: 48 V, shifts: [early, late], mean_power: 2.6 kW, removal: side"
COUNTERBALANCE = "group: counterbalance, count: 2, voltage: 80 V, shifts: [early], removal: top"
FIXED = "group: tuggers, count: 2, voltage: 24 V, battery: gel, shifts: [early, late], removal: none"
SITES = {
    "eight pickers on one shift": (PICKERS,),
    "light pickers on one shift": ("count: 8, voltage: 24 V, shifts: [day]",),
    "hard work round the clock": (
        "count: 3, voltage: 48 V, mean_power: 3.4 kW, shifts: [early, late, night], removal: either",
    ),
    "one truck": ("count: 1, voltage: 36 V, shifts: [early, late]",),
    "three groups": (REACH, COUNTERBALANCE, FIXED),
}
WAITS = [f"wait_{cause}_min_per_truck_shift" for cause in ("station", "battery", "bay", "attendant", "device")]


def survey(*groups: str, **stated: object) -> Survey:
    """What options would say."""
    data = {"site": "Here", "groups": [located_option("group", group).data for group in groups], **stated}
    return read_survey(LocatedData("survey", data))


@cache
def starter_text(*groups: str) -> str:
    """What is written for some groups."""
    return starter_scenario(survey(*groups))


@cache
def starter(*groups: str) -> Scenario:
    """The scenario that is written for some groups."""
    return read_scenario_text(starter_text(*groups))


def served(scenario: Scenario, layout: str) -> dict[str, str]:
    """Arrangement of each group in a layout."""
    areas = scenario.areas_of(layout).values()
    return {group.group: site.layouts[layout].handling for site in areas for group in site.trucks}


@pytest.mark.parametrize("site", SITES)
def test_little_is_waited_for_in_any_layout(site: str) -> None:
    """In other weeks than those in which the counts were tried; eight pickers used to lose 243 min of a shift."""
    scenario = starter(*SITES[site])

    runs = batsim.run(scenario, replace(TRIAL, seed=7, replications=3))

    for layout in runs.layouts:
        for group, of_group in runs.groups.items():
            values = of_group.values[layout]
            assert sum(values[wait].mean() for wait in WAITS) < 4.0, (layout, group)
            assert values["downtime_min_per_truck_shift"].mean() < 25.0, (layout, group)
            assert values["trucks_below_cut_out"].mean() < 1.0, (layout, group)


@pytest.mark.parametrize("site", SITES)
def test_every_layout_is_possible(site: str) -> None:
    """By the checks that forbid one."""
    scenario = starter(*SITES[site])

    assert impossible_layouts(scenario, scenario.layouts) == {}


@pytest.mark.parametrize("site", SITES)
def test_an_editor_finds_nothing_wrong(site: str) -> None:
    """What is written is as the schema says."""
    text = starter_text(*SITES[site])

    assert list(Draft202012Validator(scenario_schema()).iter_errors(read_text(text, "site.yaml").data)) == []


def test_batteries_that_nobody_takes_are_left_out() -> None:
    """Of every type at most a few are never taken."""
    scenario = starter(*SITES["hard work round the clock"])

    runs = batsim.run(scenario, replace(TRIAL, layouts=["side rollers", "portable stands", "hoist"]))

    for layout in runs.layouts:
        assert runs.values[layout]["ready_batteries_min"].min() <= 2.0
        assert sum(scenario.batteries_of(layout).values()) > 3


@pytest.mark.parametrize(
    ("removal", "layouts"),
    [
        ("side", ["side rollers", "portable stands", "in the truck"]),
        ("top", ["hoist", "in the truck"]),
        ("either", ["side rollers", "portable stands", "hoist", "in the truck"]),
        ("none", ["in the truck"]),
    ],
)
def test_layouts_go_by_where_the_battery_leaves(removal: str, layouts: list[str]) -> None:
    """A group pulled sideways gets no hoist; one whose battery stays in is charged in the truck."""
    assert list(starter(f"count: 2, voltage: 48 V, mean_power: 3 kW, removal: {removal}").layouts) == layouts


def test_each_group_is_served_as_it_can_be() -> None:
    """Areas of one layout; the same groups under the same arrangement are one area, with batteries of each type."""
    scenario = starter(*SITES["three groups"])

    assert {layout: served(scenario, layout) for layout in scenario.layouts} == {
        "side rollers, hoist and in the truck": {
            "reach": "side_rollers", "counterbalance": "overhead_hoist", "tuggers": "in_truck",
        },
        "portable stands, hoist and in the truck": {
            "reach": "portable_stands", "counterbalance": "overhead_hoist", "tuggers": "in_truck",
        },
        "light work in the truck": {"reach": "side_rollers", "counterbalance": "in_truck", "tuggers": "in_truck"},
        "in the truck": dict.fromkeys(("reach", "counterbalance", "tuggers"), "in_truck"),
    }  # fmt: skip


def test_light_work_stays_in_the_truck() -> None:
    """One more layout where some groups do well there with what they have, and others do not."""
    light = "group: light, count: 3, voltage: 24 V, shifts: [early, late], removal: side"
    scenario = starter(REACH, light)

    assert list(scenario.layouts) == ["side rollers", "portable stands", "light work in the truck", "in the truck"]
    assert served(scenario, "light work in the truck") == {"reach": "side_rollers", "light": "in_truck"}
    assert {name: change.battery for name, change in scenario.layouts["in the truck"].trucks.items()} == {
        "reach": "lithium 48 V 710 Ah"
    }
    assert list(scenario.layouts["side rollers"].batteries or ()) == ["lead 48 V 750 Ah", "lead 24 V 465 Ah"]


def test_hard_work_in_the_truck_gets_a_battery_that_takes_more_current() -> None:
    """Fast charging of lead, then lithium-ion, as far as it takes."""
    one = starter(PICKERS).layouts["in the truck"]
    all_day = starter(*SITES["hard work round the clock"])

    assert (list(one.chargers_by_type), one.trucks) == (["fast_iuia"], {})
    layout = all_day.layouts["in the truck"]
    (charger,) = layout.chargers_by_type
    assert all_day.chargers[charger].main_current.text == "100 A per 100 Ah"
    assert all_day.batteries[layout.trucks["trucks"].battery or ""].chemistry == "lithium_ion"


def test_what_is_stated_is_found_again() -> None:
    """Every number of a survey, in the scenario that is written."""
    room = {"days": "Mon-Sat", "from": "05:30", "to": "13:30", "breaks": ["09:00 for 15 min"]}
    stated = survey(
        "group: 'reach: #1', count: 3, voltage: 72 V, capacity: 640 Ah at 6 h, shifts: [room, late], "
        "energy_per_shift: 14.5 kWh, removal: side, distance: 85.5 m",
        currency="CHF",
        shifts={"room": room, "late": None},
        attendants={"room": 2},
        today=[{"handling": "portable_stands", "stations": 2, "batteries": 7, "chargers": "5 x electronic_iuia"}],
    )

    scenario = read_scenario_text(starter_scenario(stated))

    (group,) = scenario.trucks
    assert (scenario.site.name, scenario.site.currency) == ("Here", "CHF")
    assert (group.group, group.count, group.truck_class, group.shifts) == ("reach: #1", 3, None, ("room", "late"))
    assert group.duty is not None
    assert group.to_room is not None
    assert (group.duty.energy_per_shift_kwh, group.to_room.distance_m) == (14.5, 85.5)
    assert (group.compartment.voltage_v, group.compartment.removal) == (72.0, "side")
    battery = scenario.batteries[group.battery]
    assert (battery.chemistry, battery.nominal_v, battery.capacity) == ("vented_lead_acid", 72.0, (640.0, 6.0))
    shift = scenario.week.shifts["room"]
    assert (shift.days, shift.from_min, shift.to_min, shift.breaks) == (tuple(range(6)), 330.0, 810.0, ((540.0, 15.0),))
    today = scenario.layouts["today"]
    assert (scenario.present, today.handling, today.stations, today.attendants) == (
        "today", "portable_stands", 2.0, {"room": 2},
    )  # fmt: skip
    assert (scenario.batteries_of("today"), today.chargers_by_type) == ({group.battery: 7}, {"electronic_iuia": 5.0})
    for layout in ("side rollers", "portable stands", "today"):
        assert scenario.layouts[layout].exchange_by == {"room": "attendants", "late": "drivers"}


def test_drivers_exchange_where_there_are_no_attendants() -> None:
    """None at all, or none that cover a shift; whoever is not asked about is one on each shift."""
    group = "count: 2, voltage: 48 V, shifts: [early, late], removal: side"
    part = {"days": "Mon-Fri", "from": "08:00", "to": "16:00"}

    asked = read_scenario_text(starter_scenario(survey(group)))
    none = read_scenario_text(starter_scenario(survey(group, attendants={"early": 0})))
    some = read_scenario_text(starter_scenario(survey(group, shifts={"early": None, "late": None, "part": part},
                                                      attendants={"part": 1})))  # fmt: skip

    who = [
        (site.layouts["side rollers"].attendants, site.layouts["side rollers"].exchange_by) for site in (asked, none)
    ]
    assert who == [({"early": 1, "late": 1}, None), (None, None)]
    assert some.layouts["side rollers"].attendants == {"part": 1}
    assert some.layouts["side rollers"].exchange_by == {"early": "drivers", "late": "drivers"}


def test_one_driver_cannot_do_the_work_of_two() -> None:
    """A hoist takes two people: an attendant comes where a truck is alone on its shift, not where there are two."""
    group = "voltage: 48 V, shifts: [early, late], removal: top, mean_power: 3 kW"
    alone, two = (
        read_scenario_text(starter_scenario(survey(f"count: {count}, {group}", attendants={}))) for count in (1, 2)
    )

    runs = batsim.run(alone, replace(TRIAL, layouts="hoist"))

    assert (alone.layouts["hoist"].attendants, two.layouts["hoist"].attendants) == ({"early": 1, "late": 1}, None)
    assert runs.values["hoist"]["downtime_min_per_truck_shift"].mean() < 25.0


def test_more_attendants_only_where_they_help() -> None:
    """Who comes while the trucks are idle cannot be waited for less."""
    night = {"days": "Mon-Fri", "from": "06:00", "to": "13:30"}
    group = "count: 3, voltage: 48 V, shifts: [early], mean_power: 3 kW, removal: side"
    scenario = read_scenario_text(
        starter_scenario(survey(group, shifts={"early": None, "room": night}, attendants={"room": 1}))
    )

    attendants = scenario.layouts["side rollers"].attendants
    assert isinstance(attendants, dict)
    assert attendants["room"] <= 3


HOSTILE = (
    "3", "0", "-1", "2.5", "true", "[]", "[[]]", "[3]", "[x, x]", "{}", "{a: b}", "''", "x", "0 V", "1e9 V", "-1 m",
    "1 kWh", "750 Ah", "1 Ah at 5 h", "99999 Ah at 5 h", "none", "early", "[early, early]", "~", "0.001 kW", "900 kW",
    "4000 kWh",
)  # fmt: skip


def test_any_value_of_any_key_is_read_or_refused() -> None:
    """Whatever a survey says: it is taken, or a message is given that is meant for people."""
    sound = {"group": "a", "count": "2", "voltage": "48 V"}
    asked = [key.alias or name for name, key in SurveyedGroup.model_fields.items()]
    messages = []
    for key in asked:
        for value in HOSTILE:
            text = ", ".join(f"{name}: {each}" for name, each in (sound | {key: value}).items())
            data = {"site": "Here", "groups": [located_option("group", text).data]}
            try:
                messages += [problem.rule for problem in survey_problems(read_survey(LocatedData("survey", data)))]
            except batsim.ScenarioError as error:
                messages += [problem.rule for problem in error.problems]

    assert len(messages) > 200
    assert [message for message in messages if "nput should" in message or "pydantic" in message] == []


@pytest.mark.parametrize(
    "value",
    [
        "true", "No", "null", "~", "3", "3.5", "1e5", "0x1f", "-", "a: b", "a #b", "{x}", "'q'", '"d"', "back\\slash",
        "18 x electronic_iuia", "4 min", "Mon-Fri", "06:00", "750 Ah at 5 h", " blank ", "", "倉庫", "a, b", "*", "x:",
    ],
)  # fmt: skip
def test_text_stays_text(value: str) -> None:
    """Whatever YAML would make of it; as a key too."""
    text = f"key: {flow({value or 'x': [value, 3, 2.5, True]})}"

    assert read_text(text, "file").data == {"key": {value or "x": [value, 3, 2.5, True]}}
