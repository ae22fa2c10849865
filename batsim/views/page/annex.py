"""What stands behind a report: all layouts side by side, the plan of each, inputs with their origin."""

from typing import Any, NamedTuple

from batsim.decision.ranking import order_sentence
from batsim.decision.recommendation import recommend
from batsim.plan.money import LEFT_OUT
from batsim.plan.plan import Plan
from batsim.scenario.reading import stated_data
from batsim.study.prices import MARK
from batsim.views.page.templates import units_written
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


def comparison_of_all(plans: Plan) -> dict[str, Any]:
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


def other_layout(plans: Plan, name: str, number: int) -> dict[str, Any]:
    """The plan of a layout that is not recommended: of its cautions those that the recommended one does not have."""
    advised, plan = recommend(plans).layout, plans.layouts[name]
    own = [caution for caution in plan.cautions if caution not in plans.layouts[advised].cautions]
    common = len(own) < len(plan.cautions)
    return layout_plan(plans, name, number) | {"cautions": own, "cautions_of": advised if common else ""}


def layout_plan(plans: Plan, name: str, number: int) -> dict[str, Any]:
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
            text = ", ".join(map(_stated, value if isinstance(value, list) else [value]))
            shown = text if len(text) <= MOST_INPUT else f"{text[: MOST_INPUT - 3]}..."
            inputs.append(Input(path, shown, _origin(path.rpartition(".")[2])))

    walk(stated_data(plans.scenario), "")
    return inputs


def figure_text(text: str) -> str:
    """A figure of the catalogue as people write it.

    Examples
    --------
    >>> figure_text("1200"), figure_text("2600 EUR"), figure_text("0.055")
    ('1,200', '2,600 EUR', '0.055')
    """
    return f"{int(text):,}" if text.isdecimal() else units_written(text)


def _origin(key: str) -> str:
    """Where an input comes from, by the key that it stands under."""
    key = key.partition("[")[0]
    return MEASURED if key == "observed" else RANGED if key in RANGE_KEYS else STATED


def _stated(value: object) -> str:
    """A value as a file states it."""
    return str(value).lower() if isinstance(value, bool) else str(value)
