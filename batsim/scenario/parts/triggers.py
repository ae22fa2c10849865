"""When a truck goes for another battery, beside the level that it must not fall below."""

from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.kinds import Frozen, Words, by_default
from batsim.scenario.parts.quantities import Minutes, ShareAbove0

SHIFT_CHANGE = ("never", "if_short", "always")


class ExchangeWhen(Frozen):
    """What sends a truck for another battery before its exchange level does; nothing when not stated."""

    shift_change: Annotated[str, Words(*SHIFT_CHANGE)] = "never"
    """At the end of a shift: never, if what is left will not last the next shift, or always."""
    before_shift_end_min: Minutes = Field("0 min", alias="before_shift_end")  # type: ignore[assignment]
    """How long before the end of the shift a truck goes for it. [min]"""
    spread_min: Minutes = Field("0 min", alias="spread")  # type: ignore[assignment]
    """Time before that over which the trucks of the group go one after another, not all at once. [min]"""
    not_above_share: ShareAbove0 = by_default("truck.exchange_not_above", "not_above")
    """State of charge above which no truck goes at the end of a shift, short as it may be for the next one. [%]"""
    in_breaks_below_share: ShareAbove0 | None = Field(None, alias="in_breaks_below")
    """State of charge below which a truck goes at the start of a break. [%]"""
    early_below_share: ShareAbove0 | None = Field(None, alias="early_below")
    """State of charge below which a truck goes whenever no truck waits and an exchange could start. [%]"""
