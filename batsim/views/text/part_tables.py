"""Tables of areas, truck groups and battery types beside the site."""

from typing import NamedTuple

from batsim.measures import WITHIN_TARGET
from batsim.study.running.runs import DOWNTIME, Runs
from batsim.views.text.lines import columns, sentence
from batsim.views.text.numbers import (
    value_text,
)


class PartTable(NamedTuple):
    """A table of parts of a layout that states areas."""

    title: str
    kinds: dict[str, str]
    """Kinds of part that it tells of, each with the word before its name."""
    numbers: tuple[tuple[str, str, str], ...]
    """Measures, heads and units."""


PART_TABLES = (
    PartTable(
        "Areas and truck groups",
        {"areas": "area", "groups": "group"},
        (
            (DOWNTIME, "downtime", "min/shift"),
            ("wait_min_per_exchange", "wait", "min"),
            ("wait_min_p95", "95th percentile", "min"),
            (WITHIN_TARGET.name, "in time", "of waits"),
            ("exchanges_per_day", "exchanges or charges", "a day"),
            ("energy_drawn_kwh_per_day", "energy drawn", "kWh a day"),
        ),
    ),
    PartTable(
        "Areas and battery types",
        {"areas": "area", "battery_types": "battery"},
        (
            ("batteries", "batteries", ""),
            ("batteries_per_truck", "per truck", ""),
            ("ready_batteries_min", "fewest ready", "at any time"),
            ("energy_charged_kwh_per_day", "energy charged", "kWh a day"),
            ("life_years", "cycle life", "years"),
        ),
    ),
)
"""What tells the parts of a site apart."""


def part_tables(runs: Runs) -> list[tuple[str, list[list[str]]]]:
    """Numbers of the site and of its parts in each layout that states areas: titles, and rows under two of heads."""
    tables = []
    for layout in runs.layouts:
        parts = runs.parts_of(layout)
        for title, kinds, numbers in PART_TABLES if parts["areas"] else ():
            named = {"site": runs}
            named |= {f"{word} {name}": part for kind, word in kinds.items() for name, part in parts[kind].items()}
            shown = [each for each in numbers if any(each[0] in part.values[layout] for part in named.values())]
            rows = [["", *(head for _, head, _ in shown)], ["", *(unit for _, _, unit in shown)]]
            for name, part in named.items():
                taken = part.values[layout]
                rows.append([name, *(value_text(part, layout, each) if each in taken else "" for each, _, _ in shown)])
            tables.append((f"{title} of layout '{layout}'", rows))
    return tables


def parts_text(runs: Runs, width: int) -> list[str]:
    """Lines on the parts of each layout that states areas."""
    lines: list[str] = []
    for title, rows in part_tables(runs):
        lines += ["", sentence(f"{title}:", width), "", *columns(rows, width, heads=2)]
    return lines
