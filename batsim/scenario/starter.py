"""A commented scenario to start from, written from a few answers of a survey."""

import math
from typing import NamedTuple

from batsim.catalogue import figure
from batsim.formulas.rules_of_thumb import batteries_per_truck

SHIFT_BLOCKS = {
    1: '    day: {days: Mon-Fri, from: "07:00", to: "15:30", breaks: ["12:00 for 30 min"]}',
    2: '    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:30 for 20 min"]}\n'
    '    late: {days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 20 min"]}',
    3: '    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:30 for 20 min"]}\n'
    '    late: {days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 20 min"]}\n'
    '    night: {days: Sun-Thu, from: "22:00", to: "06:00", breaks: ["02:00 for 20 min"]}',
}
SHIFT_NAMES = {1: ("day",), 2: ("early", "late"), 3: ("early", "late", "night")}
SHIFT_HOURS = 8.0
"""Length of the shifts above, for the first guess of a battery count. [h]"""

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
    names = ", ".join(SHIFT_NAMES[answers.shifts])
    crew = ", ".join(f"{name}: 1" for name in SHIFT_NAMES[answers.shifts])
    two = ", ".join(f"{name}: 2" for name in SHIFT_NAMES[answers.shifts])
    batteries, chargers = _first_counts(answers)
    if answers.power_kw is None:
        draws = f"    # Mean power at work; from the class ({truck_class}) until you know better."
        draws += "\n    # draws: {mean: 3.4 kW, between_trucks: 10 %, between_stints: 20 %}"
    else:
        draws = f"    draws: {{mean: {answers.power_kw:g} kW}}"
    site = answers.site.replace("\\", "\\\\").replace('"', '\\"')
    return f"""\
# yaml-language-server: $schema=./batsim.schema.json
# (for completion in an editor; write that file with: batsim schema > batsim.schema.json)
# Question: which battery handling for {answers.trucks} trucks on {answers.shifts} shift(s)?
# Lines marked 'guess' were not asked: replace them by what the site tells you.

site:
  name: "{site}"
  currency: EUR
  room_temperature: 20 degC        # guess

week:
  shifts:                          # guess: hours and breaks
{SHIFT_BLOCKS[answers.shifts]}

trucks:
  - group: trucks
    count: {answers.trucks}
    class: {truck_class}
    shifts: [{names}]
    battery: main battery
{draws}
    to_room: {{distance: {answers.distance_m:g} m, speed: 8 km/h}}   # guess: speed
    exchange_at: {figure("truck.exchange_at").text}
    # Where trucks must not stop in the middle of a shift they exchange at its end, at once or one after another:
    # exchange_when: {{shift_change: if_short, spread: 30 min}}

batteries:
  main battery:
    from: {battery}                # cells, capacity and mass of the catalogue; state your own to replace them
    cool_down: {figure("battery.vented_lead_acid.cool_down").text}
    watering: {{every: {figure("battery.vented_lead_acid.watering_every").text}, by: hand}}

# Candidate answers. The counts are first guesses by rule of thumb; compare, then change what binds.
layouts:
  side rollers:
    handling: side_rollers
    stations: 1
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    crew: {{{crew}}}
  portable stands:
    handling: portable_stands
    stations: 2
    devices: {{hand_pallet_truck: 2}}
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    crew: {{{two}}}
  hoist:
    handling: overhead_hoist
    stations: 1
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    crew: {{{two}}}
  in the truck:
    handling: in_truck
    chargers: {answers.trucks} x {"electronic_iuia" if answers.shifts == 1 else "fast_iuia"}

targets:                           # guess: what the customer would accept
  downtime_per_truck_shift: at most 15 min
  waits: 95 % under 10 min

simulation: {{replications: 20, length: 4 weeks, warm_up: 1 week, seed: 1}}
"""


def _first_counts(answers: Answers) -> tuple[int, int]:
    """Batteries and chargers to start with: one a truck for one shift, else the rule of thumb, some to spare."""
    if answers.shifts == 1:
        return answers.trucks + 1, answers.trucks + 1
    hours = SHIFT_HOURS
    each = min(float(answers.shifts), batteries_per_truck(hours, 0.0, hours, hours))
    batteries = max(answers.trucks + 1, math.ceil(answers.trucks * each))
    batteries += math.ceil(math.sqrt(batteries - answers.trucks))
    return batteries, batteries - answers.trucks + 1
