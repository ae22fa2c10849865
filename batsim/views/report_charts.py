"""Charts of the report, each with its caption."""

from typing import TYPE_CHECKING, NamedTuple

from batsim.views.inline_svg import for_a_page, inline_svg

if TYPE_CHECKING:
    from batsim.plan.plan import Plan


class Chart(NamedTuple):
    """A chart as it stands in the page."""

    svg: str
    caption: str


def charts_of(found: "Plan") -> list[Chart]:
    """Draw the charts of a plan."""
    return []


__all__ = ["Chart", "charts_of", "for_a_page", "inline_svg"]
