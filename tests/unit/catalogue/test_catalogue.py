"""The catalogue: every figure has a unit, a range, a source and a status, and every name leads somewhere."""

import csv
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from batsim import catalogue
from batsim.catalogue import FIGURES, document, handling_names, sources
from batsim.errors import FigureError
from batsim.verification.verify import cases_in

UNITS = {
    "EUR",
    "EUR/kWh",
    "EUR/h",
    "EUR/kW",
    "EUR/kg",
    "EUR/m2",
    "years",
    "s",
    "min",
    "h",
    "m",
    "mm",
    "in",
    "deg",
    "m/s",
    "m/min",
    "km/h",
    "kg",
    "N",
    "Ah",
    "V",
    "A",
    "A per 100 Ah",
    "kW",
    "kWh",
    "degC",
    "K",
    "%",
    "Ohm Ah",
    "MOhm",
    "charges",
    "1",
    "1/K",
    "1/V",
    "V/K",
    "J/(kg K)",
    "W/(m2 K)",
    "Wh/kg",
    "kg/l",
    "g/Ah",
    "m3/(h A)",
    "m3/h per m2",
    "cm2/(m3/h)",
    "days",
    "week",
    "weeks",
}
STATUSES = {"published", "common practice", "from memory", "placeholder"}
KINDS = {"standard", "paper", "book", "report", "regulation", "program", "common practice", "worked out", "memory"}
DOCUMENTS = ("battery_types", "charger_types", "truck_classes")
CHEMISTRIES = ("vented_lead_acid", "valve_regulated", "lithium_ion")
# Asked for in code only, by these beginnings.
FORBIDDEN = ("™", "®", "©", "(TM)", "(R)", "http", "www.", "Inc.", "GmbH", "Ltd")
HERE = Path(catalogue.__file__).parent


def load(name: str) -> Any:
    return yaml.safe_load(document(name).read_text(encoding="utf-8"))


def references(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        if set(node) in ({"figure"}, {"figure_range"}):
            yield from node.values()
        else:
            for value in node.values():
                yield from references(value)
    elif isinstance(node, list):
        for value in node:
            yield from references(value)


def every_document() -> list[str]:
    return [*DOCUMENTS, *(f"handling/{name}" for name in handling_names())]


@pytest.mark.parametrize("each", FIGURES.values(), ids=lambda each: each.name)
def test_a_figure_is_complete_and_in_order(each):
    """A figure has a known unit and status, an existing source, and lies inside its range."""
    assert each.low <= each.value <= each.high
    assert each.unit in UNITS
    assert each.status in STATUSES
    assert each.where
    assert each.source in sources()


@pytest.mark.parametrize("each", FIGURES.values(), ids=lambda each: each.name)
def test_status_and_kind_of_source_agree(each):
    """Only a readable source can have published a value; memory is called memory."""
    kind = sources()[each.source].kind
    if each.status == "published":
        assert kind in {"standard", "paper", "book", "report", "regulation"}
    if kind == "memory":
        assert each.status in {"from memory", "placeholder"}


def test_no_figure_is_named_twice():
    names = [each.name for each in FIGURES.values()]
    assert len(names) == len(set(names))


def test_every_source_is_of_a_known_kind_and_used():
    assert {each.kind for each in sources().values()} <= KINDS
    checked = {check.source for case in cases_in(full=True) for check in case.checks}
    assert set(sources()) == {each.source for each in FIGURES.values()} | checked


def test_sources_are_in_order_and_named_once():
    """So that one is found, and a new one has its place."""
    with (HERE / "sources.csv").open(newline="", encoding="utf-8") as lines:
        keys = [row["key"] for row in csv.DictReader(lines)]
    assert keys == sorted(set(keys))
    assert all(each.citation for each in sources().values())


def test_nothing_rests_on_one_user_one_maker_or_a_seller():
    """Such figures come from a general source, or are placeholders that claim none."""
    things = "user|maker|customer|seller|centre|site|page|study|data sheet"
    single = re.compile(rf"\b(?:one|a) (?:\w+ )?(?:{things})\b|\bsellers?\b|\bpages of\b")
    texts = [f"{each.name}: {each.where}; {each.note}" for each in FIGURES.values()]
    texts += [source.citation for source in sources().values()]

    assert [text for text in texts if single.search(text)] == []


def test_common_practice_says_so():
    assert sources()["common-practice"].citation == "common practice, no source"


@pytest.mark.parametrize("name", every_document())
def test_every_figure_that_a_document_names_exists(name):
    wanted = list(references(load(name)))
    assert wanted
    for each in wanted:
        assert FIGURES[each].name == each


@pytest.mark.parametrize(
    ("name", "low", "typical", "high"),
    [
        ("side_rollers", 3.0, 4.5, 7.0),
        ("portable_stands", 8.0, 12.0, 20.0),
        ("overhead_hoist", 10.0, 12.0, 20.0),
    ],
)
def test_steps_with_the_truck_waiting_add_up(name, low, typical, high):
    """The steps from truck parked to truck ready to leave come to the proposed totals."""
    steps = [step for step in load(f"handling/{name}")["steps"] if step.get("truck") != "gone"]
    found = [FIGURES[step["time"]["figure_range"]] for step in steps]

    assert {each.unit for each in found} == {"min"}
    assert sum(each.low for each in found) == pytest.approx(low, abs=0.01)
    assert sum(each.value for each in found) == pytest.approx(typical, abs=0.01)
    assert sum(each.high for each in found) == pytest.approx(high, abs=0.01)


@pytest.mark.parametrize("name", ["side_rollers", "portable_stands", "overhead_hoist"])
def test_an_exchange_has_a_sensible_order(name):
    """The driver parks first and drives off last; what is done afterwards needs no driver and is last."""
    arrangement = load(f"handling/{name}")
    steps = arrangement["steps"]
    gone = [step.get("truck") == "gone" for step in steps]
    waiting = [step for step in steps if step.get("truck") != "gone"]

    assert 5 <= len(steps) <= 8
    assert gone == sorted(gone)
    assert waiting[0]["by"] == waiting[-1]["by"] == "driver"
    assert all("driver" not in step["by"] for step in steps if step.get("truck") == "gone")
    assert {step["device"] for step in steps if "device" in step} == set(arrangement["devices"])
    assert arrangement["cautions"][-1].startswith("Local codes")


def test_charging_in_the_truck_has_no_exchange():
    arrangement = load("handling/in_truck")
    assert arrangement["bay"] == "truck"
    assert arrangement["empty_bays"] == 0
    assert arrangement["steps"] == []
    assert arrangement["devices"] == {}
    assert {"plug_time", "unplug_time"} <= set(arrangement)


def test_the_four_arrangements_are_there():
    assert handling_names() == ("in_truck", "overhead_hoist", "portable_stands", "side_rollers")


@pytest.mark.parametrize("name", ["battery_types", "charger_types"])
def test_types_have_known_chemistries(name):
    for each in load(name).values():
        chemistry = each["chemistry"]
        assert set(chemistry if isinstance(chemistry, list) else [chemistry]) <= set(CHEMISTRIES)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_a_chemistry_has_all_its_figures(chemistry):
    for field in (
        "peukert",
        "empty_v",
        "slope_v",
        "resistance",
        "rated_temperature",
        "warm_per_k",
        "knee_temperature",
        "cold_per_k",
        "discharge_to",
        "cool_down",
        "main_from_v",
        "absorption_v",
        "finish_v",
        "mass_energy",
        "tray_density",
        "specific_heat",
        "charge_from",
        "charge_below",
        "charge_end_below",
        "use_below",
        "storing_v",
        "gas_current",
        "vented_share",
        "life_cycles",
        "life_depth",
        "life_beta",
        "life_deep_beta",
        "life_temperature",
        "life_halving",
        "life_floor",
        "life_calendar",
        "part_charges_free",
        "part_charge_surcharge",
        "capacity_lost",
    ):
        assert FIGURES[f"battery.{chemistry}.{field}"]
    assert FIGURES[f"battery.{chemistry}.{'tau_cv' if chemistry == 'lithium_ion' else 'tau'}"].unit == "h"


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_temperatures_of_a_chemistry_are_in_order(chemistry):
    """A charge begins in a band, ends no cooler than it may begin, and its limits of use lie above the rating."""
    begin, below, end, use, rated = (
        FIGURES[f"battery.{chemistry}.{each}"].value
        for each in ("charge_from", "charge_below", "charge_end_below", "use_below", "rated_temperature")
    )
    assert begin < rated < below <= end
    assert rated < use <= end


@pytest.mark.parametrize(("charge_share", "gravity"), [(1.0, 1.280), (0.75, 1.250), (0.5, 1.220), (0.25, 1.160)])
def test_rest_voltage_follows_the_specific_gravity_table(charge_share, gravity):
    """TM 10-6140-200-14, table 1-1, rest voltage = specific gravity + 0.84: within 0.01 V, as noted."""
    line_v = (
        FIGURES["battery.vented_lead_acid.empty_v"].value
        + FIGURES["battery.vented_lead_acid.slope_v"].value * charge_share
    )
    assert line_v == pytest.approx(gravity + 0.84, abs=0.0101)


def test_the_falling_line_passes_through_its_published_points():
    """DIN 41774: 16 A at 2.0 V, 8 A at 2.40 V, 4 A at 2.65 V; read at 2.10 V the line gives 14 A."""
    nominal = FIGURES["charger.line_frequency_w.main_current"].value

    assert nominal == 16.0
    assert nominal * FIGURES["charging.w_line.start_share"].value / 100 == 14.0
    assert nominal * FIGURES["charging.w_line.gassing_share"].value / 100 == 8.0
    assert FIGURES["charger.line_frequency_w.end_current"].value == 4.0


@pytest.mark.parametrize(("cells", "minutes"), [(24, 15.0), (40, 23.0)])
def test_watering_by_hand(cells, minutes):
    base, per_cell = FIGURES["watering.by_hand_base"], FIGURES["watering.by_hand_per_cell"]
    assert base.value + per_cell.value * cells == minutes


def test_cold_capacity_falls_all_the_way():
    """The two slopes at 0 degC and the table below it make one falling line, lead-acid and lithium."""
    for chemistry, table in (
        ("vented_lead_acid", "battery"),
        ("valve_regulated", "battery"),
        ("lithium_ion", "battery.lithium_ion"),
    ):
        warm, knee, cold, rated = (
            FIGURES[f"battery.{chemistry}.{each}"].value
            for each in ("warm_per_k", "knee_temperature", "cold_per_k", "rated_temperature")
        )
        at_zero = 100.0 * (1.0 - warm * (rated - knee) - cold * knee)
        at_minus_10 = FIGURES[f"{table}.cold_table.minus_10"].value
        assert at_zero > at_minus_10 > FIGURES[f"{table}.cold_table.minus_18"].value


def test_text_is_what_a_scenario_would_say():
    cool_down = FIGURES["battery.vented_lead_acid.cool_down"]
    assert (cool_down.text, cool_down.low_text, cool_down.high_text) == ("8 h", "5.5 h", "10.8 h")
    assert cool_down.has_range
    assert FIGURES["charger.electronic_iuia.main_current"].text == "18 A per 100 Ah"
    assert FIGURES["battery_type.vented_lead_acid_48v.mass"].text == "1180 kg"
    assert FIGURES["battery.vented_lead_acid.watering_every"].text == "7 charges"


def test_a_plain_number_has_no_unit_in_its_text():
    assert FIGURES["simulation.replications"].text == "20"
    assert FIGURES["battery.vented_lead_acid.peukert"].text == "1.2"
    assert not FIGURES["simulation.replications"].has_range


def test_an_unknown_figure_is_answered_with_the_nearest():
    with pytest.raises(FigureError) as error:
        FIGURES["battery.vented_lead_acid.cooldown"]
    assert str(error.value) == (
        "figures.csv: no figure 'battery.vented_lead_acid.cooldown'; did you mean 'battery.vented_lead_acid.cool_down'?"
    )


def test_an_unknown_document_is_answered_with_the_nearest():
    with pytest.raises(FigureError) as error:
        document("handling/side_roller")
    assert str(error.value) == ("catalogue: no document 'handling/side_roller'; did you mean 'handling/side_rollers'?")


def test_a_path_outside_the_catalogue_is_not_a_document():
    with pytest.raises(FigureError, match=r"^catalogue: no document '\.\./pyproject'; did you mean '.+'\?$"):
        document("../pyproject")


@pytest.mark.parametrize("path", sorted([*HERE.rglob("*.csv"), *HERE.rglob("*.yaml")]), ids=lambda p: p.name)
def test_no_trade_name_or_address_is_in_the_data(path):
    text = path.read_text(encoding="utf-8")
    assert [word for word in FORBIDDEN if word in text] == []


@pytest.mark.parametrize("key", ["every", "length", "current"])
@pytest.mark.parametrize("chemistry", ["vented_lead_acid", "valve_regulated"])
def test_equalising_is_at_the_middle_of_its_range(chemistry: str, key: str) -> None:
    """Makers differ: neither end is the default, and the row says where the range comes from."""
    figure = FIGURES[f"battery.{chemistry}.equalise_{key}"]

    assert figure.value == pytest.approx((figure.low + figure.high) / 2.0)
    assert figure.low < figure.high
    assert "middle" in figure.where
    assert figure.source in sources()
