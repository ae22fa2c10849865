"""What areas, truck groups and battery types have adds up to what the site has, on random sites of several areas."""

import math
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.measures import measure
from batsim.measures.parts import area_measures, group_measures, type_measures
from tests.behaviour.strategies import (
    ARRANGEMENTS,
    CHARGERS,
    ROUNDS,
    Room,
    battery_types,
    layouts,
    truck_groups,
    weeks,
)

HANDLING = [name for name in ARRANGEMENTS if name != "straight swap"]
"""Arrangements of which one attendant is enough."""
BATTERY_NAMES = ["lead", "gel", "lithium"]
SOME_ROUNDS = settings(ROUNDS, max_examples=30)
OF_A_DAY = (
    "visits",
    "asks",
    "exchanges_started",
    "batteries",
    "chargers",
    "stations",
    "waits_battery",
    "waits_station",
)
"""What else adds up, beside what a day holds."""


@st.composite
def sites(draw: st.DrawFn) -> Room:
    """A site of two or three areas, each a random room of its own; some share attendants."""
    shifts = draw(weeks())
    groups: list[dict[str, Any]] = []
    areas: dict[str, Any] = {}
    shared: dict[str, int] = {}
    for number in range(draw(st.integers(2, 3))):
        own = [
            draw(truck_groups(len(groups) + place, shifts, BATTERY_NAMES)) for place in range(draw(st.integers(1, 2)))
        ]
        used = list(dict.fromkeys(group["battery"] for group in own))
        area = draw(layouts(draw(st.sampled_from(HANDLING)), own, used, list(shifts)))
        if isinstance(area.get("attendants"), dict) and draw(st.booleans()):
            shared = area.pop("attendants")
        areas[f"area {number}"] = {"for": [group["group"] for group in own], **area}
        groups += own
    layout = {"areas": areas, **({"attendants": shared} if shared else {})}
    stated = {
        "site": {"name": "a site"},
        "week": {"shifts": shifts},
        "trucks": groups,
        "batteries": {name: draw(battery_types(name)) for name in dict.fromkeys(g["battery"] for g in groups)},
        "chargers": CHARGERS,
        "layouts": {"room": layout},
    }
    text = yaml.safe_dump(stated, sort_keys=False, width=200, default_flow_style=None)
    return Room(text, draw(st.integers(0, 99)), draw(st.integers(24, 400)), draw(st.integers(0, 1)))


def adds_up(whole: dict[str, float], parts: list[dict[str, float]], name: str) -> bool:
    """Whether a number of the site is the sum over its parts; without a meaning in all, it has none in some."""
    numbers = [part[name] for part in parts if not math.isnan(part[name])]
    if math.isnan(whole[name]):
        return len(numbers) < len(parts)
    return sum(numbers) == pytest.approx(whole[name], rel=1e-9, abs=1e-9)


@SOME_ROUNDS
@given(sites())
def test_what_a_day_holds_adds_up(site: Room):
    record = site.simulate()
    facts, whole = record.facts, measure(record)
    areas = [area_measures(record, area.name) for area in facts.areas]
    groups = [group_measures(record, number) for number in range(len(facts.groups))]
    types = [type_measures(record, name) for name in dict.fromkeys(kind.battery_type for kind in facts.battery_types)]

    for parts in (areas, groups, types):
        for name in parts[0]:
            if name.endswith("_per_day") or name in OF_A_DAY:
                assert adds_up(whole, parts, name), name
    assert len([name for name in areas[0] if name.endswith("_per_day")]) > 40
