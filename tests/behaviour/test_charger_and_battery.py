"""A battery stands only on chargers of its voltage, chemistry and connector."""

from typing import Any

import pytest

import batsim
from batsim.record.record import Record
from batsim.scenario.site import Scenario
from tests.behaviour.ledger import rows_of
from tests.runs import record_of
from tests.sites import FROSTHOLM

WEEK_MIN = 7 * 1440.0
LAYOUTS = ("side rollers", "in the truck")


def charged_on(scenario: Scenario, layout: str) -> set[tuple[str, str]]:
    """Battery type and charger type of every charge of a week."""
    record: Record = record_of(scenario, layout, length_min=WEEK_MIN, warm_up_min=0.0)
    types = record.facts.type_numbers
    return {
        (record.facts.battery_types[types[int(row["battery"])]].name, record.facts.chargers[int(row["charger"])])
        for row in rows_of(record, "chargers")
    }


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_battery_stands_on_chargers_of_its_voltage(layout: str) -> None:
    """Batteries of 48 V and 24 V, and chargers of both."""
    pairs = charged_on(FROSTHOLM, layout)

    assert {battery for battery, _ in pairs} == {"lead 48 V 750 Ah", "lead 24 V 465 Ah"}
    assert all(("48 V" in battery) == ("48 V" in charger) for battery, charger in pairs)


def test_connectors_part_batteries_of_one_voltage() -> None:
    """Of two types of 48 V each stands on chargers with its own connector, and on those that state none."""
    changes: dict[str, Any] = {
        "batteries.lead 24 V 465 Ah": {"from": "vented_lead_acid_48v", "connector": "blue"},
        "batteries.lead 48 V 750 Ah.connector": "red",
        "chargers": {
            "for red": {"from": "electronic_iuia", "connector": "red"},
            "for blue": {"from": "electronic_iuia", "connector": "blue"},
        },
        "layouts": {
            "in the truck": {"handling": "in_truck", "chargers": ["12 x for red", "16 x for blue"]},
        },
    }

    assert charged_on(batsim.changed(FROSTHOLM, changes), "in the truck") == {
        ("lead 48 V 750 Ah", "for red"),
        ("lead 24 V 465 Ah", "for blue"),
    }
