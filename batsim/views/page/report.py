"""One page for a customer meeting: the answer first, then comparison, evidence, plan, assumptions, method.

The page needs nothing from outside: no scripts, no fonts, no pictures. The same plan gives the same bytes; a date
stands in it only when it is given.
"""

import platform
from importlib.metadata import version
from typing import Any, NamedTuple

from jinja2 import Environment, PackageLoader

from batsim.catalogue import Figures
from batsim.decision.ranking import SAME_COST, recommend
from batsim.plan.cautions import DECIDES
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK, Check, cited
from batsim.plan.money import LEFT_OUT
from batsim.plan.plan import LayoutPlan, Plan
from batsim.scenario.reading import stated_data
from batsim.study.prices import Price
from batsim.study.room_over import RoomOver
from batsim.views.page.report_charts import charts_of
from batsim.views.text.numbers import counted, number_text
from batsim.views.text.plan_text import AS_THEY_WEAR, MARK, advice_texts, amount_text, payback_sentence, what_follows
from batsim.views.text.services_text import CONFIRM, supply_facts, ventilation_facts
from batsim.views.text.tables import ComparedNumber, age_note, cell_text, shown_rows, simulated

CONTENTS = (
    ("answer", "Answer"),
    ("comparison", "Comparison"),
    ("evidence", "Evidence"),
    ("plan", "Plan"),
    ("questions", "Open questions"),
    ("assumptions", "Assumptions"),
    ("method", "Method"),
    ("others", "Other layouts"),
)
VERDICT_CLASSES = {FAILS: "fails", TO_CHECK: "to-check", NOT_KNOWN: "not-known", OK: "ok"}
"""Class of a verdict in the page."""
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
    scenario, advised = plans.scenario, recommend(plans)
    others = [_other(plans, name, number) for number, name in enumerate(plans.layouts) if name != advised.layout]
    return page.render(
        title=scenario.site.name,
        question=scenario.question,
        date=date,
        contents=CONTENTS if others else CONTENTS[:-1],
        says=advised.says,
        numbers=_numbers(plans, advised.layout),
        reasons=advised.reasons,
        risks=advised.risks,
        comparison=_comparison(plans),
        charts=charts_of(plans, room),
        advised=_layout(plans.layouts[advised.layout], scenario.figures, 0),
        others=others,
        currency=scenario.site.currency,
        questions=plans.questions,
        inputs=inputs_of(plans),
        defaults=_defaults(plans),
        method=_method(plans),
        decides=DECIDES,
    )


def _numbers(plans: Plan, layout: str) -> list[tuple[str, str]]:
    """The recommended layout in a few numbers."""
    runs, money, currency = plans.comparison.runs, plans.layouts[layout].money, plans.scenario.site.currency
    attendants = plans.scenario.layouts[layout].attendants
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
        ("To order, once", f"{amount_text(money.purchase)} {currency}"),
        ("In a year", f"{amount_text(money.per_year)} {currency}"),
        ("For each truck-hour", f"{amount_text(money.per_truck_hour, 2)} {currency}"),
    ]
    return [(what, value) for what, value in numbers if value != "-"]


def _comparison(plans: Plan) -> dict[str, Any]:
    """Layouts side by side."""
    comparison, layouts, currency = plans.comparison, plans.layouts, plans.scenario.site.currency
    runs = comparison.runs
    rows = [[_named(row), *(cell_text(runs, name, row) for name in layouts)] for row in shown_rows(runs)]
    targets = {name: comparison.targets(name) for name in layouts}
    for results in zip(*targets.values(), strict=True):
        rows.append([results[0].target, *(result.verdict for result in results)])
    names = (f"{currency} in a year", f"{currency} for each truck-hour", f"{currency} to order", "checks that fail")
    columns = zip(*(_amounts(plan) for plan in layouts.values()), strict=True)
    rows += [[name, *amounts] for name, amounts in zip(names, columns, strict=True)]
    note = f"± is the half width of a {100 * runs.confidence:g} % interval for each mean. {MARK} rests on placeholders."
    notes = [text for text in (comparison.verdict, age_note(runs), note) if text]
    return {"caption": simulated(runs.schedule), "head": ["", *layouts], "rows": rows, "notes": notes}


def _amounts(plan: LayoutPlan) -> tuple[str, str, str, str]:
    """Cost in a year and of a truck-hour, what is to order, checks that fail."""
    money = plan.money
    costs = amount_text(money.per_year), amount_text(money.per_truck_hour, 2), amount_text(money.purchase)
    return (*costs, str(plan.failing))


def _named(row: ComparedNumber) -> str:
    """Label and unit of a row; a part of the row above stands a little to the right."""
    label = f"\N{EM SPACE}{row.label.strip()}" if row.label.startswith(" ") else row.label
    return f"{label}, {row.unit}" if row.unit else label


def _other(plans: Plan, name: str, number: int) -> dict[str, Any]:
    """The plan of a layout that is not recommended: of its cautions those that the recommended one does not have."""
    advised, plan = recommend(plans).layout, plans.layouts[name]
    known = plans.layouts[advised].cautions
    own = [caution for caution in plan.cautions if caution not in known]
    common = len(own) < len(plan.cautions)
    shown = _layout(plan, plans.scenario.figures, number + 1)
    return {**shown, "cautions": own, "cautions_of": advised if common else ""}


def _layout(plan: LayoutPlan, figures: Figures, number: int) -> dict[str, Any]:
    """The plan of one layout."""
    money = [_money_row(line.what, line.per_year, line.basis) for line in plan.money.lines]
    money.append(_money_row("in all", plan.money.per_year, ""))
    ventilation = [*ventilation_facts(plan.ventilation, figures), CONFIRM]
    return {
        "id": f"layout-{number}",
        "name": plan.layout,
        "title": plan.title,
        "advice": advice_texts(plan),
        "counts": plan.counts,
        "checks": [_check(check) for check in plan.checks if check.verdict != OK],
        "passed": [_check(check) for check in plan.checks if check.verdict == OK],
        "equipment": [
            {**line._asdict(), "to_order": f"{line.to_order:g}", "owned": f"{line.owned:g}"} for line in plan.equipment
        ],
        "blocks": [
            {"head": f"Ventilation ({plan.ventilation.edition})", "lines": ventilation},
            {"head": "Supply", "lines": supply_facts(plan.supply, figures)},
        ],
        "money": money,
        "notes": [*([f"{payback_sentence(plan)} {AS_THEY_WEAR}"] if plan.payback is not None else []), LEFT_OUT],
        "cautions": plan.cautions,
    }


def _check(check: Check) -> dict[str, str]:
    return {
        "verdict": check.verdict,
        "css": VERDICT_CLASSES[check.verdict],
        "what": f"{check.subject}, {check.name}",
        "value": check.value,
        "limit": check.limit,
        "rule": check.rule,
        "says": what_follows(check),
    }


def _money_row(what: str, price: Price, basis: str) -> dict[str, str]:
    ranged = price.low != price.high
    return {
        "what": what,
        "value": amount_text(price),
        "low": f"{price.low:,.0f}" if ranged else "",
        "high": f"{price.high:,.0f}" if ranged else "",
        "basis": basis,
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


def _defaults(plans: Plan) -> list[dict[str, str]]:
    """Figures of the catalogue that the scenario, its plans and the recommendation asked for."""
    rows = []
    for name in (*plans.figures, *([SAME_COST] if len(plans.layouts) > 1 else [])):
        figure = plans.scenario.figures[name]
        value = f"{figure.text} ({figure.low_text} to {figure.high_text})" if figure.has_range else figure.text
        rows.append(
            {"name": name, "note": figure.note, "value": value, "source": cited(figure), "status": figure.status}
        )
    return rows


def _method(plans: Plan) -> list[tuple[str, str]]:
    """What STRESS-DES asks a report of a simulation to say (Monks and others, Journal of Simulation 13, 2019)."""
    runs, scenario = plans.comparison.runs, plans.scenario
    versions = ", ".join(f"{name} {version(name)}" for name in ("batsim", "simpy", "numpy", "scipy"))
    return [
        ("Purpose", scenario.question or "Compare ways to handle traction batteries."),
        ("Outputs", "Downtime, labour, waits, stock, energy, gas and wear, each over the measured time of a run."),
        (
            "Logic",
            "Discrete events: trucks draw on their battery, come for another, wait for what the exchange needs; "
            "discharged batteries wait for a charger, are charged by closed forms, cool down, are watered, are ready.",
        ),
        ("Data", "Inputs and defaults are listed under Assumptions, each with its origin or source."),
        (
            "Experiment",
            f"{counted(runs.replications, 'replication')} of {counted(runs.schedule.weeks, 'week')} after "
            f"{counted(runs.schedule.warm_up_weeks, 'week')} of warm-up, seed {runs.schedule.seed}; "
            f"the same random streams in every layout; {100 * runs.confidence:g} % Student intervals, paired "
            "differences with Bonferroni's correction.",
        ),
        ("Implementation", f"{versions}, Python {platform.python_version()}."),
        ("Code", "The scenario file and the versions above give the same numbers to the last digit."),
    ]
