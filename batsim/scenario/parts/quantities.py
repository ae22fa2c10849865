"""Quantities that are met in many parts of a scenario."""

from typing import Annotated

from batsim.scenario.parts.kinds import Quantity

Minutes = Annotated[float, Quantity("duration", least=0.0)]
MinutesAbove0 = Annotated[float, Quantity("duration", above=0.0)]
Metres = Annotated[float, Quantity("distance", least=0.0)]
MetresPerMinute = Annotated[float, Quantity("speed", above=0.0)]
Kilograms = Annotated[float, Quantity("mass", above=0.0)]
Millimetres = Annotated[float, Quantity("length", above=0.0)]
Kilowatts = Annotated[float, Quantity("power", above=0.0)]
KilowattHours = Annotated[float, Quantity("energy", above=0.0)]
Celsius = Annotated[float, Quantity("temperature", least=-60.0, most=80.0)]
Share = Annotated[float, Quantity("share", least=0.0, most=1.0)]
ShareAbove0 = Annotated[float, Quantity("share", above=0.0, most=1.0)]
Spread = Annotated[float, Quantity("share", least=0.0, most=2.0)]
