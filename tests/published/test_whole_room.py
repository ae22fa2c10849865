"""People, priorities, shift changes and charging in bay against exact steady states and clock arithmetic."""

from itertools import product
from math import comb

import numpy as np
import pytest

from batsim.measures.room_course import room_course
from batsim.record.words import TURNED_AWAY
from tests.runs import record_of

ENGSET = "Engset, T. (1918) Elektrotechnische Zeitschrift 39, 304-306, loss formula (from memory)"
COBHAM = "balance of the Markov chain (trucks of each group away, who is served), solved numerically"
EICK = (
    "Eick, S., Massey, W. & Whitt, W. (1993) The physics of the Mt/G/infinity queue, Operations Research 41 "
    "(from memory)"
)

# Charging in bay: few chargers, trucks that find none go on


@pytest.mark.published(
    source=ENGSET, where="N trucks, c chargers: p(j) ~ comb(N, j) (h / run)^j, j <= c, any charge law"
)
@pytest.mark.parametrize("charge", [{"mean": "2 h", "law": "exponential"}, pytest.param("2 h", marks=pytest.mark.slow)])
def test_charging_in_bay_loses_as_engset_says(case, agree, charge):
    """12 trucks with 5 h of work to a charge of 2 h at 4 chargers: the law of the charge does not matter."""
    trucks, chargers, ratio, run_h, weeks = 12, 4, 2.0 / 5.0, 5.0, 12
    weights = [comb(trucks, busy) * ratio**busy for busy in range(chargers + 1)]
    shares = [weight / sum(weights) for weight in weights]
    asked = [(trucks - number) * share for number, share in enumerate(shares)]
    scenario = case("engset", {"batteries.plain.charge_time": charge})
    made = []
    for replication in range(40):
        record = record_of(
            scenario, "one", seed=8, replication=replication, length_min=weeks * 10080.0, warm_up_min=10080.0
        )
        visits = record.columns("exchanges")
        inside = visits["joined_min"] >= record.facts.warm_up_min
        made.append((np.mean(visits["kind"][inside] == TURNED_AWAY), inside.sum()))

    values = np.array(made)
    rows = [
        ("turned away_share", asked[-1] / sum(asked), values[:, 0]),
        ("asking per hour", sum(asked) / run_h, values[:, 1] / (weeks * 168.0)),
    ]
    agree("Engset, 12 trucks, 4 chargers", rows)


# Priorities in line


def _priority_chain(counts, away_rates, service_rate):
    """Steady state of a finite-source queue with one server and non-preemptive priorities for two classes.

    Returns for each class its throughput and mean number waiting. States: trucks of each class at the station, and
    the class served (0 for nobody).
    """
    states = [
        (first, second, served)
        for first, second, served in product(range(counts[0] + 1), range(counts[1] + 1), (0, 1, 2))
        if (served == 0) == (first + second == 0) and (served != 1 or first) and (served != 2 or second)
    ]
    index = {state: number for number, state in enumerate(states)}
    rates = np.zeros((len(states), len(states)))

    def add(state, after, rate):
        rates[index[state], index[after]] += rate
        rates[index[state], index[state]] -= rate

    for state in states:
        first, second, served = state
        if first < counts[0]:
            add(state, (first + 1, second, served or 1), (counts[0] - first) * away_rates[0])
        if second < counts[1]:
            add(state, (first, second + 1, served or 2), (counts[1] - second) * away_rates[1])
        if served:
            left = (first - (served == 1), second - (served == 2))
            add(state, (*left, 1 if left[0] else 2 if left[1] else 0), service_rate)
    system = np.vstack([rates.T, np.ones(len(states))])
    shares, *_ = np.linalg.lstsq(system, np.append(np.zeros(len(states)), 1.0), rcond=None)
    found = []
    for kind in (0, 1):
        rate = sum((counts[kind] - s[kind]) * away_rates[kind] * p for s, p in zip(states, shares, strict=True))
        waiting = sum((s[kind] - (s[2] == kind + 1)) * p for s, p in zip(states, shares, strict=True))
        found.append((rate, waiting))
    return found


def _mean_times(visits, start, end):
    """How far the realised mean exchange and run times of both groups were off, in proportion: zero in the mean."""
    joined, free = visits["joined_min"], np.nan_to_num(visits["truck_free_min"], nan=end)
    done = (visits["start_min"] >= start) & (free < end)
    off = [np.mean((free - visits["start_min"])[done]) / 20.0 - 1.0]
    for group, (trucks, run_min) in enumerate([(4, 120.0), (5, 150.0)]):
        mine = visits["group"] == group
        down_min = np.sum(np.clip(free, start, end)[mine] - np.clip(joined, start, end)[mine])
        runs = (trucks * (end - start) - down_min) / run_min
        off.append(np.sum(mine & (joined >= start) & (joined < end)) / runs - 1.0)
    return off


@pytest.mark.worked_out(where=COBHAM)
def test_priorities_in_line(case, agree):
    """Four trucks that go first and five that go after them, at one station; each waits as the chain says."""
    exact = _priority_chain((4, 5), (1.0 / 120.0, 1.0 / 150.0), 1.0 / 20.0)
    scenario, weeks, made, controls = case("priority"), 7, [], []
    for replication in range(40):
        record = record_of(
            scenario, "one", seed=16, replication=replication, length_min=weeks * 10080.0, warm_up_min=4320.0
        )
        visits = record.columns("exchanges")
        inside = visits["start_min"] >= record.facts.warm_up_min
        waits = visits["start_min"] - visits["joined_min"]
        for group in (0, 1):
            mine = inside & (visits["group"] == group)
            made.append((np.sum(mine) / (weeks * 10080.0), np.mean(waits[mine])))
        controls.append(_mean_times(visits, record.facts.warm_up_min, record.facts.horizon_min))

    values = np.array(made).reshape(40, 2, 2)
    rows = [
        (f"{what} of group {group + 1}", value, values[:, group, position])
        for group, (rate, waiting) in enumerate(exact)
        for position, (what, value) in enumerate([("exchanges a minute", rate), ("wait", waiting / rate)])
    ]
    assert exact[0][1] / exact[0][0] < 0.6 * exact[1][1] / exact[1][0]  # who goes first waits much less
    agree("two priorities at one station", rows, list(np.array(controls).T))


# The room over a day


@pytest.mark.published(source=EICK, where="mean on charge m(t) = integral of the arrival rate over the last 8 h")
@pytest.mark.parametrize(
    ("weeks", "exact"),
    [
        (8.5, {6: 0.0, 12: 18.0, 14: 24.0, 16: 22.0, 18: 20.0, 22: 16.0}),
        # Hours with few batteries on charge need long runs for a narrow interval.
        pytest.param(32, {6: 0.0, 8: 6.0, 10: 12.0, 14: 24.0, 22: 16.0, 24: 12.0, 28: 4.0}, marks=pytest.mark.slow),
    ],
    ids=["busy hours", "all day"],
)
def test_batteries_on_charge_over_the_day(case, agree, weeks, exact):
    """3 an hour from 06:00 to 14:00, 2 an hour to 22:00: from none at 06:00 to 24 at 14:00 and down again."""
    times = list(exact)
    scenario, found = case("profile"), []
    for replication in range(40):
        record = record_of(
            scenario, "one", seed=19, replication=replication, length_min=weeks * 10080.0, warm_up_min=10080.0
        )
        start, end = record.facts.warm_up_min, record.facts.horizon_min
        course = room_course(record, start, end)
        on_charge = course.batteries["on charge"]
        days = start + 1440.0 * np.arange(weeks * 7 - 2)
        # Just before the hour: at the hour itself the first charges of the day before end.
        at = np.searchsorted(course.time_min, days[:, None] + 60.0 * np.array(times) - 1e-6, side="right") - 1
        found.append(np.mean(on_charge[at], axis=0))

    values = np.array(found)
    assert np.all(values[:, 0] == 0.0)
    rows = [(f"on charge at {hour}:00", mean, values[:, n]) for n, (hour, mean) in enumerate(exact.items())]
    agree("batteries on charge over the day", rows[1:])


# Shift changes


@pytest.mark.worked_out(where="N trucks at once, c stations, constant s: k-th waits s floor((k-1)/c)")
@pytest.mark.parametrize("stations", [1, 2])
def test_burst_at_a_shift_change(case, record, stations):
    """Twenty trucks leave at the end of their shift, though their batteries would last for weeks."""
    made = record(case("shift_change", {"layouts.one.stations": stations})).frame("exchanges")

    waits = made["start_min"] - made["joined_min"]
    assert set(made["joined_min"]) == {720.0}
    assert set(made["reason"]) == {"shift change"}
    assert sorted(waits) == [12.0 * (number // stations) for number in range(20)]


@pytest.mark.worked_out(where="arrivals evenly spaced at s / c or more give zero wait (D/D/c)")
@pytest.mark.parametrize(("spread", "stations"), [("240 min", 1), ("120 min", 2), ("120 min", 1), ("30 min", 1)])
def test_staggering_takes_the_burst_away(case, record, spread, stations):
    """Spread evenly over N s / c minutes nobody waits; over less, the k-th waits k (s - gap), as in D/D/1."""
    changes = {"layouts.one.stations": stations, "trucks[0].exchange_when.spread": spread}
    made = record(case("shift_change", changes)).frame("exchanges")

    minutes = float(spread.split()[0])
    assert sorted(made["left_min"]) == pytest.approx([720.0 - minutes * n / 20 for n in range(19, -1, -1)])
    waits = made["start_min"] - made["joined_min"]
    assert waits.mean() == pytest.approx(max(0.0, 9.5 * (12.0 / stations - minutes / 20)))
