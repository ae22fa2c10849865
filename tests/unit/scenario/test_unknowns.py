"""Inputs that are not known: where they may stand, what stands in for them, how a copy settles or moves them."""

import pickle
from pathlib import Path

import pytest

import batsim
from batsim.scenario.reading import completed_data, source_of
from batsim.scenario.site import Scenario

ROOT = Path(__file__).parents[3]
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
INTERFERENCE = ROOT / "scenarios" / "machine-interference.yaml"


def stated(*changes: tuple[str, str], file: Path = SOUND) -> Scenario:
    """Read a scenario with some of its text otherwise."""
    text = file.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return batsim.read_scenario_text(text, "site.yaml")


def unknowns(scenario: Scenario) -> dict[str, str]:
    """What is not known, in words."""
    return {each.path: each.text for each in scenario.unknowns}


@pytest.fixture(scope="module")
def sound() -> Scenario:
    """The sound scenario of the tests on bad input."""
    return batsim.read(SOUND)


# --- where they stand ---


def test_a_scenario_without_any_is_as_it_was(sound: Scenario) -> None:
    """Nothing is not known, nothing is stated anew."""
    assert (sound.unknowns, sound.figures.stated) == ((), {})


PLACES = [
    (
        "mean_power: 3.2 kW",
        "mean_power: {between: [3 kW, 3.4 kW]}",
        "trucks[0].duty.mean_power",
        "between 3 kW and 3.4 kW",
    ),
    ("count: 6", "count: {between: [5, 7]}", "trucks[0].count", "between 5 and 7"),
    (
        "cool_down: 8 h",
        "cool_down: {between: [7 h, 12 h], typical: 8 h}",
        "batteries.big.cool_down",
        "between 7 h and 12 h, typically 8 h",
    ),
    ("{mean: 6 h, cv: 0.2}", "{mean: 6 h, cv: {between: [0.1, 0.3]}}", "trucks[1].run_time.cv", "between 0.1 and 0.3"),
    ("typical: 1 min", "typical: {between: [0.8 min, 1.2 min]}", "handling.extractor.connect_time.typical", None),
    ("high: 0.6 min", "high: {between: [0.5 min, 0.7 min]}", "handling.extractor.steps[2].time.high", None),
    ("[1 h, 2 h, 3 h, 4 h]", "[1 h, 2 h, {between: [2 h, 4 h]}, 4 h]", "trucks[1].first_run[2]", None),
    ("small: 8}", "small: {between: [7, 9]}}", "layouts.extractor.batteries.small", "between 7 and 9"),
    (
        "    chargers: [8 x our charger, 4 x gel_iu]\n    bays",
        "    chargers: [{between: [7 x our charger, 9 x our charger]}, 4 x gel_iu]\n    bays",
        "layouts.extractor.chargers[0]",
        "between 7 x our charger and 9 x our charger",
    ),
    ("{room: 1}", "{room: {between: [0, 2]}}", "layouts.extractor.attendants.room", "between 0 and 2"),
    ("every: 7 charges", "every: {between: [5 charges, 9 charges]}", "batteries.big.watering.every", None),
    ("handover: 5 min", "handover: {between: [0 min, 10 min]}", "week.shifts.late.handover", None),
    ("room_temperature: 20 degC", "room_temperature: {between: [15 degC, 25 degC]}", "site.room_temperature", None),
    ("ceiling: 80 %", "ceiling: {between: [75 %, 85 %]}", "layouts.in the truck.in_truck.ceiling", None),
    ("95 % under 10 min", "{between: [90 % under 10 min, 100 % under 10 min]}", "targets.waits", None),
]


@pytest.mark.parametrize(("old", "new", "path", "text"), PLACES, ids=[path for *_, path, _ in PLACES])
def test_a_value_that_is_not_known_may_stand_anywhere(
    sound: Scenario, old: str, new: str, path: str, text: str | None
) -> None:
    """In laws, lists and blocks; its middle, which is the stated value here, stands in for it and nothing changes."""
    scenario = stated((old, new))

    assert list(unknowns(scenario)) == [path]
    assert text in (None, unknowns(scenario)[path])
    assert scenario.model_dump() == sound.model_dump()
    assert completed_data(scenario) == completed_data(batsim.changed(sound, {path: scenario.unknowns[0].middle}))


def test_they_are_told_in_the_order_of_the_file() -> None:
    """All of them, however deep."""
    scenario = stated(*((old, new) for old, new, *_ in PLACES[:4]))

    assert list(unknowns(scenario)) == [
        "trucks[0].count",
        "trucks[0].duty.mean_power",
        "trucks[1].run_time.cv",
        "batteries.big.cool_down",
    ]


def test_a_law_varies_and_its_end_is_not_known() -> None:
    """The law of a duration says how it varies from time to time; between says what is not known of it."""
    scenario = stated(("cool_down: 8 h", "cool_down: {low: {between: [5 h, 7 h]}, high: 9 h}"))
    law = scenario.batteries["big"].cool_down_min

    assert (law.kind, law.low_min, law.high_min) == ("uniform", 360.0, 540.0)
    assert unknowns(scenario) == {"batteries.big.cool_down.low": "between 5 h and 7 h"}


def test_queueing_mode() -> None:
    """Mean times of a textbook case; a run uses the middle."""
    scenario = stated(("run_time: {mean: 10 h, law", "run_time: {mean: {between: [8 h, 12 h]}, law"), file=INTERFERENCE)

    assert unknowns(scenario) == {"trucks[0].run_time.mean": "between 8 h and 12 h"}
    assert batsim.read(INTERFERENCE).trucks == scenario.trucks
    known, middle = (
        batsim.run(
            each, batsim.Settings(layouts="one station", replications=2, weeks=1, warm_up_weeks=0, workers=1)
        ).values["one station"]
        for each in (batsim.read(INTERFERENCE), scenario)
    )
    assert known["availability_share"].tolist() == middle["availability_share"].tolist()


# --- one file over another ---


@pytest.mark.parametrize(
    ("base", "top", "text", "mass_kg"),
    [
        (
            "{between: [300 kg, 400 kg], typical: 310 kg}",
            "{between: [500 kg, 600 kg]}",
            "between 500 kg and 600 kg",
            550.0,
        ),
        ("{between: [300 kg, 400 kg]}", "200 kg", None, 200.0),
        (
            "900 kg",
            "{between: [200 kg, 300 kg], typical: 220 kg}",
            "between 200 kg and 300 kg, typically 220 kg",
            220.0,
        ),
    ],
)
def test_the_later_file_wins_whole(tmp_path: Path, base: str, top: str, text: str | None, mass_kg: float) -> None:
    """Nothing of the other is left in it."""
    sound = SOUND.read_text(encoding="utf-8").replace("  big:\n    from", f"  big:\n    mass: {base}\n    from")
    (tmp_path / "base.yaml").write_text(sound, encoding="utf-8")
    (tmp_path / "site.yaml").write_text(f"extends: base.yaml\nbatteries: {{big: {{mass: {top}}}}}\n", encoding="utf-8")

    scenario = batsim.read(tmp_path / "site.yaml")

    assert unknowns(scenario) == ({} if text is None else {"batteries.big.mass": text})
    assert scenario.batteries["big"].mass_kg == mass_kg


def test_a_law_of_the_base_is_not_mixed_with_it(tmp_path: Path) -> None:
    """Though neither key makes one statement of its own."""
    text = SOUND.read_text(encoding="utf-8").replace(": 20 degC", ": {winter: 5 degC, summer: 25 degC}")
    (tmp_path / "base.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "site.yaml").write_text(
        "extends: base.yaml\nsite: {room_temperature: {between: [10 degC, 20 degC]}}\n", encoding="utf-8"
    )

    scenario = batsim.read(tmp_path / "site.yaml")

    assert unknowns(scenario) == {"site.room_temperature": "between 10 degC and 20 degC"}
    assert scenario.site.room_air == (15.0, 15.0)


def test_what_is_wrong_is_said_in_the_file_that_says_it(tmp_path: Path) -> None:
    """Line and column of the end, in the base."""
    text = SOUND.read_text(encoding="utf-8").replace("cool_down: 8 h", "cool_down: {between: [soon, 8 h]}")
    (tmp_path / "base.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "site.yaml").write_text("extends: base.yaml\nsite: {name: New}\n", encoding="utf-8")

    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read(tmp_path / "site.yaml")

    site, base = tmp_path / "site.yaml", tmp_path / "base.yaml"
    assert str(caught.value) == (
        f"{site}: 1 problem\n  {base}:40:27: batteries.big.cool_down.between[0]: "
        "needs a number, or a number with its unit such as '3 kW' (got 'soon')"
    )


# --- a changed copy ---


@pytest.fixture(scope="module")
def open_one() -> Scenario:
    """A scenario with three inputs that are not known."""
    return stated(
        ("mean_power: 3.2 kW", "mean_power: {between: [3 kW, 3.4 kW]}"),
        ("cool_down: 8 h", "cool_down: {between: [7 h, 9 h]}"),
        ("ceiling: 80 %", "ceiling: {between: [75 %, 85 %]}"),
    )


def test_a_copy_may_settle_one(open_one: Scenario, sound: Scenario) -> None:
    """Then it is known there; the others and the original stay as they were."""
    changed = batsim.changed(open_one, {"batteries.big.cool_down": "7 h"})

    assert list(unknowns(changed)) == ["trucks[0].duty.mean_power", "layouts.in the truck.in_truck.ceiling"]
    assert changed.batteries["big"].cool_down_min.fixed_min == 420.0
    assert len(open_one.unknowns) == 3
    assert sound.batteries["big"].cool_down_min.fixed_min == open_one.batteries["big"].cool_down_min.fixed_min == 480.0


def test_a_copy_may_make_one_of_a_known_value(sound: Scenario) -> None:
    """Or state one otherwise."""
    changed = batsim.changed(sound, {"trucks[0].duty.mean_power": {"between": ["3 kW", "3.4 kW"]}})
    again = batsim.changed(changed, {"trucks[0].duty.mean_power": {"between": ["1 kW", "2 kW"]}})
    end = batsim.changed(changed, {"trucks[0].duty.mean_power.between[1]": "4 kW"})

    assert unknowns(changed) == {"trucks[0].duty.mean_power": "between 3 kW and 3.4 kW"}
    assert unknowns(again) == {"trucks[0].duty.mean_power": "between 1 kW and 2 kW"}
    assert unknowns(end) == {"trucks[0].duty.mean_power": "between 3 kW and 4 kW"}


def test_all_settled_at_their_middle_is_the_same_scenario(open_one: Scenario) -> None:
    """In one step, with any value that a study draws."""
    settled = batsim.changed(open_one, {each.path: each.middle for each in open_one.unknowns})
    drawn = batsim.changed(open_one, {each.path: each.at(0.123) for each in open_one.unknowns})

    assert settled.unknowns == drawn.unknowns == ()
    assert settled.model_dump() == open_one.model_dump()
    assert drawn.trucks[0].duty is not None
    assert drawn.trucks[0].duty.mean_kw == 3.0492


def test_a_copy_that_breaks_a_rule_is_refused(open_one: Scenario) -> None:
    """With the middle of what was put there."""
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.changed(open_one, {"trucks[0].duty.mean_power": {"between": ["-3 kW", "1 kW"]}})

    assert str(caught.value) == (
        "site.yaml: 1 problem\n  site.yaml: trucks[0].duty.mean_power: must be above 0 kW (got '-1 kW')"
    )


def test_they_go_to_another_process(open_one: Scenario) -> None:
    """With everything that can be done with them."""
    copy = pickle.loads(pickle.dumps(open_one))

    assert copy == open_one
    assert copy.unknowns == open_one.unknowns
    assert unknowns(batsim.changed(copy, {"trucks[0].duty.mean_power": "3 kW"})) == unknowns(
        batsim.changed(open_one, {"trucks[0].duty.mean_power": "3 kW"})
    )


def test_completed_data_hold_the_middles(open_one: Scenario) -> None:
    """As YAML would hold them; what the catalogue adds is there too."""
    whole = completed_data(open_one)
    trucks, batteries = whole["trucks"], whole["batteries"]

    assert isinstance(trucks, list)
    assert isinstance(batteries, dict)
    assert trucks[0]["duty"]["mean_power"] == "3.2 kW"
    assert (batteries["big"]["cool_down"], batteries["big"]["chemistry"]) == ("8 h", "vented_lead_acid")
    assert list(unknowns(open_one)) == [
        "trucks[0].duty.mean_power",
        "batteries.big.cool_down",
        "layouts.in the truck.in_truck.ceiling",
    ]


CHARGERS = ("extractor.chargers", "in the truck.chargers")


# --- several things at once, and paths for all ---


def test_changes_are_checked_together(sound: Scenario) -> None:
    """Each alone would break a rule, or both do and are told together."""
    both = batsim.changed(
        sound, {"trucks[0].count": 14, "layouts.extractor.batteries.big": 30, "layouts.extractor.bays": 40}
    )

    assert (both.trucks[0].count, both.batteries_of("extractor")["big"]) == (14, 30)
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.changed(sound, {"trucks[0].count": 0, "layouts.extractor.stations": "two"})
    assert [str(each) for each in caught.value.problems] == [
        f"{SOUND}: layouts.extractor.stations: needs a whole number or the word unlimited (got 'two')",
        f"{SOUND}: trucks[0].count: must be at least 1 (got 0)",
    ]
    assert batsim.changed(sound, {}) == sound


@pytest.mark.parametrize(
    ("path", "paths"),
    [
        ("trucks[*].count", ["trucks[0].count", "trucks[1].count"]),
        ("trucks.*.count", ["trucks[0].count", "trucks[1].count"]),
        ("layouts.*.chargers", ["layouts.extractor.chargers", "layouts.in the truck.chargers"]),
        ("layouts[*].chargers", ["layouts.extractor.chargers", "layouts.in the truck.chargers"]),
        ("layouts.*.chargers[*]", [f"layouts.{name}[{n}]" for name in CHARGERS for n in (0, 1)]),
        ("batteries.*", ["batteries.big", "batteries.small"]),
        ("layouts.'in the truck'.chargers", ["layouts.in the truck.chargers"]),
        ("trucks[0].count", ["trucks[0].count"]),
        ("trucks[7].count", ["trucks[7].count"]),
    ],
)  # fmt: skip
def test_a_star_stands_for_each(sound: Scenario, path: str, paths: list[str]) -> None:
    """A number or a name; without one the path stands for itself."""
    assert source_of(sound).spread(path) == paths


@pytest.mark.parametrize(
    ("path", "problem"),
    [
        ("handling.extractor.steps[*].by[*].x", "stands for nothing in this scenario"),
        ("demand.*", "stands for nothing in this scenario"),
        ("site.name.*", "stands for nothing in this scenario"),
        ("", "needs a path such as layouts.hoist.stations or trucks[0].count"),
        ("trucks[*", "needs a path such as layouts.hoist.stations or trucks[0].count"),
    ],
)
def test_a_star_that_stands_for_nothing_is_refused(sound: Scenario, path: str, problem: str) -> None:
    """As is what is no path."""
    where = f"{path}: " if path else ""
    for look in (source_of(sound).spread, lambda path: batsim.changed(sound, {path: 1})):
        with pytest.raises(batsim.ScenarioError) as caught:
            look(path)
        assert str(caught.value) == f"{SOUND}: 1 problem\n  {SOUND}: {where}{problem}"


def test_a_change_to_each_changes_each(sound: Scenario) -> None:
    """And no more."""
    changed = batsim.changed(sound, {"trucks[*].exchange_at": "30 %"})

    assert [group.exchange_at_share for group in changed.trucks] == [0.3, 0.3]
    assert changed.layouts == sound.layouts


@pytest.mark.parametrize(
    ("path", "layout"),
    [
        ("layouts.extractor.stations", "extractor"),
        ("layouts.'in the truck'", "in the truck"),
        ("layouts.in the truck.chargers[0]", "in the truck"),
        ("layouts.*.chargers", None),
        ("layouts", None),
        ("trucks[0].count", None),
        ("batteries.layouts.extractor", None),
    ],
)
def test_the_layout_of_a_path(sound: Scenario, path: str, layout: str | None) -> None:
    """None when it concerns all of them."""
    assert source_of(sound).layout_of(path) == layout


def test_sections_left_to_their_defaults_can_be_changed(sound: Scenario) -> None:
    """Also a section in a section that is not there; what is named must be there."""
    assert batsim.changed(sound, {"prices.lives.battery": "8 years"}).prices.lives.battery == {"": 8.0}
    assert batsim.changed(sound, {"prices.device.extractor": "9 EUR"}).prices.device["extractor"].amount == 9.0
    assert (
        batsim.changed(sound, {"trucks[0].exchange_when.spread": "5 min"}).trucks[0].exchange_when.spread.over_min
        == 5.0
    )
    assert (
        batsim.changed(sound, {"layouts.extractor.in_truck.ceiling": "70 %"})
        .layouts["extractor"]
        .in_truck.ceiling_share
        == 0.7
    )
    assert batsim.changed(sound, {"figures.'travel.speed'": "6 km/h"}).figures.stated["travel.speed"].value == 6.0
    for path in (
        "layouts.hoist.stations",
        "layouts.hoist.in_truck.ceiling",
        "batteries.huge.mass",
        "chargers.gel_iu.efficiency",
    ):
        with pytest.raises(batsim.ScenarioError) as caught:
            batsim.changed(sound, {path: 1})
        assert str(caught.value) == f"{SOUND}: 1 problem\n  {SOUND}: {path}: leads to nothing in this scenario"
    assert sound == batsim.read(SOUND)


# --- only some layouts ---


def test_only_some_layouts(open_one: Scenario) -> None:
    """What is not known of the others goes with them."""
    one = open_one.with_layouts(["extractor"])

    assert list(one.layouts) == ["extractor"]
    assert one.layouts["extractor"] == open_one.layouts["extractor"]
    assert list(unknowns(one)) == ["trucks[0].duty.mean_power", "batteries.big.cool_down"]
    assert batsim.changed(one, {"layouts.extractor.stations": 2}).layouts["extractor"].stations == 2
    assert list(open_one.layouts) == ["extractor", "in the truck"]


def test_all_layouts_are_the_scenario_itself(open_one: Scenario) -> None:
    """In any order."""
    assert open_one.with_layouts(["in the truck", "extractor"]) is open_one


def test_a_layout_that_is_left_out_may_have_had_prices() -> None:
    """What only it has of the catalogue keeps its price; that does no harm."""
    scenario = batsim.changed(
        batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml"),
        {"prices.device.hoist": "20000 EUR", "prices.charger.fast_iuia": "5000 EUR"},
    )

    assert list(scenario.with_layouts(["portable stands"]).layouts) == ["portable stands"]
