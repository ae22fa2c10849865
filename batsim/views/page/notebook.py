"""How scenario, record and results show themselves in a notebook: a table, what it says, how sure that is."""

from functools import singledispatch
from html import escape
from typing import TYPE_CHECKING

from batsim.decision.ranking import recommend
from batsim.plan.plan import Plan
from batsim.record import TABLES, Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import stated_data
from batsim.scenario.site import Scenario
from batsim.study.compare import Comparison
from batsim.study.first_estimate import outline
from batsim.study.running.replications import Runs
from batsim.views.text.plan_text import MARK, amount_text
from batsim.views.text.tables import cell_text, chance_text, counted, number_text, shown_rows, simulated

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from batsim.study.first_estimate import LayoutOutline

LEFT, RIGHT = "text-align: left; padding: 0 0.6em", "text-align: right; padding: 0 0.6em"
CAPTION = "caption-side: top; text-align: left"
NUMBERS = "{:.4g}".format


@singledispatch
def html_of(found: object) -> str:
    """Write what a notebook shows: for most results their frame, and above it what it says in a sentence.

    Parameters
    ----------
    found
        A scenario, record or result; any other has a `frame`, and a `sentence` or a `verdict` where it says something.

    Returns
    -------
    str
        HTML, everything that comes from a scenario escaped.
    """
    frame = found.frame  # type: ignore[attr-defined]
    said = getattr(found, "sentence", "") or getattr(found, "verdict", "")
    return paragraphs([said]) + str(frame.to_html(index=False, float_format=NUMBERS))


@html_of.register
def _scenario(found: Scenario) -> str:
    """Trucks, layouts and targets of a scenario, with its first numbers."""
    first = outline(found)
    groups = [
        [each.name, str(each.trucks), ", ".join(each.shifts), each.battery, f"{each.run_h:.1f}"]
        for each in first.groups
    ]
    layouts = [_layout(found, each) for each in first.layouts]
    targets = stated_data(found).get("targets")
    wanted = (
        [f"{name.replace('_', ' ')}: {value}" for name, value in targets.items()] if isinstance(targets, dict) else []
    )
    notes = [f"Targets: {'; '.join(wanted)}."] if wanted else []
    if found.unknowns:
        notes.append(f"Not known: {', '.join(each.path for each in found.unknowns)}.")
    return (
        paragraphs([found.question])
        + table(found.site.name, ["truck group", "trucks", "shifts", "battery", "h on a battery"], groups, (1, 4))
        + table("", ["layout", "handling", "batteries", "chargers", "stations or spots", "bays"], layouts, (2, 4, 5))
        + paragraphs(notes)
    )


def _layout(found: Scenario, each: "LayoutOutline") -> list[str]:
    """Row of a layout."""
    chargers = ", ".join(f"{count:g} x {name}" for name, count in each.chargers)
    batteries = sum(found.batteries_of(each.name).values())
    bays = "" if each.in_truck else f"{each.bays:g}"
    return [each.name, each.title, str(batteries), chargers, f"{each.stations:g}", bays]


@html_of.register
def _record(found: Record) -> str:
    """What a record holds."""
    facts = found.facts
    caption = (
        f"{found.in_short}: "
        f"{counted((facts.horizon_min - facts.warm_up_min) / WEEK_MIN, 'week')} "
        f"after a warm-up of {counted(facts.warm_up_min / WEEK_MIN, 'week')}"
    )
    rows = [
        [name, f"{found.count(name):,}", ", ".join(column.name for column in columns)]
        for name, columns in TABLES.items()
        if found.count(name)
    ]
    return table(caption, ["record.frame(...)", "rows", "columns"], rows, (1,))


@html_of.register
def _runs(found: Runs) -> str:
    """Measures of the layouts side by side."""
    return _side_by_side(found, []) + paragraphs([_sure(found)])


@html_of.register
def _comparison(found: Comparison) -> str:
    """The table of the terminal, and what it says."""
    layouts = found.layouts
    rows = []
    if len(layouts) > 1:
        rows.append(["chance of being best", *(chance_text(found, name) for name in layouts)])
    for number, target in enumerate(found.targets(layouts[0])):
        rows.append([target.target, *(found.targets(name)[number].verdict for name in layouts)])
    return _side_by_side(found.runs, rows) + paragraphs([found.verdict, found.precision_sentence, _sure(found.runs)])


@html_of.register
def _plan(found: Plan) -> str:
    """The recommendation, a row for each layout, and the main risks."""
    advised, currency = recommend(found), found.scenario.site.currency
    runs, measure = found.comparison.runs, "downtime_min_per_truck_shift"
    verdicts = list(next(iter(found.layouts.values())).verdicts)
    rows = [
        [
            name,
            number_text(runs.interval(name, measure)),
            str(each.targets_missed),
            *(str(each.verdicts[verdict]) for verdict in verdicts),
            *map(amount_text, (each.money.purchase, each.money.per_year)),
            amount_text(each.money.per_truck_hour, 2),
        ]
        for name, each in found.layouts.items()
    ]
    head = ["layout", "downtime, min per truck-shift", "targets missed", *(f"checks: {word}" for word in verdicts)]
    head += [f"{currency} to order", f"{currency} a year", f"{currency} per truck-hour"]
    risks = [f"Main risks: {' '.join(f'({number}) {each}' for number, each in enumerate(advised.risks, 1))}"]
    notes = [*(risks if advised.risks else []), f"{MARK} rests on placeholders."]
    return paragraphs([advised.says]) + table("", head, rows, range(1, len(head))) + paragraphs(notes)


def _side_by_side(runs: Runs, more: list[list[str]]) -> str:
    """Measures of layouts side by side, and further rows."""
    rows = [[row.label, *(cell_text(runs, name, row) for name in runs.layouts), row.unit] for row in shown_rows(runs)]
    rows += [[*row, ""] for row in more]
    caption = f"{runs.scenario.site.name}: {simulated(runs.schedule)}"
    return table(caption, ["", *runs.layouts, ""], rows, range(1, len(runs.layouts) + 1))


def _sure(runs: Runs) -> str:
    """How to read the intervals."""
    if runs.replications < 2:
        return "One replication has no intervals; take more to know how sure this is."
    return f"± is the half width of a {100 * runs.confidence:g} % interval for each mean."


def table(caption: str, head: "Sequence[str]", rows: "Iterable[Sequence[str]]", numbers: "Iterable[int]") -> str:
    """Write a table.

    Parameters
    ----------
    caption
        Above it; nothing when empty.
    head
        Names of the columns.
    rows
        Cells of each row; two blanks at the start of the first set it in.
    numbers
        Columns that are set to the right.

    Returns
    -------
    str
        HTML with every text escaped.
    """
    right = frozenset(numbers)
    sides = [RIGHT if number in right else LEFT for number in range(len(head))]
    said = f'<caption style="{CAPTION}">{escape(caption)}</caption>' if caption else ""
    heads = "".join(
        f'<th scope="col" style="{side}">{escape(text)}</th>' for text, side in zip(head, sides, strict=True)
    )
    body = "".join(f"<tr>{_head(row[0])}{''.join(map(_cell, row[1:], sides[1:]))}</tr>" for row in rows)
    return f"<table>{said}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"


def _head(text: str) -> str:
    """Write the head of a row; a part of the row above stands a little to the right."""
    inset = "&emsp;" if text.startswith("  ") else ""
    return f'<th scope="row" style="{LEFT}">{inset}{escape(text.strip())}</th>'


def _cell(text: str, side: str) -> str:
    """Write a cell."""
    return f'<td style="{side}">{escape(text)}</td>'


def paragraphs(texts: "Iterable[str]") -> str:
    """Write texts that are not empty, each as a paragraph."""
    return "".join(f"<p>{escape(text)}</p>" for text in texts if text)
