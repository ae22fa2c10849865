"""Random sites of one to three areas, each of them a random room: people, power and starts of charges are shared."""

import json
from typing import Any

import yaml
from hypothesis import strategies as st

from tests.behaviour.strategies import Room
from tests.behaviour.strategies_full import full_rooms, keep_enough

NAMES = ("north", "south", "plugged in")


@st.composite
def sites(draw: st.DrawFn) -> Room:
    """One random site: areas with attendants of their own, shared ones or both; a power limit or staggered starts."""
    first = draw(full_rooms())
    site = yaml.safe_load(first.text)
    shifts = site["week"]["shifts"]
    others = [draw(full_rooms(shifts=shifts)) for _ in range(draw(st.integers(0, 2)))]
    parts = [site, *(_of_one_stock(yaml.safe_load(room.text)) for room in others)]
    merged = {key: site[key] for key in ("site", "week", "chargers", "rules", "demand") if key in site}
    merged |= {"trucks": [], "batteries": {}, "handling": {}}
    areas = {}
    for name, part in zip(NAMES, parts, strict=False):
        if part is not site:
            part["demand"] = site.get("demand", {})
            keep_enough(part)
        areas[name] = _area(draw, merged, part, name)
    layout: dict[str, Any] = {"areas": areas}
    if draw(st.booleans()):
        _share_people(draw, layout, list(shifts))
    merged["layouts"] = {"room": layout}
    timed = any("charge_time" in battery for battery in merged["batteries"].values())
    limit = {} if timed else {"power_limit": draw(st.sampled_from(["30 kW", "60 kW"]))}
    merged["charging"] = draw(st.sampled_from([{}, limit, {"stagger": "7 min"}]))
    for group in merged["trucks"]:
        if "charge_time" in merged["batteries"][group["battery"]]:
            group["temperature"] = "22 degC"
    text = yaml.safe_dump(json.loads(json.dumps(merged)), sort_keys=False, width=200, default_flow_style=None)
    return first._replace(text=text, length_h=min(first.length_h, 180))


def _of_one_stock(room: dict[str, Any]) -> dict[str, Any]:
    """Take the lots out of a room, so that its batteries are counted in one number; in the truck one each."""
    layout = room["layouts"]["room"]
    counts = layout.get("batteries", {})
    for battery, count in counts.items():
        if isinstance(count, list):
            counts[battery] = sum(int(lot.partition(" x ")[0]) for lot in count)
            del room["batteries"][battery]["lots"]
    if layout["handling"] == "in_truck":
        layout.pop("batteries", None)
    return room


def _area(draw: st.DrawFn, merged: dict[str, Any], part: dict[str, Any], name: str) -> dict[str, Any]:
    """Make an area of a room, and add its trucks, battery types and arrangements to the site under names of their own.

    A battery type may be that of an area before it.
    """
    area = part["layouts"]["room"]
    types = {}
    for battery, stated in part["batteries"].items():
        shared = battery in merged["batteries"] and "lots" not in merged["batteries"][battery]
        shared &= area["handling"] != "in_truck"  # where what pulls out a battery to water it may be stated
        shared &= not any(group.get("own_batteries") for group in (*part["trucks"], *merged["trucks"]))
        types[battery] = battery if not merged["trucks"] or (shared and draw(st.booleans())) else f"{battery} {name}"
        merged["batteries"].setdefault(types[battery], stated)
    for group in part["trucks"]:
        merged["trucks"].append({**group, "group": f"{group['group']} {name}", "battery": types[group["battery"]]})
    if "batteries" in area:
        area["batteries"] = {types[battery]: count for battery, count in area["batteries"].items()}
    if area["handling"] in part.get("handling", {}):
        own = f"{area['handling']} {name}"
        merged["handling"][own] = part["handling"][area["handling"]]
        area["handling"] = own
    return {"for": [f"{group['group']} {name}" for group in part["trucks"]], **area}


def _share_people(draw: st.DrawFn, layout: dict[str, Any], shifts: list[str]) -> None:
    """Let attendants work in all areas, beside those of an area or instead of them."""
    layout["attendants"] = dict.fromkeys(shifts, draw(st.integers(2, 3)))
    for area in layout["areas"].values():
        if not isinstance(area.get("attendants"), dict) or draw(st.booleans()):
            area.pop("attendants", None)
