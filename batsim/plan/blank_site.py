"""A site of which nothing is known: what a blank survey sheet asks is what the checks would ask of it."""

import json
from typing import Any

from batsim.catalogue import handling_names
from batsim.scenario.checks.survey_checks import equipment_names
from batsim.scenario.parts.handling import IN_TRUCK
from batsim.scenario.reading import catalogue_data, read_scenario_text
from batsim.scenario.site import Scenario

SHIFTS = 4
"""Shifts that a blank sheet has room for."""
BATTERIES = 3
"""Batteries of a type: enough for every arrangement."""
TODAY = "today"
"""Name of the layout that is there today."""
MOST_GROUPS = 20
"""Truck groups that a blank sheet may have."""


def blank_site(groups: int) -> Scenario:
    """Make a site with every arrangement of the catalogue and its equipment, none of it measured.

    Its numbers stand for nothing; only what is asked of it counts.
    """
    if not 1 <= groups <= MOST_GROUPS:
        msg = f"groups must be 1 to {MOST_GROUPS} (got {groups})"
        raise ValueError(msg)
    names = [str(number) for number in range(1, groups + 1)]
    arrangements = {name: catalogue_data(f"handling/{name}") for name in handling_names()}
    day = {"days": "Mon-Fri", "from": "06:00", "to": "14:00"}
    kind = {"from": "vented_lead_acid", "cells": 24, "capacity": "500 Ah at 5 h"}
    site = {
        "site": {"name": "blank"},
        "week": {"shifts": dict.fromkeys(map(str, range(1, SHIFTS + 1)), day)},
        "trucks": [
            {"group": name, "count": 1, "shifts": ["1"], "battery": name, "duty": {"mean_power": "1 kW"}}
            for name in names
        ],
        "batteries": dict.fromkeys(names, kind),
        "chargers": {"1": {"from": "electronic_iuia"}},
        "layouts": _layouts(arrangements, names),
        "present": TODAY,
        "equipment": {name: {} for data in arrangements.values() for name in equipment_names(data)},
    }
    return read_scenario_text(json.dumps(site), "blank sheet")


def _layouts(arrangements: dict[str, dict[str, Any]], batteries: list[str]) -> dict[str, dict[str, Any]]:
    """A layout of each arrangement; one in which batteries are exchanged is that of today."""
    chargers = f"{len(batteries)} x 1"
    stock = dict.fromkeys(batteries, BATTERIES)
    exchanging = [name for name, data in arrangements.items() if data["bay"] != IN_TRUCK]
    layouts: dict[str, dict[str, Any]] = {
        name: {"handling": name, "chargers": chargers, "batteries": stock} for name in exchanging
    }
    layouts |= {name: {"handling": name, "chargers": chargers} for name in arrangements if name not in exchanging}
    return {TODAY: layouts.pop(exchanging[0]), **layouts}
