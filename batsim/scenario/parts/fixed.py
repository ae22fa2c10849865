"""What a layout says may not change where a plan is decided."""

from batsim.scenario.parts.faults import each_entry, wrong
from batsim.scenario.parts.kinds import Words, reads

COUNTS = ("batteries", "chargers", "stations", "devices", "bays", "attendants")
LEVERS = ("exchange_when", "exchange_by", "charger_leads", "charging")
FIXABLE = {"counts": COUNTS, "levers": LEVERS} | {name: (name,) for name in (*COUNTS, *LEVERS)}
"""Everything that may be fixed, by name, with the single names that it stands for."""
FIXED_WORD = Words(*FIXABLE)


@reads({"type": "array", "items": FIXED_WORD.schema}, examples=[["attendants", "charging"], ["levers"]])
def read_fixed(value: object) -> tuple[str, ...]:
    """What may not change, by name: counts, levers, or some of them."""
    if not isinstance(value, list):
        wrong("needs a list of what may not change, such as [attendants, charging]")
    return tuple(each_entry(enumerate(value), FIXED_WORD.read))
