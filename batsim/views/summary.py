"""What a scenario states, in a few lines, with its first numbers."""

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.study.outline import LayoutOutline, Outline


def summary_text(outline: "Outline") -> str:
    """Say that a scenario reads well, and what it amounts to."""
    lines = [f"{outline.file}: reads well", f"  {outline.site}"]
    for group in outline.groups:
        power = f" at {group.power_kw:g} kW" if group.power_kw else ""
        lines += [
            f"  {group.trucks} x {group.name} on {', '.join(group.shifts)}; battery {group.battery}",
            f"    about {group.run_h:.1f} h of work on one battery{power}, "
            f"until {100 * group.exchange_at_share:g} % is left",
        ]
    for layout in outline.layouts:
        lines += _layout_lines(layout)
    lines.append("Rules of thumb know no queue and no spread; run 'batsim compare' for the answer.")
    return "\n".join(lines)


def _layout_lines(layout: "LayoutOutline") -> list[str]:
    """Lines on one layout."""
    lines = [f"  layout {layout.name}: {layout.title}"]
    for stock in layout.stock:
        lines.append(
            f"    {stock.battery}: {stock.batteries} batteries for {stock.trucks} trucks; "
            f"a full charge takes about {stock.charge_h:.1f} h on {stock.charger}"
        )
        if math.isfinite(stock.per_truck):
            lines.append(
                f"      rule of thumb for work round the clock: {stock.per_truck:.2f} a truck, "
                f"{math.ceil(stock.per_truck * stock.trucks)} in all"
            )
    chargers = ", ".join(f"{_number(count)} x {name}" for name, count in layout.chargers)
    word = "charging spot" if layout.in_truck else "exchange station"
    places = "" if layout.in_truck else f"; {_number(layout.places)} places ({layout.place})"
    lines.append(
        f"    {_number(layout.stations)} {word}{'' if layout.stations == 1 else 's'}{places}; chargers {chargers}"
    )
    return lines


def _number(count: float) -> str:
    """Write a count; without a limit it is a word."""
    return f"{count:g}" if math.isfinite(count) else "unlimited"
