"""Best plans as a scenario file that extends that of the site, each layout written whole."""

from collections.abc import Callable, Collection, Mapping
from copy import deepcopy
from decimal import Decimal
from pathlib import Path as FilePath
from typing import Any

from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.group_change import BY_WHOM_KEYS, GroupChange
from batsim.scenario.parts.kinds import UNLIMITED, Frozen
from batsim.scenario.parts.layouts import ChargerCount, Layout, OnDuty
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.parts.trucks import ANEW, Roster
from batsim.scenario.reading import read_scenario_text, source_of
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, path_text
from batsim.scenario.text.plain_yaml import seen_from, yaml_text
from batsim.scenario.text.yaml_text import read_file
from batsim.study.running.counts import Counts, with_counts

HEAD = "# Best plans of {}, found by batsim decide; layouts are written whole, all else stands in the extended file.\n"
"""First line; the braces stand for the name of the site."""
NOT_AS_IN_FILE = "is not what its file says, and plans are written beside that; write the scenario first, and read it"
IS_PRESENT = "is the layout of today, which stays as it is; give the best plan another name"
LAYOUTS, PRESENT, CHARGING, EXCHANGE_WHEN, OBSERVED = "layouts", "present", "charging", "exchange_when", "observed"
"""Keys of a scenario."""
Writer = Callable[[Any], object]
"""Turns a value of a model into what YAML would hold."""


def written(scenario: Scenario, plans: Mapping[str, Counts], beside: str | FilePath) -> str:
    """Write best plans as the text of a scenario file.

    Of the layouts of the site only that of today is kept. Whatever the plans do not change stands in the text as the
    site states it, inputs that are not known among it.

    Parameters
    ----------
    scenario
        The site, as it was read from a file.
    plans
        By the name that it gets: counts and levers of a layout. They may take the name of a layout that goes.
    beside
        Where the text will be saved; the file of the site, and files with timed durations, are named from there.

    Returns
    -------
    str
        YAML. Read from `beside` it has layouts equal to those of `with_counts`.

    Raises
    ------
    ScenarioError
        When the scenario is not what its file says, a plan takes the name of the layout of today, or a plan breaks a
        rule.
    """
    source = scenario.source
    if not isinstance(source, LocatedData) or not FilePath(scenario.file).is_file():
        raise _refused(scenario, NOT_AS_IN_FILE)
    if scenario.present is not None and scenario.present in plans:
        raise _refused(scenario, IS_PRESENT, path_text((LAYOUTS, scenario.present)))
    made = {name: with_counts(scenario, counts).layouts[counts.layout] for name, counts in plans.items()}
    folder = FilePath(beside).parent
    data = {
        "extends": seen_from(folder, FilePath(scenario.file)),
        **_drop(scenario, source),
        LAYOUTS: {name: _layout(scenario, source, plans[name], made[name], folder) for name in plans},
    }
    text = HEAD.format(scenario.site.name) + yaml_text(data)
    if not _says(read_scenario_text(text, str(beside)), scenario, made):
        raise _refused(scenario, NOT_AS_IN_FILE)
    return text


def _refused(scenario: Scenario, rule: str, path: str = "") -> ScenarioError:
    """Error about the scenario as a whole, or a path of it."""
    return ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, path, rule)])


def _drop(scenario: Scenario, source: LocatedData) -> dict[str, list[str]]:
    """What is not to stand in the file of the plans: all layouts but that of today; no key where that is nothing."""
    dropped = [path_text((LAYOUTS, name)) for name in source.data[LAYOUTS] if name != scenario.present]
    dropped += [PRESENT] * (source.data.get(PRESENT) != scenario.present)
    return {"drop": dropped} if dropped else {}


def _says(again: Scenario, scenario: Scenario, made: Mapping[str, Layout]) -> bool:
    """Whether what is read again has the layouts of plans and that of today, and all else as the scenario states it."""
    kept = {} if scenario.present is None else {scenario.present: scenario.layouts[scenario.present]}
    return again.layouts == {**kept, **made} and _without_layouts(again) == _without_layouts(scenario)


def _without_layouts(scenario: Scenario) -> dict[str, Any]:
    """What a site states beside its layouts."""
    return {key: value for key, value in source_of(scenario).data.items() if key not in (LAYOUTS, PRESENT)}


def _layout(scenario: Scenario, source: LocatedData, counts: Counts, made: Layout, folder: FilePath) -> dict[str, Any]:
    """Whole layout as YAML would hold it: as it is stated, with what the plan changes laid over it."""
    stated, data = scenario.layouts[counts.layout], _with_files(source, counts.layout, folder)
    kinds = {
        area: {counted.kind for counted, _ in counts.numbers if counted.area == area} for area in ("", *made.areas)
    }
    _lay_over(data, stated, made, EQUIPPED, kinds[""])
    for name, area in made.areas.items():
        _lay_over(data["areas"][name], stated.areas[name], area, EQUIPPED, kinds[name])
    if made.charging is not None:
        data[CHARGING] = _first(data.get(CHARGING), source.at((CHARGING,)))
        _lay_over(data[CHARGING], scenario.charging_of(counts.layout), made.charging, CHARGING_RULES)
    groups = {group.group: group for group in scenario.in_layout(counts.layout).trucks}
    for name, change in made.trucks.items():
        group = data.setdefault("trucks", {}).setdefault(name, {})
        _lay_over(group, stated.trucks.get(name, GroupChange()), change, BY_WHOM)
        if change.exchange_when is not None:  # in place of all that the group states of it
            of_group = source.at(("trucks", scenario.number_of(name), EXCHANGE_WHEN))
            group[EXCHANGE_WHEN] = _first(group.get(EXCHANGE_WHEN), of_group)
            _lay_over(group[EXCHANGE_WHEN], groups[name].exchange_when, change.exchange_when, WHEN)
    return data


def _with_files(source: LocatedData, layout: str, folder: FilePath) -> dict[str, Any]:
    """Layout as it is stated, with the names of files, seen from a folder, in place of the durations read from them."""
    data: dict[str, Any] = deepcopy(source.at((LAYOUTS, layout)))
    for path, durations in source.walk((LAYOUTS, layout)):
        if path[-1] != OBSERVED or not isinstance(durations, list):
            continue
        file = FilePath(source.location(path).file)
        named = read_file(file).at(path)
        if isinstance(named, str):
            named = seen_from(folder, file.parent / named)
        elif isinstance(named, dict):
            named = {**named, "file": seen_from(folder, file.parent / str(named["file"]))}
        LocatedData(source.file, data).at(path[2:-1])[OBSERVED] = named
    return data


def _first(*stated: object) -> Any:  # noqa: ANN401 - whatever YAML held
    """First of some blocks that is stated, of its own; an empty one where none is."""
    return deepcopy(next((block for block in stated if block is not None), {}))


def _lay_over(
    data: dict[str, Any], stated: Frozen, made: Frozen, writers: Mapping[str, Writer], decided: Collection[str] = ()
) -> None:
    """Put into data whatever a part has otherwise than stated, and what was decided, if only to stay as it is."""
    for name, write in writers.items():
        new, old = (None if (value := getattr(each, name)) is None else write(value) for each in (made, stated))
        key = type(made).model_fields[name].alias or name
        if new is None:
            data.pop(key, None)
        elif new != old or name in decided:
            data[key] = new


def _count(number: float) -> int | str:
    """Number of things, or the word for no limit."""
    return "unlimited" if number == UNLIMITED else int(number)


def _devices(numbers: Mapping[str, float]) -> object:
    """Number of each device."""
    return {name: _count(number) for name, number in numbers.items()}


def _batteries(counts: Mapping[str, BatteryCount]) -> object:
    """Batteries by type, by lot where there are lots."""
    return {
        name: [f"{number} x {lot}" for lot, number in count.lots.items()] or int(count)
        for name, count in counts.items()
    }


def _chargers(counts: tuple[ChargerCount, ...]) -> object:
    """Chargers by count and type; of one type as one text."""
    texts = [f"{_count(number)} x {charger}" for number, charger in counts]
    return texts[0] if len(texts) == 1 else texts


def _attendants(attendants: dict[str, OnDuty] | str) -> object:
    """Attendants by shift, with how many are qualified where that is told, or the word for no limit."""
    if isinstance(attendants, str):
        return attendants
    return {
        shift: int(count) if count.qualified is None else {"attendants": int(count), **count.qualified}
        for shift, count in attendants.items()
    }


def _as_it_is(value: object) -> object:
    """A word, or words by shift."""
    return value


def _quantity(number: float, unit: str, in_one: int = 1) -> str:
    """Quantity to its last digit, so that the same number is read again; so many of the unit are one canonical unit."""
    return f"{(Decimal(repr(float(number))) * in_one).normalize():f} {unit}"


def _minutes(minutes: float) -> str:
    return _quantity(minutes, "min")


def _kilowatts(kw: float) -> str:
    return _quantity(kw, "kW")


def _percent(share: float) -> str:
    return _quantity(share, "%", 100)


def _roster(roster: Roster) -> object:
    """Time over which trucks go, with `each` where their places are drawn anew."""
    over = _minutes(roster.over_min)
    return {"over": over, "each": ANEW} if roster.anew else over


BY_WHOM: dict[str, Writer] = dict.fromkeys(BY_WHOM_KEYS, _as_it_is)
"""How it is written who does what."""
EQUIPPED: dict[str, Writer] = {
    "stations": _count,
    "batteries": _batteries,
    "chargers": _chargers,
    "bays": _count,
    "set_down_bays": _count,
    "devices": _devices,
    "attendants": _attendants,
    "charger_leads": _as_it_is,
    **BY_WHOM,
}
"""How that is written which plans change of a layout or an area."""
CHARGING_RULES: dict[str, Writer] = {"delay_min": _minutes, "power_limit_kw": _kilowatts}
"""The same of the rules for charging."""
WHEN: dict[str, Writer] = {
    "shift_change": _as_it_is,
    "spread": _roster,
    "not_above_share": _percent,
    "in_breaks_below_share": _percent,
    "early_below_share": _percent,
}
"""The same of what sends trucks."""
