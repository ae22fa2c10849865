"""At what clock times a gain falls, on profiles made by hand."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.study.bottleneck.time_windows import (
    ClockWindow,
    Concentration,
    concentration,
    shift_profiles,
    working_profile,
)

ROOT = Path(__file__).parents[3]
WEEKDAYS = range(5)


def at(day, clock):
    """Number of the bin that begins then."""
    hour, minute = clock.split(":")
    return day * 96 + int(hour) * 4 + int(minute) // 15


def profile(*pieces, base=0.0, days=WEEKDAYS):
    """Gain of so much in each bin from one time to another on some days, over a base on weekdays."""
    made = np.zeros(672)
    made[:480] = base
    for begin, end, amount, *on in pieces:
        for day in on[0] if on else days:
            count = (at(0, end) - at(0, begin)) % 96 or 96
            made[(at(day, begin) + np.arange(count)) % 672] += amount
    return made


def found(gain, hours=(("00:00", "24:00", 15.0),), replications=3, confidence=0.95):
    """Concentration of the same gain in each replication, at a site that works Monday to Friday."""
    return concentration(np.tile(gain, (replications, 1)), profile(*hours), {}, confidence)


@pytest.mark.parametrize(
    ("gain", "text"),
    [
        (profile(("14:00", "14:45", 10.0), base=0.2), "14:00 to 14:45 on weekdays (62 % of the gain)"),
        (
            profile(("06:00", "06:45", 4.0), ("14:00", "14:45", 4.0)),
            "06:00 to 06:45 and 14:00 to 14:45 on weekdays (all of the gain)",
        ),
        (
            profile(("06:00", "06:30", 4.0), ("14:00", "14:30", 4.0), ("22:00", "22:15", 8.0, [6, 0, 1, 2, 3])),
            "06:00 to 06:30 and 14:00 to 14:30 on weekdays; 22:00 to 22:15, Mon to Thu (93 % of the gain)",
        ),
        (profile(("23:30", "00:30", 4.0)), "23:30 to 00:30 on weekdays (all of the gain)"),
        (profile(("23:30", "24:00", 4.0)), "23:30 to 24:00 on weekdays (all of the gain)"),
        (profile(("10:00", "10:15", 4.0, [0])), "10:00 to 10:15 on Monday (all of the gain)"),
        (profile(("10:00", "10:15", 4.0, [0, 3])), "10:00 to 10:15 on Mon and Thu (all of the gain)"),
        (profile(("10:00", "10:15", 4.0, [0, 1, 4])), "10:00 to 10:15 on Mon, Tue and Fri (all of the gain)"),
        (profile(("10:00", "10:15", 4.0, [1, 2, 3])), "10:00 to 10:15, Tue to Thu (all of the gain)"),
        (profile(days=[], base=0.0) + profile(("00:00", "24:00", 1.0, [0])), "on Monday (all of the gain)"),
        (profile(("14:00", "15:00", 4.0), base=-0.02), "14:00 to 15:00 on weekdays (all of the gain)"),
        (profile(base=1.0), "spread over the shifts"),
        (profile(("06:00", "14:00", 1.0), base=0.6), "06:00 to 14:00 on weekdays (57 % of the gain)"),
        (profile(("06:00", "14:15", 1.0), base=0.6), "spread over the shifts"),
    ],
)
def test_windows_in_words(gain, text):
    assert found(gain).text == text


def test_every_day_is_daily():
    gain = profile(("05:00", "05:30", 1.0, range(7)))
    works = np.full(672, 15.0)

    assert concentration(gain[np.newaxis], works, {}, 0.95).text == "05:00 to 05:30 daily (all of the gain)"


def test_a_range_of_days_may_run_over_the_weekend():
    gain = profile(("22:00", "22:30", 1.0, [6, 0, 1, 2, 3]))
    works = profile(("22:00", "06:00", 15.0, [6, 0, 1, 2, 3]))

    assert concentration(gain[np.newaxis], works, {}, 0.95).text == "22:00 to 22:30, Sun to Thu (all of the gain)"


def test_window_and_share_as_numbers():
    """Three of every four parts in the window, on days with it or not."""
    gain = profile(("14:00", "14:30", 6.0), ("09:00", "10:00", 1.0))

    assert found(gain) == Concentration((ClockWindow(840.0, 870.0, (0, 1, 2, 3, 4)),), "", 0.75)


def test_equal_peaks_are_named_together():
    """Though two of the three would hold half of the gain."""
    gain = profile(("06:00", "06:30", 4.0), ("14:00", "14:30", 4.0), ("22:00", "22:30", 4.0))

    assert [window.clock for window in found(gain).windows] == ["06:00 to 06:30", "14:00 to 14:30", "22:00 to 22:30"]


def test_a_gap_of_one_bin_is_closed():
    gain = profile(("14:00", "14:15", 4.0), ("14:30", "14:45", 4.0))

    assert [window.clock for window in found(gain).windows] == ["14:00 to 14:45"]


def test_specks_are_no_windows():
    """Less than a tenth of the gain each, they do not help to reach half of it."""
    specks = [(f"{hour:02d}:00", f"{hour:02d}:15", 3.0) for hour in range(1, 10)]
    gain = profile(("14:00", "14:45", 6.0), *specks, ("20:00", "20:30", 2.5))

    assert [window.clock for window in found(gain).windows] == []
    assert [window.clock for window in found(profile(("14:00", "15:45", 6.0), *specks)).windows] == ["14:00 to 15:45"]


def test_a_third_of_the_working_time_is_the_most():
    """On eight hours of work: two and a half hours are a window, three are none."""
    hours = (("06:00", "14:00", 15.0),)

    assert found(profile(("06:00", "08:30", 1.0)), hours).text == "06:00 to 08:30 on weekdays (all of the gain)"
    assert found(profile(("06:00", "09:00", 1.0)), hours).windows == ()


def test_chance_makes_no_window():
    """An even gain under noise: the best hours of one replication are not those of the others."""
    noise = np.random.default_rng(7).standard_normal((6, 672))
    gains = np.where(np.arange(672) < 480, 1.0 + 15.0 * noise, 0.0)
    works = profile(("00:00", "24:00", 15.0))

    alone = [concentration(one[np.newaxis], works, {}, 0.95) for one in gains if one.sum() > 0.0]
    assert any(each.windows for each in alone)
    assert concentration(gains, works, {}, 0.95).windows == ()


def test_a_peak_of_its_own_in_each_replication_is_chance():
    """Where the others have their peaks lies less than a third of the gain, though always some of it."""
    gains = np.array([profile((clock, f"{clock[:3]}15", 40.0), base=0.3) for clock in ("06:00", "11:00", "16:00")])

    assert concentration(gains, profile(("00:00", "24:00", 15.0)), {}, 0.95).text == "spread over the shifts"


def test_a_peak_is_seen_through_noise():
    noise = np.random.default_rng(7).standard_normal((6, 672))
    gains = profile(("14:00", "15:00", 40.0)) + np.where(np.arange(672) < 480, 1.0 + 5.0 * noise, 0.0)

    text = concentration(gains, profile(("00:00", "24:00", 15.0)), {}, 0.95).text

    assert text == "14:00 to 15:00 on weekdays (67 % of the gain)"


@pytest.mark.parametrize("gain", [profile(), profile(base=-1.0)])
def test_without_a_gain_there_is_no_window(gain):
    answer = found(gain)

    assert answer.windows == ()
    assert np.isnan(answer.share)
    assert answer.text == "spread over the shifts"


SHIFTS = {name: profile((begin, end, 1.0)) for name, begin, end in (
    ("early", "06:00", "14:00"), ("late", "14:00", "22:00"), ("night", "22:00", "06:00"),
)}  # fmt: skip


def in_shifts(gains, shifts=SHIFTS, hours=("00:00", "24:00", 15.0)):
    """Concentration at a site that works round the clock, or in other hours, in some shifts."""
    return concentration(gains, profile(hours), shifts, 0.95)


def test_a_shift_stands_in_for_windows_that_would_be_too_many():
    hours = [(f"{hour}:00", f"{hour}:30", 1.0) for hour in (14, 15, 16, 17, 19, 20)]
    gains = np.tile(profile(*hours, ("03:00", "03:15", 1.0)), (3, 1))

    assert in_shifts(gains) == Concentration((), "late", pytest.approx(12.0 / 13.0))
    assert in_shifts(gains).text == "in shift 'late' (92 % of the gain)"


def test_a_shift_holds_half_as_much_again_as_its_time():
    """Half of the time, three quarters of the gain; less is an even spread."""
    two = {"early": SHIFTS["early"], "late": SHIFTS["late"]}
    hours = ("06:00", "22:00", 15.0)
    bent, even = (profile(("06:00", "14:00", 1.0), ("14:00", "22:00", other))[np.newaxis] for other in (3.0, 2.9))

    assert in_shifts(bent, two, hours).text == "in shift 'late' (75 % of the gain)"
    assert in_shifts(even, two, hours).text == "spread over the shifts"
    assert (
        in_shifts(profile(("06:00", "22:00", 1.0))[np.newaxis], {"day": two["early"] + two["late"]}, hours).shift == ""
    )


def test_chance_makes_no_shift():
    """Most of the gain falls into the late shift in the mean, but not in each replication."""
    early, late = profile(("06:00", "14:00", 1.0)), profile(("14:00", "22:00", 1.0))
    two, hours = {"early": SHIFTS["early"], "late": SHIFTS["late"]}, ("06:00", "22:00", 15.0)
    wild, calm = np.array([late * 30.0, early * 3.0, early * 3.0]), np.array([late * 10.0 + early * 2.0] * 3)

    assert np.allclose(wild.mean(axis=0), calm.mean(axis=0))
    assert in_shifts(calm, two, hours).text == "in shift 'late' (83 % of the gain)"
    assert in_shifts(wild, two, hours).text == "spread over the shifts"


def test_shifts_of_the_week():
    """With their breaks; the shift over midnight belongs to both days."""
    shifts = shift_profiles(batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml"))

    assert list(shifts) == ["early", "late", "night"]
    assert [part.sum() for part in shifts.values()] == [160.0, 160.0, 160.0]
    assert shifts["early"][[at(0, "05:45"), at(0, "06:00"), at(0, "09:30"), at(0, "14:00")]].tolist() == [
        0.0,
        1.0,
        1.0,
        0.0,
    ]
    assert shifts["night"][[at(6, "22:00"), at(0, "05:45"), at(4, "22:00")]].tolist() == [1.0, 1.0, 0.0]


def test_working_time_of_the_week():
    """Kestrel Lane works from Sunday 22:00 to Friday 22:00 but for breaks of 20 minutes; holidays change nothing."""
    site = batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")
    for each in (site, batsim.changed(site, {"week.holidays": ["week 1 Wed", "week 2 Fri"]})):
        works = working_profile(each)
        assert works.shape == (672,)
        assert works.sum() == 5 * 3 * 460.0
        assert works[[at(6, "21:45"), at(6, "22:00"), at(0, "09:30"), at(0, "09:45"), at(4, "22:00")]].tolist() == [
            0.0, 15.0, 0.0, 10.0, 0.0,
        ]  # fmt: skip
