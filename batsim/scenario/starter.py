"""A commented scenario to start from, written from a few answers of a survey."""

import math
from typing import NamedTuple

from jinja2 import Environment, PackageLoader

from batsim.catalogue import FIGURES
from batsim.formulas.rules_of_thumb import SHIFT_HOURS, batteries_per_truck

HOURS = {
    "day": '{days: Mon-Fri, from: "07:00", to: "15:30", breaks: ["12:00 for 30 min"]}',
    "early": '{days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:30 for 20 min"]}',
    "late": '{days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 20 min"]}',
    "night": '{days: Sun-Thu, from: "22:00", to: "06:00", breaks: ["02:00 for 20 min"]}',
}
SHIFT_NAMES = {1: ("day",), 2: ("early", "late"), 3: ("early", "late", "night")}

KINDS = {
    24: ("pallet_ride_on_24v", "vented_lead_acid_24v"),
    36: ("reach_1_6t_48v", "vented_lead_acid_36v"),
    48: ("counterbalance_2_0t_48v", "vented_lead_acid_48v"),
    80: ("counterbalance_2_5t_80v", "vented_lead_acid_80v"),
}
"""Truck class and battery type to start from, by voltage."""


class Answers(NamedTuple):
    """What the survey has brought so far."""

    site: str
    trucks: int
    shifts: int
    voltage: int
    distance_m: float
    power_kw: float | None = None


def starter_text(answers: Answers) -> str:
    """Write a scenario that reads well, with what was told and what is a guess marked as such."""
    truck_class, battery = KINDS[answers.voltage]
    batteries, chargers = _first_counts(answers)
    loader = PackageLoader("batsim.scenario", ".")
    texts = Environment(loader=loader, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True)
    return texts.get_template("starter.yaml.j2").render(
        answers._asdict()
        | {"site": answers.site.replace("\\", "\\\\").replace('"', '\\"')}
        | {"shifts": {name: HOURS[name] for name in SHIFT_NAMES[answers.shifts]}}
        | {"truck_class": truck_class, "battery": battery, "batteries": batteries, "chargers": chargers},
        figures=FIGURES,
    )


def _first_counts(answers: Answers) -> tuple[int, int]:
    """Batteries and chargers to start with: one a truck for one shift, else the rule of thumb, some to spare."""
    if answers.shifts == 1:
        return answers.trucks + 1, answers.trucks + 1
    work_h = answers.shifts * SHIFT_HOURS
    per_truck = batteries_per_truck(SHIFT_HOURS, 0.0, SHIFT_HOURS, SHIFT_HOURS, work_h)
    batteries = max(answers.trucks + 1, math.ceil(answers.trucks * per_truck))
    batteries += math.ceil(math.sqrt(batteries - answers.trucks))
    return batteries, batteries - answers.trucks + 1
