"""Every check here says what stands behind it, and is named by its subject."""

import re
from pathlib import Path

import pytest

HERE = Path(__file__)
STATUS = {"published": {"source", "where"}, "common_practice": {"where"}, "worked_out": {"where"}}
CODE = re.compile(r"\b[A-E]\d\d[a-z]?\b(?!\.\d)|\b[a-e]\d\d\b|\bscenario [A-Z]\b")
"""Such as A01 or 'scenario A', which only a list elsewhere would explain; numbers of standards go on with a point."""


@pytest.fixture
def checks(request):
    """Everything that is collected here, and what marks it."""
    items = [item for item in request.session.items if item.path.parent == HERE.parent and item.path != HERE]
    return {item.nodeid: [mark for mark in item.iter_markers() if mark.name in STATUS] for item in items}


def test_one_marker_says_what_stands_behind_a_check(checks):
    """With its keywords and no others."""
    assert {name: marks for name, marks in checks.items() if len(marks) != 1} == {}
    for name, (mark,) in checks.items():
        assert (set(mark.kwargs), mark.args) == (STATUS[mark.name], ()), name
        assert all(mark.kwargs.values()), name


def test_published_means_published(checks):
    """What has no source is called common practice, what was worked out here is called so."""
    sources = {mark.kwargs["source"] for (mark,) in checks.values() if mark.name == "published"}

    assert [each for each in sources if re.search("common practice|no source|worked out|seller", each)] == []


def test_checks_are_named_by_their_subject(checks):
    """Their names, what they are marked with, and their files."""
    texts = [*checks, *(str(mark.kwargs) for marks in checks.values() for mark in marks)]
    files = [file for file in HERE.parent.rglob("*") if file.suffix in (".yaml", ".csv", ".py")]
    texts += [file.stem for file in files] + [file.read_text(encoding="utf-8") for file in files if file != HERE]

    assert [found for text in texts for found in CODE.findall(text)] == []
