"""Best plans as a file: whatever counts and levers make in memory is read again from it."""

import json
import random
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

import batsim
from batsim import ScenarioError
from batsim.cli import main
from batsim.decision.written import _percent, _quantity, written
from batsim.record.tables import TABLES
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.layouts import ChargerCount, Layout
from batsim.scenario.parts.trucks import Roster
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.scenario.text.plain_yaml import yaml_text
from batsim.scenario.text.yaml_text import read_text
from batsim.study.levers import Lever, choices_of, with_levers
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    SET_DOWN_BAYS,
    STATIONS,
    Counted,
    Counts,
    can_grow,
    counts_of,
    with_counts,
)
from batsim.units import parse
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
KESTREL, SALTMARSH = ROOT / "scenarios" / "kestrel-lane.yaml", ROOT / "scenarios" / "saltmarsh-road.yaml"
LARKFIELD, CASES = ROOT / "scenarios" / "larkfield-bottling.yaml", ROOT / "tests" / "unit" / "cases"
ROLLERS, OWN_WAYS = "side rollers", "each its own way"
EVERY = [
    *sorted((ROOT / "scenarios").glob("*.yaml")),
    *sorted((ROOT / "tests" / "behaviour" / "cases").glob("*.yaml")),
    *[file for file in sorted(CASES.glob("*.yaml")) if file.stem != "plan_checks"],
]
"""Files of sites."""
LEAD = "lead 48 V 750 Ah"
COUNTED = (
    (Counted(STATIONS), 3.0),
    (Counted(DEVICES, "battery_carriage"), 3.0),
    (Counted(ATTENDANTS, "room early"), 1.0),
    (Counted(CHARGERS, "electronic_iuia"), 50.0),
    (Counted(BATTERIES, LEAD), 75.0),
    (Counted(BAYS), 60.0),
    (Counted(SET_DOWN_BAYS), 6.0),
)
"""Another number of everything that side rollers have."""
NOT_AS_IN_FILE = "is not what its file says, and plans are written beside that; write the scenario first, and read it"
SMALL = """
site: {name: Small}
week: {shifts: {all: {days: Mon-Sun, from: "00:00", to: "24:00"}}}
trucks: [{group: "08", count: 2, shifts: [all], battery: plain, run_time: 5 h}]
batteries: {plain: {from: vented_lead_acid_48v, charge_time: 2 h, cool_down: 0 min, watering: none}}
layouts:
  room: {handling: side_rollers, batteries: 5, chargers: 3 x electronic_iuia}
"""


@cache
def site(file: Path) -> Scenario:
    """Site of a file, read once."""
    return batsim.read(file)


@cache
def ways(file: Path, layout: str) -> tuple[tuple[Lever, ...], ...]:
    """Every way other than stated in which something may be done."""
    return tuple(way for choice in choices_of(site(file), layout, peak_kw=170.0) for way in choice.options[1:])


def saved(scenario: Scenario, plans: Mapping[str, Counts], file: Path) -> Scenario:
    """Write plans to a file and read that."""
    file.write_text(written(scenario, plans, file), encoding="utf-8")
    return batsim.read(file)


def told(layout: Layout) -> list[object]:
    """What two layouts may differ in though they are equal: who is qualified, lots, the order of things."""
    places = [layout, *layout.areas.values()]
    return [
        [(place.attendants, [getattr(each, "qualified", "") for each in dict(place.attendants).values()])
         for place in places if isinstance(place.attendants, dict)],
        [[(name, count, count.lots) for name, count in (place.batteries or {}).items()] for place in places],
        [[list(place.devices.items()), place.chargers] for place in places],
        [list(layout.areas), sorted(layout.trucks)],
    ]  # fmt: skip


def assert_same(again: Scenario, scenario: Scenario, plans: Mapping[str, Counts]) -> None:
    """Layouts of the plans are those made in memory, and only that of today is there beside them."""
    for name, counts in plans.items():
        made = with_counts(scenario, counts).layouts[counts.layout]
        assert again.layouts[name] == made
        assert told(again.layouts[name]) == told(made)
    today = set() if scenario.present is None else {scenario.present}
    assert set(again.layouts) == set(plans) | today
    assert again.present == scenario.present
    assert all(again.layouts[name] == scenario.layouts[name] for name in today)


def together(scenario: Scenario, layout: str, levers: Sequence[tuple[Lever, ...]]) -> tuple[Lever, ...]:
    """As many of some levers as go together, the first first."""
    taken: tuple[Lever, ...] = ()
    for way in levers:
        try:
            with_levers(scenario, layout, (*taken, *way))
        except ScenarioError:
            continue
        taken += way
    return taken


# --- what counts and levers change ---


@pytest.mark.parametrize("way", ways(KESTREL, ROLLERS), ids=lambda way: " ".join(map(str, way[0])))
def test_each_lever_alone(way: tuple[Lever, ...], tmp_path: Path) -> None:
    """One lever, with nothing else changed, and with other counts too."""
    plans = {"alone": Counts(ROLLERS, (), way), "with counts": Counts(ROLLERS, COUNTED, way)}
    again = saved(site(KESTREL), plans, tmp_path / "best.yaml")

    assert_same(again, site(KESTREL), plans)
    assert again.layouts["alone"] != site(KESTREL).layouts[ROLLERS]


@pytest.mark.parametrize("counted", COUNTED, ids=lambda counted: counted[0].kind)
def test_each_count_alone(counted: tuple[Counted, float], tmp_path: Path) -> None:
    """One count, all else as stated."""
    plans = {"best": Counts(ROLLERS, (counted,))}
    again = saved(site(KESTREL), plans, tmp_path / "best.yaml")

    assert_same(again, site(KESTREL), plans)
    assert again.layouts["best"] != site(KESTREL).layouts[ROLLERS]


def test_no_limit(tmp_path: Path) -> None:
    """The number that stands for no limit is written as the word."""
    names = {DEVICES: "hand_pallet_truck", CHARGERS: "electronic_iuia"}
    endless = [Counted(kind, names.get(kind, "")) for kind in (STATIONS, DEVICES, BAYS, SET_DOWN_BAYS, CHARGERS)]
    plans = {"best": Counts("portable stands", tuple((counted, UNLIMITED) for counted in endless))}
    again = saved(site(KESTREL), plans, tmp_path / "best.yaml")

    assert_same(again, site(KESTREL), plans)
    assert (again.layouts["best"].stations, again.layouts["best"].bays) == (UNLIMITED, UNLIMITED)


def test_all_together(tmp_path: Path) -> None:
    """What goes together, in two orders, so that other levers come first."""
    every = ways(KESTREL, ROLLERS)
    plans = {
        name: Counts(ROLLERS, COUNTED, together(site(KESTREL), ROLLERS, order))
        for name, order in (("first", every), ("last", every[::-1]))
    }
    again = saved(site(KESTREL), plans, tmp_path / "best.yaml")

    assert_same(again, site(KESTREL), plans)
    assert min(len(plan.levers) for plan in plans.values()) >= 7
    assert again.layouts["first"] != again.layouts["last"]


def test_the_text() -> None:
    """Only what changes is written anew; the whole of a group's `exchange_when` stands in the layout."""
    levers = (Lever("spread", "docks"), Lever("by_drivers", "", shift="night"), Lever("power_limit", "", 142.0))
    plan = Counts("hoist", ((Counted(BATTERIES, LEAD), 75.0), (Counted(STATIONS), 2.0)), levers)
    scenario = site(KESTREL).with_layouts(["hoist", ROLLERS])
    beside = ROOT / "scenarios" / "best.yaml"

    assert written(scenario, {"hoist, best": plan}, beside) == (
        "# Best plans of Kestrel Lane parts warehouse (invented), found by batsim decide; "
        "layouts are written whole, all else stands in the extended file.\n"
        """extends: kestrel-lane.yaml
drop: [layouts.side rollers, layouts.portable stands, layouts.in the truck]
layouts:
  hoist, best:
    handling: overhead_hoist
    stations: 2
    batteries: {lead 48 V 750 Ah: 75}
    chargers: 44 x electronic_iuia
    attendants: {room early: 2, room late: 2, room night: 2}
    owned:
      hoist: 1
      spreader beam: 1
      hand_pallet_truck: 1
      water cart: 1
      spill kit: 1
      protective equipment: 2
    charging: {power_limit: 142 kW}
    trucks:
      docks:
        exchange_by: {early: attendants, late: attendants, night: drivers}
        exchange_when: {shift_change: if_short, before_shift_end: 10 min, spread: 30 min}
      aisles:
        exchange_by: {early: attendants, late: attendants, night: drivers}
"""
    )


def test_without_attendants(tmp_path: Path) -> None:
    """Nobody who would do anything is named any more, and nothing is said in place of it."""
    plans = {"best": Counts(ROLLERS, (), (Lever("by_drivers", "", shift="early"), Lever("without_attendants", "")))}

    assert_same(saved(site(KESTREL), plans, tmp_path / "best.yaml"), site(KESTREL), plans)
    layout = yaml.safe_load((tmp_path / "best.yaml").read_text(encoding="utf-8"))["layouts"]["best"]
    assert "attendants" not in layout
    assert layout["trucks"] == {"docks": {}, "aisles": {}}


def test_what_a_layout_states_of_its_own_goes_before_the_site(tmp_path: Path) -> None:
    """Rules for charging and what sends trucks are taken from the layout where it states them, else from the site."""
    stated, group = yaml.safe_load(SMALL), "08"
    stated["trucks"][0]["exchange_when"] = {"shift_change": "always", "spread": "5 min"}
    stated["charging"] = {"stagger": "1 min", "delay": "12.5 min", "windows": [{"from": "22:00", "to": "06:00"}]}
    own = {"shift_change": "if_short", "spread": {"over": "5 min", "each": "anew"}}
    stated["layouts"]["own"] = stated["layouts"]["room"] | {
        "charging": {"stagger": "2 min"},
        "trucks": {group: {"exchange_when": own}},
    }
    (tmp_path / "site.yaml").write_text(json.dumps(stated), encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")
    levers = (Lever("spread", group, 5.0), Lever("in_breaks", group), Lever("delay", "", 12.5))
    plans = {f"best {layout}": Counts(layout, (), levers) for layout in ("room", "own")}

    again = saved(scenario, plans, tmp_path / "best.yaml")

    assert_same(again, scenario, plans)
    found = []
    for layout in again.layouts.values():
        rules, when = layout.charging, layout.trucks[group].exchange_when
        assert rules is not None
        assert when is not None
        found.append((rules.stagger_min, rules.delay_min, len(rules.windows), when.shift_change, when.spread))
    in_turn = Roster(5.0, anew=False)
    assert found == [(1.0, 12.5, 1, "always", in_turn), (2.0, 12.5, 0, "if_short", in_turn)]


@pytest.mark.parametrize("layout", ["today", OWN_WAYS])
def test_counts_of_areas(layout: str, tmp_path: Path) -> None:
    """Each area has numbers and levers of its own; attendants whom areas share stand beside them."""
    scenario = site(SALTMARSH)
    counts = (
        (Counted(STATIONS, area="reach"), 3.0),
        (Counted(BATTERIES, "lead 48 V 750 Ah", area="yard"), 22.0),
        (Counted(CHARGERS, "electronic 48 V", area="reach"), 30.0),
        (Counted(CHARGERS, "electronic 48 V", area="yard"), 14.0),
        (Counted(ATTENDANTS, "room night"), 2.0),
    )
    plans = {
        "counts": Counts(layout, counts),
        "all": Counts(layout, counts, together(scenario, layout, ways(SALTMARSH, layout))),
    }
    again = saved(scenario, plans, tmp_path / "best.yaml")

    assert_same(again, scenario, plans)
    assert again.layouts["counts"].areas["reach"].chargers == (ChargerCount(30.0, "electronic 48 V"),)


def test_attendants_who_are_qualified(tmp_path: Path) -> None:
    """How many are, is written with their number."""
    plans = {"best": Counts("two hoists", ((Counted(ATTENDANTS, "room early"), 3.0),))}
    text = written(site(LARKFIELD), plans, tmp_path / "best.yaml")
    again = saved(site(LARKFIELD), plans, tmp_path / "best.yaml")

    assert_same(again, site(LARKFIELD), plans)
    assert "room early: {attendants: 3, hoist: 3}" in text
    assert isinstance(attendants := again.layouts["best"].attendants, dict)
    assert [count.qualified for count in attendants.values()] == [{"hoist": 3}, {"hoist": 2}]


def test_lots(tmp_path: Path) -> None:
    """Batteries of lots are counted by lot, also where only that changes which they are; a lot may go."""
    scenario = site(CASES / "mixed_stock.yaml")
    plans = {
        "more": Counts("rented", ((Counted(BATTERIES, "lead", "rented"), 7.0),)),
        "others": Counts("rented", ((Counted(BATTERIES, "lead", "rented"), 6.0),
                                    (Counted(BATTERIES, "lead", "second hand"), 0.0))),
    }  # fmt: skip
    again = saved(scenario, plans, tmp_path / "best.yaml")

    assert_same(again, scenario, plans)
    assert [count.lots for count in (again.layouts["others"].batteries or {}).values()] == [
        {"bought 2019": 4, "rented": 6}
    ]


def test_whatever_is_drawn(tmp_path: Path) -> None:
    """Counts and levers at random, in two layouts of each of many sites."""
    levers, numbers = 0, 0
    for place, file in enumerate(EVERY):
        scenario, draw = site(file), random.Random(place)
        layouts = draw.sample(list(scenario.layouts), min(2, len(scenario.layouts)))
        plans = {f"best {layout}": drawn(scenario, file, layout, draw) for layout in layouts}
        assert_same(saved(scenario, plans, tmp_path / file.name), scenario, plans)
        levers += sum(len(plan.levers) for plan in plans.values())
        numbers += sum(len(plan.numbers) for plan in plans.values())
    assert min(levers, numbers) > 2 * len(EVERY)


def drawn(scenario: Scenario, file: Path, layout: str, draw: random.Random) -> Counts:
    """A plan at random that breaks no rule."""
    plan = Counts(layout, ())
    for counted, number in counts_of(scenario, layout).items():
        more = draw.randint(-1, 6 if can_grow(scenario, counted) else 0)
        if 1.0 <= number + more < UNLIMITED and draw.random() < 0.5:
            tried = plan._replace(numbers=(*plan.numbers, (counted, number + more)))
            with suppress(ScenarioError):
                with_counts(scenario, tried)
                plan = tried
    every = draw.sample(ways(file, layout), len(ways(file, layout)))
    return plan._replace(levers=together(with_counts(scenario, plan), layout, every[: len(every) // 2 + 1]))


@pytest.mark.parametrize(
    ("file", "layout"),
    [(KESTREL, ROLLERS), (SALTMARSH, OWN_WAYS), (LARKFIELD, "one hoist"), (CASES / "mixed_stock.yaml", "today")],
    ids=lambda each: each.stem if isinstance(each, Path) else None,
)
def test_a_week_is_the_same(file: Path, layout: str, tmp_path: Path) -> None:
    """A run of the layout in the file writes the same rows as one in memory."""
    scenario = site(file)
    plans = {"best": drawn(scenario, file, layout, random.Random(layout))}
    again = saved(scenario, plans, tmp_path / "best.yaml")
    runs = [
        record_of(each, name, seed=5, length_min=WEEK_MIN, warm_up_min=0.0)
        for each, name in ((again, "best"), (with_counts(scenario, plans["best"]), layout))
    ]

    assert runs[0].count("exchanges") > 0
    for table in TABLES:
        assert repr(runs[0].rows(table)) == repr(runs[1].rows(table))  # nan is written the same, but equals nothing


# --- what stays as it is stated ---


def test_what_is_not_known_stays_so_unless_it_is_decided(tmp_path: Path) -> None:
    """Inputs between two ends are written as they are stated; a count that was decided is a number."""
    stated = yaml.safe_load(SMALL)
    stated["layouts"]["room"] |= {
        "exchange_time": {"between": ["4 min", "8 min"]},
        "stations": {"between": [1, 3]},
        "batteries": {"between": [4, 6]},
    }
    (tmp_path / "site.yaml").write_text(json.dumps(stated), encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")
    plans = {"best": Counts("room", ((Counted(STATIONS), 2.0),))}

    again = saved(scenario, plans, tmp_path / "best.yaml")

    assert_same(again, scenario, plans)
    assert [unknown.path for unknown in again.unknowns] == ["layouts.best.batteries", "layouts.best.exchange_time"]


@pytest.mark.parametrize("observed", ["times.csv", "{file: times.csv, column: time, unit: min}", "[4 min, 5 min]"])
def test_timed_durations_are_named_from_the_new_file(observed: str, tmp_path: Path) -> None:
    """Whoever states them is one folder on, in a file that the site extends, and the plan lies in another folder."""
    for folder in ("base", "plans"):
        (tmp_path / folder).mkdir()
    stated = yaml.safe_load(SMALL)
    stated["layouts"]["room"]["exchange_time"] = {"observed": yaml.safe_load(observed)}
    times = "time\n4\n5\n" if "column" in observed else "4 min\n5 min\n"
    (tmp_path / "base" / "times.csv").write_text(times, encoding="utf-8")
    (tmp_path / "base" / "base.yaml").write_text(json.dumps(stated), encoding="utf-8")
    (tmp_path / "site.yaml").write_text("extends: base/base.yaml\nquestion: How?\n", encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")
    plans = {"best": Counts("room", ((Counted(STATIONS), 2.0),))}

    again = saved(scenario, plans, tmp_path / "plans" / "best.yaml")

    assert_same(again, scenario, plans)
    data = yaml.safe_load((tmp_path / "plans" / "best.yaml").read_text(encoding="utf-8"))
    assert data["extends"] == "../site.yaml"
    assert str(data["layouts"]["best"]["exchange_time"]["observed"]).count("../base/times.csv") == ("csv" in observed)


def test_a_group_may_be_called_observed(tmp_path: Path) -> None:
    """Only durations are named by their file."""
    stated = yaml.safe_load(SMALL)
    stated["trucks"][0]["group"] = "observed"
    stated["layouts"]["room"]["trucks"] = {"observed": {"exchange_when": {"shift_change": "always"}}}
    (tmp_path / "site.yaml").write_text(json.dumps(stated), encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")
    plans = {"best": Counts("room", (), (Lever("spread", "observed"),))}

    assert_same(saved(scenario, plans, tmp_path / "best.yaml"), scenario, plans)


@pytest.mark.parametrize("absolute", [True, False])
def test_from_whatever_folder(absolute: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The site is named from the file, not from where somebody works, and a link to a folder is seen through."""
    (tmp_path / "sites" / "deep").mkdir(parents=True)
    (tmp_path / "plans" / "deep").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "plans" / "deep", target_is_directory=True)
    (tmp_path / "sites" / "deep" / "site.yaml").write_text(SMALL, encoding="utf-8")
    monkeypatch.chdir(tmp_path / "sites")
    scenario = batsim.read((tmp_path / "sites" if absolute else Path()) / "deep" / "site.yaml")
    plans = {"best": Counts("room", ((Counted(STATIONS), 2.0),))}
    for file in (Path("best.yaml"), Path("..", "plans", "best.yaml"), tmp_path / "link" / "best.yaml"):
        file.write_text(written(scenario, plans, file), encoding="utf-8")
    monkeypatch.chdir(tmp_path / "plans")
    for file in (Path("..", "sites", "best.yaml"), Path("best.yaml"), Path("deep", "best.yaml")):
        assert_same(batsim.read(file), scenario, plans)


def test_a_layout_of_today_that_is_left_out_is_left_out(tmp_path: Path) -> None:
    """Where only some layouts are looked at, no layout is today's in the file either."""
    scenario = site(KESTREL).with_layouts([ROLLERS])
    plans = {"hoist": Counts(ROLLERS, COUNTED)}

    assert_same(saved(scenario, plans, tmp_path / "best.yaml"), scenario, plans)


def test_nothing_is_wrong_with_it(tmp_path: Path) -> None:
    """`batsim check` shows what it states, as of any scenario."""
    plans = {"best": Counts(ROLLERS, COUNTED, together(site(KESTREL), ROLLERS, ways(KESTREL, ROLLERS)))}
    saved(site(KESTREL), plans, tmp_path / "best.yaml")
    result = CliRunner().invoke(main, ["check", str(tmp_path / "best.yaml")])

    assert result.exit_code == 0, result.output
    assert "best" in result.output


# --- text that means something else without quotes ---

ODD = ["no", "yes", "on", "22:00", "06:00", "08", "0o17", "1e5", "a: b", "[x]", "{x", "- x", "# x", "null", "~", "v1.2",
       "*x", "&x", "!x", "it's", "<<", "a\\b", "ä €", "x" * 150, "two  blanks and some more words " * 6]  # fmt: skip


def test_odd_names(tmp_path: Path) -> None:
    """Plans may be called as people like, also as layouts that go."""
    stated = yaml.safe_load(SMALL)
    stated["layouts"] = {name: stated["layouts"]["room"] for name in ODD if name != "<<"}
    text = yaml_text(stated)
    (tmp_path / "site.yaml").write_text(text, encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")
    assert list(scenario.layouts) == [name for name in ODD if name != "<<"]
    plans = {name: Counts("22:00", ((Counted(STATIONS), 2.0),), (Lever("in_breaks", "08"),)) for name in ODD}

    assert_same(saved(scenario, plans, tmp_path / "best.yaml"), scenario, plans)


PRINTABLE = st.text(st.characters(exclude_categories=("C", "Zl", "Zp")), max_size=200).filter(
    lambda text: text.isprintable()
)
TEXTS = st.one_of(PRINTABLE, st.text("0123456789.:+-eoxEOX_ ", max_size=8), st.sampled_from(ODD))


@given(texts=st.lists(TEXTS, max_size=6), keys=st.lists(TEXTS.filter(bool), max_size=4, unique=True))
@settings(deadline=None)
def test_text_is_read_as_it_is(texts: list[str], keys: list[str]) -> None:
    """Whatever text stands as a value or as a key, in blocks and in lines, our reader reads the same."""
    data = {"list": texts, "block": {key: {"inside": texts, key: key} for key in keys}, "twice": [texts, texts]}
    text = yaml_text(data)

    assert read_text(text, "x.yaml").data == data


@given(number=st.floats(0.0, 1e6))
def test_quantities_are_read_to_the_last_digit(number: float) -> None:
    """So that equal numbers come of them."""
    assert parse(_quantity(round(number, 12), "min"), "duration") == round(number, 12)
    assert parse(_percent(round(number / 1e6, 15)), "share") == round(number / 1e6, 15)


# --- what is refused ---


def test_a_scenario_that_stands_in_no_file(tmp_path: Path) -> None:
    """What was changed in memory, in its layouts or by its paths, or read from text, has to be written first."""
    scenario = site(KESTREL)
    more = batsim.changed(scenario, {"trucks[0].count": 14})
    for changed in (scenario.with_layout("new", scenario.layouts[ROLLERS]), more):
        with pytest.raises(ScenarioError) as error:
            written(changed, {"best": Counts(ROLLERS, COUNTED)}, tmp_path / "best.yaml")
        assert str(error.value) == f"{KESTREL}: 1 problem\n  {KESTREL}: {NOT_AS_IN_FILE}"
    with pytest.raises(ScenarioError) as error:
        written(batsim.read_scenario_text(SMALL), {"best": Counts("room", ())}, tmp_path / "best.yaml")
    assert str(error.value) == f"scenario.yaml: 1 problem\n  scenario.yaml: {NOT_AS_IN_FILE}"


def test_a_file_that_was_changed_meanwhile(tmp_path: Path) -> None:
    """The plan would be of another site."""
    file = tmp_path / "site.yaml"
    file.write_text(SMALL, encoding="utf-8")
    scenario = batsim.read(file)
    file.write_text(SMALL.replace("count: 2", "count: 3"), encoding="utf-8")

    with pytest.raises(ScenarioError) as error:
        written(scenario, {"best": Counts("room", ())}, tmp_path / "best.yaml")

    assert str(error.value) == f"{file}: 1 problem\n  {file}: {NOT_AS_IN_FILE}"


def test_a_layout_of_today_that_was_changed_meanwhile(tmp_path: Path) -> None:
    """It would stand in the file otherwise than it was looked at."""
    file = tmp_path / "site.yaml"
    file.write_text(f"{SMALL}present: room\n", encoding="utf-8")
    scenario = batsim.read(file)
    file.write_text(f"{SMALL.replace('batteries: 5', 'batteries: 6')}present: room\n", encoding="utf-8")

    with pytest.raises(ScenarioError) as error:
        written(scenario, {"best": Counts("room", ())}, tmp_path / "best.yaml")

    assert str(error.value) == f"{file}: 1 problem\n  {file}: {NOT_AS_IN_FILE}"


def test_the_name_of_today(tmp_path: Path) -> None:
    """The layout of today is what payback is against; a plan does not take its place."""
    with pytest.raises(ScenarioError) as error:
        written(site(KESTREL), {"hoist": Counts(ROLLERS, ())}, tmp_path / "best.yaml")

    rule = "is the layout of today, which stays as it is; give the best plan another name"
    assert str(error.value) == f"{KESTREL}: 1 problem\n  {KESTREL}: layouts.hoist: {rule}"


def test_the_file_of_the_site_itself(tmp_path: Path) -> None:
    """It would extend itself."""
    file = tmp_path / "site.yaml"
    file.write_text(SMALL, encoding="utf-8")

    with pytest.raises(ScenarioError, match="must not extend one another in a circle"):
        written(batsim.read(file), {"best": Counts("room", ())}, file)
