"""Plans in words: the recommendation, then for each layout checks, list, ventilation, supply, money, cautions."""

import math
from typing import TYPE_CHECKING

from batsim.decision.ranking import recommend
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK
from batsim.plan.equipment import SECTIONS
from batsim.plan.money import LEFT_OUT
from batsim.views.text.lines import columns, entry, indented, listed, one_block, sentence
from batsim.views.text.services_text import supply_lines, ventilation_lines
from batsim.views.text.tables import heading, number_text

if TYPE_CHECKING:
    from batsim.plan.plan import LayoutPlan, Plan
    from batsim.study.prices import Price

TAGS = {FAILS: "FAILS", TO_CHECK: "to check", NOT_KNOWN: "not known", OK: "OK"}
"""What stands before a check."""
AS_THEY_WEAR = "Batteries count as they wear out."
"""What stands behind a payback."""
MARK = "*"
"""Marks what rests on placeholders."""


def amount_text(price: "Price", digits: int = 0) -> str:
    """Write an amount, marked where it rests on placeholders."""
    return f"{price.value:,.{digits}f}{MARK if price.placeholder else ''}"


def plan_text(found: "Plan", width: int = 100) -> str:
    """Write plans for a terminal so many characters wide."""
    lines = [heading(found.comparison.runs, width), ""]
    advised = recommend(found)
    lines += [sentence(advised.says, width)]
    lines += [listed(reason, width) for reason in advised.reasons]
    if advised.risks:
        lines += ["", "Main risks:"]
        lines += [listed(risk, width, first=f"  {number}. ") for number, risk in enumerate(advised.risks, start=1)]
    if len(found.layouts) > 1:
        lines += ["", *_side_by_side(found, width)]
    for each in found.layouts.values():
        lines += ["", *layout_lines(each, width)]
    lines += ["", *_questions(found, width)]
    return "\n".join(lines)


def _side_by_side(found: "Plan", width: int) -> list[str]:
    """A row for each layout."""
    currency = found.scenario.site.currency
    rows = [["", "downtime", "targets", "fail", "to check", "not known", "to order", "a year", "truck-hour"]]
    rows.append(["", "min/shift", "missed", "", "", "", currency, currency, currency])
    for name, each in found.layouts.items():
        downtime = found.comparison.runs.interval(name, "downtime_min_per_truck_shift")
        counts = each.verdicts
        rows.append(
            [
                name,
                number_text(downtime),
                str(each.targets_missed) if each.targets else "-",
                *(str(counts[verdict]) for verdict in (FAILS, TO_CHECK, NOT_KNOWN)),
                f"{each.money.purchase.value:,.0f}",
                f"{each.money.per_year.value:,.0f}",
                f"{each.money.per_truck_hour.value:.2f}",
            ]
        )
    return columns(rows, width, heads=2)


def layout_lines(each: "LayoutPlan", width: int) -> list[str]:
    """The plan of one layout, line by line."""
    title = sentence(f"{each.layout} ({each.title})", width)
    lines = [title, "=" * min(width, max(map(len, title.splitlines())))]
    lines += _advice(each, width)
    lines += ["", *_checks(each, width)]
    lines += ["", *_equipment(each, width)]
    lines += ["", *ventilation_lines(each.ventilation, width)]
    lines += ["", *supply_lines(each.supply, width)]
    lines += ["", *_money(each, width)]
    lines += ["", "Cautions"]
    lines += [listed(text, width) for text in each.cautions]
    return lines


def _advice(each: "LayoutPlan", width: int) -> list[str]:
    """When the arrangement is usual, and how the site compares."""
    if not each.advice.says:
        return []
    lines = [sentence(f"Usually chosen (common practice, no source): {each.advice.says}", width)]
    for what, reasons in (("Speaks for it here", each.advice.speaks_for), ("Against it", each.advice.speaks_against)):
        if reasons:
            lines.append(indented(f"{what}: {'; '.join(reasons)}.", width))
    return lines


def _checks(each: "LayoutPlan", width: int) -> list[str]:
    """What does not hold in full, what holds in a line each, what is not known as a count."""
    lines = [sentence(f"Checks: {each.counts}", width)]
    for check in each.checks:
        head = f"{check.subject}, {check.name}"
        if check.verdict == OK:
            text = f"{head}: {check.value} ({check.limit}; {check.rule})"
        elif check.verdict == NOT_KNOWN:
            text = head + ("" if check.limit in ("-", "") else f" ({check.limit}; {check.rule})")
        else:
            text = f"{head}: {check.value}; allowed: {check.limit} ({check.rule}). {check.sentence}"
            text += f" Cure: {check.cure}." if check.cure else ""
        lines.append(listed(text, width, first=f"  {TAGS[check.verdict]:<10}"))
    return lines


def _equipment(each: "LayoutPlan", width: int) -> list[str]:
    """The list, section by section; what is owned apart."""
    lines = ["Equipment list"]
    for key, title in SECTIONS.items():
        mine = [line for line in each.equipment if line.section == key and line.to_order]
        lines += [f"  {title}"] if mine else []
        for line in mine:
            size = f", {line.size}" if line.size else ""
            beside = f"; {line.owned:g} more are there" if line.owned else ""
            text = f"x {line.item}{size} - {line.reason}{beside}"
            lines.append(listed(text, width, first=f"    {line.to_order:>4g} "))
    owned = [line for line in each.equipment if line.owned]
    if owned:
        lines.append("  Owned, not to be ordered")
        lines += [listed(f"x {line.item}", width, first=f"    {line.owned:>4g} ") for line in owned]
    return lines


def _money(each: "LayoutPlan", width: int) -> list[str]:
    """What it costs, with what rests on placeholders marked."""
    spent = each.money
    lines = [f"Money ({spent.currency})"]
    rows = [["  in a year", "", "from", "to", ""]]
    for line in spent.lines:
        rows.append([f"  {line.what}", *_cells(line.per_year)])
    rows.append(["  in all", *_cells(spent.per_year)])
    if spent.exchanges_per_year > 0.0:
        rows.append(["  for each exchange", *_cells(spent.per_exchange, 2)])
    rows.append(["  for each truck-hour", *_cells(spent.per_truck_hour, 2)])
    rows.append(["  to order, once", *_cells(spent.purchase)])
    lines += one_block(rows, width) or _money_list(rows, width)
    lines += [listed(f"{line.what}: {line.basis}", width) for line in spent.lines if line.basis]
    if each.payback is not None:
        lines.append(sentence(f"{payback_sentence(each)} {AS_THEY_WEAR}", width))
    if spent.placeholders:
        note = (
            f"{MARK} rests on placeholders of the catalogue (orders of size of 2025 in EUR, whatever the currency), "
            f"with their range: {', '.join(spent.placeholders)}. State your own under 'prices' before this is used."
        )
        lines.append(sentence(note, width))
    lines.append(sentence(LEFT_OUT, width))
    return lines


def _money_list(rows: list[list[str]], width: int) -> list[str]:
    """Amounts one below the other, each with its range, for a terminal too narrow for columns."""
    (head, *_), *amounts = rows
    lines = [head]
    for what, value, low, high, mark in amounts:
        span = f"({low} to {high})" if low else ""
        lines.append(entry(what, value, f"{span} {mark}".strip(), width, 0))
    return lines


def _cells(price: "Price", digits: int = 0) -> list[str]:
    """Value, range and mark of a price."""
    if not math.isfinite(price.value):
        return ["-", "", "", ""]
    value = f"{price.value:,.{digits}f}"
    if price.low == price.high:
        return [value, "", "", MARK if price.placeholder else ""]
    return [value, f"{price.low:,.{digits}f}", f"{price.high:,.{digits}f}", MARK if price.placeholder else ""]


def payback_sentence(each: "LayoutPlan") -> str:
    """When a layout pays back against what is there today."""
    back = each.payback
    assert back is not None  # asked for before
    currency = each.money.currency
    if back.price <= 0.0:
        saved = f"{abs(back.saved_per_year):,.0f} {currency} a year"
        saves = f"saves {saved}" if back.saved_per_year >= 0.0 else f"costs {saved} more"
        return f"Nothing is to be ordered beside batteries; against {back.against} it {saves} to run."
    if not math.isfinite(back.years):
        return (
            f"Against {back.against} it never pays back: {back.price:,.0f} {currency} to order beside batteries, and "
            f"running it costs {-back.saved_per_year:,.0f} {currency} a year more."
        )
    with_interest = (
        f"{back.discounted_years:.1f} years with interest"
        if math.isfinite(back.discounted_years)
        else "never with interest"
    )
    return (
        f"Against {back.against} it pays back in {back.years:.1f} years ({with_interest}): {back.price:,.0f} "
        f"{currency} to order beside batteries, {back.saved_per_year:,.0f} {currency} a year less "
        f"to run; net present value over {back.horizon_years:g} years {back.net_present_value:,.0f} {currency}."
    )


def _questions(found: "Plan", width: int) -> list[str]:
    """What to find out on site."""
    if not found.questions:
        return ["Open questions: none."]
    lines = [sentence(f"Open questions ({len(found.questions)}), with what each would change:", width)]
    for question in found.questions:
        whose = "" if len(question.layouts) == len(found.layouts) else f" [{', '.join(question.layouts)}]"
        text = f"{question.ask[0].upper()}{question.ask[1:]} ({question.path}){whose}: {question.changes}."
        lines.append(listed(text, width))
    return lines
