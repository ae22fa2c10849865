"""What a scenario or study states, in a few lines, with its first numbers."""

import math
from typing import TYPE_CHECKING

from batsim.views.text.lines import hung
from batsim.views.text.numbers import counted

LONGEST = 160
"""Characters of what something may be that are shown."""

if TYPE_CHECKING:
    from batsim.study.first_estimate import LayoutOutline, Outline, StudyOutline


def summary_text(outline: "Outline", width: int = 100) -> str:
    """Say that a scenario reads well, and what it amounts to, for a terminal so many characters wide."""
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
    if outline.unknowns:
        are = "is" if len(outline.unknowns) == 1 else "are"
        lines.append(f"  {counted(len(outline.unknowns), 'input')} {are} not known; a middle value stands in:")
        lines += [_line(path, text) for path, text in outline.unknowns]
    if outline.figures:
        are = "is" if len(outline.figures) == 1 else "are"
        lines.append(f"  {counted(len(outline.figures), 'figure')} {are} stated in place of the catalogue's:")
        lines += [f"    {figure.name}: {figure.text} in place of {figure.usual}" for figure in outline.figures]
    lines.append("Rules of thumb know no queue and no spread; run 'batsim compare' for the answer.")
    return _fitted(lines, width)


def study_summary(outline: "StudyOutline", width: int = 100) -> str:
    """Say that a study reads well, and what it comes to, for a terminal so many characters wide."""
    layouts = f"{counted(len(outline.layouts), 'layout')} ({', '.join(outline.layouts)})"
    repeated = f"{counted(outline.replications, 'replication')} of {counted(outline.weeks, 'week')} each"
    lines = [
        f"{outline.file}: reads well",
        *([f"  {outline.question}"] if outline.question else []),
        f"  {outline.site}",
        f"  {outline.design}: {counted(outline.points, 'point')}, {layouts}, {repeated}",
        f"  {'at most ' if outline.at_most else ''}{counted(outline.cases, 'case')} to run",
        f"  {counted(len(outline.factors), 'factor')}:",
        *(_line(path, text) for path, text in outline.factors),
        f"Run it with 'batsim sweep {outline.file}'.",
    ]
    return _fitted(lines, width)


def _fitted(lines: list[str], width: int) -> str:
    """Break lines that are too long; what follows is set in further than they are."""
    return "\n".join(hung(line.lstrip(" "), width, len(line) - len(line.lstrip(" "))) for line in lines)


def _line(path: str, text: str) -> str:
    """A path and what may stand there; a long list is cut."""
    return f"    {path}: {text if len(text) <= LONGEST else f'{text[: LONGEST - 3]}...'}"


def _layout_lines(layout: "LayoutOutline") -> list[str]:
    """Lines on one layout."""
    lines = [f"  layout {layout.name}: {layout.title}"]
    for stock in layout.stock:
        lines.append(
            f"    {stock.battery}: {counted(stock.batteries, 'battery')} for {counted(stock.trucks, 'truck')}; "
            f"a full charge takes about {stock.charge_h:.1f} h on {stock.charger}"
        )
        if math.isfinite(stock.per_truck):
            lines.append(
                f"      rule of thumb for work round the clock: {stock.per_truck:.2f} a truck, "
                f"{math.ceil(stock.per_truck * stock.trucks)} in all"
            )
    chargers = ", ".join(f"{_number(count)} x {name}" for name, count in layout.chargers)
    stations = _counted(layout.stations, "charging spot" if layout.in_truck else "exchange station")
    bays = "" if layout.in_truck else f"; {_counted(layout.bays, 'bay')} ({layout.bay})"
    lines.append(f"    {stations}{bays}; chargers {chargers}")
    return lines


def _counted(count: float, thing: str) -> str:
    """Write a count with its noun; without a limit it is a word."""
    return counted(count, thing) if math.isfinite(count) else f"unlimited {thing}s"


def _number(count: float) -> str:
    """Write a count; without a limit it is a word."""
    return f"{count:g}" if math.isfinite(count) else "unlimited"
