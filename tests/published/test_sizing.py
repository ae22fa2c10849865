"""Decision against the exact smallest counts: spares by Palm's theorem, stations by machine interference."""

from math import comb, factorial, log

import pytest
from scipy.stats import poisson

from batsim.decision.comparing import FINE
from batsim.decision.decide import decide
from batsim.decision.trials import BOUGHT
from batsim.scenario.settings import Settings

PALM = (
    "Palm's theorem; Feeney, G. & Sherbrooke, C. (1966) Management Science 12, 391-411; Sherbrooke, C. C. (1968) "
    "Operations Research 16, 122-141"
)
SPARES = "smallest S with P(Poisson(pipeline mean) >= S) at most the target, for any law of the turn-round"
ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling, appendix on queueing theory"
WORKED_OUT = "worked out here"
DAY_MIN = 1440.0
TURN_H = 1.0
"""Turn-round of a discharged battery; all that counts is the pipeline, demand times turn-round."""
FEWEST_DEMANDS, SURE, CLUSTERED = 800, 3.0, 2.0
"""Trucks that ask in one run at least; standard errors by which the answer keeps what is tested where the search has
compared it last; times by which the variance of a share is that of independent asks, as they find none in clusters."""
NEAR_SHARE = 0.4
"""Part of the gap between the target and the probability that makes no difference; half of it is what is tested."""
EXPONENTIAL, FIXED = {"mean": f"{TURN_H:g} h", "law": "exponential"}, f"{TURN_H:g} h"

# Pipeline mean, target, smallest number of spares as tabled, P(X >= S) and P(X >= S-1). Left out are those whose own
# probability, or that of one spare fewer, is within a tenth of the target: 2 and 5 %, 4 and 5 %, 10 and 5 %.
TABLE = [
    (1.0, 0.10, 3, 0.0803014, 0.2642411),
    (1.0, 0.05, 4, 0.0189882, 0.0803014),
    (1.0, 0.01, 5, 0.0036598, 0.0189882),
    (2.0, 0.10, 5, 0.0526530, 0.1428765),
    (2.0, 0.01, 7, 0.0045338, 0.0165636),
    (4.0, 0.10, 8, 0.0511336, 0.1106740),
    (4.0, 0.01, 10, 0.0081322, 0.0213634),
    (6.0, 0.10, 10, 0.0839240, 0.1527625),
    (6.0, 0.05, 11, 0.0426209, 0.0839240),
    (6.0, 0.01, 13, 0.0088275, 0.0200920),
    (10.0, 0.10, 15, 0.0834585, 0.1355356),
    (10.0, 0.01, 19, 0.0071865, 0.0142776),
    (16.0, 0.10, 22, 0.0892266, 0.1318320),
    (16.0, 0.05, 24, 0.0366857, 0.0582409),
]


@pytest.mark.published(source=PALM, where="table of the smallest number of spares")
@pytest.mark.parametrize(("pipeline", "target", "spares", "chance", "with_one_fewer"), TABLE)
def test_the_table_of_spares(pipeline, target, spares, chance, with_one_fewer):
    """The numbers of the table, from scipy's Poisson distribution."""
    assert poisson.sf(spares - 1, pipeline) == pytest.approx(chance, abs=5e-8)
    assert poisson.sf(spares - 2, pipeline) == pytest.approx(with_one_fewer, abs=5e-8)
    assert chance < 0.9 * target
    assert with_one_fewer > 1.1 * target


def demands_of(pipeline, target, spares):
    """Trucks that ask in one run so that the replications of the search tell the answer from what is tested."""
    chance = poisson.sf(spares - 1, pipeline)
    margin = (1.0 - NEAR_SHARE / 2.0) * (target - chance)
    return max(FEWEST_DEMANDS, SURE**2 * CLUSTERED * chance * (1.0 - chance) / margin**2 / FINE)


def sized_spares(case, pipeline, target, spares, charge):
    """Answer the batteries of a fleet so large that the few trucks that wait slow nothing down."""
    trucks = 100 if pipeline <= 6.0 else 200
    demands = demands_of(pipeline, target, spares)
    run_h = trucks * TURN_H / pipeline
    scenario = case(
        "palm",
        {
            "trucks[0].count": trucks,
            "trucks[0].run_time.mean": f"{run_h:g} h",
            # What is left of an exponential time has the same law: the demand is steady from the start.
            "trucks[0].first_run": [f"{-run_h * log((n + 0.5) / trucks):.6f} h" for n in range(trucks)],
            "batteries.plain.charge_time": charge,
            "layouts.one.batteries": trucks + spares + 4,
            "targets": {"none_ready": f"at most {100.0 * target:g} %"},
        },
    )
    found = decide(
        scenario,
        Settings(
            confidence=0.99,
            weeks=demands * TURN_H / pipeline / 168.0,
            warm_up_weeks=2.0 * run_h / 168.0,
            replications=8,
            seed=34,
            workers=1,
        ),
        ranges={"batteries": (trucks + 1, trucks + spares + 4)},
        indifference={"none ready": NEAR_SHARE * (target - poisson.sf(spares - 1, pipeline))},
        objective=BOUGHT,
    )["one"]
    return found, trucks


def passes(found, *counts):
    """Whether a plan meets the targets: by its test where it had one, else as the search saw it."""
    by_test = [tested.meets for tested in found.tests if tested.trial.point == counts]
    return by_test[-1] if by_test else found.searched[counts].miss(found.limits) == 0.0


@pytest.mark.published(source=PALM, where=f"{SPARES}")
@pytest.mark.parametrize(
    ("pipeline", "target", "spares", "charge"),
    [
        pytest.param(1.0, 0.10, 3, EXPONENTIAL, id="1, 10 %"),
        pytest.param(1.0, 0.05, 4, FIXED, id="1, 5 %, fixed", marks=pytest.mark.slow),
        pytest.param(1.0, 0.01, 5, EXPONENTIAL, id="1, 1 %"),
        pytest.param(2.0, 0.10, 5, FIXED, id="2, 10 %, fixed"),
        pytest.param(2.0, 0.01, 7, EXPONENTIAL, id="2, 1 %", marks=pytest.mark.slow),
        pytest.param(4.0, 0.10, 8, EXPONENTIAL, id="4, 10 %", marks=pytest.mark.slow),
        pytest.param(6.0, 0.10, 10, FIXED, id="6, 10 %, fixed", marks=pytest.mark.slow),
        pytest.param(4.0, 0.01, 10, FIXED, id="4, 1 %, fixed", marks=pytest.mark.slow),
        pytest.param(6.0, 0.05, 11, EXPONENTIAL, id="6, 5 %", marks=pytest.mark.slow),
        pytest.param(6.0, 0.01, 13, FIXED, id="6, 1 %, fixed", marks=pytest.mark.slow),
        pytest.param(10.0, 0.10, 15, EXPONENTIAL, id="10, 10 %", marks=pytest.mark.slow),
        pytest.param(10.0, 0.01, 19, EXPONENTIAL, id="10, 1 %", marks=pytest.mark.slow),
        pytest.param(16.0, 0.10, 22, FIXED, id="16, 10 %, fixed", marks=pytest.mark.slow),
        pytest.param(16.0, 0.05, 24, EXPONENTIAL, id="16, 5 %", marks=pytest.mark.slow),
    ],
)
def test_smallest_number_of_spares(case, pipeline, target, spares, charge):
    """As many as the table says, no more and no fewer."""
    assert any(row[:3] == (pipeline, target, spares) for row in TABLE)
    found, trucks = sized_spares(case, pipeline, target, spares, charge)

    assert found.counts == {"batteries": trucks + spares}
    assert found.sure
    assert passes(found, trucks + spares)
    assert not passes(found, trucks + spares - 1)


def down(trucks, stations, ratio):
    """Mean trucks down of M/M/c//N, from the sum of its steady state; `ratio` is exchange over run."""
    weights = [
        comb(trucks, n) * ratio**n
        * (1.0 if n <= stations else factorial(n) / (factorial(stations) * stations ** (n - stations)))
        for n in range(trucks + 1)
    ]  # fmt: skip
    return sum(n * weight for n, weight in enumerate(weights)) / sum(weights)


@pytest.mark.published(source=ROSSETTI, where="L = 2.674 with five trucks and one station; worked out here with 30")
@pytest.mark.parametrize(
    ("trucks", "stations", "ratio", "printed", "digits"),
    [
        (5, 1, 4.0 / 10.0, 2.674, 3),
        (30, 3, 12.0 / 450.0, 0.7928570626, 9),
    ],
)
def test_mean_trucks_down(trucks, stations, ratio, printed, digits):
    """The sum agrees with what is printed."""
    assert down(trucks, stations, ratio) == pytest.approx(printed, abs=0.5 * 10.0**-digits)


def _between(trucks, stations, ratio):
    """Target half way between the downtime with so many stations and with one fewer. [min per truck-shift]"""
    enough, too_few = (DAY_MIN * down(trucks, count, ratio) / trucks for count in (stations, stations - 1))
    return (enough + too_few) / 2.0, enough


@pytest.mark.published(source=ROSSETTI, where=f"M/M/c//N, trucks down by stations; 30 trucks {WORKED_OUT}")
@pytest.mark.parametrize(
    ("file", "layout", "trucks", "run_min", "exchange_min", "stations", "weeks"),
    [
        pytest.param("five_trucks", "one", 5, 600.0, 240.0, 2, 8, id="five trucks, two"),
        pytest.param("five_trucks", "one", 5, 600.0, 240.0, 3, 8, id="five trucks, three"),
        pytest.param("thirty_trucks", "one", 30, 450.0, 12.0, 2, 1, id="30 trucks, two"),
        pytest.param(
            "thirty_trucks",
            "one",
            30,
            120.0,
            12.0,
            3,
            0.5,
            id="30 trucks with 2 h on a battery, three",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            "thirty_trucks",
            "one",
            30,
            120.0,
            12.0,
            5,
            0.5,
            id="30 trucks with 2 h on a battery, five",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_smallest_number_of_stations(case, file, layout, trucks, run_min, exchange_min, stations, weeks):
    """The least with which the analytic downtime meets the target."""
    target, enough = _between(trucks, stations, exchange_min / run_min)
    scenario = case(
        file,
        {
            "trucks[0].run_time.mean": f"{run_min:g} min",
            "targets": {"downtime_per_truck_shift": f"at most {target:.6f} min"},
        },
    )
    found = decide(
        scenario,
        Settings(layouts=layout, confidence=0.99, weeks=weeks, warm_up_weeks=0.3, replications=8, seed=14, workers=1),
        ranges={"stations": (1, 6)},
        indifference={"downtime": 0.8 * (target - enough)},
        objective=BOUGHT,
    )[layout]

    assert found.counts == {"stations": stations}
    assert found.interval().mean == pytest.approx(enough, abs=target - enough)
