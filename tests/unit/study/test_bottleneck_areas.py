"""The bottleneck of a site with areas: one more of everything in each of them, and of those whom they share."""

from pathlib import Path

import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.study.bottleneck.variants import variants
from batsim.study.running.counts import Counted, counts_of, with_counts
from batsim.views.text.bottleneck_text import bottleneck_text

SITE = batsim.read(Path(__file__).parents[1] / "cases" / "two_areas.yaml")
AREAS = "layouts.rooms.areas"


def site(north=(2, 12, 8), south=(2, 9, 6), **keys):
    """The site with long exchanges; stations, batteries and chargers of each area, and keys of the layout."""
    changes = {f"{AREAS}.{area}.exchange_time": "25 min" for area in ("north", "south")}
    for area, (stations, batteries, chargers) in (("north", north), ("south", south)):
        counts = {"stations": stations, "batteries": batteries, "chargers": f"{chargers} x electronic_iuia"}
        changes |= {f"{AREAS}.{area}.{key}": number for key, number in counts.items()}
    return batsim.changed(SITE, changes | {f"layouts.rooms.{key}": value for key, value in keys.items()})


def labels(scenario):
    """What is tried."""
    return [variant.label for variant in variants(scenario, "rooms")[0]]


# --- what is tried ---


def test_one_more_of_everything_in_every_area():
    things = ("station", "charger", "battery", "spot")

    assert labels(SITE) == [f"one more {thing} of the {area} area" for area in ("north", "south") for thing in things]


def test_one_more_is_one_more_there():
    for variant in variants(SITE, "rooms")[0]:
        (counted,) = variant.more
        assert counted.area == variant.area
        changed = with_counts(SITE, variant.counts("rooms"))
        more = {
            each: now - counts_of(SITE, "rooms")[each]
            for each, now in counts_of(changed, "rooms").items()
            if each.kind != "bays" and now != counts_of(SITE, "rooms")[each]
        }
        assert more == ({} if counted.kind == "bays" else {counted: 1.0})


def test_shared_attendants_are_tried_once_and_an_areas_own_in_the_area():
    own = {"areas.north.attendants": None, "areas.south.attendants": {"all day": 1}, "areas.south.handling": "cart"}
    scenario = site(attendants={"all day": 2}, **own)
    tried = {variant.label: dict(variant.more) for variant in variants(scenario, "rooms")[0]}
    stand = "one more station of the south area with its hand cart"

    assert tried["one more attendant, all day shift"] == {Counted("attendants", "all day"): 3.0}
    assert tried["one more attendant of the south area, all day shift"] == {
        Counted("attendants", "all day", area="south"): 2.0
    }
    assert tried[f"{stand} and attendants"] == {
        Counted("stations", area="south"): 3.0,
        Counted("devices", "hand_cart", area="south"): 2.0,
        Counted("attendants", "all day", area="south"): 2.0,
    }
    assert len([label for label in tried if "attendant," in label]) == 1
    assert list(tried)[-1] == "one more attendant, all day shift"


def test_in_the_truck_spots_are_tried_in_the_area():
    plugged_in = {"for": ["tow"], "handling": "in_truck", "chargers": "2 x electronic_iuia"}
    scenario = batsim.changed(SITE, {f"{AREAS}.south": plugged_in})

    assert labels(scenario)[-1] == "one more charging spot of the south area with its charger"
    assert "one more station of the north area" in labels(scenario)


def test_loose_leads_are_tried_where_chargers_are_bound():
    scenario = batsim.changed(SITE, {f"{AREAS}.north.charger_leads": "bound_to_bay"})
    (loose,) = [each for each in variants(scenario, "rooms")[0] if each.kind == "leads"]
    areas = with_counts(scenario, loose.counts("rooms")).layouts["rooms"].areas

    assert (loose.label, loose.thing) == (
        "loose charger leads of the north area", "the chargers of the north area bound to their bays",
    )  # fmt: skip
    assert (areas["north"].charger_leads, areas["south"].charger_leads) == ("loose", None)


def test_an_area_that_is_called_so_is_named_as_it_is():
    areas = SITE.layouts["rooms"].areas
    renamed = SITE.with_layout(
        "rooms",
        SITE.layouts["rooms"].model_copy(update={"areas": {"East Area": areas["north"], "south": areas["south"]}}),
    )

    assert labels(renamed)[0] == "one more station of the East Area"


# --- which is the bottleneck ---


@pytest.mark.parametrize("short", ["north", "south"])
def test_the_bottleneck_is_that_of_the_area_that_is_short(short):
    """It turns when the other one is made short."""
    short_of_stations = {"north": (1, 12, 8), "south": (1, 9, 6)}[short]
    settings = Settings(replications=6, weeks=0.5, workers=1)
    found = batsim.bottleneck(site(**{short: short_of_stations}), settings)["rooms"]

    assert found.binding is not None
    assert (found.binding.what, found.binding.variant.area) == (f"one more station of the {short} area", short)
    assert f"Bottleneck of layout 'rooms': the station of the {short} area" in found.sentence
    (first, *_) = found.layout_json()["gains"]
    assert (first["what"], first["area"]) == (found.binding.what, short)
    text = " ".join(bottleneck_text(found).split())
    assert text.startswith("rooms (north: By hand; south: By hand)")
    assert f"one more station of the {short} area +" in text


def test_shared_attendants_are_the_bottleneck_of_both():
    keys = {"areas.north.attendants": None, "areas.south.attendants": None}
    scenario = site((4, 12, 8), (4, 9, 6), attendants={"all day": 1}, **keys)
    found = batsim.bottleneck(scenario, Settings(replications=6, weeks=0.5, workers=1))["rooms"]

    assert found.binding is not None
    assert found.binding.what == "one more attendant, all day shift"
    assert "the attendants of the all day shift" in found.sentence
