"""The bottleneck: the variants, their gains on made-up runs, and rooms in which one thing is scarce."""

import json
import math
from dataclasses import replace
from html import escape
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures import measure
from batsim.scenario.settings import Settings
from batsim.statistics.intervals import Interval
from batsim.study.bottleneck.bottleneck import Bottleneck, LostTime, lost_time
from batsim.study.bottleneck.variants import Variant, variants
from batsim.study.first_estimate import outline
from batsim.study.levers import Lever
from batsim.study.running.counts import with_counts
from batsim.study.running.executors import run_jobs
from batsim.study.running.jobs import Job, measures_of
from batsim.views.text.bottleneck_text import bottleneck_text
from batsim.views.text.summary import summary_text
from tests.runs import record_of
from tests.sites import FROSTHOLM, KESTREL

ROOT = Path(__file__).parents[3]
WEEK_MIN = 10080.0


def layout(**keys):
    """Kestrel Lane with one layout."""
    return batsim.changed(KESTREL, {"present": None, "layouts": {"room": keys}})


def roomy(**keys):
    """A room of portable stands with plenty of everything but what is given."""
    plenty = {
        "handling": "portable_stands", "stations": 12, "devices": {"hand_pallet_truck": 12}, "batteries": 110,
        "chargers": "100 x electronic_iuia", "attendants": {"room early": 12, "room late": 12, "room night": 12},
    }  # fmt: skip
    return layout(**(plenty | keys))


def more(scenario, name="room"):
    """Labels, and how many there are of that of which there is more."""
    return {variant.label: by_kind(variant) for variant in variants(scenario, name)[0]}


def by_kind(variant):
    """How many there are with an variant, as `Layout.with_counts` takes them."""
    counts = {}
    for (kind, name, _, _), number in variant.more.items():
        if name:
            counts.setdefault(kind, {})[name] = number
        else:
            counts[kind] = number
    return counts


# --- which variants there are ---


def test_one_more_of_everything_with_a_limit():
    _, left_out = variants(KESTREL, "portable stands")

    assert more(KESTREL, "portable stands") == {
        "one more station": {"stations": 4},
        "one more station with its hand pallet truck": {"stations": 4, "devices": {"hand_pallet_truck": 4}},
        "one more station with its hand pallet truck and attendants": {
            "stations": 4,
            "devices": {"hand_pallet_truck": 4},
            "attendants": {"room early": 4, "room late": 4, "room night": 4},
        },
        "one more hand pallet truck": {"devices": {"hand_pallet_truck": 4}},
        "one more attendant, room early shift": {"attendants": {"room early": 4}},
        "one more attendant, room late shift": {"attendants": {"room late": 4}},
        "one more attendant, room night shift": {"attendants": {"room night": 4}},
        "one more attendant on every shift": {"attendants": {"room early": 4, "room late": 4, "room night": 4}},
        "one more charger": {"chargers": {"electronic_iuia": 45}},
        "one more battery": {"batteries": {"lead 48 V 750 Ah": 83}},
        "one more roller stand": {"bays": 62},
        "one more set-down bay": {"set_down_bays": 4},
    }
    assert left_out == []


def test_a_variant_is_a_layout_of_its_own():
    """The changed layout is in its scenario, the stated one stays as it is."""
    made, _ = variants(KESTREL, "side rollers")
    by_label = {
        variant.label: with_counts(KESTREL, variant.counts("side rollers")).layouts["side rollers"] for variant in made
    }

    assert by_label["one more station"].stations == 3
    assert by_label["one more battery carriage"].devices == {"battery_carriage": 3}
    assert by_label["one more charger"].chargers == ((59, "electronic_iuia"),)
    assert KESTREL.layouts["side rollers"].stations == 2


def test_things_are_named_by_their_number():
    things = {variant.label: variant.thing for variant in variants(KESTREL, "hoist")[0]}
    many = {variant.label: variant.thing for variant in variants(KESTREL, "portable stands")[0]}

    assert (things["one more station"], many["one more station"]) == ("the station", "the stations")
    assert things["one more hoist"] == "the hoist"
    assert things["one more station with its hoist"] == "the station with its hoist"
    both = "one more station with its hoist and attendants"
    assert things[both] == "the station with its hoist and attendants"
    assert many["one more station with its hand pallet truck"] == "the stations with their hand pallet truck"
    assert many["one more hand pallet truck"] == "the hand pallet trucks"
    assert things["one more attendant, room late shift"] == "the attendants of the room late shift"
    assert things["one more attendant on every shift"] == "the attendants"


def test_what_is_not_stated_has_its_default():
    room = layout(handling="side_rollers", batteries=60, chargers="54 x electronic_iuia", exchange_by="drivers")

    assert more(room) == {
        "one more station": {"stations": 2},
        "one more station with its battery carriage": {"stations": 2, "devices": {"battery_carriage": 2}},
        "one more battery carriage": {"devices": {"battery_carriage": 2}},
        "one more charger": {"chargers": {"electronic_iuia": 55}},
        "loose charger leads": {},
        "one more battery": {"batteries": {"lead 48 V 750 Ah": 61}},
        "one more roller bay": {"bays": 38},
    }


def test_what_has_no_limit_is_left_alone():
    room = layout(
        handling="side_rollers", stations="unlimited", devices={"battery_carriage": "unlimited"}, batteries=60,
        bays="unlimited", chargers="unlimited x electronic_iuia", attendants="unlimited",
    )  # fmt: skip

    assert list(more(room)) == ["one more battery"]
    assert variants(room, "room")[1] == []


def test_each_type_of_charger_and_battery():
    made = more(FROSTHOLM, "side rollers")
    store = batsim.changed(
        FROSTHOLM,
        {
            "layouts.'side rollers'.chargers": [
                "40 x iuia 48 V",
                "9 x opportunity 48 V",
                "unlimited x iuia 24 V",
                "3 x iuia 48 V",
            ]
        },
    )

    assert made["one more battery (lead 24 V 465 Ah)"] == {"batteries": {"lead 24 V 465 Ah": 45}}
    assert made["one more battery (lead 48 V 750 Ah)"] == {"batteries": {"lead 48 V 750 Ah": 35}}
    chargers = {label: counts for label, counts in more(store, "side rollers").items() if "charger" in label}
    assert chargers == {
        "one more charger (iuia 48 V)": {"chargers": {"iuia 48 V": 44}},
        "one more charger (opportunity 48 V)": {"chargers": {"opportunity 48 V": 10}},
    }
    variant = next(each for each in variants(store, "side rollers")[0] if each.kind == "charger")
    assert with_counts(store, variant.counts("side rollers")).layouts["side rollers"].chargers == (
        (44, "iuia 48 V"), (9, "opportunity 48 V"), (math.inf, "iuia 24 V"),
    )  # fmt: skip


def test_one_shift_needs_no_every_shift():
    room = roomy(attendants={"room early": 2})

    assert [label for label in more(room) if "attendant" in label] == [
        "one more station with its hand pallet truck and attendants",
        "one more attendant, room early shift",
    ]


def test_stated_bays_are_one_more_of():
    """And a battery for which there would be no bay is left out, with the rule."""
    room = roomy(stations=1, batteries=60, bays=37)
    made, left_out = variants(room, "room")

    assert {"bays": 38} in [by_kind(variant) for variant in made]
    assert [each._asdict() for each in left_out] == [
        {
            "label": "one more battery",
            "why": "would deadlock: 37 spare batteries and 1 empty roller stand for the exchange need at least 38 bays "
            "(got 37)",
        }
    ]


def test_stated_set_down_bays_come_with_a_station():
    """Those that are not stated follow from the stations, and need no number."""
    room = roomy(stations=1, set_down_bays=2)

    assert more(room)["one more station with its hand pallet truck"] == {
        "stations": 2, "devices": {"hand_pallet_truck": 13}, "set_down_bays": 3,
    }  # fmt: skip
    assert more(room)["one more set-down bay"] == {"set_down_bays": 3}


def test_another_attendant_has_the_skills_of_the_shift():
    """Else one more would not do what is scarce."""
    room = roomy(attendants={"room early": {"attendants": 2, "hoist": 1}, "room late": 1})

    def on_duty(label):
        variant = next(each for each in variants(room, "room")[0] if each.label == label)
        attendants = with_counts(room, variant.counts("room")).layouts["room"].attendants
        return {shift: (int(number), number.qualified) for shift, number in attendants.items()}

    assert on_duty("one more attendant, room early shift") == {"room early": (3, {"hoist": 2}), "room late": (1, None)}
    assert on_duty("one more attendant, room late shift") == {"room early": (2, {"hoist": 1}), "room late": (2, None)}


def spots(scenario, name="room"):
    """Those things that are of charging spots."""
    made = variants(scenario, name)[0]
    assert {variant.kind for variant in made} <= {"spot", "device"}
    return {variant.label: by_kind(variant) for variant in made if variant.kind == "spot"}


def test_in_the_truck_a_spot_comes_with_its_charger():
    room = {"handling": "in_truck", "chargers": "24 x fast_iuia"}

    assert spots(KESTREL, "in the truck") == {
        "one more charging spot with its charger": {"chargers": {"fast_iuia": 25}}
    }
    assert spots(layout(**room, stations=20)) == {
        "one more charging spot with its charger": {"stations": 21, "chargers": {"fast_iuia": 25}}
    }
    assert spots(layout(**(room | {"chargers": "unlimited x fast_iuia"}), stations=20)) == {
        "one more charging spot": {"stations": 21}
    }
    assert list(spots(layout(**(room | {"chargers": ["20 x fast_iuia", "4 x opportunity_iuia"]})))) == [
        "one more charging spot with its charger (fast_iuia)",
        "one more charging spot with its charger (opportunity_iuia)",
    ]


@pytest.mark.parametrize("name", ["O'Brien's", "a.b[0]", 'the "old" one'])
def test_any_name_of_a_layout(name):
    room = batsim.changed(KESTREL, {"present": None, "layouts": {name: KESTREL.source.at(("layouts", "hoist"))}})

    assert more(room, name)["one more station"] == {"stations": 2}


# --- gains, from made-up runs ---

PROFILE = np.zeros(672)


def made_up(base, *more, parts=None):
    """Answer for 'hoist' from the downtimes as it is, and those with each variant (label, kind, downtimes)."""

    def runs(downtimes):
        every = {f"{part}_min_per_truck_shift": 0.0 for part in ("travel", "exchange", "charge_in_truck", "watering")}
        every |= {
            f"wait_{part}_min_per_truck_shift": 0.0 for part in ("station", "battery", "bay", "attendant", "device")
        }
        every |= parts or {}
        return tuple(
            LostTime(
                {"downtime_min_per_truck_shift": each, **every}, PROFILE + np.where(np.arange(672) == 56, each, 0.0)
            )
            for each in downtimes
        )

    singles = tuple(f"one more {label}" for label, kind, _ in more if kind == "attendants" and "every" not in label)
    things = tuple(
        Variant(f"one more {label}", f"the {label}", kind, {}, singles if "every" in label else ())
        for label, kind, _ in more
    )
    stated = Settings(layouts=("hoist",), replications=len(base), weeks=1.0, warm_up_weeks=0.0, seed=1).schedule(
        KESTREL
    )
    return Bottleneck(stated, "hoist", things, (), runs(base), tuple(runs(downtimes) for *_, downtimes in more))


BASE = [10.0, 11.0, 12.0, 11.0]


def less(*gains):
    """Downtimes that are so much less than the base."""
    return [before - gain for before, gain in zip(BASE, gains, strict=True)]


def test_gains_are_paired_and_hold_together():
    """Student's quantile of 3 degrees of freedom at 97.5 % for two variants: t(3, 0.9875) = 4.177."""
    one = made_up(
        BASE, ("station", "station", less(2.0, 2.2, 1.8, 2.0)), ("battery", "battery", less(0.0, 0.1, 0.0, 0.1))
    )

    station, battery = one.gains
    half = 4.1765 * np.std([2.0, 2.2, 1.8, 2.0], ddof=1) / 2.0
    assert station.what == "one more station"
    assert station.interval == pytest.approx((2.0, 2.0 - half, 2.0 + half), rel=1e-4)
    assert station.correlation == pytest.approx(float(np.corrcoef(BASE, less(2.0, 2.2, 1.8, 2.0))[0, 1]))
    assert (station.clear, battery.clear) == (True, False)
    assert one.downtime.mean == 11.0


def test_the_greatest_clear_gain_binds():
    one = made_up(
        BASE,
        ("battery", "battery", less(0.5, 0.5, 0.5, 0.6)),
        ("charger", "charger", less(9.0, 0.0, 0.0, 0.0)),
        ("station", "station", less(2.0, 2.2, 1.8, 2.0)),
    )

    assert [gain.what for gain in one.gains] == ["one more charger", "one more station", "one more battery"]
    assert one.binding == one.gains[1]
    assert one.rivals == ()
    assert one.sentence == (
        "Bottleneck of layout 'hoist': the station, 14:00 to 14:15 on Monday (all of the gain). "
        "One more station would save 2.0 ± 0.4 min per truck-shift (95 % simultaneous)."
    )


def test_what_cannot_be_told_apart_is_named_together():
    """The best of each kind; what is clearly less is no rival."""
    one = made_up(
        BASE,
        ("station", "station", less(2.0, 2.2, 1.8, 2.0)),
        ("attendants", "attendants", less(2.1, 1.9, 1.9, 2.0)),
        ("battery", "battery", less(0.5, 0.5, 0.5, 0.6)),
    )

    assert [gain.what for gain in one.rivals] == ["one more attendants"]
    assert one.sentence == (
        "Bottleneck of layout 'hoist': the station or the attendants, which cannot be told apart, "
        "14:00 to 14:15 on Monday (all of the gain). One more station would save 2.0 ± 0.4 and one more attendants "
        "would save 2.0 ± 0.2 min per truck-shift (95 % simultaneous)."
    )


def test_of_several_of_a_kind_the_best_is_a_rival():
    """Attendants of two shifts that cannot be told apart from the station."""
    one = made_up(
        BASE,
        ("station", "station", less(2.0, 2.2, 1.8, 2.0)),
        ("early", "attendants", less(2.1, 1.9, 1.9, 2.0)),
        ("late", "attendants", less(2.0, 1.9, 1.9, 2.0)),
    )

    assert [gain.what for gain in one.rivals] == ["one more early"]


def test_what_changes_nothing_binds_nothing():
    """All replications alike: an interval of no width at zero."""
    one = made_up(BASE, ("station", "station", less(0.0, 0.0, 0.0, 0.0)))

    assert one.gains[0].interval == (0.0, 0.0, 0.0)
    assert (one.binding, one.gains[0].clear) == (None, False)


@pytest.mark.parametrize(("early", "binds"), [(1.6, "early"), (1.4, "every shift")])
def test_one_shift_stands_for_every_shift_when_it_carries_the_gain(early, binds):
    """Above three quarters of it."""
    one = made_up(
        BASE,
        ("early", "attendants", less(early, early, early, early + 0.1)),
        ("late", "attendants", less(0.3, 0.3, 0.3, 0.4)),
        ("every shift", "attendants", less(2.0, 2.0, 2.0, 2.1)),
    )

    assert one.binding is not None
    assert one.binding.what == f"one more {binds}"
    assert one.rivals == ()


def test_another_thing_may_save_more_than_the_one_shift():
    """Every shift would have saved most, but most of that is one shift's, and the station saves more than that."""
    one = made_up(
        BASE,
        ("early", "attendants", less(1.6, 1.6, 1.6, 1.7)),
        ("station", "station", less(1.8, 1.8, 1.8, 1.9)),
        ("every shift", "attendants", less(2.0, 2.0, 2.0, 2.1)),
    )

    assert one.binding is not None
    assert one.binding.what == "one more station"


def test_nothing_binds_and_what_costs_most_instead():
    one = made_up(
        BASE,
        ("battery", "battery", less(0.1, -0.1, 0.2, 0.0)),
        parts={"charge_in_truck_min_per_truck_shift": 8.5, "travel_min_per_truck_shift": 2.5},
    )

    assert (one.binding, one.rivals, one.when) == (None, (), None)
    assert one.sentence == (
        "No clear bottleneck in layout 'hoist': 8.5 of 11.0 min per truck-shift are the charge in the truck itself."
    )


def test_what_is_not_ruled_out_is_mentioned():
    """A gain above a twentieth of the downtime may hide in the interval; t(3, 0.975) = 3.182."""
    one = made_up(BASE, ("battery", "battery", less(0.5, -0.5, 1.0, 0.0)), parts={"exchange_min_per_truck_shift": 8.5})

    high = 0.25 + 3.182 * float(np.std([0.5, -0.5, 1.0, 0.0], ddof=1)) / 2.0
    assert one.sentence == (
        "No clear bottleneck in layout 'hoist': 8.5 of 11.0 min per truck-shift are the exchange "
        f"itself. One more battery may still save up to {high:.1f} min; more replications would tell."
    )


def test_no_downtime_at_all():
    one = made_up([0.0, 0.0], ("battery", "battery", [0.0, 0.0]))

    assert one.sentence == ("No clear bottleneck in layout 'hoist': no truck loses any time to its battery.")


def test_a_clear_loss_is_said():
    one = made_up(
        BASE,
        ("station", "station", less(-0.5, -0.5, -0.5, -0.6)),
        ("battery", "battery", less(1.0, 1.0, 1.0, 1.1)),
        ("charger", "charger", less(-0.2, -0.2, -0.2, -0.3)),
    )

    assert one.sentence.endswith(
        " One more charger would cost 0.2 ± 0.1 and one more station would cost 0.5 ± 0.1 min per truck-shift."
    )
    assert [gain.clear for gain in one.gains] == [True, True, True]


def test_one_replication_says_nothing():
    one = made_up([10.0], ("battery", "battery", [8.0]))

    assert one.binding is None
    assert one.sentence == "One replication does not tell the bottleneck; take at least two."
    assert math.isnan(one.gains[0].interval.low)


def test_frame_and_json():
    one = made_up(
        BASE, ("battery", "battery", less(0.1, -0.1, 0.2, 0.0)), ("station", "station", less(2.0, 2.2, 1.8, 2.0))
    )

    assert list(one.frame) == ["what", "kind", "gain_min_per_truck_shift", "low", "high", "clear"]
    assert one.frame["what"].tolist() == ["one more station", "one more battery"]
    assert one.frame["clear"].tolist() == [True, False]
    data = json.loads(json.dumps(one.as_json(), allow_nan=False))
    assert {key: data[key] for key in ("seed", "replications", "weeks", "warm_up_weeks", "confidence")} == {
        "seed": 1, "replications": 4, "weeks": 1.0, "warm_up_weeks": 0.0, "confidence": 0.95,
    }  # fmt: skip
    mine = data["layouts"]["hoist"]
    assert mine["binding"] == ["one more station"]
    assert mine["windows"] == [{"clock": "14:00 to 14:15", "days": [0]}]
    assert (mine["shift"], mine["share_of_gain"]) == (None, pytest.approx(1.0))
    assert mine["gains"][0].keys() == {"what", "mean", "low", "high", "clear", "correlation"}
    assert mine["sentence"] == one.sentence
    assert one._repr_html_().startswith(f"<p>{escape(one.sentence)}</p><table")


def test_levers_are_told_apart_from_things():
    """They have rows and intervals of their own, are never the bottleneck, and the best is said with its gain."""
    base, station = BASE, less(1.0, 1.1, 0.9, 1.0)
    one = made_up(base, ("station", "station", station))
    lever = one.things[0]._replace(label="let drivers exchange", thing="", kind="lever")
    with_lever = replace(one, levers=(lever,), otherwise=made_up(base, ("x", "lever", less(3.0, 3.2, 2.8, 3.0))).more)

    assert with_lever.gains == one.gains
    assert with_lever.binding.what == "one more station"
    assert with_lever.frame["kind"].tolist() == ["station", "lever"]
    assert with_lever.lever_gains[0].interval.mean == pytest.approx(3.0)
    assert with_lever.sentence == (
        f"{one.sentence} With nothing bought: to let drivers exchange would save 3.0 ± 0.3 min per truck-shift."
    )
    text = bottleneck_text(with_lever)
    assert text.index("one more station") < text.index("with nothing bought:") < text.index("let drivers exchange")
    no_gain = replace(with_lever, otherwise=made_up(base, ("x", "lever", less(-0.1, 0.1, 0.0, 0.0))).more)
    assert no_gain.sentence == one.sentence


def test_trucks_that_come_together_may_come_one_after_another():
    """Twelve trucks at three stations at the end of a shift: a roster saves time, and nothing is bought."""
    found = answer(roomy(stations=3), replications=8, weeks=1.0)
    gains = {gain.variant.levers[0]: gain.interval for gain in found.lever_gains}
    assert gains[Lever("spread", "docks")].low > 0.0


# --- rooms in which one thing is scarce ---


def answer(room, replications=4, weeks=0.5):
    """The bottleneck of a room, in short runs in this process."""
    settings = Settings("room", replications=replications, weeks=weeks, warm_up_weeks=weeks / 2.0, workers=1)
    return batsim.bottleneck(room, settings)["room"]


def test_one_station_for_24_trucks_binds():
    """A thing of which there is plenty changes nothing at all: the runs are paired."""
    one = answer(roomy(stations=1), replications=5)
    by_name = {gain.what: gain for gain in one.gains}

    assert one.binding is not None
    assert one.binding.what == "one more station"
    assert one.binding.interval.mean > 2.0
    assert one.rivals == ()
    assert one.sentence.startswith("Bottleneck of layout 'room': the station, ")
    assert by_name["one more charger"].interval == Interval(0.0, 0.0, 0.0)
    assert by_name["one more charger"].correlation == pytest.approx(1.0)


def test_a_station_and_its_device_may_bind_only_together():
    """One more of either saves nothing as long as the other is as scarce."""
    one = answer(roomy(stations=1, devices={"hand_pallet_truck": 1}))
    by_name = {gain.what: gain for gain in one.gains}

    assert one.binding is not None
    assert one.binding.what == "one more station with its hand pallet truck"
    assert one.binding.interval.mean > 4.0 * by_name["one more station"].interval.mean
    assert one.sentence.startswith("Bottleneck of layout 'room': the station with its hand pallet truck, ")


def test_few_batteries_bind():
    one = answer(roomy(batteries=44), replications=6, weeks=1.0)

    assert one.binding is not None
    assert one.binding.what == "one more battery"
    assert one.sentence.startswith("Bottleneck of layout 'room': the batteries, ")


def test_chargers_bound_to_their_bays_bind_where_loose_leads_would_do():
    """Each is taken through cool-down and until its battery goes: the same 40 on loose leads are enough."""
    room = layout(
        handling="side_rollers", stations=3, devices={"battery_carriage": 3}, batteries=82,
        chargers="40 x electronic_iuia", attendants={"room early": 6, "room late": 6, "room night": 6},
    )  # fmt: skip
    one = answer(room, weeks=2.0)

    assert one.binding is not None
    assert one.binding.what == "loose charger leads"
    assert one.sentence.startswith("Bottleneck of layout 'room': the chargers bound to their bays, ")
    assert "Loose charger leads would save " in one.sentence
    assert one.binding.interval.low > 0.5 * one.downtime.mean
    loose = batsim.changed(room, {"layouts.room.charger_leads": "loose"})
    assert "loose charger leads" not in more(loose)


@pytest.mark.parametrize(
    ("chargers", "leads", "held_h"), [(40, None, 8.0), (40, "loose", 0.0), (60, None, 0.0)], ids=str
)
def test_check_says_how_long_a_bound_charger_is_taken(chargers, leads, held_h):
    """Through the cool-down of 8 h, unless its leads are loose or every bay has one of its own."""
    room = layout(
        handling="side_rollers", batteries=82, bays=60, chargers=f"{chargers} x electronic_iuia", exchange_by="drivers",
        **({"charger_leads": leads} if leads else {}),
    )  # fmt: skip
    found = outline(room)
    (stock,) = found.layouts[0].stock

    assert stock.held_h - stock.charge_h == pytest.approx(held_h)
    said = f"a charger is bound to its bay: taken for {stock.held_h:.1f} h and until the battery goes"
    assert (said in summary_text(found, 400)) == (held_h > 0.0)


def test_few_attendants_on_one_shift_bind_there():
    """And they bind in the hours of that shift: those who still wait at its end are served at 22:00, in 13.3 min."""
    one = answer(roomy(attendants={"room early": 12, "room late": 1, "room night": 12}), replications=8)

    assert one.binding is not None
    assert one.binding.what == "one more attendant, room late shift"
    assert one.sentence.startswith("Bottleneck of layout 'room': the attendants of the room late shift, ")
    assert one.when is not None
    inside = [14 * 60.0 <= window.start_min < window.end_min <= 22 * 60.0 + 15.0 for window in one.when.windows]
    assert one.when.shift == "late" or (inside and all(inside))
    assert one.when.share > 0.5


def test_with_plenty_of_everything_nothing_binds():
    one = answer(roomy())

    assert one.binding is None
    assert "min per truck-shift are the exchange itself." in one.sentence


# --- where they run ---


def test_jobs_name_their_scenario_and_what_is_taken(monkeypatch):
    """The same on one process and on two, in the order of the jobs."""
    monkeypatch.setattr("batsim.study.running.executors.POOL_PAYS_S", 0.0)
    scenarios = [KESTREL, batsim.changed(KESTREL, {"layouts.hoist.stations": 2, "layouts.hoist.devices": {"hoist": 2}})]
    jobs = [Job("hoist", number, 1, WEEK_MIN / 4, 0.0, which) for which in (1, 0) for number in range(4)]

    one, two = (run_jobs(scenarios, jobs, Settings(workers=workers), take=lost_time) for workers in (1, 2))
    measures = run_jobs(scenarios, jobs, Settings(workers=2), take=measures_of)

    key = "downtime_min_per_truck_shift"
    assert [repr(each.downtime) for each in one] == [repr(each.downtime) for each in two]
    assert all(np.array_equal(here.profile, there.profile) for here, there in zip(one, two, strict=True))
    assert [each.downtime[key] for each in one] == [each[key] for each in measures]
    for job, found in zip(jobs, measures, strict=True):
        record = record_of(
            scenarios[job.scenario],
            "hoist",
            seed=1,
            replication=job.replication,
            length_min=WEEK_MIN / 4,
            warm_up_min=0.0,
        )
        assert repr(found) == repr(measure(record, 15.0)) == repr(measures_of(record, KESTREL))
    assert sum(each[key] for each in measures[:4]) < sum(each[key] for each in measures[4:])


def test_all_layouts_in_one_go_are_those_one_by_one():
    shown = []
    settings = Settings(["hoist", "in the truck"], replications=2, weeks=0.5, warm_up_weeks=0.0, seed=3, workers=1)

    together = batsim.bottleneck(KESTREL, replace(settings, progress=lambda done, of: shown.append((done, of))))
    alone = batsim.bottleneck(KESTREL, replace(settings, layouts="in the truck"))["in the truck"]

    assert list(together) == ["hoist", "in the truck"]
    assert repr(together["in the truck"].gains) == repr(alone.gains)
    assert together["in the truck"].sentence == alone.sentence
    runs = 2 * sum(1 + len(one.things) + len(one.levers) for one in together.values())
    assert shown[-1] == (len(shown), len(shown)) == (runs, runs)


def test_an_unknown_layout_and_a_number_out_of_range():
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.bottleneck(KESTREL, batsim.Settings(layouts="hoists", replications=0))

    assert str(caught.value) == (
        f"{KESTREL.file}: 2 problems\n"
        f"  {KESTREL.file}: layouts.hoists: no layout of this name; did you mean 'hoist'?\n"
        f"  {KESTREL.file}: replications: must be at least 1 (got 0)"
    )
