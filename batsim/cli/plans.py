"""The command that plans: checks, equipment, ventilation, supply, money, cautions."""

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

import batsim
from batsim.cli.deciding import deciding_first, to_plan
from batsim.cli.group import main
from batsim.cli.options import RUN, line_progress, shared, show, width, written
from batsim.cli.pages import PAPERS, is_pdf, pdf_of, write_page
from batsim.output import csv_text, replacing

TABLES = ("checks", "equipment", "money")


@main.command()
@shared(*RUN, "as_json")
@deciding_first
@click.option("--full", is_flag=True, help="All checks, lists, ventilation, supply, cost, cautions, open questions.")
@click.option(
    "--tables", type=click.Path(file_okay=False), help="Folder to write checks, equipment and money to as CSV."
)
def plan(file: str, as_json: bool, full: bool, tables: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Plan layouts: which to choose, what fits, what to order, what it costs; --full for all of it."""
    from batsim.views.text.plan_text import plan_text  # noqa: PLC0415 - heavy

    plans = batsim.plan_layouts(*to_plan(file, options))
    if tables is not None:
        folder = Path(tables)
        with written("--tables", "choose another folder"):
            folder.mkdir(parents=True, exist_ok=True)
            for name in TABLES:
                with replacing(folder / f"{name}.csv") as beside:
                    beside.write_text(csv_text(getattr(plans, f"{name}_frame")), encoding="utf-8", newline="")
    if as_json:
        show(plans.as_json() | {"recommendation": batsim.recommend(plans)._asdict()})
    else:
        show(plan_text(plans, width(), full=full))


@main.command()
@shared(*RUN)
@deciding_first
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Page to write: .html, or .pdf.")
@click.option("--paper", type=click.Choice(PAPERS), default=PAPERS[0], help="Paper of a .pdf; a4 when not given.")
@click.option("--annex", is_flag=True, help="On paper too what stands behind the answer: all tables, inputs, sources.")
@click.option("--order", "ordered", type=click.Path(dir_okay=False), help="Table of what to order to write, as CSV.")
@click.option("--date", help="Date at the top; default: that of SOURCE_DATE_EPOCH, or none.")
def report(
    file: str,
    output: str,
    paper: str,
    annex: bool,
    ordered: str | None,
    date: str | None,
    **options: Any,  # noqa: ANN401 - click's options
) -> None:
    """Write one self-contained page for a customer: answer, why, cost, what to order, what is open, cautions."""
    as_pdf = is_pdf(output, "a report")
    plans = batsim.plan_layouts(*to_plan(file, options))
    advised = batsim.recommend(plans).layout
    if tell := line_progress():
        tell("the worst hour, the room over a week, and the page")
    looked_at = plans.seen(advised, options["workers"])
    html = batsim.report_html(plans, _date() if date is None else date, looked_at, annex=annex)
    if ordered is not None:
        with written("--order", "choose another file"), replacing(Path(ordered)) as beside:
            beside.write_text(batsim.order_csv(plans.layouts[advised]), encoding="utf-8", newline="")
    write_page(output, pdf_of(html, paper) if as_pdf else html)
    click.echo(f"wrote {output}")


def _date() -> str:
    """Day of SOURCE_DATE_EPOCH, seconds since 1970; empty when it is not set."""
    seconds = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not seconds.isdecimal():
        return ""
    return datetime.fromtimestamp(int(seconds), tz=UTC).date().isoformat()
