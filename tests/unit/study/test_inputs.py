"""Inputs of a study in words: groups, types and layouts by their names, what is meant by the keys behind them."""

import pytest

import batsim
from batsim.scenario.study_file import stated_study
from batsim.study.running.runs import DOWNTIME
from batsim.study.sweeps.agenda import agenda_of
from batsim.study.sweeps.inputs import WORDS, Input, inputs_of, path_in_words
from tests.sites import KESTREL as SITE


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("trucks[0].to_room.distance", "docks: way to the room"),
        ("trucks[*].duty.mean_power", "all trucks: mean power at work"),
        ("batteries.*.cool_down", "all batteries: rest after a charge"),
        ("batteries.'lead 2.0'.capacity", "battery 'lead 2.0': capacity"),
        ("layouts.hoist.exchange_time", "time of an exchange"),
        ("layouts.side rollers.stations", "side rollers: exchange stations"),
        ("layouts.hoist.areas.north.batteries", "north: batteries"),
        ("layouts.other.areas.north.batteries", "other, north: batteries"),
        ("chargers.slow.main_current", "charger 'slow': main current"),
        ("site.room_temperature", "temperature of the room"),
        ("figures.travel.speed", "travel, speed"),
        ("figures.'device.hoist.lift'", "device, hoist, lift"),
        ("trucks[7].count", "7: trucks in use"),
        ("rules.patience", "patience"),
        ("seasons", "seasons"),
    ],
)
def test_a_path_in_words(path: str, words: str) -> None:
    """For who looks at the hoist; what has no words stands for itself."""
    assert path_in_words(SITE, path, "hoist") == words


def test_inputs_have_the_ends_of_their_factors() -> None:
    """Of a range, of a list of values."""
    vary = {
        "trucks[0].to_room.distance": {"between": ["100 m", "220 m"]},
        "layouts.hoist.chargers": ["40 x electronic_iuia", "44 x electronic_iuia"],
    }
    study = stated_study(SITE, {"vary": vary, "layouts": ["hoist"], "design": "one_at_a_time"}, (DOWNTIME,))
    points = agenda_of(study, batsim.Settings(replications=1)).points

    assert inputs_of(SITE, points.factors, "hoist") == {
        "trucks[0].to_room.distance": Input("docks: way to the room", "100 m", "220 m"),
        "layouts.hoist.chargers": Input("chargers", "40 x electronic IUIa", "44 x electronic IUIa"),
    }


def test_every_key_with_words_is_one_of_the_scenario() -> None:
    """A word for a key that there is not would never be said."""
    schema = batsim.Scenario.model_json_schema()
    known = {name for each in schema["$defs"].values() for name in each.get("properties", {})}

    assert {part for _, keys in WORDS for part in keys.split(".")} - known == set()
