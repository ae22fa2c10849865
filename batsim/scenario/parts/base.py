"""What every part of a scenario is made of: a frozen model, and quantities that are met in many of them."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict

from batsim.scenario.parts.kinds import Quantity


class Frozen(BaseModel):
    """A part of a scenario: read-only, refuses unknown keys, help stands under each field.

    Attributes carry their unit as a suffix; the key in YAML (the alias) does not, because there the
    value carries its unit in its text.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, validate_default=True, hide_input_in_errors=True
    )


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
