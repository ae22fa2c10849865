"""What ends long after the run: charges, rests and delays of weeks and years."""

from pathlib import Path

import pytest

import batsim
from tests.sites import KESTREL

ENGSET = Path(__file__).parents[2] / "batsim" / "verification" / "cases" / "engset.yaml"
LENGTHS = ["1 week", "3 weeks", "20 weeks", "1000 weeks"]


@pytest.mark.parametrize("length", LENGTHS)
def test_charges_in_the_truck_longer_than_the_run(tmp_path: Path, length: str) -> None:
    """A truck that is not back by then loses what is left of the run: four chargers hold four, the others wait."""
    (tmp_path / "queue.yaml").write_text(ENGSET.with_name("queue.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    text = ENGSET.read_text(encoding="utf-8").replace("{mean: 2 h, law: exponential}", length)
    assert length in text
    (tmp_path / "site.yaml").write_text(text, encoding="utf-8")
    scenario = batsim.read(tmp_path / "site.yaml")

    for weeks in (0.5, 2.0):
        runs = batsim.run(scenario, batsim.Settings(replications=1, weeks=weeks, warm_up_weeks=0.0, workers=1))

        (values,) = runs.values.values()
        assert values["charger_busy_share"][0] > 0.9
        assert 0.0 < values["availability_share"][0] < 1.0


@pytest.mark.parametrize("length", LENGTHS)
@pytest.mark.parametrize("path", ["charging.delay", "charging.stagger", "batteries.*.cool_down"])
def test_rests_and_delays_longer_than_the_run(path: str, length: str) -> None:
    """Batteries that are not ready by then are missed."""
    scenario = batsim.changed(KESTREL, {path: length})

    runs = batsim.run(
        scenario, batsim.Settings("side rollers", replications=1, weeks=0.5, warm_up_weeks=0.5, workers=1)
    )

    assert runs.values["side rollers"]["wait_battery_min_per_truck_shift"][0] > 100.0
