"""Text on a terminal of any width: no line too long, every number kept, names apart; plain on a pipe."""

import os
import re
import struct
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import chdir
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import inspect as looks
from batsim.cli import main, options
from batsim.decision.decide import decide
from batsim.plan.plan import plan_layouts
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import read_study
from batsim.study.bottleneck.bottleneck import bottleneck
from batsim.study.compare import compare
from batsim.study.day_without import day_without
from batsim.study.first_estimate import outline
from batsim.study.running.one_run import record_until, window_of
from batsim.study.sweeps.agenda import agenda_of
from batsim.study.sweeps.sweep import NAMES, sweep
from batsim.study.uncertain import compare_uncertain
from batsim.study.warm_up import warm_up
from batsim.views.text.bottleneck_text import bottleneck_answer
from batsim.views.text.day_without_text import day_without_answer
from batsim.views.text.decision_text import decision_text
from batsim.views.text.lines import columns, entry, hung, listed, measured, one_block, sentence
from batsim.views.text.numbers import value_text
from batsim.views.text.plan_text import plan_text
from batsim.views.text.summary import study_summary, summary_text
from batsim.views.text.sweep_text import sweep_text
from batsim.views.text.tables import comparison_text, runs_text
from batsim.views.text.trace_text import trace_text
from batsim.views.text.uncertain_text import uncertain_text
from batsim.views.text.warm_up_text import warm_up_text

if sys.platform != "win32":
    import fcntl
    import termios

CASES = Path(__file__).parents[1] / "cases"
BATSIM = Path(sys.executable).with_name("batsim")
DOWN = "downtime_min_per_truck_shift"
WIDTHS = (40, 60, 80, 100)
ENDLESS = 1000
"""Characters of a line in which everything stands side by side."""
NUMBER = re.compile(r"[0-9](?:[0-9.,]*[0-9])?")

SITE = """\
site: {name: "SITE", room_temperature: 18 degC}
week:
  shifts:
    SHIFT: {days: Mon-Fri, from: "07:00", to: "15:30", breaks: ["12:00 for 30 min"]}
trucks:
  - group: GROUP
    count: 6
    class: counterbalance_1_6t_48v
    shifts: [SHIFT]
    battery: BATTERY
    duty: {mean_power: {between: [1.8 kW, 2.0 kW]}, between_shifts: 20 %}
    to_room: {distance: {between: [40 m, 80 m], typical: 60 m}, speed: 6 km/h}
batteries:
  BATTERY: {from: vented_lead_acid, cells: 24, capacity: 625 Ah at 5 h, mass: 950 kg, cool_down: 8 h}
layouts:
  TRUCK: {handling: in_truck, chargers: 6 x electronic_iuia}
  STANDS: {handling: portable_stands, stations: 1, batteries: 12, chargers: 6 x electronic_iuia, exchange_by: drivers}
  HOIST: {handling: overhead_hoist, stations: 1, batteries: 12, chargers: 6 x electronic_iuia, exchange_by: drivers}
present: TRUCK
targets: {downtime_per_truck_shift: at most 5 min, waits: 90 % under 5 min}
simulation: {replications: 2, length: 0.4 weeks, warm_up: 0.2 weeks, seed: 1}
"""
"""An invented joinery, its names left open."""
NAMED = {
    "plain": {
        "SITE": "Joinery", "SHIFT": "day", "GROUP": "yard", "BATTERY": "lead 625 Ah", "TRUCK": "in the truck",
        "STANDS": "stands", "HOIST": "hoist",
    },
    "long": {
        "SITE": "Joinery and sawmill at the far end of the long street, second building on the left (invented)",
        "SHIFT": "the one long shift of the day in summer and in winter",
        "GROUP": "counterbalance trucks of the sawmill and of the joinery and of the yard between them",
        "BATTERY": "vented lead-acid battery of twenty-four cells and 625 Ah with central watering",
        "TRUCK": "charging in the truck at night and without any exchange at all",
        "STANDS": "portable stands and hand pallet trucks as the fitter proposed them in spring",
        "HOIST": "portable stands and hand pallet trucks as the fitter proposed them in autumn",
    },
}  # fmt: skip
"""Short names, and long ones of which two differ in their last word alone."""
LONG = NAMED["long"]
ONE_OF_EIGHT = (
    "  stands and hand pallet trucks with NUMBER batteries in all: {handling: portable_stands, stations: 1, "
    "batteries: NUMBER, chargers: 6 x electronic_iuia, exchange_by: drivers}\n"
)
STUDY = """\
study: Which of the two inputs matters most for the downtime of the layouts, and does it matter for labour too?
scenario: site.yaml
vary:
  trucks[*].to_room.distance: {between: [40 m, 80 m]}
  layouts.LAYOUT.batteries: {between: [11, 13]}
design: DESIGN
measures: [downtime_min_per_truck_shift, labour_min_per_day]
simulation: {replications: 2, length: 0.2 weeks, warm_up: 0 weeks}
"""
SHORT: dict[str, Any] = {"replications": 2, "weeks": 0.4, "warm_up_weeks": 0.2, "workers": 1}


def site_text(names: str) -> str:
    """The joinery with short names, with long ones, or with eight layouts."""
    text = SITE
    if names == "eight":
        more = "".join(ONE_OF_EIGHT.replace("NUMBER", str(count)) for count in range(11, 19))
        text = re.sub(r"(?<=layouts:\n).*?(?=targets)", more, text, flags=re.DOTALL)
    for mark, name in NAMED["plain" if names in ("one", "eight") else names].items():
        text = text.replace(mark, name)
    return text


@cache
def site(names: str) -> Scenario:
    """The joinery with short names, with long ones, with one layout or with eight."""
    read = batsim.read_scenario_text(site_text(names), "site.yaml")
    return read.with_layouts(("hoist",)) if names == "one" else read


# --- what there is to show, each once ---


@cache
def study_of(design: str) -> tuple[Any, Any]:
    """What a study of the joinery comes to, and what came of it."""
    text = STUDY.replace("LAYOUT", LONG["STANDS"]).replace("DESIGN", design)
    if ":" not in design:
        text = text.replace("{between: [40 m, 80 m]}", "[40 m, 80 m]").replace("{between: [11, 13]}", "[11, 13]")
    with TemporaryDirectory() as folder:
        Path(folder, "site.yaml").write_text(site_text("long"), encoding="utf-8")
        file = Path(folder, "study.yaml")
        file.write_text(text, encoding="utf-8")
        return agenda_of(read_study(file, NAMES)), sweep(file, Settings(workers=1))


@cache
def sized(target: str) -> Any:
    """Counts of a small room for a target, its layout with a long name."""
    text = (CASES / "size_small.yaml").read_text(encoding="utf-8")
    room = batsim.read_scenario_text(
        text.replace("  room:", f"  {LONG['STANDS']}:").replace("250 min", target), "room.yaml"
    )
    near = {"downtime": 60.0} if target == "250 min" else None
    return decide(room, Settings(confidence=0.8, weeks=0.2, workers=1), ranges={"batteries": (6, 8)}, indifference=near)


@cache
def found(what: str, names: str) -> tuple[Any, ...]:
    """What a view takes before the width."""
    scenario = site(names)
    last = list(scenario.layouts)[-1]
    match what:
        case "check":
            return (outline(scenario),)
        case "compare":
            return (compare(scenario, Settings(**SHORT)),)
        case "run":
            return (found("compare", names)[0].runs, (DOWN, "wait_min_per_exchange"))
        case "compare --uncertain":
            return (compare_uncertain(scenario, 3, Settings(**SHORT)),)
        case "bottleneck":
            settings = Settings([last], **SHORT)
            return settings.schedule(scenario), list(bottleneck(scenario, settings).values())
        case "day-without":
            settings = Settings(replications=2, warm_up_weeks=0.0, seed=1, workers=1)
            return settings.schedule(scenario), day_without(scenario, settings)
        case "warm-up":
            return scenario, warm_up(scenario, Settings(weeks=4, replications=1, workers=1)), 4
        case "plan":
            return (plan_layouts(scenario, Settings(**SHORT)),)
        case "trace":
            begin, end = window_of(scenario, "week 1 Tue 08:00", "week 1 Wed 08:00")
            return record_until(scenario, last, end, replication=0, seed=1), begin, end
    raise AssertionError(what)


VIEWS: dict[str, Callable[..., str]] = {
    "check": summary_text, "compare": comparison_text, "run": runs_text, "compare --uncertain": uncertain_text,
    "bottleneck": bottleneck_answer, "day-without": day_without_answer, "warm-up": warm_up_text,
    "plan": partial(plan_text, full=True),
    "trace": trace_text,
}  # fmt: skip
TEXTS = [
    *((what, "long") for what in VIEWS),
    *((what, "plain") for what in ("check", "compare", "run", "plan", "trace")),
    *((what, names) for what in ("check", "compare", "run") for names in ("one", "eight")),
    *(("decide", target) for target in ("250 min", "1 min")),
    ("check of a study", "grid"),
    ("sweep", "grid"),
    ("sweep", "{morris: 2}"),
]  # fmt: skip
"""Every text: the command, and of what."""


@cache
def shown(what: str, of: str, width: int) -> str:
    """A text at a width."""
    if what == "decide":
        return decision_text(sized(of), width)
    if what == "check of a study":
        return study_summary(study_of(of)[0], width)
    if what == "sweep":
        return sweep_text(study_of(of)[1], "study.store", width)
    return VIEWS[what](*found(what, of), width)


# --- every view at every width ---


@pytest.mark.parametrize(("what", "of"), TEXTS, ids=str)
def test_no_line_is_too_long(what: str, of: str) -> None:
    """A word that is longer by itself may stick out; no line ends in blanks."""
    for width in WIDTHS:
        lines = shown(what, of, width).splitlines()

        assert len(lines) > 3
        assert [line for line in lines if len(line) > width and len(line.split()) > 1] == []
        assert [line for line in lines if line != line.rstrip()] == []


@pytest.mark.parametrize(("what", "of"), TEXTS, ids=str)
def test_every_number_is_kept(what: str, of: str) -> None:
    """As often as where all stands side by side; names of rows may come again where a table is cut."""
    wide = Counter(NUMBER.findall(shown(what, of, ENDLESS)))

    assert len(wide) > 3
    for width in WIDTHS:
        assert wide - Counter(NUMBER.findall(shown(what, of, width))) == Counter()


@pytest.mark.parametrize(("what", "of"), TEXTS, ids=str)
def test_a_half_width_stays_with_its_number(what: str, of: str) -> None:
    """And a percent sign with what it counts."""
    for width in WIDTHS:
        lines = shown(what, of, width).splitlines()

        assert [line for line in lines if line.endswith(" ±") or re.match(" *(± [0-9]|%)", line)] == []


@pytest.mark.parametrize("what", VIEWS)
def test_long_names_are_whole(what: str) -> None:
    """In titles, lists and sentences none is cut, so that two that differ in their ends can be told apart."""
    names = {
        "bottleneck": ["HOIST"],
        "day-without": ["STANDS", "HOIST"],
        "trace": ["HOIST"],
        "compare --uncertain": ["TRUCK", "STANDS"],
    }
    for width in WIDTHS:
        text = " ".join(shown(what, "long", width).split())

        for name in names.get(what, ["TRUCK", "STANDS", "HOIST"]):
            assert LONG[name] in text


def test_cautions_are_broken_anew() -> None:
    """Before the answer, which stands last."""
    text = shown("compare", "plain", 60)
    cautions = """
Whether the parts fit, ventilation, supply, cost: batsim
plan. Batteries are heavy and hold acid, charging makes
hydrogen, connectors can arc, loads can fall: follow local
codes and leave it to licensed, competent people.
"""

    assert text.count(cautions) == 1
    assert text.index(cautions) < text.index("\nTargets: ") < text.index("limit; 'hoist' misses")


# --- layouts side by side, and as lists ---


def test_long_names_above_columns() -> None:
    """In as many lines as they take, the last just above the numbers; units behind the names of numbers."""
    head = shown("compare", "long", 100).splitlines()[3:]
    lines = head[: next(at for at, line in enumerate(head) if line.startswith("downtime")) + 1]
    downtime = value_text(found("compare", "long")[0].runs, LONG["STANDS"], DOWN)

    names = found("compare", "long")[0].layouts
    assert all(word in " ".join(lines).split() for name in names for word in name.split())
    assert re.match("downtime(, min per truck-shift)? +0 ", lines[-1])
    assert downtime in lines[-1]


@cache
def by_hand() -> Any:
    """A truck that takes another battery every 600 min for 10 min: 16 times in a week, 22.86 min in each of 7 days."""
    scenario = batsim.read(CASES / "cart_room.yaml")
    return compare(scenario, Settings(layouts=["nothing stands by", "no device"], replications=2, weeks=1.0, workers=1))


def test_the_unit_moves_where_there_is_no_room() -> None:
    """Behind the numbers; then behind their names, in short."""
    for width, expected in (
        (80, "downtime                        22.86      22.86  min per truck-shift"),
        (57, "downtime, min/shift                    22.86      22.86"),
        (40, "downtime, min/shift      22.86     22.86"),
    ):
        lines = comparison_text(by_hand(), width).splitlines()
        assert [line for line in lines if line.startswith("downtime")] == [expected]


def test_four_layouts_stand_side_by_side_in_80_characters() -> None:
    """All of a shipped site."""
    scenario = batsim.read(Path(__file__).parents[3] / "scenarios" / "kestrel-lane.yaml")
    runs = compare(scenario, Settings(replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1))
    lines = comparison_text(runs, 80).splitlines()

    assert max(map(len, lines)) <= 80
    assert sum(line.startswith("downtime") for line in lines) == 1


def test_lists_where_not_even_one_layout_fits() -> None:
    """To the letter: the layout's name as a head, each number with its label before it and its unit behind.

    22.86 min are 0.38 hours. In a week the truck works 168 h less 160 min, which three batteries share for the 462.7
    weeks of 8.87 years: 25,500 h each.
    """
    numbers = """\
  downtime: 22.86 min per
      truck-shift
    exchange: 22.86
  work lost: 0.38 truck-hours a
      working day
  wait: 0 min per exchange
    95th percentile: 0 min
  exchanges or charges: 2.29 per
      working day
  labour, hands-on: 22.86 min per
      working day
    by drivers: 22.86
  drivers wait: 0 min per working
      day
  batteries: 3 (3.00) in all (per
      truck)
    fewest ready: 1 at any time
  chargers: 2
    giving current: 0 % of all time
  stations or charging spots: 1
  energy from the wall: 0.48 kWh per
      working day
    per hour worked: 0.02 kWh per
        truck-hour
  peak load: 0.02 kW, mean of 15 min
  cycle life: 8.87 years at this
      duty
    in hours worked:
        25,500.37 truck-hours per
        battery
  chance of being best: 50 % in
      downtime
"""
    said = """\
By hand: 1 truck, 1 shift, 2 layouts
2 replications of 1 week after 0
weeks of warm-up, seed 1
"""

    assert comparison_text(by_hand(), 36).startswith(f"{said}\nnothing stands by\n{numbers}\nno device\n{numbers}\n")


def test_an_amount_keeps_its_range_beside_it() -> None:
    """In columns, and as a list where they have no room."""
    (plan,) = found("plan", "plain")
    water = next(line.per_year for line in plan.layouts["in the truck"].money.lines if line.what == "water")
    value, low, high = (f"{amount:,.0f}" for amount in water.rounded[:3])

    assert water.low < water.value < water.high
    for width, expected in (
        (60, rf"  water +{value} +{low} +{high}  \*"),
        (40, rf"  water: {value} \({low} to {high}\) \*"),
    ):
        line = next(line for line in shown("plan", "plain", width).splitlines() if re.match("  water[: ]", line))
        assert re.fullmatch(expected, line)


# --- lines and tables ---

HEADS = [["", "downtime of trucks", "chargers"], ["", "min", ""]]
ROWS = [["side rollers", "13.4 ± 0.2", "58"], ["  all of the time", "7 ± 1", "4"]]
WHOLE = """\
                   downtime of trucks  chargers
                                  min
side rollers               13.4 ± 0.2        58
  all of the time               7 ± 1         4"""
WITH_BROKEN_HEADS = """\
                   downtime of
                        trucks  chargers
                           min
side rollers        13.4 ± 0.2        58
  all of the time        7 ± 1         4"""
CUT_IN_TWO = """\
              downtime of trucks
                             min
side rollers          13.4 ± 0.2
  all of the               7 ± 1
    time

              chargers
side rollers        58
  all of the         4
    time"""
LIST = """\
side rollers
  downtime of trucks:
      13.4 ± 0.2 min
  chargers: 58
  all of the time
    downtime of trucks:
        7 ± 1 min
    chargers: 4"""


@pytest.mark.parametrize(
    ("width", "expected"),
    [(47, WHOLE), (46, WITH_BROKEN_HEADS), (40, WITH_BROKEN_HEADS), (33, CUT_IN_TWO), (24, LIST)],
)
def test_a_table_breaks_where_it_must(width: int, expected: str) -> None:
    """Whole, with broken heads, cut in two, as a list; a row of units that says nothing is left out."""
    assert "\n".join(columns([*HEADS, *ROWS], width, heads=2)) == expected


def test_a_table_in_one_piece() -> None:
    """Its names are broken rather than that it is cut, while they keep 24 characters."""
    name, numbers = "side rollers with a carriage for each of two halls", ["123456789"] * 5
    rows = [["", *["number"] * 5], [name, *numbers]]

    assert one_block(rows, 79) == [
        "                           number     number     number     number     number",
        "side rollers with a     123456789  123456789  123456789  123456789  123456789",
        "  carriage for each of",
        "  two halls",
    ]
    assert one_block(rows, 78) == []
    assert columns(rows, 79) == [
        "                                          number     number     number",
        "side rollers with a carriage for each  123456789  123456789  123456789",
        "  of two halls",
        "",
        "                                          number     number",
        "side rollers with a carriage for each  123456789  123456789",
        "  of two halls",
    ]


def test_numbers_with_labels_and_units() -> None:
    """In columns while labels keep 20 characters, else as a list."""
    rows = [("exchanges that waited for a station", "50.1 ± 3.8", "in all"), ("  hot starts", "0", "")]

    assert measured(rows, 57) == [
        "  exchanges that waited for a station  50.1 ± 3.8  in all",
        "    hot starts                                  0",
    ]
    assert measured(rows, 46) == [
        "  exchanges that waited  50.1 ± 3.8  in all",
        "    for a station",
        "    hot starts                    0",
    ]
    assert entry("  travel", "12.8 ± 4.7", "min per truck-shift", 24) == (
        "    travel:\n        12.8 ± 4.7 min\n        per truck-shift"
    )
    assert measured(rows, 41) == [
        "  exchanges that waited for a station:\n      50.1 ± 3.8 in all",
        "    hot starts: 0",
    ]


def test_sentences_and_entries() -> None:
    """Further lines begin at the left, are set in, or stand under the text; what belongs together stays together."""
    text = "13.4 ± 0.2 min, and 95 % of waits"

    assert sentence(text, 7) == "13.4 ± 0.2\nmin,\nand\n95 % of\nwaits"
    assert hung(text, 16, 2) == "  13.4 ± 0.2\n      min, and\n      95 % of\n      waits"
    assert hung(text, 35, 2) == f"  {text}"
    assert listed(text, 16, first="- ") == "- 13.4 ± 0.2\n  min, and 95 %\n  of waits"


def test_an_event_on_a_terminal() -> None:
    """Its lines stand beside its time; where it has no room there, they are set in."""
    record, begin, _ = found("trace", "plain")
    begin += 360.0  # nothing happens between 14:00 and the first truck that leaves

    def first(days_long: float, width: int | None) -> str:
        text = trace_text(record, begin, begin + 1440.0 * days_long, width)
        return re.split(r" truck \d arrives", text.partition("\n\n")[2])[0].rpartition("\n")[0]

    time, _, event = first(1.0, None).partition("  ")
    who = re.fullmatch(r"(truck \d) leaves its work with (battery \d), down to the exchange level", event)

    assert who is not None
    assert re.fullmatch(r"Tue \d\d:\d\d:\d\d", time)
    assert first(1.0, 60) == f"{time}  {event[:44]}\n              {event[45:]}"
    assert first(6.0, None) == f"week 1 {time}  {event}"
    assert first(6.0, 40) == (
        f"week 1 {time} {who[1]} leaves its\n    work with {who[2]}, down to the\n    exchange level"
    )


# --- the commands ---

QUICK = ("-r", "2", "--weeks", "0.2", "--warm-up", "0", "--workers", "1")
COMMANDS: dict[str, tuple[str, ...]] = {
    "check": ("check", "site.yaml"),
    "check of a study": ("check", "study.yaml"),
    "compare": ("compare", "site.yaml", *QUICK),
    "compare --uncertain": ("compare", "site.yaml", "--uncertain", "3", *QUICK),
    "run": ("run", "site.yaml", *QUICK),
    "bottleneck": ("bottleneck", "site.yaml", "--layout", LONG["STANDS"], *QUICK),
    "day-without": ("day-without", "site.yaml", "-r", "2", "--workers", "1"),
    "warm-up": ("warm-up", "site.yaml", "--layout", LONG["STANDS"], "--pilot-weeks", "4", "--workers", "1"),
    "plan": ("plan", "site.yaml", *QUICK),
    "decide": ("decide", "room.yaml", "--range", "batteries=12:12", "--weeks", "0.2", "--workers", "1"),
    "sweep": ("sweep", "study.yaml", "--workers", "1"),
    "export": ("export", "study.store", "every case of the study of the joinery.csv"),
    "merge": ("merge", "put together.store", "study.store"),
    "trace": ("trace", "site.yaml", "--layout", LONG["HOIST"], "--from", "week 1 Tue 8:00", "--to", "week 1 Wed 8:00"),
    "new": (
        "new", "a new site with a long name.yaml", "--site", "S", "--group", "count: 9, voltage: 48 V",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with the joinery, a study of it and its store, and a small room."""
    here = tmp_path_factory.mktemp("narrow")
    study = STUDY.replace("LAYOUT", LONG["STANDS"]).replace("DESIGN", "{latin_hypercube: 2}")
    (here / "site.yaml").write_text(site_text("long"), encoding="utf-8")
    (here / "study.yaml").write_text(study, encoding="utf-8")
    (here / "room.yaml").write_text((CASES / "size_small.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    with chdir(here):
        sweep("study.yaml", Settings(workers=1), store="study.store")
        yield here


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("name", COMMANDS)
def test_commands_write_for_the_terminal(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty characters wide."""
    monkeypatch.setattr(options, "terminal_width", lambda: 40)
    monkeypatch.setattr(looks, "terminal_width", lambda: 40)
    result = CliRunner().invoke(main, [*COMMANDS[name], *["--force"] * (name == "new")])

    assert (result.exit_code, result.stderr) == (0, "")
    assert [line for line in result.stdout.splitlines() if len(line) > 40 and len(line.split()) > 1] == []


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("name", COMMANDS)
def test_commands_write_plain_text_on_a_pipe(name: str) -> None:
    """A hundred characters wide, without colours or movements of the cursor; an event or a message is one line."""
    result = CliRunner().invoke(main, [*COMMANDS[name], *["--force"] * (name == "new")])

    assert (result.exit_code, result.stderr) == (0, "")
    assert set(re.findall(r"[\x00-\x1f\x7f]", result.stdout)) == {"\n"}
    lines = result.stdout.splitlines()
    if name == "trace":
        assert all(re.match(r"(Tue|Wed) [0-9:]{5,8}  \S", line) for line in lines[2:])
    elif name in MESSAGES:
        assert len(lines) == MESSAGES[name]
    else:
        assert [line for line in lines if len(line) > 100] == []


MESSAGES = {"new": 1, "merge": 1, "export": 2}
"""Commands that say in a line what they have done."""


# --- the width of a terminal ---

needs_terminals = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are not on Windows")


def on_a_terminal(columns_of_it: int, *command: str | Path) -> str:
    """What a command shows on a terminal with so many columns."""
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 0, columns_of_it, 0, 0))
    environment = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    with subprocess.Popen(command, stdout=theirs, stderr=theirs, env=environment) as process:
        os.close(theirs)
        text = b"".join(iter(lambda: shown_next(ours), b""))
    os.close(ours)
    assert process.returncode == 0
    return text.decode()


def shown_next(terminal: int) -> bytes:
    """Read what is shown next; nothing when the last writer has gone."""
    try:
        return os.read(terminal, 10_000)
    except OSError:
        return b""


@needs_terminals
def test_width_of_a_terminal() -> None:
    """As it says, from 40 to 100; 80 where it does not say."""
    code = """
import fcntl, struct, termios
from batsim.cli.options import terminal_width, width
for columns in (0, 20, 40, 72, 100, 300):
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack("HHHH", 0, columns, 0, 0))
    print(columns, width(), terminal_width())
"""

    assert on_a_terminal(80, sys.executable, "-c", code).splitlines() == [
        "0 80 80", "20 40 40", "40 40 40", "72 72 72", "100 100 100", "300 100 100",
    ]  # fmt: skip


@needs_terminals
@pytest.mark.parametrize(
    ("environment", "coloured"),
    [({"TERM": "xterm"}, True), ({"TERM": "xterm", "NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)],
    ids=["terminal", "NO_COLOR", "dumb"],
)
def test_verdicts_are_coloured_on_a_terminal_that_has_it(environment: dict[str, str], coloured: bool) -> None:
    """Missed in red; never on a pipe."""
    code = f"""
import os
os.environ.pop("NO_COLOR", None)
os.environ.update({environment!r})
from batsim.cli.options import show
show("What to do: nothing. Target: missed")
"""
    plain = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout

    assert ("\x1b[31mmissed\x1b[0m" in on_a_terminal(80, sys.executable, "-c", code)) is coloured
    assert plain == "What to do: nothing. Target: missed\n"


def test_width_of_a_pipe() -> None:
    """A hundred, whatever the environment says of a terminal."""
    code = "from batsim.cli.options import terminal_width, width; print(width(), terminal_width())"
    environment = {**os.environ, "COLUMNS": "50"}
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, env=environment, text=True, check=True)

    assert done.stdout == "100 None\n"


@needs_terminals
def test_a_command_on_a_small_terminal() -> None:
    """Of 20 columns: progress is cut, as it is written over again and again; then lines of 40, without colours."""
    told = on_a_terminal(20, BATSIM, "compare", CASES / "cart_room.yaml", *QUICK)
    progress, wiped, answer = told.rpartition("\r\x1b[K\r")

    assert wiped
    parts = progress.replace("\x1b[K", "").split("\r")
    assert "1 of 10 replication" in parts
    assert max(map(len, parts)) == 19
    assert "\x1b" not in answer
    assert answer.startswith("By hand: 1 truck, 1 shift, 5 layouts\r\n")
    assert "\r\n  downtime: " in answer
    assert max(map(len, answer.splitlines())) <= 40
