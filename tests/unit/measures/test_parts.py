"""Measures of truck groups and battery types: they add up to those of the site, and each sees its own rows alone."""

import pytest

import batsim
from batsim.measures import measure
from batsim.measures.parts import group_measures, type_measures
from batsim.study.compare import compare
from batsim.views.text.tables import comparison_text
from tests.sites import KESTREL

MIXED = """
site: {name: Mixed (invented)}
week:
  shifts:
    day: {days: Mon-Fri, from: "06:00", to: "14:00"}
    late: {days: Mon-Fri, from: "14:00", to: "20:00"}
trucks:
  - {group: reach, count: 6, shifts: [day, late], battery: small, duty: {mean_power: 3.2 kW}}
  - {group: dock, count: 5, shifts: [day, late], battery: large, priority: 2, duty: {mean_power: 4.2 kW}}
  - {group: yard, count: 2, shifts: [day], battery: large, duty: {mean_power: 2 kW}, to_room: {distance: 300 m}}
batteries:
  small: {from: vented_lead_acid_48v, cool_down: 4 h}
  large: {from: vented_lead_acid_48v, capacity: 900 Ah at 5 h, cool_down: 4 h}
layouts:
  room: {handling: side_rollers, batteries: {small: 13, large: 14}, chargers: 27 x electronic_iuia,
    attendants: {day: 2, late: 1}}
  own: {handling: side_rollers, batteries: {small: 12, large: 15}, chargers: 27 x electronic_iuia,
    attendants: {day: 1, late: 1}}
targets:
  downtime_per_truck_shift: at most 200 min
  groups:
    yard: {downtime_per_truck_shift: at most 1 min, waits: 95 % under 3 min}
"""
SETTINGS = batsim.Settings(weeks=4.0, warm_up_weeks=1.0, replications=3, workers=1)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    file = tmp_path_factory.mktemp("mixed") / "site.yaml"
    file.write_text(MIXED)
    return batsim.read(file)


@pytest.fixture(scope="module")
def record(site):
    return batsim.simulate(site, "room", settings=SETTINGS)


def total(parts, name):
    return sum(part[name] for part in parts)


def test_what_groups_do_in_a_day_adds_up_to_what_the_site_does(record):
    whole = measure(record)
    groups = [group_measures(record, number) for number in range(3)]

    assert whole["exchanges_per_day"] > 10.0
    for name in (
        "exchanges_per_day", "work_hours_per_day", "lost_hours_per_day", "lost_kwh_per_day",
        "energy_drawn_kwh_per_day", "energy_way_kwh_per_day", "visits", "asks", "exchanges_started", "stopped_empty",
        "unfinished_exchanges", "waits_attendant", "waits_station",
    ):  # fmt: skip
        assert total(groups, name) == pytest.approx(whole[name], rel=1e-9, abs=1e-9), name


def test_downtime_of_the_site_is_that_of_its_groups_by_their_truck_shifts(record):
    """Six trucks on two shifts, five on two, two on one: 12, 10 and 2 truck-shifts a day."""
    whole, weights = measure(record), (12.0, 10.0, 2.0)
    groups = [group_measures(record, number) for number in range(3)]

    assert [group["downtime_min_per_truck_shift"] > 0.0 for group in groups] == [True] * 3
    for name in ("downtime_min_per_truck_shift", "travel_min_per_truck_shift", "wait_attendant_min_per_truck_shift"):
        mean = sum(weight * group[name] for weight, group in zip(weights, groups, strict=True)) / 24.0
        assert mean == pytest.approx(whole[name], rel=1e-9), name
    assert groups[2]["travel_min_per_truck_shift"] > 0.0 == groups[0]["travel_min_per_truck_shift"]


def test_waits_of_the_site_are_those_of_its_groups_by_their_exchanges(record):
    whole = measure(record, 3.0)
    groups = [group_measures(record, number, 3.0) for number in range(3)]

    for name in ("wait_min_per_exchange", "waited_share", "wait_within_target_share"):
        mean = sum(group[name] * group["exchanges_started"] for group in groups) / whole["exchanges_started"]
        assert mean == pytest.approx(whole[name], rel=1e-9), name
    assert "wait_within_target_share" not in group_measures(record, 0)


def test_what_battery_types_do_adds_up_to_what_the_site_does(record):
    whole = measure(record)
    types = [type_measures(record, name) for name in ("small", "large")]

    assert [kind["batteries"] for kind in types] == [13.0, 14.0]
    assert [kind["batteries_per_truck"] for kind in types] == [13 / 6, 2.0]
    for name in (
        "batteries", "ready_batteries_mean", "energy_charged_kwh_per_day", "energy_drawn_kwh_per_day",
        "hydrogen_m3_per_day", "water_lost_kg_per_day", "charges_started", "discharges_ended",
    ):  # fmt: skip
        assert total(types, name) == pytest.approx(whole[name], rel=1e-9), name
    assert min(kind["ready_batteries_min"] for kind in types) == whole["ready_batteries_min"]
    assert min(kind["life_years_of_most_worn"] for kind in types) == pytest.approx(whole["life_years_of_most_worn"])
    assert max(kind["charged_degc_max"] for kind in types) == whole["charged_degc_max"]


def test_a_battery_type_lasts_as_long_as_its_own_trucks_let_it(record):
    """The mean life of the site is the harmonic mean of the types by their batteries."""
    lives = {name: type_measures(record, name)["life_years"] for name in ("small", "large")}

    assert 27.0 / (13.0 / lives["small"] + 14.0 / lives["large"]) == pytest.approx(measure(record)["life_years"])


def test_the_only_group_and_type_are_the_site():
    record = batsim.simulate(KESTREL, "side rollers", settings=batsim.Settings(weeks=1.0, warm_up_weeks=0.5))
    whole = measure(record)

    if len(record.facts.groups) == 1:
        for name, value in group_measures(record, 0).items():
            assert value == pytest.approx(whole[name], rel=1e-12, nan_ok=True), name
    (name,) = {kind.battery_type for kind in record.facts.battery_types}
    for measured, value in type_measures(record, name).items():
        assert value == pytest.approx(whole[measured], rel=1e-12, nan_ok=True), measured


def test_trucks_with_batteries_of_their_own_have_one_battery_type(site):
    own = batsim.changed(site, {"trucks[0].own_batteries": True})
    record = batsim.simulate(own, "room", settings=SETTINGS)

    assert len(record.facts.battery_types) == 7
    assert type_measures(record, "small")["batteries"] == 13.0
    assert type_measures(record, "small")["energy_drawn_kwh_per_day"] == pytest.approx(
        group_measures(record, 0)["energy_drawn_kwh_per_day"], rel=1e-9
    )


def test_a_comparison_tells_groups_types_and_the_worst_group(site):
    found = compare(site, SETTINGS)
    data, text = found.as_json(), comparison_text(found)

    assert set(data["layouts"]["room"]["groups"]) == {"reach", "dock", "yard"}
    assert set(data["layouts"]["own"]["battery_types"]) == {"small", "large"}
    means = {
        group: each["measures"]["downtime_min_per_truck_shift"]["mean"]
        for group, each in data["layouts"][found.ranked[0]]["groups"].items()
    }
    worst = max(means, key=means.__getitem__)
    assert f"The worst group in '{found.ranked[0]}' is '{worst}': {means[worst]:.1f} ±" in data["worst_group"]
    assert "  of yard" in text
    assert list(found.runs.frame_by_group.columns[:3]) == ["group", "layout", "measure"]
    assert set(found.runs.frame_by_battery_type["battery_type"]) == {"small", "large"}


def test_a_target_of_a_group_is_about_its_own_trucks(site):
    """The site keeps its target; the yard trucks, a long way off, miss theirs, and keep a wider one."""
    verdicts = {target.title: target.verdict for target in compare(site, SETTINGS).targets("room")}
    wider = batsim.changed(site, {"targets.groups.yard.downtime_per_truck_shift": "at most 400 min"})

    assert verdicts["downtime"] == "met"
    assert verdicts["downtime of yard"] == "missed"
    assert "waits of yard" in verdicts
    targets = {target.title: target.verdict for target in compare(wider, SETTINGS).targets("room")}
    assert targets["downtime of yard"] == "met"
