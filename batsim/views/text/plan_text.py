"""Plans in words: the answer in one screen; in full each layout with checks, list, services, money and cautions."""

import math
from collections.abc import Callable

from batsim.catalogue import Figures
from batsim.decision.recommendation import recommend
from batsim.display import counted
from batsim.plan.cautions import DECIDES
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK, Check
from batsim.plan.conversion import PartChange
from batsim.plan.equipment import NO_MORE
from batsim.plan.equipment_line import SECTIONS, EquipmentLine
from batsim.plan.money import LEFT_OUT, Payback, YearlyCost
from batsim.plan.plan import LayoutPlan, Plan
from batsim.plan.possible import why
from batsim.plan.ventilation import Ventilation
from batsim.scenario.site import Scenario
from batsim.statistics.written import number_text
from batsim.study.prices import MARK, NOTHING, Price, plain_amount
from batsim.views.text.layout_names import marked
from batsim.views.text.lines import columns, entry, listed, one_block, sentence
from batsim.views.text.services_text import CONFIRM, supply_facts, ventilation_facts
from batsim.views.text.tables import heading

COSTS: dict[str, Callable[[YearlyCost], Price]] = {
    "to order, once": lambda money: money.purchase.as_quoted,
    "in a year": lambda money: money.per_year,
    "in a year at equal work": lambda money: money.at_equal_work,
    "for each truck-hour worked": lambda money: money.per_truck_hour,
}
"""What layouts are compared by."""
TAGS = {FAILS: "FAILS", TO_CHECK: "to check", NOT_KNOWN: "not known", OK: "OK"}
"""What stands before a check."""
AS_THEY_WEAR = "Batteries count as they wear out."
"""What stands behind a payback."""
CHANGES = "Parts that change against today"
LOTS = "Lots of batteries, at the pace simulated"
"""Stands over what a conversion takes."""


UNCHECKED = "today not checked against records"
"""Mark of a payback against a situation of today that nobody has set beside records."""
NOT_CHECKED = "today's minutes and costs are the model's, not yet set beside records of the site"
"""What is said of what is saved against a situation of today that nobody has checked."""


def plan_text(plans: Plan, width: int = 100, *, full: bool = False) -> str:
    """Write plans for a terminal so many characters wide: the answer in one screen; in full, the rest before it."""
    lines = [heading(plans.comparison.runs, width), ""]
    if full:
        for plan in plans.layouts.values():
            lines += [*layout_lines(plan, plans.scenario.figures, width), ""]
        lines += [*_costs_side_by_side(plans, width), "", *_questions(plans, width), ""]
    return "\n".join([*lines, *_answer(plans, width, full=full)])


def _answer(plans: Plan, width: int, *, full: bool) -> list[str]:
    """Layouts side by side, why, what is open, what to do."""
    advised = recommend(plans)
    lines = [*_side_by_side(plans, advised.ranking, width), ""] if len(plans.layouts) > 1 else []
    lines += ["Why", *(listed(reason, width) for reason in (advised.reasons if full else advised.reasons[:2]))]
    if advised.risks:
        lines += ["", "Main risks", *(listed(risk, width) for risk in advised.risks)]
    lines += ["", sentence(f"What to do: {advised.headline}", width)]
    lines += [sentence(advised.order, width)] if advised.order else []
    lines += [sentence(today, width)] if (today := today_text(plans.scenario)) else []
    rest = "" if full else f"{counted(len(plans.questions), 'open question')}, checks, list, cost, cautions: --full. "
    return [*lines, "", sentence(f"{MARK} rests on placeholders. {rest}{DECIDES}", width)]


def today_text(scenario: Scenario) -> str:
    """Whether the situation of today was checked, in a sentence; empty where nobody says what is there today."""
    if scenario.present is None:
        return ""
    found = scenario.calibration_of_today
    return f"Not checked: {NOT_CHECKED}." if found is None else found.sentence


def _side_by_side(plans: Plan, ranking: tuple[str, ...], width: int) -> list[str]:
    """A row for each layout, the best first."""
    currency = plans.scenario.site.currency
    rows = [
        ["", "minutes lost", "targets", "checks", "not", f"1,000 {currency}", f"1,000 {currency}"],
        ["", "per shift", "missed", "failing", "known", "a year", "to order"],
    ]
    for name in ranking:
        plan = plans.layouts[name]
        rows.append(
            [
                marked(name, plans.scenario.present, impossible=bool(plan.impossible)),
                number_text(plans.comparison.runs.interval(name, "downtime_min_per_truck_shift")),
                str(plan.targets_missed) if plan.targets else "-",
                *(str(plan.verdicts[verdict]) for verdict in (FAILS, NOT_KNOWN)),
                *(price.in_thousands.text for price in (plan.money.at_equal_work, plan.money.purchase)),
            ]
        )
    return columns(rows, width, heads=2)


def _costs_side_by_side(plans: Plan, width: int) -> list[str]:
    """What the layouts cost, each with its range."""
    rows = [[plans.scenario.site.currency, "", "from", "to", ""]]
    for what, amount_of in COSTS.items():
        rows.append([what, "", "", "", ""])
        rows += [[f"  {name}", *_cells(amount_of(plan.money))] for name, plan in plans.layouts.items()]
    return one_block(rows, width) or _money_list(rows, width)


def layout_lines(plan: LayoutPlan, figures: Figures, width: int) -> list[str]:
    """The plan of one layout, line by line."""
    lines = [*_head(plan, width), "", sentence(f"Checks: {plan.counts}", width)]
    lines += [listed(_check(check), width, first=f"  {TAGS[check.verdict]:<10}") for check in plan.checks]
    lines += ["", *_equipment(plan, width)]
    for head, texts in ((LOTS, lot_texts(plan)), (CHANGES, change_texts(plan))):
        lines += ["", head, *(listed(text, width) for text in texts)] if texts else []
    lines += _ventilations(plan, figures, width)
    lines += ["", "Supply", *(listed(fact, width) for fact in supply_facts(plan.supply, figures))]
    lines += ["", *_money(plan, width)]
    return [*lines, "", "Cautions", *(listed(caution, width) for caution in plan.cautions)]


def _ventilations(plan: LayoutPlan, figures: Figures, width: int) -> list[str]:
    """Air that each space needs, and why."""
    lines: list[str] = []
    for air in plan.ventilations:
        lines += ["", sentence(ventilation_head(plan, air), width)]
        lines += [listed(fact, width) for fact in ventilation_facts(air, figures)]
        lines += [sentence(CONFIRM, width)] if air.flow_m3_per_h else []
    return lines


def _head(plan: LayoutPlan, width: int) -> list[str]:
    """What it is, when it is usual, and whether it is impossible."""
    title = sentence(f"{plan.layout} ({plan.title})", width)
    advice = advice_texts(plan)
    lines = [title, "=" * min(width, max(map(len, title.splitlines())))]
    lines += [sentence(advice[0], width), *(sentence(text, width, 2) for text in advice[1:])] if advice else []
    return lines + (["", sentence(f"Impossible: {why(plan.impossible)}", width)] if plan.impossible else [])


def ventilation_head(plan: LayoutPlan, air: Ventilation) -> str:
    """What stands over the ventilation of a space, which is named where there are several."""
    space = f" of the {air.space_name}" if len(plan.ventilations) > 1 else ""
    return f"Ventilation{space} ({air.edition})"


def advice_texts(plan: LayoutPlan) -> list[str]:
    """When the arrangement is usual, and how the site compares."""
    advice = plan.advice
    if not advice.says:
        return []
    sides = (("Speaks for it here", advice.speaks_for), ("Against it", advice.speaks_against))
    return [
        f"Usually chosen (common practice, no source): {advice.says}",
        *(f"{what}: {'; '.join(reasons)}." for what, reasons in sides if reasons),
    ]


def what_follows(check: Check) -> str:
    """What a check says, and how what it finds is cured."""
    return check.sentence + (f" Cure: {check.cure}." if check.cure else "")


def _check(check: Check) -> str:
    """What is wrong in full, what is OK with its limit, what is not known with what is missing."""
    head = check.about
    if check.verdict == OK:
        return f"{head}: {check.value} ({check.limit}; {check.rule})"
    if check.verdict == NOT_KNOWN:
        limit = "" if check.limit in ("-", "") else f" ({check.limit}; {check.rule})"
        return f"{head}: {check.ask}{limit}"
    return f"{head}: {check.value}; allowed: {check.limit} ({check.rule}). {what_follows(check)}"


def _equipment(plan: LayoutPlan, width: int) -> list[str]:
    """The list, section by section, with its sum; what is owned apart."""
    lines = ["Equipment list"]
    for section, title in SECTIONS.items():
        lines += _section([line for line in plan.equipment if line.to_order and line.section == section], title, width)
    lines.append(sentence(f"To order in all: {plan.money.purchase.as_quoted.text} {plan.money.currency}", width, 2))
    owned = [line for line in plan.equipment if line.owned]
    lines += ["  Owned, not to be ordered"] if owned else []
    return lines + [
        listed(f"x {_item(line)}{f'; {NO_MORE}' if line.kept else ''}", width, first=f"    {line.owned:>4g} ")
        for line in owned
    ]


def lot_texts(plan: LayoutPlan) -> list[str]:
    """What becomes of each lot of batteries."""
    return [
        f"{lot.battery_type}, {lot.lot}: {counted(lot.batteries, 'battery')}, each discharged "
        f"{lot.discharges_per_week:.1f} times a week; lasts {lot.left_years:.1f} years more"
        + (f", {lot.due:.3g} due to be replaced within a year" if lot.due else "")
        for lot in plan.lots
    ]


def change_texts(plan: LayoutPlan) -> list[str]:
    """Parts that change against the layout of today, each in words."""
    return [_change(change) for change in plan.conversion]


def _change(change: PartChange) -> str:
    """How many more or fewer of a part, and what they have to be."""
    more, size = change.after - change.before, f", {change.size}" if change.size else ""
    if more < 0.0:
        kept = f"; {change.after:g} stay{size}" if change.after else ""
        return f"{-more:g} x {change.item} no longer needed{kept}"
    if not more:
        return f"{change.after:g} x {change.item} in another size{size}"
    others = f"; the {change.before:g} of today in another size" if change.other_size else ""
    return f"{more:g} x {change.item} more{size}{others}"


def _section(to_order: list[EquipmentLine], title: str, width: int) -> list[str]:
    """What is ordered of a section, under its title; nothing where that is nothing."""
    lines = [f"  {title}"] if to_order else []
    return lines + [listed(_ordered(line), width, first=f"    {line.to_order:>4g} ") for line in to_order]


def _ordered(line: EquipmentLine) -> str:
    """What is ordered, and why; with what is there already."""
    size = f", {line.size}" if line.size else ""
    owned = f"; {line.owned:g} more {'is' if line.owned == 1 else 'are'} there" if line.owned else ""
    return f"x {_item(line)}{size} - {line.reason}{owned}"


def _item(line: EquipmentLine) -> str:
    """What it is, with its area where it has one."""
    return f"{line.item} for area '{line.area}'" if line.area else line.item


def _money(plan: LayoutPlan, width: int) -> list[str]:
    """What it costs, with what rests on placeholders marked."""
    money = plan.money
    rows = [["  in a year", "", "from", "to", ""]]
    rows += [[f"  {line.what}", *_cells(line.per_year)] for line in money.lines]
    rows.append(["  in all", *_cells(money.per_year)])
    if money.exchanges_per_year > 0.0:
        rows.append(["  for each exchange", *_cells(money.per_exchange)])
    rows.append(["  for each truck-hour worked", *_cells(money.per_truck_hour)])
    rows.append(["  to order, once", *_cells(money.purchase.as_quoted)])
    lines = [f"Cost ({money.currency})", *(one_block(rows, width) or _money_list(rows, width))]
    lines += [listed(f"{line.what}: {line.basis}", width) for line in money.lines if line.basis]
    if plan.payback is not None:
        lines.append(sentence(f"{payback_sentence(plan)} {AS_THEY_WEAR}", width))
    if money.placeholders:
        note = (
            f"{MARK} rests on placeholders of the catalogue (orders of size of 2025 in EUR, whatever the currency), "
            f"with their range: {', '.join(money.placeholders)}. State your own under 'prices' before this is used."
        )
        lines.append(sentence(note, width))
    return [*lines, sentence(LEFT_OUT, width)]


def _money_list(rows: list[list[str]], width: int) -> list[str]:
    """Amounts one below the other, each with its range, for a terminal too narrow for columns."""
    (head, *_), *amounts = rows
    lines = [head]
    for what, value, low, high, mark in amounts:
        if not value:
            lines.append(sentence(what, width))
            continue
        span = f"({low} to {high})" if low else ""
        lines.append(entry(what, value, f"{span} {mark}".strip(), width, 0))
    return lines


def _cells(price: Price) -> list[str]:
    """What is known of a price: value, range and mark."""
    if not math.isfinite(price.value):
        return ["-", "", "", ""]
    value, low, high = (plain_amount(amount) for amount in price.rounded[:3])
    span = ["", ""] if low == high else [low, high]
    return [value, *span, MARK if price.placeholder else ""]


def payback_sentence(plan: LayoutPlan) -> str:
    """When a layout pays back against what is there today, with the range of every number."""
    back = plan.payback
    assert back is not None  # asked for before
    currency = plan.money.currency
    saves = f"saves {back.saved_per_year.text} {currency} a year"
    if back.saved_per_year.value < 0.0:
        saves = f"costs {NOTHING.minus(back.saved_per_year).text} {currency} a year more"
    to_order = f"{back.price.as_quoted.text} {currency} to order beside batteries"
    worth = f"net present value over {back.horizon_years:g} years {back.net_present_value.text} {currency}"
    if back.price.high <= 0.0:
        nothing = "Nothing is to be ordered beside batteries"
        return f"{nothing}; against layout '{back.against}' it {saves} to run; {worth}{_rests_on(back)}."
    if not math.isfinite(back.years.value):
        pays = f"it never pays back{_years_range(back.years)}"
        return f"Against layout '{back.against}' {pays}: {to_order}, and it {saves} to run; {worth}{_rests_on(back)}."
    with_interest = f"{_years(back.discounted_years.value)}{_years_range(back.discounted_years)} with interest"
    pays = f"it pays back in {_years(back.years.value)}{_years_range(back.years)}, {with_interest}"
    return f"Against layout '{back.against}' {pays}: {to_order}, and it {saves} to run; {worth}{_rests_on(back)}."


def _rests_on(back: Payback) -> str:
    """What is said of a payback whose other side nobody has checked."""
    return "" if back.against_records else f" ({UNCHECKED})"


def pays_back(plan: LayoutPlan, *, doubt: bool = True) -> str:
    """In how many years a layout pays back against what is there today, as a sentence; empty where nothing is told.

    Its doubt, that nobody has checked the minutes of today, is told with it unless that stands elsewhere.
    """
    back = plan.payback
    if back is None or back.price.high <= 0.0:
        return ""
    rests_on = _rests_on(back) if doubt else ""
    if not math.isfinite(back.years.value):
        return f"It never pays back{_years_range(back.years)}{rests_on}."
    batteries = any(line.to_order and line.item.startswith("battery (") for line in plan.equipment)
    what = "Everything but the batteries" if batteries else "It"
    return f"{what} pays back in {_years(back.years.value)}{_years_range(back.years)}{rests_on}."


def _years(years: float) -> str:
    return f"{years:.1f} years" if math.isfinite(years) else "never"


def _years_range(years: Price) -> str:
    """Between what a number of years lies, with its mark."""
    low, high = (_years(end) for end in (years.low, years.high))
    low = low.removesuffix(" years") if high.endswith(" years") else low
    return (MARK if years.placeholder else "") + (f" ({low} to {high})" if low != high else "")


def _questions(plans: Plan, width: int) -> list[str]:
    """What to find out on site."""
    if not plans.questions:
        return ["Open questions: none."]
    lines = [sentence(f"Open questions ({len(plans.questions)}), with what each would change:", width)]
    for question in plans.questions:
        whose = "" if len(question.layouts) == len(plans.layouts) else f" [{', '.join(question.layouts)}]"
        text = f"{question.ask[0].upper()}{question.ask[1:]} ({question.path}){whose}: {question.changes}."
        lines.append(listed(text, width))
    return lines
