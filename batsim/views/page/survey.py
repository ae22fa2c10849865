"""The survey sheet as one page: a form to print, or to fill in on a tablet, with drawings of where to measure."""

import re
from math import ceil

from batsim.display import words
from batsim.plan.survey_sheet import SurveySheet
from batsim.views.page.templates import templates, units_written

LINE_LETTERS, MOST_LINES = 24, 8
"""Letters of an answer that stand in one line of its field, and the most lines of a field."""
KEYS = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)+")
"""Names of the catalogue, and others with a low line in them."""
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
    pages = templates()
    pages.filters["in_words"] = in_words
    return pages.get_template("survey.html.j2").render(sheet=survey, write_in=WRITE_IN, field_lines=_field_lines)


def in_words(text: str) -> str:
    """A text with the names of the catalogue and the units that stand in it as people write them.

    Examples
    --------
    >>> in_words("44 x electronic_iuia"), in_words("reach_1_6t_48v"), in_words("18 degC")
    ('44 x electronic IUIa', 'reach 1.6 t 48 V', '18 °C')
    """
    return units_written(KEYS.sub(lambda found: words(found[0]), text))


def _field_lines(value: str) -> int:
    """Lines of the field that holds an answer."""
    return min(MOST_LINES, max(1, ceil(len(value) / LINE_LETTERS)))
