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
MOST_GROUPS = 20
"""Truck groups that a blank sheet may have."""


def blank_site(groups: int) -> Scenario:
    """Make a site with every arrangement of the catalogue and its equipment, none of it measured.

    Its numbers stand for nothing; only what is asked of it counts.
    """
    if not 1 <= groups <= MOST_GROUPS:
        msg = f"groups must be 1 to {MOST_GROUPS} (got {groups})"
        raise ValueError(msg)
    arrangements = {name: catalogue_data(f"handling/{name}") for name in handling_names()}
    batteries = [f"{number}" for number in range(1, groups + 1)]
    shifts = [f"{number}" for number in range(1, SHIFTS + 1)]
    trucks = [{"group": name, "count": 1, "shifts": ["1"], "battery": name, "duty": {"mean_power": "1 kW"}}
              for name in batteries]  # fmt: skip
    layouts: dict[str, Any] = {
        name: {"handling": name, "chargers": f"{groups} x 1"}
        | ({} if data["bay"] == IN_TRUCK else {"batteries": dict.fromkeys(batteries, 3)})
        for name, data in arrangements.items()
    }
    today = next(name for name, data in arrangements.items() if data["bay"] != IN_TRUCK)
    day = {"days": "Mon-Fri", "from": "06:00", "to": "14:00"}
    kind = {"from": "vented_lead_acid", "cells": 24, "capacity": "500 Ah at 5 h"}
    return read_scenario_text(
        json.dumps(
            {
                "site": {"name": "blank"},
                "week": {"shifts": dict.fromkeys(shifts, day)},
                "trucks": trucks,
                "batteries": dict.fromkeys(batteries, kind),
                "chargers": {"1": {"from": "electronic_iuia"}},
                "layouts": {"today": layouts.pop(today), **layouts},
                "present": "today",
                "equipment": {name: {} for data in arrangements.values() for name in equipment_names(data)},
            }
        ),
        "blank sheet",
    )
