"""Queueing mode against exact steady states: trucks and stations, spares and chargers, the whole loop."""

import pytest

ROSSETTI = "Rossetti, M. D., open textbook on simulation modelling, appendix on queueing theory"
TAHA = "Taha, H. A., Operations Research: An Introduction (from memory)"
PECK = "Peck, L. G. & Hazelwood, R. N., Finite Queuing Tables, Wiley, 1958 (as reprinted in an operations-management text)"
PALM = (
    "Palm, C. (1947); Ashcroft, H. (1950) J. R. Stat. Soc. B 12, 145-151; Takács, L., Introduction to the Theory of "
    "Queues (1962) (from memory)"
)
RENEWAL = "Alternating renewal process; any renewal-theory text (from memory)"
GROSS = "Gross, D. & Harris, C. M., Fundamentals of Queueing Theory (from memory)"
WORKED_OUT = "worked out here"

REPAIR = "machine-interference formula for general repair time, one repairer"
SERVICING = "machine servicing model (M/M/R):(GD/K/K), 22 machines, R = "
WITH_SPARES = "finite-source queue with spares (M machines, Y spares, c repairers): "
BALANCE = "global balance of a 3-dimensional Markov chain (trucks at station, ready batteries, batteries in charge queue)"

EXPONENTIAL_16_H = {"mean": "16 h", "law": "exponential"}


def _check(name, source, where, *arguments, marks=()):
    return pytest.param(*arguments, id=name, marks=[pytest.mark.published(source=source, where=where), *marks])


# Trucks and exchange stations, batteries plentiful


@pytest.mark.parametrize(
    ("file", "layout", "weeks", "expected"),
    [
        _check("A01", ROSSETTI, "example on machine interference; table of M/M/c/5/5 results, c = 1", "a01", "one", 100, {
            "availability_share": 0.4651344416, "trucks_down": 2.674327792, "trucks_waiting": 1.744058909,
            "exchanges_per_h": 0.2325672208, "down_h": 11.49916047, "wait_h": 7.49916047,
            "station_use_share": 0.9302688832, "waited_share": 0.850083953,
        }),
        _check("A03", ROSSETTI, "example on machine interference; table of M/M/c/5/5 results, c = 3", "a01", "three", 40, {
            "availability_share": 0.7086019043, "trucks_down": 1.456990479, "exchanges_per_h": 0.3543009521,
            "down_h": 4.112296255, "station_use_share": 0.4724012695, "waited_share": 0.0753566976,
        }),
        _check("A06a", TAHA, SERVICING + "1; productivity table", "a06", "one", 4, {
            "availability_share": 0.4543618031, "trucks_down": 12.00404033, "trucks_waiting": 11.00444437,
            "exchanges_per_h": 4.997979834, "down_h": 2.401778465, "wait_h": 2.201778465,
            "station_use_share": 0.9995959668, "waited_share": 0.9991107677,
        }),
        _check("A06c", TAHA, SERVICING + "3; productivity table", "a06", "three", 2, {
            "availability_share": 0.8879054405, "trucks_down": 2.466080309, "exchanges_per_h": 9.766959846,
            "down_h": 0.2524921109, "station_use_share": 0.6511306564, "waited_share": 0.3687499006,
        }),
        _check("A06d", TAHA, SERVICING + "4; productivity table", "a06", "four", 2, {
            "availability_share": 0.9045365072, "trucks_down": 2.100196841, "exchanges_per_h": 9.94990158,
            "down_h": 0.2110771472, "station_use_share": 0.497495079, "waited_share": 0.1342083805,
        }),
        _check("A14", WORKED_OUT, "30 trucks, 3 stations, M/M/c//N", "a14", "one", 8, {
            "availability_share": 0.9735714312, "trucks_down": 0.7928570626, "exchanges_per_min": 0.06490476208,
            "down_min": 12.21569939, "station_use_share": 0.2596190483, "waited_share": 0.04173821058,
        }),
        _check("A16", PALM, REPAIR + ": 5 trucks", "a01", "one constant", 30, {
            "availability_share": 0.4862680765, "trucks_down": 2.568659617, "trucks_waiting": 1.596123464,
            "exchanges_per_h": 0.2431340383, "down_h": 10.5647882, "wait_h": 6.564788196,
            "station_use_share": 0.972536153,
        }),
        _check("A18", PALM, REPAIR + ": 20 trucks", "a18", "one", 19, {
            "availability_share": 0.9041241134, "trucks_down": 1.917517731, "trucks_waiting": 1.113851852,
            "exchanges_per_min": 0.04018329393, "down_min": 47.71927693, "wait_min": 27.71927693,
            "station_use_share": 0.8036658786,
        }),
    ],
)
def test_trucks_and_stations(case, steady, file, layout, weeks, expected):
    """Five to thirty trucks come to one to four stations and always find a ready battery."""
    steady(file, case(file), layout, weeks, expected)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "layout", "weeks", "expected"),
    [
        _check("A03", ROSSETTI, "example on machine interference; table of M/M/c/5/5 results, c = 3", "a01", "three", 550, {
            "trucks_waiting": 0.03978667016, "wait_h": 0.1122962553,
        }),
        _check("A06c", TAHA, SERVICING + "3", "a06", "three", 12, {
            "trucks_waiting": 0.5126883396, "wait_h": 0.05249211092,
        }),
        _check("A06d", TAHA, SERVICING + "4", "a06", "four", 24, {
            "trucks_waiting": 0.1102165246, "wait_h": 0.01107714722,
        }),
        _check("A14", WORKED_OUT, "30 trucks, 3 stations, M/M/c//N", "a14", "one", 150, {
            "trucks_waiting": 0.01399991756, "wait_min": 0.2156993895,
        }),
    ],
)
def test_rare_waits(case, steady, file, layout, weeks, expected):
    """Waits that few trucks have need long runs until their mean is known to 2 %."""
    steady(file, case(file), layout, weeks, expected)


@pytest.mark.parametrize(
    ("service_factor", "stations", "waits", "efficiency", "weeks"),
    [
        pytest.param(*row, id=f"X={row[0]} M={row[1]}", marks=pytest.mark.published(source=PECK, where="N = 5 section"))
        for row in [
            (0.012, 1, 0.04797878, 0.99940339, 20),
            (0.025, 1, 0.09980354, 0.99731567, 30),
            (0.05, 1, 0.198365, 0.9885787, 50),
            (0.06, 2, 0.0203341, 0.99935153, 20),
            (0.06, 1, 0.23713611, 0.98319517, 60),
            (0.07, 2, 0.02739524, 0.99897025, 20),
            (0.07, 1, 0.27539623, 0.97667552, 60),
            (0.08, 2, 0.03541462, 0.99846303, 20),
            (0.08, 1, 0.31305279, 0.96900029, 60),
            (0.09, 2, 0.04435816, 0.99781214, 25),
            (0.09, 1, 0.35001423, 0.96016556, 60),
            (0.1, 2, 0.05419162, 0.99700004, 25),
            (0.1, 1, 0.38619141, 0.95018401, 60),
        ]
    ],
)
def test_finite_queuing_table(case, steady, service_factor, stations, waits, efficiency, weeks):
    """Share that waits (D) and efficiency (F) of five trucks; run and exchange add up to 1000 min."""
    scenario = case("a10", {
        "layouts.one.stations": stations,
        "layouts.one.exchange_time.mean": f"{1000.0 * service_factor:g} min",
        "trucks[0].run_time.mean": f"{1000.0 * (1.0 - service_factor):g} min",
        "simulation.seed": int(1000.0 * service_factor) + stations,
    })
    title = f"finite queuing table, X = {service_factor}, M = {stations}"
    steady(title, scenario, "one", weeks, {"waited_share": waits, "not_waiting_share": efficiency})


# Charging in the truck


@pytest.mark.published(source=WORKED_OUT, where="M/M/4//12, exchange station replaced by charging point")
def test_four_charging_points(case, steady):
    """A23: twelve trucks share four charging points."""
    steady("a23", case("a23"), "one", 50, {
        "availability_share": 0.722277937, "trucks_down": 3.332664757, "trucks_waiting": 0.4435530088,
        "exchanges_per_h": 1.444555874, "down_h": 2.307051473, "wait_h": 0.3070514729,
        "station_use_share": 0.722277937, "charger_use_share": 0.722277937, "waited_share": 0.3307789621,
    })


@pytest.mark.published(source=RENEWAL, where="renewal reward")
@pytest.mark.parametrize(
    ("run_time", "charge_time"),
    [
        pytest.param({"mean": "6 h", "law": "exponential"}, {"mean": "2 h", "law": "exponential"}, id="exponential"),
        pytest.param("6 h", "2 h", id="constant"),
        pytest.param(
            {"low": "3 h", "high": "9 h"}, {"mean": "2 h", "law": "hyperexponential", "cv": 2}, id="uniform-hyperexponential"
        ),
    ],
)
def test_a_charging_point_for_each_truck(case, steady, run_time, charge_time):
    """A24: with a point for each truck, availability is run / (run + charge), whatever the laws."""
    scenario = case("a24", {"trucks[0].run_time": run_time, "batteries.plain.charge_time": charge_time})
    steady("a24", scenario, "one", 6, {"availability_share": 0.75, "trucks_down": 2.5, "waited_share": 0.0})


# Spare batteries and chargers


@pytest.mark.parametrize(
    ("file", "layout", "weeks", "expected"),
    [
        _check("C01", GROSS, WITH_SPARES + "5, 1, 2", "c01", "one", 190, {
            "availability_share": 0.9772880984, "exchanges_per_h": 0.1628813497, "none_ready_time_share": 0.3954576197,
            "found_none_share": 0.3814082242, "wait_h": 0.6971915933, "ready_batteries": 0.6045423803,
            "charger_use_share": 0.2443220246,
        }),
        _check("C02", GROSS, WITH_SPARES + "10, 5, 6", "c02", "one", 12, {
            "availability_share": 0.4482704326, "trucks_waiting": 5.517295674, "exchanges_per_h": 0.7471173877,
            "none_ready_time_share": 0.9946049555, "found_none_share": 0.987964755, "wait_h": 7.384777499,
            "charger_use_share": 0.996156517,
        }),
        _check("C07", GROSS, WITH_SPARES + "12, 6, 18", "c07", "one", 12, {
            "availability_share": 0.5997115457, "trucks_waiting": 4.803461452, "exchanges_per_h": 1.199423091,
            "none_ready_time_share": 0.9934613376, "found_none_share": 0.9890969876, "wait_h": 4.004809884,
            "charger_use_share": 0.5997115457,
        }),
        _check("C08", GROSS, WITH_SPARES + "20, 50, 70", "c04", "70 batteries", 22, {
            "availability_share": 0.9948479534, "exchanges_per_h": 2.487119883, "none_ready_time_share": 0.05872817144,
            "found_none_share": 0.053853581, "ready_batteries": 10.3091228, "charger_use_share": 0.5684845448,
        }),
    ],
)
def test_spares_and_chargers(case, steady, file, layout, weeks, expected):
    """Share of time without a ready battery and share of trucks that find none are two things."""
    steady(file, case(file), layout, weeks, expected)


@pytest.mark.published(source=GROSS, where=WITH_SPARES + "20, 40, 60; the same for every law of the charge time")
@pytest.mark.parametrize(
    "charge_time",
    [
        pytest.param({"mean": "16 h", "law": "exponential"}, id="exponential"),
        pytest.param("16 h", id="constant"),
        pytest.param({"low": "8 h", "high": "24 h"}, id="uniform"),
        pytest.param({"mean": "16 h", "law": "hyperexponential", "cv": 2}, id="hyperexponential"),
    ],
)
def test_three_batteries_per_truck(case, steady, charge_time):
    """C04: with a charger for every battery only the mean charge time counts; 37 % of trucks find none ready."""
    scenario = case("c04", {"batteries.plain.charge_time": charge_time})
    steady("c04", scenario, "60 batteries", 12, {
        "availability_share": 0.9477640625, "exchanges_per_h": 2.369410156, "none_ready_time_share": 0.4037962691,
        "found_none_share": 0.37093655, "charger_use_share": 0.6318427083,
    })


# The whole loop: stations, spares, chargers, cool-down


@pytest.mark.parametrize(
    ("file", "weeks", "expected"),
    [
        _check("C10", WORKED_OUT, BALANCE, "c10", 25, {
            "availability_share": 0.6843164479, "trucks_down": 1.57841776, "exchanges_per_h": 0.42769778,
            "down_h": 3.690497904, "wait_h": 3.440497904, "station_use_share": 0.106924445,
            "none_ready_time_share": 0.8538517448, "charger_use_share": 0.6415466699,
        }),
        _check("C12", WORKED_OUT, BALANCE, "c12", 6, {
            "availability_share": 0.5734955708, "trucks_down": 8.530088584, "exchanges_per_h": 1.638558774,
            "down_h": 5.205848408, "wait_h": 5.055848408, "station_use_share": 0.122891908,
            "none_ready_time_share": 0.9922148693, "charger_use_share": 0.8192793869,
        }),
    ],
)
def test_whole_loop(case, steady, file, weeks, expected):
    """An exchange starts when a station and a ready battery are both free; the spent battery is free when it ends."""
    steady(file, case(file), "one", weeks, expected)
