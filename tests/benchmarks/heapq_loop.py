"""The room of `textbook` as a bare event loop: what four events an exchange cost without a kernel or processes."""

import random
from collections import deque
from heapq import heapify, heappop, heappush

from tests.benchmarks.textbook import (
    BATTERIES,
    CHARGERS,
    COOL_MIN,
    EXCHANGE_CV,
    EXCHANGE_MIN,
    RUN_CV,
    RUN_MIN,
    STATIONS,
    TRUCKS,
    YEAR_MIN,
    Outcome,
)

ASKS, EXCHANGED, CHARGED, COOLED = range(4)


def simulate(seed: int, length_min: float = YEAR_MIN) -> Outcome:
    """Run the loop for a time and return its totals."""
    source = random.Random(seed)
    draw, first = source.gammavariate, source.random
    run_shape, run_scale = 1.0 / RUN_CV**2, RUN_MIN * RUN_CV**2
    shape, scale = 1.0 / EXCHANGE_CV**2, EXCHANGE_MIN * EXCHANGE_CV**2
    events = [(draw(run_shape, run_scale) * first(), truck, ASKS, RUN_MIN) for truck in range(TRUCKS)]
    heapify(events)
    stations, chargers, ready, number = STATIONS, CHARGERS, BATTERIES - TRUCKS, TRUCKS
    trucks: deque[tuple[float, float]] = deque()
    batteries: deque[float] = deque()
    exchanges, waited_min = 0, 0.0
    while events[0][0] < length_min:
        now, _, kind, minutes = heappop(events)
        number += 1
        if kind == ASKS:
            trucks.append((now, minutes))
        elif kind == EXCHANGED:
            exchanges += 1
            stations += 1
            batteries.append(60.0 + 0.8 * minutes)
            run_min = draw(run_shape, run_scale)
            heappush(events, (now + run_min, number, ASKS, run_min))
        elif kind == CHARGED:
            chargers += 1
            heappush(events, (now + COOL_MIN, number, COOLED, 0.0))
        else:
            ready += 1
        if trucks and stations and ready:
            asked_min, minutes = trucks.popleft()
            waited_min += now - asked_min
            stations, ready = stations - 1, ready - 1
            heappush(events, (now + draw(shape, scale), -number, EXCHANGED, minutes))
        if batteries and chargers:
            chargers -= 1
            heappush(events, (now + batteries.popleft(), -number, CHARGED, 0.0))
    return Outcome(exchanges, waited_min / exchanges)
