"""The page for a customer: what stands in it, what cannot get into it, the same bytes for the same plan."""

import base64
import csv
import io
import os
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.decision.recommendation import recommend
from batsim.plan.checks import OK
from batsim.plan.plan import Plan, plan_layouts
from batsim.scenario.settings import Settings
from batsim.verification.verify import recorded
from batsim.views.page.annex import MEASURED, RANGED, STATED, inputs_of
from batsim.views.page.inline_svg import inline_svg, short_path
from batsim.views.page.report import order_csv, report_html, without_keys
from batsim.views.text.plan_text import CHANGES

CASES = Path(__file__).parents[1] / "cases"
SURVEYED = CASES / "surveyed.yaml"
VOID = {
    "meta",
    "br",
    "col",
    "hr",
    "img",
    "input",
    "wbr",
    "link",
    "path",
    "use",
    "rect",
    "circle",
    "line",
    "polyline",
    "polygon",
}
HOSTILE = (
    "<script>alert(1)</script>",
    "\"quotes\" & 'more'",
    "\u05e9\u05dc\u05d5\u05dd abc",
    "x" * 190,
    "$x^2$ \U0001f50b",
)


class Page(HTMLParser):
    """Reads a page: elements, ids, references, texts; tags must close in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.refers: list[str] = []
        self.outside: list[str] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            said = value or ""
            if name == "id":
                self.ids.append(said)
            if name in ("href", "xlink:href", "src", "aria-labelledby"):
                self.refers += said.removeprefix("#").split() if not said.startswith(("http", "data:")) else []
                own = dict(attrs).get("download") and said.startswith("data:text/csv;")  # a table that the page carries
                self.outside += [said] if re.match(r"(?i)(https?:|//|data:|javascript:)", said) and not own else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += "" if "style" in self.open else data


@cache
def planned() -> Plan:
    """A plan of all layouts of the surveyed site."""
    return plan_layouts(batsim.read(SURVEYED), Settings(replications=2, weeks=0.3, warm_up_weeks=0.1, workers=1))


@cache
def page() -> str:
    return report_html(planned(), looked_at=planned().seen(recommend(planned()).layout, workers=1))


def call(*arguments: object, **options: Any) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], **options)


def test_it_is_sound_html_and_needs_nothing_from_outside() -> None:
    """Tags close in order, ids are unique, references lead somewhere, nothing is loaded, one small script runs."""
    read = Page(page())

    assert read.open == []
    assert len(read.ids) == len(set(read.ids))
    assert set(read.refers) <= set(read.ids)
    assert read.outside == []
    assert not {"link", "iframe", "img", "object", "embed", "form"} & set(read.tags)
    assert page().count("<script>") == 1  # that of the replay; the other is its data
    assert page().count("<script") == 2
    assert "@import" not in page()
    assert "url(http" not in page()


def test_it_says_what_the_plan_says() -> None:
    """The answer comes first; every check, line of the list, caution and question stands in it."""
    text = " ".join(Page(page()).text.split())
    plan = planned()
    said = recommend(plan)

    assert text.index(f"{said.says} {said.brings}") < text.index(said.costs) < text.index(said.order)
    assert text.index(said.order) < text.index("All layouts side by side")
    for each in plan.layouts.values():
        for check in each.checks:
            assert " ".join(check.sentence.split()) in text
            assert check.cure in text
        assert all(f"{line.item}" in text and line.reason in text for line in each.equipment)
        assert all(caution in text for caution in each.cautions)
        assert each.money.per_year.text in text
    assert all(question.ask in text for question in plan.questions)
    assert all(name in text for name in plan.figures)


@cache
def bare_page() -> str:
    """Page of a site of which hardly anything is known, so that it asks for all."""
    mass = "    mass: 800 kg\n"
    text = SURVEYED.read_text(encoding="utf-8").replace(mass, "").partition("equipment:\n")[0]
    bare = batsim.read_scenario_text(text, "bare.yaml")
    settings = Settings(replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1)
    return report_html(plan_layouts(bare, settings))


def test_a_customer_reads_no_keys_and_no_commands() -> None:
    """Neither options nor names of measures nor degrees as a file has them: that stands in the annex."""
    for html in (page(), bare_page()):
        customers, _, behind = html.partition('<section id="annex"')
        text = Page(customers).text

        assert re.findall(r"\w+_\w+|batsim \w+|--\w+|\w+\.\w+\.\w+", text) == []
        assert "degC" not in text
        assert "No charge above 45\N{NO-BREAK SPACE}°C of electrolyte" in text
        assert re.search(r">[a-z.]+_\w+", behind)


def test_keys_in_brackets_are_left_out() -> None:
    """And nothing else in brackets."""
    cure = "let the battery warm up first (charging.too_warm_or_cold: wait), or heat (two fans)"

    assert without_keys(cure) == "let the battery warm up first, or heat (two fans)"
    assert without_keys("leave more in it (exchange_at)") == "leave more in it"


def test_what_is_open_is_a_form_to_fill_in() -> None:
    """A field for each question of the recommended layout."""
    customers = page().partition('<section id="annex"')[0]
    asked = [each for each in planned().questions if recommend(planned()).layout in each.layouts]

    assert customers.count('<input type="text"') == len(asked) > 0
    assert all(f">{each.ask}</td>" in customers for each in asked)


def test_the_order_is_a_table_for_a_quotation() -> None:
    """The page carries what `order_csv` writes: number, item, size and area of what is to be ordered."""
    plan = planned().layouts[recommend(planned()).layout]
    carried = re.search(r'href="data:text/csv;charset=utf-8;base64,([^"]*)"', page())
    rows = list(csv.reader(io.StringIO(order_csv(plan))))

    assert carried is not None
    assert base64.b64decode(carried[1]).decode() == order_csv(plan)
    assert rows[0] == ["number", "item", "size", "area"]
    assert [(float(number), item) for number, item, _, _ in rows[1:]] == [
        (line.to_order, line.item) for line in plan.equipment if line.to_order
    ]


def test_the_table_of_costs_adds_up_to_the_cost_of_the_answer() -> None:
    """At equal work, as it is told above; each line with its range."""
    money = planned().layouts[recommend(planned()).layout].money
    table = page().partition('aria-label="Costs of a year"')[2].partition("</table>")[0]
    amounts = [float(text.replace(",", "")) for text in re.findall(r'data-label="In a year">([\d,.]+)', table)]
    *lines, in_all = amounts

    assert in_all == pytest.approx(money.at_equal_work.rounded.value)
    assert sum(lines) == pytest.approx(in_all, rel=0.05)  # each is rounded to what is known of it
    assert money.at_equal_work.text in recommend(planned()).costs


def test_the_annex_says_how_the_program_is_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    """By subject, as recorded at the release; nothing is run for it."""
    monkeypatch.setattr("batsim.verification.verify.outcomes_of", lambda *_: pytest.fail("a check was run"))
    behind = report_html(planned()).partition('<details id="checked">')[2].partition("</details>")[0]

    for each in recorded():
        assert (
            f'scope="row">{each.subject}</th><td role="cell" class="n" data-label="Checks">{each.checks}</td>' in behind
        )
    assert "Woodbridge, DIN 41773, DIN 41774, common practice, Copetti, " in behind


def test_the_annex_goes_on_paper_where_it_is_asked_for() -> None:
    """On the screen it is folded either way."""
    with_annex = report_html(planned(), annex=True)

    assert '<body class="with-annex">' in with_annex
    assert "<body>" in page()
    assert "body:not(.with-annex) .annex { display: none; }" in page()
    assert "<details open" not in with_annex


def test_it_says_what_changes_against_today() -> None:
    """Part by part, where a layout of today is named."""
    hoist = planned().layouts["hoist"]
    changes = planned().conversion("in truck", "hoist")
    plan = replace(planned(), layouts={"hoist": replace(hoist, conversion=changes)})
    text = " ".join(Page(report_html(plan)).text.split())

    assert all(f"x {change.item} " in text for change in changes)
    assert CHANGES in text
    assert CHANGES not in page()


def test_it_has_a_language_a_title_and_landmarks() -> None:
    """What a screen reader goes by."""
    read = Page(page())

    assert page().startswith('<!doctype html>\n<html lang="en">')
    assert f"<title>{planned().scenario.site.name}</title>" in page()
    assert {"header", "main", "nav", "footer", "h1", "h2", "caption"} <= set(read.tags)
    assert read.tags.count("h1") == 1
    parts = ("answer", "layouts", "why", "cost", "order", "open", "cautions", "annex")
    assert all(f'<h2 id="{name}-head">' in page() for name in parts)


def test_the_same_plan_gives_the_same_bytes() -> None:
    """A date stands in it only when it is given."""
    assert report_html(planned(), looked_at=planned().seen(recommend(planned()).layout, workers=1)) == page()
    assert "2026-11-26" not in page()
    assert "2026-11-26" in report_html(planned(), "2026-11-26")


@pytest.mark.parametrize("name", HOSTILE)
def test_names_stay_text(name: str) -> None:
    """Markup, quotes, another direction, length, signs of formulas: in the page as they were written."""
    text = SURVEYED.read_text(encoding="utf-8")
    scenario = batsim.changed(
        batsim.read_scenario_text(text, str(SURVEYED)), {"site.name": name, "question": f"Why {name}?"}
    )
    scenario = scenario.with_layouts(["rollers"])
    read = Page(report_html(plan_layouts(scenario, Settings(replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1))))

    assert "script" not in read.tags
    assert read.open == []
    assert name in read.text
    assert f"Why {name}?" in read.text


def test_inputs_are_listed_with_their_origin() -> None:
    """Every leaf that the file states; times that were observed count as measured."""
    listed = {each.path: each for each in inputs_of(planned())}

    assert listed["site.name"].value == planned().scenario.site.name
    assert listed["site.name"].origin == STATED
    assert {each.origin for each in listed.values()} <= {STATED, MEASURED}
    assert len(listed) > 20

    ranged = batsim.changed(
        planned().scenario,
        {
            "trucks[0].to_room.distance": {"between": ["100 m", "220 m"], "typical": "140 m"},
            "trucks[0].duty": None,
            "trucks[0].run_time": {"observed": ["400 min", "420 min", "460 min"]},
        },
    )
    origins = {
        each.path: each.origin
        for each in inputs_of(replace(planned(), schedule=replace(planned().schedule, scenario=ranged)))
    }
    assert origins["trucks[0].to_room.distance.between"] == RANGED
    assert origins["trucks[0].to_room.distance.typical"] == RANGED
    assert origins["trucks[0].run_time.observed"] == MEASURED


def test_svg_of_a_figure() -> None:
    """Its own ids, a title, no sizes and no metadata; a dollar sign begins no formula."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - heavy

    from batsim.views.page.inline_svg import for_a_page  # noqa: PLC0415

    def drawn(prefix: str) -> str:
        with for_a_page():
            figure = Figure(figsize=(3, 2))
            axes = figure.add_subplot()
            axes.plot([0, 1], [0, 1], label="a")
            axes.set_title("5 $ and <b> $6")
            return inline_svg(figure, prefix, "A <title>", "What it & shows")

    one, other = Page(drawn("one")), Page(drawn("other"))

    assert drawn("one") == drawn("one")
    assert set(one.ids).isdisjoint(other.ids)
    assert set(one.refers) <= set(one.ids)
    assert "5 $ and <b> $6" in one.text
    assert "A <title>" in one.text
    assert "metadata" not in one.tags
    assert not re.match(r"<svg[^>]* (?:width|height)=", drawn("one"))


@pytest.mark.parametrize(
    "name",
    [
        "aisle 2.75 m",
        "aisle 2.80 m",
        "1.23456",
        "url(#a)",
        'id="a"',
        'd="M 1.25 2.5"',
        "font-family: a; b",
        'href="#a"',
    ],
)
def test_names_in_a_picture_stay_as_they_are(name: str) -> None:
    """Letter by letter, though they look like what an SVG is made of; coordinates are still written short."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - heavy

    from batsim.views.page.inline_svg import for_a_page  # noqa: PLC0415

    with for_a_page():
        figure = Figure(figsize=(3, 2))
        axes = figure.add_subplot()
        axes.plot([0, 1.23456], [0, 1], label=name)
        axes.set_title(name)
        axes.legend()
        drawn = inline_svg(figure, "one", name, name)

    assert Page(drawn).text.count(name) == 4
    assert not re.search(r"\.\d{2,}", re.sub(r">[^<]*<", "><", drawn).replace(name, ""))


@pytest.mark.parametrize(
    ("path", "short"),
    [
        ("M 10 20\nL 30.1 20\n", "M10 20h20.1"),
        ("M 0 0\nL -3.5 0\n", "M0 0h-3.5"),
        ("M 1 1 L 1 1 L 2 1 L 3 1 L 3 0.2 L 3 -4 L 2.5 -3", "M1 1h2v-5l-.5 1"),
        ("M 1 1 L 3 1 L 2 1", "M1 1h2h-1"),
        ("M 5 5 L 6 5 L 6 6 z M 0.5 0 L 5 5 L 5 7 z", "M5 5h1v1zM.5 0l4.5 5v2z"),
        ("M 4 4 L 4 4", "M4 4h0"),
    ],
    ids=["level", "mark", "steps", "back", "closed", "dot"],
)
def test_paths_are_written_short(path: str, short: str) -> None:
    """Only what changes; points on the way of another are left out, turning points are not."""
    assert short_path(path) == short


def test_short_paths_lead_through_the_same_points() -> None:
    """A random walk of a tenth of a point: following the steps gives every corner, without drift."""
    from random import Random  # noqa: PLC0415 - one use

    draw, points = Random(7), [(0.0, 0.0)]
    for _ in range(500):
        x, y = points[-1]
        points.append((round(x + draw.choice([0, 0.1, 7.3, -2.2]), 1), round(y + draw.choice([0, 0, 0.7, -41.9]), 1)))
    path = "M 0 0 " + " ".join(f"L {x:g} {y:g}" for x, y in points[1:])
    passed, x, y = [(0.0, 0.0)], 0.0, 0.0
    for step, numbers in re.findall(r"([hvl])([^hvlM]*)", short_path(path)):
        across, down = {"h": (numbers, 0), "v": (0, numbers)}.get(step) or numbers.split()
        x, y = x + float(across), y + float(down)
        passed.append((round(x, 1), round(y, 1)))
    corners = [
        here
        for before, here, after in zip(points, points[1:], points[2:], strict=False)
        if len({before, here, after}) == 3 and (before[0] == here[0]) != (here[0] == after[0])
    ]

    assert len(short_path(path)) < 0.7 * len(path)
    assert set(corners) <= set(passed) <= set(points)
    assert passed[-1] == points[-1]


def hatched(hatch: str) -> str:
    """A bar with a hatch, as a page shows it."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - heavy

    from batsim.views.page.inline_svg import for_a_page, inline_svg  # noqa: PLC0415

    with for_a_page():
        figure = Figure(figsize=(3, 2))
        figure.add_subplot().bar([0], [1], hatch=hatch)
        return inline_svg(figure, "one", "A title", "What it shows")


@pytest.mark.parametrize(("hatch", "seen"), [("//", 5), ("--", 4), ("..", 3 * 5 + 2 * 4), ("oo", 2 * 23)])
def test_a_hatch_is_cut_to_the_tile_that_repeats(hatch: str, seen: int) -> None:
    """A third of its side: of a hatch of two signs 5 slopes, 4 levels, 3 rows of 5 dots and 2 of 4; rings are two."""
    (pattern,) = re.findall(r"<pattern.*?</pattern>", hatched(hatch), re.DOTALL)

    assert pattern.count('width="24"') == pattern.count('height="24"') == 2
    assert pattern.count("M") == seen
    assert len(pattern) < MOST_OF_A_HATCH


MOST_OF_A_HATCH = 12_000
"""Bytes of a hatch; rings on the whole tile take 90,000."""


def test_what_nothing_refers_to_has_no_id() -> None:
    """Groups that say nothing are left out; what is drawn keeps its clips and hatches."""
    read, named = Page(hatched("//")), re.findall(r"url\(#([^)]+)\)", hatched("//"))

    assert read.open == []
    assert set(read.ids) == {*read.refers, *named}
    assert len(set(named)) == 2
    assert "<g>" not in hatched("//")


def test_the_page_stays_light() -> None:
    """With all its charts, tables and the replay, for a small site."""
    assert len(page().encode()) < MOST_OF_A_PAGE


MOST_OF_A_PAGE = 420_000
"""Bytes of the page of the surveyed site: what it takes and a small margin."""


def test_what_stands_behind_the_answer_is_folded() -> None:
    """The plan of the recommended layout apart from the others; checks that hold, inputs and defaults once more."""
    plan = planned()
    advised = recommend(plan).layout
    before, after = page().split('<details id="others"')

    assert f'<h4 id="layout-0">{advised} &ndash;' in before
    assert "<details open" not in page()
    for name in plan.layouts:
        assert (f"{name} &ndash;" in after) is (name != advised)
    before = before + after[after.index('<details id="where"') :]
    passed = sum(check.verdict == OK for check in plan.layouts[advised].checks)
    assert f"<summary>{passed} checks OK</summary>" in before
    assert f"<summary>{len(plan.figures) + 1} defaults</summary>" in before
    assert f"<summary>{len(inputs_of(plan))} inputs, measured or stated</summary>" in before


def test_one_layout_alone_has_no_others() -> None:
    """And nothing to choose which is shown."""
    scenario = batsim.read(SURVEYED)
    alone = report_html(
        plan_layouts(scenario, Settings(layouts="in truck", replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1))
    )

    assert 'id="others"' not in alone
    assert 'type="radio"' not in alone


def test_command_writes_the_page(tmp_path: Path) -> None:
    """Once more by the command, with the day of SOURCE_DATE_EPOCH."""
    file, options = tmp_path / "page.html", ("-r", 2, "--weeks", 0.3, "--warm-up", 0.1, "--workers", 1)
    plain = call("report", SURVEYED, *options, "--output", file)
    without = file.read_text(encoding="utf-8")
    order = tmp_path / "order.csv"
    more, env = ("--order", order, "--annex"), {**os.environ, "SOURCE_DATE_EPOCH": "86400"}
    dated = call("report", SURVEYED, *options, "--output", file, *more, env=env)

    assert (plain.exit_code, plain.output) == (0, f"wrote {file}\n")
    assert without == page()
    assert dated.exit_code == 0
    assert "1970-01-02" in file.read_text(encoding="utf-8")
    assert '<body class="with-annex">' in file.read_text(encoding="utf-8")
    assert order.read_text(encoding="utf-8") == order_csv(planned().layouts[recommend(planned()).layout])


def test_command_refuses_other_endings_and_folders_that_are_not_there(tmp_path: Path) -> None:
    """Before and after the work."""
    ending = call("report", SURVEYED, "--output", "page.txt")
    options = ("-r", 1, "--weeks", 0.1, "--warm-up", 0, "--workers", 1)
    folder = call("report", SURVEYED, *options, "--output", tmp_path / "none" / "page.html")

    assert ending.exit_code == folder.exit_code == 2
    assert "--output: a report must end in .html or .pdf (got page.txt)" in ending.output
    assert "--output: cannot be written (No such file or directory); choose another file" in folder.output


def test_command_writes_paper(tmp_path: Path) -> None:
    """A PDF, where the extra is there."""
    pytest.importorskip("weasyprint")
    file = tmp_path / "page.pdf"
    options = ("-r", 2, "--weeks", 0.1, "--warm-up", 0, "--workers", 1, "--layout", "in truck")
    made = call("report", SURVEYED, *options, "--output", file)

    assert (made.exit_code, made.output) == (0, f"wrote {file}\n")
    assert file.read_bytes().startswith(b"%PDF-")
