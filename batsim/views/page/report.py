"""One page for a customer meeting: the answer first, then comparison, evidence, plan, assumptions, method.

The page needs nothing from outside: no scripts, no fonts, no pictures. The same plan gives the same bytes; a date
stands in it only when it is given.
"""

import platform
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.catalogue import figure, instead
from batsim.decision.ranking import SAME_COST, recommend
from batsim.plan.cautions import DECIDES
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK, cited
from batsim.plan.money import LEFT_OUT
from batsim.scenario.reading import stated_data
from batsim.views.page.report_charts import charts_of
from batsim.views.text.plan_text import AS_THEY_WEAR, MARK, amount_text, payback_sentence
from batsim.views.text.services_text import CONFIRM, supply_facts, ventilation_facts
from batsim.views.text.tables import Row, cell_text, number_text, shown_rows

if TYPE_CHECKING:
    from batsim.plan.plan import LayoutPlan, Plan
    from batsim.study.prices import Price
    from batsim.study.room_over import RoomOver

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


def report_html(found: "Plan", date: str = "", room: "RoomOver | None" = None) -> str:
    """Write the page.

    Parameters
    ----------
    found
        Plans of the layouts.
    date
        Shown at the top; left out when empty, so that the same plan gives the same bytes.
    room
        What the plan's `room` brings of the recommended layout, for the picture of a week; none is drawn without it.

    Returns
    -------
    str
        HTML.
    """
    from jinja2 import Environment, PackageLoader  # noqa: PLC0415 - heavy, and only for a page

    page = Environment(
        loader=PackageLoader("batsim.views", "page"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("report.html.j2")
    scenario, advised = found.scenario, recommend(found)
    others = [_other(found, name, number) for number, name in enumerate(found.layouts) if name != advised.layout]
    return page.render(
        title=scenario.site.name,
        question=scenario.question,
        date=date,
        contents=CONTENTS if others else CONTENTS[:-1],
        says=advised.says,
        numbers=_numbers(found),
        reasons=advised.reasons,
        risks=advised.risks,
        comparison=_comparison(found),
        charts=charts_of(found, room),
        advised=_layout(found.layouts[advised.layout], 0),
        others=others,
        currency=scenario.site.currency,
        questions=found.questions,
        inputs=inputs_of(found),
        defaults=_defaults(found),
        method=_method(found),
        decides=DECIDES,
    )


def _numbers(found: "Plan") -> list[tuple[str, str]]:
    """The recommended layout in a few numbers."""
    name = recommend(found).layout
    each, runs = found.layouts[name], found.comparison.runs
    currency = found.scenario.site.currency
    people = found.scenario.layouts[name].attendants
    attendants = (
        ", ".join(f"{shift} {int(number)}" for shift, number in people.items())
        if isinstance(people, dict)
        else people or "drivers"
    )
    numbers = [
        ("Layout", name),
        ("Downtime", f"{number_text(runs.interval(name, 'downtime_min_per_truck_shift'))} min per truck-shift"),
        ("Batteries", number_text(runs.interval(name, "batteries"))),
        ("Chargers", number_text(runs.interval(name, "chargers"))),
        ("Stations or spots", number_text(runs.interval(name, "stations"))),
        ("Attendants", attendants),
        ("Labour, hands-on", f"{number_text(runs.interval(name, 'labour_min_per_day'))} min per working day"),
        ("To order, once", f"{amount_text(each.money.purchase)} {currency}"),
        ("In a year", f"{amount_text(each.money.per_year)} {currency}"),
        ("For each truck-hour", f"{amount_text(each.money.per_truck_hour, 2)} {currency}"),
    ]
    return [(what, value) for what, value in numbers if value != "-"]


def _comparison(found: "Plan") -> dict[str, Any]:
    """Layouts side by side."""
    runs, layouts = found.comparison.runs, list(found.layouts)
    rows = [[_named(row), *(cell_text(runs, name, row) for name in layouts)] for row in shown_rows(runs)]
    for position, target in enumerate(found.comparison.targets(layouts[0])):
        rows.append([target.target, *(found.layouts[name].targets[position].verdict for name in layouts)])
    money = {name: each.money for name, each in found.layouts.items()}
    currency = found.scenario.site.currency
    rows.append([f"{currency} in a year", *(amount_text(money[name].per_year) for name in layouts)])
    rows.append([f"{currency} for each truck-hour", *(amount_text(money[name].per_truck_hour, 2) for name in layouts)])
    rows.append([f"{currency} to order", *(amount_text(money[name].purchase) for name in layouts)])
    rows.append(["checks that fail", *(str(found.layouts[name].failing) for name in layouts)])
    confidence = f"{100 * runs.confidence:g} %"
    notes = [found.comparison.verdict] if found.comparison.verdict else []
    notes.append(f"± is the half width of a {confidence} interval for each mean. {MARK} rests on placeholders.")
    caption = f"{runs.replications} replications of {runs.schedule.weeks:g} weeks, seed {runs.schedule.seed}"
    return {"caption": caption, "head": ["", *layouts], "rows": rows, "notes": notes}


def _named(row: Row) -> str:
    """Label and unit of a row; a part of the row above stands a little to the right."""
    label = f"\N{EM SPACE}{row.label.strip()}" if row.label.startswith(" ") else row.label
    return f"{label}, {row.unit}" if row.unit else label


def _other(found: "Plan", name: str, number: int) -> dict[str, Any]:
    """The plan of a layout that is not recommended: of its cautions those that the recommended one does not have."""
    advised, each = recommend(found).layout, found.layouts[name]
    known = found.layouts[advised].cautions
    mine = [text for text in each.cautions if text not in known]
    common = len(mine) < len(each.cautions)
    return {**_layout(each, number + 1), "cautions": mine, "cautions_of": advised if common else ""}


def _layout(each: "LayoutPlan", number: int) -> dict[str, Any]:
    """The plan of one layout."""
    advice = [f"Usually chosen (common practice, no source): {each.advice.says}"] if each.advice.says else []
    for what, reasons in (("Speaks for it here", each.advice.speaks_for), ("Against it", each.advice.speaks_against)):
        advice += [f"{what}: {'; '.join(reasons)}."] if reasons else []
    checks = [
        {
            "verdict": check.verdict,
            "css": VERDICT_CLASSES[check.verdict],
            "what": f"{check.subject}, {check.name}",
            "value": check.value,
            "limit": check.limit,
            "rule": check.rule,
            "says": check.sentence + (f" Cure: {check.cure}." if check.cure else ""),
        }
        for check in each.checks
    ]
    equipment = [
        {**line._asdict(), "to_order": f"{line.to_order:g}", "owned": f"{line.owned:g}"} for line in each.equipment
    ]
    spent = each.money
    money = [_money_row(line.what, line.per_year, line.basis) for line in spent.lines]
    money.append(_money_row("in all", spent.per_year, ""))
    notes = [f"{payback_sentence(each)} {AS_THEY_WEAR}"] if each.payback is not None else []
    air = f"Ventilation ({each.ventilation.edition})"
    return {
        "id": f"layout-{number}",
        "name": each.layout,
        "title": each.title,
        "advice": advice,
        "counts": each.counts,
        "checks": [check for check in checks if check["verdict"] != OK],
        "passed": [check for check in checks if check["verdict"] == OK],
        "equipment": equipment,
        "blocks": [
            {"head": air, "lines": [*ventilation_facts(each.ventilation), CONFIRM]},
            {"head": "Supply", "lines": supply_facts(each.supply)},
        ],
        "money": money,
        "notes": [*notes, LEFT_OUT],
        "cautions": each.cautions,
    }


def _money_row(what: str, price: "Price", basis: str) -> dict[str, str]:
    ranged = price.low != price.high
    return {
        "what": what,
        "value": amount_text(price),
        "low": f"{price.low:,.0f}" if ranged else "",
        "high": f"{price.high:,.0f}" if ranged else "",
        "basis": basis,
    }


def inputs_of(found: "Plan") -> list[Input]:
    """Inputs that the site states, leaf by leaf in the order of the file, with where they come from."""
    listed: list[Input] = []

    def walk(value: object, path: str) -> None:
        if isinstance(value, dict) and value:
            for key, each in value.items():
                name = str(key)
                walk(each, f"{path}.{name}" if path else name)
        elif isinstance(value, list) and any(isinstance(each, dict | list) for each in value):
            for position, each in enumerate(value):
                walk(each, f"{path}[{position}]")
        else:
            text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            shown = text if len(text) <= MOST_INPUT else f"{text[: MOST_INPUT - 3]}..."
            listed.append(Input(path, shown, _origin(path.rpartition(".")[2])))

    walk(stated_data(found.scenario), "")
    return listed


def _origin(key: str) -> str:
    """Where an input comes from, by the key that it stands under."""
    key = key.partition("[")[0]
    return MEASURED if key == "observed" else RANGED if key in RANGE_KEYS else STATED


def _defaults(found: "Plan") -> list[dict[str, str]]:
    """Figures of the catalogue that the scenario and its plan asked for."""
    rows = []
    with instead(found.scenario.stated_figures):
        for name in (*found.figures, *([SAME_COST] if len(found.layouts) > 1 else [])):
            each = figure(name)
            value = f"{each.text} ({each.low_text} to {each.high_text})" if each.has_range else each.text
            row = {"name": name, "note": each.note, "value": value, "source": cited(each), "status": each.status}
            rows.append(row)
    return rows


def _method(found: "Plan") -> list[tuple[str, str]]:
    """What STRESS-DES asks a report of a simulation to say (Monks and others, Journal of Simulation 13, 2019)."""
    runs, scenario = found.comparison.runs, found.scenario
    schedule = runs.schedule
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
            f"{runs.replications} replications of {schedule.weeks:g} weeks after a warm-up of "
            f"{schedule.warm_up_weeks:g}, seed {schedule.seed}; "
            f"the same random streams in every layout; {100 * runs.confidence:g} % Student intervals, paired "
            "differences with Bonferroni's correction.",
        ),
        ("Implementation", f"{versions}, Python {platform.python_version()}."),
        ("Code", "The scenario file and the versions above give the same numbers to the last digit."),
    ]
