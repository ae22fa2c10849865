"""The command that writes the sheet of questions to take to a site."""

import click

import batsim
from batsim.cli.group import main
from batsim.cli.options import refuse, say
from batsim.cli.pages import PAPERS, is_pdf, pdf_of, write_page


@main.command()
@click.argument("file", required=False, type=click.Path(dir_okay=False))
@click.option("--blank", is_flag=True, help="A sheet for a site of which nothing is known yet, in place of FILE.")
@click.option("--groups", type=click.IntRange(1, 20), help="Truck groups of a blank sheet; default: 1.")
@click.option("--output", required=True, type=click.Path(dir_okay=False), help="Sheet to write: .html, or .pdf.")
@click.option("--paper", type=click.Choice(PAPERS), default=PAPERS[0], help="Paper of a .pdf; a4 when not given.")
def survey(file: str | None, blank: bool, groups: int | None, output: str, paper: str) -> None:
    """Write a form to take to the site: what is known, what is missing and would change something, where to measure."""
    if file is None and not blank:
        refuse("FILE: missing; name a scenario, or add --blank for a new site")
    if file is not None and blank:
        refuse("--blank: is for a new site; leave it out, or leave out FILE")
    if groups is not None and not blank:
        refuse("--groups: is for --blank; the truck groups of a site are those of its file")
    as_pdf = is_pdf(output, "a survey sheet")
    sheet = batsim.survey(None if file is None else batsim.read(file), groups=groups or 1)
    html = batsim.survey_html(sheet)
    write_page(output, pdf_of(html, paper) if as_pdf else html)
    say(f"wrote {output}: {sheet.missing} of {len(sheet.lines)} answers are missing")
