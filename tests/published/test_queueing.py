"""Queueing mode against exact steady states: trucks and stations, spares and chargers, the whole loop."""

import csv
from pathlib import Path

import pytest

ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling, appendix on queueing theory"
INTERFERENCE = "example on machine interference; table of M/M/c/5/5 results, c = "
TAHA = "Taha, H. A., Operations Research: An Introduction (from memory)"
SERVICING = "machine servicing model (M/M/R):(GD/K/K), 22 machines; productivity table, R = "
PECK = (
    "Peck, L. G. & Hazelwood, R. N., Finite Queuing Tables, Wiley, 1958 (as reprinted in an operations-management text)"
)
PALM = (
    "Palm, C. (1947); Ashcroft, H. (1950) J. R. Stat. Soc. B 12, 145-151; Takács, L., Introduction to the Theory of "
    "Queues (1962) (from memory)"
)
REPAIR = "machine-interference formula for general repair time, one repairer; trucks: "
RENEWAL = "Ross, S. M., Introduction to Probability Models, alternating renewal process (from memory)"
GROSS = "Gross, D. & Harris, C. M., Fundamentals of Queueing Theory (from memory)"
WITH_SPARES = "finite-source queue with spares (M machines, Y spares, c repairers): "
BALANCE = "balance of a 3-dimensional Markov chain (trucks at station, ready batteries, batteries in charge queue)"

with (Path(__file__).parent / "queueing.csv").open(encoding="utf-8") as rows:
    EXACT = list(csv.DictReader(line for line in rows if not line.startswith("#")))


def _expected(case, *quantities, leave_out=()):
    """Exact quantities of a case: those named, or all but those left out."""
    found = {row["quantity"]: float(row["expected"]) for row in EXACT if row["case"] == case}
    return {name: value for name, value in found.items() if name in (quantities or found) and name not in leave_out}


def _check(case, source, where, file, layout, weeks, *, slow=False):
    status = (
        pytest.mark.worked_out(where=where) if source is None else pytest.mark.published(source=source, where=where)
    )
    marks = [status, *[pytest.mark.slow] * slow]
    return pytest.param(case, file, layout, weeks, id=case, marks=marks)


# Trucks and exchange stations, batteries plentiful

RARE = {
    # Few trucks wait, so that the mean wait is known to 2 % only after long runs.
    "five trucks and three stations": ("wait_h", "trucks_waiting"),
    "22 trucks and three stations": ("wait_h", "trucks_waiting"),
    "22 trucks and four stations": ("wait_h", "trucks_waiting"),
    "30 trucks and three stations": ("wait_min", "trucks_waiting"),
    "20 trucks and a constant exchange": ("wait_min", "trucks_waiting"),
    "four charging points": ("wait_h", "trucks_waiting"),
    "five trucks and one spare": ("wait_h",),
}


@pytest.mark.parametrize(
    ("case_name", "file", "layout", "weeks"),
    [
        _check("five trucks and one station", ROSSETTI, f"{INTERFERENCE}1", "five_trucks", "one", 22),
        _check("five trucks and three stations", ROSSETTI, f"{INTERFERENCE}3", "five_trucks", "three", 23),
        _check("22 trucks and one station", TAHA, f"{SERVICING}1", "machine_servicing", "one", 0.5),
        _check("22 trucks and three stations", TAHA, f"{SERVICING}3", "machine_servicing", "three", 1.1, slow=True),
        _check("22 trucks and four stations", TAHA, f"{SERVICING}4", "machine_servicing", "four", 3, slow=True),
        _check("30 trucks and three stations", None, "30 trucks, 3 stations, M/M/c//N", "thirty_trucks", "one", 2),
        _check("five trucks and a constant exchange", PALM, f"{REPAIR}5", "five_trucks", "one constant", 4),
        _check("20 trucks and a constant exchange", PALM, f"{REPAIR}20", "twenty_trucks", "one", 5, slow=True),
    ],
)
def test_trucks_and_stations(case, steady, case_name, file, layout, weeks):
    """Five to thirty trucks come to one to four stations and always find a ready battery."""
    steady(case_name, case(file), layout, weeks, _expected(case_name, leave_out=RARE.get(case_name, ())))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case_name", "file", "layout", "weeks"),
    [
        _check("five trucks and three stations", ROSSETTI, f"{INTERFERENCE}3", "five_trucks", "three", 550),
        _check("22 trucks and three stations", TAHA, f"{SERVICING}3", "machine_servicing", "three", 12),
        _check("22 trucks and four stations", TAHA, f"{SERVICING}4", "machine_servicing", "four", 42),
        _check("30 trucks and three stations", None, "30 trucks, 3 stations, M/M/c//N", "thirty_trucks", "one", 240),
        _check("20 trucks and a constant exchange", PALM, f"{REPAIR}20", "twenty_trucks", "one", 11),
        _check(
            "four charging points",
            None,
            "M/M/4//12, exchange station replaced by charging point",
            "four_charging_points",
            "one",
            66,
        ),
        _check("five trucks and one spare", GROSS, f"{WITH_SPARES}5, 1, 2", "one_spare", "one", 120),
    ],
)
def test_rare_waits(case, steady, case_name, file, layout, weeks):
    """The waits that the check above leaves out."""
    steady(case_name, case(file), layout, weeks, _expected(case_name, *RARE[case_name]))


@pytest.mark.published(source=PECK, where="N = 5 section, 13 rows; D is the share that waits, F the efficiency")
@pytest.mark.parametrize(
    ("service_factor", "stations", "waited_share", "efficiency_share", "weeks"),
    [
        (0.012, 1, 0.04797878, 0.99940339, 15),
        pytest.param(0.025, 1, 0.09980354, 0.99731567, 33, marks=pytest.mark.slow),
        pytest.param(0.05, 1, 0.198365, 0.9885787, 27, marks=pytest.mark.slow),
        (0.06, 2, 0.0203341, 0.99935153, 9),
        pytest.param(0.06, 1, 0.23713611, 0.98319517, 65, marks=pytest.mark.slow),
        pytest.param(0.07, 2, 0.02739524, 0.99897025, 20, marks=pytest.mark.slow),
        pytest.param(0.07, 1, 0.27539623, 0.97667552, 60, marks=pytest.mark.slow),
        pytest.param(0.08, 2, 0.03541462, 0.99846303, 20, marks=pytest.mark.slow),
        pytest.param(0.08, 1, 0.31305279, 0.96900029, 60, marks=pytest.mark.slow),
        pytest.param(0.09, 2, 0.04435816, 0.99781214, 25, marks=pytest.mark.slow),
        pytest.param(0.09, 1, 0.35001423, 0.96016556, 60, marks=pytest.mark.slow),
        (0.1, 2, 0.05419162, 0.99700004, 17),
        (0.1, 1, 0.38619141, 0.95018401, 25),
    ],
)
def test_finite_queuing_table(case, steady, service_factor, stations, waited_share, efficiency_share, weeks):
    """Five trucks whose run and exchange add up to 1000 min; efficiency is 1 less the share of trucks in line."""
    changes = {
        "layouts.one.stations": stations,
        "layouts.one.exchange_time.mean": f"{1000.0 * service_factor:g} min",
        "trucks[0].run_time.mean": f"{1000.0 * (1.0 - service_factor):g} min",
        "simulation.seed": int(1000.0 * service_factor) + stations,
    }
    expected = {"waited_share": waited_share, "not_waiting_share": efficiency_share}
    steady(f"X = {service_factor}, M = {stations}", case("finite_queuing_table", changes), "one", weeks, expected)


# Charging in the truck


@pytest.mark.worked_out(where="M/M/4//12, exchange station replaced by charging point")
def test_four_charging_points(case, steady):
    """Twelve trucks share four charging points."""
    steady(
        "four charging points",
        case("four_charging_points"),
        "one",
        10,
        _expected("four charging points", leave_out=RARE["four charging points"]),
    )


@pytest.mark.published(source=RENEWAL, where="renewal reward")
@pytest.mark.parametrize(
    ("run_time", "charge_time", "weeks"),
    [
        pytest.param(
            {"mean": "6 h", "law": "exponential"}, {"mean": "2 h", "law": "exponential"}, 1.2, id="exponential"
        ),
        pytest.param("6 h", "2 h", 6, id="constant"),
        pytest.param(
            {"low": "3 h", "high": "9 h"},
            {"mean": "2 h", "law": "hyperexponential", "cv": 2},
            1.2,
            id="uniform and hyperexponential",
        ),
    ],
)
def test_a_charging_point_for_each_truck(case, steady, run_time, charge_time, weeks):
    """Availability is run / (run + charge), whatever the laws."""
    scenario = case("charging_point_each", {"trucks[0].run_time": run_time, "batteries.plain.charge_time": charge_time})
    steady("a charging point each", scenario, "one", weeks, _expected("a charging point each"))


# Spare batteries and chargers


@pytest.mark.parametrize(
    ("case_name", "file", "layout", "weeks"),
    [
        _check("five trucks and one spare", GROSS, f"{WITH_SPARES}5, 1, 2", "one_spare", "one", 40),
        _check("ten trucks and five spares", GROSS, f"{WITH_SPARES}10, 5, 6", "five_spares", "one", 9, slow=True),
        _check("twelve trucks and six spares", GROSS, f"{WITH_SPARES}12, 6, 18", "six_spares", "one", 2.5),
        _check(
            "20 trucks and 50 spares",
            GROSS,
            f"{WITH_SPARES}20, 50, 70",
            "charger_for_every_battery",
            "70 batteries",
            30,
            slow=True,
        ),
    ],
)
def test_spares_and_chargers(case, steady, case_name, file, layout, weeks):
    """Share of time without a ready battery and share of trucks that find none are two things."""
    steady(case_name, case(file), layout, weeks, _expected(case_name, leave_out=RARE.get(case_name, ())))


@pytest.mark.slow
@pytest.mark.published(source=GROSS, where=f"{WITH_SPARES}20, 40, 60; the same for every law of the charge time")
@pytest.mark.parametrize(
    ("charge_time", "weeks"),
    [
        pytest.param({"mean": "16 h", "law": "exponential"}, 12, id="exponential"),
        pytest.param("16 h", 9, id="constant"),
        pytest.param({"low": "8 h", "high": "24 h"}, 11, id="uniform"),
        pytest.param({"mean": "16 h", "law": "hyperexponential", "cv": 2}, 12, id="hyperexponential"),
    ],
)
def test_three_batteries_per_truck(case, steady, charge_time, weeks):
    """With a charger for every battery only the mean charge time counts; 37 % of trucks find none ready."""
    scenario = case("charger_for_every_battery", {"batteries.plain.charge_time": charge_time})
    steady("20 trucks and 40 spares", scenario, "60 batteries", weeks, _expected("20 trucks and 40 spares"))


# The whole loop: stations, spares, chargers, cool-down


@pytest.mark.parametrize(
    ("case_name", "file", "layout", "weeks"),
    [
        _check("loop of five trucks", None, BALANCE, "loop_of_five", "one", 16),
        _check("loop of 20 trucks", None, BALANCE, "loop_of_twenty", "one", 2.7),
    ],
)
def test_whole_loop(case, steady, case_name, file, layout, weeks):
    """An exchange starts when a station and a ready battery are free; the discharged battery is free when it ends."""
    steady(case_name, case(file), layout, weeks, _expected(case_name))
