"""One page for a customer meeting: the answer first, then why, what it costs, what to order, what is open, cautions.

What stands behind it is an annex. The page needs nothing from outside; its own small script moves the replay of the
worst hour. The same plan gives the same bytes; a date stands in it only when it is given.
"""

import base64
import platform
import re
from collections.abc import Iterator
from importlib.metadata import version
from typing import Any, NamedTuple

import pandas as pd

from batsim.decision.recommendation import SAME_COST, Recommendation, recommend
from batsim.output import csv_text
from batsim.plan.cautions import DECIDES
from batsim.plan.checks import FAILS, TO_CHECK, cited
from batsim.plan.plan import LayoutPlan, Plan
from batsim.plan.seen import Seen
from batsim.statistics.written import number_text
from batsim.study.prices import MARK, plain_amount
from batsim.verification.verify import recorded
from batsim.views.page.annex import comparison_of_all, figure_text, inputs_of, layout_plan, other_layout
from batsim.views.page.replay import replay_block
from batsim.views.page.report_charts import charts_of
from batsim.views.page.templates import templates, units_written
from batsim.views.text.kept_together import KEPT
from batsim.views.text.layout_names import marked
from batsim.views.text.plan_text import pays_back, today_text, what_follows
from batsim.views.text.tables import simulated

KEYS = re.compile(r" \((?:[a-z]+[_.])+[a-z_]+(?:\[\d+\])?(?:: [^()]*)?\)")
"""Keys of a scenario in brackets, which say nothing to a customer."""
PLACEHOLDERS = f"{MARK} rests on estimates of prices until quotations replace them; in brackets the range they allow."
ORDERED = ("number", "item", "size", "area")
"""Columns of the order table as CSV."""


class Row(NamedTuple):
    """A row of the customer's table: what, a cell for each layout, and whether it is a part of the row above."""

    what: str
    cells: tuple[str, ...]
    is_part: bool = False


def report_html(plans: Plan, date: str = "", looked_at: Seen | None = None, *, annex: bool = False) -> str:
    """Write one self-contained page for a customer.

    Parameters
    ----------
    plans
        Plans of the layouts of a scenario, see `batsim.plan_layouts`. The recommended one is the answer.
    date
        Shown at the top; left out when empty, so that the same plans give the same bytes.
    looked_at
        What the plans' `seen` brings of the recommended layout, for the pictures of the worst hour and of the room over
        a week; none of them is drawn without it.
    annex
        Whether the annex (all tables, inputs, defaults with source, method, other layouts) goes on paper too. On the
        screen it is folded.

    Returns
    -------
    str
        HTML. It needs nothing from outside; everything that comes from the scenario is escaped.
    """
    page = templates().get_template("report.html.j2")
    advised = recommend(plans)
    return page.render(
        title=plans.scenario.site.name,
        question=plans.scenario.question,
        date=date,
        decides=DECIDES,
        with_annex=annex,
        charts=charts_of(plans, looked_at),
        replay=replay_block(looked_at.replay, "replayed") if looked_at else "",
        **_answer(plans, advised),
        **_behind(plans, advised),
    )


def _answer(plans: Plan, advised: Recommendation) -> dict[str, Any]:
    """What the customer reads."""
    best, scenario = plans.layouts[advised.layout], plans.scenario
    return {
        "says": without_keys(f"{advised.says} {advised.brings}".strip()),
        "answer_texts": [without_keys(text) for text in _told(plans, advised, best) if text],
        "layouts": [
            marked(name, scenario.present, impossible=bool(plans.layouts[name].impossible)) for name in advised.ranking
        ],
        "rows": list(_rows(plans, advised.ranking)),
        "usual": without_keys(advised.usual),
        "lines": [line for line in best.equipment if line.to_order],
        "sum": f"{best.money.purchase.as_quoted.text} {best.money.currency}",
        "order_csv": base64.b64encode(order_csv(best).encode()).decode(),
        "costs": [(line.what, line.per_year.times(best.money.equal_work_factor)) for line in best.money.lines],
        "in_all": best.money.at_equal_work,
        "currency": scenario.site.currency,
        "to_find_out": [
            (without_keys(question.ask), without_keys(question.changes))
            for question in plans.questions
            if advised.layout in question.layouts
        ],
        "to_cure": [
            (check.about, without_keys(what_follows(check)))
            for check in best.checks
            if check.verdict in (FAILS, TO_CHECK)
        ],
        "cautions": best.cautions,
    }


def _told(plans: Plan, advised: Recommendation, best: LayoutPlan) -> tuple[str, ...]:
    """What stands below the answer: cost, order, what is open, what the mark means, whether today was checked."""
    order = f"{advised.order} {'' if best.impossible else pays_back(best, doubt=False)}".strip()
    marked = PLACEHOLDERS if best.money.placeholders else ""
    return advised.costs, order, advised.opens, marked, today_text(plans.scenario)


def _behind(plans: Plan, advised: Recommendation) -> dict[str, Any]:
    """What the annex shows."""
    scenario, runs = plans.scenario, plans.comparison.runs
    versions = ", ".join(f"{name} {version(name)}" for name in ("batsim", "simpy", "numpy", "scipy"))
    figures = (*plans.figures, *([SAME_COST] if len(plans.layouts) > 1 else []))
    return {
        "comparison": comparison_of_all(plans),
        "advised": layout_plan(plans, advised.layout, 0),
        "others": [other_layout(plans, name, n) for n, name in enumerate(plans.layouts, 1) if name != advised.layout],
        "questions": plans.questions,
        "inputs": inputs_of(plans),
        "defaults": [scenario.figures[name] for name in figures],
        "simulated": simulated(runs.schedule),
        "simulated_shortly": simulated(runs.schedule).partition(", seed")[0],
        "confidence": runs.confidence,
        "checked": recorded(),
        "versions": f"{versions}, Python {platform.python_version()}",
        "plain_amount": plain_amount,
        "cited": cited,
        "units_written": units_written,
        "figure_text": figure_text,
        "what_follows": what_follows,
    }


def without_keys(text: str) -> str:
    """A text without keys of a scenario in brackets.

    Examples
    --------
    >>> without_keys("let them wait until the battery has them (charging.too_warm_or_cold: wait)")
    'let them wait until the battery has them'
    """
    return KEYS.sub("", text)


def order_csv(plan: LayoutPlan) -> str:
    """What is to be ordered for a layout as CSV, a row for each item, for a quotation to be filled in."""
    rows = [(line.to_order, line.item, line.size, line.area) for line in plan.equipment if line.to_order]
    return csv_text(pd.DataFrame(rows, columns=list(ORDERED)))


def _rows(plans: Plan, layouts: tuple[str, ...]) -> Iterator[Row]:
    """Layouts beside one another in what a customer asks: minutes, waits, things, people, money."""
    runs = plans.comparison.runs

    def of(measure: str, *, share: bool = False, part: Any = runs) -> tuple[str, ...]:  # noqa: ANN401 - runs
        return tuple(number_text(part.interval(name, measure), share=share) for name in layouts)

    yield Row("Downtime, min per truck-shift", of("downtime_min_per_truck_shift"))
    if len(runs.groups) > 1:
        for group, part in runs.groups.items():
            yield Row(f"trucks of {group}", of("downtime_min_per_truck_shift", part=part), is_part=True)
    for results in zip(*(plans.layouts[name].targets for name in layouts), strict=True):
        yield Row(f"Target: {results[0].target}", tuple(result.verdict for result in results))
    yield Row("Batteries", of("batteries"))
    yield Row("Chargers", of("chargers"))
    yield Row("Stations or charging spots", of("stations"))
    yield Row("Attendants, by shift", tuple(_attendants(plans, name) for name in layouts))
    yield Row("Hands-on work, min per working day", of("labour_min_per_day"))
    currency, money = plans.scenario.site.currency, [plans.layouts[name].money for name in layouts]
    yield Row(f"Cost, thousand {currency} a year", tuple(each.at_equal_work.in_thousands.text for each in money))
    yield Row(f"To order once, thousand {currency}", tuple(each.purchase.in_thousands.text for each in money))


def _attendants(plans: Plan, layout: str) -> str:
    """How many attendants are on duty, shift by shift."""
    stated = plans.scenario.layouts[layout]
    attendants = stated.attendants_of(stated.areas)
    if isinstance(attendants, dict):
        return ", ".join(f"{shift}{KEPT}{int(number)}" for shift, number in attendants.items())
    return str(attendants or "none: drivers")
