"""Round prices, invented, with which money is worked out by hand."""

ROUND: dict[str, str] = {
    "battery": "100 EUR/kWh",
    "charger": "1000 EUR",
    "device": "500 EUR",
    "part": "50 EUR",
    "bay": "200 EUR",
    "station": "700 EUR",
    "attendant": "30 EUR/h",
    "driver": "20 EUR/h",
    "truck": "12 EUR/h",
    "energy": "0.20 EUR/kWh",
    "demand": "10 EUR/kW",
    "water": "0.5 EUR/kg",
    "floor": "60 EUR/m2",
}
