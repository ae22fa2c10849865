"""Times of an arrangement as timed on site, and power by shift."""

import pytest

import batsim
from batsim.errors import ScenarioError
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.reading import changed, read_scenario_text
from batsim.scenario.site import Scenario
from tests.runs import record_of
from tests.sites import KESTREL

SCENARIO = KESTREL.file

HOIST = "handling: {overhead_hoist: {from: overhead_hoist, %s}}"


def kestrel(more: str) -> Scenario:
    """The flagship with something stated otherwise."""
    return read_scenario_text(f"extends: {SCENARIO}\n{more}\n")


def test_an_arrangement_starts_from_one_that_ships() -> None:
    """Under its own name or another one; what is not stated stays."""
    site = kestrel("handling: {small hoist: {from: overhead_hoist, title: Small hoist, empty_bays: 0}}")
    own, shipped = site.handling["small hoist"], site.handling["overhead_hoist"]

    assert (own.title, own.empty_bays) == ("Small hoist", 0)
    assert own.steps == shipped.steps
    assert not own.timed_on_site


def test_a_whole_exchange_is_shared_by_its_steps() -> None:
    """As they share their own mean times; they are long together, so that their sum follows the law."""
    site = kestrel(HOIST % "exchange_times: {truck_waits: {mean: 12 min, cv: 0.25, law: gamma}, truck_gone: 2 min}")
    steps, own = site.handling["overhead_hoist"].steps, KESTREL.handling["overhead_hoist"].steps
    waits, gone = ([step for step in steps if step.truck == kind] for kind in ("waits", "gone"))
    usual = sum(step.law.mean for step in own if step.truck == "waits")

    assert [step.law.mean for step in waits] == pytest.approx([12.0 * step.law.mean / usual for step in own[:-1]])
    assert {(step.law.kind, step.law.cv, step.varies) for step in waits} == {("gamma", 0.25, "together")}
    assert [(step.law.mean, step.varies) for step in gone] == [(2.0, "alone")]


def test_a_whole_time_is_found_again_in_the_record() -> None:
    """From the begin of the exchange until the last step is done."""
    site = kestrel(HOIST % "exchange_times: {whole: 15 min}")
    rows = record_of(site, "hoist", length_min=2880.0, warm_up_min=0.0).columns("exchanges")
    done = rows["end_min"] < 2880.0

    assert done.sum() > 50
    assert (rows["end_min"] - rows["start_min"])[done] == pytest.approx(15.0)


@pytest.mark.parametrize(
    ("times", "gone_min"),
    [
        ("exchange_times: {truck_waits: 7 min, truck_gone: 3 min}", 3.0),
        (
            f"step_times: {{{', '.join(f'{each.step}: 1 min' for each in KESTREL.handling['overhead_hoist'].steps)}}}",
            1.0,
        ),
    ],
    ids=["of the exchange", "of each of eight steps"],
)
def test_stated_times_are_found_again_in_the_record(times: str, gone_min: float) -> None:
    """Until the truck may leave, and until the last step is done."""
    rows = record_of(kestrel(HOIST % times), "hoist", length_min=2880.0, warm_up_min=0.0).columns("exchanges")
    done = rows["end_min"] < 2880.0

    assert done.sum() > 50
    assert (rows["truck_free_min"] - rows["start_min"])[done] == pytest.approx(7.0)
    assert (rows["end_min"] - rows["truck_free_min"])[done] == pytest.approx(gone_min)


def test_a_step_by_its_words() -> None:
    """The others keep their times."""
    site = kestrel(HOIST % "step_times: {close up and drive off: {observed: [1 min, 3 min]}}")
    steps, own = site.handling["overhead_hoist"].steps, KESTREL.handling["overhead_hoist"].steps

    assert [step for step, old in zip(steps, own, strict=True) if step != old] == [steps[6]]
    assert (steps[6].law.observed_min, steps[6].varies) == ((1.0, 3.0), "alone")


@pytest.mark.parametrize(
    ("stated", "rule"),
    [
        ("step_times: {close up: 1 min}", "step_times.close up: no such step (got 'close up')"),
        (
            "exchange_times: {truck_waits: 9 min}, step_times: {close up and drive off: 1 min}",
            "exchange_times.truck_waits: stands in place of 'step_times' of its steps; keep one of the two",
        ),
        (
            "exchange_times: {truck_waits: 9 min, whole: 12 min}",
            "exchange_times.whole: is 'truck_waits' and 'truck_gone' together; keep it or those two",
        ),
        (
            "exchange_times: {truck_waits: {mean: 9 min, cv: 2, law: hyperexponential}}",
            "exchange_times.truck_waits: its steps share one of these laws: fixed, triangular, uniform, exponential, "
            "lognormal, gamma, observed (got hyperexponential)",
        ),
    ],
)  # fmt: skip
def test_times_that_cannot_be(stated: str, rule: str) -> None:
    with pytest.raises(ScenarioError) as error:
        kestrel(HOIST % stated)

    assert f"handling.overhead_hoist.{rule}" in str(error.value)


def test_an_arrangement_that_does_not_ship() -> None:
    with pytest.raises(ScenarioError, match=r"handling.mine.from: not in the catalogue; did you mean 'overhead_hoist'"):
        kestrel("handling: {mine: {from: overhed_hoist}}")


def test_positions_give_the_ways() -> None:
    """Which times on site hold already."""
    with pytest.raises(ScenarioError, match="does not go with times on site of side_rollers, which hold the ways"):
        kestrel("handling: {side_rollers: {from: side_rollers, exchange_times: {truck_waits: 4 min}}}")


def test_times_of_a_law() -> None:
    law = DurationLaw.model_validate({"low": "1 min", "typical": "2 min", "high": "4 min"})

    assert (law.times(1.5).low_min, law.times(1.5).typical_min, law.times(1.5).high_min) == (1.5, 3.0, 6.0)


POWERS = {"early": "4 kW", "late": "3 kW", "night": "2 kW"}


def test_power_by_shift_is_found_again() -> None:
    """In the shifts of the record, and as the mean that drivers and checks go by."""
    site = changed(
        KESTREL, {"trucks[0].duty": {"mean_power": POWERS, "between_trucks": "0 %", "between_shifts": "0 %"}}
    )
    rows = record_of(site, "hoist", length_min=3 * 1440.0, warm_up_min=0.0).columns("truck_shifts")
    docks = (rows["group"] == 0) & (rows["start_min"] > 0.0)
    by_begin = {minute % 1440.0: set() for minute in rows["start_min"][docks]}
    for minute, power in zip(rows["start_min"][docks], rows["power_w"][docks], strict=True):
        by_begin[minute % 1440.0].add(round(power, 6))

    assert by_begin == {360.0: {4000.0}, 840.0: {3000.0}, 1320.0: {2000.0}}


def test_power_is_needed_for_every_shift() -> None:
    with pytest.raises(ScenarioError) as error:
        changed(KESTREL, {"trucks[0].duty": {"mean_power": {"early": "4 kW", "late": "3 kW"}}})

    assert (
        "trucks[0].duty.mean_power: needs a power for each shift of the group, early, late, night, and no other ("
        in (str(error.value))
    )


def test_the_same_power_in_every_shift_is_that_power() -> None:
    """Bit for bit."""
    duty = {"between_trucks": "10 %", "between_shifts": "20 %"}
    one, each = (
        changed(KESTREL, {"trucks[0].duty": {"mean_power": power, **duty}})
        for power in ("3.4 kW", dict.fromkeys(POWERS, "3.4 kW"))
    )
    runs = [batsim.event_log(record_of(site, "hoist", length_min=2880.0, warm_up_min=0.0)) for site in (one, each)]

    assert runs[0].equals(runs[1])
