"""Whether layouts that are compared are sized alike: who is idle in one and busy in another, and how it is said."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.decision.sizing import BUSY, LEAST_SHARE, UNLIKE, Busy, sizing_sentence, unlike_sizes
from batsim.scenario.settings import Schedule
from batsim.study.compare import Comparison
from batsim.study.running.runs import Runs
from batsim.views.page.notebook import html_of

TEXT = """\
site: {name: Sized (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: trucks, count: 2, shifts: [day], battery: lead, duty: {mean_power: 2 kW}, compartment: {removal: top}}
  - {group: pickers, count: 2, shifts: [day], battery: lead, duty: {mean_power: 1 kW}}
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts:
  stands: {handling: portable_stands, batteries: 8, chargers: 4 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 8, chargers: 4 x electronic_iuia}
  truck: {handling: in_truck, chargers: 4 x electronic_iuia}
  mixed:
    areas:
      yard: {for: [trucks], handling: overhead_hoist, batteries: 4, chargers: 2 x electronic_iuia}
      picking: {for: [pickers], handling: in_truck, chargers: 2 x electronic_iuia}
  plugged in:
    areas:
      yard: {for: [trucks], handling: in_truck, chargers: 2 x electronic_iuia}
      picking: {for: [pickers], handling: in_truck, chargers: 2 x electronic_iuia}
"""
SITE = batsim.read_scenario_text(TEXT, "sized.yaml")
NONE = float("nan")
NOISE = np.array([0.01, -0.01, 0.02, -0.02])


def compared(
    layouts: dict[str, tuple[float, float, float]],
    *,
    impossible: tuple[str, ...] = (),
) -> Comparison:
    """Layouts in which attendants, stations and chargers are busy for these shares of their time."""
    values = {
        name: {measure: share * (1.0 + NOISE) for measure, share in zip(BUSY, shares, strict=True)}
        for name, shares in layouts.items()
    }
    runs = Runs(Schedule(SITE, tuple(layouts), 1, NOISE.size, 10080.0, 0.0, 0.95), values)
    return Comparison(runs, impossible=dict.fromkeys(impossible, "does not fit"))


def about(found: Busy | None) -> tuple[str, str, str]:
    """What is busy, and the layouts in which it is least and most so; empty where they are sized alike."""
    return ("", "", "") if found is None else (found.what, found.least, found.most)


@pytest.mark.parametrize(
    ("stands", "hoist", "expected"),
    [
        ((0.20, 0.30, 0.40), (0.50, 0.30, 0.40), ("attendants are", "stands", "hoist")),
        ((0.50, 0.30, 0.40), (0.20, 0.30, 0.40), ("attendants are", "hoist", "stands")),
        # What costs most goes first, though chargers differ more.
        ((0.20, 0.10, 0.05), (0.40, 0.90, 0.90), ("attendants are", "stands", "hoist")),
        ((0.30, 0.10, 0.05), (0.40, 0.20, 0.90), ("stations are", "stands", "hoist")),
        ((0.30, 0.10, 0.90), (0.30, 0.10, 0.30), ("chargers are", "hoist", "stands")),
        # Drivers do it in one of them, or in both: nobody to compare, so the next is looked at.
        ((NONE, 0.10, 0.20), (0.40, 0.30, 0.20), ("stations are", "stands", "hoist")),
        ((NONE, 0.20, 0.20), (NONE, 0.20, 0.40), ("chargers are", "stands", "hoist")),
        # Up to half as busy again is alike.
        ((0.20, 0.20, 0.20), (0.29, 0.29, 0.29), ("", "", "")),
        ((0.20, 0.20, 0.20), (0.31, 0.20, 0.20), ("attendants are", "stands", "hoist")),
        # Hardly anything to do in one of them: a share of hardly anything says nothing.
        ((0.009, 0.009, 0.009), (0.02, 0.02, 0.02), ("", "", "")),
        ((0.012, 0.009, 0.009), (0.02, 0.02, 0.02), ("attendants are", "stands", "hoist")),
    ],
)
def test_what_is_busy_to_different_degrees(
    stands: tuple[float, float, float], hoist: tuple[float, float, float], expected: tuple[str, str, str]
) -> None:
    """In whatever order the layouts stand."""
    assert about(unlike_sizes(compared({"stands": stands, "hoist": hoist}))) == expected
    assert about(unlike_sizes(compared({"hoist": hoist, "stands": stands}))) == expected


def test_the_shares_are_those_of_the_layouts() -> None:
    """Of the least and the most busy one, whatever lies between."""
    shares = {"mixed": (0.30, 0.3, 0.3), "stands": (0.15, 0.3, 0.3), "hoist": (0.45, 0.3, 0.3)}
    found = unlike_sizes(compared(shares))

    assert found is not None
    assert (found.least, found.most) == ("stands", "hoist")
    assert [found.least_share, found.most_share] == pytest.approx([0.15, 0.45])
    assert found.most_share > UNLIKE * found.least_share > UNLIKE * LEAST_SHARE


@pytest.mark.parametrize(
    ("name", "compares"), [("hoist", True), ("mixed", True), ("truck", False), ("plugged in", False)]
)
def test_layouts_that_charge_in_the_truck_are_not_compared(name: str, compares: bool) -> None:
    """Nobody exchanges there; where one area does, it is compared."""
    found = unlike_sizes(compared({"stands": (0.2, 0.3, 0.3), name: (0.6, 0.3, 0.3)}))

    assert (found is not None) is compares


def test_what_is_impossible_or_stands_alone_is_not_compared() -> None:
    """However busy its people are."""
    shares = {"stands": (0.2, 0.3, 0.3), "hoist": (0.6, 0.3, 0.3)}

    assert unlike_sizes(compared(shares)) is not None
    assert unlike_sizes(compared(shares, impossible=("hoist",))) is None
    assert unlike_sizes(compared({"stands": (0.2, 0.3, 0.3)})) is None


def test_the_sentence() -> None:
    """Both shares, both layouts, and what compares each at its best; nothing where they are sized alike."""
    unlike = compared({"stands": (NONE, 0.123, 0.3), "hoist": (NONE, 0.487, 0.3)})

    assert sizing_sentence(unlike) == (
        "These layouts are compared as stated, and not sized alike: stations are busy 12 % of their time in 'stands' "
        "and 49 % in 'hoist'. 'batsim decide' compares each at its best."
    )
    assert sizing_sentence(compared({"stands": (0.2, 0.2, 0.2), "hoist": (0.2, 0.2, 0.2)})) == ""


def test_where_it_is_shown(tmp_path: Path) -> None:
    """By compare and in a notebook where one layout has three times the stations, and not where both have one."""
    busy = TEXT.partition("layouts:")[0].replace("count: 2", "count: 6").replace("mean_power: 2 kW", "mean_power: 5 kW")
    text = busy + (
        "layouts:\n"
        "  one: {handling: overhead_hoist, stations: 1, batteries: 24, chargers: 12 x electronic_iuia}\n"
        "  two: {handling: overhead_hoist, stations: STATIONS, batteries: 24, chargers: 12 x electronic_iuia}\n"
    )
    said: dict[str, tuple[str, str]] = {}
    for stations in ("1", "3"):
        file = tmp_path / f"with-{stations}.yaml"
        file.write_text(text.replace("STATIONS", stations), encoding="utf-8")
        found = batsim.compare(batsim.read(file), batsim.Settings(replications=2, weeks=1, workers=1))
        printed = CliRunner().invoke(main, ["compare", str(file), "--replications", "2", "--weeks", "1"]).stdout
        said[stations] = (" ".join(printed.split()), " ".join(html_of(found).split()))

    for shown in said["3"]:
        assert "compared as stated, and not sized alike: stations are busy" in shown
    for shown in said["1"]:
        assert "not sized alike" not in shown
