"""Keys of batteries, charging and seasons: what each becomes, its default, and how one file changes another."""

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

import batsim
from batsim.catalogue import FIGURES, document
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.parts.air import Air
from batsim.scenario.parts.batteries import Equalising
from batsim.scenario.parts.charging_rules import ChargingRules
from batsim.scenario.parts.kinds import Quantity
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.scenario.text.yaml_text import read_file, read_text

SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
INF = float("inf")
EVERY_3_WEEKS = {"every": "3 weeks", "length": "4 h", "current": "20 A"}
NIGHT = {"days": "Mon-Fri", "from": "22:00", "to": "06:00"}


@pytest.fixture(scope="module")
def sound() -> Scenario:
    """The sound scenario of the tests on bad input."""
    return batsim.read(SOUND)


def minutes(value: str) -> float:
    """Duration of a figure, as a scenario would read it. [min]"""
    return float(Quantity("duration").read(value))


# --- what a value becomes ---


def big(scenario: Scenario) -> Any:
    return scenario.batteries["big"]


def ours(scenario: Scenario) -> Any:
    return scenario.chargers["our charger"]


KEYS = [
    ("site.room_temperature", "68 degF", lambda s: s.site.room_air, Air(20.0, 20.0)),
    ("site.room_temperature", {"winter": "281.15 K", "summer": "28 degC"}, lambda s: s.site.room_air, Air(8.0, 28.0)),
    ("site.room_temperature", {"summer": "5 degC", "winter": "15 degC"}, lambda s: s.site.room_air, Air(15.0, 5.0)),
    ("trucks[0].air", "-25 degC", lambda s: s.trucks[0].air, Air(-25.0, -25.0)),
    ("trucks[0].air", {"winter": "32 degF", "summer": "86 degF"}, lambda s: s.trucks[0].air, Air(0.0, 30.0)),
    ("simulation.start_week", 27, lambda s: s.simulation.start_week, 27),
    ("simulation.start_week", 52, lambda s: s.simulation.start_week, 52),
    ("batteries.big.equalising", EVERY_3_WEEKS, lambda s: big(s).equalising.every_min, 3 * WEEK_MIN),
    ("batteries.big.equalising", {"every": "7 days"}, lambda s: big(s).equalising.every_min, WEEK_MIN),
    ("batteries.big.equalising", EVERY_3_WEEKS, lambda s: big(s).equalising.length_min, 240.0),
    ("batteries.big.equalising", EVERY_3_WEEKS, lambda s: big(s).equalising.current.of(750.0), 20.0),
    ("batteries.big.equalising", {"current": "20 mA/Ah"}, lambda s: big(s).equalising.current.of(750.0), 15.0),
    ("batteries.big.equalising", "none", lambda s: big(s).equalising, None),
    ("batteries.big.recovery", "two_wells", lambda s: big(s).recovery, "two_wells"),
    ("batteries.big.recovery", "none", lambda s: big(s).recovery, "none"),
    ("batteries.big.cool_to", "95 degF", lambda s: big(s).cool_to_degc, 35.0),
    ("batteries.big.forced_air", True, lambda s: big(s).forced_air, True),
    ("batteries.big.cooling_time_constant", "7.5 h", lambda s: big(s).cooling_time_constant_min, 450.0),
    ("batteries.big.charge_from", "32 degF", lambda s: big(s).charge_from_degc, 0.0),
    ("batteries.big.charge_below", "313.15 K", lambda s: big(s).charge_below_degc, 40.0),
    ("batteries.big.capacity_spread", "4 %", lambda s: big(s).capacity_spread_share, 0.04),
    ("batteries.big.life_used", "30 %", lambda s: big(s).life_used, (0.3, 0.3)),
    ("batteries.big.life_used", {"from": "0 %", "to": "80 %"}, lambda s: big(s).life_used, (0.0, 0.8)),
    ("batteries.big.life_used", {"to": "50 %", "from": "50 %"}, lambda s: big(s).life_used, (0.5, 0.5)),
    ("batteries.big.watering.every", "7 charges", lambda s: big(s).watering.every, (7.0, INF, False)),
    ("batteries.big.watering.every", "300 Ah", lambda s: big(s).watering.every, (INF, 300.0, False)),
    ("batteries.big.watering.every", "300Ah ", lambda s: big(s).watering.every, (INF, 300.0, False)),
    ("batteries.big.watering.every", "when_low", lambda s: big(s).watering.every, (INF, INF, True)),
    ("chargers.our charger.standby", "60 W", lambda s: ours(s).standby_kw, 0.06),
    ("chargers.our charger.standby", "0 W", lambda s: ours(s).standby_kw, 0.0),
    ("chargers.our charger.profile", "WoWa", lambda s: ours(s).profile, "WoWa"),
    ("chargers.our charger.profile", "IUI", lambda s: ours(s).profile, "IUI"),
    ("charging.power_limit", "60000 W", lambda s: s.charging.power_limit_kw, 60.0),
    ("charging.windows", [NIGHT], lambda s: s.charging.windows[0].days, (0, 1, 2, 3, 4)),
    ("charging.windows", [NIGHT], lambda s: s.charging.windows[0].from_min, 1320.0),
    ("charging.windows", [NIGHT], lambda s: s.charging.windows[0].to_min, 360.0),
    ("charging.windows", [NIGHT], lambda s: s.charging.windows[0].minutes, 480.0),
    ("charging.delay", "0.5 h", lambda s: s.charging.delay_min, 30.0),
    ("charging.stagger", "90 s", lambda s: s.charging.stagger_min, 1.5),
    ("charging.too_warm_or_cold", "start", lambda s: s.charging.too_warm_or_cold, "start"),
    ("layouts.in the truck.charging", {"delay": "1 h"}, lambda s: s.charging_of("in the truck").delay_min, 60.0),
    ("layouts.in the truck.charging", {"delay": "1 h"}, lambda s: s.charging_of("extractor").delay_min, 0.0),
    ("layouts.in the truck.in_truck.full_every", "1 week", lambda s: s.layouts["in the truck"].in_truck.full_every_min,
     WEEK_MIN),
    ("layouts.in the truck.in_truck.full_every", "0 h", lambda s: s.layouts["in the truck"].in_truck.full_every_min,
     0.0),
]  # fmt: skip


@pytest.mark.parametrize(("path", "text", "look", "value"), KEYS, ids=[f"{path}={text}" for path, text, *_ in KEYS])
def test_a_value_becomes_what_it_says(sound: Scenario, path: str, text: object, look: Any, value: object) -> None:
    """In the unit of its suffix, whatever unit it was written in, in a copy made by replace."""
    found = look(batsim.changed(sound, {path: text}))

    assert found == pytest.approx(value) if isinstance(value, float | tuple) else found == value


def test_replace_checks_what_holds_chargers_back(sound: Scenario) -> None:
    """A copy whose charges could never start, or never end, is refused."""
    with pytest.raises(batsim.ScenarioError) as weak:
        batsim.changed(sound, {"charging.power_limit": "1 kW"})
    with pytest.raises(batsim.ScenarioError) as short:
        batsim.changed(sound, {"layouts.in the truck.charging": {"windows": [{**NIGHT, "days": "Mon"}]}})
    with pytest.raises(batsim.ScenarioError) as cold:
        batsim.changed(sound, {"batteries.big.charge_below": "5 degC"})

    assert str(weak.value).splitlines()[1:] == [
        f"  {SOUND}: charging.power_limit: must be at least 7.7 kW, what one 'our charger' draws on 'big', "
        "the others in standby (got 1 kW)"
    ]
    assert str(short.value).splitlines()[1:] == [
        f"  {SOUND}: layouts.in the truck.charging.windows: must be open for at least 15 h a week, what 'our charger' "
        "takes to fill 'big' (got 8 h)"
    ]
    assert str(cold.value).splitlines()[1:] == [
        f"  {SOUND}: batteries.big.charge_below: must be above 'charge_from' (10 degC) (got 5 degC)"
    ]


# --- what is left out ---


def test_defaults_of_a_battery_type_without_from() -> None:
    """Nothing is done to it that is not stated."""
    text = SOUND.read_text(encoding="utf-8").replace(
        "    from: valve_regulated_24v\n",
        "    {chemistry: valve_regulated, cells: 12, capacity: 450 Ah at 5 h, discharge_to: 20 %, cool_down: 4 h}\n",
    )
    battery = batsim.read_scenario_text(text).batteries["small"]

    assert (battery.equalising, battery.watering, battery.cool_to_degc) == (None, None, None)
    assert (battery.recovery, battery.forced_air, battery.cooling_time_constant_min) == ("none", False, None)
    assert (battery.charge_from_degc, battery.charge_below_degc, battery.mass_kg) == (None, None, None)
    assert (battery.capacity_spread_share, battery.life_used) == (0.0, (0.0, 0.0))


@pytest.mark.parametrize("name", read_file(document("battery_types")).data)
def test_lead_acid_of_the_catalogue_is_equalised(sound: Scenario, name: str) -> None:
    """As often and as long as its chemistry asks for, and lithium-ion never."""
    entry = read_file(document("battery_types")).data[name]
    stated = {"from": name, "cells": 12, "capacity": "450 Ah at 5 h"}
    other = "lithium_cc_cv" if entry["chemistry"] == "lithium_ion" else "electronic_iuia"
    other = "gel_iu" if entry["chemistry"] == "valve_regulated" else other
    chargers = ["8 x our charger", "4 x other"]
    changes = {
        "batteries.small": stated,
        "chargers.other": {"from": other, "batteries": ["small"]},
        "layouts.extractor.chargers": chargers,
        "layouts.in the truck.chargers": chargers,
    }
    equalising = batsim.changed(sound, changes).batteries["small"].equalising

    if entry["chemistry"] == "lithium_ion":
        assert equalising is None
        return
    every, length, current = (
        FIGURES[f"battery.{entry['chemistry']}.equalise_{each}"] for each in ("every", "length", "current")
    )
    assert equalising is not None
    assert (equalising.every_min, equalising.length_min) == (minutes(every.text), minutes(length.text))
    assert equalising.current == (current.value, True)


def test_nothing_holds_chargers_back_by_default(sound: Scenario) -> None:
    """No limit, all hours, no delay; only batteries that are too warm or cold wait."""
    rules = sound.charging

    assert (rules.power_limit_kw, rules.windows, rules.delay_min, rules.stagger_min) == (None, (), 0.0, 0.0)
    assert rules.too_warm_or_cold == "wait"
    assert rules.open_windows(WEEK_MIN) == []
    assert {layout.charging for layout in sound.layouts.values()} == {None}
    assert sound.charging_of("extractor") is sound.charging


def test_other_defaults(sound: Scenario) -> None:
    """Seasons begin in week 1; standby and full charges are figures of the catalogue; trucks breathe the room's air."""
    assert sound.simulation.start_week == 1
    assert {each.air for each in sound.trucks} == {None}
    assert ours(sound).standby_kw == FIGURES["charger.standby"].value
    full_every = sound.layouts["in the truck"].in_truck.full_every_min
    assert full_every == minutes(FIGURES["in_truck.full_every"].text)


# --- hours of charging ---


@pytest.mark.parametrize(
    ("windows", "until", "spans"),
    [
        ([{"from": "00:00", "to": "00:00"}], WEEK_MIN, [(0.0, WEEK_MIN)]),
        ([{"days": "Mon", "from": "22:00", "to": "06:00"}], WEEK_MIN, [(1320.0, 1800.0)]),
        ([{"days": "Sun", "from": "22:00", "to": "06:00"}], WEEK_MIN, [(0.0, 360.0), (9960.0, 10440.0)]),
        (
            [{"days": "Mon", "from": "22:00", "to": "24:00"}, {"days": "Tue", "from": "00:00", "to": "06:00"}],
            WEEK_MIN,
            [(1320.0, 1800.0)],
        ),
        (
            [{"days": "Mon", "from": "10:00", "to": "14:00"}, {"days": "Mon", "from": "12:00", "to": "13:00"}],
            2 * WEEK_MIN,
            [(600.0, 840.0), (WEEK_MIN + 600.0, WEEK_MIN + 840.0)],
        ),
    ],
)
def test_hours_of_charging_are_laid_out(windows: object, until: float, spans: list[tuple[float, float]]) -> None:
    """Every week, over midnight and over the end of the week, joined where they touch."""
    found = ChargingRules.model_validate({"windows": windows}).open_windows(until)

    assert [each for each in found if each[0] < until] == spans


# --- one over another ---


def over(folder: Path, base: str, text: str) -> Scenario:
    """Read a file that extends one that extends the sound scenario."""
    (folder / "sound.yaml").write_text(SOUND.read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "base.yaml").write_text(f"extends: sound.yaml\n{base}", encoding="utf-8")
    (folder / "site.yaml").write_text(f"extends: base.yaml\n{text}", encoding="utf-8")
    return batsim.read(folder / "site.yaml")


def test_a_part_of_an_equalising_charge_is_enough_over_the_catalogue(tmp_path: Path) -> None:
    """The other keys come from the entry that the battery starts from."""
    found = over(tmp_path, "batteries: {big: {equalising: {every: 14 days}}}", "").batteries["big"].equalising

    assert found is not None
    assert found.every_min == 2 * WEEK_MIN
    assert found.length_min == minutes(FIGURES["battery.vented_lead_acid.equalise_length"].text)
    assert found.current == (FIGURES["battery.vented_lead_acid.equalise_current"].value, True)


def test_none_takes_away_what_the_catalogue_brings(tmp_path: Path) -> None:
    """Equalising and watering; a file that extends may bring them back, then in parts again or whole."""
    none = "batteries: {big: {equalising: none, watering: none}}"
    gone = over(tmp_path, none, "").batteries["big"]
    back = over(tmp_path, none, "batteries: {big: {equalising: {every: 14 days}}}").batteries["big"]
    whole = over(
        tmp_path, none, "batteries: {big: {equalising: {every: 14 days, length: 3 h, current: 10 A}}}"
    ).batteries["big"]

    assert (gone.equalising, gone.watering) == (None, None)
    assert back.equalising is not None
    assert (back.equalising.every_min, back.watering) == (2 * WEEK_MIN, None)
    assert whole.equalising == Equalising.model_validate({"every": "14 days", "length": "3 h", "current": "10 A"})


def test_rules_of_charging_are_merged_key_by_key(tmp_path: Path) -> None:
    """Hours are a list and replaced whole; a layout's own rules stand in place of the scenario's."""
    scenario = over(
        tmp_path,
        f"charging: {{power_limit: 60 kW, delay: 10 min, windows: [{json.dumps(NIGHT)}]}}",
        'charging: {delay: 0 min, windows: [{from: "10:00", to: "14:00"}]}\n'
        "layouts: {in the truck: {charging: {stagger: 1 min}}}",
    )
    rules, own = scenario.charging_of("extractor"), scenario.charging_of("in the truck")

    assert (rules.power_limit_kw, rules.delay_min) == (60.0, 0.0)
    assert [(each.from_min, each.to_min, each.days) for each in rules.windows] == [(600.0, 840.0, tuple(range(7)))]
    assert (own.power_limit_kw, own.windows, own.stagger_min) == (None, (), 1.0)


def test_seasons_are_merged_and_one_temperature_is_not(tmp_path: Path) -> None:
    """A summer alone is enough over winter and summer; one temperature takes the bay of both, and they of it."""
    seasons = "site: {room_temperature: {winter: 8 degC, summer: 28 degC}}"
    used = "batteries: {big: {life_used: {from: 10 %, to: 60 %}}}"

    assert over(tmp_path, seasons, "site: {room_temperature: {summer: 35 degC}}").site.room_air == Air(8.0, 35.0)
    assert over(tmp_path, seasons, "site: {room_temperature: 15 degC}").site.room_air == Air(15.0, 15.0)
    assert over(tmp_path, "", seasons).site.room_air == Air(8.0, 28.0)
    assert over(tmp_path, used, "batteries: {big: {life_used: {to: 90 %}}}").batteries["big"].life_used == (0.1, 0.9)
    assert over(tmp_path, used, "batteries: {big: {life_used: 20 %}}").batteries["big"].life_used == (0.2, 0.2)


# --- what editors are told ---

EVERYTHING = """\
extends: sound.yaml
site: {room_temperature: {winter: 8 degC, summer: 28 degC}}
trucks:
  - {group: a, count: 6, class: reach_1_6t_48v, shifts: [early, late], battery: big, air: -5 degC}
  - {group: b, count: 4, shifts: [early], battery: small, run_time: 6 h, air: {winter: 0 degC, summer: 30 degC}}
batteries:
  big:
    equalising: {every: 14 days}
    watering: {every: when_low}
    recovery: two_wells
    cool_to: 35 degC
    forced_air: true
    cooling_time_constant: 6 h
    charge_from: 5 degC
    charge_below: 45 degC
    capacity_spread: 3 %
    life_used: {from: 0 %, to: 70 %}
  small: {equalising: none, watering: none, recovery: none, life_used: 50 %}
chargers:
  our charger: {profile: WoWa, standby: 0 W}
  another: {from: gel_iui, profile: IUI, standby: 25 W}
charging:
  power_limit: 120 kW
  windows: [{days: Mon-Fri, from: "22:00", to: "06:00"}, {from: "10:00", to: "14:00"}]
  delay: 15 min
  stagger: 2 min
  too_warm_or_cold: start
layouts:
  in the truck:
    charging: {power_limit: 60 kW}
    in_truck: {full_every: 7 days}
simulation: {start_week: 26}
"""


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    """The exported JSON Schema."""
    return scenario_schema()


def test_an_editor_accepts_every_key(schema: dict[str, Any], tmp_path: Path) -> None:
    """What the reader accepts, the schema accepts."""
    (tmp_path / "sound.yaml").write_text(SOUND.read_text(encoding="utf-8"), encoding="utf-8")
    found = [error.message for error in Draft202012Validator(schema).iter_errors(read_text(EVERYTHING, "a.yaml").data)]
    scenario = batsim.read_scenario_text(EVERYTHING, str(tmp_path / "site.yaml"))

    assert found == []
    assert scenario.trucks[1].air == Air(0.0, 30.0)
    assert scenario.chargers["another"].profile == "IUI"


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("summer: 28 degC", "sommer: 28 degC", "$.site.room_temperature"),
        ("air: -5 degC", "air: -5", "$.trucks[0].air"),
        ("{every: 14 days}", "{every: 14}", "$.batteries.big.equalising"),
        ("{every: 14 days}", "{each: 14 days}", "$.batteries.big.equalising"),
        ("{every: 14 days}", "never", "$.batteries.big.equalising"),
        ("{every: when_low}", "when_low", "$.batteries.big.watering"),
        ("recovery: two_wells", "recovery: two", "$.batteries.big.recovery"),
        ("forced_air: true", "forced_air: fans", "$.batteries.big.forced_air"),
        ("{from: 0 %, to: 70 %}", "{from: 0 %, until: 70 %}", "$.batteries.big.life_used"),
        ("profile: WoWa", "profile: WoW", "$.chargers['our charger'].profile"),
        ('from: "10:00", to: "14:00"', 'from: "10:00"', "$.charging.windows[1]"),
        ('from: "10:00", to: "14:00"', 'from: "10:00", to: 14 h', "$.charging.windows[1].to"),
        ("too_warm_or_cold: start", "too_warm_or_cold: go", "$.charging.too_warm_or_cold"),
        ("stagger: 2 min", "staggered: 2 min", "$.charging"),
        ("charging: {power_limit: 60 kW}", "charging: {limit: 60 kW}", "$.layouts['in the truck'].charging"),
        ("full_every: 7 days", "full_each: 7 days", "$.layouts['in the truck'].in_truck"),
        ("start_week: 26", "start_week: 53", "$.simulation.start_week"),
    ],
)
def test_an_editor_marks_what_the_reader_refuses_here(
    schema: dict[str, Any], tmp_path: Path, old: str, new: str, where: str
) -> None:
    """Misspelt keys and wrong values fail validation, at their place or at the part around it."""
    (tmp_path / "sound.yaml").write_text(SOUND.read_text(encoding="utf-8"), encoding="utf-8")
    assert EVERYTHING.count(old) == 1
    text = EVERYTHING.replace(old, new)

    found = {error.json_path for error in Draft202012Validator(schema).iter_errors(read_text(text, "a.yaml").data)}

    assert found == {where}
    with pytest.raises(batsim.ScenarioError):
        batsim.read_scenario_text(text, str(tmp_path / "site.yaml"))


def test_every_characteristic_and_word_is_offered(schema: dict[str, Any]) -> None:
    """An editor lists them."""
    parts = schema["$defs"]
    equalising = parts["BatteryType"]["properties"]["equalising"]["anyOf"]

    assert parts["ChargerType"]["properties"]["profile"]["enum"] == ["IU", "IUIa", "IUI", "W", "WoWa", "CC-CV"]
    assert equalising == [{"const": "none"}, {"$ref": "#/$defs/Equalising"}]
    assert "required" not in parts["Equalising"]
    assert parts["ChargingWindow"]["required"] == ["from", "to"]


def test_a_gel_battery_on_chargers_that_it_must_not_have() -> None:
    """On a falling line, and at the end current of a vented battery; the catalogue's own chargers are allowed."""
    text = """\
site: {name: gel (invented), room_temperature: 20 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: g, count: 4, class: stacker_24v, shifts: [day], battery: b, duty: {mean_power: 0.6 kW}}]
batteries: {b: {from: valve_regulated_24v}}
chargers:
  wrong: {profile: W, chemistry: [valve_regulated], main_current: 16 A per 100 Ah, end_current: 4 A per 100 Ah, charge_factor: 1.2, efficiency: 84 %, power_factor: 0.8}
  wrong2: {profile: IUIa, chemistry: [valve_regulated], main_current: 18 A per 100 Ah, end_current: 5 A per 100 Ah, charge_factor: 1.15, efficiency: 92 %, power_factor: 0.95}
layouts:
  w: {handling: in_truck, chargers: 4 x wrong}
  iuia: {handling: in_truck, chargers: 4 x wrong2}
"""  # noqa: E501 - as the case was reported
    most = "must be at most 1.6 A per 100 Ah for valve_regulated batteries, which nobody can water"
    rule = f"{most}; write '0.5 A per 100 Ah'"
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read_scenario_text(text, "gel.yaml")

    assert [str(problem) for problem in caught.value.problems] == [
        "gel.yaml:6:20: chargers.wrong.profile: valve_regulated batteries are not charged so; take IU or IUI for them "
        "and leave them out of 'chemistry' (got 'W')",
        f"gel.yaml:6:97: chargers.wrong.end_current: {rule} (got '4 A per 100 Ah')",
        f"gel.yaml:7:101: chargers.wrong2.end_current: {rule} (got '5 A per 100 Ah')",
    ]
    cured = text.replace("profile: W,", "profile: IU,").replace("4 A per", "1.6 A per").replace("5 A per", "0.5 A per")
    assert list(batsim.read_scenario_text(cured, "gel.yaml").layouts) == ["w", "iuia"]
