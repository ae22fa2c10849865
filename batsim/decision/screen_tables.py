"""Tables by count and wait, and where in them the wait that follows from a demand brings this demand about."""

from typing import Any

import numpy as np

Floats = np.ndarray[Any, np.dtype[np.float64]]
Whole = np.ndarray[Any, np.dtype[np.intp]]
Table = tuple[Floats, Whole]
"""By row and wait; and the row of each cell."""

MOST_VALUES = 64
"""Counts of one thing that are told apart; of more, each stands for the next greater one that is."""


def told_apart(counts: Floats) -> tuple[Floats, Whole]:
    """Counts that are told apart, rising, and which of them stands for each; a greater one where there are many."""
    values = np.unique(counts)
    if values.size > MOST_VALUES:
        values = values[np.linspace(0, values.size - 1, MOST_VALUES).round().astype(int)]
    return values, np.searchsorted(values, counts)


def meet(waits: Floats, at_stock: Table, at_servers: list[Table]) -> tuple[Whole, Floats]:
    """Where the wait that follows from the demand is the wait that brings this demand about.

    The first falls as the second rises, so they meet once: in the interval at a bay, after a part of it.
    """

    def beyond(bay: Whole) -> Floats:
        servers = np.max([table[rows, bay] for table, rows in at_servers], axis=0)
        return np.asarray(at_stock[0][at_stock[1], bay] + servers - waits[bay])

    low, high = np.zeros_like(at_stock[1]), np.full_like(at_stock[1], waits.size - 1)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        above = beyond(middle) >= 0.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    more, less = beyond(low), beyond(high)
    part = np.where(less >= 0.0, 1.0, more / np.where(less >= 0.0, 1.0, more - less))
    return low, part


def between(table: Table, bay: Whole, part: Floats) -> Floats:
    """Value of each cell between two waits."""
    values, rows = table
    found: Floats = values[rows, bay] * (1.0 - part) + values[rows, bay + 1] * part
    return found
