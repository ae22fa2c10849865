"""One page for a customer meeting: the answer first, then comparison, evidence, plan, assumptions, method.

The page needs nothing from outside: no scripts, no fonts, no pictures. The same plan gives the same bytes; a date
stands in it only when it is given.
"""

import platform
from importlib.metadata import version
from typing import Any, NamedTuple

from jinja2 import Environment, PackageLoader

from batsim.decision.ranking import order_sentence
from batsim.decision.recommendation import SAME_COST, recommend
from batsim.plan.cautions import DECIDES
from batsim.plan.checks import cited
from batsim.plan.money import LEFT_OUT
from batsim.plan.plan import Plan
from batsim.scenario.reading import stated_data
from batsim.study.prices import MARK, plain_amount
from batsim.study.room_over import RoomOver
from batsim.views.page.report_charts import charts_of
from batsim.views.text.numbers import number_text
from batsim.views.text.part_tables import part_tables
from batsim.views.text.plan_text import (
    AS_THEY_WEAR,
    CHANGES,
    LOTS,
    advice_texts,
    change_texts,
    lot_texts,
    payback_sentence,
    ventilation_head,
    what_follows,
)
from batsim.views.text.services_text import CONFIRM, supply_facts, ventilation_facts
from batsim.views.text.tables import age_note, impossible_sentences, number_rows, season_rows, shift_notes, simulated

MOST_INPUT = 300
"""Letters of an input that are shown."""
MEASURED, STATED, RANGED = "measured", "stated", "stated, a range"
"""Where an input comes from: times observed on site, what the site states, and what it only knows to lie between."""
RANGE_KEYS = frozenset({"between", "typical"})


class Input(NamedTuple):
    """An input as the site states it."""

    path: str
    value: str
    origin: str


def report_html(plans: Plan, date: str = "", room: RoomOver | None = None) -> str:
    """Write one self-contained page for a customer: answer, comparison, evidence, plan, assumptions, method.

    Parameters
    ----------
    plans
        Plans of the layouts of a scenario, see `batsim.plan_layouts`. The recommended one stands in full view.
    date
        Shown at the top; left out when empty, so that the same plans give the same bytes.
    room
        What the plans' `room` brings of the recommended layout, for the picture of a week; none is drawn without it.

    Returns
    -------
    str
        HTML. It needs nothing from outside; everything that comes from the scenario is escaped.
    """
    page = Environment(
        loader=PackageLoader("batsim.views", "page"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("report.html.j2")
    scenario, runs, advised = plans.scenario, plans.comparison.runs, recommend(plans)
    versions = ", ".join(f"{name} {version(name)}" for name in ("batsim", "simpy", "numpy", "scipy"))
    figures = (*plans.figures, *([SAME_COST] if len(plans.layouts) > 1 else []))
    return page.render(
        title=scenario.site.name,
        question=scenario.question,
        date=date,
        says=advised.says,
        numbers=_numbers(plans, advised.layout),
        reasons=advised.reasons,
        risks=advised.risks,
        comparison=_comparison(plans),
        charts=charts_of(plans, room),
        advised=_layout(plans, advised.layout, 0),
        others=[_other(plans, name, n) for n, name in enumerate(plans.layouts, 1) if name != advised.layout],
        currency=scenario.site.currency,
        questions=plans.questions,
        inputs=inputs_of(plans),
        defaults=[scenario.figures[name] for name in figures],
        simulated=simulated(runs.schedule),
        confidence=runs.confidence,
        versions=f"{versions}, Python {platform.python_version()}",
        decides=DECIDES,
        plain_amount=plain_amount,
        cited=cited,
        what_follows=what_follows,
    )


def _numbers(plans: Plan, layout: str) -> list[tuple[str, str]]:
    """The recommended layout in a few numbers."""
    runs, money, currency = plans.comparison.runs, plans.layouts[layout].money, plans.scenario.site.currency
    stated = plans.scenario.layouts[layout]
    attendants = stated.attendants_of(stated.areas)
    if isinstance(attendants, dict):
        attendants = ", ".join(f"{shift} {int(number)}" for shift, number in attendants.items())
    numbers = [
        ("Layout", layout),
        ("Downtime", f"{number_text(runs.interval(layout, 'downtime_min_per_truck_shift'))} min per truck-shift"),
        ("Batteries", number_text(runs.interval(layout, "batteries"))),
        ("Chargers", number_text(runs.interval(layout, "chargers"))),
        ("Stations or spots", number_text(runs.interval(layout, "stations"))),
        ("Attendants", attendants or "drivers"),
        ("Labour, hands-on", f"{number_text(runs.interval(layout, 'labour_min_per_day'))} min per working day"),
        ("To order, once", f"{money.purchase.as_quoted.text} {currency}"),
        ("In a year", f"{money.per_year.text} {currency}"),
        ("For each truck-hour worked", f"{money.per_truck_hour.text} {currency}"),
    ]
    return [(what, value) for what, value in numbers if value != "-"]


def _comparison(plans: Plan) -> dict[str, Any]:
    """Layouts side by side."""
    comparison, runs = plans.comparison, plans.comparison.runs
    rows = [[_named(label, unit), *cells] for label, *cells, unit in number_rows(runs)]
    rows += [[_named(label, unit), *cells] for label, *cells, unit in season_rows(comparison)]
    for results in zip(*map(comparison.targets, comparison.layouts), strict=True):
        rows.append([results[0].target, *(result.verdict for result in results)])
    rows += _planned(plans)
    note = f"± is the half width of a {100 * runs.confidence:g} % interval for each mean. {MARK} rests on placeholders."
    worst = (comparison.worst_area_sentence, comparison.worst_group_sentence)
    said = (*comparison.verdicts, *worst, order_sentence(comparison), *impossible_sentences(comparison.impossible))
    notes = [text for text in (*said, *shift_notes(runs), age_note(runs), note) if text]
    parts = [
        {"caption": title, "head": [*map(_named, heads, units)], "rows": numbers}
        for title, (heads, units, *numbers) in part_tables(runs)
    ]
    head = ["", *plans.layouts]
    return {"caption": simulated(runs.schedule), "head": head, "rows": rows, "notes": notes, "parts": parts}


def _planned(plans: Plan) -> list[list[str]]:
    """What the layouts cost, and how many of their checks fail."""
    layouts, currency = plans.layouts.values(), plans.scenario.site.currency
    return [
        [f"{currency} in a year", *(plan.money.per_year.text for plan in layouts)],
        [f"{currency} in a year at equal work", *(plan.money.at_equal_work.text for plan in layouts)],
        [f"{currency} for each truck-hour worked", *(plan.money.per_truck_hour.text for plan in layouts)],
        [f"{currency} to order", *(plan.money.purchase.as_quoted.text for plan in layouts)],
        ["checks that fail", *(str(plan.failing) for plan in layouts)],
        ["possible", *("no" if plan.impossible else "yes" for plan in layouts)],
    ]


def _named(label: str, unit: str) -> str:
    """Label and unit of a row; a part of the row above stands a little to the right."""
    inset = "\N{EM SPACE}" if label.startswith(" ") else ""
    return f"{inset}{label.strip()}, {unit}" if unit else f"{inset}{label.strip()}"


def _other(plans: Plan, name: str, number: int) -> dict[str, Any]:
    """The plan of a layout that is not recommended: of its cautions those that the recommended one does not have."""
    advised, plan = recommend(plans).layout, plans.layouts[name]
    own = [caution for caution in plan.cautions if caution not in plans.layouts[advised].cautions]
    common = len(own) < len(plan.cautions)
    return _layout(plans, name, number) | {"cautions": own, "cautions_of": advised if common else ""}


def _layout(plans: Plan, name: str, number: int) -> dict[str, Any]:
    """The plan of one layout, with its texts."""
    plan, figures = plans.layouts[name], plans.scenario.figures
    ventilations = [
        {"head": ventilation_head(plan, air), "lines": [*ventilation_facts(air, figures), CONFIRM]}
        for air in plan.ventilations
    ]
    return {
        "id": f"layout-{number}",
        "plan": plan,
        "advice": advice_texts(plan),
        "blocks": [
            *([{"head": LOTS, "lines": lot_texts(plan)}] if plan.lots else []),
            *([{"head": CHANGES, "lines": change_texts(plan)}] if plan.conversion else []),
            *ventilations,
            {"head": "Supply", "lines": supply_facts(plan.supply, figures)},
        ],
        "sum": f"To order in all: {plan.money.purchase.as_quoted.text} {plan.money.currency}.",
        "notes": [*([f"{payback_sentence(plan)} {AS_THEY_WEAR}"] if plan.payback is not None else []), LEFT_OUT],
        "cautions": plan.cautions,
    }


def inputs_of(plans: Plan) -> list[Input]:
    """Inputs that the site states, leaf by leaf in the order of the file, with where they come from."""
    inputs: list[Input] = []

    def walk(value: object, path: str) -> None:
        if isinstance(value, dict) and value:
            for key, inner in value.items():
                walk(inner, f"{path}.{key}" if path else str(key))
        elif isinstance(value, list) and any(isinstance(inner, dict | list) for inner in value):
            for position, inner in enumerate(value):
                walk(inner, f"{path}[{position}]")
        else:
            text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            shown = text if len(text) <= MOST_INPUT else f"{text[: MOST_INPUT - 3]}..."
            inputs.append(Input(path, shown, _origin(path.rpartition(".")[2])))

    walk(stated_data(plans.scenario), "")
    return inputs


def _origin(key: str) -> str:
    """Where an input comes from, by the key that it stands under."""
    key = key.partition("[")[0]
    return MEASURED if key == "observed" else RANGED if key in RANGE_KEYS else STATED
