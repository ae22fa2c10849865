"""The event trace against a schedule worked by hand: every event, in order, and how it reads."""

import pytest

from batsim import event_trace
from batsim.views.text.trace_text import trace_text

# fmt: off
EVENTS = [
    [60, "arrive", "T1", "b1"], [60, "exchange_start", "T1", "b3"], [65, "arrive", "T2", "b2"],
    [70, "exchange_end", "T1", "b3"], [70, "charge_start", "b1"], [170, "arrive", "T1", "b3"],
    [220, "charge_end", "b1"], [220, "ready", "b1"], [220, "exchange_start", "T2", "b1"],
    [230, "exchange_end", "T2", "b1"], [230, "charge_start", "b2"], [330, "arrive", "T2", "b1"],
    [380, "charge_end", "b2"], [380, "ready", "b2"], [380, "exchange_start", "T1", "b2"],
    [390, "exchange_end", "T1", "b2"], [390, "charge_start", "b3"], [490, "arrive", "T1", "b2"],
    [540, "charge_end", "b3"], [540, "ready", "b3"], [540, "exchange_start", "T2", "b3"],
    [550, "exchange_end", "T2", "b3"], [550, "charge_start", "b1"], [650, "arrive", "T2", "b3"],
    [700, "charge_end", "b1"], [700, "ready", "b1"], [700, "exchange_start", "T1", "b1"],
    [710, "exchange_end", "T1", "b1"], [710, "charge_start", "b2"],
]
# fmt: on

TEXT = """\
one: week 1 Mon 00:00 to week 1 Mon 12:00 (replication 0, seed 1)

Mon 01:00  truck 1 arrives with battery 1 at 25 %; 1 battery ready
Mon 01:00  exchange of truck 1 begins: battery 3 for battery 1
Mon 01:05  truck 2 arrives with battery 2 at 25 %; no battery ready, 1 truck waiting, waits for: battery
Mon 01:10  exchange of truck 1 is done: it works on with battery 3; battery 1 now at spot 2
Mon 01:10  charge of battery 1 starts
Mon 02:50  truck 1 arrives with battery 3 at 25 %; no battery ready, 2 trucks waiting, waits for: battery
Mon 03:40  charge of battery 1 ends, full
Mon 03:40  battery 1 is ready at spot 2
Mon 03:40  exchange of truck 2 begins after 155 min of waiting: battery 1 from spot 2 for battery 2; 1 truck still waiting
Mon 03:50  exchange of truck 2 is done: it works on with battery 1; battery 2 now at spot 1
Mon 03:50  charge of battery 2 starts
Mon 05:30  truck 2 arrives with battery 1 at 25 %; no battery ready, 2 trucks waiting, waits for: battery
Mon 06:20  charge of battery 2 ends, full
Mon 06:20  battery 2 is ready at spot 1
Mon 06:20  exchange of truck 1 begins after 210 min of waiting: battery 2 from spot 1 for battery 3; 1 truck still waiting
Mon 06:30  exchange of truck 1 is done: it works on with battery 2; battery 3 now at spot 2
Mon 06:30  charge of battery 3 starts
Mon 08:10  truck 1 arrives with battery 2 at 25 %; no battery ready, 2 trucks waiting, waits for: battery
Mon 09:00  charge of battery 3 ends, full
Mon 09:00  battery 3 is ready at spot 2
Mon 09:00  exchange of truck 2 begins after 210 min of waiting: battery 3 from spot 2 for battery 1; 1 truck still waiting
Mon 09:10  exchange of truck 2 is done: it works on with battery 3; battery 1 now at spot 1
Mon 09:10  charge of battery 1 starts
Mon 10:50  truck 2 arrives with battery 3 at 25 %; no battery ready, 2 trucks waiting, waits for: battery
Mon 11:40  charge of battery 1 ends, full
Mon 11:40  battery 1 is ready at spot 1
Mon 11:40  exchange of truck 1 begins after 210 min of waiting: battery 1 from spot 1 for battery 2; 1 truck still waiting
Mon 11:50  exchange of truck 1 is done: it works on with battery 1; battery 2 now at spot 2
Mon 11:50  charge of battery 2 starts"""  # noqa: E501 - as it is told


def _told(event):
    """Tell an event as the hand solution does: time, word, truck where there is one, battery."""
    truck = [f"T{event.truck + 1}"] if event.truck >= 0 else []
    return [event.time_min, event.event, *truck, f"b{event.battery + 1}"]


@pytest.mark.worked_out(where="two trucks, one station, three batteries, minute by minute")
def test_every_event_in_order(case, record):
    """Nothing but these events happens, so the trace is the hand solution."""
    assert [_told(event) for event in event_trace(record(case("two_trucks_three_batteries")), 0.0, 720.0)] == EVENTS


@pytest.mark.worked_out(where="waits 155, 210, 210, 210 min; one truck stays in line")
def test_the_trace_reads_like_the_hand_solution(case, record):
    assert trace_text(record(case("two_trucks_three_batteries")), 0.0, 720.0) == TEXT
