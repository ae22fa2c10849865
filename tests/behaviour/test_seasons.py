"""Seasons: what is stated of them is what is run, judged and added up, beside the normal weeks."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.decision.decide import decide
from batsim.decision.recommendation import recommend
from batsim.plan.evidence import evidence
from batsim.plan.plan import plan_layouts
from batsim.scenario.parts.week import Weeks
from batsim.scenario.reading import source_of
from batsim.scenario.settings import Settings
from batsim.study.compare import Comparison, compare
from batsim.study.cost import UnitCosts
from batsim.study.limits import limits_of
from batsim.study.running.counts import Counted
from batsim.study.running.jobs import Job, Work, outcome_of
from batsim.study.sweeps.agenda import cases_of
from batsim.views.text.tables import comparison_text
from tests.behaviour.ledger import CASES, room, rows_of
from tests.runs import record_of

CASE, FILE = "season_room.yaml", CASES / "season_room.yaml"
WEEK_MIN, SEASON, ALONE = 7 * 1440.0, "47-51", Settings(workers=1)
MORE = {"layouts.room.batteries": 14, "layouts.room.chargers": "14 x electronic_iuia", "trucks[0].exchange_at": "30 %"}
"""More than enough of everything."""
SPREAD = {"trucks[0].duty": {"mean_power": "4 kW", "between_trucks": "20 %", "between_shifts": "30 %"}}


def compared(changes: dict[str, object] | None = None, **settings: object) -> Comparison:
    """The room, compared."""
    return compare(room(changes, CASE), replace(ALONE, **settings))


def most_power(record: batsim.Record, scenario: batsim.Scenario) -> float:
    """Greatest power that is drawn for a truck-shift. [W]"""
    return float(np.max(record.columns("truck_shifts")["power_w"]))


def means(comparison: Comparison, measure: str) -> list[float]:
    """Means of a measure in normal weeks and in each season."""
    return [part.runs.interval("room", measure).mean for part in comparison.parts]


# --- what is stated is what is run ---


def test_power_drawn_in_a_season_is_the_stated_one_times_its_factor():
    """Truck-shift by truck-shift; the warm-up before it has the power of its own weeks."""
    record = record_of(room({}, CASE).in_weeks(Weeks(47, 51)), "room")
    powers = [(row["start_min"] >= WEEK_MIN, row["power_w"]) for row in rows_of(record, "truck_shifts")]

    assert {round(power, 9) for in_season, power in powers if in_season} == {6000.0}
    assert {round(power, 9) for in_season, power in powers if not in_season} == {4000.0}


def test_powers_that_vary_have_the_factor_too():
    """From the same streams: each truck-shift draws the same power as in a normal week, times the factor."""
    stated = room({**SPREAD, "week.shifts.Saturday.weeks": None}, CASE)
    normal, season = (record_of(stated.in_weeks(weeks), "room") for weeks in (None, Weeks(47, 51)))
    factor = np.where(normal.columns("truck_shifts")["start_min"] >= WEEK_MIN, 1.5, 1.0)

    assert season.columns("truck_shifts")["power_w"] == pytest.approx(
        factor * normal.columns("truck_shifts")["power_w"]
    )


def test_exchanges_follow_the_factor():
    """With enough of everything, and run times that say so: half as many again, in an interval that is narrow."""
    stated = {"run_time": "100 min", "duty": None}
    trucks = [{"group": "trucks", "count": 3, "shifts": ["day"], "battery": "plain", "exchange_at": "20 %", **stated}]
    always = {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}
    comparison = compared(
        {
            "trucks": trucks,
            "week.shifts": {"day": always},
            "layouts.room.attendants": "unlimited",
            "handling.hands.steps[0].time": "0 min",
            "batteries.plain.charge_time": "60 min",
            **MORE,
        },
        weeks=4.0,
    )
    normal, season = (part.runs.values["room"]["exchanges_per_day"] for part in comparison.parts)

    assert np.mean(normal) == pytest.approx(3 * 1440.0 / 100.0, rel=0.005)
    assert season / normal == pytest.approx(np.full(3, 1.5), rel=0.01)


def test_start_week_says_nothing_of_what_is_compared():
    """Normal weeks are normal and the season is the season, wherever a run by the calendar would begin."""
    first, in_season = (compared({"simulation.start_week": week}) for week in (1, 48))

    for one, other in zip(first.parts, in_season.parts, strict=True):
        assert repr(one.runs.values) == repr(other.runs.values)


def test_a_run_by_the_calendar_begins_in_its_week():
    """One run looked at, and the points of a sweep; jobs of other studies are of normal weeks."""
    scenario = room({"simulation.start_week": 47}, CASE)
    kept = {"factors": [], "length_min": 2 * WEEK_MIN, "warm_up_min": WEEK_MIN, "replications": 1, "seed": 1}
    sweep = next(cases_of({**kept, "layouts": {"room": "00"}}, {})).job
    study = Job("room", 0, 1, 2 * WEEK_MIN, WEEK_MIN)
    powers = [outcome_of(Work((scenario,), most_power), job) for job in (sweep, study)]

    assert [most_power(record_of(scenario, "room"), scenario), *powers] == pytest.approx([6000.0, 6000.0, 4000.0])


def test_a_season_lasts_as_long_as_it_does():
    """Or as long as a run, where that is shorter; a warm-up of part of a week lies in its first week."""
    lengths = {
        (weeks, warm_up): compared(replications=1, weeks=weeks, warm_up_weeks=warm_up).seasons[SEASON].schedule.weeks
        for weeks, warm_up in ((1.0, 1.0), (8.0, 1.0), (8.0, 1.5))
    }

    assert lengths == {(1.0, 1.0): 1.0, (8.0, 1.0): 5.0, (8.0, 1.5): 4.5}


def test_normal_weeks_are_those_of_a_scenario_without_a_season():
    """Bit for bit, and without one nothing more is run or said."""
    without = {"demand": {}, "week.shifts.Saturday.weeks": "1"}  # a shift in a week that is never reached
    plain = compared({"demand": {}, "week.shifts": {"day": {"days": "Mon-Fri", "from": "06:00", "to": "14:00"}},
                      "trucks[0].shifts": ["day"], "layouts.room.attendants": {"day": 1}})  # fmt: skip
    seasonal = compared()

    assert repr(plain.runs.values) == repr(seasonal.runs.values) == repr(compared(without).runs.values)
    assert (plain.seasons, "seasons" in plain.as_json(), "seasons" in plain.as_json()["layouts"]["room"]) == (
        {},
        False,
        False,
    )
    assert not any(word in comparison_text(plain) for word in ("In weeks", "normal", "each season"))


def test_holidays_keep_their_calendar_week():
    """Week 3 of a run that starts in week 45 is week 47: that Monday is free in the first week of the season."""
    scenario = room({"week.holidays": ["week 3 Mon"], "simulation.start_week": 45}, CASE)
    record = record_of(scenario.in_weeks(Weeks(47, 51)), "room", length_min=3 * WEEK_MIN)
    days = {row["start_min"] // 1440.0 for row in rows_of(record, "truck_shifts")}

    assert 7.0 not in days
    assert {8.0, 14.0, 21.0} <= days


# --- shifts with weeks of their own ---


def test_a_shift_works_in_its_weeks_only():
    """Saturday morning in the season; working days, truck-shifts and duty of attendants are those of its calendar."""
    comparison = compared(replications=1)

    assert means(comparison, "attendants_on_duty_min_per_day") == pytest.approx([480.0, (5 * 480.0 + 240.0) / 6])
    normal, *seasons = evidence(comparison.runs.schedule, ALONE)["room"].parts
    hours = [part.replications[0].truck_hours_per_week for part in (normal, *seasons)]
    assert hours == [3 * 40.0, 3 * 44.0]
    assert [part.replications[0].days_per_week for part in (normal, *seasons)] == pytest.approx([5.0, 6.0])


def test_trucks_of_a_season_stand_in_normal_weeks():
    """A group that is there for the season draws nothing before it, and all that is stated in it."""
    group = {"group": "hired", "count": 2, "shifts": ["Saturday"], "battery": "plain", "exchange_at": "20 %"}
    scenario = batsim.changed(
        room(MORE, CASE),
        {"trucks": [{**json.loads(_trucks()), "shifts": ["day"]}, {**group, "duty": {"mean_power": "4 kW"}}]},
    )
    normal, season = (record_of(scenario.in_weeks(weeks), "room") for weeks in (None, Weeks(47, 51)))

    assert {row["group"] for row in rows_of(normal, "truck_shifts")} == {0}
    assert sum(row["group"] == 1 for row in rows_of(season, "truck_shifts") if row["start_min"] >= WEEK_MIN) == 2 * 2


def _trucks() -> str:
    duty = {"mean_power": "4 kW", "between_trucks": "0 %", "between_shifts": "0 %"}
    stated = {"group": "trucks", "count": 3, "battery": "plain", "exchange_at": "20 %", "duty": duty}
    return json.dumps(stated)


# --- what is judged ---


def test_a_target_that_only_the_season_misses_turns_the_verdict():
    """It is met in normal weeks, missed in the season, and counted where a layout is recommended."""
    target = {"targets": {"downtime_per_truck_shift": "at most 30 min"}}
    verdicts = {result.target: result.verdict for result in compared(target).targets("room")}

    assert verdicts == {
        "downtime at most 30 min per truck-shift": "met",
        "downtime at most 30 min per truck-shift in weeks 47-51": "missed",
    }
    stated = source_of(room({}, CASE)).at(("layouts", "room"))
    more = {**stated, "batteries": 14, "chargers": "14 x electronic_iuia"}
    plans = plan_layouts(room({**target, "layouts": {"room": stated, "more": more}}, CASE), ALONE)
    assert {name: plan.targets_missed for name, plan in plans.layouts.items()} == {"room": 1, "more": 0}
    assert recommend(plans).layout == "more"


def test_limits_hold_in_normal_weeks_and_in_each_season():
    """With one indifference for all."""
    scenario = room({"targets": {"downtime_per_truck_shift": "at most 30 min", "trucks_below_cut_out": 0},
                     "demand": {"weeks": {"47-51": "150 %", "3": "80 %"}}}, CASE)  # fmt: skip
    limits = limits_of(scenario, {"downtime": 2.0})

    assert [limit.label for limit in limits] == [
        "downtime",
        "cut-out",
        "downtime in week 3",
        "cut-out in week 3",
        "downtime in weeks 47-51",
        "cut-out in weeks 47-51",
    ]
    assert {limit.indifference for limit in limits if limit.name == "downtime"} == {2.0}


def test_counts_are_decided_for_the_season_too():
    """Fewer would do for normal weeks alone."""
    target = {
        "targets": {"downtime_per_truck_shift": "at most 30 min"},
        "layouts.room.chargers": "14 x electronic_iuia",
    }
    alone = {**target, "demand": {}, "week.shifts.Saturday.weeks": "52"}
    seasonal, normal = (
        decide(room(changes, CASE), ALONE, ranges={"batteries": (3, 14)})["room"] for changes in (target, alone)
    )

    assert seasonal.counts["batteries"] > normal.counts["batteries"]
    fewer = [trial for point, trial in seasonal.searched.items() if point == (normal.counts["batteries"],)]
    assert [limit.label for trial in fewer for limit in seasonal.missed(trial)] == ["downtime in weeks 47-51"]
    data = seasonal.as_json()
    assert "downtime at most 30 min per truck-shift in weeks 47-51" in [each["target"] for each in data["targets"]]
    season = data["answer"]["seasons"][SEASON]["measures"]["downtime_min_per_truck_shift"]
    assert season["mean"] > data["answer"]["measures"]["downtime_min_per_truck_shift"]["mean"]


# --- what is told of a year ---


def test_a_year_has_its_weeks_of_each():
    """Truck-hours, exchanges, people and energy: 47 normal weeks and 5 of the season."""
    plans = plan_layouts(room(MORE, CASE), ALONE)
    money, parts = plans.layouts["room"].money, plans.layouts["room"].evidence.parts
    a_day = [part.mean("exchanges_per_day") for part in parts]

    assert money.scheduled_hours_per_year == pytest.approx(47 * 3 * 40.0 + 5 * 3 * 44.0)
    assert money.exchanges_per_year == pytest.approx(47 * 5 * a_day[0] + 5 * 6 * a_day[1])
    basis = {line.what: line.basis for line in money.lines}
    assert basis["attendants on duty"].startswith(f"{40 * 52 + 4 * 5:,} h a year")
    kwh = 47 * 5 * parts[0].mean("energy_kwh_per_day") + 5 * 6 * parts[1].mean("energy_kwh_per_day")
    assert basis["energy"] == f"{kwh:,.0f} kWh a year"
    water = 47 * 5 * parts[0].mean("water_lost_kg_per_day") + 5 * 6 * parts[1].mean("water_lost_kg_per_day")
    assert basis["water"] == f"{water:,.0f} kg a year"
    peaks = [part.mean("peak_of_all_weeks_kw") for part in parts]
    assert basis["demand"].startswith(f"{(47 * peaks[0] + 5 * peaks[1]) / 52:.0f} kW")
    assert plans.layouts["room"].evidence.life_years("", "plain") == pytest.approx(
        52 / (47 / parts[0].mean("life_years") + 5 / parts[1].mean("life_years"))
    )
    assert plans.layouts["room"].supply.greatest_kw.mean == max(peaks)


def test_people_of_a_season_are_paid_in_it():
    """What one more attendant of a shift costs in a year, for counts that are decided."""
    scenario = room({"prices": {"attendant": "30 EUR/h"}}, CASE)
    costs = UnitCosts(scenario, "room").by_counted

    assert costs[Counted("attendants", "day")].per_year == 52 * 40.0 * 30.0
    assert costs[Counted("attendants", "Saturday")].per_year == 5 * 4.0 * 30.0


# --- what is told ---


def test_check_says_which_weeks_are_simulated():
    output = CliRunner().invoke(main, ["check", str(FILE)]).output

    assert "  simulated: 2 normal weeks, 47 of 52 in a year\n" in output
    assert "    and 2 weeks of weeks 47-51: work 150 %, with Saturday\n" in output


def test_a_comparison_tells_seasons_side_by_side():
    """In the text after the normal weeks, in JSON under each layout."""
    comparison = compared({"targets": {"downtime_per_truck_shift": "at most 30 min"}})
    text, data = comparison_text(comparison), comparison.as_json()

    assert "3 replications of 2 normal weeks after 1 week of warm-up" in text
    before, season = text.split("In weeks 47-51 (work 150 %, 2 weeks measured):")
    assert ("target: downtime" in before, "target: downtime" in season) == (True, True)
    assert "Targets, in normal weeks and in each season: downtime at most 30 min per truck-shift." in season
    of_room = data["layouts"]["room"]
    assert set(of_room["seasons"]) == set(data["seasons"]) == {SEASON}
    assert set(of_room["seasons"][SEASON]["measures"]) == set(of_room["measures"])
    assert of_room["measures"]["exchanges_per_day"]["mean"] == means(comparison, "exchanges_per_day")[0]
    assert (
        of_room["seasons"][SEASON]["measures"]["exchanges_per_day"]["mean"] == means(comparison, "exchanges_per_day")[1]
    )
    assert data["seasons"][SEASON]["weeks"] == 2.0
