"""Rules of thumb for counts: one number without a spread, right only where nothing varies and nobody queues."""


def batteries_per_truck(run_h: float, exchange_h: float, charge_h: float, cool_h: float) -> float:
    """Batteries that keep one truck going when all times are constant and nothing is scarce.

    Parameters
    ----------
    run_h, exchange_h, charge_h, cool_h
        Work on one battery, exchange, charge, cool-down. [h]

    Returns
    -------
    float
        1 + (charge + cool)/(run + exchange); round up for a whole fleet. [-]

    References
    ----------
    The 8-8-8 rule, one battery for each 8 h of work: common practice, no source.

    Examples
    --------
    >>> batteries_per_truck(8.0, 0.0, 8.0, 8.0)
    3.0
    """
    return 1.0 + (charge_h + cool_h) / (run_h + exchange_h)


def chargers_per_truck(run_h: float, exchange_h: float, charge_h: float) -> float:
    """Chargers busy for one truck when all times are constant: charge over the time between two exchanges. [-]

    Examples
    --------
    >>> chargers_per_truck(8.0, 0.0, 8.0)
    1.0
    """
    return charge_h / (run_h + exchange_h)


def all_at_once(trucks: int, stations: int, exchange_min: float) -> tuple[float, float, float]:
    """Waits when a whole fleet comes at one instant: the k-th truck waits exchange x floor((k-1)/stations).

    Parameters
    ----------
    trucks, stations
        How many come, and how many are exchanged side by side. [-]
    exchange_min
        Constant time of an exchange. [min]

    Returns
    -------
    tuple of float
        Mean wait, longest wait, and when the room is clear again. [min]

    Examples
    --------
    Three trucks at one station, 4 min each: waits 0, 4 and 8.

    >>> all_at_once(3, 1, 4.0)
    (4.0, 8.0, 12.0)
    """
    rounds = [number // stations for number in range(trucks)]
    return (
        exchange_min * sum(rounds) / trucks,
        exchange_min * rounds[-1],
        exchange_min * (rounds[-1] + 1),
    )


def wall_kwh_instead_of_fuel(fuel_kwh: float, engine_efficiency: float, charger_efficiency: float) -> float:
    """Energy from the wall that does the work of an engine truck's fuel, where only its fuel is known.

    Parameters
    ----------
    fuel_kwh
        Heat of the fuel. [kWh]
    engine_efficiency, charger_efficiency
        Work at the wheels and forks over heat of the fuel, and energy to the battery over energy from the wall. [-]

    Returns
    -------
    float
        fuel x engine/charger; losses in the battery are left out, so the real figure is higher. [kWh]

    References
    ----------
    US federal industrial-assessment guide, with 0.30 and 0.87: a first guess, to be replaced by a measurement.

    Examples
    --------
    >>> wall_kwh_instead_of_fuel(1000.0, 0.3, 0.75)
    400.0
    """
    return fuel_kwh * engine_efficiency / charger_efficiency
