"""Figures that a scenario states in place of the catalogue's: they change what rests on them, in it alone."""

import csv
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES, Figure, Figures
from batsim.errors import FigureError, ScenarioError
from batsim.room.plans.blueprint import Blueprint, blueprint_of
from batsim.scenario.parts.batteries import BatteryType
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import path_text
from batsim.study.sweeps.points import ranged_figures
from batsim.study.sweeps.sweep import sweep
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
PLAIN = """\
site: {name: Plain, room_temperature: 10 degC}
week: {shifts: {day: {days: Mon-Fri, from: "07:00", to: "15:00"}, late: {days: Mon-Fri, from: "15:00", to: "23:00"}}}
trucks:
  - {group: trucks, count: 3, class: stacker_24v, shifts: [day, late], battery: vented_lead_acid_24v,
     duty: {mean_power: 1.5 kW}, to_room: {distance: 100 m}}
batteries: {vented_lead_acid_24v: {from: vented_lead_acid_24v}}
layouts: {stands: {handling: portable_stands, batteries: 6, chargers: 3 x electronic_iuia}}
"""
BATTERY = "vented_lead_acid_24v"


@pytest.fixture(scope="module")
def plain() -> Scenario:
    """A small scenario that leaves most to the catalogue."""
    return batsim.read_scenario_text(PLAIN)


def anew(scenario: Scenario, **figures: str | float) -> Scenario:
    """Copy with figures stated anew; `__` stands for the dots of their names."""
    return batsim.changed(
        scenario, {path_text(("figures", name.replace("__", "."))): text for name, text in figures.items()}
    )


def plan(scenario: Scenario) -> Blueprint:
    """The layout, worked out for a week."""
    return blueprint_of(scenario, "stands", 10080.0, 0.0)


def measures(scenario: Scenario, workers: int = 1) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    """Measures of two replications of a week."""
    return batsim.run(scenario, batsim.Settings(replications=2, weeks=1, warm_up_weeks=0, workers=workers)).values[
        "stands"
    ]


# --- a figure ---


def test_a_figure_stated_anew_takes_its_range_along() -> None:
    """In proportion, so that the range holds the value."""
    found = Figure("a", 8.0, 6.0, 12.0, "h", "s", "w", "t", "n").stated(4.0)

    assert (found.value, found.low, found.high, found.text) == (4.0, 3.0, 6.0, "4 h")
    assert (found.name, found.unit, found.source) == ("a", "h", "s")


@pytest.mark.parametrize("factor", [-0.5, 0.0, 0.5, 2.0])
def test_a_range_always_holds_its_value(factor: float) -> None:
    """Whatever is stated, also where the catalogue says zero or a temperature changes its sign."""
    for each in FIGURES.values():
        found = each.stated(factor * (each.value or 1.0))
        assert found.low <= found.value <= found.high, each.name


def test_figures_of_a_site_hold_in_place_of_the_catalogue() -> None:
    """Those that it does not state are the catalogue's, which stays as it is."""
    usual = FIGURES["travel.speed"]
    figures = Figures({"travel.speed": usual.stated(12.0)})

    assert (figures["travel.speed"].value, figures["truck.exchange_at"].value) == (12.0, 25.0)
    assert (figures.number("truck.exchange_at"), FIGURES["travel.speed"]) == (0.25, usual)
    assert figures != FIGURES == Figures()
    assert len({figures, Figures({"travel.speed": usual.stated(12.0)}), FIGURES}) == 2
    assert list(figures) == list(FIGURES)
    with pytest.raises(FigureError):
        figures["travel.sped"]


def test_names_that_are_looked_up_are_noted() -> None:
    """By those figures that were asked to, and no others."""
    asked: set[str] = set()
    noting = FIGURES.noting(asked)
    noting["travel.speed"]
    noting["travel.speed"]
    FIGURES["truck.exchange_at"]
    assert "in_truck.ceiling" in noting

    assert asked == {"travel.speed"}


# --- in a scenario ---


def test_stated_figures_are_told() -> None:
    """By name, with their unit."""
    scenario = batsim.read_scenario_text(
        PLAIN + "figures: {travel.speed: 6 km/h, battery.vented_lead_acid.peukert: 1.25}\n"
    )

    assert {name: each.text for name, each in scenario.figures.stated.items()} == {
        "travel.speed": "6 km/h",
        "battery.vented_lead_acid.peukert": "1.25",
    }
    assert [FIGURES[name].value for name in scenario.figures.stated] == [8.0, 1.2]


READ = [
    ("travel__speed", "6 km/h", lambda s: s.trucks[0].to_room.speed_m_per_min, 100.0),
    ("truck__exchange_at", "30 %", lambda s: s.trucks[0].exchange_at_share, 0.3),
    ("truck__between_trucks", "1 %", lambda s: s.trucks[0].duty.between_trucks_share, 0.01),
    ("battery__vented_lead_acid__cool_down", "5 h", lambda s: s.batteries[BATTERY].cool_down_min.fixed_min, 300.0),
    ("battery_type__vented_lead_acid_24v__mass", "400 kg", lambda s: s.batteries[BATTERY].mass_kg, 400.0),
    ("charger__electronic_iuia__charge_factor", "1.3", lambda s: s.chargers["electronic_iuia"].charge_factor, 1.3),
    ("simulation__replications", 7, lambda s: s.simulation.replications, 7),
    (
        "handling__portable_stands__line_up_empty",
        f"{2.0 * FIGURES['handling.portable_stands.line_up_empty'].value} min",
        lambda s: s.handling["portable_stands"].steps[1].time_min.high_min,
        2.0 * FIGURES["handling.portable_stands.line_up_empty"].high,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "look", "value"), READ, ids=[name for name, *_ in READ])
def test_a_figure_that_is_used_at_reading(plain: Scenario, name: str, text: str, look: Any, value: float) -> None:
    """What it stands for changes, one part of the scenario, and nothing when it is the catalogue's again."""
    changed = anew(plain, **{name: text})
    usual = FIGURES[name.replace("__", ".")]

    assert look(changed) == pytest.approx(value)
    assert look(plain) != pytest.approx(value)
    back = anew(changed, **{name: usual.text})
    assert {**back.model_dump(), "restated": {}} == plain.model_dump()
    parts = [part for part in Scenario.model_fields if getattr(plain, part) != getattr(changed, part)]
    assert len(parts) == 2
    assert parts[1] == "restated"


@pytest.mark.parametrize(
    ("name", "text", "look", "ratio"),
    [
        ("battery__vented_lead_acid__slope_v", "0.1 V", lambda p: p.battery_plans[0].cell.slope_v, None),
        ("battery__vented_lead_acid__tau", "0.6 h", lambda p: p.battery_plans[0].profiles[0].rated.tau_h, "tau"),
        (
            "battery__vented_lead_acid__finish_v",
            "2.5 V",
            lambda p: p.battery_plans[0].profiles[0].rated.finish_v,
            "finish_v",
        ),
        ("watering__by_hand_base", "2 min", lambda p: p.battery_plans[0].maintenance[0].time.mean, None),
    ],
)
def test_a_figure_that_is_used_when_a_layout_is_worked_out(
    plain: Scenario, name: str, text: str, look: Any, ratio: str | None
) -> None:
    """The layout has it, and another scenario, worked out before and after, has not."""
    before = look(plan(plain))
    changed = look(plan(anew(plain, **{name: text})))

    assert changed != before
    assert look(plan(plain)) == before
    if ratio is not None:
        usual = FIGURES[f"battery.vented_lead_acid.{ratio}"].value
        assert changed / before == pytest.approx(float(text.partition(" ")[0]) / usual)


def test_a_profile_that_is_worked_out_in_the_run_has_it_too(plain: Scenario) -> None:
    """Profiles are made when a temperature is first met, long after the layout was worked out."""
    name = "battery.vented_lead_acid.main_from_v"
    changed = plan(anew(plain, battery__vented_lead_acid__main_from_v="2.3 V"))
    profiles = changed.battery_plans[0].profiles[0]

    assert [profiles.at(degc).empty_v for degc in (3.0, 30.0, 44.5)] == [2.3, 2.3, 2.3]
    assert plan(plain).battery_plans[0].profiles[0].at(3.0).empty_v == FIGURES[name].value != 2.3


def test_a_run_rests_on_it_also_in_worker_processes(plain: Scenario) -> None:
    """The same numbers wherever it is run, others than with the catalogue's, which another scenario still has."""
    changed = anew(plain, battery__vented_lead_acid__tau="0.6 h")
    here, there = measures(changed), measures(changed, workers=2)
    usual = measures(plain)

    for name, values in here.items():
        np.testing.assert_array_equal(values, there[name], err_msg=name)
    assert here["charger_busy_share"].tolist() != usual["charger_busy_share"].tolist()
    again = measures(batsim.read_scenario_text(PLAIN))
    assert again["charger_busy_share"].tolist() == usual["charger_busy_share"].tolist()


def test_both_in_one_run(plain: Scenario) -> None:
    """A sweep runs points with different figures by turns, in one process."""
    texts = ("0.3 h", "0.6 h")
    found = sweep(
        plain,
        Settings(replications=2, weeks=1, warm_up_weeks=0, workers=1),
        vary={"figures.'battery.vented_lead_acid.tau'": list(texts)},
        measures=("charger_busy_share",),
    ).values["stands"]["charger_busy_share"]
    alone = [measures(anew(plain, battery__vented_lead_acid__tau=text))["charger_busy_share"] for text in texts]

    assert found.tolist() == [each.tolist() for each in alone]
    assert alone[0].tolist() != alone[1].tolist()


def test_a_scenario_keeps_its_figures_in_another_process(plain: Scenario) -> None:
    """And when it is changed there."""
    copy = pickle.loads(pickle.dumps(anew(plain, travel__speed="6 km/h")))

    assert copy.figures.stated["travel.speed"].value == 6.0
    assert batsim.changed(copy, {"trucks[0].count": 2}).trucks[0].to_room.speed_m_per_min == 100.0


def test_checks_use_it(plain: Scenario) -> None:
    """A rule between parts is kept with the figures of the scenario, and said at the figure where that is to blame."""
    text = PLAIN + "figures: {truck.exchange_at: 10 %}\n"

    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read_scenario_text(text, "site.yaml")
    assert str(caught.value) == (
        "site.yaml: 1 problem\n"
        "  site.yaml:4:5: trucks[0].exchange_at: must lie between the battery's cut-out ('discharge_to', 20 %) and "
        "100 % (got 10 %)"
    )
    text += "  # lower\n"
    lower = text.replace("exchange_at: 10 %", "exchange_at: 10 %, battery.vented_lead_acid.discharge_to: 5 %")
    assert batsim.read_scenario_text(lower).trucks[0].exchange_at_share == 0.1


def test_a_law_of_the_catalogue_that_breaks_a_rule_is_said_at_the_figure() -> None:
    """Not in a file of the catalogue, which the user has not written."""
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read_scenario_text(PLAIN + "figures:\n  charger.electronic_iuia.efficiency: 120 %\n", "site.yaml")

    assert str(caught.value) == (
        "site.yaml: 1 problem\n"
        "  site.yaml:9:39: chargers.electronic_iuia.efficiency: must be at most 100 % (got '120 %')"
    )


def test_one_file_over_another(tmp_path: Path) -> None:
    """Figures are laid over one another by name."""
    (tmp_path / "base.yaml").write_text(
        PLAIN + "figures: {travel.speed: 6 km/h, truck.exchange_at: 30 %}\n", encoding="utf-8"
    )
    (tmp_path / "site.yaml").write_text("extends: base.yaml\nfigures: {travel.speed: 4 km/h}\n", encoding="utf-8")

    stated = batsim.read(tmp_path / "site.yaml").figures.stated

    assert {name: each.value for name, each in stated.items()} == {"travel.speed": 4.0, "truck.exchange_at": 30.0}


def test_a_figure_may_not_be_known(plain: Scenario) -> None:
    """Its middle stands in for it."""
    scenario = batsim.read_scenario_text(PLAIN + "figures: {travel.speed: {between: [5 km/h, 7 km/h]}}\n")

    assert [(each.path, each.text) for each in scenario.unknowns] == [
        ("figures.'travel.speed'", "between 5 km/h and 7 km/h")
    ]
    assert scenario.figures.stated["travel.speed"].value == 6.0
    assert batsim.changed(scenario, {"figures.'travel.speed'": "7 km/h"}).figures.stated["travel.speed"].value == 7.0


# --- those that a study varies ---


def test_the_ranged_figures_of_a_layout(plain: Scenario) -> None:
    """All that it rests on and that have a range: none of another chemistry or handling, none that is stated."""
    found = {each.path: each for each in ranged_figures(plain, ("stands",))}
    with (ROOT / "batsim" / "catalogue" / "figures.csv").open(encoding="utf-8", newline="") as lines:
        rows = {path_text(("figures", row["name"])): row for row in csv.DictReader(lines)}

    assert set(found) <= {path for path, row in rows.items() if float(row["low"]) < float(row["high"])}
    assert {
        "figures.'battery.vented_lead_acid.peukert'",
        "figures.'battery.vented_lead_acid.cool_down'",
        "figures.'handling.portable_stands.line_up_empty'",
        "figures.'travel.speed'",
    } <= set(found)
    assert [
        path for path in found if "lithium" in path or "valve" in path or "hoist" in path or "side_rollers" in path
    ] == []
    speed, row = found["figures.'travel.speed'"], rows["figures.'travel.speed'"]
    assert (speed.low, speed.middle, speed.high) == tuple(
        f"{float(row[key]):g} km/h" for key in ("low", "value", "high")
    )


def test_each_of_them_can_be_varied(plain: Scenario) -> None:
    """Its low and its high value are read, and the layout is worked out with them."""
    high = batsim.changed(plain, {"trucks[0].exchange_at": "45 %"})  # above the highest cut-out
    found = ranged_figures(high, ("stands",))

    assert len(found) > 50
    for each in found:
        for value in (each.low, each.high):
            assert plan(batsim.changed(high, {each.path: value})).battery_plans[0].name == BATTERY


def test_what_a_scenario_states_is_not_varied(plain: Scenario) -> None:
    """Neither as a figure nor as the input that it is the default of."""
    paths = {each.path for each in ranged_figures(anew(plain, travel__speed="6 km/h"), ("stands",))}
    stated = batsim.changed(plain, {"trucks[0].to_room.speed": "6 km/h"})

    assert "figures.'travel.speed'" not in paths
    assert "figures.'travel.speed'" not in {each.path for each in ranged_figures(stated, ("stands",))}


def test_types_of_parts_are_not_changed_by_a_figure(plain: Scenario) -> None:
    """What is read is a battery type like any other."""
    battery = anew(plain, battery__vented_lead_acid__cool_down="5 h").batteries[BATTERY]

    assert type(battery) is BatteryType
    assert battery == plain.batteries[BATTERY].model_copy(update={"cool_down_min": battery.cool_down_min})


def test_figures_that_do_not_go_together_are_said(plain: Scenario) -> None:
    """Bad input never gives a traceback, also where it shows only when the layout is worked out."""
    with pytest.raises(ScenarioError) as error:
        record_of(anew(plain, battery__vented_lead_acid__knee_temperature="1000 degC"), "stands", length_min=1440.0)
    assert [problem.path for problem in error.value.problems] == ["figures"]
    assert error.value.problems[0].rule == (
        "what is stated anew does not go together with the other figures; look at their ranges in figures.csv"
    )
