"""That the situation of today was set beside a site's own records, and how that came out."""

from pydantic import Field

from batsim.scenario.parts.kinds import Frozen, NameText


class Calibration(Frozen):
    """What the records of a site say of the model of its layout of today; `batsim calibrate` writes it."""

    layout: NameText
    """Layout that was there, and was set beside the records."""
    records: str
    """What was recorded, such as `412 exchanges, 398 charges`."""
    fitted: str
    """Weeks to which inputs were fitted."""
    judged: str
    """Weeks by which the model was judged."""
    independent: bool
    """Whether nothing was fitted to those."""
    gives: tuple[NameText, ...] = ()
    """What the model gives as it was measured."""
    misses: tuple[NameText, ...] = ()
    """What it does not give."""
    verdict: str = Field("", max_length=4000)
    """The same in sentences."""

    @property
    def holds(self) -> bool:
        """Whether the model gives all that was measured."""
        return bool(self.gives) and not self.misses

    @property
    def sentence(self) -> str:
        """What it comes to, in a sentence."""
        weeks = self.judged if self.independent else f"{self.judged}, to which it was fitted"
        checked = f"Today's situation was set beside its own records ({self.records}; {weeks})"
        if self.holds:
            return f"{checked}: the model gives what was measured."
        missed = ", ".join(self.misses) or "nothing could be compared"
        return f"{checked}: the model does not give {missed}." if self.misses else f"{checked}: {missed}."
