"""Tables for exchange stations, spare pools, shift-change bursts and picking rules, against the simulated room.

Values given as text are as printed in the tables; half a unit of their last digit is allowed for rounding.
"""

import numpy as np
import pytest

import batsim
from tests.runs import record_of

EXPONENTIAL_6_H = {"mean": "6 h", "law": "exponential"}

# Exchange stations, batteries plentiful

STATION_COLUMNS = ("exchanges_per_h", "station_use_share", "wait_min", "down_min", "availability_share")


def _printed(columns, row):
    """Expected values of one row of a table; None leaves out a wait that would need a long run."""
    return {name: value for name, value in zip(columns, row, strict=True) if value is not None}


@pytest.mark.worked_out(where="M/M/c//N: p(n+1) = p(n) (N-n) lam / (min(n+1, c) mu); run mean 6 h")
@pytest.mark.parametrize(
    ("trucks", "exchange_min", "stations", "run_time", "weeks", "row"),
    [
        (10, 12, 1, EXPONENTIAL_6_H, 2.2, ("1.5933", "0.3187", None, "16.572", "0.95599")),
        pytest.param(
            20, 12, 1, EXPONENTIAL_6_H, 15, ("3.0996", "0.6199", "15.150", "27.150", "0.92987"), marks=pytest.mark.slow
        ),
        pytest.param(20, 12, 1, "6 h", 22, ("3.0996", "0.6199", "15.150", "27.150", "0.92987"), marks=pytest.mark.slow),
        pytest.param(
            20, 6.5, 1, EXPONENTIAL_6_H, 5, ("3.2463", "0.3517", None, "9.646", "0.97390"), marks=pytest.mark.slow
        ),
        (20, 2.5, 1, "6 h", 0.8, ("3.3069", "0.1378", None, None, "0.99208")),
        pytest.param(20, 2.5, 1, "6 h", 4, ("3.3069", "0.1378", None, "2.873", "0.99208"), marks=pytest.mark.slow),
        pytest.param(
            40, 12, 2, EXPONENTIAL_6_H, 5, ("6.3390", "0.6339", None, "18.611", "0.95084"), marks=pytest.mark.slow
        ),
    ],
)
def test_stations(case, steady, trucks, exchange_min, stations, run_time, weeks, row):
    """With exponential exchanges the law of the run time does not matter, as in any product-form network."""
    changes = {
        "trucks[0].count": trucks,
        "trucks[0].run_time": run_time,
        "layouts.one.stations": stations,
        "layouts.one.exchange_time.mean": f"{exchange_min} min",
        "simulation.seed": 62 + trucks + 10 * stations,
    }
    title = f"{trucks} trucks, {stations} stations, {exchange_min} min"
    steady(title, case("stations", changes), "one", weeks, _printed(STATION_COLUMNS, row))


# Spare pool and chargers

POOL_COLUMNS = ("availability_share", "exchanges_per_h", "found_one_share", "wait_min", "charger_use_share")
LOOP_COLUMNS = ("exchanges_per_h", "wait_min", "station_use_share", "availability_share")


@pytest.mark.worked_out(
    where="machine repair with spares, k = batteries not ready: up min(N, N+S-k) / 6, down min(k, c) / 10"
)
@pytest.mark.parametrize(
    ("trucks", "spares", "chargers", "weeks", "row"),
    [
        (10, 0, 10, 2.5, ("0.37500", "0.62500", 0.0, "600.0", "0.6250")),
        pytest.param(10, 10, 20, 26, ("0.74272", "1.23787", "0.14305", "124.703", "0.6189"), marks=pytest.mark.slow),
        pytest.param(10, 15, 25, 10, ("0.89085", "1.48476", "0.48050", "44.107", "0.5939"), marks=pytest.mark.slow),
        (10, 20, 16, 1.7, ("0.90464", "1.50773", None, None, "0.9423")),
        pytest.param(10, 20, 16, 6, ("0.90464", "1.50773", "0.64349", None, "0.9423"), marks=pytest.mark.slow),
        pytest.param(20, 36, 40, 4, ("0.96805", "3.22683", "0.74285", None, "0.8067"), marks=pytest.mark.slow),
    ],
)
def test_spare_pool(case, steady, trucks, spares, chargers, weeks, row):
    """Exchange at no time, discharged batteries on charge on arrival; charge with cool-down: mean 10 h."""
    changes = {
        "trucks[0].count": trucks,
        "layouts.one.batteries": trucks + spares,
        "layouts.one.chargers": f"{chargers} x electronic_iuia",
        "simulation.seed": 63 + trucks + spares + chargers,
    }
    title = f"{trucks} trucks, {spares} spares, {chargers} chargers"
    steady(title, case("spare_pool", changes), "one", weeks, _printed(POOL_COLUMNS, row))


@pytest.mark.worked_out(
    where="2-D Markov chain: an exchange needs a station and a ready battery, min(a, stations, S - k) at once"
)
@pytest.mark.parametrize(
    ("trucks", "spares", "stations", "chargers", "exchange_min", "weeks", "row"),
    [
        (12, 12, 1, 12, 10, 1, ("1.16947", "245.663", "0.19491", "0.58474")),
        pytest.param(12, 16, 1, 16, 10, 6, ("1.51297", "105.886", "0.25216", "0.75648"), marks=pytest.mark.slow),
        pytest.param(12, 20, 1, 18, 10, 20, ("1.69565", "54.617", "0.28261", "0.84782"), marks=pytest.mark.slow),
        pytest.param(20, 36, 2, 36, 10, 4, ("3.11627", None, "0.25969", "0.93488"), marks=pytest.mark.slow),
    ],
)
def test_spare_pool_and_station(case, steady, trucks, spares, stations, chargers, exchange_min, weeks, row):
    """The discharged battery leaves the truck with the exchange and goes on charge when that ends."""
    changes = {
        "trucks[0].count": trucks,
        "layouts.one.batteries": trucks + spares,
        "layouts.one.stations": stations,
        "layouts.one.chargers": f"{chargers} x electronic_iuia",
        "layouts.one.exchange_time.mean": f"{exchange_min} min",
        "simulation.seed": 64 + trucks + spares + chargers,
    }
    title = f"{trucks} trucks, {spares} spares, {stations} stations, {chargers} chargers, {exchange_min} min"
    steady(title, case("spare_pool_station", changes), "one", weeks, _printed(LOOP_COLUMNS, row))


# Shift-change bursts


@pytest.mark.worked_out(where="N trucks at once, c stations, constant s: k-th waits s floor((k-1)/c)")
@pytest.mark.parametrize(
    ("trucks", "stations", "exchange_min", "mean_min", "longest_min", "cleared_min", "lost_h"),
    [
        (20, 1, 12, 114.0, 228.0, 240.0, 42.0),
        (20, 2, 12, 54.0, 108.0, 120.0, 22.0),
        (20, 1, 4, 38.0, 76.0, 80.0, 14.0),
        (20, 2, 4, 18.0, 36.0, 40.0, 440.0 / 60.0),
        (20, 1, 2.5, 23.75, 47.5, 50.0, 8.75),
        (20, 1, 6.5, 61.75, 123.5, 130.0, 22.75),
        (40, 2, 2.5, 23.75, 47.5, 50.0, 17.5),
    ],
)
def test_burst(case, record, trucks, stations, exchange_min, mean_min, longest_min, cleared_min, lost_h):
    """All trucks come at once; exact, in the record and in the measures."""
    scenario = case(
        "burst",
        {
            "trucks[0].count": trucks,
            "layouts.one.stations": stations,
            "layouts.one.exchange_time": f"{exchange_min} min",
        },
    )

    exchanges = record(scenario).frame("exchanges")

    waits = exchanges["start_min"] - exchanges["joined_min"]
    assert sorted(waits) == [exchange_min * (number // stations) for number in range(trucks)]
    assert waits.max() == longest_min
    assert exchanges["truck_free_min"].max() - 60.0 == cleared_min
    values = batsim.run(scenario, batsim.Settings(workers=1)).values["one"]
    assert values["wait_min_per_exchange"][0] == mean_min
    lost_min = (1.0 - values["availability_share"][0]) * trucks * 1440.0
    assert lost_min == pytest.approx(60.0 * lost_h, rel=1e-9)


@pytest.mark.worked_out(where="arrivals evenly spaced at run / N >= s / c give zero wait (D/D/c)")
@pytest.mark.parametrize(("gap", "waited_share"), [("12 min", 0.0), ("11 min", 19.0 / 20.0)])
def test_no_queue_when_staggered(case, gap, waited_share):
    """20 trucks with 12 min each: none waits at 12 min apart, all but the first at 11 min."""
    scenario = case("burst", {"trucks[0].first_run": {"first": "1 h", "every": gap}})

    assert batsim.run(scenario, batsim.Settings(workers=1)).values["one"]["waited_share"][0] == waited_share


# Which ready battery is taken


def _erlang_loss(bays, demand):
    """Share of Poisson demands lost with so many bays (Erlang B)."""
    loss = 1.0
    for number in range(1, bays + 1):
        loss = demand * loss / (number + demand * loss)
    return loss


def _bay_loads(record):
    """Share of the measured time in which the battery in each bay is on charge."""
    charges, start, end = record.columns("charges"), record.facts.warm_up_min, record.facts.horizon_min
    minutes = np.clip(charges["end_min"], start, end) - np.clip(charges["start_min"], start, end)
    return np.bincount(charges["bay"].astype(int), weights=minutes) / (end - start)


def _demands(record):
    """Trucks that came in the measured time, whether they found a battery or not."""
    joined = record.columns("exchanges")["joined_min"]
    return np.sum((joined >= record.facts.warm_up_min) & (joined < record.facts.horizon_min))


def _loss(record):
    """Share of them that found none."""
    exchanges = record.columns("exchanges")
    measured = exchanges["joined_min"] >= record.facts.warm_up_min
    return np.mean(exchanges["ready_found"][measured] == 0)


def _replications(scenario, layout, replications, weeks):
    for replication in range(replications):
        yield record_of(
            scenario,
            layout,
            seed=scenario.simulation.seed,
            replication=replication,
            length_min=weeks * 10080.0,
            warm_up_min=scenario.simulation.warm_up_min,
        )


@pytest.mark.worked_out(
    where="Poisson demand a = 20, lost when none of 26 is ready: load on bay j = a (B(j-1, a) - B(j, a))"
)
@pytest.mark.slow
def test_nearest_first_wears_out_the_front_bays(case, agree):
    """Demands 2 an hour, charge 10 h; the first bay works 95 % of the time and the last 26 %."""
    scenario, weeks = case("picking"), 76
    made = [
        (_bay_loads(record), _demands(record), _loss(record))
        for record in _replications(scenario, "nearest", 40, weeks)
    ]
    loads = np.array([each[0] for each in made])
    demands = np.array([each[1] for each in made]) / (2.0 * 168.0 * weeks)
    exact = [20.0 * (_erlang_loss(bay, 20.0) - _erlang_loss(bay + 1, 20.0)) for bay in range(26)]

    assert (round(exact[0], 4), round(exact[25], 4)) == (0.9524, 0.2605)
    assert loads.shape == (40, 26)
    rows = [("loss_share", "0.0372", np.array([each[2] for each in made])), ("mean demand, 1 is stated", 1.0, demands)]
    rows += [(f"load {bay + 1}_share", exact[bay], loads[:, bay]) for bay in range(26)]
    agree("nearest first, a = 20, 26 bays", rows, [demands - 1.0])


@pytest.mark.worked_out(where="longest rested first: load a (1 - B(26, a)) / 26 = 0.7406 on every bay")
def test_longest_rested_first_wears_all_bays_alike(case, agree):
    """The same demands are lost as under nearest first, and all bays work 74 % of the time."""
    scenario, weeks = case("picking"), 10
    made = list(_replications(scenario, "longest rested", 20, weeks))
    loads = np.array([_bay_loads(record) for record in made])

    rows = [(f"load {bay + 1}_share", "0.7406", loads[:, bay]) for bay in range(26)]
    agree("longest rested first, a = 20, 26 bays", rows)
    near = list(_replications(scenario, "nearest", 3, weeks))
    assert [_loss(record) for record in near] == [_loss(record) for record in made[:3]]
    assert np.ptp(np.mean(loads, axis=0)) < 0.002
