"""The survey sheet: what checks ask for is asked, what is stated is found again, what is missing is marked."""

import csv
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import batsim
import batsim.plan
from batsim.plan.plan import plan_layouts
from batsim.plan.survey_asked import survey_questions, things_of
from batsim.plan.survey_sheet import SheetLine, SurveySheet, survey, value_text
from batsim.scenario.json_schema import scenario_schema
from batsim.scenario.reading import stated_data
from batsim.scenario.unknowns import lies_in

ROOT = Path(__file__).parents[3]
SURVEYED = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
PLAN = Path(batsim.plan.__file__).parent
THE_REST: dict[str, Any] = {
    "present": "stands",
    "trucks[0].to_room": {"distance": "60 m"},
    "supply.voltage": "400 V",
    "prices": {
        "attendant": "30 EUR/h", "driver": "30 EUR/h", "energy": "0.2 EUR/kWh", "demand": "9 EUR/kW",
        "battery": "200 EUR/kWh", "charger": "2500 EUR", "device": "900 EUR",
    },
}  # fmt: skip
"""What the surveyed site does not say and no check asks for."""
BARE = """\
site: {name: Nobody measured (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: "a.b [1]", count: 3, shifts: [day], battery: "v1.2 [old]", duty: {mean_power: 2 kW}}]
batteries: {"v1.2 [old]": {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts:
  rollers: {handling: side_rollers, batteries: 5, chargers: 3 x electronic_iuia}
  stands: {handling: portable_stands, batteries: 5, chargers: 3 x electronic_iuia, owned: {hand_pallet_truck: 1}}
  hoist: {handling: overhead_hoist, batteries: 5, chargers: 3 x electronic_iuia}
  in truck: {handling: in_truck, chargers: 3 x electronic_iuia}
"""


@cache
def surveyed() -> batsim.Scenario:
    """The site of which everything is known."""
    return batsim.changed(batsim.read(SURVEYED), THE_REST)


@cache
def bare() -> batsim.Scenario:
    """A site of which nobody has measured anything."""
    return batsim.read_scenario_text(BARE)


def with_changes(changes: dict[str, Any]) -> SurveySheet:
    """Sheet of the surveyed site with some things stated otherwise."""
    return survey(batsim.changed(surveyed(), changes))


def line(sheet: SurveySheet, path: str) -> SheetLine:
    """The question whose answer goes to a path."""
    (found,) = [each for each in sheet.lines if each.path == path]
    return found


def without(*keys: str) -> batsim.Scenario:
    """The surveyed site without some keys that stand in its text once, with their values."""
    text = SURVEYED.read_text(encoding="utf-8")
    for key in keys:
        text, count = re.subn(rf"(?<=[{{ ]){key}: (?:\{{[^}}]*\}}|[^,}}\n]+)(?:, ?)?", "", text, count=1)
        assert count == 1
    return batsim.changed(batsim.read_scenario_text(text), THE_REST)


# --- the table ---


def resolved(schema: dict[str, Any], node: dict[str, Any]) -> list[dict[str, Any]]:
    """All forms of a part of the schema."""
    if "$ref" in node:
        return resolved(schema, schema["$defs"][node["$ref"].rpartition("/")[2]])
    forms = [
        form for key in ("anyOf", "oneOf", "allOf") for each in node.get(key, ()) for form in resolved(schema, each)
    ]
    return [node, *forms]


def leads_somewhere(schema: dict[str, Any], keys: tuple[str | int, ...]) -> bool:
    """Whether the schema of scenarios has a path."""
    nodes = [schema]
    for key in keys:
        forms = [form for node in nodes for form in resolved(schema, node)]
        if isinstance(key, int):
            nodes = [form["items"] for form in forms if isinstance(form.get("items"), dict)]
        else:
            named = [form["properties"][key] for form in forms if key in form.get("properties", {})]
            free = [
                form["additionalProperties"] for form in forms if isinstance(form.get("additionalProperties"), dict)
            ]
            nodes = named or free
    return bool(nodes)


def test_every_path_is_one_of_a_scenario() -> None:
    """Of all questions, with what may be answered in their place."""
    schema, things = scenario_schema(), things_of(surveyed())
    paths = [
        (*things[question.subject][0].keys, *place) for question in survey_questions() for place in question.places
    ]

    assert [path for path in paths if not leads_somewhere(schema, path)] == []
    assert not leads_somewhere(schema, ("room", "lenght"))
    assert not leads_somewhere(schema, ("trucks", 0, "compartment", "depth"))


def asked_in(table: str, column: str) -> list[str]:
    """Paths in a table of the plan that a site may leave open, as far as they are not put together in code."""
    with (PLAN / table).open(newline="", encoding="utf-8") as lines:
        return [row[column] for row in csv.DictReader(lines) if row[column] not in ("", "{path}")]


@pytest.mark.parametrize("path", sorted({*asked_in("checks.csv", "path"), *asked_in("measures_asked.csv", "path")}))
def test_what_checks_ask_is_a_question(path: str) -> None:
    """Every path of `checks.csv` and of `measures_asked.csv`."""
    sides = ["length", "width", "height"] if "{side}" in path else [""]
    for side in sides:
        form = path.replace("{side}", side).replace("{trucks.battery_at}", "batteries").replace("{path}", "room")
        form = form.replace("{trucks.compartment_at}", "trucks.compartment")
        subject, _, key = re.sub(r"\{(?:key|equipment):at\}", "equipment", form).partition(".")
        places = [question.places for question in survey_questions() if question.subject == subject]

        assert any(lies_in(".".join(first), key) for first, *_ in filter(None, places)), (subject, key)


def test_questions_say_what_they_would_change() -> None:
    """Those that checks ask for take it from the check; a note has no place; a letter belongs to a drawing."""
    assert {question.asked for question in survey_questions()} == {"always", "checks", "any", "note"}
    for question in survey_questions():
        assert bool(question.places) == (question.asked != "note")
        assert bool(question.changes) == (question.asked != "checks")
        assert bool(question.letter) == bool(question.drawing)


# --- what is stated ---


def test_what_is_stated_stands_there_with_its_unit() -> None:
    """As the file has it: a quantity, a range, a word, a list, a block."""
    sheet = survey(batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml"))
    expected = {
        "trucks[0].compartment.length": "990 mm",
        "trucks[0].compartment.battery_mass": "1050 kg to 1250 kg",
        "trucks[0].compartment.removal": "side",
        "trucks[0].count": "12",
        "trucks[1].shifts": "early, late, night",
        "batteries.lead 48 V 750 Ah.size.width": "1028 mm",
        "equipment.hoist.hook_height": "3.2 m",
        "equipment.roller stand.roller_height": "240 mm to 280 mm",
        "week.shifts.night": "days Sun-Thu, from 22:00, to 06:00, breaks 02:00 for 20 min",
        "room.acid_proof": "yes",
        "layouts.hoist.attendants": "room early 2, room late 2, room night 2",
    }

    assert {path: line(sheet, path).value for path in expected} == expected
    assert sheet.site == "Kestrel Lane parts warehouse (invented)"


def test_every_number_of_trucks_batteries_and_room_is_found_again() -> None:
    """Nothing that the survey states there is left out."""
    sheet, data = survey(surveyed()), stated_data(surveyed())
    values = {each.value for each in sheet.lines}

    def leaves(value: Any) -> list[str]:
        if isinstance(value, dict) and set(value) != {"from", "to"}:
            return [leaf for each in value.values() for leaf in leaves(each)]
        return [value_text(value)]

    stated = [leaf for key in ("equipment", "room", "building", "supply") for leaf in leaves(data[key])]
    stated += leaves(data["trucks"][0]["compartment"]) + leaves(data["batteries"]["lead"]["size"])
    assert len(stated) > 60
    assert [value for value in stated if value not in values] == []


def test_the_catalogue_stands_in_beside_an_empty_answer() -> None:
    """What the class of a truck or a figure says until the site does; it is no answer."""
    sheet = survey(batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml"))
    volts = line(sheet, "trucks[0].compartment.voltage")

    assert (volts.value, volts.usual, volts.missing) == ("", "48 V", False)
    assert line(with_changes({}), "trucks[0].to_room.speed").usual == "8 km/h"


# --- what is missing ---


def test_a_surveyed_site_has_no_mark() -> None:
    """But for records of today, which are asked for; its plan asks nothing that the sheet would not."""
    assert [each.path for each in survey(surveyed()).lines if each.missing] == ["calibration"]


def test_everything_on_a_blank_sheet_is_missing() -> None:
    """But for notes, which a scenario has no place for."""
    sheet = survey(groups=3)

    assert {each.value for each in sheet.lines} | {each.usual for each in sheet.lines} == {""}
    assert [each.text for each in sheet.lines if each.missing != bool(each.path)] == []
    assert all(each.changes for each in sheet.lines)
    assert [part.title for part in sheet.parts if part.subject == "trucks"] == [
        f"Truck group '{number}'" for number in (1, 2, 3)
    ]
    assert {part.subject for part in sheet.parts} == {question.subject for question in survey_questions()}
    asked = {each.path.rpartition(".")[2] for each in sheet.lines if each.path.startswith("equipment.")}
    assert {"fork_length", "hook_height", "hook_spacing", "roller_height", "takes_up", "way_out"} <= asked


@pytest.mark.parametrize("groups", [0, 21])
def test_a_blank_sheet_has_room_for_some_groups(groups: int) -> None:
    with pytest.raises(ValueError, match=re.escape(f"groups must be 1 to 20 (got {groups})")):
        survey(groups=groups)


@pytest.mark.parametrize("scenario", [bare, lambda: batsim.read(ROOT / "scenarios" / "saltmarsh-road.yaml")])
def test_what_a_plan_asks_is_marked_on_the_sheet(scenario: Any) -> None:
    """Every open question of a plan that a site can answer, also those that rest on what was simulated."""
    site = scenario()
    plan = plan_layouts(site, batsim.Settings(replications=1, weeks=0.05, warm_up_weeks=0.0, workers=1))
    marked = [each.path for each in survey(site).lines if each.missing]

    paths = [question.path for question in plan.questions]
    assert len(paths) > 10
    assert [path for path in paths if not any(lies_in(each, path) for each in marked)] == []


def test_what_a_measure_would_change() -> None:
    """The check by its name, and what its answer changes; the name of the truck that may be unsafe with it."""
    window = line(survey(without("battery_mass")), "trucks[0].compartment.battery_mass")

    assert window.missing
    assert window.changes == (
        "check 'battery mass' stays not known; a battery outside the window makes the truck unstable or overloads it: "
        "it must not be used"
    )


def test_the_first_of_many_checks_are_named() -> None:
    """The size of a battery is in most of them."""
    length = line(survey(without("size")), "batteries.lead.size.length")

    assert re.fullmatch(
        r"checks 'battery length in the compartment', 'battery width in the compartment' and \d+ more stay not known; "
        r"whether the battery goes in, and whether it is held",
        length.changes,
    )


def test_what_comes_up_only_then_is_asked_at_once() -> None:
    """A check asks for the battery first, and for the compartment when that is measured."""
    sheet = survey(bare())

    for path in ("trucks[0].compartment.width", "trucks[0].compartment.opening.height", "room.width"):
        assert line(sheet, path).missing
    assert line(sheet, "batteries.'v1.2 [old]'.lifting_eyes").missing
    assert line(sheet, "equipment.hand_pallet_truck.fork_length").missing


def test_nothing_of_what_stands_in_is_told() -> None:
    """Answers that bring hidden questions up are nobody's numbers."""
    texts = [text for each in survey(bare()).lines for text in (each.text, each.value, each.changes)]

    assert [text for text in texts if re.search(r"\d (mm|kg|kN|m²|m³)", text)] == []


def test_a_stand_in_that_breaks_a_rule_is_left_out() -> None:
    """A charger with a connector of its own fits no battery with another one: the rest is asked all the same."""
    changes = {
        "chargers": {"own": {"from": "electronic_iuia", "connector": "grey"}},
        "layouts.hoist.chargers": "3 x own",
    }
    sheet = survey(batsim.changed(bare(), changes))

    assert line(sheet, "trucks[0].compartment.connector").missing
    assert line(sheet, "trucks[0].compartment.width").missing


def test_what_is_only_known_to_lie_between_is_missing() -> None:
    """It may turn the best layout."""
    between = {"trucks[0].duty.mean_power": {"between": ["1.5 kW", "2.5 kW"]}}
    power = line(with_changes(between), "trucks[0].duty.mean_power")

    assert (power.value, power.missing) == ("between 1.5 kW and 2.5 kW", True)
    assert power.changes == "it is stated as a range: a narrower one may turn the best layout"


def test_one_answer_of_several_is_enough() -> None:
    """Energy in place of power; a fan in place of openings: the others are not asked any more."""
    paths = {each.path: each for each in with_changes({"trucks[0].duty": {"energy_per_shift": "14 kWh"}}).lines}

    assert paths["trucks[0].duty.energy_per_shift"].text == "Energy taken from the battery in a shift"
    assert not {"trucks[0].duty.mean_power", "trucks[0].run_time", "room.openings"} & set(paths)
    open_lines = [
        each.text for each in survey(groups=1).lines if each.path.startswith(("trucks[0].duty", "trucks[0].run"))
    ]
    assert open_lines == [
        "Mean power at work", "or: energy taken from the battery in a shift", "or: working hours on one battery",
    ]  # fmt: skip


def test_groups_and_areas_have_lines_of_their_own() -> None:
    """Three groups, the areas of today, the battery types that other layouts would bring."""
    sheet = survey(batsim.read(ROOT / "scenarios" / "saltmarsh-road.yaml"))
    titles = [part.title for part in sheet.parts]

    assert [title for title in titles if title.startswith("Truck")] == [
        "Truck group 'reach'", "Truck group 'counterbalance'", "Truck group 'pickers'",
    ]  # fmt: skip
    assert "Battery type 'lithium 24 V 400 Ah'" in titles
    assert line(sheet, "layouts.today.areas.yard.chargers").value == "12 x electronic 48 V"
    assert line(sheet, "layouts.today.areas.yard.chargers").text.startswith("Area 'yard': chargers, how many")
    # Batteries that leave upwards cross no opening: it stands there, and nothing waits for it.
    assert not line(sheet, "trucks[1].compartment.opening.length").missing


def test_water_is_asked_of_batteries_that_take_it() -> None:
    """Not of lithium-ion ones; of every one on a blank sheet, where nobody knows what it is."""
    sheet = survey(batsim.read(ROOT / "scenarios" / "saltmarsh-road.yaml"))
    watered = {each.path for each in sheet.lines if ".watering." in each.path}

    assert "batteries.lead 48 V 620 Ah.watering.by" in watered
    assert not [path for path in watered if "lithium" in path]
    assert [each for each in survey(groups=1).lines if each.path.endswith(".watering.by")]


def test_numbers_name_a_line() -> None:
    """Of its part, and in the part."""
    sheet = survey(surveyed())
    numbers = [each.number for each in sheet.lines]

    assert len(set(numbers)) == len(numbers)
    assert [part.lines[0].number for part in sheet.parts] == [f"{n}.1" for n in range(1, len(sheet.parts) + 1)]


def test_a_sheet_shows_itself() -> None:
    """At a prompt in a few words, in a notebook as a table."""
    sheet = survey(surveyed())

    assert repr(sheet) == f"<SurveySheet: Surveyed (invented): 1 of {len(sheet.lines)} missing>"
    assert list(sheet.frame["path"]) == [each.path for each in sheet.lines]
    assert "Truck group 'trucks'" in sheet._repr_html_()
