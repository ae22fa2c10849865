"""Titles of the charts of the annex: what each says, with its number and unit."""

from types import SimpleNamespace

import numpy as np
import pytest

import batsim
from batsim.measures import MEASURES
from batsim.scenario.settings import Schedule, Settings
from batsim.statistics.intervals import Interval
from batsim.study.compare import Comparison
from batsim.study.room_over import RoomOver
from batsim.study.running.runs import Runs
from batsim.study.waits import Waits
from batsim.views.page import chart_findings as finding
from tests.sites import KESTREL

NOISE = np.array([-1.0, 1.0, 0.0])
WEEK = 672


def compared(**layouts):
    """Comparison of three replications of made-up layouts; what is not stated is nothing."""
    values = {
        name: {measure: np.zeros(3) for measure in MEASURES} | {key: mean + NOISE for key, mean in stated.items()}
        for name, stated in layouts.items()
    }
    schedule = Schedule(KESTREL, tuple(layouts), 1, 3, 10080.0, 0.0, 0.95)
    return Comparison(Runs(schedule, values))


def lost(**parts):
    """Downtime from its parts. [min]"""
    named = {f"{part}_min_per_truck_shift": minutes for part, minutes in parts.items()}
    return named | {"downtime_min_per_truck_shift": sum(parts.values())}


def waits(scenario=KESTREL, **layouts):
    """Waits of one replication of some layouts. [min]"""
    schedule = Settings(replications=1, weeks=1.0).schedule(scenario)
    return Waits(schedule, {name: (np.array(rows, dtype=float),) for name, rows in layouts.items()})


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        (
            lost(travel=2.0, wait_station=25.0, exchange=12.0),
            "Layout 'a' loses 39.0 min per truck-shift; most of all: waits for a station, 25 min",
        ),
        ({"downtime_min_per_truck_shift": 3.0}, "Layout 'a' loses 3.0 min per truck-shift"),
        ({"downtime_min_per_truck_shift": np.nan}, "Downtime by cause"),
    ],
)
def test_downtime_names_the_greatest_cause(stated, expected):
    """With the digits that its interval carries."""
    assert finding.downtime_finding(compared(a=stated), "a") == expected


def test_areas_are_named_from_most_to_least():
    """Each with its minutes."""
    found = compared(north=lost(exchange=9.0), south=lost(exchange=30.0), idle={"downtime_min_per_truck_shift": np.nan})

    assert finding.area_finding(found) == "Area 'south' loses most, 30.0 min per truck-shift; 'north' loses least, 9.0"


@pytest.mark.parametrize(
    ("drivers", "attendants", "whose"),
    [(76.0, 538.0, ", 76.0 of them by drivers"), (614.0, 0.0, ", all by drivers"), (0.0, 614.0, ", all by attendants")],
)
def test_labour_says_whose_it_is(drivers, attendants, whose):
    """Of one, of the other, of both."""
    measures = {
        "labour_min_per_day": 614.0,
        "labour_driver_min_per_day": drivers,
        "labour_attendant_min_per_day": attendants,
    }
    found = compared(a={name: value for name, value in measures.items() if value})

    assert finding.labour_finding(found, "a") == f"Layout 'a' takes 614 min of hands-on work per working day{whose}"


def test_waits_stand_beside_their_target():
    """Three of four within 15 min; where there is no target, what 95 % do not exceed; else nothing."""
    untargeted = batsim.changed(KESTREL, {"targets": {}})
    of = compared(hoist={"wait_min_p95": 18.0})

    assert finding.waits_finding(waits(hoist=[0.0, 1.0, 2.0, 20.0]), of, "hoist") == (
        "75 % of exchanges in layout 'hoist' wait no longer than 15 min; the target is 95 %"
    )
    assert finding.waits_finding(waits(untargeted, hoist=[0.0, 20.0]), of, "hoist") == (
        "95 % of exchanges in layout 'hoist' wait no longer than 18.0 min"
    )
    assert finding.waits_finding(waits(hoist=[]), of, "hoist") == "No layout exchanges batteries"


@pytest.mark.parametrize(
    ("layout", "count", "at", "expected"),
    [
        ("hoist", "ready", 1.0, "Fewest batteries are ready in the hour from Tue 14:00: 1 of 82, layout 'hoist'"),
        (
            "in the truck",
            "chargers: giving current",
            9.0,
            "Most chargers give current in the hour from Tue 14:00: 9 of 44, layout 'in the truck'",
        ),
    ],
)
def test_a_week_names_its_hour(layout, count, at, expected):
    """Of a stock the one with fewest ready, of charging in the truck the one with most on charge."""
    course = np.full((1, WEEK), 4.0)
    course[0, 96 + 56 : 96 + 60] = at
    works = np.full(WEEK, 15.0)
    over = RoomOver(KESTREL, layout, 1, 1, {count: course}, works, 82.0, 44.0, 1.0, 0.0)

    assert finding.week_finding(over) == expected


def test_services_have_their_numbers_with_units():
    """Peak load, hydrogen, the room."""
    evidence = SimpleNamespace(layout="hoist", interval=lambda _: Interval(171.6, 169.0, 174.2))
    air = SimpleNamespace(space_name="battery room", peak_share=0.00171)

    assert finding.load_finding(evidence) == "Peak load of layout 'hoist': 172 kW, mean of 15 min"
    assert finding.hydrogen_finding(air, "1 %") == (
        "Hydrogen in the battery room reaches 0.17 % of the air at most; the limit is 1 %"
    )
    assert finding.room_finding(KESTREL, "side rollers", "") == (
        "60 bays and 2 stations in layout 'side rollers'; 22.8 m to the farthest bay"
    )
