"""What a year of a layout costs at equal work, put together into the few items that layouts differ in."""

from batsim.plan.money import YearlyCost, YearlyCostLine
from batsim.study.prices import NOTHING, Price

INPUTS = {
    "batteries": ("battery", "rent of batteries"),
    "chargers": ("charger", "rent of chargers"),
    "devices and room": ("device", "room", "floor"),
    "attendants": ("attendant",),
    "drivers": ("driver",),
    "trucks standing": ("truck",),
    "energy and demand": ("energy", "demand"),
    "water": ("water", "watering"),
}
"""Items, each with the inputs of its lines; see `YearlyCostLine`."""
_ITEMS = {name: item for item, names in INPUTS.items() for name in names}


def cost_items(cost: YearlyCost) -> dict[str, Price]:
    """What each item costs in a year at equal work.

    Parameters
    ----------
    cost
        What a layout costs: `LayoutPlan.money`.

    Returns
    -------
    dict
        By item, in a fixed order; they add up to `YearlyCost.at_equal_work`. Batteries are paid as they wear out,
        drivers also for what they do beside the time that trucks stand. [currency/year]
    """
    items = dict.fromkeys(INPUTS, NOTHING)
    for line in cost.lines:
        item = _item_of(line)
        items[item] = items[item].plus(line.per_year.times(cost.equal_work_factor))
    return items


def _item_of(line: YearlyCostLine) -> str:
    """Item of a line; a battery's input goes on with the name of its type."""
    return _ITEMS.get(line.input) or _ITEMS[line.input.partition(" ")[0]]
