"""The closed forms of the screen against published and worked-out values: Palm's pipeline, machine interference."""

import numpy as np
import pytest

from batsim.formulas.renewal import Source, machine_interference, number_out

ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling, appendix on queueing theory"
GROSS = "Gross, D. & Harris, C. M., Fundamentals of Queueing Theory (from memory)"
TAHA = "Taha, H. A., Operations Research: An Introduction (from memory)"
ANDERSON = "Anderson, Sweeney, Williams (& others), An Introduction to Management Science"
PECK = (
    "Peck, L. G. & Hazelwood, R. N., Finite Queuing Tables, Wiley, 1958 (as reprinted in an operations-management text)"
)
SHERBROOKE = "Sherbrooke, C. C., Optimal Inventory Modeling of Systems (from memory)"
METRIC = (
    "Palm's theorem; Feeney, G. & Sherbrooke, C. (1966) Management Science 12, 391-411; Sherbrooke, C. C. (1968) "
    "Operations Research 16, 122-141 (METRIC)"
)


def pipeline(mean, trucks=1):
    """Number out of trucks that ask at random, with so many out on average."""
    one = np.ones(1)
    return number_out([Source(trucks, trucks * one, cv=one, away_min=mean * one, away_sd_min=0.3 * mean * one)])


# S, probability that none is ready, trucks waiting on average
PALM = [
    pytest.param(
        1.0,
        10.0,
        [
            (0, 1.0, 1.0, 0.1),
            (1, 0.6321205588, 0.3678794412, 0.03678794412),
            (2, 0.2642411177, 0.1036383235, 0.01036383235),
            (3, 0.08030139707, 0.02333692644, 0.002333692644),
            (4, 0.01898815688, 0.004348769567, 0.0004348769567),
        ],
        id="C30",
        marks=pytest.mark.published(source=SHERBROOKE, where="C30: chapter 2, pipeline of one unit"),
    ),
    pytest.param(
        16.0,
        2.0,
        [
            (14, 0.7254890761, 2.753208255, 1.376604127),
            (16, 0.5332551086, 1.587480506, 0.793740253),
            (18, 0.3406563708, 0.8127865582, 0.4063932791),
            (20, 0.1877514717, 0.3673842324, 0.1836921162),
            (22, 0.08922662784, 0.1463256389, 0.07316281945),
            (24, 0.03668565782, 0.0513990535, 0.02569952675),
            (26, 0.01311856289, 0.01596501263, 0.007982506317),
            (28, 0.004105062054, 0.00440102775, 0.002200513875),
            (30, 0.001131195357, 0.00108126221, 0.0005406311052),
        ],
        id="C31",
        marks=pytest.mark.published(source=METRIC, where="C31: Poisson pipeline, 2/h and 8 h"),
    ),
    pytest.param(
        6.0,
        0.5,
        [
            (3, 0.9380311956, 3.081798822, 6.163597644),
            (5, 0.7149434997, 1.518059205, 3.03611841),
            (7, 0.3936972176, 0.5700416287, 1.140083257),
            (8, 0.2560202395, 0.3140213892, 0.6280427783),
            (9, 0.152762506, 0.1612588831, 0.3225177663),
            (10, 0.08392401699, 0.07733486614, 0.1546697323),
            (12, 0.02009196354, 0.01462197902, 0.02924395804),
        ],
        id="C33",
        marks=pytest.mark.published(source=METRIC, where="C33: Poisson pipeline, 0.5/h and 12 h"),
    ),
]


@pytest.mark.parametrize("trucks", [1, 7])
@pytest.mark.parametrize(("mean", "per_h", "rows"), PALM)
def test_number_out_is_palms_poisson_pipeline(mean, per_h, rows, trucks):
    """Trucks that ask at random: none ready, trucks waiting and mean wait, to 1e-6, whatever the time away."""
    spares, none_ready, waiting, wait_h = (np.array(each, dtype=float) for each in zip(*rows, strict=True))
    found_none, found_waiting = pipeline(mean, trucks).shortage(spares)
    assert found_none[0] == pytest.approx(none_ready, abs=1e-6)
    assert found_waiting[0] == pytest.approx(waiting, abs=1e-6)
    assert found_waiting[0] / per_h == pytest.approx(wait_h, abs=1e-6)


@pytest.mark.published(source=METRIC, where="C34: smallest S for 10, 5, 1 and 0.1 % without a ready battery")
@pytest.mark.parametrize(
    ("mean", "smallest"),
    [
        (1.0, [3, 4, 5, 6]),
        (2.0, [5, 6, 7, 9]),
        (4.0, [8, 9, 10, 12]),
        (6.0, [10, 11, 13, 16]),
        (10.0, [15, 16, 19, 22]),
        (16.0, [22, 24, 27, 31]),
        (20.0, [27, 29, 32, 36]),
        (38.4, [47, 50, 55, 60]),
        (60.0, [71, 74, 80, 86]),
    ],
)
def test_smallest_number_of_spares(mean, smallest):
    """Exact whole numbers."""
    none_ready = pipeline(mean).shortage(np.arange(120.0))[0][0]
    assert [int(np.argmax(none_ready <= target)) for target in (0.1, 0.05, 0.01, 0.001)] == smallest


def _case(name, source, where, *numbers):
    return pytest.param(*numbers, id=name, marks=pytest.mark.published(source=source, where=f"{name}: {where}"))


@pytest.mark.parametrize(
    ("trucks", "servers", "run", "exchange", "none_down", "down", "waiting", "rate", "wait", "waited"),
    [
        _case(
            "A01", ROSSETTI, "machine interference, c=1",
            5, 1, 10.0, 4.0, 0.06973111681, 2.674327792, 1.744058909, 0.2325672208, 7.49916047, 0.850083953,
        ),
        _case(
            "A03", ROSSETTI, "machine interference, c=3",
            5, 3, 10.0, 4.0, 0.1840460688, 1.456990479, 0.03978667016, 0.3543009521, 0.1122962553, 0.0753566976,
        ),
        _case(
            "A04", GROSS, "five robots and two repairers",
            5, 2, 30.0, 3.0, 0.6185917758, 0.4647943956, 0.01127383511, 0.1511735201, 0.07457546205, 0.04521584942,
        ),
        _case(
            "A06a", TAHA, "22 machines, R=1",
            22, 1, 2.0, 0.2, 0.0004040331918, 12.00404033, 11.00444437, 4.997979834, 2.201778465, 0.9991107677,
        ),
        _case(
            "A06c", TAHA, "22 machines, R=3",
            22, 3, 2.0, 0.2, 0.1077866149, 2.466080309, 0.5126883396, 9.766959846, 0.05249211092, 0.3687499006,
        ),
        _case(
            "A06d", TAHA, "22 machines, R=4",
            22, 4, 2.0, 0.2, 0.1199295754, 2.100196841, 0.1102165246, 9.94990158, 0.01107714722, 0.1342083805,
        ),
        _case(
            "A08", ANDERSON, "finite calling population, six machines",
            6, 1, 20.0, 2.0, 0.4845149037, 0.8451490368, 0.3296639405, 0.2577425482, 1.279043537, 0.4360478231,
        ),
        _case(
            "A09a", ANDERSON, "exercise with eight machines",
            8, 1, 20.0, 2.0, 0.3383184329, 1.383184329, 0.7215027618, 0.3308407836, 2.18081566, 0.590959217,
        ),
        _case(
            "A09b", ANDERSON, "exercise with eight machines, second repairer",
            8, 2, 20.0, 2.0, 0.4566426586, 0.7859944409, 0.06459388497, 0.360700278, 0.1790791106, 0.1391273397,
        ),
    ],
)  # fmt: skip
def test_machine_interference(trucks, servers, run, exchange, none_down, down, waiting, rate, wait, waited):
    """The finite-source chain to a relative 1e-6."""
    found = machine_interference(trucks, *(np.array([each], dtype=float) for each in (servers, run, exchange)))
    assert [float(each[0]) for each in found] == pytest.approx([none_down, down, waiting, rate, wait, waited], rel=1e-6)


@pytest.mark.published(source=PECK, where="A10: N=5 section, D and F")
def test_finite_queuing_tables():
    """All 26 entries as printed, to half a unit of their third decimal and rounding."""
    printed = np.array(
        [
            # service factor, M, D, F
            (0.012, 1, 0.048, 0.999),
            (0.025, 1, 0.1, 0.997),
            (0.05, 1, 0.198, 0.989),
            (0.06, 2, 0.02, 0.999),
            (0.06, 1, 0.237, 0.983),
            (0.07, 2, 0.027, 0.999),
            (0.07, 1, 0.275, 0.977),
            (0.08, 2, 0.035, 0.998),
            (0.08, 1, 0.313, 0.969),
            (0.09, 2, 0.044, 0.998),
            (0.09, 1, 0.35, 0.96),
            (0.1, 2, 0.054, 0.997),
            (0.1, 1, 0.386, 0.95),
        ]
    )
    factor, servers, waits, efficiency = printed.T
    found = machine_interference(5, servers, 1.0 - factor, factor)
    assert found.waited_share == pytest.approx(waits, abs=0.0006)
    assert 1.0 - found.waiting / 5.0 == pytest.approx(efficiency, abs=0.0006)
