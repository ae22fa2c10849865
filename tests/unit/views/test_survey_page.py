"""The survey sheet as a page: every question in it once, drawings that have all its marks, nothing from outside."""

import json
import re
from functools import cache
from html import escape
from pathlib import Path

import pytest
import yaml

import batsim
from batsim.plan.survey_asked import survey_questions
from batsim.plan.survey_sheet import SurveySheet, survey
from batsim.views.page.survey import survey_html

SURVEYED = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
HARM = "<script>alert(1)</script> \"x\" & 'y' {{ 7 * 7 }}"


@cache
def blank() -> SurveySheet:
    """A sheet on which everything is asked."""
    return survey(groups=2)


@cache
def blank_page() -> str:
    return survey_html(blank())


def drawing(page: str, part: str) -> str:
    """Drawings of the first part of a subject."""
    return page.partition(f'class="{part}"')[2].partition("</section>")[0]


@pytest.mark.parametrize(
    ("part", "name"), [("trucks", "truck"), ("batteries", "battery"), ("room", "room"), ("equipment", "equipment")]
)
def test_every_letter_is_drawn_and_every_mark_is_asked(part: str, name: str) -> None:
    """The form repeats what the drawing has, no more and no less."""
    marks = re.findall(r'<text class="mark"[^>]*>([A-Z]\d+)</text>', drawing(blank_page(), part))
    letters = {question.letter for question in survey_questions() if question.drawing == name}

    assert set(marks) == letters
    assert letters


def test_text_in_drawings_is_large_enough_on_paper() -> None:
    """At 42 % of the width between the margins of A4: 8 pt at least."""
    size, width = 13.0, 330.0
    paper_pt = 0.42 * (210.0 - 28.0) / 25.4 * 72.0

    assert f"font: {size:g}px" in blank_page()
    assert f'viewBox="0 0 {width:g} ' in blank_page()
    assert size * paper_pt / width >= 8.0


def test_every_question_has_a_field() -> None:
    """With its number, its text, its unit where it is open, and a line of the annex."""
    page = blank_page().replace("\N{NO-BREAK SPACE}", " ")
    rows = re.findall(r'<tr role="row"( class="missing")?>.*?</tr>', page, re.DOTALL)

    assert len([row for row in rows if row]) == blank().missing
    for line in blank().lines:
        id_ = f"q{line.number.replace('.', '-')}"
        assert page.count(f'id="{id_}"') == 1
        assert page.count(f'aria-labelledby="{id_}"') == 1
        assert escape(line.text, quote=False) in page.replace("&#39;", "'").replace("&#34;", '"')
        assert not line.path or f"<dt>{line.number}</dt><dd>" in page


def test_what_is_stated_is_filled_in() -> None:
    """In a field, or as the choice that is ticked; what has no answer has its unit."""
    page = survey_html(survey(batsim.read(SURVEYED)))

    assert 'value="910 mm"' in page
    assert re.search(r'value="side" checked> <span>side</span>', page)
    assert re.search(r'value="top"> <span>top</span>', page)
    assert re.search(r'value=""><?\s*<span class="unit">m</span>', page)
    assert page.count(" checked>") >= 5


def test_cautions_come_before_the_first_question() -> None:
    """And the last of them, who decides, at the end again."""
    page = blank_page()
    for caution in blank().cautions:
        assert 0 < page.index(escape(caution).replace("&#x27;", "&#39;")) < page.index("<form")
    for word in ("parked", "key out", "disconnected", "trained", "Mass", "Acid", "Hydrogen", "Arcs", "Hoists", "codes"):
        assert word in " ".join(blank().cautions)
    assert page.count("licensed, competent people decide") == 2


def test_nothing_comes_from_outside() -> None:
    """No address, no script; the same sheet is the same page."""
    page = blank_page()

    assert re.findall(r"https?:|//|<script|<link|@import|url\(|src=", page) == []
    assert survey_html(survey(groups=2)) == page


def test_names_are_escaped() -> None:
    """Of the site, its groups, shifts, batteries and layouts, in text and in fields."""
    site = yaml.safe_load(SURVEYED.read_text(encoding="utf-8"))
    site["site"]["name"] = HARM
    site["week"]["shifts"] = {HARM: site["week"]["shifts"]["day"]}
    (trucks,) = site["trucks"]
    site["trucks"] = [{**trucks, "group": HARM, "battery": HARM, "shifts": [HARM]}]
    site["batteries"] = {HARM: site["batteries"]["lead"]}
    site["layouts"] = {HARM: {**site["layouts"]["in truck"]}}
    site["present"] = HARM
    page = survey_html(survey(batsim.read_scenario_text(json.dumps(site))))

    assert "<script" not in page
    assert "alert(1)" in page
    assert "{{ 7 * 7 }}" in page
