"""What a layout changes of a truck group: nothing reads the battery type, level or rules that hold elsewhere.

The same site is stated inside out: its groups as one layout has them, and the other layout changes them back. Whatever
is asked of the two has to be the same, number by number.
"""

import json
import pickle
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.measures import measure
from batsim.measures.windows import Measured
from batsim.measures.work import shift_powers_kw
from batsim.plan.plan import Plan
from batsim.plan.possible import impossible_layouts
from batsim.record.record import Record
from batsim.scenario.reading import stated_data
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.first_estimate import outline
from batsim.study.room_over import room_over
from batsim.study.running.executors import run_schedule
from batsim.study.sweeps.agenda import restated
from batsim.study.waits import waits_over
from batsim.views.text.plan_text import plan_text
from batsim.views.text.summary import summary_text
from tests.runs import record_of
from tests.sites import LEAD_OR_LITHIUM

LEAD, LITHIUM = "lead by exchange", "lithium in the truck"
AT = f"layouts.{LITHIUM}.trucks.pickers"
PICKERS = "trucks[1]"
QUICK = Settings(replications=2, weeks=1.0, warm_up_weeks=0.0, workers=1)


def inside_out() -> Scenario:
    """The pickers with lithium-ion batteries, and a layout that changes them back to lead."""
    stated: dict[str, Any] = stated_data(LEAD_OR_LITHIUM)
    lithium = stated["layouts"][LITHIUM]["trucks"]["pickers"]
    lead = {key: stated["trucks"][1][key] for key in lithium}
    return batsim.changed(
        LEAD_OR_LITHIUM,
        {
            **{f"{PICKERS}.{key}": value for key, value in lithium.items()},
            f"layouts.{LITHIUM}.trucks": {},
            f"layouts.{LEAD}.trucks": {"pickers": lead},
        },
    )


TWIN = inside_out()


def plain(result: Any) -> str:
    """Everything a result says, as text."""
    return json.dumps(result.as_json(), sort_keys=True)


INPUTS = re.compile(r"<summary>\d+ inputs, measured or stated</summary>.*?</details>", re.DOTALL)
"""The list of inputs of a report: what is stated where is all in which the two differ."""


OF_PICKERS = re.compile(r"  2 x pickers on .*\n    about .*\n|    pickers with battery .*\n")
"""What `check` says of the group as it is stated, and as a layout changes it."""


@cache
def planned_of(*, inside_out: bool) -> Plan:
    """Plans of the site or of its twin, made once."""
    return batsim.plan_layouts(TWIN if inside_out else LEAD_OR_LITHIUM, QUICK)


def planned(scenario: Scenario) -> Plan:
    """Plans of one of the two."""
    return planned_of(inside_out=scenario is TWIN)


DECIDED = {LEAD: {"batteries lead 24 V": (3, 6)}, LITHIUM: {"chargers lithium_cc_cv": (1, 2)}}
ASKED: dict[str, Callable[[Scenario], str]] = {
    "run": lambda scenario: plain(batsim.run(scenario, QUICK)),
    "compare": lambda scenario: plain(batsim.compare(scenario, QUICK)),
    "plan": lambda scenario: plain(planned(scenario)),
    "plan in words": lambda scenario: plan_text(planned(scenario), full=True),
    "report": lambda scenario: INPUTS.sub("", batsim.report_html(planned(scenario))),
    "waits": lambda scenario: repr(waits_over(scenario, QUICK).waits),
    "first numbers": lambda scenario: repr([layout[:-1] for layout in outline(scenario).layouts]),
    "check": lambda scenario: OF_PICKERS.sub("", summary_text(outline(scenario), 200)),
    "rooms": lambda scenario: repr([room_over(scenario, name, QUICK).counts for name in scenario.layouts]),
    "decide": lambda scenario: repr(
        [
            plain(batsim.decide(scenario, replace(QUICK, layouts=layout), ranges=ranges))
            for layout, ranges in DECIDED.items()
        ]
    ),
    "bottleneck": lambda scenario: repr(
        {name: (each.gains, each.left_out) for name, each in batsim.bottleneck(scenario, QUICK).items()}
    ),
}


@pytest.mark.parametrize("asked", ASKED)
def test_stated_inside_out_everything_is_the_same(asked: str) -> None:
    assert [group.battery for group in TWIN.trucks] == ["lead 48 V", "lithium 24 V"]
    assert ASKED[asked](LEAD_OR_LITHIUM) == ASKED[asked](TWIN)


@pytest.mark.slow
def test_both_stand_in_every_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the file: `check`, `compare`, `plan`, `report`, and a study of the level of one group in one layout."""
    monkeypatch.chdir(tmp_path)
    Path("site.yaml").write_text(Path(LEAD_OR_LITHIUM.file).read_text(encoding="utf-8"), encoding="utf-8")
    study = f"study: When?\nscenario: site.yaml\nvary: {{'{AT}.exchange_at': [25 %, 45 %]}}\ndesign: grid\n"
    Path("study.yaml").write_text(study, encoding="utf-8")
    short = ("--weeks", "1", "--warm-up", "0", "--replications", "2", "--workers", "1")

    said = {
        command[0]: CliRunner().invoke(main, command, catch_exceptions=False).output
        for command in (
            ["check", "site.yaml"],
            ["compare", "site.yaml", *short],
            ["plan", "site.yaml", *short],
            ["report", "site.yaml", *short, "--output", "page.html"],
            ["sweep", "study.yaml", *short],
        )
    }

    assert (
        "    lithium 24 V: 2 batteries for 2 trucks; a full charge takes about 1.4 h on lithium_cc_cv\n"
        in said["check"]
    )
    assert re.search(r"\nbatteries +13 \(2\.60\) +5 \(1\.00\) +in all", said["compare"])
    assert "6 x battery (lead 24 V)" in said["plan"]
    assert "2 x battery (lithium 24 V)" in said["plan"]
    assert "2 x lithium cc cv: 8 cells x" in said["plan"]
    assert "battery (lithium 24 V)" in Path("page.html").read_text(encoding="utf-8")
    assert f"{AT}.exchange_at" in said["sweep"]


def test_the_groups_of_any_layout_are_found_from_those_of_any_other() -> None:
    site, twin = LEAD_OR_LITHIUM, TWIN
    for scenario in (site, twin, site.in_layout(LEAD), site.in_layout(LITHIUM), pickle.loads(pickle.dumps(twin))):
        lead, lithium = scenario.in_layout(LEAD), scenario.in_layout(LITHIUM)
        assert [group.battery for group in lead.trucks] == ["lead 48 V", "lead 24 V"]
        assert [group.battery for group in lithium.trucks] == ["lead 48 V", "lithium 24 V"]
        assert [group.exchange_at_share for group in lithium.trucks] == [0.25, 0.3]
        assert [group.exchange_when.shift_change for group in lithium.trucks] == ["never", "never"]
        assert lithium.trucks[1].exchange_when.spread.over_min == 0.0  # in place of all that the group states
        assert scenario.batteries_of(LEAD) == {"lead 48 V": 7, "lead 24 V": 6}
        assert scenario.batteries_of(LITHIUM) == {"lead 48 V": 3, "lithium 24 V": 2}
    assert LEAD_OR_LITHIUM.in_layout(LEAD) is LEAD_OR_LITHIUM


def test_who_asks_again_gets_the_same_until_the_layout_is_another() -> None:
    site = LEAD_OR_LITHIUM
    lithium = site.in_layout(LITHIUM)
    assert site.in_layout(LITHIUM) is lithium is lithium.in_layout(LITHIUM)
    assert site.areas_of(LITHIUM)[""] is lithium is lithium.areas_of(LITHIUM)[""]

    unlike = lithium.with_layout(LITHIUM, site.layouts[LEAD])
    assert [group.battery for group in unlike.in_layout(LITHIUM).trucks] == ["lead 48 V", "lead 24 V"]


def test_the_same_trucks_do_the_same_work_in_both_layouts() -> None:
    """Powers are drawn for each truck and shift; the battery that a layout gives it has no part in them."""
    lead, lithium = (
        shift_powers_kw(Measured(record_of(LEAD_OR_LITHIUM, name, replication=1))) for name in (LEAD, LITHIUM)
    )

    assert list(lead) == list(lithium) == ["reach trucks", "pickers"]
    for group in lead:
        assert lead[group].size == {"reach trucks": 30, "pickers": 20}[group]
        assert np.ptp(lead[group]) > 0.0
        np.testing.assert_array_equal(lead[group], lithium[group])


def calm(**changes: object) -> Scenario:
    """One picker that draws 1 kW for the eight hours of one shift, every day the same."""
    base = {
        "trucks": [
            {
                "group": "pickers", "count": 1, "shifts": ["early"], "battery": "lead 24 V", "exchange_at": "25 %",
                "duty": {"mean_power": "1 kW", "between_trucks": "0 %", "between_shifts": "0 %"},
            }
        ],
        "week.shifts.early.breaks": [],
        f"layouts.{LEAD}.batteries": {"lead 24 V": 2},
        f"layouts.{LEAD}.chargers": "2 x lead charger 24 V",
        f"layouts.{LITHIUM}.chargers": "1 x lithium_cc_cv",
        f"{AT}.exchange_at": "25 %",
    }  # fmt: skip
    return batsim.changed(LEAD_OR_LITHIUM, base | changes)


def test_energy_life_and_level_follow_the_changed_type() -> None:
    """8 kWh a shift from 8 cells of lithium iron phosphate; all that was taken is given back, no more."""
    record = record_of(calm(), LITHIUM)
    drawn, given = record.frame("discharges"), record.frame("charges")
    facts, values = record.facts, measure(record)

    assert [(each.name, each.cells, each.capacity_ah, each.calendar_years) for each in facts.battery_types] == [
        ("lithium 24 V", 8, 300.0, 15.0)
    ]
    assert facts.battery_types[0].life_ah == 3500 * 0.8 * 300.0
    assert drawn["soc_to_share"].min() == pytest.approx(0.25)  # 300 Ah x 25.6 V = 7.7 kWh: it comes within its shift
    drawn = drawn[drawn["finished"] & (drawn["start_min"] > 1440.0)]  # the first day begins with less than a full one
    given_ah = given["charged_ah"][given["start_min"] > 1440.0].sum()
    assert given_ah == pytest.approx(drawn["drawn_ah"].sum(), rel=1e-6)
    assert values["energy_drawn_kwh_per_day"] == pytest.approx(1.0 * values["work_hours_per_day"])
    assert values["energy_kwh_per_day"] == pytest.approx(
        values["energy_charged_kwh_per_day"] / 0.93 + values["standby_kwh_per_day"]
    )
    week_ah = drawn["drawn_ah"][drawn["start_min"] > facts.warm_up_min].sum()
    assert values["life_years"] == pytest.approx(3500 * 0.8 * 300.0 / (week_ah * 365.25 / 7.0), rel=1e-3)

    lead = record_of(calm(), LEAD)
    assert [each.name for each in lead.facts.battery_types] == ["lead 24 V"]


def test_counts_prices_gas_and_questions_of_the_plan_follow_the_changed_type() -> None:
    plans = batsim.plan_layouts(calm(), QUICK).layouts
    batteries = {
        name: [(line.item, line.number, line.cost.value) for line in plan.equipment if line.is_battery]
        for name, plan in plans.items()
    }

    assert batteries == {LEAD: [("battery (lead 24 V)", 2, 0.0)], LITHIUM: [("battery (lithium 24 V)", 1, 5000.0)]}
    assert [line.item for line in plans[LITHIUM].equipment if line.item.startswith("charger")] == [
        "charger (lithium CC CV)"
    ]
    assert plans[LEAD].ventilation.flow_m3_per_h > 0.0
    assert plans[LITHIUM].ventilation.flow_m3_per_h == 0.0
    voltage = {
        name: next(check.verdict for check in plan.checks if check.name == "voltage") for name, plan in plans.items()
    }
    assert voltage == {LEAD: "not known", LITHIUM: "not known"}
    load = plans[LITHIUM].supply.loads
    assert [(each.charger, each.number) for each in load] == [("lithium_cc_cv", 1)]
    assert "8 cells" in load[0].formula
    (capital,) = (line for line in plans[LITHIUM].money.lines if line.what == "batteries")
    assert capital.basis.startswith("5,000 over ")


def test_a_layout_is_impossible_by_the_type_that_it_gives() -> None:
    """48 V for trucks of 24 V in one layout: told before anything is simulated, and the other layout is left alone."""
    changes = {AT: {"battery": "lead 48 V"}, f"layouts.{LITHIUM}.chargers": "5 x lead charger 48 V"}
    scenario = batsim.changed(LEAD_OR_LITHIUM, changes)

    assert impossible_layouts(scenario, scenario.layouts) == {
        LITHIUM: "pickers, voltage: Truck and battery have different voltages: choose a battery of the truck's voltage."
    }


def test_what_takes_from_a_record_sees_the_groups_of_its_layout() -> None:
    def types(record: Record, scenario: Scenario) -> list[str]:
        return [group.battery for group in scenario.trucks] + [kind.name for kind in record.facts.battery_types]

    taken = run_schedule(replace(QUICK, replications=1).schedule(LEAD_OR_LITHIUM), QUICK, take=types)

    assert taken == {LEAD: [["lead 48 V", "lead 24 V"] * 2], LITHIUM: [["lead 48 V", "lithium 24 V"] * 2]}


def test_a_study_varies_the_level_of_a_group_in_one_layout() -> None:
    path = f"{AT}.exchange_at"
    swept = batsim.sweep(
        LEAD_OR_LITHIUM,
        Settings(replications=1, weeks=1.0, warm_up_weeks=0.0, workers=1),
        vary={path: ["25 %", "30 %", "45 %"]},
        measures=("exchanges_per_day",),
    )
    frame = swept.frame
    depth = []
    for level in ("25 %", "30 %", "45 %"):
        record = record_of(restated(LEAD_OR_LITHIUM, json.dumps({path: level})), LITHIUM, warm_up_min=0.0)
        pickers = record.frame("discharges").query("group == 1")
        depth.append(pickers["soc_to_share"].min())
        (found,) = frame[(frame[path] == level) & (frame["layout"] == LITHIUM)]["mean"]
        assert found == measure(record)["exchanges_per_day"]

    assert depth == pytest.approx([0.25, 0.30, 0.45])
    assert frame[frame["layout"] == LEAD]["mean"].nunique() == 1


def test_what_sends_a_truck_is_that_of_the_layout() -> None:
    """Nobody comes for a shift change where the layout says never, and all do where it says always."""
    reasons = {}
    for shift_change in ("never", "always"):
        scenario = batsim.changed(
            LEAD_OR_LITHIUM, {f"layouts.{LEAD}.trucks.pickers.exchange_when": {"shift_change": shift_change}}
        )
        came = record_of(scenario, LEAD).frame("exchanges").query("group == 1")
        reasons[shift_change] = set(came["reason"])

    assert reasons == {"never": {"level"}, "always": {"level", "shift change"}}


def test_rules_in_the_truck_may_be_those_of_one_group() -> None:
    """Pickers are not plugged in when a break begins, reach trucks are."""
    for in_breaks, types in ((True, {0, 1}), (False, {0})):
        scenario = batsim.changed(LEAD_OR_LITHIUM, {f"{AT}.in_truck": {"in_breaks": in_breaks}})
        charges = record_of(scenario, LITHIUM).frame("charges")
        assert {int(queue) for queue in charges["queue"][charges["connected_min"] % 1440.0 == 570.0]} == types


def test_drivers_of_one_group_may_exchange_and_attendants_for_the_others() -> None:
    own = f"layouts.{LEAD}.trucks.pickers"
    minutes = [
        measure(record_of(batsim.changed(LEAD_OR_LITHIUM, changes), LEAD))["labour_attendant_exchange_min_per_day"]
        for changes in ({}, {own: {"exchange_by": "drivers"}}, {f"layouts.{LEAD}.exchange_by": "drivers"})
    ]
    assert minutes[0] > minutes[1] > minutes[2] == 0.0


def test_the_summary_says_what_a_layout_changes() -> None:
    text = summary_text(outline(LEAD_OR_LITHIUM))

    assert "  2 x pickers on early, late; battery lead 24 V\n    about 6.0 h of work on one battery at 1.4 kW" in text
    assert "    pickers with battery lithium 24 V: about 3.9 h of work on one battery at 1.4 kW, until 30 % is" in text
    assert text.count("with battery") == 1
