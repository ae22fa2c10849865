"""What is expected of cells before they are simulated: the closed form, set right by what was found around them."""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr

from batsim.decision.answer import DECIDING, Tested
from batsim.decision.counts import ATTENDANTS, BATTERIES, CHARGERS, STATIONS, Grid
from batsim.decision.screen import Cells, screen
from batsim.study.limits import Limit

if TYPE_CHECKING:
    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
    Indices = np.ndarray[tuple[int], np.dtype[np.int64]]
    Ints = np.ndarray[tuple[int, int], np.dtype[np.int64]]
    Table = np.ndarray[tuple[int, int], np.dtype[np.float64]]

LOG_SPREAD, LOG_NOISE = 1.0, 0.05
"""Standard deviation of what the closed form gets wrong, and of what simulation does, in the log of `log_ratio`."""
MOST_RATIO = 10.0
"""Measure over what is allowed beyond which it does not matter by how much, and its inverse."""
REACH_SHARE = 0.3
"""Part of the range of a count over which what the closed form gets wrong is alike."""


class Predicted(NamedTuple):
    """What the closed form says of cells."""

    downtime: "Floats"
    """[min per truck-shift]"""
    none_ready: "Floats"
    """Share of trucks that find none ready. [-]"""


def predicted(grid: Grid) -> Predicted:
    """Predict all cells of a grid."""
    size = len(grid.cells)
    plan, kinds = grid.plan, [each.kind for each in grid.dimensions]

    def column(kind: str, stated: float) -> "Floats":
        """Counts of a kind, added up over its types."""
        found = [grid.cells[:, number] for number, each in enumerate(kinds) if each == kind]
        fixed = stated - sum(each.stated for each in grid.dimensions if each.kind == kind)
        return np.asarray(np.sum(found, axis=0) + fixed if found else np.full(size, stated), dtype=float)

    held = min(plan.devices.values(), default=np.inf)
    devices = [grid.cells[:, number] for number, each in enumerate(kinds) if each == "device"]
    by_shift = grid.scenario.layouts[grid.layout].attendants
    on_duty = float(max(by_shift.values(), default=0)) if isinstance(by_shift, dict) else np.inf
    attendants = [grid.cells[:, number] for number, each in enumerate(kinds) if each == ATTENDANTS]
    found = screen(
        grid.scenario,
        grid.layout,
        Cells(
            stations=column(STATIONS, float(plan.stations)),
            devices=np.asarray(np.min(devices, axis=0) if devices else np.full(size, held), dtype=float),
            attendants=np.asarray(attendants[0] if attendants else np.full(size, on_duty), dtype=float),
            chargers=column(CHARGERS, float(sum(plan.charger_counts))),
            batteries=column(BATTERIES, float(sum(line.batteries for line in plan.queues))),
        ),
    )
    return Predicted(found.downtime_min_per_truck_shift, found.found_none_ready_share)


def chances(
    cells: "Ints", prediction: Predicted, limits: tuple[Limit, ...], seen: dict[int, float], numbers: "Indices"
) -> "Floats":
    """Chance that cells meet the targets.

    What the closed form gets wrong is taken for a Gaussian process over the counts (kriging, as in Sacks, J. et al.
    (1989) Statistical Science 4, 409-423, from memory).

    Parameters
    ----------
    cells, prediction, limits
        All cells, what the closed form says of them, and the targets.
    seen
        `log_ratio` of the cells that were simulated, by their number.
    numbers
        Cells that are asked for.
    """
    guess = _guess(prediction, limits)
    mean, variance = guess[numbers], np.full(len(numbers), LOG_SPREAD**2)
    if seen:
        scale = np.maximum(np.ptp(cells, axis=0), 1) * REACH_SHARE
        before = list(seen)
        known, there = cells[before] / scale, cells[numbers] / scale
        residual = np.array([seen[number] for number in before]) - guess[before]
        between = _likeness(known, known) + np.eye(len(before)) * LOG_NOISE**2
        across = _likeness(there, known)
        weights = np.linalg.solve(between, across.T).T
        mean = mean + weights @ residual
        variance = np.maximum(variance - np.sum(weights * across, axis=1), LOG_NOISE**2)
    return np.asarray(ndtr(-mean / np.sqrt(variance)))


def _guess(prediction: Predicted, limits: tuple[Limit, ...]) -> "Floats":
    """Log of what the closed form expects of a measure over what is allowed, as far as it can tell."""
    guess = np.zeros(len(prediction.downtime))
    for limit in limits:
        if limit.measure == DECIDING and limit.most > 0.0:
            guess = np.log(np.maximum(prediction.downtime, limit.most / MOST_RATIO) / limit.most)
    return np.clip(guess, -np.log(MOST_RATIO), np.log(MOST_RATIO))


def log_ratio(cell: Tested, limits: tuple[Limit, ...]) -> float:
    """Log of the worst measure of a cell over what its target allows: below zero where all are met."""
    if cell.refused:
        return float(np.log(MOST_RATIO))
    ratios = [1.0 / MOST_RATIO]
    for limit in limits:
        mean = float(np.mean(cell.values[limit.measure]))
        allowed, found = (limit.tested, mean) if limit.sign > 0.0 else (1.0 + limit.tested, 1.0 - mean)
        if np.isfinite(found):
            ratios.append(found / allowed if allowed > 0.0 else MOST_RATIO if found > 0.0 else 0.0)
    return float(np.log(min(max(ratios), MOST_RATIO)))


def _likeness(first: "Table", second: "Table") -> "Table":
    """Covariance of what the closed form gets wrong at scaled counts: it falls off as a bell curve."""
    apart = first[:, None, :] - second[None, :, :]
    return np.asarray(LOG_SPREAD**2 * np.exp(-0.5 * np.sum(apart * apart, axis=2)))
