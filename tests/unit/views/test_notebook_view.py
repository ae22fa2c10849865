"""What a notebook shows: the same numbers as the terminal, and no name can break out of its cell."""

import re
from functools import cache
from html import unescape

import pytest

import batsim
from batsim.study.compare import Comparison
from batsim.views.page.notebook import paragraphs, table
from batsim.views.text.numbers import NO_INTERVALS
from batsim.views.text.tables import chance_text, number_rows
from tests.sites import SURVEYED as SITE

HOSTILE = "<img src=x onerror='alert(1)'> & \"more\""


@cache
def compared() -> Comparison:
    """A few short replications of all layouts."""
    return batsim.compare(SITE, batsim.Settings(replications=2, weeks=0.3, warm_up_weeks=0.1, workers=1))


def cells(html: str) -> list[list[str]]:
    """Texts of the rows of all tables."""
    rows = re.findall(r"<tr>(.*?)</tr>", html)
    return [[unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)] for row in rows]


def texts(html: str) -> list[str]:
    """Texts of the paragraphs."""
    return [unescape(text) for text in re.findall(r"<p>(.*?)</p>", html)]


def test_a_comparison_has_the_numbers_of_the_terminal() -> None:
    """Row by row with its unit, then chances, targets and the verdict."""
    html, runs = compared()._repr_html_(), compared().runs
    head, *rows = cells(html)
    shown = number_rows(runs)

    assert head == ["", *runs.layouts, ""]
    for (label, *numbers, unit), cell in zip(shown, rows, strict=False):
        assert cell == [label.replace("  ", "\N{EM SPACE}"), *numbers, unit]
    chance, *targets = rows[len(shown) :]
    assert chance == ["chance of being best", *(chance_text(compared(), name) for name in runs.layouts), ""]
    assert [row[0] for row in targets] == [each.target for each in compared().targets(runs.layouts[0])]
    assert {verdict for row in targets for verdict in row[1:-1]} <= {"met", "missed", "not sure"}
    assert texts(html)[0] == compared().verdict
    assert texts(html)[-1] == "± is the half width of a 95 % interval for each mean."
    assert "2 replications of 0.3 weeks after 0.1 weeks of warm-up, seed 3</caption>" in html


def test_runs_are_the_same_table_without_a_verdict() -> None:
    """One replication says that it has no intervals."""
    one = batsim.run(SITE, batsim.Settings(layouts="in truck", replications=1, weeks=0.1, warm_up_weeks=0.0, workers=1))
    html = one._repr_html_()

    assert cells(html)[0] == ["", "in truck", ""]
    assert len(cells(html)) == 1 + len(number_rows(one))
    assert texts(html) == [NO_INTERVALS]
    assert texts(compared().runs._repr_html_())[-1:] == ["± is the half width of a 95 % interval for each mean."]


def test_a_scenario_tells_what_it_states() -> None:
    """Truck groups, layouts, targets, what is not known."""
    html = SITE._repr_html_()
    rows = cells(html)

    assert texts(html)[0] == SITE.question
    assert rows[1][:4] == ["trucks", "3", "day", "lead"]
    assert [row[0] for row in rows[3:]] == list(SITE.layouts)
    assert rows[3][2:] == [
        str(sum(SITE.batteries_of(rows[3][0]).values())), *rows[3][3:],
    ]  # fmt: skip
    unknown = batsim.changed(SITE, {"trucks[0].to_room.distance": {"between": ["100 m", "220 m"]}})
    assert texts(unknown._repr_html_())[-1] == "Not known: trucks[0].to_room.distance."


def test_a_record_tells_what_it_holds() -> None:
    """Tables that have rows, with how many and their columns."""
    record = batsim.simulate(SITE, "rollers")
    head, *rows = cells(record._repr_html_())

    assert head == ["record.frame(...)", "rows", "columns"]
    assert rows
    for name, count, columns in rows:
        frame = record.frame(name)
        assert int(count.replace(",", "")) == len(frame) > 0
        assert set(columns.split(", ")) <= set(frame.columns)


def test_at_a_prompt_they_are_a_line() -> None:
    """What it is and of what, not all that it holds."""
    plan = batsim.plan_layouts(
        SITE, batsim.Settings(layouts="in truck", replications=1, weeks=0.1, warm_up_weeks=0.0, workers=1)
    )

    assert repr(SITE) == "<Scenario: Surveyed (invented): rollers, stands, hoist, in truck>"
    assert repr(compared()) == "<Comparison: Surveyed (invented): rollers, stands, hoist, in truck; 2 replications>"
    assert repr(compared().runs) == "<Runs: Surveyed (invented): rollers, stands, hoist, in truck; 2 replications>"
    assert repr(batsim.simulate(SITE, "rollers")) == "<Record: rollers, replication 0, seed 3>"
    assert repr(plan) == "<Plan: Surveyed (invented): in truck>"


@pytest.mark.parametrize("what", ["scenario", "comparison", "plan"])
def test_names_stay_text(what: str) -> None:
    """Markup in the name and the question of a site."""
    site = batsim.changed(SITE, {"site.name": HOSTILE, "question": HOSTILE})
    settings = {"replications": 1, "weeks": 0.1, "warm_up_weeks": 0.0, "workers": 1}
    shown = {
        "scenario": lambda: site,
        "comparison": lambda: batsim.compare(site, batsim.Settings(layouts="in truck", **settings)),
        "plan": lambda: batsim.plan_layouts(site, batsim.Settings(layouts="in truck", **settings)),
    }[what]()

    assert "<img" not in shown._repr_html_()


def test_table_and_paragraphs_escape_everything() -> None:
    """Captions, heads, row heads, cells and sentences; nothing is written for what is empty."""
    html = table(HOSTILE, [HOSTILE, "n"], [[f"  {HOSTILE}", HOSTILE]], [1]) + paragraphs([HOSTILE, ""])

    assert "<img" not in html
    assert html.count("&lt;img") == 5
    assert html.count("<p>") == 1
    assert "&emsp;&lt;img" in html
    assert html.count("text-align: right") == 2
    assert "<caption" not in table("", ["a"], [["b"]], [])
