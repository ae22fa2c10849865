"""Fits of laws against data sets with printed estimates, and the test of laws against its printed critical values."""

import numpy as np
import pytest

from batsim.statistics.fitting import fit
from batsim.statistics.goodness import distance
from batsim.statistics.laws import LAWS
from batsim.statistics.samples import Sample

MEMORY = " (from memory)"
LAWLESS = "Lawless, J. F., Statistical Models and Methods for Lifetime Data, 1982"
STEPHENS = "D'Agostino, R. B. & Stephens, M. A. (eds), Goodness-of-Fit Techniques, 1986"
NONE = np.empty(0)

BEARINGS = np.array([
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
])  # fmt: skip
"""Millions of revolutions until 23 ball bearings failed (Lieblein & Zelen 1956)."""
AIR_CONDITIONING = np.array([
    23.0, 261.0, 87.0, 7.0, 120.0, 14.0, 62.0, 47.0, 225.0, 71.0, 246.0, 21.0, 42.0, 20.0, 5.0, 12.0, 120.0, 11.0, 3.0,
    14.0, 71.0, 11.0, 14.0, 11.0, 16.0, 90.0, 1.0, 16.0, 52.0, 95.0,
])  # fmt: skip
"""Hours between failures of the air conditioning of aeroplane 7912 (Proschan 1963)."""
REMISSIONS = [6, 6, 6, 7, 10, 13, 16, 22, 23]
"""Weeks until the remission of leukaemia ended, of patients treated with 6-MP (Freireich and others 1963)."""
STILL = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
"""Weeks of those whose remission had not ended."""


@pytest.mark.published(source=LAWLESS + MEMORY, where="ball bearings: neither gamma nor lognormal is refused")
def test_ball_bearings_follow_either_law():
    for law in ("gamma", "lognormal"):
        assert fit(BEARINGS, candidates=(law,)).law == law


@pytest.mark.published(
    source="Proschan, F. (1963) Technometrics 5, 375-383" + MEMORY,
    where="aeroplane 7912: mean 59.6 h; each aeroplane alone agrees with an exponential law",
)
def test_exponential_of_air_conditioning():
    found = fit(AIR_CONDITIONING, candidates=("exponential",))

    assert (found.law, found.mean.mean) == ("exponential", pytest.approx(59.6))


@pytest.mark.published(source=LAWLESS + MEMORY, where="remissions under 6-MP: 9 ended in 359 weeks")
def test_exponential_of_cut_off_remissions():
    found = fit(REMISSIONS + STILL, censored=[False] * 9 + [True] * 12, candidates=("exponential",))

    assert found.law == "exponential"
    assert found.mean.mean == pytest.approx(39.9, abs=0.05)
    assert 21.0 < found.mean.low < 39.9 < found.mean.high < 90.0


@pytest.mark.parametrize(
    ("law", "parameters", "correction", "critical"),
    [
        pytest.param(
            "lognormal", (5.0, 0.5), 1.0 + 0.75 / 20.0 + 2.25 / 400.0, (0.631, 0.752),
            marks=pytest.mark.published(source=STEPHENS + MEMORY, where="table 4.7, normal, both unknown: 10 and 5 %"),
        ),
        pytest.param(
            "exponential", (5.0,), 1.0 + 0.6 / 20.0, (1.062, 1.321),
            marks=pytest.mark.published(source=STEPHENS + MEMORY, where="table 4.14, exponential: 10 and 5 %"),
        ),
    ],
)  # fmt: skip
def test_critical_values_of_the_distance(law, parameters, correction, critical):
    """Of 3,000 samples of 20, each fitted; within three standard errors of a simulated quantile."""
    random, found = np.random.default_rng(1), []
    for _ in range(3000):
        drawn = Sample(np.sort(LAWS[law].quantile(random.random(20), *parameters)), NONE)
        found.append(correction * distance(LAWS[law], LAWS[law].estimate(drawn), drawn))

    for share, value in zip((0.1, 0.05), critical, strict=True):
        assert np.mean(np.array(found) > value) == pytest.approx(share, abs=3.0 * np.sqrt(share * (1.0 - share) / 3000))
