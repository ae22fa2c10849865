"""Layouts over inputs that are not known: shares of draws, the split of variance, what sways the lead, messages."""

import json
from html import escape
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

import batsim
from batsim.cli import main
from batsim.scenario.settings import Settings
from batsim.scenario.study_file import LATIN_HYPERCUBE, Design
from batsim.study.running.replications import run
from batsim.study.sweeps.points import Points
from batsim.study.uncertain import UncertainComparison, compare_uncertain
from batsim.views.text.uncertain_text import uncertain_text

CASES = Path(__file__).parents[1] / "cases"
FILE = CASES / "not_known.yaml"
SCENARIO = batsim.read(FILE)
SOUND = Path(__file__).parents[1] / "broken" / "sound.yaml"
DOWN, LABOUR = "downtime_min_per_truck_shift", "labour_min_per_day"
QUICK = {"weeks": 0.3, "warm_up_weeks": 0.0, "workers": 1}


def call(*arguments):
    return CliRunner().invoke(main, [str(each) for each in arguments])


def made(values, measures=(DOWN,), scenario=SCENARIO):
    """Comparison of given values: layout, measure, a row for each draw."""
    values = {
        layout: {name: np.asarray(each, dtype=float) for name, each in found.items()}
        for layout, found in values.items()
    }
    draws, replications = next(iter(next(iter(values.values())).values())).shape
    stated = Settings(replications=replications, weeks=1.0, warm_up_weeks=0.0).schedule(scenario)
    points = Points(scenario.unknowns, Design(LATIN_HYPERCUBE, draws), stated.seed)
    return UncertainComparison(stated, points, values, measures)


def best_at(*which, draws=None):
    """Two layouts of one replication's spread, of which the first is best at the first so many draws."""
    first = np.tile([0.0, 0.1], (draws or sum(which), 1))
    second = first + np.repeat([1.0, -1.0], which)[:, None]
    return made({"hands": {DOWN: first}, "table": {DOWN: second}})


# --- which is best how often ---


def test_shares_of_draws_with_the_exact_interval():
    """Best at 17 of 20 and at 3 of 20; Clopper and Pearson's limits from scipy."""
    found = best_at(17, 3)

    for layout, hits in (("hands", 17), ("table", 3)):
        exact = stats.binomtest(hits, 20).proportion_ci(0.95, "exact")
        assert found.chance_best[layout] == pytest.approx((hits / 20, exact.low, exact.high))
    assert found.ranking == ("hands", "table")
    assert found.verdict == "Layout 'hands' is best in 85 % of 20 draws of what is not known (62 to 97 %)."


def test_no_layout_is_best_in_most_cases():
    """Eleven of twenty may well be half of all."""
    assert best_at(11, 9).verdict == (
        "No layout is best in most cases: 'hands' leads, in 55 % of 20 draws of what is not known (32 to 77 %), "
        "'table' comes next."
    )


def test_more_may_be_better():
    rows = np.full((4, 2), 0.9)
    found = made({"hands": {"availability_share": rows}, "table": {"availability_share": rows + 0.05}},
                 ("availability_share",))  # fmt: skip

    assert found.ranking[0] == "table"
    assert found.chance_best["table"].mean == 1.0


def test_a_tie_is_nobodys():
    """Where both are equally good neither counts as best."""
    rows = np.zeros((6, 2))
    ahead = rows.copy()
    ahead[0] = 1.0
    found = made({"hands": {DOWN: rows}, "table": {DOWN: ahead}})

    assert (found.chance_best["hands"].mean, found.chance_best["table"].mean) == pytest.approx((1 / 6, 0.0))


def test_a_layout_without_the_measure_is_never_best():
    """In the truck no battery is looked for."""
    rows = np.full((5, 2), 0.2)
    name = "found_none_ready_share"
    found = made({"hands": {name: rows * np.nan}, "table": {name: rows}}, (name,))

    assert found.ranking == ("table", "hands")
    assert (found.chance_best["hands"].mean, found.chance_best["table"].mean) == (0.0, 1.0)
    assert np.isnan(found.spread("hands", name).mean)


def test_spread_over_the_draws():
    """Means of draws 0, 1, ... 100: mean 50, 5 % below 5, 95 % below 95."""
    rows = np.arange(101.0)[:, None] + np.array([-0.5, 0.5])
    found = made({"hands": {DOWN: rows}, "table": {DOWN: rows}})

    assert found.spread("hands", DOWN) == pytest.approx((50.0, 5.0, 95.0))


# --- what the variance is made of ---


def test_variance_is_split_into_what_is_not_known_and_chance():
    """Searle's balanced one-way layout by hand: MB = 32, MW = 2, n = 2, so 15 and 2."""
    rows = np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]])
    split = made({"hands": {DOWN: rows}, "table": {DOWN: rows}}).split("hands")

    assert (split.from_inputs, split.from_noise) == pytest.approx((15.0, 2.0))
    assert split.input_share.mean == pytest.approx(15.0 / 17.0)


def test_known_parts_of_the_variance_are_found():
    """Inputs of standard deviation 3 and chance of 1: nine tenths, from 400 made-up draws."""
    generator = np.random.default_rng(7)
    rows = 3.0 * generator.standard_normal((400, 1)) + generator.standard_normal((400, 3))
    split = made({"hands": {DOWN: rows}, "table": {DOWN: rows}}).split("hands", DOWN)

    assert split.from_inputs == pytest.approx(9.0, rel=0.15)
    assert split.from_noise == pytest.approx(1.0, rel=0.15)
    assert split.input_share.low < 0.9 < split.input_share.high


# --- what sways the lead ---


def test_what_sways_the_lead():
    """The lead made of the first input, less a little of the second."""
    plain = Points(SCENARIO.unknowns, Design(LATIN_HYPERCUBE, 40), SCENARIO.simulation.seed).cube
    lead = plain[:, 0] - 0.2 * plain[:, 1] + 5.0
    rows = np.zeros((40, 2))
    found = made({"hands": {DOWN: rows}, "table": {DOWN: rows + lead[:, None]}})

    assert [path for path, _ in found.swayed_by] == [each.path for each in SCENARIO.unknowns]
    (_, first), (_, second) = found.swayed_by
    assert first.mean == pytest.approx(stats.spearmanr(plain[:, 0], lead).statistic)
    assert first.low > 0.9
    assert abs(second.mean) < 0.5


def test_one_layout_has_no_lead():
    rows = np.arange(4.0)[:, None] + np.zeros(2)
    scenario = SCENARIO.with_layouts(("hands",))
    found = made({"hands": {DOWN: rows}}, scenario=scenario)

    assert (found.swayed_by, found.verdict) == ((), "")
    text = uncertain_text(found)
    assert text.startswith(
        "Not known (invented): 4 draws of what is not known, 1 layout, 2 replications of 1 week at each, seed\n1\n"
    )
    assert "\n\n\n" not in text


# --- simulated ---


@pytest.fixture(scope="module")
def simulated():
    return compare_uncertain(SCENARIO, 6, Settings(**QUICK))


def test_draws_do_not_share_noise_but_layouts_do(simulated):
    """Each draw has replications of its own, the same for all layouts: as single runs of the changed scenario say."""
    for draw, point in enumerate(simulated.points.all):
        changed = batsim.changed(SCENARIO, point)
        runs = run(changed, Settings(replications=2 * 6, **QUICK))
        for layout in simulated.layouts:
            mine = runs.values[layout][DOWN][2 * draw : 2 * draw + 2]
            assert np.array_equal(simulated.values[layout][DOWN][draw], mine)


def test_the_input_that_matters_is_found(simulated):
    """The time of the table, for which only one layout is asked, sways the lead; it is the scenario that says so."""
    assert {path for path, _ in simulated.swayed_by} == {each.path for each in SCENARIO.unknowns}
    assert next(path for path, _ in simulated.swayed_by) == "handling.table.steps[0].time"


def test_two_workers_give_the_same(simulated):
    both = compare_uncertain(SCENARIO, 6, Settings(**{**QUICK, "workers": 2}))

    assert both.as_json() == simulated.as_json()


def test_json_says_everything(simulated):
    data = json.loads(json.dumps(simulated.as_json(), allow_nan=False))

    assert (data["draws"], data["replications"], data["weeks"]) == (6, 2, 0.3)
    assert data["unknowns"] == [{"path": each.path, "may_be": each.text} for each in SCENARIO.unknowns]
    assert set(data["layouts"]) == {"hands", "table"}
    for layout in data["layouts"].values():
        assert set(layout["measures"]) == {DOWN, LABOUR}
        assert set(layout["chance_best"]) == {"mean", "low", "high"}
        for measure in layout["measures"].values():
            assert set(measure) == {
                "mean", "low", "high", "variance_from_inputs", "variance_from_chance", "input_share", "unit",
            }  # fmt: skip
    assert data["verdict"] == simulated.verdict
    assert [each["path"] for each in data["swayed_by"]] == [path for path, _ in simulated.swayed_by]


def test_frame_has_a_row_for_each_layout_and_measure(simulated):
    frame = simulated.frame

    assert list(frame.columns) == ["layout", "measure", "mean", "low", "high", "input_share", "unit"]
    assert list(zip(frame["layout"], frame["measure"], strict=True)) == [
        (layout, measure) for layout in ("hands", "table") for measure in (DOWN, LABOUR)
    ]
    assert simulated._repr_html_().startswith(f"<p>{escape(simulated.verdict)}</p><table")


@pytest.mark.parametrize("width", [60, 100])
def test_text_fits(simulated, width):
    lines = uncertain_text(simulated, width).splitlines()

    assert max(map(len, lines)) <= width
    assert "Not known:" in lines
    blocks = 2 if width == 60 else 1
    assert sum(line.startswith("best in so many draws") for line in lines) == blocks
    assert sum(line.startswith("  of its variance, not known") for line in lines) == 2 * blocks


def test_text_by_hand():
    """The whole text of made-up values: the lead is the same at each draw, so nothing sways it."""
    rows = np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]])

    assert (
        uncertain_text(made({"hands": {DOWN: rows}, "table": {DOWN: rows + 2.0}}))
        == """\
Not known (invented): 3 draws of what is not known, 2 layouts, 2 replications of 1 week at each,
seed 1
Not known:
  trucks[0].run_time.mean: between 5 h and 6 h, typically 5.5 h
  handling.table.steps[0].time: between 4 min and 30 min

                                           hands          table
best in so many draws          100 % (29 to 100)  0 % (0 to 71)
downtime per truck-shift, min                6.0            8.0
  5 % to 95 % of draws                2.4 to 9.6    4.4 to 11.6
  of its variance, not known                88 %           88 %

No layout is best in most cases: 'hands' leads, in 100 % of 3 draws of what is not known (29 to
100 %), 'table' comes next.
What sways the lead of 'hands' over 'table' (rank correlation, -1 to 1):
  trucks[0].run_time.mean: -
  handling.table.steps[0].time: -
The rest of the variance is chance between replications: more draws or weeks reduce it. What is not
known stays until it is found out on site."""
    )


def test_text_without_limits():
    """Three draws tell a rank correlation, and nothing of its limits."""
    rows = np.array([[1.0, 3.0], [5.0, 7.0], [9.0, 11.0]])
    text = uncertain_text(made({"hands": {DOWN: rows}, "table": {DOWN: 3.0 * rows}}))

    assert "nan" not in text
    for path in ("trucks[0].run_time.mean", "handling.table.steps[0].time"):
        line = next(line for line in text.splitlines() if line.startswith(f"  {path}: ") and "between" not in line)
        assert abs(float(line.rsplit(" ", 1)[1])) <= 1.0


# --- messages ---


def test_a_scenario_that_knows_all():
    result = call("compare", SOUND, "--uncertain", "4")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{SOUND}: 1 problem\n  {SOUND}: uncertain: no input is marked as uncertain: give {{between: [LOW, HIGH]}}\n"
    )


def test_one_draw_and_one_replication():
    with pytest.raises(batsim.ScenarioError) as caught:
        compare_uncertain(SCENARIO, 1, Settings(replications=1))

    assert str(caught.value) == (
        f"{SCENARIO.file}: 2 problems\n"
        f"  {SCENARIO.file}: uncertain: needs at least 2 draws\n"
        f"  {SCENARIO.file}: uncertain: needs at least 2 replications of each draw, to tell chance from what is not "
        "known"
    )


def test_one_replication_on_the_command_line():
    result = call("compare", FILE, "--uncertain", "3", "-r", "1")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{FILE}: 1 problem\n"
        f"  {FILE}: uncertain: needs at least 2 replications of each draw, to tell chance from what is not known\n"
    )


@pytest.mark.parametrize("options", [("--within", "0.3"), ("--most", "5")])
def test_uncertain_leaves_no_room_for_a_half_width(options):
    result = call("compare", FILE, "--uncertain", "3", *options)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("Error: --uncertain states the number of draws; leave --within and --most out\n")


def test_command_prints_text_and_json():
    options = ("--uncertain", "3", "--weeks", "0.3", "--warm-up", "0", "--workers", "1")
    text, data = call("compare", FILE, *options), call("compare", FILE, *options, "--json")

    assert (text.exit_code, text.stderr, data.exit_code, data.stderr) == (0, "", 0, "")
    assert text.stdout.startswith(
        "Not known (invented): 3 draws of what is not known, 2 layouts, 2 replications of 0.3 "
    )
    assert json.loads(data.stdout)["draws"] == 3
    assert max(map(len, text.stdout.splitlines())) <= 100
