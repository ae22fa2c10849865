"""Small random rooms that are valid scenarios: every arrangement, rule, kind of attendants and calendar."""

from functools import lru_cache
from typing import Any, NamedTuple

import yaml
from hypothesis import settings
from hypothesis import strategies as st

import batsim
from batsim.scenario.parts.layouts import PICKING
from batsim.scenario.site import Scenario
from tests.runs import record_of

ROUNDS = settings(deadline=None, max_examples=100, derandomize=True, print_blob=False)
"""How hypothesis is used here: the same examples every time, as many as a normal test run can afford."""

WEEK_MIN = 7 * 1440.0
ARRANGEMENTS = ("side_rollers", "portable_stands", "overhead_hoist", "straight swap", "in_truck")
EXCHANGING = tuple(name for name in ARRANGEMENTS if name != "in_truck")
DEVICES = {
    "side_rollers": "battery_carriage",
    "portable_stands": "hand_pallet_truck",
    "overhead_hoist": "hoist",
    "straight swap": "lifting table",
}
CHARGERS = {
    "iuia 48 V": {"from": "electronic_iuia", "voltage": "48 V"},
    "circulation 48 V": {"from": "circulation_iuia", "voltage": "48 V"},
    "falling 24 V": {"from": "line_frequency_w", "voltage": "24 V"},
}
"""Chargers of lead-acid batteries, which have two voltages here."""
BATTERIES = {
    "lead": ("vented_lead_acid_48v", ["iuia 48 V", "circulation 48 V"]),
    "old lead": ("vented_lead_acid_24v", ["falling 24 V"]),
    "gel": ("valve_regulated_24v", ["gel_iu"]),
    "lithium": ("lithium_ion_48v", ["lithium_cc_cv"]),
}
"""Battery types by name: what they start from, and chargers that fit."""
STRAIGHT_SWAP = {
    "title": "Two people swap both batteries at once",
    "bay": "table",
    "empty_bays": 0,
    "devices": {"lifting table": 1},
    "connects": "driver",
    "connect_time": "1 min",
    "steps": [
        {"step": "drive up", "by": "driver", "time": {"low": "1 min", "high": "2 min"}},
        {"step": "swap", "by": "2 attendants", "device": "lifting table", "time": {"mean": "5 min", "cv": 0.5}},
        {"step": "clean the table", "by": "attendant", "time": "3 min", "truck": "gone"},
    ],
}
"""An arrangement of a site's own: no empty bay, two people, one of them longer than the other."""


@lru_cache(maxsize=1)
def _read(text: str) -> Scenario:
    """Read a room once for all that is asked of it."""
    return batsim.read_scenario_text(text)


class Room(NamedTuple):
    """A scenario with one layout, and how to run it."""

    text: str
    seed: int
    length_h: int
    warm_up_weeks: int

    @property
    def scenario(self) -> Scenario:
        return _read(self.text)

    @property
    def at_arrival(self) -> bool:
        return self.scenario.rules.discharged_on_charge == "at_arrival"

    def simulate(self, scenario: Scenario | None = None) -> batsim.Record:
        return record_of(
            scenario or self.scenario,
            "room",
            seed=self.seed,
            replication=0,
            length_min=60.0 * self.length_h,
            warm_up_min=self.warm_up_weeks * WEEK_MIN,
        )

    def __repr__(self) -> str:
        return f"Room(seed={self.seed}, length_h={self.length_h}, warm_up_weeks={self.warm_up_weeks})\n{self.text}"


@st.composite
def rooms(
    draw: st.DrawFn,
    arrangements: tuple[str, ...] = ARRANGEMENTS,
    rules: bool = True,
    warm_up: bool = True,
    shifts: dict[str, Any] | None = None,
) -> Room:
    """One random room, of some shifts where they are given; without `rules` every truck waits for its battery."""
    shifts = draw(weeks()) if shifts is None else shifts
    names = draw(st.lists(st.sampled_from(list(BATTERIES)), min_size=1, max_size=2, unique=True))
    groups = [draw(truck_groups(n, shifts, names)) for n in range(draw(st.integers(1, 2)))]
    used = list(dict.fromkeys(group["battery"] for group in groups))
    arrangement = draw(st.sampled_from(arrangements))
    stated: dict[str, Any] = {
        "site": {"name": "a room", "room_temperature": draw(st.sampled_from(["22 degC", "5 degC"]))},
        "week": {"shifts": shifts, "holidays": draw(st.sampled_from([[], [], ["week 1 Tue", "week 2 Mon"]]))},
        "trucks": groups,
        "batteries": {name: draw(battery_types(name)) for name in used},
        "chargers": CHARGERS,
        "layouts": {"room": draw(layouts(arrangement, groups, used, list(shifts)))},
        "rules": {
            "discharged_on_charge": draw(st.sampled_from(["with_exchange", "at_arrival"]))
            if rules
            else "with_exchange",
            "at_break": draw(st.sampled_from(["finish", "finish_then_full_break", "pause"])),
            "if_none_ready": draw(st.sampled_from(["wait", "carry_on"])) if rules else "wait",
        },
    }
    if arrangement == "straight swap":
        stated["handling"] = {arrangement: STRAIGHT_SWAP}
    text = yaml.safe_dump(stated, sort_keys=False, width=200, default_flow_style=None)
    hours = draw(st.integers(24, 400))
    return Room(text, draw(st.integers(0, 99)), hours, draw(st.integers(0, 1)) if warm_up else 0)


@st.composite
def weeks(draw: st.DrawFn) -> dict[str, Any]:
    """One, two or three shifts on five days, or one without end."""
    kind = draw(st.sampled_from(["one", "two", "three", "always"]))
    if kind == "always":
        return {"always": {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}}
    shifts = {
        "early": {"days": "Mon-Fri", "from": "06:00", "to": "14:00"},
        "late": {"days": "Mon-Fri", "from": "14:00", "to": "22:00"},
        "night": {"days": "Sun-Thu", "from": "22:00", "to": "06:00"},
    }
    names = list(shifts)[: ["one", "two", "three"].index(kind) + 1]
    paused = draw(st.booleans())
    handed_over = draw(st.booleans())
    for name, start in (("early", "09:30"), ("late", "18:00"), ("night", "02:00")):
        if paused:
            shifts[name]["breaks"] = [f"{start} for {draw(st.sampled_from([15, 30]))} min"]
        if handed_over:
            shifts[name]["handover"] = "10 min"
    return {name: shifts[name] for name in names}


@st.composite
def truck_groups(draw: st.DrawFn, number: int, shifts: dict[str, Any], batteries: list[str]) -> dict[str, Any]:
    """One to four trucks that work all shifts or only the first."""
    group: dict[str, Any] = {
        "group": f"group {number}",
        "count": draw(st.integers(1, 4)),
        "shifts": list(shifts) if draw(st.booleans()) else list(shifts)[:1],
        "battery": draw(st.sampled_from(batteries)),
        "exchange_at": draw(st.sampled_from(["25 %", "40 %"])),
    }
    if draw(st.booleans()):
        power = {"mean_power": f"{draw(st.sampled_from([0.8, 2.5, 5.0]))} kW"}
        energy = {"energy_per_shift": "20 kWh", "between_trucks": "30 %"}
        group["duty"] = draw(st.sampled_from([power, energy])) | {
            "between_shifts": draw(st.sampled_from(["0 %", "40 %"]))
        }
    else:
        laws = [
            "5 h",
            {"mean": "4 h", "cv": 0.3},
            {"low": "2 h", "typical": "3 h", "high": "9 h"},
            {"mean": "45 min", "law": "exponential"},
            "40 min",
        ]
        group["run_time"] = draw(st.sampled_from(laws))
    if draw(st.booleans()):
        group["to_room"] = {"distance": draw(st.sampled_from(["60 m", "400 m", "2500 m"])), "speed": "8 km/h"}
    if draw(st.booleans()):
        group["first_run"] = draw(st.sampled_from(["60 min", {"first": "0 min", "every": "20 min"}]))
    return group


@st.composite
def battery_types(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """A battery type, charged by its curve or by the clock."""
    battery: dict[str, Any] = {"from": BATTERIES[name][0]}
    if draw(st.booleans()):
        battery["cool_down"] = draw(st.sampled_from(["0 h", "0 h", "2 h", {"mean": "3 h", "cv": 0.2}]))
    if draw(st.integers(0, 2)) == 0:
        battery["charge_time"] = draw(st.sampled_from(["2 h", "30 min", {"mean": "4 h", "cv": 0.2}]))
    if "lead" in name and draw(st.booleans()):
        battery["watering"] = {"every": "2 charges", "by": draw(st.sampled_from(["hand", "single_point"]))}
    return battery


@st.composite
def layouts(
    draw: st.DrawFn, arrangement: str, groups: list[dict[str, Any]], batteries: list[str], shifts: list[str]
) -> dict[str, Any]:
    """Counts for the room: few of everything, so that everything is waited for."""
    layout: dict[str, Any] = {
        "handling": arrangement,
        "chargers": [
            f"{draw(st.integers(1, 4))} x {charger}"
            for name in batteries
            for charger in BATTERIES[name][1][: draw(st.integers(1, 2))]
        ],
        "stations": draw(st.integers(1, 2)),
        "picking": draw(st.sampled_from(PICKING)),
    }
    if arrangement == "in_truck":
        del layout["picking"]
        layout["in_truck"] = {"in_breaks": draw(st.booleans())}
        return layout
    trucks = {name: sum(group["count"] for group in groups if group["battery"] == name) for name in batteries}
    layout["batteries"] = {name: count + draw(st.integers(1, 6)) for name, count in trucks.items()}
    if draw(st.booleans()):
        layout["devices"] = {DEVICES[arrangement]: "unlimited"}
    attendants = draw(st.sampled_from([None, "unlimited", 1, 2, 3]))
    if isinstance(attendants, int):
        attendants = max(attendants, 2 if arrangement == "straight swap" else 1)
        manned = shifts if draw(st.booleans()) else shifts[:1]
        layout["attendants"] = dict.fromkeys(manned, attendants)
    else:
        layout["attendants"] = attendants
    if draw(st.booleans()):
        layout["exchange_time"] = draw(st.sampled_from(["6 min", "30 min", {"mean": "20 min", "cv": 0.5}]))
    return layout
