"""Chart of what layouts cost in a year at equal work, by item."""

import math

from batsim.plan.cost_items import cost_items
from batsim.plan.plan import LayoutPlan, Plan
from batsim.statistics.intervals import Interval
from batsim.study.prices import MARK, plain_amount
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.solid_rows import AROUND_IN, ROW_IN, Part, Row, draw_rows
from batsim.views.text.layout_names import marks

LEGEND_IN = 0.25
"""What the second row of the legend takes. [in]"""
NONE = "No layout has a cost that is known."
NOTE = "Yearly cost at equal work by item; whiskers: from all prices low to all prices high"
PLACEHOLDERS = f"{MARK} rests on placeholders, not on prices of the site"


def cost_chart(plans: Plan, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw what each layout costs in a year at equal work, item by item.

    Parameters
    ----------
    plans
        What `batsim.plan_layouts` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout, the cheapest first: what is bought, people, trucks that stand, energy and water; the
        whisker goes from all prices at their low ends to all at their high ends; what is there today is in bold. The
        title says what it comes to.
    """
    layouts = _by_cost(plans)
    ax = style.axes_for_rows(ax, len(layouts), style.COLUMN_IN, ROW_IN, AROUND_IN + LEGEND_IN)
    title = _finding(plans)
    if not any(math.isfinite(each.money.at_equal_work.value) for each in layouts):
        return style.empty(ax, title, NONE, style.FINDING_PT)
    costs = [cost_items(each.money) for each in layouts]
    parts = [
        Part(look, [items[name].in_thousands.value for items in costs]) for name, look in palette.COST_LOOKS.items()
    ]
    draw_rows(ax, [_row(plans, each) for each in layouts], parts, columns=4)
    ax.set_xlabel(f"Cost [thousand {plans.scenario.site.currency} a year]", fontsize=style.WORD_PT)
    style.heading(ax, title, _note(layouts), style.FINDING_PT)
    return ax


def cost_text(plans: Plan) -> str:
    """Say in words what `cost_chart` draws, with its numbers."""
    rows = []
    for layout in _by_cost(plans):
        items = {name: cost.rounded.value for name, cost in cost_items(layout.money).items() if cost.value > 0.0}
        of_it = ", ".join(f"{palette.COST_LOOKS[name][2]} {plain_amount(amount)}" for name, amount in items.items())
        total = layout.money.at_equal_work.text
        rows.append(f"'{layout.layout}'{_mark(plans, layout)} {total}{f' ({of_it})' * bool(of_it)}")
    currency = plans.scenario.site.currency
    return f"{_finding(plans)}. {currency} a year at equal work, low to high: {'; '.join(rows)}."


def _by_cost(plans: Plan) -> list[LayoutPlan]:
    """Layouts, the cheapest first; those that are impossible come last."""

    def key(layout: LayoutPlan) -> tuple[bool, float]:
        cost = layout.money.at_equal_work.value
        return bool(layout.impossible), cost if math.isfinite(cost) else math.inf

    return sorted(plans.layouts.values(), key=key)


def _row(plans: Plan, layout: LayoutPlan) -> Row:
    """A layout as a row."""
    cost = layout.money.at_equal_work
    total = Interval(*cost.in_thousands[:3])
    text = f"{cost.in_thousands.value_text}{_mark(plans, layout)}"
    return Row(layout.layout, total, text, layout.layout == plans.scenario.present)


def _mark(plans: Plan, layout: LayoutPlan) -> str:
    """Say of a layout that it is there today, or impossible; empty for any other."""
    return marks(layout.layout, plans.scenario.present, impossible=bool(layout.impossible))


def _finding(plans: Plan) -> str:
    """What the bars say, as a sentence without its full stop."""
    known = [each for each in _by_cost(plans) if not each.impossible and math.isfinite(each.money.at_equal_work.value)]
    if not known:
        return "No layout that is possible has a known cost"
    best, *others = known
    currency, present = plans.scenario.site.currency, plans.scenario.present
    cost = f"{plain_amount(best.money.at_equal_work.rounded.value)} {currency} a year"
    today = next((each for each in others if each.layout == present), None)
    if today is not None:
        return f"Layout '{best.layout}' costs {cost}, {_less(best, today)} than today's"
    name = f"Today's layout '{best.layout}'" if best.layout == present else f"Layout '{best.layout}'"
    return f"{name} costs {cost}" + (f", {_less(best, others[0])} than '{others[0].layout}'" if others else "")


def _less(best: LayoutPlan, other: LayoutPlan) -> str:
    """How much less the cheapest costs than another at the same prices; a range where that is not sure."""
    more = other.money.more_than(best.money).rounded
    if more.low > 0.0 or more.low == more.high:
        return f"{plain_amount(more.value)} less"
    return f"{plain_amount(more.value)} ({plain_amount(more.low)} to {plain_amount(more.high)}) less"


def _note(layouts: list[LayoutPlan]) -> str:
    """What is drawn, and what a mark means."""
    marked = any(each.money.at_equal_work.placeholder for each in layouts)
    return f"{NOTE}.{f' {PLACEHOLDERS}.' * marked}"
