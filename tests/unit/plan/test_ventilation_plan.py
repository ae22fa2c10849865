"""Ventilation of a plan: the rule by hand, what the simulated gas makes of it, a failed fan, and gas over time."""

import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.formulas.gassing import hydrogen_l
from batsim.formulas.room_hydrogen import hydrogen_over_time
from batsim.measures.gas import gas_course, gas_measures
from batsim.measures.windows import Measured
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK, Check
from batsim.plan.evidence import AreaEvidence, Evidence, RunEvidence
from batsim.plan.gas_release import coefficient_of
from batsim.plan.ventilation import HYDROGEN_M3_PER_AH, Ventilation, ventilation
from batsim.record.record import Record
from batsim.scenario.reading import completed_data
from batsim.scenario.site import Scenario
from tests.rows import write_row
from tests.runs import record_of

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
EDITIONS = ("IEC 62485-3:2014", "EN 50272-3:2002")
SITE = """\
site: {name: Air (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: trucks, count: 1, shifts: [day], battery: lead, duty: {mean_power: 1 kW}}]
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 625 Ah at 5 h}}
chargers: {gentle: {from: electronic_iuia, profile: IU}}
layouts: {hoist: {handling: overhead_hoist, batteries: 2, chargers: 1 x electronic_iuia}}
"""


@cache
def site() -> Scenario:
    """One battery of 48 V and 625 Ah on charge."""
    return batsim.read_scenario_text(SITE, "air.yaml")


def aired(
    changes: dict[str, Any] | None = None,
    gas: tuple[float, ...] = (0.0,),
    layout: str = "hoist",
    *,
    of: Scenario | None = None,
) -> Ventilation:
    """Ventilation with gas as the simulation might have found it, in quarters of an hour."""
    scenario = batsim.changed(of or site(), changes or {})
    area = AreaEvidence(scenario.arrangement(layout).in_truck, np.array(gas), {}, {}, 0.0)
    taken = RunEvidence({}, np.zeros(len(gas)), 5.0, 40.0, 5.0, np.zeros(0), {}, {"": area})
    runs: Any = None
    (found,) = ventilation(scenario, layout, Evidence(layout, runs, (taken,)))
    return found


def check_of(found: Ventilation, name: str) -> Check:
    """The check of that name."""
    return next(each for each in found.checks if each.name == name)


# --- the rule by hand ---


@pytest.mark.parametrize(
    ("edition", "flow", "opening", "volume"),
    [(EDITIONS[0], 49.5, 1386.0, 123.75), (EDITIONS[1], 45.0, 1260.0, 112.5)],
)
def test_one_battery_by_both_editions(edition: str, flow: float, opening: float, volume: float) -> None:
    """24 cells, 625 Ah, IUIa: 37.5 A of gas; 0.055 or 0.05 m3/h for each cell and ampere."""
    found = aired({"standards": {"ventilation": edition}})

    assert (found.edition, found.coefficient) == (edition, coefficient_of(edition, FIGURES).value)
    assert [each.gas_a for each in found.gassing] == [37.5]
    assert (found.flow_m3_per_h, found.opening_cm2, found.free_volume_m3) == pytest.approx((flow, opening, volume))


@pytest.mark.parametrize(
    ("edition", "flow", "opening", "volume"),
    [(EDITIONS[0], 1023.0, 28_644.0, 2557.5), (EDITIONS[1], 930.0, 26_040.0, 2325.0)],
)
def test_ten_batteries_at_once(edition: str, flow: float, opening: float, volume: float) -> None:
    """40 cells, 775 Ah, IUIa: 46.5 A of gas each."""
    found = aired(
        {
            "standards": {"ventilation": edition},
            "batteries.lead": {"from": "vented_lead_acid", "cells": 40, "capacity": "775 Ah at 5 h"},
            "layouts.hoist.batteries": 12,
            "layouts.hoist.chargers": "10 x electronic_iuia",
        }
    )

    assert [(each.chargers, each.gas_a) for each in found.gassing] == [(10.0, 46.5)]
    assert (found.flow_m3_per_h, found.opening_cm2, found.free_volume_m3) == pytest.approx((flow, opening, volume))


@pytest.mark.parametrize(
    ("chemistry", "charger", "gas_a", "flow", "opening"),
    [
        ("vented_lead_acid", "gentle", 12.5, 16.5, 462.0),  # IU stops at 5 A per 100 Ah; it has no end stage
        ("valve_regulated", "gel_iui", 9.375, 12.375, 346.5),
        ("valve_regulated", "gel_iu", 6.25, 8.25, 231.0),
        ("vented_lead_acid", "line_frequency_w", 43.75, 57.75, 1617.0),
        ("vented_lead_acid", "line_frequency_wowa", 43.75, 57.75, 1617.0),
    ],
)
def test_gas_currents_by_characteristic(
    chemistry: str, charger: str, gas_a: float, flow: float, opening: float
) -> None:
    """2, 1.5, 1 and 7 A for each 100 Ah of 625 Ah."""
    lead = {"from": chemistry, "cells": 24, "capacity": "625 Ah at 5 h", "equalising": "none"}
    found = aired({"batteries.lead": lead, "layouts.hoist.chargers": f"1 x {charger}"})

    assert (found.gassing[0].gas_a, found.flow_m3_per_h, found.opening_cm2) == pytest.approx((gas_a, flow, opening))


def test_gas_that_the_site_states_takes_another_fan() -> None:
    """Three times the gas, three times the air; the basis says whose figure it is."""
    usual, gassing = aired(), "ventilation.gas_current.IUIa.vented_lead_acid"
    found = aired({f"figures.'{gassing}'": "18 A per 100 Ah"})

    assert found.flow_m3_per_h == pytest.approx(3.0 * usual.flow_m3_per_h)
    assert found.gassing[0].basis == "18 A per 100 Ah for IUIa: stated for this site"


@pytest.mark.parametrize(
    ("changes", "gas_a", "basis"),
    [
        ({"chargers.own.end_current": "12 A per 100 Ah"}, 75.0, "12 A per 100 Ah, the current of the charger"),
        ({"chargers.own.end_current": "40 A"}, 40.0, "40 A, the current of the charger's end stage"),
        ({"batteries.lead.equalising.current": "8 A per 100 Ah"}, 50.0, "8 A per 100 Ah, the current of its equal"),
        ({"batteries.lead.equalising.current": "38 A"}, 38.0, "38 A, the current of its equalising charges"),
        # The greatest of all three, and the table where it is that.
        ({"chargers.own.end_current": "40 A", "batteries.lead.equalising.current": "45 A"}, 45.0, "45 A, "),
        ({"chargers.own.end_current": "45 A", "batteries.lead.equalising.current": "40 A"}, 45.0, "45 A, "),
        ({"chargers.own.end_current": "37.5 A"}, 37.5, "6 A per 100 Ah for IUIa: EN 50272-3:2002"),
        ({"chargers.own.end_current": "37.51 A"}, 37.51, "37.51 A, the current of the charger's end stage; more than "
         "the 6 A per 100 Ah of the rule's table"),
    ],
)  # fmt: skip
def test_air_is_planned_for_the_greatest_of_table_end_current_and_equalising(
    changes: dict[str, str], gas_a: float, basis: str
) -> None:
    """Stated for each 100 Ah or in amperes; the table has 6 A per 100 Ah of 625 Ah, 37.5 A."""
    battery = {"from": "vented_lead_acid", "cells": 24, "capacity": "625 Ah at 5 h",
               "equalising": {"every": "7 days", "length": "3 h", "current": "5 A per 100 Ah"}}  # fmt: skip
    own = {"chargers.own": {"from": "electronic_iuia"}, "layouts.hoist.chargers": "1 x own", "batteries.lead": battery}
    found = aired(of=batsim.changed(batsim.changed(site(), own), changes))

    assert found.gassing[0].gas_a == pytest.approx(gas_a)
    assert found.flow_m3_per_h == pytest.approx(0.055 * 24 * gas_a)
    assert found.gassing[0].basis.startswith(basis)


def test_equalising_of_gel_takes_more_air_than_its_charges() -> None:
    """1.05 A per 100 Ah of 625 Ah by default, where the table has 1 A."""
    lead = {"from": "valve_regulated", "cells": 24, "capacity": "625 Ah at 5 h"}
    found = aired({"batteries.lead": lead, "layouts.hoist.chargers": "1 x gel_iu"})

    assert (found.gassing[0].gas_a, found.flow_m3_per_h) == pytest.approx((6.5625, 24 * 0.055 * 6.5625))


@pytest.mark.parametrize(("fan", "verdict"), [({}, FAILS), ({"fan": "99.9 m3/h"}, FAILS), ({"fan": "100 m3/h"}, OK)])
def test_simulated_gas_above_what_was_planned_fails(fan: dict[str, str], verdict: str) -> None:
    """Planned: 24 cells x 37.5 A; twice as much asks for 99 m3/h. With a fan for that it holds: the cure cures."""
    planned = 24 * 37.5 * HYDROGEN_M3_PER_AH
    above = 100.0 / 49.5 * planned
    name = "simulated gas against what is planned for"
    found = aired({"room": ROOM | fan}, gas=(above,))

    assert check_of(aired({"room": ROOM | fan}, gas=(planned,)), name).verdict == OK
    assert check_of(aired({"room": ROOM | fan}, gas=(planned * 1.0001,)), name).verdict == (OK if fan else FAILS)
    assert check_of(found, name).verdict == verdict
    assert found.flow_to_order_m3_per_h == pytest.approx(100.0)
    if verdict == FAILS:
        assert check_of(found, name) == Check(
            "battery room", name, FAILS, f"{above:.2f} m³/h", f"at most {planned:.2f} m³/h of hydrogen",
            "the gas currents that the air is planned for, all chargers at once",
            "More gas than the air is planned for.",
            "a fan for at least 100 m³/h to the outside, interlocked with the chargers and running on for 1 h",
        )  # fmt: skip


def test_hydrogen_of_an_ampere_hour() -> None:
    """0.456 l at 25 degC in one cell; so the air of the rule holds a room at 0.456e-3/0.055, 0.83 %."""
    assert pytest.approx(0.456e-3, rel=1e-2) == HYDROGEN_M3_PER_AH
    found = aired()

    assert found.rule_gas_m3_per_h == pytest.approx(24 * 37.5 * HYDROGEN_M3_PER_AH)
    assert found.rule_gas_m3_per_h / found.flow_m3_per_h == pytest.approx(0.0083, abs=1e-4)
    assert found.one_percent_m3_per_h == pytest.approx(99.0 * found.rule_gas_m3_per_h)


def test_bounds_of_a_faulty_charger() -> None:
    """Whole current 18 A per 100 Ah: three times the gas current; of one, and of all."""
    main = FIGURES["charger.electronic_iuia.main_current"].value
    found = aired({"layouts.hoist.batteries": 6, "layouts.hoist.chargers": "4 x electronic_iuia"})
    one, whole = 49.5, 0.055 * 24 * main * 6.25

    assert found.full_current_m3_per_h == pytest.approx(4 * whole)
    assert found.one_faulty_m3_per_h == pytest.approx(3 * one + whole)


def test_air_by_floor_area() -> None:
    """1 cfm for each square foot: 914.4 m3/h for 50 m2."""
    found = aired({"room": {"length": "10 m", "width": "5 m"}})

    assert found.area_flow_m3_per_h == pytest.approx(914.4)
    assert aired().area_flow_m3_per_h is None


# --- who is on charge at once ---


def two_types(chargers: list[str], lead: int = 4, small: int = 6) -> list[tuple[float, str, str]]:
    """Chargers at work by the rule, where there are two types of vented batteries."""
    data = completed_data(site())
    assert isinstance(data["trucks"], list)
    trucks = [
        *data["trucks"],
        {"group": "more", "count": 1, "shifts": ["day"], "battery": "small", "duty": {"mean_power": "1 kW"}},
    ]
    scenario = batsim.changed(
        site(),
        {
            "batteries.lead.equalising": "none",
            "batteries.small": {
                "from": "vented_lead_acid",
                "cells": 24,
                "capacity": "200 Ah at 5 h",
                "equalising": "none",
            },
            "chargers.only small": {"from": "electronic_iuia", "batteries": ["small"]},
            "chargers.gentle": {"from": "electronic_iuia", "profile": "IU"},
            "trucks": trucks,
            "layouts": {
                "hoist": {
                    "handling": "overhead_hoist",
                    "batteries": {"lead": lead, "small": small},
                    "chargers": chargers,
                }
            },
        },
    )
    found = aired(of=scenario)
    assert found.flow_m3_per_h == pytest.approx(
        sum(each.chargers * each.cells * each.gas_a * 0.055 for each in found.gassing)
    )
    return [(each.chargers, each.charger, each.battery) for each in found.gassing]


@pytest.mark.parametrize(
    ("chargers", "expected"),
    [
        # The large ones first; when there are no more of them, the small ones.
        (["3 x electronic_iuia"], [(3, "electronic_iuia", "lead")]),
        (["6 x electronic_iuia"], [(4, "electronic_iuia", "lead"), (2, "electronic_iuia", "small")]),
        (["50 x electronic_iuia"], [(4, "electronic_iuia", "lead"), (6, "electronic_iuia", "small")]),
        (["unlimited x electronic_iuia"], [(4, "electronic_iuia", "lead"), (6, "electronic_iuia", "small")]),
        (["8 x only small", "1 x electronic_iuia"], [(6, "only small", "small"), (1, "electronic_iuia", "lead")]),
        # No battery stands on two chargers; the one that gasses more has it.
        (["3 x gentle", "3 x electronic_iuia"],
         [(1, "gentle", "lead"), (2, "gentle", "small"), (3, "electronic_iuia", "lead")]),
        (["4 x gentle", "4 x electronic_iuia"], [(4, "gentle", "small"), (4, "electronic_iuia", "lead")]),
    ],
)  # fmt: skip
def test_batteries_that_charge_at_once(chargers: list[str], expected: list[tuple[float, str, str]]) -> None:
    """Every charger that can be at work is, on the batteries that together ask for most air."""
    assert two_types(chargers) == expected


@pytest.mark.parametrize("chargers", range(1, 12))
def test_one_more_charger_never_asks_for_less_air(chargers: int) -> None:
    """Up to one for each battery."""
    sizes = {"lead": 24 * 0.06 * 625, "small": 24 * 0.06 * 200}
    fewer, more = (
        sum(number * sizes[battery] for number, _, battery in two_types([f"{each} x electronic_iuia"]))
        for each in (chargers, chargers + 1)
    )

    assert (more > fewer) == (chargers < 10)
    assert more >= fewer


def test_lithium_asks_for_no_air() -> None:
    """No gas in normal charging: no flow, no checks of air; it is said that there is lithium."""
    lithium = {"from": "lithium_ion", "cells": 15, "capacity": "400 Ah at 5 h"}
    found = aired({"batteries.lead": lithium, "layouts.hoist.chargers": "1 x lithium_cc_cv"})

    assert (found.lithium, found.flow_m3_per_h, found.checks) == (True, 0.0, ())
    assert [(each.gas_a, each.basis) for each in found.gassing] == [(0.0, "none in normal charging")]
    assert (found.full_current_m3_per_h, found.one_faulty_m3_per_h, found.peak_share_at_rule) == (0.0, 0.0, None)
    assert aired().lithium is False


# --- the room ---

ROOM = {"length": "10 m", "width": "5 m", "height": "3 m", "contents": "20 %"}
"""120 m3 of air."""


@pytest.mark.parametrize(
    ("air", "m3_per_h"),
    [
        ({}, None),
        ({"fan": "300 m3/h"}, 300.0),
        # 28 cm2 for each m3/h.
        ({"openings": "0.28 m2"}, 100.0),
        ({"fan": "300 m3/h", "openings": "0.28 m2"}, 300.0),
        ({"fan": "50 m3/h", "openings": "0.28 m2"}, 100.0),
        ({"fan": "0 m3/h"}, 0.0),
    ],
)
def test_air_that_there_is(air: dict[str, str], m3_per_h: float | None) -> None:
    """By fan or through openings, whichever is more."""
    found = aired({"room": ROOM | air}).air_m3_per_h

    assert found == (None if m3_per_h is None else pytest.approx(m3_per_h))


@pytest.mark.parametrize(
    ("room", "verdicts"),
    [
        ({}, (NOT_KNOWN, NOT_KNOWN, NOT_KNOWN)),
        (ROOM, (NOT_KNOWN, TO_CHECK, NOT_KNOWN)),
        (ROOM | {"fan": "49.5 m3/h"}, (OK, OK, OK)),
        (ROOM | {"fan": "49.49 m3/h"}, (FAILS, TO_CHECK, OK)),
        ({"fan": "49.5 m3/h"}, (OK, OK, NOT_KNOWN)),
        ({"fan": "49.49 m3/h"}, (FAILS, NOT_KNOWN, NOT_KNOWN)),
        # 1386 cm2 and 123.75 m3 by the rule.
        (ROOM | {"openings": "1386 cm2"}, (OK, TO_CHECK, OK)),
        (ROOM | {"openings": "1385.9 cm2"}, (FAILS, TO_CHECK, OK)),
        (ROOM | {"openings": "1386 cm2", "contents": "17.5 %"}, (OK, OK, OK)),
        (ROOM | {"openings": "1386 cm2", "contents": "17.51 %"}, (OK, TO_CHECK, OK)),
    ],
)
def test_verdicts_of_a_room(room: dict[str, str], verdicts: tuple[str, str, str]) -> None:
    """Exactly at what the rule asks for: air, free volume, hydrogen."""
    found = aired({"room": room}, gas=(0.1, 0.2))

    names = ("air of the room", "free volume for natural ventilation", "simulated hydrogen")
    assert tuple(check_of(found, name).verdict for name in names) == verdicts


def test_contents_are_a_fifth_when_nobody_says() -> None:
    """150 m3 less 20 %: one fill of hydrogen takes as long."""
    said, not_said = (
        aired({"room": {key: value for key, value in ROOM.items() if key not in left_out}}, gas=(1.0,)).hours_to_limit
        for left_out in ((), ("contents",))
    )

    assert said == not_said
    assert said == pytest.approx(120.0 * math.log(1.0 / 0.99))


ANSWERS = {"length": "10 m", "width": "5 m", "height": "3 m", "fan": "60 m3/h"}


@pytest.mark.parametrize("layout", ["hoist", "in truck"])
def test_questions_of_an_unknown_room_can_be_answered(layout: str) -> None:
    """Each where it says, until nothing is asked: the room's, or the building's for charging in the truck."""
    chargers = {
        "handling": layout.replace(" ", "_").replace("hoist", "overhead_hoist"),
        "chargers": "1 x electronic_iuia",
    }
    scenario = batsim.changed(site(), {"layouts": {layout: chargers | ({"batteries": 2} if layout == "hoist" else {})}})
    asked: list[str] = []
    while open_checks := [each for each in aired(of=scenario, layout=layout).checks if each.verdict == NOT_KNOWN]:
        assert open_checks[0].path not in asked
        asked.append(open_checks[0].path)
        scenario = batsim.changed(scenario, {asked[-1]: ANSWERS[asked[-1].rpartition(".")[2]]})

    where = "room" if layout == "hoist" else "building"
    assert asked == [f"{where}.fan", f"{where}.length", f"{where}.width", f"{where}.height"]


@pytest.mark.parametrize(
    ("air", "verdict"),
    [("20 degC", OK), ("10 degC", OK), ("9.9 degC", TO_CHECK), ("25 degC", OK), ("25.1 degC", TO_CHECK),
     ({"winter": "12 degC", "summer": "30 degC"}, TO_CHECK)],
)  # fmt: skip
def test_room_temperature(air: object, verdict: str) -> None:
    """10 to 25 degC."""
    assert check_of(aired({"site.room_temperature": air}), "room temperature").verdict == verdict


def test_free_volume_is_not_needed_where_a_fan_brings_the_air() -> None:
    """Whether or not anybody measured the room."""
    name = "free volume for natural ventilation"
    for room in (ROOM, {}):
        assert check_of(aired({"room": room | {"fan": "49.5 m3/h"}}), name) == Check(
            "battery room", name, OK, "not needed", "at least 124 m³, by openings alone",
            "BGHW Spezial SP02, p. 10: 2.5 times the hourly flow",
            "Not needed: the fan brings the air, 50 m³/h, as long as it runs.",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("room", "asked"),
    [
        ({}, "measure length, width and height of the battery room"),
        ({"length": "9 m"}, "measure width and height of the battery room"),
        ({"length": "9 m", "width": "4 m"}, "measure height of the battery room"),
        (ROOM, "measure the free area of inlet and outlet of the battery room, or read its fan's flow"),
    ],
)
def test_what_is_not_known_of_hydrogen_is_named(room: dict[str, str], asked: str) -> None:
    """The sides that are missing, then the air."""
    assert check_of(aired({"room": room}), "simulated hydrogen").ask == asked


SHORT_OF_AIR = (
    Check(
        "battery room", "air of the room", FAILS, "40 m³/h",
        "at least 50 m³/h, or 0.14 m² of free inlet and as much outlet",
        "IEC 62485-3:2014, 0.055 m³/h for each cell and ampere of gas current",
        "10 m³/h are missing.",
        "a fan for at least 50 m³/h to the outside, not over the chargers, interlocked with them and running on for "
        "1 h; or larger openings on opposite walls",
    ),
    Check(
        "battery room", "simulated gas against what is planned for", FAILS, "6.00 m³/h",
        "at most 0.41 m³/h of hydrogen",
        "the gas currents that the air is planned for, all chargers at once",
        "More gas than the air is planned for.",
        "a fan for at least 723 m³/h to the outside, interlocked with the chargers and running on for 1 h",
    ),
    Check(
        "battery room", "free volume for natural ventilation", TO_CHECK, "120 m³", "at least 124 m³, contents left out",
        "BGHW Spezial SP02, p. 10: 2.5 times the hourly flow",
        "Too small to count as well ventilated by openings alone.", "use a fan, interlocked with the chargers",
    ),
    Check(
        "battery room", "simulated hydrogen", FAILS, "13.26 %", "1 %",
        "a quarter of the lower flammable limit; New York City Mechanical Code 502.4, hydrogen at most 1.0 % of the "
        "room's volume",
        "Too much hydrogen even if well mixed.", "more air",
    ),
    Check(
        "battery room", "room temperature", TO_CHECK, "5 °C", "10 to 25 °C, aim at 20",
        "BGI 5017 (today DGUV Information 209-067), section 3.1", "Charging and life suffer outside.",
        "heat the room",
    ),
)  # fmt: skip


def test_checks_to_the_letter() -> None:
    """A fan that is too small, for 6 m3/h of hydrogen in a cold room of 120 m3 over 4 h."""
    found = aired({"room": ROOM | {"fan": "39.6 m3/h"}, "site.room_temperature": "5 degC"}, gas=(6.0,) * 16)
    share = 6.0 / 45.6 * (1.0 - math.exp(-45.6 * 4.0 / 120.0))

    assert found.peak_share == pytest.approx(share)
    assert found.checks == tuple(
        each._replace(value=f"{100 * share:.2f} %") if each.name == "simulated hydrogen" else each
        for each in SHORT_OF_AIR
    )


# --- what the simulated gas makes of it ---


def test_highest_share_over_time() -> None:
    """Of all replications, with the air that there is and with that of the rule."""
    scenario = batsim.changed(site(), {"room": ROOM | {"fan": "100 m3/h"}})
    gases = [np.array([0.0, 1.0, 1.0, 0.2]), np.array([0.5, 0.0, 2.0, 0.0])]
    runs: Any = None
    areas = [{"": AreaEvidence(False, gas, {}, {}, 0.0)} for gas in gases]
    taken = tuple(RunEvidence({}, np.zeros(4), 5.0, 40.0, 5.0, np.zeros(0), {}, each) for each in areas)
    (found,) = ventilation(scenario, "hoist", Evidence("hoist", runs, taken))

    assert found.simulated_gas_m3_per_h == 2.0
    for share, air in ((found.peak_share, 100.0), (found.peak_share_at_rule, 49.5)):
        assert share == pytest.approx(max(float(np.max(hydrogen_over_time(gas, 0.25, air, 120.0))) for gas in gases))


def test_a_fan_that_fails() -> None:
    """Without air hydrogen fills the room: V/G ln 1/(1 - c) hours to 1 % and to 4 %, at the highest gassing."""
    found = aired({"room": ROOM | {"fan": "60 m3/h"}}, gas=(0.5, 2.0, 1.0))

    assert found.hours_to_limit == pytest.approx(60.0 * math.log(1.0 / 0.99))
    assert found.hours_to_lower == pytest.approx(60.0 * math.log(1.0 / 0.96))
    quiet = aired({"room": ROOM | {"fan": "60 m3/h"}}, gas=(0.0, 0.0))
    assert (quiet.hours_to_limit, quiet.hours_to_lower, quiet.peak_share) == (math.inf, math.inf, 0.0)
    unknown = aired({}, gas=(2.0,))
    assert (unknown.hours_to_limit, unknown.hours_to_lower, unknown.peak_share) == (None, None, None)


def test_in_the_truck_gas_spreads_over_the_hall() -> None:
    """Volume, air and questions are the building's."""
    surveyed = batsim.read(FILE)
    found = aired(of=surveyed, layout="in truck", gas=(1.0,))

    assert found.space_name == "building"
    assert found.hours_to_limit == pytest.approx(50 * 20 * 8 * 0.8 * math.log(1.0 / 0.99))
    assert found.air_m3_per_h == pytest.approx(3e4 / 28.0)
    assert {each.subject for each in found.checks} == {"building"}
    assert aired(of=surveyed, layout="stands").space_name == "battery room"


CASES = """\
question: gas current off the rule
site: {name: gas (invented), room_temperature: 20 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: g, count: COUNT, class: CLASS, shifts: [day], battery: b, duty: {mean_power: POWER}, to_room: {distance: 100 m, speed: 8 km/h}}
batteries:
  b: BATTERY
chargers:
  strong: {profile: IUIa, chemistry: [vented_lead_acid], CURRENTS, charge_factor: 1.15, efficiency: 90 %, power_factor: 0.9}
layouts:
  truck: {handling: in_truck, chargers: COUNT x strong}
building: {length: 20 m, width: 12 m, height: 4 m}
simulation: {replications: 2, length: 2 weeks, warm_up: 1 week, seed: 1}
"""  # noqa: E501 - as the cases were reported
ABOVE_THE_RULE = {
    "COUNT": "4", "CLASS": "counterbalance_2_0t_48v", "POWER": "3.2 kW",
    "BATTERY": "{from: vented_lead_acid_48v, equalising: "
    "{every: 7 days, length: 8 h, current: 12 A per 100 Ah, days: Fri}}",
    "CURRENTS": "main_current: 20 A per 100 Ah, end_current: 12 A per 100 Ah",
}  # fmt: skip
IN_AMPERES = {
    "COUNT": "12", "CLASS": "order_picker_24v", "POWER": "1.1 kW", "BATTERY": "{from: vented_lead_acid_24v}",
    "CURRENTS": "main_current: 120 A, end_current: 40 A",
}  # fmt: skip


@pytest.mark.parametrize(
    ("case", "flow", "basis"),
    [
        # 4 x 0.055 x 24 x 90 A, where the table has 45 A; 12 x 0.055 x 12 x 40 A, where it has 27.9 A: 221 m3/h.
        (ABOVE_THE_RULE, 475.2, "12 A per 100 Ah, the current of the charger's end stage"),
        (IN_AMPERES, 316.8, "40 A, the current of the charger's end stage"),
    ],
)
def test_end_and_equalising_currents_off_the_rule(case: dict[str, str], flow: float, basis: str) -> None:
    """Air, fan and the simulated hydrogen agree; with the gas of the table they did not."""
    text = CASES
    for word, value in case.items():
        text = text.replace(word, value)
    scenario = batsim.read_scenario_text(text, "gas.yaml")
    plan = batsim.plan_layouts(scenario, batsim.Settings(workers=1)).layouts["truck"]
    air = plan.ventilation

    assert air.flow_m3_per_h == pytest.approx(flow)
    assert air.gassing[0].basis.startswith(basis)
    assert check_of(air, "simulated gas against what is planned for").verdict == OK
    assert any(line.size == f"at least {flow:.0f} m³/h" for line in plan.equipment)
    assert air.peak_share_at_rule is not None
    assert air.peak_share_at_rule < 0.01


# --- gas over time ---

CHARGES = """\
site: {name: Gas (invented), room_temperature: 25 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: trucks, count: 2, shifts: [day], battery: lead, duty: {mean_power: 2 kW}, exchange_at: 30 %}]
batteries: {lead: {from: vented_lead_acid, cells: 12, capacity: 400 Ah at 5 h, cool_down: 1 h}}
layouts:
  room: {handling: portable_stands, batteries: 6, chargers: 4 x CHARGER}
  in truck: {handling: in_truck, chargers: 2 x CHARGER}
simulation: {replications: 1, length: 1 week, warm_up: 0 weeks, seed: 2}
"""


def simulated(
    charger: str, layout: str, minutes: float = 10_080.0, warm_up: float = 0.0, seed: int = 2
) -> tuple[Scenario, Record]:
    """A run of the small room."""
    text = CHARGES.replace("CHARGER", charger)
    if charger.startswith("gel"):
        text = text.replace("vented_lead_acid", "valve_regulated")
    if charger.startswith("lithium"):
        text = text.replace("vented_lead_acid", "lithium_ion")
    scenario = batsim.read_scenario_text(text, "gas.yaml")
    return scenario, record_of(scenario, layout, seed=seed, length_min=minutes, warm_up_min=warm_up)


@pytest.mark.parametrize("layout", ["room", "in truck"])
@pytest.mark.parametrize(
    "charger", ["electronic_iuia", "line_frequency_w", "line_frequency_wowa", "gel_iu", "gel_iui", "fast_iuia"]
)
def test_the_whole_course_is_the_hydrogen_measure(charger: str, layout: str) -> None:
    """Where no charge crosses the ends of the measured time: from Monday to Sunday night, all are over."""
    _, record = simulated(charger, layout)
    measured = Measured(record)
    charges = measured.columns("charges")
    assert np.all(np.isfinite(charges["end_min"]))
    course = gas_course(record)

    assert course.size == 10_080 // 15
    assert np.min(course) >= 0.0
    per_week = gas_measures(measured)["hydrogen_m3_per_day"] * measured.working_days
    assert per_week > 0.0
    assert 0.25 * float(np.sum(course)) == pytest.approx(per_week, rel=1e-9)


def test_no_gas_from_lithium() -> None:
    """Not a trace of it."""
    _, record = simulated("lithium_cc_cv", "room")

    assert np.array_equal(gas_course(record), np.zeros(672))


def test_a_run_without_a_charge() -> None:
    """An hour before the first shift."""
    _, record = simulated("electronic_iuia", "room", minutes=60.0)

    assert np.array_equal(gas_course(record), np.zeros(4))


@pytest.mark.parametrize("warm_up", [600.0, 1000.0, 2000.0, 3333.0])
def test_a_warm_up_is_cut_off(warm_up: float) -> None:
    """The rest of the course is as without it, on quarters that begin where the measured time does."""
    _, whole = simulated("electronic_iuia", "room", 10_080.0)
    _, cut = simulated("electronic_iuia", "room", 10_080.0 - warm_up, warm_up)
    found = gas_course(cut)
    running = np.concatenate([[0.0], np.cumsum(gas_course(whole))])
    until = np.interp(warm_up / 15.0 + np.arange(found.size + 1), np.arange(running.size), running)

    assert np.min(found) >= 0.0
    if warm_up % 15.0 == 0.0:
        assert found == pytest.approx(gas_course(whole)[round(warm_up / 15.0) :], abs=1e-9)
    assert float(np.sum(found)) == pytest.approx(float(until[-1] - until[0]), rel=0.02, abs=1e-6)


def test_one_charge_by_hand() -> None:
    """80 A for an hour make no gas, 20 A for 2 h half, and 20 A for an hour what the battery no longer takes.

    It stores 80, 20 and 12 Ah of 400, the last along 1 - exp(-t); so 20 and 8 Ah make gas.
    """
    _, run = simulated("electronic_iuia", "room", minutes=300.0)
    record = Record(run.facts)
    charge = {"battery": 1, "queue": 0, "charger": 0, "bay": 0, "discharged_min": 0, "connected_min": 0,
              "start_min": 10, "end_min": 250, "cooled_min": 250, "soc_from_share": 0.2, "soc_to_share": 0.48,
              "charged_ah": 140.0, "gas_ah": 28.0}  # fmt: skip
    write_row(record, "charges", 0.0, **charge)
    for start, hours, amps, soc_from, soc_to, acceptance in (
        (10.0, 1.0, 80.0, 0.2, 0.4, 0.0),
        (70.0, 2.0, 20.0, 0.4, 0.45, 0.0),
        (190.0, 1.0, 20.0, 0.45, 0.48, 1.0),
    ):
        row = {"battery": 1.0, "start_min": start, "hours": hours, "start_a": amps, "volts_per_cell": 2.4,
               "soc_from_share": soc_from, "soc_to_share": soc_to, "acceptance_per_h": acceptance}  # fmt: skip
        write_row(record, "charge_phases", 0.0, **row)

    def gas_ah(minute: float) -> float:
        second, third = min(max(minute - 70.0, 0.0), 120.0) / 60.0, min(max(minute - 190.0, 0.0), 60.0) / 60.0
        return 10.0 * second + 20.0 * third - 12.0 * (1.0 - math.exp(-third)) / (1.0 - math.exp(-1.0))

    quarters = np.diff([gas_ah(15.0 * number) for number in range(21)])
    cell_m3 = hydrogen_l(1.0, 12, 25.0, 101_325.0) / 1000.0
    assert gas_ah(300.0) == pytest.approx(28.0)
    assert gas_course(record) == pytest.approx(4.0 * cell_m3 * quarters, rel=1e-9, abs=1e-12)
    assert gas_course(record)[:4].tolist() == [0.0] * 4
