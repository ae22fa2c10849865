"""An area taken out of a record is the record of that area alone, row by row."""

from dataclasses import asdict

import numpy as np
import pytest

from batsim.measures import measure
from batsim.measures.parts import area_measures
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.record.tables import TABLES
from tests.behaviour.test_areas_apart import AREAS, STATED, only, simulated

OF_THE_SITE = ("minutes_per_working_day", "attendant_windows")
"""What an area does not have of its own."""


@pytest.fixture(scope="module")
def site() -> Record:
    return simulated(STATED)


@pytest.mark.parametrize("area", AREAS)
def test_an_area_taken_out_is_that_area_alone(site: Record, area: str):
    taken, alone = of_area(site, area), simulated(only([area]))

    for table in TABLES:
        assert np.array_equal(np.array(taken.rows(table)), np.array(alone.rows(table)), equal_nan=True), table
    mine, theirs = asdict(taken.facts), asdict(alone.facts)
    for kind, same in zip(mine["battery_types"], theirs["battery_types"], strict=True):
        assert kind.pop("name") in (same.pop("name"), f"{same['battery_type']}, {area}")  # where several areas have it
    assert [name for name in mine if mine[name] != theirs[name] and name not in OF_THE_SITE] == []
    assert taken.facts.title == f"room, {area}"


@pytest.mark.parametrize("area", AREAS)
def test_measures_of_an_area_are_those_of_it_alone(site: Record, area: str):
    """By the day they differ as the working days do: those of an area are those of the site."""
    alone = simulated(only([area]))
    found, expected = area_measures(site, area), measure(alone)
    days = site.facts.minutes_per_working_day / sum(end - start for start, end in site.facts.site_windows)
    own = alone.facts.minutes_per_working_day / sum(end - start for start, end in alone.facts.site_windows)

    assert len(found) > 100
    for name, value in found.items():
        scale = days / own if name.endswith("_per_day") else 1.0
        assert value == pytest.approx(expected[name] * scale, rel=1e-9, nan_ok=True), name
    assert {name for name in expected if name not in found} == {
        *("peak_kva", "peak_of_all_weeks_kva", "attendants_busy_share"),
        *(f"attendants_{what}_min_per_day" for what in ("on_duty", "hands_on", "held", "idle", "overtime")),
    }


def test_an_area_of_another_name_is_refused(site: Record):
    with pytest.raises(ValueError, match=r"must be one of the layout, which has north, south, plugged in \(got west\)"):
        of_area(site, "west")


def test_a_part_knows_the_whole_and_says_what_it_is(site: Record):
    part = of_area(site, "south")

    assert part.whole is site is site.whole
    assert part.in_short.startswith("room, south, replication 0")
    assert part.count("exchanges") == len(part.rows("exchanges")) < site.count("exchanges")
    assert np.unique(part.columns("charges")["queue"]).tolist() == [0.0, 1.0]
