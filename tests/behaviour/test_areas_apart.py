"""Areas that share nothing are sites of their own: bit for bit, in whatever order they are stated."""

import math
from collections.abc import Iterable
from copy import deepcopy
from typing import Any

import pytest
import yaml

import batsim
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.record.words import ATTENDANT, EXCHANGE, EXCHANGING
from tests.behaviour.areas import tables_of
from tests.behaviour.ledger import run

SITE = """
site: {name: Three areas that share nothing (invented), room_temperature: 24 degC}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:30 for 20 min"]}
    late: {days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 20 min"]}
    night: {days: Sun-Thu, from: "22:00", to: "06:00"}
trucks:
  - {group: reach, count: 5, shifts: [early, late], battery: lead, exchange_at: 30 %,
     duty: {mean_power: 4.5 kW, between_trucks: 15 %, between_shifts: 30 %}, to_room: {distance: 140 m, speed: 8 km/h}}
  - {group: tow, count: 3, shifts: [early], battery: lead, exchange_at: 40 %, priority: 2,
     run_time: {mean: 4 h, cv: 0.4}}
  - {group: heavy, count: 4, shifts: [early, late], battery: lead, exchange_at: 30 %,
     duty: {mean_power: 5 kW, between_trucks: 15 %, between_shifts: 30 %}, to_room: {distance: 60 m, speed: 8 km/h},
     exchange_when: {shift_change: if_short, before_shift_end: 20 min, spread: 15 min, early_below: 60 %}}
  - {group: light, count: 3, shifts: [early, late], battery: gel, exchange_at: 30 %,
     duty: {mean_power: 1.5 kW, between_shifts: 40 %}}
  - {group: pickers, count: 4, shifts: [early, late], battery: lead, exchange_at: 30 %,
     duty: {mean_power: 4 kW, between_trucks: 20 %, between_shifts: 20 %}}
batteries:
  lead:
    {from: vented_lead_acid_48v, cool_down: {mean: 2 h, cv: 0.3}, capacity_spread: 5 %,
     life_used: {from: 0 %, to: 60 %},
     watering: {every: 3 charges, by: hand, rounds: {days: Mon-Fri, from: "08:00", to: "13:00"}},
     inspection: {every: 20 h, time: {mean: 12 min, cv: 0.4}},
     equalising: {every: 7 days, length: 4 h, current: 2 A per 100 Ah}}
  gel: {from: valve_regulated_24v, charge_time: {mean: 4 h, cv: 0.2}, wash: {every: 2 charges, time: 15 min}}
chargers:
  iuia: {from: electronic_iuia, voltage: 48 V}
  round: {from: circulation_iuia, voltage: 48 V}
layouts:
  room:
    areas:
      north:
        for: [reach, tow]
        handling: side_rollers
        stations: 2
        batteries: 14
        chargers: [4 x round, 3 x iuia]
        attendants: {early: 2, late: 1}
        exchange_by: {early: drivers, late: attendants}
        floor:
          rows:
            - {row: front, at: [1 m, 2 m], pitch: 1 m, bays: 5}
            - {row: back, at: [4 m, 9 m], pitch: 1.2 m, along: y, bays: 3}
          stations: {at: [0 m, 5 m], pitch: 6 m}
        standby: {handling: portable_stands}
        breakdowns:
          station: {every: {mean: 30 h, law: exponential}, repair: 2 h}
          battery_carriage: {every: {mean: 12 h, law: exponential}, repair: {mean: 3 h, cv: 1}}
          iuia: {every: {mean: 40 h, law: exponential}, repair: 6 h}
      south:
        for: [heavy, light]
        handling: overhead_hoist
        batteries: {lead: 8, gel: 5}
        chargers: [4 x iuia, 2 x gel_iu]
        attendants: {early: {attendants: 2, hoist: 1}, late: 1}
        picking: nearest
        out: [{thing: hoist, from: week 1 Tue 09:10, for: 3 h}]
      plugged in:
        for: [pickers]
        handling: in_truck
        chargers: 3 x iuia
        attendants: {night: 1}
        in_truck: {in_breaks: false}
        breakdowns: {charger: {every: {mean: 20 h, law: exponential}, repair: 3 h}}
rules: {at_break: pause, at_shift_end: hand_over, if_none_ready: carry_on}
charging: {delay: 3 min}
"""
STATED = yaml.safe_load(SITE)
ATTENDED = (repr(ATTENDANT), repr(EXCHANGING))
AREAS = tuple(STATED["layouts"]["room"]["areas"])


def simulated(stated: dict[str, Any]) -> Record:
    """Two weeks of a site."""
    text = yaml.safe_dump(deepcopy(stated), sort_keys=False, width=200, default_flow_style=None)
    return run(batsim.read_scenario_text(text), weeks=2.0)


def only(areas: Iterable[str]) -> dict[str, Any]:
    """The site with some of its areas: their trucks and what serves them."""
    site = deepcopy(STATED)
    layout = site["layouts"]["room"]
    layout["areas"] = {name: area for name, area in layout["areas"].items() if name in areas}
    groups = {group for area in layout["areas"].values() for group in area["for"]}
    site["trucks"] = [group for group in site["trucks"] if group["group"] in groups]
    used = {group["battery"] for group in site["trucks"]}
    site["batteries"] = {name: battery for name, battery in site["batteries"].items() if name in used}
    return site


def differing(record: Record, other: Record, area: str) -> list[str]:
    """Tables of an area that are not the same in two records, row by row."""
    mine, theirs = tables_of(record, area), tables_of(other, area)
    return [table for table in TABLES if mine[table] != theirs[table]]


@pytest.fixture(scope="module")
def site() -> Record:
    return simulated(STATED)


def test_the_site_does_all_that_an_area_can_do(site: Record):
    """Else the same would say little: exchanges by either method, outages, maintenance, early calls, hand-overs."""
    rows = {area: tables_of(site, area) for area in AREAS}
    for area, tables in (
        ("north", "exchanges outages devices waterings maintenance"),
        ("plugged in", "outages maintenance"),
    ):
        assert all(len(rows[area][table]) > 4 for table in tables.split())
    visits = [row for area in ("north", "south") for row in rows[area]["exchanges"]]
    assert {row["standby"] for row in visits} == {"0", "1"}
    assert len({row["reason"] for row in visits}) == 3
    for table in TABLES:  # nothing belongs to none of them
        assert sum(len(rows[area][table]) for area in AREAS) == site.count(table)


def test_an_area_goes_by_its_own_rules(site: Record):
    """Drivers exchange in one shift of one area, attendants else; nobody plugs in in breaks."""
    for area, by_drivers in (("north", (360.0, 840.0)), ("south", (0.0, 0.0))):
        of_area = tables_of(site, area)
        begun = {float(row["start_min"]) for row in of_area["exchanges"] if row["kind"] == repr(EXCHANGE)}
        attended = {float(row["start_min"]) for row in of_area["work"] if (row["person"], row["task"]) == ATTENDED}
        for time in begun:
            assert math.isnan(time) or (time in attended) != (by_drivers[0] <= time % 1440.0 < by_drivers[1])
    plugged_in = [float(row["start_min"]) % 1440.0 for row in tables_of(site, "plugged in")["charges"]]
    assert not any(573.0 <= time < 576.0 for time in plugged_in)  # plugged in as the break begins


@pytest.mark.parametrize("area", AREAS)
def test_an_area_alone_is_the_same(site: Record, area: str):
    """The same rows in the same order, whatever the other areas do."""
    assert differing(site, simulated(only([area])), area) == []


def test_an_area_more_changes_nothing_in_the_others(site: Record):
    two = simulated(only(["north", "plugged in"]))
    assert [differing(site, two, area) for area in ("north", "plugged in")] == [[], []]


def in_another_order(stated: dict[str, Any]) -> dict[str, Any]:
    """The same site, with areas, groups and types from last to first."""
    site = deepcopy(stated)
    site["trucks"].reverse()
    for block in (site["batteries"], site["chargers"], site["layouts"]["room"]["areas"]):
        entries = list(block.items())[::-1]
        block.clear()
        block.update(entries)
    for area in site["layouts"]["room"]["areas"].values():
        area["for"].reverse()
    return site


def unlike(record: Record, other: Record, area: str) -> list[str]:
    """Tables of an area whose rows are not the same; those of one instant may be written in another order."""
    mine, theirs = tables_of(record, area), tables_of(other, area)
    return [table for table in TABLES if sorted(map(str, mine[table])) != sorted(map(str, theirs[table]))]


def test_the_order_in_the_file_changes_nothing(site: Record):
    other = simulated(in_another_order(STATED))
    assert other.facts.groups == site.facts.groups[::-1]
    assert [unlike(site, other, area) for area in AREAS] == [[], [], []]


def test_the_order_in_the_file_does_not_settle_who_owns_more():
    """Eight trucks that keep 19 batteries of their own: three have three."""
    stated = only(["north"])
    area = stated["layouts"]["room"]["areas"]["north"]
    area["batteries"] = 19
    del area["floor"]
    for group in stated["trucks"]:
        group["own_batteries"] = True
    mine, other = simulated(stated), simulated(in_another_order(stated))
    assert kept(mine) == kept(other)
    assert sorted(kept(mine).values()) == [2, 2, 2, 2, 2, 3, 3, 3]


def kept(record: Record) -> dict[str, int]:
    """Batteries by queue."""
    return {kind.name: kind.batteries for kind in record.facts.battery_types}


FIXED = """
site: {name: One area with fixed times (invented)}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:30 for 20 min"]}
    late: {days: Mon-Fri, from: "14:00", to: "22:00"}
trucks:
  - {group: first, count: 4, shifts: [early, late], battery: lead, run_time: 200 min, priority: 2,
     first_run: {first: 20 min, every: 15 min}}
  - {group: second, count: 2, shifts: [early, late], battery: old, run_time: 130 min, first_run: 35 min}
batteries:
  lead: {from: vented_lead_acid_48v, charge_time: 150 min, cool_down: 30 min, watering: none}
  old: {from: vented_lead_acid_48v, charge_time: 100 min, cool_down: 0 min, watering: none}
handling:
  plain: {title: Plain exchange, bay: spot, connects: attendant, connect_time: 2 min,
          steps: [{step: exchange, by: attendant, time: 12 min}]}
layouts:
  flat:
    attendants: {early: 1, late: 1}
    handling: plain
    batteries: {lead: 6, old: 3}
    chargers: 3 x electronic_iuia
"""


def test_a_layout_without_areas_is_one_area():
    """Times are fixed, so that the names of streams, which hold that of the area, do not matter."""
    flat = batsim.read_scenario_text(FIXED)
    text = FIXED.replace("    handling", "    areas:\n     here:\n      for: [first, second]\n      handling")
    for key in ("batteries: {lead", "chargers: 3"):
        text = text.replace(f"    {key}", f"      {key}")
    one = batsim.read_scenario_text(text)
    assert list(one.layouts["flat"].areas) == ["here"]
    mine, other = (run(scenario, weeks=1.0, layout="flat") for scenario in (flat, one))
    assert mine.count("exchanges") > 90
    for table in TABLES:
        assert repr(mine.rows(table)) == repr(other.rows(table)), table
