"""Charging: what must hold for every profile and state of a battery, and what is refused."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.formulas.charging import KINDS, charge_phases, greatest_load
from batsim.formulas.phases import (
    Phase,
    Profile,
    cut,
    greatest_va,
    peak_wall_kw,
    phases_hours,
    phases_totals,
    rest_of,
    wall_kwh,
)
from tests.closed_forms import (
    ah_after,
    current_after,
    gassing_ah,
    phases_ah,
    phases_kwh,
    soc_on_charge,
    stored_ah_after,
)

FEW = settings(max_examples=50, deadline=None)
CAPACITY_AH = 500.0
IUIA = Profile("IUIa", 100.0, 25.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6)
IU = IUIA._replace(kind="IU")
GEL = IUIA._replace(kind="IUI", main_a=90.0, end_a=2.5, factor=1.025, absorption_v=2.37, finish_v=2.5)
CONSTANT = IUIA._replace(kind="I", main_a=25.0)
FALLING = Profile("W", 0.0, 20.0, 0.0, 1.2, 0.99, 2.0, 2.4, 2.65, 70.0, 0.2, 40.0, 0.8)
DOUBLED = FALLING._replace(kind="WoWa", factor=1.15, w_first_factor=2.0)
LITHIUM = Profile("CC-CV", 250.0, 25.0, 0.04, 1.0, 1.0, 3.1, 3.6, 3.6)
PROFILES = {profile.kind: profile for profile in (CONSTANT, IU, IUIA, GEL, FALLING, DOUBLED, LITHIUM)}
RETURNS_OWED = ("I", "IUIa", "IUI", "W", "WoWa")  # a full charge gives what is owed

shares = st.floats(0.0, 1.0)
profiles = st.one_of(
    st.builds(
        Profile,
        kind=st.sampled_from(["I", "IU", "IUIa", "IUI", "CC-CV"]),
        main_a=st.floats(25.0, 300.0),
        end_a=st.floats(5.0, 30.0),
        tau_h=st.floats(0.02, 2.0),
        factor=st.floats(1.0, 1.25),
        full_soc=st.floats(0.95, 0.999),
        empty_v=st.just(2.0),
        absorption_v=st.just(2.4),
        finish_v=st.just(2.6),
    ),
    st.builds(
        lambda first_factor, factor, end_a, gassing, start, gassing_soc: FALLING._replace(
            kind="W" if first_factor == 1.0 else "WoWa",
            factor=factor,
            end_a=end_a,
            w_gassing_a=end_a * gassing,
            w_start_a=end_a * gassing * start,
            gassing_soc=gassing_soc,
            w_first_factor=first_factor,
        ),
        st.sampled_from([1.0, 1.5, 2.0]),
        st.floats(1.0, 1.25),
        st.floats(5.0, 40.0),
        st.floats(1.0, 3.0),
        st.floats(1.0, 3.0),
        st.floats(0.5, 0.95),
    ),
)


def _whole(message):
    return f"^{re.escape(message)}$"


def _kind(kind, **changes):
    return PROFILES[kind]._replace(**changes)


def _full(profile, missing_ah):
    return charge_phases(profile, CAPACITY_AH, missing_ah, profile.factor * missing_ah)


@FEW
@given(
    profile=profiles,
    missing=st.floats(0.0, 1.1),
    extra_ah=st.floats(0.0, 50.0),
    to_soc=st.sampled_from([1.0, 0.95, 0.85, 0.6]),
    cuts=st.lists(shares, max_size=5),
)
def test_interruptions_cost_nothing(profile, missing, extra_ah, to_soc, cuts):
    """A charge in pieces takes the hours and ampere-hours of one in one go, and its current goes on."""
    missing_ah = missing * CAPACITY_AH
    owed_ah = profile.factor * missing_ah + extra_ah
    in_one_go = charge_phases(profile, CAPACITY_AH, missing_ah, owed_ah, to_soc)
    hours = given_ah = stored_ah = 0.0
    for share in [*cuts, 1.0]:
        phases = charge_phases(profile, CAPACITY_AH, missing_ah - stored_ah, owed_ah - given_ah, to_soc)
        if phases:
            assert phases[0].amps == pytest.approx(current_after(in_one_go, hours), rel=1e-5, abs=1e-6)
        done_h = share * phases_hours(phases)
        stored_ah += stored_ah_after(phases, done_h, CAPACITY_AH)
        given_ah += ah_after(phases, done_h)
        hours += done_h

    assert hours == pytest.approx(phases_hours(in_one_go), abs=1e-6)
    assert given_ah == pytest.approx(phases_ah(in_one_go), abs=1e-6)
    assert stored_ah == pytest.approx(stored_ah_after(in_one_go, math.inf, CAPACITY_AH), abs=1e-6)


@FEW
@given(profile=profiles, missing=st.floats(0.0, 1.1), to_soc=st.sampled_from([1.0, 0.9, 0.7]), share=shares)
def test_a_phase_begins_where_the_last_one_ends(profile, missing, to_soc, share):
    """State of charge rises from what it was, without a gap, and never above 1."""
    missing_ah = missing * CAPACITY_AH
    phases = charge_phases(profile, CAPACITY_AH, missing_ah, profile.factor * missing_ah, to_soc)
    for before, after in pairwise(phases):
        assert after.soc_from == before.soc_to
    for phase in phases:
        assert phase.hours > 0.0
        assert phase.amps > 0.0
        assert phase.soc_from <= phase.soc_to <= 1.0
    assert 0 <= len(phases) <= 3
    if phases:
        hours = share * phases_hours(phases)
        assert phases[0].soc_from == pytest.approx(1.0 - missing)
        assert phases[0].soc_from <= soc_on_charge(phases, hours) <= phases[-1].soc_to


@FEW
@given(profile=profiles, missing=st.floats(0.001, 1.1), share=shares)
def test_more_goes_in_than_is_stored(profile, missing, share):
    """Ampere-hours and energy in are never below what the battery keeps."""
    phases = _full(profile, missing * CAPACITY_AH)
    hours = share * phases_hours(phases)
    stored_ah = stored_ah_after(phases, hours, CAPACITY_AH)

    assert ah_after(phases, hours) >= stored_ah - 1e-9
    assert gassing_ah(phases, CAPACITY_AH) >= 0.0
    mean_soc = 1.0 - missing + stored_ah / CAPACITY_AH / 2.0
    assert phases_kwh(cut(phases, hours), 24) >= 24 * (1.97 + 0.16 * mean_soc) * stored_ah / 1000.0 - 1e-9


@pytest.mark.parametrize("kind", KINDS)
@FEW
@given(missing=st.floats(0.001, 1.1))
def test_more_energy_goes_in_than_comes_out_at_rest_voltage(kind, missing):
    """At no loss at all in the discharge, a round trip never gains."""
    phases = _full(PROFILES[kind], missing * CAPACITY_AH)
    empty_v, slope_v = (3.2, 0.15) if kind == "CC-CV" else (1.97, 0.16)

    if phases:
        soc_from, soc_to = phases[0].soc_from, phases[-1].soc_to
        rest_v = empty_v + slope_v * (soc_from + soc_to) / 2.0
        assert phases_kwh(phases, 24) >= 24 * rest_v * (soc_to - soc_from) * CAPACITY_AH / 1000.0


@FEW
@given(profile=profiles, missing=st.floats(0.001, 1.1))
def test_stored_and_gas_are_what_was_given(profile, missing):
    phases = _full(profile, missing * CAPACITY_AH)
    stored_ah = stored_ah_after(phases, math.inf, CAPACITY_AH)

    assert stored_ah + gassing_ah(phases, CAPACITY_AH) == pytest.approx(phases_ah(phases), abs=1e-9)
    assert stored_ah <= missing * CAPACITY_AH + 1e-9


@FEW
@given(profile=profiles, missing=st.floats(0.001, 1.1))
def test_gas_is_the_overcharge(profile, missing):
    """Factor - 1 times what was drawn; after IUIa, IUI and I up to their end current times tau more, not stored."""
    missing_ah = missing * CAPACITY_AH
    gas_ah = gassing_ah(_full(profile, missing_ah), CAPACITY_AH)
    overcharge_ah = (profile.factor - 1.0) * missing_ah
    end_a = profile.main_a if profile.kind == "I" else min(profile.main_a, profile.end_a)

    if profile.kind in ("IU", "CC-CV"):
        assert gas_ah == pytest.approx(0.0, abs=1e-6)
    elif profile.kind in ("W", "WoWa"):
        assert gas_ah == pytest.approx(overcharge_ah, abs=1e-6)
    else:
        assert -1e-6 <= gas_ah - overcharge_ah <= end_a * profile.tau_h + 1e-6


@FEW
@given(profile=profiles, missing=st.floats(0.001, 1.1), to_soc=st.sampled_from([1.0, 0.9, 0.7]), share=shares)
def test_done_and_still_to_come_are_the_whole_charge(profile, missing, to_soc, share):
    """`cut` and `rest_of` share out hours, ampere-hours, energy and gas, and meet at one state of charge."""
    missing_ah = missing * CAPACITY_AH
    whole = charge_phases(profile, CAPACITY_AH, missing_ah, profile.factor * missing_ah, to_soc)
    hours = share * phases_hours(whole)
    done, rest = cut(whole, hours), rest_of(whole, hours)

    totals = zip(phases_totals(done, 24), phases_totals(rest, 24), strict=True)
    assert [first + second for first, second in totals] == pytest.approx(phases_totals(whole, 24), abs=1e-9)
    gas_ah = gassing_ah(done, CAPACITY_AH) + gassing_ah(rest, CAPACITY_AH)
    assert gas_ah == pytest.approx(gassing_ah(whole, CAPACITY_AH), abs=1e-9)
    if done and rest:
        assert rest[0].soc_from == pytest.approx(done[-1].soc_to, abs=1e-12)
        assert rest[-1].soc_to == whole[-1].soc_to
        assert rest[0].amps == pytest.approx(current_after(whole, hours))


@FEW
@given(profile=profiles, missing=st.floats(0.001, 1.1), first=shares, second=shares)
def test_the_rest_is_cut_like_the_whole(profile, missing, first, second):
    """Some hours into what is left, current, state of charge and ampere-hours are those of the whole charge."""
    whole = _full(profile, missing * CAPACITY_AH)
    early_h = first * phases_hours(whole)
    rest = rest_of(whole, early_h)
    late_h = second * phases_hours(rest)

    assert ah_after(rest, late_h) == pytest.approx(
        ah_after(whole, early_h + late_h) - ah_after(whole, early_h), abs=1e-6
    )
    if rest and late_h < phases_hours(rest):
        assert soc_on_charge(rest, late_h) == pytest.approx(soc_on_charge(whole, early_h + late_h), abs=1e-9)


@FEW
@given(profile=profiles, missing=st.floats(0.05, 1.1))
def test_a_full_charge_gives_what_is_owed(profile, missing):
    """IU and CC-CV give what is missing up to their mark, all others factor times what was drawn."""
    missing_ah = missing * CAPACITY_AH
    phases = _full(profile, missing_ah)
    if profile.kind in RETURNS_OWED:
        assert phases_ah(phases) == pytest.approx(profile.factor * missing_ah, abs=1e-6)
    else:
        full_ah = (1.0 - profile.full_soc) * CAPACITY_AH
        assert phases_ah(phases) == pytest.approx(max(0.0, missing_ah - full_ah), abs=1e-6)
        assert gassing_ah(phases, CAPACITY_AH) == pytest.approx(0.0, abs=1e-6)


@FEW
@given(profile=profiles, missing=st.floats(0.01, 1.0), more=st.floats(1.01, 1.5))
def test_hours_rise_with_what_is_missing(profile, missing, more):
    """Also strictly, but for IU and CC-CV on a battery above their mark."""
    hours, more_hours = (phases_hours(_full(profile, each * CAPACITY_AH)) for each in (missing, more * missing))

    assert more_hours > hours or more_hours == hours == 0.0


@FEW
@given(profile=profiles, missing=st.floats(0.01, 1.0), more=st.floats(1.001, 1.2))
def test_hours_rise_with_the_charge_factor(profile, missing, more):
    higher = profile._replace(factor=more * profile.factor)
    hours, more_hours = (phases_hours(_full(one, missing * CAPACITY_AH)) for one in (profile, higher))
    if profile.kind in RETURNS_OWED:
        assert more_hours > hours
    else:
        assert more_hours == hours


@FEW
@given(profile=profiles, missing=st.floats(0.01, 1.0), more=st.floats(1.01, 3.0))
def test_hours_fall_with_the_main_current(profile, missing, more):
    """A stronger charger is never slower, with or without a last phase."""
    stronger = profile._replace(main_a=more * profile.main_a, w_start_a=more * profile.w_start_a)
    for to_soc in (1.0, 0.8):
        hours, fewer_hours = (
            phases_hours(
                charge_phases(one, CAPACITY_AH, missing * CAPACITY_AH, one.factor * missing * CAPACITY_AH, to_soc)
            )
            for one in (profile, stronger)
        )
        assert fewer_hours <= hours * (1.0 + 1e-9)


@FEW
@given(profile=profiles, missing=st.floats(0.01, 1.0), shares_of=st.tuples(shares, shares))
def test_current_is_the_slope_of_the_ampere_hours(profile, missing, shares_of):
    """Ampere-hours between two instants lie between the currents at both; a current never rises."""
    phases = _full(profile, missing * CAPACITY_AH)
    early_h, late_h = sorted(share * phases_hours(phases) for share in shares_of)
    given_ah = ah_after(phases, late_h) - ah_after(phases, early_h)

    assert given_ah <= current_after(phases, early_h) * (late_h - early_h) + 1e-6
    if late_h < phases_hours(phases):
        assert given_ah >= current_after(phases, late_h) * (late_h - early_h) - 1e-6


@FEW
@given(kind=st.sampled_from(KINDS), missing=st.floats(0.0, 1.0), to_soc=st.floats(0.05, 0.98))
def test_a_part_charge_stops_where_told_and_stores_all(kind, missing, to_soc):
    """A part charge reaches its mark, with no gas, and is nothing for a battery above the mark."""
    phases = charge_phases(PROFILES[kind], CAPACITY_AH, missing * CAPACITY_AH, 999.0, to_soc)
    if 1.0 - missing >= to_soc:
        assert phases_ah(phases) == pytest.approx(0.0, abs=1e-6)
    else:
        assert phases[-1].soc_to == pytest.approx(to_soc)
        assert phases_ah(phases) == pytest.approx((to_soc - 1.0 + missing) * CAPACITY_AH, abs=1e-6)
        assert gassing_ah(phases, CAPACITY_AH) == pytest.approx(0.0, abs=1e-6)


@FEW
@given(kind=st.sampled_from(KINDS), marks=st.lists(st.floats(0.05, 0.98), min_size=3, max_size=3))
def test_part_charges_add_up(kind, marks):
    """From a to c takes as long as from a to b and from b to c."""
    low, middle, high = sorted(marks)

    def hours(soc_from, soc_to):
        return phases_hours(charge_phases(PROFILES[kind], CAPACITY_AH, (1.0 - soc_from) * CAPACITY_AH, 0.0, soc_to))

    assert hours(low, high) == pytest.approx(hours(low, middle) + hours(middle, high), abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("to_soc", [1.0, 0.8])
def test_a_full_battery_needs_no_charge(kind, to_soc):
    assert charge_phases(PROFILES[kind], CAPACITY_AH, 0.0, 0.0, to_soc) == ()
    assert charge_phases(PROFILES[kind], CAPACITY_AH, -3.0, 0.0, to_soc) == ()


@pytest.mark.parametrize(
    ("kind", "phases"),
    [
        ("I", (Phase(2.0, 25.0, 0.0, 2.6, 1.0, 1.0, 1.0),)),
        ("IU", ()),
        ("IUIa", (Phase(2.0, 25.0, 0.0, 2.6, 1.0, 1.0, 1.0),)),
        ("IUI", (Phase(20.0, 2.5, 0.0, 2.5, 1.0, 1.0, 1.0),)),
        ("W", (Phase(2.5, 20.0, 0.0, 2.65, 1.0, 1.0),)),
        ("WoWa", (Phase(2.5, 20.0, 0.0, 2.65, 1.0, 1.0),)),
        ("CC-CV", ()),
    ],
)
def test_only_what_is_owed_is_left(kind, phases):
    """With nothing missing and 50 Ah owed, all but IU and CC-CV run their last current and it all makes gas."""
    charge = charge_phases(PROFILES[kind], CAPACITY_AH, 0.0, 50.0)

    assert charge == phases
    assert gassing_ah(charge, CAPACITY_AH) == pytest.approx(50.0 if phases else 0.0)


def test_a_charge_that_starts_above_gassing():
    """60 Ah missing of 500: IUIa starts at 60 A in its U phase, W at 20 + 20 * 60/100 = 32 A in its last."""
    iuia = _full(IUIA, 60.0)
    falling = _full(FALLING, 60.0)

    assert [phase.amps for phase in iuia] == pytest.approx([60.0, 25.0])
    assert iuia[0].hours == pytest.approx(math.log(60.0 / 25.0))
    assert iuia[1].hours == pytest.approx((1.15 * 60.0 - 35.0) / 25.0)
    assert [phase.amps for phase in falling] == pytest.approx([32.0])
    assert falling[0].hours == pytest.approx(72.0 / 12.0 * math.log(32.0 / 20.0))


def test_a_charge_that_starts_in_the_last_phase():
    """10 Ah missing of 500 is less than 25 A times 1 h: IUIa gives the 11.5 Ah owed at its end current."""
    (phase,) = _full(IUIA, 10.0)

    assert phase[:4] == pytest.approx((0.46, 25.0, 0.0, 2.6))
    assert phase.soc_to == pytest.approx(1.0 - 0.02 * math.exp(-0.46))


def test_iu_and_lithium_end_where_full():
    """IU stops at its mark; CC-CV when the current has fallen to the end current."""
    iu, lithium = _full(IU, 400.0), _full(LITHIUM, 400.0)

    assert iu[-1].soc_to == pytest.approx(0.99)
    assert charge_phases(IU, CAPACITY_AH, 4.9, 99.0) == ()
    assert lithium[-1].soc_to == pytest.approx(1.0)
    assert lithium[-1].amps * math.exp(-lithium[-1].decay_per_h * lithium[-1].hours) == pytest.approx(25.0)
    assert charge_phases(IU, CAPACITY_AH, 400.0, 460.0, 0.999) == iu


def test_an_opportunity_charge_on_iuia_is_iu():
    """A part charge has no last phase, however far it goes."""
    part = charge_phases(IUIA, CAPACITY_AH, 400.0, 460.0, 0.98)

    assert part == charge_phases(IU, CAPACITY_AH, 400.0, 460.0, 0.98)
    assert [phase.volts_per_cell for phase in part] == pytest.approx([2.1, 2.4])
    assert [phase.rise_v for phase in part] == pytest.approx([0.3, 0.0])


def test_a_site_limit_also_holds_the_last_current():
    """With 10 A to share out, IUIa is a constant current of 10 A."""
    limited = _full(_kind("IUIa", main_a=10.0), 400.0)

    assert {phase.amps for phase in limited} == {10.0}
    assert phases_hours(limited) == pytest.approx(46.0)


def test_a_falling_line_may_be_flat():
    """W with the same current throughout is a constant current."""
    flat = _kind("W", w_start_a=20.0, w_gassing_a=20.0)

    assert phases_hours(_full(flat, 400.0)) == pytest.approx(480.0 / 20.0)


def test_two_lines_halve_the_time_below_gassing():
    """WoWa is W with twice the current up to the onset of gassing, and then the same."""
    single, doubled = _full(FALLING, 400.0), _full(_kind("WoWa", factor=1.2), 400.0)

    assert doubled[0].hours == pytest.approx(single[0].hours / 2.0)
    assert [phase.amps for phase in doubled] == pytest.approx([140.0, 40.0])
    assert current_after(doubled, doubled[0].hours * (1.0 - 1e-12)) == pytest.approx(80.0)
    assert doubled[1] == single[1]
    assert _full(_kind("WoWa", w_first_factor=1.0, factor=1.2), 400.0) == single


def test_a_gel_charge_ends_at_a_very_small_current():
    """90 A until 90 Ah are missing, ln(90/2.5) h at the limit, then the 12.5 Ah still owed at 2.5 A."""
    gel = _full(GEL, 400.0)

    assert [phase.hours for phase in gel] == pytest.approx([310.0 / 90.0, math.log(36.0), 5.0])
    assert gel == _full(GEL._replace(kind="IUIa"), 400.0)


def test_less_owed_than_missing_still_fills_the_battery():
    """On W the state of charge cannot rise by more than is given; on IUIa the U phase is not cut short."""
    assert phases_ah(charge_phases(FALLING, CAPACITY_AH, 400.0, 0.0)) == pytest.approx(400.0)
    assert phases_ah(charge_phases(IUIA, CAPACITY_AH, 400.0, 0.0)) == pytest.approx(375.0)


def test_a_battery_drawn_below_its_rating():
    """520 Ah drawn from 500: the charge starts at soc -0.04."""
    for kind in KINDS:
        phases = _full(PROFILES[kind], 520.0)
        assert phases[0].soc_from == pytest.approx(-0.04)
        assert phases_hours(phases) > phases_hours(_full(PROFILES[kind], 500.0))


def test_before_and_after_a_charge():
    """Nothing has happened at its start, nothing happens after its end."""
    phases = _full(IUIA, 400.0)
    end_h = phases_hours(phases)

    assert cut(phases, 0.0) == ()
    assert cut(phases, end_h + 1.0) == phases
    assert rest_of(phases, 0.0) == rest_of(phases, -1.0) == phases
    assert rest_of(phases, end_h + 1.0) == ()
    assert soc_on_charge(phases, 0.0) == phases[0].soc_from
    assert soc_on_charge(phases, end_h + 1.0) == phases[-1].soc_to
    assert current_after(phases, 0.0) == 100.0
    assert current_after(phases, end_h) == 0.0
    assert ah_after(phases, end_h + 1.0) == pytest.approx(460.0)


def test_a_phase_that_makes_gas_is_cut_on_its_curve():
    """A tenth is missing and halves in every hour: a fortieth is left after 2 h."""
    last = (Phase(3.0, 5.0, 0.0, 2.6, 0.9, 0.9875, math.log(2.0)),)

    assert cut(last, 2.0)[0].soc_to == pytest.approx(0.975)
    assert rest_of(last, 2.0)[0].soc_from == pytest.approx(0.975)


def test_no_phases():
    """An empty charge takes no time, gives nothing and stores nothing."""
    assert phases_hours(()) == phases_ah(()) == phases_kwh((), 24) == gassing_ah((), CAPACITY_AH) == 0.0
    assert stored_ah_after((), 3.0, CAPACITY_AH) == current_after((), 0.0) == 0.0
    assert cut((), 1.0) == rest_of((), 1.0) == ()


def test_an_unknown_kind_is_refused():
    message = "kind must be one of I, IU, IUIa, IUI, W, WoWa, CC-CV (got 'Wa')"
    with pytest.raises(ValueError, match=_whole(message)):
        charge_phases(IUIA._replace(kind="Wa"), CAPACITY_AH, 400.0, 460.0)


@pytest.mark.parametrize(
    ("kind", "changes", "got"),
    [
        ("IU", {"full_soc": 1.0}, "full_soc 1, main_a 100 A, end_a 25 A, tau_h 1 h"),
        ("IUIa", {"end_a": 0.0}, "full_soc 0.99, main_a 100 A, end_a 0 A, tau_h 1 h"),
        ("IUI", {"tau_h": 0.0}, "full_soc 0.99, main_a 90 A, end_a 2.5 A, tau_h 0 h"),
        ("I", {"main_a": 0.0}, "full_soc 0.99, main_a 0 A, end_a 25 A, tau_h 1 h"),
        ("W", {"end_a": 0.0}, "full_soc 0.99, main_a 0 A, end_a 0 A, tau_h 0 h"),
        ("WoWa", {"end_a": 0.0}, "full_soc 0.99, main_a 0 A, end_a 0 A, tau_h 0 h"),
        ("CC-CV", {"tau_h": 0.0}, "full_soc 1, main_a 250 A, end_a 25 A, tau_h 0 h"),
    ],
)
def test_a_charge_without_end_is_refused(kind, changes, got):
    rule = "it needs full_soc below 1 (IU), or its last current and tau_h above 0 (others)"
    with pytest.raises(ValueError, match=_whole(f"a {kind} charge never ends: {rule} (got {got})")):
        charge_phases(_kind(kind, **changes), CAPACITY_AH, 400.0, 460.0)


@pytest.mark.parametrize("efficiency", [0.0, -0.5, 1.01])
def test_an_efficiency_is_a_share(efficiency):
    message = f"efficiency must be above 0 and at most 1 (got {efficiency:g})"
    with pytest.raises(ValueError, match=_whole(message)):
        wall_kwh(23.0, efficiency)
    with pytest.raises(ValueError, match=_whole(message)):
        peak_wall_kw(100.0, 2.4, 24, efficiency)


def test_a_charger_may_lose_nothing():
    assert wall_kwh(23.0, 1.0) == 23.0


# --- voltage of the main stage, and the most that a charger gives ---


def watts(phases, hours):
    """Power into a cell after some hours."""
    rest = rest_of(phases, hours)
    return rest[0].amps * rest[0].volts_per_cell if rest else 0.0


def test_the_voltage_of_the_main_stage_rises_to_its_limit():
    """20 A on 100 Ah: 2.1 V at 20 % and 2.4 V at 80 %, in between along a straight line; 2.25 V in the mean."""
    iuia = IUIA._replace(main_a=20.0, end_a=5.0)
    charge = charge_phases(iuia, 100.0, 80.0, 92.0)

    assert [watts(charge, hours) for hours in (0.0, 1.5, 3.0 - 1e-9)] == pytest.approx([42.0, 45.0, 48.0])
    assert phases_kwh(charge[:1], 24) == pytest.approx(24 * 2.25 * 60.0 / 1000.0)
    assert watts(charge, 3.0) == pytest.approx(48.0)


def test_the_voltage_of_a_falling_current_rises_as_the_current_falls():
    """16 A at 2.0 V, 8 A at 2.4 V, 4 A at 2.65 V: each current has one voltage, on the line of DIN 41774."""
    wa = FALLING._replace(end_a=4.0, w_start_a=14.0, w_gassing_a=8.0)
    charge = charge_phases(wa, 100.0, 100.0, 120.0)

    for hours in np.linspace(0.0, phases_hours(charge), 50, endpoint=False):
        first = rest_of(charge, float(hours))[0]
        assert first.volts_per_cell == pytest.approx(np.interp(first.amps, [4.0, 8.0, 16.0], [2.65, 2.4, 2.0]))


def test_a_falling_charger_may_give_most_between_the_points_of_its_line():
    """By hand, from 12 A at 2.0 V to 10 A at 2.4 V: (12 - 2 x) (2 + 0.4 x) = 24 + 0.8 x - 0.8 x2, most at half."""
    flat = FALLING._replace(end_a=5.0, w_start_a=12.0, w_start_soc=0.0, w_gassing_a=10.0)

    assert greatest_load(flat) == pytest.approx((11.0, 2.2))
    assert max(greatest_va(phase) for phase in charge_phases(flat, 100.0, 100.0, 120.0)) == pytest.approx(24.2)


@FEW
@given(profile=profiles, missing=st.floats(0.01, 1.2), shares_of=st.tuples(shares, shares), to_soc=st.floats(0.5, 1.0))
def test_no_charge_ever_takes_more_than_the_greatest_load(profile, missing, shares_of, to_soc):
    """Whatever was drawn before, wherever it is interrupted; and an energy is the integral of current and voltage."""
    missing_ah = missing * CAPACITY_AH
    phases = charge_phases(profile, CAPACITY_AH, missing_ah, profile.factor * missing_ah, to_soc)
    most = math.prod(greatest_load(profile))
    one, other = sorted(share * phases_hours(phases) for share in shares_of)
    part = cut(rest_of(phases, one), other - one)

    assert all(greatest_va(phase) <= most * (1.0 + 1e-9) for phase in phases)
    assert phases_kwh(part, 1) * 1000.0 <= most * (other - one) * (1.0 + 1e-9) + 1e-9
    times = np.linspace(one, other, 501)
    halves = (times[1:] + times[:-1]) / 2.0
    integral = sum(watts(phases, float(each)) for each in halves) * (other - one) / halves.size
    assert phases_kwh(part, 1) * 1000.0 == pytest.approx(integral, rel=0.01, abs=1e-3 * most)
