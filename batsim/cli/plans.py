"""The command that plans: checks, equipment, ventilation, supply, money, cautions."""

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from batsim.cli.group import main
from batsim.cli.options import RUN, read_scenario, settings_of, shared, show, width

PAGES = (".html", ".pdf")
PAPERS = ("a4", "letter")
TABLES = ("checks", "equipment", "money")


@main.command()
@shared(*RUN, "as_json")
@click.option(
    "--tables", type=click.Path(file_okay=False), help="Folder to write checks, equipment and money to as CSV."
)
def plan(file: str, as_json: bool, tables: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Plan layouts: what fits, what to order, ventilation, supply, money, cautions, open questions."""
    from batsim.decision.ranking import recommend  # noqa: PLC0415 - heavy
    from batsim.plan.plan import plan_layouts  # noqa: PLC0415
    from batsim.views.text.plan_text import plan_text  # noqa: PLC0415

    scenario = read_scenario(file)
    plans = plan_layouts(scenario, settings_of(options))
    if tables is not None:
        folder = Path(tables)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name in TABLES:
                getattr(plans, f"{name}_frame").to_csv(folder / f"{name}.csv", index=False)
        except OSError as error:
            message = f"--tables: cannot be written ({error.strerror or error}); choose another folder"
            raise click.UsageError(message) from error
    show(plans.as_json() | {"recommendation": recommend(plans)._asdict()} if as_json else plan_text(plans, width()))


@main.command()
@shared(*RUN)
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Page to write: .html, or .pdf.")
@click.option("--paper", type=click.Choice(PAPERS), default=PAPERS[0], help="Paper of a .pdf; a4 when not given.")
@click.option("--date", help="Date at the top; default: that of SOURCE_DATE_EPOCH, or none.")
def report(file: str, output: str, paper: str, date: str | None, **options: Any) -> None:  # noqa: ANN401 - click's options
    """Write one self-contained page for a customer: answer, comparison, evidence, plan, assumptions, method."""
    from batsim.decision.ranking import recommend  # noqa: PLC0415 - heavy
    from batsim.plan.plan import plan_layouts  # noqa: PLC0415
    from batsim.views.page.report import report_html  # noqa: PLC0415

    path = Path(output)
    if path.suffix.lower() not in PAGES:
        message = f"--output: a report must end in {' or '.join(PAGES)} (got {output})"
        raise click.UsageError(message)
    plans = plan_layouts(read_scenario(file), settings_of(options))
    room = plans.room(recommend(plans).layout, options["workers"])
    html = report_html(plans, _date() if date is None else date, room)
    try:
        if path.suffix.lower() == ".pdf":
            path.write_bytes(_pdf(html, paper))
        else:
            path.write_text(html, encoding="utf-8")
    except OSError as error:
        message = f"--output: cannot be written ({error.strerror or error}); choose another file"
        raise click.UsageError(message) from error
    click.echo(f"wrote {output}")


def _date() -> str:
    """Day of SOURCE_DATE_EPOCH, seconds since 1970; empty when it is not set."""
    seconds = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not seconds.isdecimal():
        return ""
    return datetime.fromtimestamp(int(seconds), tz=UTC).date().isoformat()


def _pdf(html: str, paper: str) -> bytes:
    """Lay the page out on paper."""
    try:
        from weasyprint import CSS, HTML  # noqa: PLC0415 - an extra
    except (ImportError, OSError) as error:
        message = (
            "--output: a .pdf needs the extra 'pdf': pip install 'batsim[pdf]'; a browser prints the .html as well"
        )
        raise click.UsageError(message) from error
    pdf: bytes = HTML(string=html).write_pdf(stylesheets=[CSS(string=f"@page {{ size: {paper} }}")])
    return pdf
