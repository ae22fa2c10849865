"""Random rooms with everything: shift changes, floors, outages, skills, handing over, maintenance in rounds, demand."""

import json
from typing import Any

import yaml
from hypothesis import strategies as st

from batsim import catalogue
from batsim.scenario.parts.layouts import CHARGER_ORDER
from tests.behaviour.strategies import ARRANGEMENTS, DEVICES, EXCHANGING, Room, rooms

WITH_WAYS = ("side_rollers", "portable_stands", "overhead_hoist")
FEATURES = (
    "exchange_when",
    "priority",
    "own_batteries",
    "reserve",
    "floor",
    "set_down_bays",
    "standby",
    "breakdowns",
    "out",
    "exchange_by",
    "skills",
    "attendants_rules",
    "priorities",
    "maintenance",
    "rounds",
    "equalising",
    "demand",
)
"""What may be added to a room, one by one."""
OLD = ({"life_used": {"from": "30 %", "to": "90 %"}}, {"capacity_left": "70 %"}, {"age": "6 years"})
TASKS = ("exchange", "connect", "watering", "inspection", "readings", "wash")
LAWS = ("20 min", {"mean": "30 min", "cv": 0.5}, {"low": "10 min", "typical": "15 min", "high": "60 min"})


@st.composite
def full_rooms(
    draw: st.DrawFn,
    arrangements: tuple[str, ...] = ARRANGEMENTS,
    certain: tuple[str, ...] = (),
    shifts: dict[str, Any] | None = None,
) -> Room:
    """One random room with some of the features, those of `certain` among them where they fit."""
    room = draw(rooms(arrangements=arrangements, shifts=shifts))
    stated = yaml.safe_load(room.text)
    some = draw(st.sets(st.sampled_from(FEATURES), min_size=1)) | set(certain)
    wanted = [name for name in FEATURES if name in some]
    if stated["layouts"]["room"]["handling"] == "in_truck":
        _man_the_spots(draw, stated)
    for name in wanted:
        ADDERS[name](draw, stated)
    keep_enough(stated)
    if draw(st.booleans()):
        _mix_the_stock(draw, stated)
    for group in stated["trucks"]:
        if "charge_time" in stated["batteries"][group["battery"]]:  # a stated time makes no heat: nor shall work
            group["temperature"] = "22 degC"
    stated = json.loads(json.dumps(stated))  # else what is used twice would be written as an anchor
    text = yaml.safe_dump(stated, sort_keys=False, width=200, default_flow_style=None)
    return room._replace(text=text, length_h=min(room.length_h, 300))


def _layout(stated: dict[str, Any]) -> dict[str, Any]:
    """The only layout."""
    return stated["layouts"]["room"]


def _exchanging(stated: dict[str, Any]) -> bool:
    return _layout(stated)["handling"] in EXCHANGING or _layout(stated)["handling"].startswith("reaching")


def _trucks(stated: dict[str, Any]) -> dict[str, int]:
    """Trucks of each battery type, grown fleets included."""
    demand = stated.get("demand", {})
    growth = 1.1 if "fleet_growth" in demand else 1.0
    counts: dict[str, int] = {}
    for group in stated["trucks"]:
        grown = int(group["count"] * growth ** demand.get("years", 0) + 0.5)
        counts[group["battery"]] = counts.get(group["battery"], 0) + grown
    return counts


def keep_enough(stated: dict[str, Any]) -> None:
    """Have batteries enough for all that was added: spares, a reserve beside them, two each where they are own."""
    layout = _layout(stated)
    if not _exchanging(stated):
        return
    reserve = layout.get("reserve_for_shift_change", 0)
    for name, trucks in _trucks(stated).items():
        own = any(group.get("own_batteries") for group in stated["trucks"] if group["battery"] == name)
        least = trucks * (2 + reserve) if own else trucks + 1 + reserve
        layout["batteries"][name] = max(layout["batteries"][name], least)


def _mix_the_stock(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    """Count batteries by lot, new ones and old, and let them take chargers in an order."""
    layout = _layout(stated)
    layout["charger_order"] = draw(st.sampled_from(CHARGER_ORDER))
    counts = layout.get("batteries", {})
    for name, trucks in _trucks(stated).items():
        number = counts.get(name, trucks)
        new = draw(st.integers(0, number))
        stated["batteries"][name]["lots"] = {"new": {}, "old": draw(st.sampled_from(OLD))}
        lots = {"old": number - new, "new": new}
        counts[name] = [f"{count} x {lot}" for lot, count in lots.items() if count]
    layout["batteries"] = counts


def _man_the_spots(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    """Let attendants take care of batteries in trucks."""
    if draw(st.booleans()):
        _layout(stated)["attendants"] = {shift: draw(st.integers(1, 2)) for shift in stated["week"]["shifts"]}
    if draw(st.booleans()):
        _layout(stated)["devices"] = {"hand_pallet_truck": draw(st.integers(1, 2))}


def _exchange_when(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for group in stated["trucks"]:
        when: dict[str, Any] = {"shift_change": draw(st.sampled_from(["never", "if_short", "always"]))}
        if draw(st.booleans()):
            when["before_shift_end"] = draw(st.sampled_from(["10 min", "45 min"]))
        if draw(st.booleans()):
            when["spread"] = draw(st.sampled_from(["15 min", "60 min", {"over": "60 min", "each": "anew"}]))
        if draw(st.booleans()):
            when["in_breaks_below"] = draw(st.sampled_from(["60 %", "95 %", "100 %"]))
        if draw(st.booleans()):
            when["early_below"] = draw(st.sampled_from(["50 %", "80 %", "98 %"]))
        if when["shift_change"] == "if_short" and draw(st.booleans()):
            when["not_above"] = draw(st.sampled_from(["60 %", "100 %"]))
        group["exchange_when"] = when
    stated["rules"]["patience"] = draw(st.sampled_from(["0 min", "10 min", "2 h"]))


def _priority(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for group in stated["trucks"]:
        group["priority"] = draw(st.integers(1, 3))


def _own_batteries(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    if not _exchanging(stated):
        return
    name = draw(st.sampled_from(sorted(_trucks(stated))))
    for group in stated["trucks"]:
        if group["battery"] == name:
            group["own_batteries"] = True


def _reserve(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    if not _exchanging(stated):
        return
    for group in stated["trucks"]:
        if group.get("exchange_when", {}).get("shift_change", "never") == "never":
            group.setdefault("exchange_when", {})["shift_change"] = draw(st.sampled_from(["if_short", "always"]))
    _layout(stated)["reserve_for_shift_change"] = draw(st.integers(1, 2))


def _floor(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    layout = _layout(stated)
    if layout["handling"] not in WITH_WAYS or "exchange_time" in layout:
        return
    rows = [
        {"row": "front", "at": ["1 m", "2 m"], "pitch": "1 m", "bays": draw(st.integers(1, 4))},
        {
            "row": "back",
            "at": ["4 m", "9 m"],
            "pitch": "1.2 m",
            "along": draw(st.sampled_from(["x", "y"])),
            "levels": draw(st.integers(1, 2)),
            "level_height": "1.5 m",
        },
    ]
    layout["floor"] = {"rows": rows, "stations": {"at": ["0 m", "5 m"], "pitch": "6 m"}}
    layout["picking"] = draw(st.sampled_from(["nearest", layout["picking"]]))
    if draw(st.booleans()):
        reaching = yaml.safe_load(catalogue.document(f"handling/{layout['handling']}").read_text(encoding="utf-8"))
        reaching["devices"][DEVICES[layout["handling"]]]["reach"] = draw(st.sampled_from(["11 m", "30 m"]))
        stated.setdefault("handling", {})[f"reaching {layout['handling']}"] = reaching
        layout["handling"] = f"reaching {layout['handling']}"


def _set_down_bays(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    _layout(stated)["set_down_bays"] = draw(st.integers(1, 2))


def _standby(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    if not _exchanging(stated):
        return
    layout = _layout(stated)
    handling = draw(st.sampled_from(WITH_WAYS))
    layout["standby"] = {"handling": handling}
    if draw(st.booleans()):
        layout["standby"]["devices"] = {DEVICES[handling]: draw(st.sampled_from([1, 2, "unlimited"]))}
    device = DEVICES[layout["handling"].removeprefix("reaching ")]
    if draw(st.booleans()):
        layout.get("devices", {}).pop(device, None)
        layout["standby"].get("devices", {}).pop(device, None)
        layout.setdefault("breakdowns", {})[device] = {"every": {"mean": "12 h", "law": "exponential"}, "repair": "3 h"}


def _things(stated: dict[str, Any]) -> list[str]:
    """What there is a limited number of."""
    layout = _layout(stated)
    things = ["station", *(str(entry).partition(" x ")[2] for entry in layout["chargers"])]
    handling = layout["handling"]
    device = "hand_pallet_truck" if handling == "in_truck" else DEVICES[handling.removeprefix("reaching ")]
    counts = (layout.get("devices", {}), layout.get("standby", {}).get("devices", {}))
    return things if any(count.get(device) == "unlimited" for count in counts) else [*things, device]


def _breakdowns(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for thing in draw(st.lists(st.sampled_from([*_things(stated), "charger"]), min_size=1, max_size=3, unique=True)):
        hours = draw(st.sampled_from(["3 h", "10 h", "40 h"]))
        _layout(stated).setdefault("breakdowns", {})[thing] = {
            "every": {"mean": hours, "law": "exponential"},
            "repair": draw(st.sampled_from(["1 h", {"mean": "4 h", "cv": 1.5}])),
        }


def _out(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for thing in draw(st.lists(st.sampled_from(_things(stated)), min_size=1, max_size=3)):
        _layout(stated).setdefault("out", []).append(
            {
                "thing": thing,
                "from": f"week 1 {draw(st.sampled_from(['Mon 06:00', 'Mon 14:00', 'Tue 09:10', 'Wed 00:00']))}",
                "for": draw(st.sampled_from(["30 min", "8 h", "24 h"])),
            }
        )


def _exchange_by(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    layout = _layout(stated)
    by: list[Any] = ["drivers"]
    if isinstance(layout.get("attendants"), dict):
        shifts = dict.fromkeys(shift for group in stated["trucks"] for shift in group["shifts"])
        who = {True: ["drivers", "attendants"], False: ["drivers"]}
        by.append({shift: draw(st.sampled_from(who[shift in layout["attendants"]])) for shift in shifts})
    for key in ("exchange_by", "connect_by", "maintain_by"):
        if draw(st.booleans()):
            layout[key] = draw(st.sampled_from(by))


def _skills(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    layout = _layout(stated)
    if not isinstance(layout.get("attendants"), dict) or not layout["handling"].endswith("overhead_hoist"):
        return
    for number, shift in enumerate(layout["attendants"]):
        count = layout["attendants"][shift] + draw(st.integers(0, 1))
        layout["attendants"][shift] = {"attendants": count, "hoist": draw(st.integers(int(number == 0), count))}


def _attendants_rules(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    stated["rules"]["at_break"] = draw(st.sampled_from(["put_back", "pause", stated["rules"]["at_break"]]))
    stated["rules"]["at_shift_end"] = draw(st.sampled_from(["hand_over", "put_back", "finish"]))


def _priorities(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    stated["rules"]["priorities"] = draw(st.permutations(TASKS))[: draw(st.integers(1, 6))]


def _maintenance(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for battery in stated["batteries"].values():
        for name in draw(st.sets(st.sampled_from(["inspection", "readings", "wash"]), min_size=1)):
            every = draw(st.sampled_from(["1 charge", "3 charges", "20 h", "5 days"]))
            battery[name] = {"every": every, "when": draw(st.sampled_from(["after_charge", "before_charge"]))}
            if draw(st.booleans()):
                battery[name]["time"] = draw(st.sampled_from(LAWS))


def _rounds(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    """Rounds in working hours: a night without a attendants would leave nothing to test."""
    for battery in stated["batteries"].values():
        rounds = [
            {
                "days": draw(st.sampled_from(["Mon-Fri", "Tue", "Mon-Sun"])),
                "from": draw(st.sampled_from(["06:00", "08:00", "13:00"])),
                "to": draw(st.sampled_from(["09:00", "14:00", "22:00"])),
                "overdue": draw(st.sampled_from(["use", "hold"])),
            }
            for _ in range(2)
        ]
        if "lead" in battery["from"] and "valve" not in battery["from"]:
            battery.setdefault("watering", {"every": "2 charges", "by": "hand"})["rounds"] = rounds[0]
        battery["readings"] = {"every": draw(st.sampled_from(["2 charges", "30 h"])), "rounds": rounds[1]}


def _equalising(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    for battery in stated["batteries"].values():
        if not battery["from"].startswith("lithium"):
            days = draw(st.sampled_from(["Mon-Fri", "Tue", "Sat-Sun"]))
            current = "1 A per 100 Ah" if battery["from"].startswith("valve") else "2 A per 100 Ah"
            battery["equalising"] = {"every": "7 days", "length": "5 h", "current": current, "days": days}


def _demand(draw: st.DrawFn, stated: dict[str, Any]) -> None:
    stated["demand"] = {"weeks": {"1": draw(st.sampled_from(["60 %", "130 %"])), "2-3": "110 %", "52": "50 %"}}
    if draw(st.booleans()):
        stated["demand"] |= {"fleet_growth": "10 %", "years": draw(st.integers(1, 4))}


ADDERS = {
    "exchange_when": _exchange_when,
    "priority": _priority,
    "own_batteries": _own_batteries,
    "reserve": _reserve,
    "floor": _floor,
    "set_down_bays": _set_down_bays,
    "standby": _standby,
    "breakdowns": _breakdowns,
    "out": _out,
    "exchange_by": _exchange_by,
    "skills": _skills,
    "attendants_rules": _attendants_rules,
    "priorities": _priorities,
    "maintenance": _maintenance,
    "rounds": _rounds,
    "equalising": _equalising,
    "demand": _demand,
}
