"""One numbered traction battery in the room."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.room.charging import ChargerPool
    from batsim.room.exchange import Line


class Battery:
    """State of one battery; what happened to it is in the record."""

    __slots__ = (
        "charged_min",
        "charges",
        "line",
        "missing_ah",
        "number",
        "owed_ah",
        "place",
        "pool",
        "soc_share",
        "spent_min",
    )

    def __init__(self, number: int, line: "Line") -> None:
        self.number = number
        self.line = line
        self.place = -1
        """Place it stands in; -1 in a truck."""
        self.pool: ChargerPool | None = None
        """Charger that it keeps from others."""
        self.soc_share = 1.0
        """What is left of what can be had at its work's current and temperature. [-]"""
        self.missing_ah = 0.0
        """Ampere-hours that a charger really has to put back. [Ah]"""
        self.owed_ah = 0.0
        """Ampere-hours that a full charge has to return, gassing included. [Ah]"""
        self.charges = 0.0
        """Charges since the last watering, part charges in proportion."""
        self.charged_min = 0.0
        """End of its last charge. [min]"""
        self.spent_min = 0.0
        """When it came to stand in its place, spent. [min]"""
