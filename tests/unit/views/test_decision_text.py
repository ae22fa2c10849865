"""Text of a decision: to the letter, at every width, with several layouts, with nothing that meets the targets."""

import re
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import batsim
from batsim.decision.answer import Answer
from batsim.decision.decide import Decision, decide
from batsim.decision.trials import BOUGHT, DECIDING, Trial, Trials
from batsim.scenario.settings import Settings
from batsim.study.levers import AT_LEVEL, IN_BREAKS
from batsim.study.limits import WAITS
from batsim.views.text.decision_table import decision_table
from batsim.views.text.decision_text import CAUTION, COST, OF_BOUGHT, PLACEHOLDERS, decision_text
from tests.sites import KESTREL

CASES = Path(__file__).parents[1] / "cases"
SMALL = batsim.read(CASES / "decide_small.yaml")
TODAY = batsim.read(CASES / "decide_today.yaml")
SEASON = batsim.read(Path(__file__).parents[2] / "behaviour" / "cases" / "season_room.yaml")
RANGES = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}
ONE = Settings(workers=1)
NUMBER = re.compile(r"[0-9][0-9,.]*")
MOST_LINES = 68
"""Lines of an answer for four layouts and today, 100 characters wide."""
ENDLESS = 10_000


@cache
def small() -> Decision:
    """A room with one near miss, by what is bought."""
    scenario = batsim.changed(SMALL, {"targets.downtime_per_truck_shift": "at most 245 min"})
    return decide(scenario, ONE, ranges=RANGES, objective=BOUGHT, indifference={"downtime": 50.0})


@cache
def hopeless() -> Decision:
    """The same room, by all that differs in a year, with a target that no plan meets."""
    scenario = batsim.changed(SMALL, {"targets.downtime_per_truck_shift": "at most 100 min"})
    return decide(scenario, Settings(replications=2, workers=1), ranges={"batteries": (6, 7), "stations": (1, 2)})


@cache
def of_today() -> Decision:
    """Trolley or rollers, with the counts that are stated."""
    return decide(TODAY, ONE, fix=["counts"])


@cache
def trolley_alone() -> Decision:
    """The layout of today alone, with the counts that are stated."""
    return decide(TODAY, Settings(layouts="trolley", replications=2, workers=1), fix=["counts", "exchange_when"])


class Content:
    """A search that is content with one plan of each layout: other times at which trucks come, and one more of all."""

    given_up = False

    def __init__(self, trials: Trials, _limits: object, _bar: float) -> None:
        self.trials = trials

    def best(self) -> Trial:
        """That plan."""
        space, kinds = self.trials.space, {AT_LEVEL, IN_BREAKS}
        numbers = [min(each.stated + 1, each.high) for each in space.ranges]
        ways = [
            next((way for way, levers in enumerate(choice.options) if kinds & {each.kind for each in levers}), 0)
            for choice in space.choices
        ]
        return self.trials.one((*numbers, *ways), 1)

    def is_worth_a_test(self, trial: Trial) -> bool:
        """So that it is tested."""
        return not trial.refused

    def meets(self, _: Trial) -> bool:
        """It is tested once."""
        return not self.given_up

    def after(self, failed: Trial, _missed: object) -> Trial:
        """No other plan."""
        self.given_up = True
        return failed


@pytest.fixture(scope="module")
def four() -> Decision:
    """Four layouts and today, two of which miss their targets when tested, with placeholders for prices."""
    targets = {"targets.downtime_per_truck_shift": "at most 40 min", "targets.waits": "10 % under 600 min"}
    settings = Settings(weeks=0.05, warm_up_weeks=0.0, replications=4, workers=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("batsim.decision.one_layout.Search", Content)
        return decide(batsim.changed(KESTREL, targets), settings)


def mean(trial: Trial) -> str:
    """Downtime of a plan with its half width."""
    interval = trial.interval(DECIDING, 0.95)
    digits = 0 if interval.half_width >= 9.5 else 1
    return f"{interval.mean:.0f} ± {interval.half_width:.{0 if interval.mean >= 100 else digits}f}"


def flat(text: str) -> str:
    """Text in one line."""
    return " ".join(text.split())


# --- to the letter ---


def test_the_whole_text_of_a_small_decision() -> None:
    """The answer first, then how sure it is and what lies around, then what the numbers are."""
    room = small()["room"]
    (step,), (miss,) = small().steps, room.near_misses
    minutes = f"{step.minutes.mean:.1f} ± {step.minutes.half_width:.1f}"

    assert (
        decision_text(small())
        == f"""\
Small room (invented): the cheapest plan of each layout that meets the targets
Runs of 0.2 weeks after 0.05 weeks of warm-up, seed 3; {small().runs} runs of {room.plans} plans
Targets, in brackets what is tested so that there is a margin: downtime at most 245 min per
truck-shift (220 min).

What to do: 'room' (By hand) meets the targets at the least cost, 87,200 EUR a year.
  1. Batteries 7 in place of 8; chargers 3 in place of 4; stations 1 in place of 2. Nothing to buy;
     adds {minutes} min per truck-shift, saves 19,100 EUR a year.

                                   room
downtime, min per truck-shift   {mean(room.told)}
batteries                             7
chargers                              3
stations                              1
attendants, by shift           no limit
cost, thousand EUR a year          87.2
to order, thousand EUR              256
targets                             met

Plans, with what is stated in brackets where that is another number:
  room: batteries 7 (8); chargers 3 (4); stations 1 (2)

How sure: 'room' was tested on 8 replications that the search had not seen; a plan that misses a
target passes in at most 5 of 100 decisions. That another of the plans looked at is cheaper by more
than 0.5 % has a chance below 1 in 100.

Cheaper, but near misses:
  - chargers 2: saves 4,000 EUR a year, but meets the target, not the margin: downtime {mean(miss)} min

With another target for 'room', all else as wanted:
  - downtime at most 490 min per truck-shift: saves 10,000 EUR a year with batteries 6

Cost is what is bought, over its life with interest (what is there already costs nothing), and
attendants on duty; energy, water, downtime and drivers are left out.
batsim plan says whether the parts fit and what the room needs. Drivers who exchange, connect or
water batteries must be trained for it; local codes and competent, licensed people decide."""
    )


def test_the_whole_text_where_no_plan_meets_the_targets() -> None:
    """What comes nearest, and how near; nothing is said of how sure that is."""
    room = hopeless()["room"]
    downtime = mean(room.told)
    lines = decision_text(hopeless()).splitlines()
    table = lines.index(next(line for line in lines if line.endswith(" room")))

    assert room.chosen is None
    assert flat("\n".join(lines[4:table])) == (
        "No plan that was looked at meets the targets. "
        f"'room' (By hand) comes nearest, with downtime {downtime} min, at "
        f"{room.money.at_equal_work.text} EUR a year. 1. Batteries 7 in place of 8. Nothing to buy; "
        f"{flat(' '.join(lines[table - 3 : table])).partition('Nothing to buy; ')[2]}"
    )
    assert flat("\n".join(lines[table:])) == (
        f"room downtime, min per truck-shift {downtime} batteries 7 chargers 4 stations 2 attendants, by shift "
        f"no limit cost, thousand EUR a year {room.money.at_equal_work.rounded.value / 1000.0:g} "
        "to order, thousand EUR "
        f"{room.money.purchase.rounded.value / 1000.0:g} targets missed "
        "Plans, with what is stated in brackets where that is another number: room: batteries 7 (8); stations 2 "
        "- nearest to the targets, which no plan that was looked at meets: downtime at most 100 min per truck-shift: "
        "missed, "
        f"{downtime} min - at the end of the range of batteries, stations: with a wider --range it could come nearer "
        f"{COST} {CAUTION}"
    )


# --- widths ---


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_text_fits(width: int, four: Decision) -> None:
    """No line is longer but for one word, or ends in blanks; no paragraph is empty."""
    for decision in (small(), hopeless(), of_today(), four):
        text = decision_text(decision, width)
        lines = text.splitlines()
        assert [line for line in lines if len(line) > width and len(line.split()) > 1] == []
        assert [line for line in lines if line != line.rstrip()] == []
        assert "\n\n\n" not in text


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_nothing_is_lost_where_it_is_narrow(width: int, four: Decision) -> None:
    """Every number is there as often as where all stands side by side."""
    for decision in (small(), hopeless(), of_today(), four):
        wide, narrow = (Counter(NUMBER.findall(decision_text(decision, each))) for each in (ENDLESS, width))
        assert len(wide) > 10
        assert wide - narrow == Counter()


def test_four_layouts_and_today_are_read_at_a_glance(four: Decision) -> None:
    """All five stand beside one another, and the whole answer on one page."""
    lines = decision_text(four).splitlines()
    (targets,) = (line for line in lines if line.startswith("targets "))

    assert len(lines) <= MOST_LINES
    assert len(targets.split()) == 1 + 5
    assert max(map(len, lines)) <= 100


# --- several layouts ---


def test_today_stands_first_then_the_best() -> None:
    """In the order of the ranking; the best plan of today's layout has a name of its own."""
    head, *rows = decision_table(of_today())
    cells = {row[0]: row[1:] for row in rows}

    assert head == ["", "today (trolley)", "rollers", "trolley, at its best"]
    assert cells["targets"] == ["missed", "met", "met"]
    assert cells["attendants, by shift"] == ["1, 1", "none", "none"]
    assert cells["batteries"] == ["9", "9", "9"]
    assert "  between" not in cells
    assert "waits" not in " ".join(cells)


def test_the_answer_says_what_is_saved_beside_today() -> None:
    """In one sentence, with the number of the table."""
    first = of_today().first
    assert isinstance(first, Answer)
    assert of_today().today is not None
    assert first.money is not None
    less = of_today().today.money().at_equal_work.value - first.money.at_equal_work.value
    says = r"at the least cost, ([0-9,]+) EUR a year, ([0-9,]+) less than today's 'trolley'\."
    found = re.search(says, flat(decision_text(of_today())))

    assert found is not None
    cost, saved = (float(text.replace(",", "")) for text in found.groups())
    assert cost == pytest.approx(first.money.at_equal_work.value, rel=0.005)
    assert saved == pytest.approx(less, rel=0.005)


def test_steps_are_told_in_their_order() -> None:
    """Each with its number, what it orders, and what it saves in minutes and in money."""
    text = flat(decision_text(of_today()))
    places = [text.index(f" {number}. {step.words[:1].upper()}{step.words[1:]}. ")
              for number, step in enumerate(of_today().steps, start=1)]  # fmt: skip
    first, *_, last = of_today().steps

    assert places == sorted(places)
    assert "Step by step, what needs no purchase first: 1. " in text
    assert f". Nothing to buy; saves {first.minutes.turned.mean:.0f} ± " in text
    in_all = re.search(
        r"Order 9,000 EUR, ([0-9,]+) with what 'trolley' lacks; saves [0-9.]+ ± [0-9.]+ min per truck-shift "
        r"and [0-9,]+ ± [0-9,]+ EUR a year\.",
        text,
    )
    assert in_all is not None
    assert float(in_all[1].replace(",", "")) == last.after.to_order.value == 9000.0 + first.before.to_order.value

    free = flat(decision_text(replace(of_today(), steps=of_today().steps[:-1])))
    assert ". Nothing to buy, 1,100 with what 'trolley' lacks; " in free
    assert last.to_order.value == pytest.approx(9000.0)


def test_a_step_that_loses_time_and_saves_money_says_both() -> None:
    """Each with its own word."""
    assert re.search(
        r"; adds [0-9.]+ ± [0-9.]+ min per truck-shift, saves 19,100 EUR a year\.", flat(decision_text(small()))
    )


def test_how_sure_the_layout_is_best_is_said_of_several_alone() -> None:
    """One layout is best whatever prices are."""
    assert of_today().doubt is not None
    assert of_today().doubt.sentence in flat(decision_text(of_today()))
    (answer,) = trolley_alone().answers
    assert answer.chosen is not None
    assert trolley_alone().doubt is not None
    assert trolley_alone().doubt.sentence not in flat(decision_text(trolley_alone()))


def test_what_saves_next_to_nothing_is_not_told() -> None:
    """As little as makes no difference between plans."""
    text = decision_text(small())
    alike = decision_text(replace(small(), answers=(replace(small()["room"], same_cost_share=0.2),)))

    for title in ("Cheaper, but near misses:", "With another target for 'room'"):
        assert title in text
        assert title not in alike


def test_no_line_contradicts_another(four: Decision) -> None:
    """What the table calls met is not told as missed, and the other way round."""
    head, *rows = decision_table(four)
    verdicts = dict(zip(head[1:], rows[-1][1:], strict=True))
    text = decision_text(four, ENDLESS)
    plans = text.partition("Plans, with")[2].partition("\n\n")[0].split("\n  ")

    assert set(verdicts.values()) == {"met", "missed"}
    for name, verdict in verdicts.items():
        of_plan = "".join(line + "\n" for line in _block(plans, name))
        assert ("nearest to the targets" in of_plan) == (verdict == "missed" and not name.startswith("today"))
    assert f"What to do: '{four.ranking[0]}' (" in text
    assert "No plan" not in text


def _block(plans: list[str], name: str) -> list[str]:
    """Lines on one plan."""
    begins = [number for number, line in enumerate(plans) if line.startswith(f"{name}: ")]
    if not begins:
        return []
    rest = plans[begins[0] + 1 :]
    ends = next((number for number, line in enumerate(rest) if not line.startswith("  ")), len(rest))
    return [plans[begins[0]], *rest[:ends]]


def test_a_target_on_exchanges_says_nothing_of_trucks_that_have_none(four: Decision) -> None:
    """A dash, not all of none."""
    head, *rows = decision_table(four)
    waits = next(row for row in rows if row[0].startswith(WAITS))

    assert waits[0] == "waits under 600 min"
    assert waits[head.index("in the truck")] == "-"
    assert all(cell == "-" or cell.endswith("%") for cell in waits[1:])
    assert waits.count("-") == 1


def test_the_likeliest_rival_is_named() -> None:
    """A plan that meets the target, and is dearer or cheaper by chance; with the chance that it is cheaper by much."""
    room = small()["room"]
    mine = room.searched[room.point]
    other = next(trial for trial in room.searched.values() if trial.replications > 1 and trial.point == (7, 4, 2))
    noisy = replace(
        other, costs=[cost * part for cost, part in zip(mine.costs, (0.97, 1.01), strict=False)], taken=other.taken[:2]
    )
    found = replace(small(), answers=(replace(room, searched={**room.searched, other.point: noisy}),))
    (rival, chance), *_ = found["room"].rivals

    assert rival is noisy
    assert 0.01 < chance < 0.99
    assert (
        f"Of the other plans looked at the likeliest to be cheaper by more than 0.5 % ({100 * chance:.0f} in 100): "
        "chargers 4, stations 2."
    ) in flat(decision_text(found))


def test_the_best_plan_of_the_layout_of_today_has_a_name_of_its_own() -> None:
    """So that nobody takes it for what is there."""
    text = flat(decision_text(trolley_alone()))

    assert "What to do: 'trolley, at its best' (One attendant with a trolley) meets the targets" in text
    assert "less than today's 'trolley'." in text
    assert "How sure: 'trolley, at its best' " in text


# --- notes ---


def test_layouts_that_are_impossible_are_named() -> None:
    """With the reason."""
    text = flat(decision_text(replace(small(), impossible={"rollers": "its trucks open upwards."})))

    assert "Layout 'rollers' is impossible: its trucks open upwards." in text


def test_placeholders_are_told_where_there_are_any(four: Decision) -> None:
    """With a mark at each sum that rests on one."""
    cells = {row[0]: row[1:] for row in decision_table(four)[1:]}

    assert all(cell.endswith("*") for cell in cells["cost, thousand EUR a year"])
    assert all(re.fullmatch("[0-9,.]+ to [0-9,.]+", cell) for cell in cells["  between"])
    assert PLACEHOLDERS in flat(decision_text(four))
    assert PLACEHOLDERS not in flat(decision_text(of_today()))


def test_what_the_cost_is_of() -> None:
    """All that differs in a year, or what is bought alone."""
    assert COST in flat(decision_text(of_today()))
    assert OF_BOUGHT in flat(decision_text(small()))
    assert OF_BOUGHT not in flat(decision_text(of_today()))


def test_runs_that_were_in_the_store(tmp_path: Path) -> None:
    """So that nobody wonders how quick it was."""
    for says in ("", ", {} from the store"):
        settings = Settings(replications=1, workers=1)
        found = decide(SMALL, settings, ranges={"chargers": (4, 4)}, store=tmp_path / "runs.store")
        said = f"seed 3; {found.runs} runs of 1 plan{says.format(found.runs)} Targets, in brackets"
        assert said in flat(decision_text(found))


def test_seasons_are_named() -> None:
    """Targets hold in them too."""
    scenario = batsim.changed(SEASON, {"targets": {"downtime_per_truck_shift": "at most 60 min"}})
    text = flat(decision_text(decide(scenario, Settings(replications=2, workers=1), ranges={"chargers": (4, 5)})))

    assert "Targets in normal weeks and in each season, in brackets what is tested so that there is a margin: " in text
    assert text.count("downtime at most 60 min per truck-shift (") == 1
