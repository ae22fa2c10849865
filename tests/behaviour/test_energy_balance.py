"""Charge and energy add up: what is drawn is put back, with the charge factor, and paid for at the wall."""

from itertools import pairwise

import pytest
import yaml
from hypothesis import given

import batsim
from batsim.measures import measure
from batsim.measures.windows import Worked
from batsim.scenario.parts.batteries import BatteryType
from tests.behaviour.ledger import by, rows_of, started
from tests.behaviour.strategies import EXCHANGING, ROUNDS, Room, rooms
from tests.runs import record_of


@ROUNDS
@given(rooms())
def test_state_of_charge_is_carried_from_discharge_to_discharge(room: Room):
    """It lies within 0 and 1, unless the way to the room is long; a battery rises only on charge."""
    record = room.simulate()
    scenario = room.scenario
    far = any(group.to_room is not None and group.to_room.distance_m > 1000.0 for group in scenario.trucks)
    charged = by("battery", started(rows_of(record, "charges")))
    for battery, discharges in by("battery", rows_of(record, "discharges")).items():
        for discharge in discharges:
            assert discharge["soc_to_share"] <= discharge["soc_from_share"] <= 1.0
            assert discharge["soc_to_share"] >= (-1.0 if far else 0.0)
            assert discharge["drawn_ah"] >= 0.0
            assert discharge["drawn_kwh"] >= 0.0
        for before, after in pairwise(discharges):
            charges = [row for row in charged[battery] if before["end_min"] <= row["end_min"] <= after["start_min"]]
            if not charges:
                assert after["soc_from_share"] == before["soc_to_share"]
            elif not record.facts.in_truck:
                assert after["soc_from_share"] == 1.0
            else:
                assert after["soc_from_share"] >= before["soc_to_share"]


def equalising_ah(battery: BatteryType, charge: dict[str, float]) -> float:
    """Ampere-hours of the equalising part of a charge."""
    if battery.equalising is None:
        return 0.0
    return battery.equalising.current.of(battery.capacity.ah) * charge["equalising_min"] / 60.0


@ROUNDS
@given(rooms(arrangements=EXCHANGING))
def test_ampere_hours_charged_are_the_charge_factor_times_those_drawn(room: Room):
    record = room.simulate()
    scenario = room.scenario
    types = [scenario.batteries[name] for name in [kind.name for kind in record.facts.battery_types]]
    chargers = [scenario.chargers[name] for name in record.facts.chargers]
    discharges = by("battery", rows_of(record, "discharges"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for before, charge in zip([None, *charges], charges, strict=False):
            since = before["start_min"] if before else -1.0
            drawn = [row for row in discharges[battery] if since < row["end_min"] <= charge["start_min"]]
            ah, kwh = sum(row["drawn_ah"] for row in drawn), sum(row["drawn_kwh"] for row in drawn)
            kind, charger = types[charge["queue"]], chargers[charge["charger"]]
            equalised = equalising_ah(kind, charge)
            from_full = drawn[0]["soc_from_share"] == 1.0  # not so for the random start of a run
            if from_full and (kind.charge_time_min is not None or charger.profile in ("IUIa", "W")):
                assert charge["charged_ah"] - equalised == pytest.approx(charger.charge_factor * ah, rel=1e-9)
            if before:  # IU leaves missing what its end current leaves, more in a cold battery than in a warm one
                capacity_ah = record.facts.battery_types[charge["queue"]].capacity_ah
                left_less_ah = (charge["soc_to_share"] - before["soc_to_share"]) * capacity_ah
                assert charge["charged_ah"] >= (ah + left_less_ah) * (1.0 - 1e-9)
            assert charge["charged_kwh"] > kwh
            assert charge["soc_to_share"] >= (0.98 if charger.profile == "IU" else 1.0)
            assert charge["soc_from_share"] < charge["soc_to_share"]


@ROUNDS
@given(rooms(arrangements=("in_truck",)))
def test_a_full_charge_in_the_truck_settles_all_that_was_drawn(room: Room):
    record = room.simulate()
    scenario = room.scenario
    discharges = by("battery", rows_of(record, "discharges"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        full = [row for row in charges if row["soc_to_share"] == 1.0]
        used = [scenario.chargers[record.facts.chargers[number]] for number in {row["charger"] for row in charges}]
        for before, after in pairwise(full):
            since, until = before["end_min"], after["end_min"]
            drawn = sum(row["drawn_ah"] for row in discharges[battery] if since <= row["start_min"] < until)
            returned = sum(
                row["charged_ah"]
                - equalising_ah(scenario.batteries[record.facts.battery_types[row["queue"]].name], row)
                for row in charges
                if since < row["end_min"] <= until
            )
            assert returned >= drawn * (1.0 - 1e-6)
            if len(used) == 1 and used[0].profile in ("IUIa", "W"):
                # Part charges need no overcharge; without any in between, the factor applies to all that was drawn.
                assert returned <= used[0].charge_factor * drawn * (1.0 + 1e-6) + 1e-3
                if not any(before["end_min"] < row["end_min"] < after["end_min"] for row in charges):
                    assert returned == pytest.approx(used[0].charge_factor * drawn, rel=1e-6, abs=1e-3)


@ROUNDS
@given(rooms(warm_up=False))
def test_energy_from_the_wall_is_that_of_the_charges(room: Room):
    record = room.simulate()
    facts, found = record.facts, measure(record)
    open_min = Worked(facts.site_windows).between(0.0, facts.horizon_min)
    charges = [row for row in started(rows_of(record, "charges")) if row["start_min"] < facts.horizon_min]
    wall = [(row["end_min"], row["charged_kwh"] / facts.charger_efficiency[row["charger"]]) for row in charges]
    finished = sum(kwh for end, kwh in wall if end <= facts.horizon_min)
    if open_min:
        days = open_min / facts.minutes_per_working_day
        total = (found["energy_kwh_per_day"] - found["standby_kwh_per_day"]) * days
        assert finished - 1e-6 <= total <= sum(kwh for _, kwh in wall) + 1e-6
        assert found["standby_kwh_per_day"] >= 0.0
        assert found["peak_kw"] >= total / (facts.horizon_min / 60.0) - 1e-9


def test_what_is_owed_goes_with_the_charger_in_the_truck():
    """Two trucks and two kinds of charger: whoever is on the gentler one returns by its charge factor alone."""
    stated = {
        "site": {"name": "two kinds of charger"},
        "week": {"shifts": {"early": {"days": "Mon-Fri", "from": "06:00", "to": "14:00"}}},
        "trucks": [{"group": "trucks", "count": 2, "shifts": ["early"], "battery": "lead", "run_time": "10 h"}],
        "batteries": {"lead": {"from": "vented_lead_acid_48v"}},
        "layouts": {"room": {"handling": "in_truck", "chargers": ["1 x electronic_iuia", "1 x circulation_iuia"]}},
    }
    site = batsim.read_scenario_text(yaml.safe_dump(stated))
    record = record_of(site, "room", seed=1, length_min=14 * 1440.0, warm_up_min=0.0)
    factors = [site.chargers[name].charge_factor for name in record.facts.chargers]
    discharges, seen = by("battery", rows_of(record, "discharges")), set()
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        full = [row for row in charges if row["soc_to_share"] == 1.0]
        for before, after in pairwise(full):
            between = [row for row in charges if before["end_min"] < row["end_min"] <= after["end_min"]]
            if len(between) > 1 or after["equalising_min"]:
                continue
            drawn = sum(
                row["drawn_ah"]
                for row in discharges[battery]
                if before["end_min"] <= row["start_min"] < after["end_min"]
            )
            assert after["charged_ah"] == pytest.approx(factors[after["charger"]] * drawn, rel=1e-6, abs=1e-3)
            seen.add(after["charger"])
    assert seen == {0, 1}
    assert factors[0] > factors[1] + 0.05
