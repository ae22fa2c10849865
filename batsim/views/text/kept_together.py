"""Blanks at which no line ends: a number stays in the line of its unit and of its half width."""

import re

KEPT = "\N{NO-BREAK SPACE}"
"""Stands for a blank at which no line ends."""
UNITS = (
    "min|s|h|days?|weeks?|years?|times|mm|cm²|m|m²|m³|m³/h|km/h|kg|t|k?N|kN/m²|V|A|Ah|k?Wh?|kVA|K|x|[A-Z]{3}/[a-zA-Z]+"
)
"""What stands behind a number and says nothing without it."""
WITH_UNIT = re.compile(rf"(?<=\d) (?=(?:{UNITS})(?![\w²³/])|[%±°])|(?<=±) (?=\d)")
"""The space between a number and its unit, or its half width."""


def numbers_with_units(text: str) -> str:
    """A text in which no line ends between a number and its unit.

    Examples
    --------
    >>> numbers_with_units("at most 15 min, 8.4 ± 0.1 kg, 25 EUR/h").replace(KEPT, "_")
    'at most 15_min, 8.4_±_0.1_kg, 25_EUR/h'
    """
    return WITH_UNIT.sub(KEPT, text)
