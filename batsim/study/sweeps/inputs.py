"""Inputs of a study in words: what an input is called, and its two ends."""

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from batsim.display import words
from batsim.scenario.factors import Factor
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import EVERY, KEY
from batsim.scenario.unknowns import FIGURES_KEY

with Path(__file__).with_name("inputs.csv").open(newline="", encoding="utf-8") as _lines:
    WORDS = {(row["section"], row["keys"]): row["words"] for row in csv.DictReader(_lines)}
"""What is meant by the keys behind a truck group, a battery type or a layout; any other stands for itself."""
TRUCKS, BATTERIES, CHARGERS, LAYOUTS, AREAS = "trucks", "batteries", "chargers", "layouts", "areas"
NAMED = {TRUCKS: "{}", BATTERIES: "battery '{}'", CHARGERS: "charger '{}'", LAYOUTS: "{}"}
"""How a part of each section is called whose parts have names."""


class Input(NamedTuple):
    """An input of a study."""

    words: str
    """What it is, such as `docks: way to the room`."""
    low: str
    """Its low end, such as `100 m`."""
    high: str


def inputs_of(scenario: Scenario, factors: Iterable[Factor], layout: str) -> dict[str, Input]:
    """Inputs by their paths, in words for who looks at a layout."""
    return {
        factor.path: Input(path_in_words(scenario, factor.path, layout), _shown(factor.low), _shown(factor.high))
        for factor in factors
    }


def _shown(value: object) -> str:
    """A value as YAML holds it, for people: names and kinds without underscores."""
    return words(str(value))


def path_in_words(scenario: Scenario, path: str, layout: str) -> str:
    """Say what stands at a path of a scenario.

    Parameters
    ----------
    scenario
        Names the truck groups.
    path
        Such as `trucks[0].to_room.distance`.
    layout
        Layout that is looked at; its own inputs need not name it.

    Returns
    -------
    str
        Such as `docks: way to the room`.
    """
    section, *keys = ["".join(found) for found in KEY.findall(path)]
    if section == FIGURES_KEY:
        return ", ".join(part.replace("_", " ") for key in keys for part in key.split("."))
    subject = ""
    if section in NAMED and len(keys) > 1:
        subject, keys = _subject(scenario, section, keys[0], layout), keys[1:]
    if section == LAYOUTS and len(keys) > 2 and keys[0] == AREAS:
        subject, keys = ", ".join(filter(None, (subject, keys[1]))), keys[2:]
    thing = WORDS.get((section, ".".join(keys))) or " ".join(keys).replace("_", " ") or section
    return f"{subject}: {thing}" if subject else thing


def _subject(scenario: Scenario, section: str, name: str, layout: str) -> str:
    """Truck group, type or layout that a path lies in; nothing for the layout that is looked at."""
    if name == EVERY:
        return f"all {section}"
    if section == LAYOUTS and name == layout:
        return ""
    if section == TRUCKS and name.isdigit() and int(name) < len(scenario.trucks):
        return scenario.trucks[int(name)].group
    return NAMED[section].format(name)
