"""Scenarios: what is read from files, how one extends another, how a copy is changed, what editors are told."""

import csv
import json
import pickle
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from pydantic import BaseModel, ValidationError

import batsim
from batsim import catalogue
from batsim.catalogue import FIGURES
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.laws import KEYS, DurationLaw
from batsim.scenario.parts.layouts import ChargerCount
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import STATEMENTS, STATEMENTS_BY_NAME, path_text
from batsim.scenario.text.yaml_text import read_file, read_text

ROOT = Path(__file__).parents[3]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
PLAIN = """\
site: {name: Plain}
week: {shifts: {day: {days: Mon-Fri, from: "07:00", to: "15:00"}}}
trucks: [{group: trucks, count: 2, class: stacker_24v, shifts: [day], battery: vented_lead_acid_24v}]
batteries: {vented_lead_acid_24v: {from: vented_lead_acid_24v}}
layouts: {stands: {handling: portable_stands, batteries: 4, chargers: 2 x electronic_iuia}}
"""


@pytest.fixture(scope="module")
def sound() -> Scenario:
    """The sound scenario of the tests on bad input."""
    return batsim.read(SOUND)


def rules(error: pytest.ExceptionInfo[batsim.ScenarioError]) -> list[str]:
    """Problems of an error without the name of the file."""
    return [str(problem).removeprefix(f"{problem.file}:").strip() for problem in error.value.problems]


# --- reading ---


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda file: file.stem)
def test_the_shipped_scenarios_are_read(file: Path) -> None:
    """They read well, state their question, and name every layout that they compare."""
    scenario = batsim.read(file)

    assert scenario.file == str(file)
    assert scenario.question.endswith("?")
    assert len(scenario.layouts) >= 2
    assert file.read_text(encoding="utf-8").startswith(
        "# yaml-language-server: $schema=./batsim.schema.json\n# Question"
    )


def test_kestrel_lane_is_what_it_says() -> None:
    """Every part of a scenario arrives in its unit."""
    scenario = batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")
    group, battery = scenario.trucks[0], scenario.batteries["lead 48 V 750 Ah"]
    night, rollers = scenario.week.shifts["night"], scenario.layouts["side rollers"]

    assert (scenario.site.name, scenario.site.currency) == ("Kestrel Lane parts warehouse (invented)", "EUR")
    assert scenario.site.room_air == (22.0, 22.0)
    assert (night.days, night.from_min, night.to_min, night.minutes) == ((0, 1, 2, 3, 6), 1320.0, 360.0, 480.0)
    assert night.breaks == ((120.0, 20.0),)
    assert (group.count, group.shifts, group.exchange_at_share) == (12, ("early", "late", "night"), 0.25)
    assert group.duty is not None
    assert (group.duty.mean_kw, group.duty.between_trucks_share) == (3.4, 0.1)
    assert group.to_room is not None
    assert (group.to_room.distance_m, group.to_room.speed_m_per_min) == pytest.approx((140.0, 8000.0 / 60.0))
    assert (battery.cells, battery.capacity, battery.mass_kg, battery.nominal_v) == (24, (750.0, 5.0), 1180.0, 48.0)
    assert battery.watering is not None
    assert battery.watering.every.charges == 7.0
    assert rollers.chargers == (ChargerCount(58, "electronic_iuia"),)
    assert rollers.attendants == {"room early": 2, "room late": 2, "room night": 2}
    assert (group.exchange_when.shift_change, group.exchange_when.before_shift_end_min) == ("if_short", 10.0)
    assert scenario.trucks[1].exchange_when.shift_change == "never"
    assert rollers.floor is not None
    assert (rollers.floor.rows[1].at, rollers.floor.rows[1].pitch_m, rollers.floor.stations.pitch_m) == (
        (1.0, 6.5),
        1.2,
        4.0,
    )
    assert rollers.standby is not None
    assert (rollers.standby.handling, rollers.standby.devices) == ("portable_stands", {"hand_pallet_truck": 1})
    assert scenario.batteries_of("side rollers") == {"lead 48 V 750 Ah": 82}
    assert scenario.batteries_of("in the truck") == {"lead 48 V 750 Ah": 24}
    assert scenario.arrangement("side rollers").title == "Side roller beds with a battery carriage"
    assert scenario.arrangement("in the truck").in_truck
    assert scenario.targets.downtime_min_per_truck_shift == 15.0
    assert scenario.targets.waits == (0.95, 15.0)
    assert scenario.simulation.length_min == 4 * 7 * 1440.0
    assert (scenario.simulation.replications, scenario.simulation.seed) == (20, 1)


def test_a_scenario_may_come_from_text() -> None:
    """The file name that messages show may be chosen."""
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read_scenario_text("site: {}\n" + PLAIN.partition("\n")[2], "mine.yaml")

    assert str(caught.value) == "mine.yaml: 1 problem\n  mine.yaml:1:7: site.name: missing: name for tables and reports"
    assert batsim.read_scenario_text(PLAIN).file == "scenario.yaml"


UNITS = [
    ("trucks[0].duty.mean_power", "3400 W", lambda s: s.trucks[0].duty.mean_kw, 3.4),
    ("trucks[0].duty.mean_power", "4 hp", lambda s: s.trucks[0].duty.mean_kw, 4 * 0.745699871582),
    ("trucks[0].duty", {"energy_per_shift": "86.4 MJ"}, lambda s: s.trucks[0].duty.energy_per_shift_kwh, 24.0),
    ("trucks[0].duty.between_trucks", "12.5 %", lambda s: s.trucks[0].duty.between_trucks_share, 0.125),
    ("trucks[0].to_room.distance", "460 ft", lambda s: s.trucks[0].to_room.distance_m, 140.208),
    ("trucks[0].to_room.speed", "5 mph", lambda s: s.trucks[0].to_room.speed_m_per_min, 134.112),
    ("trucks[0].temperature", "14 degF", lambda s: s.trucks[0].temperature_degc, -10.0),
    ("site.room_temperature", "295.15 K", lambda s: s.site.room_air.winter_degc, 22.0),
    ("batteries.big.cool_down", "1 h 30 min", lambda s: s.batteries["big"].cool_down_min.fixed_min, 90.0),
    ("batteries.big.mass", "2600 lb", lambda s: s.batteries["big"].mass_kg, 1179.340162),
    ("batteries.big.capacity", "750 Ah at 6 h", lambda s: s.batteries["big"].capacity, (750.0, 6.0)),
    ("batteries.big.watering.every", "1 charge", lambda s: s.batteries["big"].watering.every.charges, 1.0),
    ("chargers.our charger.main_current", "90 A", lambda s: s.chargers["our charger"].main_current.of(500.0), 90.0),
    ("chargers.our charger.main_current", "18 A/100Ah", lambda s: s.chargers["our charger"].main_current.of(500), 90.0),
    ("chargers.our charger.efficiency", "90 %", lambda s: s.chargers["our charger"].efficiency_share, 0.9),
    ("week.shifts.late.handover", "90 s", lambda s: s.week.shifts["late"].handover_min, 1.5),
    ("week.shifts.late.to", "24:00", lambda s: s.week.shifts["late"].minutes, 600.0),
    ("week.shifts.room.days", ["Saturday", "sun-mon"], lambda s: s.week.shifts["room"].days, (0, 5, 6)),
    ("week.holidays", ["week 1 Mon", "week 12 Sun"], lambda s: s.week.holidays, ((1, 0), (12, 6))),
    ("trucks[1].first_run", "90 min", lambda s: s.trucks[1].first_run_min, ((90.0, 0.0),)),
    ("trucks[1].first_run", {"first": "1 h", "every": "30 min"}, lambda s: s.trucks[1].first_run_min, ((60.0, 30.0),)),
    ("trucks[1].first_run", ["1 h", "2 h", "3 h", "0 s"], lambda s: s.trucks[1].first_run_min, (60, 120, 180, 0)),
    ("handling.extractor.steps[2].by", ["attendant", "driver"], lambda s: s.handling["extractor"].steps[2].by, (1, 1)),
    ("handling.extractor.steps[0].by", "attendant", lambda s: s.handling["extractor"].steps[0].by, (1, 0)),
    ("layouts.extractor.bays", "unlimited", lambda s: s.layouts["extractor"].bays, UNLIMITED),
    ("layouts.extractor.stations", "2", lambda s: s.layouts["extractor"].stations, 2),
    ("targets.downtime_per_truck_shift", "0.2 h", lambda s: s.targets.downtime_min_per_truck_shift, 12.0),
    ("targets.waits", "at least 90 % under 300 s", lambda s: s.targets.waits, (0.9, 5.0)),
    ("simulation.length", "10 days", lambda s: s.simulation.length_min, 14400.0),
    ("simulation.confidence", "99 %", lambda s: s.simulation.confidence_share, 0.99),
]  # fmt: skip


@pytest.mark.parametrize(("path", "text", "look", "value"), UNITS, ids=[f"{path}={text}" for path, text, *_ in UNITS])
def test_quantities_arrive_in_the_unit_of_their_suffix(
    sound: Scenario, path: str, text: object, look: Any, value: object
) -> None:
    """Whatever unit they were written in."""
    found = look(batsim.changed(sound, {path: text}))

    assert found == pytest.approx(value) if isinstance(value, float) else found == value


def test_steps_by_distance_take_their_time(sound: Scenario) -> None:
    """A way at a speed is a fixed duration."""
    law = sound.handling["extractor"].steps[1].law

    assert (law.kind, law.mean) == ("fixed", pytest.approx(20.0 / (4000.0 / 60.0)))


# --- laws ---


@pytest.mark.parametrize(
    ("stated", "kind", "mean"),
    [
        ("4 min", "fixed", 4.0),
        ({"fixed": "4 min"}, "fixed", 4.0),
        ({"low": "3 min", "typical": "4 min", "high": "8 min"}, "triangular", 5.0),
        ({"low": "3 min", "typical": "3 min", "high": "3 min"}, "triangular", 3.0),
        ({"low": "3 min", "high": "8 min"}, "uniform", 5.5),
        ({"low": "0 min", "high": "0 min"}, "uniform", 0.0),
        ({"mean": "4 min", "cv": 0.3}, "lognormal", 4.0),
        ({"mean": "4 min", "cv": 0.3, "law": "lognormal"}, "lognormal", 4.0),
        ({"mean": "4 min", "cv": "0.3", "law": "gamma"}, "gamma", 4.0),
        ({"mean": "4 min", "law": "exponential"}, "exponential", 4.0),
        ({"mean": "4 min", "cv": 2, "law": "hyperexponential"}, "hyperexponential", 4.0),
        ({"observed": ["3 min", "180 s", "0.1 h"]}, "observed", 4.0),
    ],
)
def test_a_law_follows_from_its_keys(stated: object, kind: str, mean: float) -> None:
    """Kind and mean of every way to state a duration."""
    law = DurationLaw.model_validate(stated)

    assert (law.kind, law.mean, law.always_zero) == (kind, pytest.approx(mean), False)


def test_a_law_may_be_nothing() -> None:
    """Only a fixed duration of zero is always zero."""
    assert DurationLaw.model_validate("0 min").always_zero


def test_observed_durations_come_from_a_file_beside_the_scenario(tmp_path: Path) -> None:
    """One duration on a line; comments and empty lines are left out; a byte order mark does no harm."""
    (tmp_path / "times.csv").write_text("\ufeff# stop watch\n\n6 h\n 5.5 h \n400 min\n", encoding="utf-8")
    text = SOUND.read_text(encoding="utf-8").replace("{mean: 6 h, cv: 0.2}", "{observed: times.csv}")
    (tmp_path / "site.yaml").write_text(text, encoding="utf-8")

    scenario = batsim.read(tmp_path / "site.yaml")

    assert scenario.trucks[1].run_time_min is not None
    assert scenario.trucks[1].run_time_min.observed_min == (360.0, 330.0, 400.0)


# --- defaults ---


def test_defaults_are_figures_of_the_catalogue() -> None:
    """What a scenario leaves out is in figures.csv, to the digit."""
    with (ROOT / "batsim" / "catalogue" / "figures.csv").open(encoding="utf-8", newline="") as lines:
        value = {row["name"]: float(row["value"]) for row in csv.DictReader(lines)}
    scenario = batsim.read_scenario_text(PLAIN)
    group, battery, charger = (
        scenario.trucks[0],
        scenario.batteries["vented_lead_acid_24v"],
        scenario.chargers["electronic_iuia"],
    )
    in_truck = scenario.layouts["stands"].in_truck

    assert group.duty is not None
    assert group.duty.mean_kw == value["truck.stacker_24v.power"]
    assert 100 * group.duty.between_trucks_share == value["truck.between_trucks"]
    assert 100 * group.duty.between_shifts_share == value["truck.between_shifts"]
    assert 100 * group.exchange_at_share == value["truck.exchange_at"]
    assert battery.cool_down_min.fixed_min == 60 * value["battery.vented_lead_acid.cool_down"]
    assert 100 * battery.discharge_to_share == value["battery.vented_lead_acid.discharge_to"]
    assert battery.mass_kg == value["battery_type.vented_lead_acid_24v.mass"]
    assert battery.watering is not None
    assert battery.watering.every.charges == value["battery.vented_lead_acid.watering_every"]
    assert charger.main_current.of(100.0) == value["charger.electronic_iuia.main_current"]
    assert charger.end_current is not None
    assert charger.end_current.of(100.0) == value["charger.electronic_iuia.end_current"]
    assert charger.charge_factor == value["charger.electronic_iuia.charge_factor"]
    assert 100 * charger.efficiency_share == value["charger.electronic_iuia.efficiency"]
    assert charger.power_factor == value["charger.electronic_iuia.power_factor"]
    assert (100 * in_truck.ceiling_share, 100 * in_truck.return_at_share) == (
        value["in_truck.ceiling"],
        value["in_truck.return_at"],
    )
    assert scenario.site.room_air == (value["site.room_temperature"],) * 2
    assert scenario.simulation.replications == value["simulation.replications"]
    assert scenario.simulation.length_min == 10080 * value["simulation.length"]
    assert scenario.simulation.warm_up_min == 10080 * value["simulation.warm_up"]
    assert 100 * scenario.simulation.confidence_share == value["simulation.confidence"]
    assert scenario.handling["portable_stands"].steps[1].time_min == DurationLaw.model_validate(
        {
            "low": FIGURES["handling.portable_stands.line_up_empty"].low_text,
            "typical": FIGURES["handling.portable_stands.line_up_empty"].text,
            "high": FIGURES["handling.portable_stands.line_up_empty"].high_text,
        }
    )


def test_a_way_has_the_speed_of_the_catalogue(sound: Scenario) -> None:
    """Where only the distance is stated."""
    to_room = batsim.changed(sound, {"trucks[0].to_room": {"distance": "100 m"}}).trucks[0].to_room

    assert to_room is not None
    assert to_room.speed_m_per_min == FIGURES["travel.speed"].value * 1000.0 / 60.0


def test_what_is_left_out_has_no_effect() -> None:
    """Rules, targets and the rest have plain defaults."""
    scenario = batsim.read_scenario_text(PLAIN)

    assert scenario.rules.model_dump() == {
        "discharged_on_charge": "with_exchange",
        "at_break": "finish",
        "at_shift_end": "finish",
        "priorities": ("exchange", "connect", "watering", "inspection", "readings", "wash"),
        "if_none_ready": "wait",
        "patience_min": FIGURES["rules.patience"].value,
    }
    targets = scenario.targets.model_dump()
    assert targets.pop("groups") == {}
    assert set(targets.values()) == {None}
    assert (scenario.question, scenario.site.currency, scenario.week.holidays) == ("", "EUR", ())
    assert scenario.layouts["stands"].attendants is None


def test_drivers_exchange_by_day_and_one_attendant_late(sound: Scenario) -> None:
    """Trucks that work only by day need no attendant; shifts that are left out are those of attendants."""
    by_shift = {"layouts.extractor.attendants": {"late": 1}, "layouts.extractor.exchange_by": {"early": "drivers"}}
    layout = batsim.changed(sound, by_shift).layouts["extractor"]

    assert not layout.drivers_only
    assert [layout.exchanged_by_drivers(shift, "reach trucks") for shift in ("early", "late")] == [True, False]


def test_what_may_not_change_where_a_plan_is_decided(sound: Scenario) -> None:
    """As it is stated, by name; nothing when nothing is stated, and of one layout alone."""
    layouts = batsim.changed(sound, {"layouts.extractor.fixed": ["levers", "batteries"]}).layouts

    assert (layouts["extractor"].fixed, layouts["in the truck"].fixed) == (("levers", "batteries"), ())
    assert batsim.changed(sound, {"layouts.extractor.fixed": []}).layouts["extractor"].fixed == ()


def test_no_truck_comes_for_the_shift_change_above_the_usual_level(sound: Scenario) -> None:
    when = batsim.changed(sound, {"trucks[0].exchange_when": {"shift_change": "if_short"}}).trucks[0].exchange_when

    assert when.not_above_share == FIGURES["truck.exchange_not_above"].value / 100.0


@pytest.mark.parametrize("name", catalogue.handling_names())
def test_every_arrangement_of_the_catalogue_is_read(name: str) -> None:
    """By its name, in a layout."""
    text = PLAIN.replace("portable_stands, batteries: 4", f"{name}, batteries: {2 if name == 'in_truck' else 4}")
    arrangement = batsim.read_scenario_text(text).arrangement("stands")

    assert arrangement.in_truck == (not arrangement.steps)
    assert len(arrangement.cautions) >= 4


def test_every_battery_and_charger_of_the_catalogue_is_read() -> None:
    """Each battery type with a charger that fits it."""
    fitting = {"vented_lead_acid": "electronic_iuia", "valve_regulated": "gel_iu", "lithium_ion": "lithium_cc_cv"}
    for name, entry in read_file(catalogue.document("battery_types")).data.items():
        if "cells" in entry:
            text = PLAIN.replace("vented_lead_acid_24v", name).replace("electronic_iuia", fitting[entry["chemistry"]])
            assert batsim.read_scenario_text(text).batteries[name].chemistry == entry["chemistry"]
    for name, entry in read_file(catalogue.document("charger_types")).data.items():
        battery = {"vented_lead_acid": "vented_lead_acid_24v", "valve_regulated": "valve_regulated_24v"}
        text = PLAIN.replace("vented_lead_acid_24v", battery.get(entry["chemistry"][0], "lithium_ion_48v"))
        text = text.replace("electronic_iuia", name)
        assert batsim.read_scenario_text(text).chargers[name].profile == entry["profile"]


def test_a_law_in_bay_of_a_figure_replaces_it_whole() -> None:
    """What `from` brings and what is stated under the same key are not mixed."""
    text = PLAIN.replace("{from: vented", "{cool_down: {low: 6 h, typical: 8 h, high: 10 h}, from: vented")
    battery = batsim.read_scenario_text(text).batteries["vented_lead_acid_24v"]

    assert (battery.cool_down_min.kind, battery.cool_down_min.mean) == ("triangular", 480.0)


# --- frozen ---


def test_a_scenario_is_frozen(sound: Scenario) -> None:
    """No part of it can be set."""
    parts: list[Any] = [sound, sound.site, sound.trucks[0], sound.layouts["extractor"], sound.week.shifts["early"]]

    for part in parts:
        for name in type(part).model_fields:
            with pytest.raises(ValidationError, match="Instance is frozen"):
                setattr(part, name, getattr(part, name))


def test_a_scenario_can_be_sent_to_another_process(sound: Scenario) -> None:
    """It is the same after pickling, and can still be changed by copy."""
    copy = pickle.loads(pickle.dumps(sound))

    assert copy == sound
    assert batsim.changed(copy, {"layouts.extractor.stations": 3}).layouts["extractor"].stations == 3


# --- a changed copy ---


def test_replace_checks_the_whole_anew(sound: Scenario) -> None:
    """A copy that breaks a rule of another part is refused at its place; the original stays as it was."""
    before = sound.model_dump()

    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.changed(sound, {"trucks[0].count": 14})

    assert rules(caught) == [
        "68:22: layouts.extractor.batteries.big: would deadlock: without a spare battery of type 'big' no exchange "
        "can ever start; have at least 15, or set rules.discharged_on_charge to at_arrival (got 14)"
    ]
    assert sound.model_dump() == before


def test_replace_reads_as_yaml_would(sound: Scenario) -> None:
    """Text with its unit, a number, a list or a block; the copy stands alone."""
    value = {"mean_power": "2 kW"}
    changed = batsim.changed(sound, {"trucks[0].duty": value, "layouts.extractor.stations": 2})
    value["mean_power"] = "-1 kW"

    assert changed.trucks[0].duty is not None
    assert (changed.trucks[0].duty.mean_kw, changed.layouts["extractor"].stations) == (2.0, 2)
    assert sound.trucks[0].duty is not None
    assert (sound.trucks[0].duty.mean_kw, sound.layouts["extractor"].stations) == (3.2, 1)
    assert batsim.changed(changed, {"rules.at_break": "pause"}).trucks == changed.trucks
    assert changed.file == sound.file


def test_replace_adds_what_was_left_to_its_default(sound: Scenario) -> None:
    """A key, a layout, or a section that the file does not have."""
    layout = {
        "handling": "overhead_hoist",
        "batteries": {"big": 9, "small": 6},
        "chargers": ["5 x our charger", "2 x gel_iu"],
    }
    plain = batsim.read_scenario_text(PLAIN)

    assert batsim.changed(sound, {"layouts.hoist": layout}).batteries_of("hoist") == {"big": 9, "small": 6}
    assert (
        batsim.changed(sound, {"batteries.small.cool_down": "3 h"}).batteries["small"].cool_down_min.fixed_min == 180.0
    )
    assert batsim.changed(plain, {"rules.at_break": "pause"}).rules.at_break == "pause"
    assert batsim.changed(plain, {"simulation.seed": 7}).simulation.seed == 7
    assert batsim.changed(sound, {"trucks[0].duty": None}).trucks[0].duty is not None  # from its class


@pytest.mark.parametrize(
    ("path", "problem"),
    [
        ("", ": needs a path such as layouts.hoist.stations or trucks[0].count"),
        (".", ".: needs a path such as layouts.hoist.stations or trucks[0].count"),
        ("trucks[0]..count", "trucks[0]..count: needs a path such as layouts.hoist.stations or trucks[0].count"),
        ("trucks[-1].count", "trucks[-1].count: needs a path such as layouts.hoist.stations or trucks[0].count"),
        ("trucks['x", "trucks['x: needs a path such as layouts.hoist.stations or trucks[0].count"),
        ("trucks[2].count", "trucks[2].count: leads to nothing in this scenario"),
        ("trucks[2]", "trucks[2]: leads to nothing in this scenario"),
        ("trucks.count", "trucks.count: leads to nothing in this scenario"),
        ("layouts.hoist.stations", "layouts.hoist.stations: leads to nothing in this scenario"),
        ("site.name.first", "site.name.first: leads to nothing in this scenario"),
        ("trucks[0].count.x", "trucks[0].count.x: leads to nothing in this scenario"),
        ("layouts.extractor.station", "layouts.extractor.station: unknown key; did you mean 'stations'?"),
        ("simulatoin.seed", "simulatoin: unknown key; did you mean 'simulation'?"),
        ("extends", "extends: unknown key"),
        ("layouts.extractor.batteries.big", "layouts.extractor.batteries.big: needs a whole number (got 1.5)"),
        ("trucks[0].count", "trucks[0].count: needs a whole number (got 1.5)"),
    ],
)  # fmt: skip
def test_replace_refuses_paths_that_lead_nowhere(sound: Scenario, path: str, problem: str) -> None:
    """And values that break a rule, without a line: they stand in no file."""
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.changed(sound, {path: 1.5})

    file = str(SOUND)
    expected = f"{file}: 1 problem\n  {file}: {problem.removeprefix(': ')}"
    assert str(caught.value) == expected


@pytest.mark.parametrize("name", ["v1.2", "the [new] one", "driver's", "it's v1.2", 'the "good" one', "a: b # c", "🔋"])
def test_names_of_all_kinds_can_be_reached(name: str) -> None:
    """A name with dots or brackets stands in quotes in a path, as messages write it."""
    plain = batsim.read_scenario_text(PLAIN)
    scenario = batsim.changed(
        plain, {"layouts": {name: {"handling": "portable_stands", "batteries": 4, "chargers": "2 x electronic_iuia"}}}
    )

    changed = batsim.changed(scenario, {path_text(("layouts", name, "batteries")): 5})

    assert changed.batteries_of(name) == {"vented_lead_acid_24v": 5}


# --- one file over another ---


@pytest.fixture
def extended(tmp_path: Path) -> Path:
    """A folder with the sound scenario as base.yaml."""
    (tmp_path / "base.yaml").write_text(SOUND.read_text(encoding="utf-8"), encoding="utf-8")
    return tmp_path


def over(folder: Path, text: str) -> Scenario:
    """Read a file that extends base.yaml."""
    (folder / "site.yaml").write_text(f"extends: base.yaml\n{text}", encoding="utf-8")
    return batsim.read(folder / "site.yaml")


def test_keys_are_merged_and_lists_replaced(extended: Path, sound: Scenario) -> None:
    """The file that extends wins, key by key; what it does not name stays."""
    scenario = over(
        extended,
        "layouts: {extractor: {stations: 2}}\n"
        "week: {shifts: {late: {breaks: [\"17:00 for 30 min\"]}}, holidays: []}\n"
        "batteries: {small: {mass: 300 kg}}\n",
    )  # fmt: skip

    assert scenario.layouts["extractor"] == sound.layouts["extractor"].model_copy(update={"stations": 2})
    assert scenario.layouts["in the truck"] == sound.layouts["in the truck"]
    assert scenario.week.shifts["late"].breaks == ((1020.0, 30.0),)
    assert scenario.week.shifts["late"].handover_min == 5.0
    assert scenario.week.holidays == ()
    assert (scenario.batteries["small"].mass_kg, scenario.batteries["small"].cells) == (300.0, 12)
    assert scenario.trucks == sound.trucks


def test_a_law_replaces_another_whole(extended: Path) -> None:
    """Two ways to state a duration are not mixed."""
    scenario = over(
        extended,
        "handling: {extractor: {connect_time: {mean: 2 min, cv: 0.5}}}\n"
        "batteries: {big: {cool_down: {low: 6 h, high: 9 h}}}\n",
    )

    assert scenario.handling["extractor"].connect_time_min.kind == "lognormal"
    assert scenario.batteries["big"].cool_down_min.kind == "uniform"


def test_statements_are_the_keys_of_laws() -> None:
    """No key that holds a law was forgotten."""

    def laws(model: type[BaseModel], seen: set[type]) -> Iterator[str]:
        seen.add(model)
        for name, field in model.model_fields.items():
            if "DurationLaw" in str(field.annotation):
                yield field.alias or name
            for module, part in re.findall(r"(batsim\.scenario(?:\.\w+)*)\.(\w+)", str(field.annotation)):
                inner = getattr(import_module(module), part)
                if isinstance(inner, type) and issubclass(inner, BaseModel) and inner not in seen | {DurationLaw}:
                    yield from laws(inner, seen)

    assert {*laws(Scenario, set()), "first_run"} == STATEMENTS | STATEMENTS_BY_NAME


def test_places_are_those_of_the_file_that_says_it(extended: Path) -> None:
    """Also where a list of the base is replaced by a shorter one, or a block by a word."""
    with pytest.raises(batsim.ScenarioError) as caught:
        over(
            extended,
            "trucks:\n"
            "  - {group: a, count: 6, class: reach_1_6t_48v, shifts: [early], battery: big}\n"
            "  - {group: b, count: 4, shifts: [late], battery: small, run_time: 1 h}\n"
            "batteries: {big: {capacity: 2 Ah at 5 h}}\n",
        )

    assert rules(caught) == [
        "3:5: trucks[0].duty.mean_power: would empty 'big' in 0 min; state what one truck draws over its shift "
        "(got 1.6 kW)"
    ]
    assert caught.value.problems[0].file == str(extended / "site.yaml")


def test_a_chain_of_files(extended: Path) -> None:
    """The last word wins."""
    over(extended, "layouts: {extractor: {stations: 2, bays: 15}}\n")
    (extended / "last.yaml").write_text("extends: site.yaml\nlayouts: {extractor: {bays: 16}}\n", encoding="utf-8")

    layout = batsim.read(extended / "last.yaml").layouts["extractor"]

    assert (layout.stations, layout.bays) == (2, 16)


def test_dropped_entries_are_not_taken_over(extended: Path, sound: Scenario) -> None:
    """Parts with names, keys inside of them, and what is then stated anew instead of mixed."""
    scenario = over(
        extended,
        "drop: [layouts.in the truck, layouts.extractor.bays, week.shifts.late.breaks, targets.waits, site.currency]\n",
    )

    assert list(scenario.layouts) == ["extractor"]
    assert scenario.layouts["extractor"] == sound.layouts["extractor"].model_copy(update={"bays": None})
    assert (scenario.week.shifts["late"].breaks, scenario.targets.waits) == ((), None)
    assert scenario.targets.downtime_min_per_truck_shift == sound.targets.downtime_min_per_truck_shift


def test_a_star_drops_every_entry_and_others_take_their_place(extended: Path) -> None:
    scenario = over(
        extended,
        "drop: ['layouts.*', chargers.our charger]\n"
        "chargers: {our charger: {from: electronic_iuia}}\n"
        "layouts: {mine: {handling: in_truck, chargers: [6 x our charger, 4 x gel_iu]}}\n",
    )

    assert list(scenario.layouts) == ["mine"]
    assert scenario.chargers["our charger"].batteries == ()  # not those of the entry that was dropped


def test_each_file_of_a_chain_drops_from_the_one_below(extended: Path) -> None:
    over(
        extended,
        "drop: [layouts.in the truck]\n"
        "layouts: {spare: {handling: in_truck, chargers: [6 x our charger, 4 x gel_iu]}}\n",
    )
    (extended / "last.yaml").write_text("extends: site.yaml\ndrop: [layouts.spare]\n", encoding="utf-8")

    assert list(batsim.read(extended / "last.yaml").layouts) == ["extractor"]


def test_what_is_dropped_and_needed_is_missing_where_it_would_stand(extended: Path) -> None:
    """No place is left of what was dropped."""
    with pytest.raises(batsim.ScenarioError) as caught:
        over(extended, "drop: [layouts.extractor.chargers]\n")

    (problem,) = caught.value.problems
    assert str(problem).endswith("base.yaml:65:5: layouts.extractor.chargers: missing: chargers by type")


def test_text_extends_a_file_beside_its_name(extended: Path) -> None:
    """Text without a file of its own may extend one too."""
    scenario = batsim.read_scenario_text("extends: base.yaml\nsite: {name: New}\n", str(extended / "none.yaml"))

    assert (scenario.site.name, scenario.trucks[0].count) == ("New", 6)


# --- what editors are told ---


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    """The exported JSON Schema, as it is after printing."""
    return json.loads(json.dumps(scenario_schema(), allow_nan=False))


def test_the_schema_is_a_schema(schema: dict[str, Any]) -> None:
    """It keeps the rules of its draft."""
    Draft202012Validator.check_schema(schema)

    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == "batsim scenario"


@pytest.mark.parametrize("file", [*SCENARIOS, SOUND], ids=lambda file: file.stem)
def test_the_scenarios_are_valid_in_an_editor(schema: dict[str, Any], file: Path) -> None:
    """What the reader accepts, the schema accepts."""
    found = [error.message for error in Draft202012Validator(schema).iter_errors(read_file(file).data)]

    assert found == []


def test_every_property_is_described(schema: dict[str, Any]) -> None:
    """An editor can show help on every key: at the key, or at the part it leads to."""

    def properties(node: Any, path: str) -> Iterator[tuple[str, dict[str, Any]]]:
        if isinstance(node, dict):
            for name, value in node.get("properties", {}).items():
                yield f"{path}.{name}", value
            for name, value in node.items():
                yield from properties(value, f"{path}/{name}")
        elif isinstance(node, list):
            for value in node:
                yield from properties(value, path)

    def described(value: dict[str, Any]) -> bool:
        target = schema["$defs"].get(value.get("$ref", "").removeprefix("#/$defs/"), {})
        return bool(value.get("description") or target.get("description"))

    everything = list(properties(schema, ""))

    assert len(everything) > 100
    assert [path for path, value in everything if not described(value)] == []


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("simulation:", "simulatoin:", "$"),
        ("stations: 1", "station: 1", "$.layouts.extractor"),
        ("handover: 5 min", "handoff: 5 min", "$.week.shifts.late"),
        ("by: driver", "who: driver", "$.handling.extractor.steps[2]"),
        ("{every: 7 charges", "{evry: 7 charges", "$.batteries.big.watering"),
        ("count: 6", "count: six", "$.trucks[0].count"),
        ("count: 6", "count: 0", "$.trucks[0].count"),
        ("mean_power: 3.2 kW", "mean_power: 3.2", "$.trucks[0].duty"),
        ("class: reach_1_6t_48v", "class: reach", "$.trucks[0].class"),
        ("from: vented_lead_acid_48v", "from: vented", "$.batteries.big.from"),
        ('from: "14:00"', 'from: "14h"', "$.week.shifts.late.from"),
        ("discharged_on_charge: with_exchange", "discharged_on_charge: later", "$.rules.discharged_on_charge"),
        ("bays: 13", "bays: -1", "$.layouts.extractor.bays"),
        ("bays: 13", "fixed: [bays, batterys]", "$.layouts.extractor.fixed"),
        ("bays: 13", "fixed: levers", "$.layouts.extractor.fixed"),
        ("site:\n  name: Sound until broken (invented)\n  currency: EUR\n  room_temperature: 20 degC\n", "", "$"),
    ],
)
def test_an_editor_marks_what_the_reader_refuses(schema: dict[str, Any], old: str, new: str, where: str) -> None:
    """Misspelt keys and wrong values fail validation, at their place."""
    text = SOUND.read_text(encoding="utf-8")
    assert old in text
    text = text.replace(old, new, 1)

    found = {error.json_path for error in Draft202012Validator(schema).iter_errors(read_text(text, "a.yaml").data)}

    assert found == {where}
    with pytest.raises(batsim.ScenarioError):
        batsim.read_scenario_text(text)


def test_an_editor_lets_a_file_leave_out_what_it_extends(schema: dict[str, Any]) -> None:
    """Nothing but changes need stand in a file that extends another."""
    text = "extends: kestrel-lane.yaml\nlayouts: {hoist: {stations: 2}}\nsite: {currency: USD}\n"

    assert list(Draft202012Validator(schema).iter_errors(read_text(text, "a.yaml").data)) == []


def test_every_law_is_in_the_schema(schema: dict[str, Any]) -> None:
    """An editor offers the names of all laws."""
    law = schema["$defs"]["DurationLaw"]["anyOf"][1]["properties"]["law"]

    assert law["anyOf"][0]["enum"] == list(KEYS)
