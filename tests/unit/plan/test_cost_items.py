"""Items of the yearly cost: each line is in one of them, and they add up to the cost at equal work."""

import pytest

from batsim.plan.cost_items import INPUTS, cost_items
from batsim.plan.money import YearlyCost, YearlyCostLine
from batsim.study.prices import NOTHING, Price


def cost(**lines):
    """A cost of so much for each input, of 1,000 scheduled hours of which 200 are lost."""
    known = [
        YearlyCostLine(name, Price(amount, 0.5 * amount, 2.0 * amount, placeholder=False), "", input=name)
        for name, amount in lines.items()
    ]
    return YearlyCost("EUR", tuple(known), NOTHING, 100.0, 1000.0, 200.0, NOTHING)


def test_lines_are_put_together_at_equal_work():
    """1,000 hours over 800 that are worked: a quarter more of everything, ranges too."""
    items = cost_items(cost(**{"battery lead 48 V": 100.0, "rent of batteries": 20.0, "floor": 8.0, "room": 4.0}))

    assert items["batteries"] == Price(150.0, 75.0, 300.0, placeholder=False)
    assert items["devices and room"].value == 15.0
    assert items["chargers"] == NOTHING
    assert list(items) == list(INPUTS)


def test_items_add_up():
    """To the cost by which layouts are compared."""
    whole = cost(**{name: 10.0 * number for number, names in enumerate(INPUTS.values(), 1) for name in names})

    assert sum(item.value for item in cost_items(whole).values()) == pytest.approx(whole.at_equal_work.value)
