"""How scenario, record and results show themselves in a notebook: a table, what it says, how sure that is."""

from collections.abc import Iterable, Sequence
from functools import singledispatch
from html import escape

from batsim.calibration.calibrate import Calibration
from batsim.decision.decide import Decision
from batsim.decision.ranking import order_sentence
from batsim.decision.recommendation import recommend
from batsim.decision.sizing import sizing_sentence
from batsim.display import counted
from batsim.plan.checks import VERDICTS
from batsim.plan.plan import Plan
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import stated_data
from batsim.scenario.site import Scenario
from batsim.statistics.written import number_text
from batsim.study.compare import Comparison
from batsim.study.first_estimate import LayoutOutline, outline
from batsim.study.prices import MARK
from batsim.study.running.runs import Runs
from batsim.verification.verify import Verification
from batsim.views.text.calibration_rows import (
    COMPARED_HEAD,
    STATED_HEAD,
    compared_rows,
    headline,
    stated_rows,
    stated_sentence,
)
from batsim.views.text.decision_table import decision_table
from batsim.views.text.decision_text import how_sure, what_to_do
from batsim.views.text.numbers import NO_INTERVALS
from batsim.views.text.part_tables import part_tables
from batsim.views.text.tables import (
    CHANCE,
    age_note,
    chance_text,
    impossible_sentences,
    number_rows,
    season_rows,
    shift_notes,
    simulated,
)

LEFT, RIGHT = "text-align: left; padding: 0 0.6em", "text-align: right; padding: 0 0.6em"
CAPTION = "caption-side: top; text-align: left"
NUMBERS = "{:.4g}".format
LONGEST_LINE = 100_000
"""Characters of a line that a page breaks itself."""


@singledispatch
def html_of(shown: object) -> str:
    """Write what a notebook shows: for most results their frame, and above it what it says in a sentence or two.

    Parameters
    ----------
    shown
        A scenario, record or result; any other has a `frame`, and a `sentence` or a `verdict` where it says
        something, and a `note` on how to read it.

    Returns
    -------
    str
        HTML, everything that comes from a scenario escaped.
    """
    frame = shown.frame  # type: ignore[attr-defined]
    said = getattr(shown, "sentence", "") or getattr(shown, "verdict", "")
    return paragraphs([said, getattr(shown, "note", "")]) + str(frame.to_html(index=False, float_format=NUMBERS))


@html_of.register
def _scenario(scenario: Scenario) -> str:
    """Trucks, layouts and targets of a scenario, with its first numbers."""
    first = outline(scenario)
    groups = [
        [truck.group, str(truck.count), ", ".join(truck.shifts), truck.battery, f"{run_h:.1f}"]
        for truck, run_h, _ in first.groups
    ]
    layouts = [_layout(layout) for layout in first.layouts]
    changed = [
        f"In layout '{layout.name}' {group.truck.group} work {group.run_h:.1f} h on a battery {group.truck.battery}."
        for layout in first.layouts
        for group in layout.changed
    ]
    targets = stated_data(scenario).get("targets")
    notes = []
    if isinstance(targets, dict):
        notes.append(f"Targets: {'; '.join(f'{name}: {value}'.replace('_', ' ') for name, value in targets.items())}.")
    if scenario.unknowns:
        notes.append(f"Not known: {', '.join(unknown.path for unknown in scenario.unknowns)}.")
    return (
        paragraphs([scenario.question])
        + table(scenario.site.name, ["truck group", "trucks", "shifts", "battery", "h on a battery"], groups, (1, 4))
        + table(
            "",
            ["layout", "handling", "batteries", "chargers", "stations or charging spots", "bays"],
            layouts,
            (2, 4, 5),
        )
        + paragraphs([*changed, *notes])
    )


def _layout(layout: LayoutOutline) -> list[str]:
    """Row of a layout."""
    chargers = ", ".join(f"{count:g} x {name}" for name, count in layout.chargers)
    batteries = sum(stock.batteries for stock in layout.stock)
    bays = "" if layout.arrangement.in_truck else f"{layout.bays:g}"
    return [layout.name, layout.arrangement.title, str(batteries), chargers, f"{layout.stations:g}", bays]


@html_of.register
def _record(record: Record) -> str:
    """What a record holds."""
    facts = record.facts
    caption = (
        f"{record.in_short}: "
        f"{counted((facts.horizon_min - facts.warm_up_min) / WEEK_MIN, 'week')} "
        f"after {counted(facts.warm_up_min / WEEK_MIN, 'week')} of warm-up"
    )
    rows = [
        [name, f"{record.count(name):,}", ", ".join(column.name for column in columns)]
        for name, columns in TABLES.items()
        if record.count(name)
    ]
    return table(caption, ["record.frame(...)", "rows", "columns"], rows, (1,))


@html_of.register
def _runs(runs: Runs) -> str:
    """Measures of the layouts side by side."""
    return _side_by_side(runs, []) + paragraphs([age_note(runs), _sure(runs)])


@html_of.register
def _comparison(comparison: Comparison) -> str:
    """The tables of the terminal, and what they say."""
    runs, layouts = comparison.runs, comparison.layouts
    rows = []
    if len(layouts) > 1:
        rows.append([CHANCE, *(chance_text(comparison, name) for name in layouts)])
    rows += [row[:-1] for row in season_rows(comparison)]
    for results in zip(*map(comparison.targets, layouts), strict=True):
        rows.append([results[0].target, *(result.verdict for result in results)])
    return _side_by_side(runs, rows) + paragraphs(
        [
            *comparison.verdicts,
            comparison.worst_area_sentence,
            comparison.worst_group_sentence,
            order_sentence(comparison),
            sizing_sentence(comparison),
            *impossible_sentences(comparison.impossible),
            *shift_notes(runs),
            comparison.precision_sentence,
            age_note(runs),
            _sure(runs),
        ]
    )


@html_of.register
def _plan(plans: Plan) -> str:
    """The recommendation, a row for each layout, and the main risks."""
    advised, currency = recommend(plans), plans.scenario.site.currency
    runs, measure = plans.comparison.runs, "downtime_min_per_truck_shift"
    rows = [
        [
            name,
            number_text(runs.interval(name, measure)),
            str(plan.targets_missed),
            *(str(plan.verdicts[verdict]) for verdict in VERDICTS),
            plan.money.purchase.as_quoted.text,
            plan.money.at_equal_work.text,
            plan.money.per_truck_hour.text,
        ]
        for name, plan in plans.layouts.items()
    ]
    head = ["layout", "downtime, min per truck-shift", "targets missed", *(f"checks: {word}" for word in VERDICTS)]
    head += [f"{currency} to order", f"{currency} a year", f"{currency} per truck-hour"]
    risks = [f"Main risks: {' '.join(f'({number}) {risk}' for number, risk in enumerate(advised.risks, 1))}"]
    notes = [*(risks if advised.risks else []), f"{MARK} rests on placeholders."]
    said = [text for text in (advised.headline, advised.order) if text]
    return paragraphs(said) + table("", head, rows, range(1, len(head))) + paragraphs(notes)


@html_of.register
def _decision(decision: Decision) -> str:
    """What to do, the best plans beside today, how sure that is."""
    head, *rows = decision_table(decision)
    first = decision.first
    if first is None:
        return paragraphs(impossible_sentences(decision.impossible))
    sure = how_sure(decision, first) if first.chosen is not None else []
    return (
        paragraphs(what_to_do(decision, first, LONGEST_LINE))
        + table(decision.scenario.site.name, head, rows, range(1, len(head)))
        + paragraphs([*sure, f"{MARK} rests on placeholders."])
    )


@html_of.register
def _verification(found: Verification) -> str:
    """How many checks of each subject hold, and against what; those that do not, row by row."""
    rows = [[each.subject, str(each.checks), str(each.holding), each.against] for each in found.by_subject]
    failing = found.frame[[not outcome.holds for outcome in found.outcomes]]
    return (
        paragraphs([found.sentence])
        + table("", ["subject", "checks", "hold", "against"], rows, (1, 2))
        + (str(failing.to_html(index=False, float_format=NUMBERS)) if len(failing) else "")
        + paragraphs([found.note, "Every check is a row of its frame."])
    )


@html_of.register
def _calibration(calibration: Calibration) -> str:
    """The verdict, inputs stated beside measured, numbers measured beside simulated."""
    texts = [headline(calibration), stated_sentence(calibration), calibration.verdict]
    html = paragraphs(dict.fromkeys(texts)) + table("", STATED_HEAD, stated_rows(calibration), (4,))
    if calibration.beside is None:
        return html
    return html + table("", COMPARED_HEAD, compared_rows(calibration.beside), (1, 2, 3, 4))


def _side_by_side(runs: Runs, more: list[list[str]]) -> str:
    """Measures of layouts side by side, and further rows."""
    rows = number_rows(runs) + [[*row, ""] for row in more]
    caption = f"{runs.scenario.site.name}: {simulated(runs.schedule)}"
    return table(caption, ["", *runs.layouts, ""], rows, range(1, len(runs.layouts) + 1)) + _parts(runs)


def _parts(runs: Runs) -> str:
    """Numbers of areas, truck groups and battery types, a table for each layout that states areas."""
    tables = []
    for title, (heads, units, *rows) in part_tables(runs):
        head = [f"{head}, {unit}" if unit else head for head, unit in zip(heads, units, strict=True)]
        tables.append(table(title, head, rows, range(1, len(head))))
    return "".join(tables)


def _sure(runs: Runs) -> str:
    """How to read the intervals."""
    if runs.replications < 2:
        return NO_INTERVALS
    return f"± is the half width of a {100 * runs.confidence:g} % interval for each mean."


def table(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Iterable[int]) -> str:
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


def paragraphs(texts: Iterable[str]) -> str:
    """Write texts that are not empty, each as a paragraph."""
    return "".join(f"<p>{escape(text)}</p>" for text in texts if text)
