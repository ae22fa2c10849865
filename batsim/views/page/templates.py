"""Templates of pages: what comes from a scenario is escaped, and a number stays in the line of its unit."""

import re

from jinja2 import Environment, PackageLoader
from markupsafe import Markup, escape

from batsim.views.text.kept_together import numbers_with_units

POWERS, RAISED = re.compile(r"\b([cm]?m|ft)([23])\b"), {"2": "²", "3": "³"}
"""Units of areas and volumes."""
THOUSANDS = re.compile(r"(?<![\w.,-])\d{4,}(?= (?:EUR|m³/h|m³|mm|kg|J))")
"""Whole numbers of four digits and more before a unit."""
PART_END = re.compile(r"([._])(?=\w)")
"""Where a part of a key ends."""
WEEKS = re.compile(r"\b(weeks \d+)-(?=\d)")
"""From one week to another, where a line could end at the hyphen."""
ONE_OF = re.compile(r"(?<![\w.,-])1 (day|week|year)s\b")


def templates() -> Environment:
    """Templates of all pages; what is marked as safe, or escaped by them (`| e`), is printed letter by letter."""
    pages = Environment(
        loader=PackageLoader("batsim.views", "page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_with_units,
    )
    pages.filters["key"] = breakable_key
    return pages


def breakable_key(key: str) -> Markup:
    """A key, escaped, that breaks where a part of it ends, and inside a word only where nothing else helps.

    Examples
    --------
    >>> breakable_key("price.part.spill_kit")
    Markup('price.<wbr>part.<wbr>spill_<wbr>kit')
    """
    return Markup(PART_END.sub("\\1<wbr>", str(escape(key))))


def units_written(text: str) -> str:
    """A text with units, as scenarios and the catalogue have them, as people write them.

    Examples
    --------
    >>> units_written("1200 EUR, 25 degC, 4 W/(m2 K), 1 days, 3600 m3/h")
    '1,200 EUR, 25 °C, 4 W/(m² K), 1 day, 3,600 m³/h'
    """
    text = POWERS.sub(
        lambda found: f"{found[1]}{RAISED[found[2]]}", text.replace(" degC", " °C").replace(" degF", " °F")
    )
    text = THOUSANDS.sub(lambda found: f"{int(found[0]):,}", text)
    return ONE_OF.sub("1 \\1", text)


def _with_units(value: object) -> object:
    """What a template prints: texts with their numbers and units together, and weeks from one to another."""
    if not isinstance(value, str) or isinstance(value, Markup):
        return value
    return WEEKS.sub("\\1\N{NON-BREAKING HYPHEN}", numbers_with_units(value))
