"""Levers: what a layout may do otherwise with nothing bought; each found again in the outcome."""

from typing import Any

import numpy as np
import pytest

import batsim
from batsim.measures import measure
from batsim.measures.electrical_load import loads
from batsim.measures.windows import Measured
from batsim.record.words import ATTENDANT, DRIVER, EARLY, EXCHANGING, IN_BREAK, SHIFT_CHANGE
from batsim.scenario.parts.fixed import COUNTS, FIXABLE
from batsim.scenario.parts.fixed import LEVERS as FIXABLE_LEVERS
from batsim.study.levers import (
    AT_LEVEL,
    BY_ATTENDANTS,
    BY_DRIVERS,
    DELAY,
    IN_BREAKS,
    LOOSE_LEADS,
    NOT_ABOVE,
    POWER_LIMIT,
    SPREAD,
    SUBJECTS,
    WITHOUT_ATTENDANTS,
    Choice,
    Lever,
    choices_of,
    levers_of,
    with_levers,
)
from batsim.study.levers import (
    EARLY as COME_EARLY,
)

KESTREL = batsim.read("scenarios/kestrel-lane.yaml")
SALTMARSH = batsim.read("scenarios/saltmarsh-road.yaml")
DAY_MIN, SHIFT_MIN, SHIFT_END_MIN = 1440.0, 480.0, 360.0
"""Length of a day and of a shift, and when the first of the day ends. [min]"""
LATE_MIN = (840.0, 1320.0)
"""Beginning and end of the late shift. [min of the day]"""
SHIFTS = ("early", "late", "night")
ROUNDING_MIN = 1e-6


def record(scenario: batsim.Scenario, layout: str, *levers: Lever) -> batsim.Record:
    """One week of a layout with some things done otherwise."""
    return batsim.simulate(with_levers(scenario, layout, levers), layout, settings=batsim.Settings(weeks=1))


def reasons(found: batsim.Record, group: int) -> set[int]:
    """Why trucks of a group came."""
    rows = found.columns("exchanges")
    return set(rows["reason"][rows["group"] == group].astype(int).tolist())


def test_what_a_layout_may_do_otherwise() -> None:
    """What it does not do already; trucks that come at their level alone have no shift change to come at."""
    assert levers_of(KESTREL, "side rollers") == [
        Lever(SPREAD, "docks"), Lever(NOT_ABOVE, "docks"), Lever(AT_LEVEL, "docks"), Lever(COME_EARLY, "docks"),
        Lever(IN_BREAKS, "docks"), Lever(COME_EARLY, "aisles"), Lever(IN_BREAKS, "aisles"),
        Lever(BY_DRIVERS, ""), Lever(LOOSE_LEADS, ""),
    ]  # fmt: skip
    assert levers_of(KESTREL, "in the truck") == []
    kinds = [(lever.kind, lever.of) for lever in levers_of(SALTMARSH, "each its own way")]
    assert (LOOSE_LEADS, "reach") in kinds
    assert (BY_DRIVERS, "reach") in kinds  # at night an attendant does it
    assert (BY_DRIVERS, "yard") not in kinds
    assert all(of != "pickers" for _, of in kinds)


def test_trucks_whose_run_time_is_stated_do_not_come_early() -> None:
    """Of the other times, breaks alone are left to them."""
    timed = batsim.changed(KESTREL, {"trucks[1].run_time": "5 h", "trucks[1].duty": None})
    assert [lever.kind for lever in levers_of(timed, "side rollers") if lever.of == "aisles"] == [IN_BREAKS]


def test_the_words_of_a_lever() -> None:
    """They name whom it concerns, and what is asked of them."""
    said = {lever.kind: lever.label(KESTREL) for lever in levers_of(KESTREL, "side rollers")}
    assert said[SPREAD] == "let the trucks of 'docks' come over 30 min before a shift ends"
    assert said[BY_DRIVERS] == "let drivers exchange"
    assert said[NOT_ABOVE] == "let only trucks of 'docks' below 35 % come at a shift change"
    reach = Lever(BY_DRIVERS, "reach")
    assert reach.label(SALTMARSH) == "let drivers of 'reach' exchange"


@pytest.mark.parametrize(
    ("lever", "label"),
    [
        (Lever(SPREAD, "reach", 60.0), "let the trucks of 'reach' come over 60 min before a shift ends"),
        (Lever(SPREAD, "reach"), "let the trucks of 'reach' come over 30 min before a shift ends"),
        (Lever(NOT_ABOVE, "reach", 30.0), "let only trucks of 'reach' below 30 % come at a shift change"),
        (Lever(COME_EARLY, "reach", 45.0), "let the trucks of 'reach' come below 45 % when none waits"),
        (Lever(IN_BREAKS, "reach", 55.5), "let the trucks of 'reach' come in breaks below 55.5 %"),
        (Lever(BY_DRIVERS, "reach", shift="night"), "let drivers of 'reach' exchange in shift 'night'"),
        (Lever(BY_ATTENDANTS, "", shift="early"), "let attendants exchange in shift 'early'"),
        (Lever(WITHOUT_ATTENDANTS, ""), "do without attendants: drivers do it all"),
        (Lever(DELAY, ""), "begin each charge 120 min after it is connected"),
        (Lever(DELAY, "", 45.0), "begin each charge 45 min after it is connected"),
        (Lever(POWER_LIMIT, "", 96.0), "let all chargers together draw at most 96 kW"),
    ],
)
def test_words_with_a_value_and_a_shift(lever: Lever, label: str) -> None:
    """A value of its own in place of the figure's; the figure's where it has none."""
    assert lever.label(SALTMARSH) == label


def test_the_words_follow_the_figures_of_the_scenario() -> None:
    """A figure that is stated anew is said; a value of the lever's own stays."""
    longer = batsim.changed(SALTMARSH, {"figures": {"lever.delay": "90 min"}})

    assert Lever(DELAY, "").label(longer) == "begin each charge 90 min after it is connected"
    assert Lever(DELAY, "", 45.0).label(longer) == Lever(DELAY, "", 45.0).label(SALTMARSH)
    assert (Lever(DELAY, "").number(longer), Lever(DELAY, "", 45.0).number(longer)) == (90.0, 45.0)


# --- what a plan may choose ---


def in_words(scenario: batsim.Scenario, choices: list[Choice]) -> dict[str, list[list[str]]]:
    """What may be done otherwise in words, by what it is about and whom it concerns: the ways of each choice."""
    found: dict[str, list[list[str]]] = {}
    for subject, options, of in choices:
        assert options[0] == ()
        assert all(len(way) == 1 for way in options[1:])
        ways = [lever.label(scenario) for (lever,) in options[1:]]
        found.setdefault(f"{subject} {of}".rstrip(), []).append(ways)
    return found


EARLIER = "let the trucks of {} come below 50 % when none waits"
BREAKS = "let the trucks of {} come in breaks below 50 %"
AT_ITS_LEVEL = "let the trucks of {} come at their level and not at the shift change"
SHORT_ALONE = "let only trucks of {} below 35 % come at a shift change"
OVER = "let the trucks of {} come over {} min before a shift ends"
NOBODY = "do without attendants: drivers do it all"
DELAYED, LIMITED = "begin each charge 120 min after it is connected", "let all chargers together draw at most 102 kW"


def test_what_kestrel_lane_may_choose() -> None:
    """When each group comes, who exchanges in each shift, whether anybody is on duty, leads, delay and power."""
    docks = [[OVER.format("'docks'", 30), OVER.format("'docks'", 60), AT_ITS_LEVEL.format("'docks'")]]
    docks += [[text.format("'docks'")] for text in (SHORT_ALONE, EARLIER, BREAKS)]
    exchanging = {
        "exchange_when docks": docks,
        "exchange_when aisles": [[EARLIER.format("'aisles'")], [BREAKS.format("'aisles'")]],
        "exchange_by": [
            ["let drivers exchange in shift 'early'"],
            ["let drivers exchange in shift 'late'"],
            ["let drivers exchange in shift 'night'"],
            [NOBODY],
        ],
        "charging": [[DELAYED], [LIMITED]],
    }
    leads = {"charger_leads": [["lead the chargers loose"]]}

    assert in_words(KESTREL, choices_of(KESTREL, "side rollers", 127.5)) == exchanging | leads
    assert in_words(KESTREL, choices_of(KESTREL, "portable stands", 127.5)) == exchanging
    assert in_words(KESTREL, choices_of(KESTREL, "hoist", 127.5)) == exchanging
    assert in_words(KESTREL, choices_of(KESTREL, "in the truck", 127.5)) == {"charging": [[DELAYED], [LIMITED]]}


def test_what_saltmarsh_road_may_choose() -> None:
    """Area by area; nothing of trucks that are charged in the truck, and no attendants by day where none is there."""
    reach = [[OVER.format("'reach'", 60), AT_ITS_LEVEL.format("'reach'")]]
    reach += [[text.format("'reach'")] for text in (SHORT_ALONE, EARLIER, BREAKS)]
    counterbalance = [[EARLIER.format("'counterbalance'")], [BREAKS.format("'counterbalance'")]]
    everywhere = {"exchange_by": [[NOBODY]], "charging": [[DELAYED], [LIMITED]]}

    assert in_words(SALTMARSH, choices_of(SALTMARSH, "today", 127.5)) == everywhere | {
        "exchange_when reach": reach,
        "exchange_when counterbalance": counterbalance,
        "exchange_when pickers": [[EARLIER.format("'pickers'")], [BREAKS.format("'pickers'")]],
        "exchange_by reach": [[f"let drivers of 'reach' exchange in shift '{each}'"] for each in SHIFTS],
        "exchange_by yard": [[f"let drivers of 'yard' exchange in shift '{each}'"] for each in SHIFTS[:2]],
        "exchange_by picking": [[f"let drivers of 'picking' exchange in shift '{each}'"] for each in SHIFTS[:2]],
    }
    assert in_words(SALTMARSH, choices_of(SALTMARSH, "each its own way", 127.5)) == everywhere | {
        "exchange_when reach": reach,
        "exchange_when counterbalance": counterbalance,
        "exchange_by reach": [["let drivers of 'reach' exchange in shift 'night'"]],
        "charger_leads reach": [["lead the chargers of 'reach' loose"]],
    }
    assert in_words(SALTMARSH, choices_of(SALTMARSH, "all plugged in", 127.5)) == {"charging": [[DELAYED], [LIMITED]]}


def test_every_choice_is_about_what_a_layout_may_fix() -> None:
    """The words of `fixed:` are those of the counts and of the subjects, so that each choice can be ruled out."""
    assert FIXABLE_LEVERS == SUBJECTS
    assert {choice.subject for choice in choices_of(KESTREL, "side rollers", 100.0)} == set(SUBJECTS)
    assert FIXABLE["levers"] == SUBJECTS
    assert FIXABLE["counts"] == COUNTS
    assert {name: FIXABLE[name] for name in (*COUNTS, *SUBJECTS)} == {name: (name,) for name in (*COUNTS, *SUBJECTS)}


@pytest.mark.parametrize(
    ("changes", "gone"),
    [
        ({"charging": {"delay": "10 min"}}, DELAYED),
        ({"charging": {"power_limit": "500 kW"}}, LIMITED),
        ({"layouts.hoist.charging": {"delay": "10 min"}}, DELAYED),
        ({"trucks[0].exchange_when.not_above": "35 %"}, SHORT_ALONE.format("'docks'")),
        ({"trucks[0].exchange_when.spread": "30 min"}, OVER.format("'docks'", 30)),
        ({"trucks[0].exchange_when.spread": "60 min"}, OVER.format("'docks'", 60)),
        ({"trucks[0].exchange_when.shift_change": "always"}, SHORT_ALONE.format("'docks'")),
        ({"trucks[0].exchange_when.shift_change": "never"}, AT_ITS_LEVEL.format("'docks'")),
        ({"trucks[1].exchange_when": {"early_below": "60 %"}}, EARLIER.format("'aisles'")),
        ({"trucks[1].exchange_when": {"in_breaks_below": "60 %"}}, BREAKS.format("'aisles'")),
        ({"layouts.hoist.exchange_by": {"early": "drivers"}}, "let drivers exchange in shift 'early'"),
        ({"layouts.hoist.attendants": None}, NOBODY),
        ({"layouts.hoist.attendants": None}, "let drivers exchange in shift 'late'"),
    ],
)
def test_what_is_done_already_is_not_offered(changes: dict[str, Any], gone: str) -> None:
    """It is one of the ways before, and not after."""
    before, after = (ways_of(site, "hoist") for site in (KESTREL, batsim.changed(KESTREL, changes)))

    assert gone in before - after


@pytest.mark.parametrize(
    ("file", "layout", "changes", "forbidden"),
    [
        # A level for early calls that lies below the one at which trucks go anyhow.
        (KESTREL, "hoist", {"figures": {"lever.early": "20 %"}}, [Lever(COME_EARLY, "docks")]),
        # So little power that the chargers' standby takes it all, and less than their charges begin with.
        (KESTREL, "hoist", {}, [Lever(POWER_LIMIT, "", 1.0)]),
        # Charges whose time is stated know nothing of power.
        (KESTREL, "hoist", {"batteries.*.charge_time": "8 h"}, [Lever(POWER_LIMIT, "", 102.0)]),
        # Nobody is on duty by day who could.
        (SALTMARSH, "each its own way", {}, [Lever(BY_ATTENDANTS, "reach", shift="early")]),
        (SALTMARSH, "each its own way", {}, [Lever(BY_ATTENDANTS, "yard", shift="late")]),
    ],
)
def test_what_a_rule_forbids_is_not_offered(
    file: batsim.Scenario, layout: str, changes: dict[str, Any], forbidden: list[Lever]
) -> None:
    """It is refused where it is asked for, and no choice has it."""
    site = batsim.changed(file, changes)
    peak_kw = 1.0 if Lever(POWER_LIMIT, "", 1.0) in forbidden else 127.5

    assert tuple(forbidden) not in {way for choice in choices_of(site, layout, peak_kw) for way in choice.options}
    with pytest.raises(batsim.ScenarioError):
        with_levers(site, layout, forbidden)


def ways_of(scenario: batsim.Scenario, layout: str) -> set[str]:
    """All that a layout may do otherwise, in words."""
    found = in_words(scenario, choices_of(scenario, layout, 127.5))
    return {way for choices in found.values() for ways in choices for way in ways}


# --- in the outcome ---


def test_when_trucks_come() -> None:
    """At the shift change as stated; with a lever over some time, at their level, early, or in breaks too."""
    assert reasons(record(KESTREL, "hoist"), 0) == {0, SHIFT_CHANGE}
    assert SHIFT_CHANGE not in reasons(record(KESTREL, "hoist", Lever(AT_LEVEL, "docks")), 0)
    assert EARLY in reasons(record(KESTREL, "hoist", Lever(COME_EARLY, "aisles")), 1)
    assert IN_BREAK in reasons(record(KESTREL, "hoist", Lever(IN_BREAKS, "aisles")), 1)
    spread = with_levers(KESTREL, "hoist", [Lever(SPREAD, "docks")]).in_layout("hoist").trucks[0].exchange_when
    assert (spread.spread.over_min, spread.before_shift_end_min, spread.shift_change) == (30.0, 10.0, "if_short")


def exchanged_at(found: batsim.Record) -> list[float]:
    """Minutes of the day at which exchanges of the reach trucks began."""
    rows = found.columns("exchanges")
    return (rows["start_min"][(rows["group"] == 0) & (rows["station"] >= 0)] % 1440.0).tolist()


def by_attendants_min(found: batsim.Record) -> float:
    """Minutes that attendants work on exchanges in the reach trucks' area."""
    work = found.columns("work")
    mine = (work["task"] == EXCHANGING) & (work["area"] == 0) & (work["person"] == ATTENDANT)
    return float(work["hands_on_min"][mine].sum())


def test_who_exchanges() -> None:
    """As stated drivers do by day and an attendant at night; by a lever drivers always, or the attendant, at night."""
    layout = "each its own way"
    stated = record(SALTMARSH, layout)
    drivers = record(SALTMARSH, layout, Lever(BY_DRIVERS, "reach"))
    attendants = record(SALTMARSH, layout, Lever(BY_ATTENDANTS, "reach"))

    assert by_attendants_min(stated) > 0.0
    assert by_attendants_min(drivers) == 0.0
    assert any(7 * 60.0 < minutes < 21 * 60.0 for minutes in exchanged_at(stated))
    assert exchanged_at(attendants)
    assert not any(7 * 60.0 < minutes < 21 * 60.0 for minutes in exchanged_at(attendants))


def test_levers_go_together_and_change_nothing_else() -> None:
    """Two of one group hold both; the other layouts stay as they are."""
    both = with_levers(KESTREL, "hoist", [Lever(SPREAD, "docks"), Lever(IN_BREAKS, "docks")])
    when = both.in_layout("hoist").trucks[0].exchange_when
    assert (when.spread.over_min, when.in_breaks_below_share) == (30.0, 0.5)
    assert both.layouts["side rollers"] == KESTREL.layouts["side rollers"]
    assert both.trucks == KESTREL.trucks


def test_a_lever_that_breaks_a_rule_is_not_offered_and_refused() -> None:
    """A level for early calls below the exchange level; attendants where there are none."""
    low = batsim.changed(KESTREL, {"figures": {"lever.early": "20 %"}})
    assert Lever(COME_EARLY, "aisles") not in levers_of(low, "hoist")
    with pytest.raises(batsim.ScenarioError, match="must lie above 'exchange_at'"):
        with_levers(low, "hoist", [Lever(COME_EARLY, "aisles")])
    joinery = batsim.read("scenarios/alder-street-joinery.yaml")
    assert BY_ATTENDANTS not in {lever.kind for lever in levers_of(joinery, "portable stands")}


# --- what is found again in the outcome ---


def came_at_shift_change(found: batsim.Record, group: int) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    """Visits of a group for the shift change."""
    rows = found.columns("exchanges")
    mine = (rows["group"] == group) & (rows["reason"] == SHIFT_CHANGE)
    return {name: column[mine] for name, column in rows.items()}


@pytest.mark.parametrize(("value", "below"), [(0.0, 0.35), (30.0, 0.30)])
def test_fewer_come_at_a_shift_change_and_none_above_the_level(value: float, below: float) -> None:
    """As stated trucks with up to half of their charge come; with the lever only those that are below its level."""
    stated = came_at_shift_change(record(KESTREL, "hoist"), 0)
    fewer = came_at_shift_change(record(KESTREL, "hoist", Lever(NOT_ABOVE, "docks", value)), 0)

    assert 0 < fewer["truck"].size < 0.5 * stated["truck"].size
    assert fewer["soc_share"].max() <= below < stated["soc_share"].max()


@pytest.mark.parametrize(("value", "over_min"), [(0.0, 30.0), (60.0, 60.0)])
def test_trucks_come_spread_over_some_time(value: float, over_min: float) -> None:
    """Twelve trucks leave one after another, evenly, the last 10 min before the end; as stated all leave together."""
    stated = came_at_shift_change(record(KESTREL, "hoist"), 0)
    spread = came_at_shift_change(record(KESTREL, "hoist", Lever(SPREAD, "docks", value)), 0)
    last_min, each_min = SHIFT_END_MIN - 10.0, over_min / 12.0

    assert set(stated["left_min"] % SHIFT_MIN) == {last_min}
    before_last = (last_min - spread["left_min"] % SHIFT_MIN) / each_min
    assert set(np.round(before_last).astype(int)) == set(range(12))
    assert before_last == pytest.approx(np.round(before_last))


@pytest.mark.parametrize("layout", ["hoist", "in the truck"])
@pytest.mark.parametrize(("value", "delay_min"), [(0.0, 120.0), (45.0, 45.0)])
def test_no_charge_begins_before_the_delay(layout: str, value: float, delay_min: float) -> None:
    """So many minutes after the battery is connected; as stated charges begin as soon as it is."""
    stated, delayed = (
        charges["start_min"] - charges["connected_min"]
        for charges in (
            record(KESTREL, layout, *levers).columns("charges") for levers in ((), (Lever(DELAY, "", value),))
        )
    )

    assert np.isfinite(delayed).sum() > 10
    assert np.nanmin(delayed) >= delay_min - ROUNDING_MIN
    assert np.nanmin(stated) < 1.0


@pytest.mark.parametrize("limit_kw", [60.0, 100.0])
def test_the_load_is_never_above_a_power_limit(limit_kw: float) -> None:
    """In no quarter of an hour of a week, and it is reached; without the lever it is passed."""
    stated, limited = (
        loads(Measured(record(KESTREL, "hoist", *levers)))[0] for levers in ((), (Lever(POWER_LIMIT, "", limit_kw),))
    )

    assert 0.9 * limit_kw < limited.max() <= limit_kw
    assert stated.max() > limit_kw


def test_a_power_limit_is_a_part_of_the_peak() -> None:
    """80 % of the peak that is given, in whole kW; none without a peak, and one that is stated stays."""
    of_peak = [way for choice in choices_of(KESTREL, "hoist", 131.9) for way in choice.options]
    without = [way for choice in choices_of(KESTREL, "hoist") for way in choice.options]

    assert (Lever(POWER_LIMIT, "", 106.0),) in of_peak
    assert {lever.kind for way in of_peak for lever in way} - {lever.kind for way in without for lever in way} == {
        POWER_LIMIT
    }


@pytest.mark.parametrize(
    ("scenario", "layout"), [(KESTREL, "side rollers"), (SALTMARSH, "today"), (SALTMARSH, "each its own way")]
)
def test_without_attendants_drivers_do_it_all(scenario: batsim.Scenario, layout: str) -> None:
    """Nobody is on duty, in no area, and no attendant works; drivers exchange, connect and water."""
    stated, alone = (record(scenario, layout, *levers) for levers in ((), (Lever(WITHOUT_ATTENDANTS, ""),)))
    busy = [measure(each)["attendants_busy_share"] for each in (stated, alone)]
    tasks = [
        {who: set(rows["task"][rows["person"] == who].astype(int).tolist()) for who in (ATTENDANT, DRIVER)}
        for rows in (stated.columns("work"), alone.columns("work"))
    ]

    assert busy[0] > 0.0
    assert np.isnan(busy[1])
    assert tasks[1][ATTENDANT] == set() != tasks[0][ATTENDANT]
    assert tasks[1][DRIVER] >= tasks[0][ATTENDANT]
    assert with_levers(scenario, layout, [Lever(WITHOUT_ATTENDANTS, "")]).layouts[layout].drivers_only


def by_attendants(found: batsim.Record, *, late: bool) -> set[bool]:
    """Whether attendants are at work when exchanges of the first area begin, in the late shift or in the others."""
    work, visits = found.columns("work"), found.columns("exchanges")
    own = (work["person"] == ATTENDANT) & (work["task"] == EXCHANGING) & (work["area"] == 0) & (work["overtime"] == 0)
    starts = visits["start_min"][(visits["group"] == 0) & (visits["station"] >= 0) & np.isfinite(visits["start_min"])]
    in_late = (starts % DAY_MIN >= LATE_MIN[0]) & (starts % DAY_MIN < LATE_MIN[1])
    return set(np.isin(starts[in_late == late], work["start_min"][own]).tolist())


def test_others_exchange_in_one_shift_alone() -> None:
    """Attendants do it all as stated; with the lever drivers do in the late shift, attendants still in the others."""
    stated, late = (record(KESTREL, "side rollers", *levers) for levers in ((), (Lever(BY_DRIVERS, "", shift="late"),)))

    assert (by_attendants(stated, late=True), by_attendants(stated, late=False)) == ({True}, {True})
    assert (by_attendants(late, late=True), by_attendants(late, late=False)) == ({False}, {True})


def test_who_exchanges_in_one_shift_is_a_word_of_each_group() -> None:
    """Of the groups that work in it, by shift; one word where it is the same in all. The other areas stay."""
    late = with_levers(SALTMARSH, "today", [Lever(BY_DRIVERS, "reach", shift="late")]).layouts["today"]
    night = with_levers(SALTMARSH, "each its own way", [Lever(BY_DRIVERS, "reach", shift="night")])
    all_day = with_levers(
        SALTMARSH, "today", [Lever(BY_DRIVERS, "yard", shift="early"), Lever(BY_DRIVERS, "yard", shift="late")]
    )

    assert late.trucks["reach"].exchange_by == {"early": "attendants", "late": "drivers", "night": "attendants"}
    assert set(late.trucks) == {"reach"}
    assert night.layouts["each its own way"].trucks["reach"].exchange_by == "drivers"
    assert all_day.layouts["today"].trucks["counterbalance"].exchange_by == "drivers"


def test_drivers_at_night_take_the_exchanges_from_the_attendant() -> None:
    """In the one shift in which an attendant exchanges as stated; the one on duty still waters."""
    found = record(SALTMARSH, "each its own way", Lever(BY_DRIVERS, "reach", shift="night"))
    work = found.columns("work")

    assert by_attendants_min(found) == 0.0
    assert (work["person"] == ATTENDANT).any()


def test_new_levers_go_together() -> None:
    """All of them on one layout; each is still found."""
    levers = [
        Lever(SPREAD, "docks", 60.0), Lever(NOT_ABOVE, "docks"), Lever(BY_DRIVERS, "", shift="late"),
        Lever(DELAY, "", 45.0), Lever(POWER_LIMIT, "", 100.0), Lever(WITHOUT_ATTENDANTS, ""),
    ]  # fmt: skip
    site = with_levers(KESTREL, "hoist", levers)
    when, rules = site.in_layout("hoist").trucks[0].exchange_when, site.charging_of("hoist")

    assert (when.spread.over_min, when.not_above_share) == (60.0, 0.35)
    assert (rules.delay_min, rules.power_limit_kw) == (45.0, 100.0)
    assert site.layouts["hoist"].drivers_only
    assert (KESTREL.charging_of("hoist").delay_min, site.charging_of("side rollers")) == (0.0, KESTREL.charging)
