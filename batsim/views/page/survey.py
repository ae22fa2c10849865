"""The survey sheet as one page: a form to print, or to fill in on a tablet, with drawings of where to measure."""

from math import ceil

from jinja2 import Environment, PackageLoader

from batsim.plan.survey_sheet import SurveySheet

LINE_LETTERS, MOST_LINES = 24, 8
"""Letters of an answer that stand in one line of its field, and the most lines of a field."""
WRITE_IN = ("Date", "Measured by", "Shown round by", "Address")
"""What is written at the top by hand."""


def survey_html(survey: SurveySheet) -> str:
    """Write the survey sheet as one self-contained page.

    Parameters
    ----------
    survey
        What `batsim.survey` returns.

    Returns
    -------
    str
        HTML: a form. It needs nothing from outside and keeps nothing; everything that comes from the scenario is
        escaped.
    """
    page = Environment(
        loader=PackageLoader("batsim.views", "page"), autoescape=True, trim_blocks=True, lstrip_blocks=True
    ).get_template("survey.html.j2")
    return page.render(sheet=survey, write_in=WRITE_IN, field_lines=_field_lines)


def _field_lines(value: str) -> int:
    """Lines of the field that holds an answer."""
    return min(MOST_LINES, max(1, ceil(len(value) / LINE_LETTERS)))
