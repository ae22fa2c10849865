"""A commented scenario to start from, written from a few answers of a survey."""

import math
from typing import NamedTuple

from batsim.catalogue import FIGURES
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


SURVEY = """\
# For 'batsim plan', as far as the survey brings it; what is missing comes out as a question. Take the marks away:
# present: hoist                   # the layout that is there today
# equipment:
#   hand_pallet_truck: {fork_length: 43.3 in, forks_over_both: 20.5 in, rated_mass: 2300 kg, raised: 200 mm}
#   battery_carriage: {rated_mass: 1500 kg, roller_height: 203 mm, comes: along}
#   hoist: {rated_mass: 2000 kg, hook_height: 3.2 m}
#   spreader beam: {rated_mass: 2000 kg, hook_spacing: {from: 400 mm, to: 900 mm}, takes_up: 500 mm}
# room: {length: 20 m, width: 8 m, height: 4 m, fan: 2000 m3/h, floor: good, floor_load: 20 kN/m2, aisle: 3 m,
#        wash: 5 m}
# building: {length: 80 m, width: 40 m, height: 8 m, openings: 4 m2}
# supply: {voltage: 400 V, spare: 250 kVA}
# prices: {energy: 0.18 EUR/kWh, demand: 9 EUR/kW, driver: 38 EUR/h, attendant: 38 EUR/h}
# standards: {ventilation: "IEC 62485-3:2014", push: hse_l23_men}
# and of the trucks, under their group:
#   compartment: {length: 990 mm, width: 1040 mm, height: 640 mm, floor: flat, floor_height: 203 mm, removal: side,
#                 frame_depth: 1060 mm, battery_mass: {from: 1050 kg, to: 1250 kg}, maker_approves: yes,
#                 opening: {kind: door, angle: 135 deg}}
# and of the batteries, under their type: size: {length: 980 mm, width: 1028 mm, height: 570 mm}, base: flat
"""
"""What a survey may bring beside the work, each line commented out."""


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
    attendants = ", ".join(f"{name}: 1" for name in SHIFT_NAMES[answers.shifts])
    two = ", ".join(f"{name}: 2" for name in SHIFT_NAMES[answers.shifts])
    batteries, chargers = _first_counts(answers)
    if answers.power_kw is None:
        draws = f"    # Mean power at work; from the class ({truck_class}) until you know better."
        draws += "\n    # duty: {mean_power: 3.4 kW, between_trucks: 10 %, between_shifts: 20 %}"
    else:
        draws = f"    duty: {{mean_power: {answers.power_kw:g} kW}}"
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
    exchange_at: {FIGURES["truck.exchange_at"].text}
    # Where trucks must not stop in the middle of a shift they exchange at its end, at once or one after another:
    # exchange_when: {{shift_change: if_short, spread: 30 min}}

batteries:
  main battery:
    from: {battery}                # cells, capacity and mass of the catalogue; state your own to replace them
    cool_down: {FIGURES["battery.vented_lead_acid.cool_down"].text}
    watering: {{every: {FIGURES["battery.vented_lead_acid.watering_every"].text}, by: hand}}

# Candidate answers. The counts are first guesses by rule of thumb; compare, then change the bottleneck.
layouts:
  side rollers:
    handling: side_rollers
    stations: 1
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    attendants: {{{attendants}}}
  portable stands:
    handling: portable_stands
    stations: 2
    devices: {{hand_pallet_truck: 2}}
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    attendants: {{{two}}}
  hoist:
    handling: overhead_hoist
    stations: 1
    batteries: {batteries}
    chargers: {chargers} x electronic_iuia
    attendants: {{{two}}}
  in the truck:
    handling: in_truck
    chargers: {answers.trucks} x {"electronic_iuia" if answers.shifts == 1 else "fast_iuia"}

targets:                           # guess: what the customer would accept
  downtime_per_truck_shift: at most 15 min
  waits: 95 % under 10 min

{SURVEY}
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
