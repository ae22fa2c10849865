"""The logs that are shipped are those of the rooms that they are said to be of, and tell what was put in."""

import os
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

import batsim
from batsim.calibration.calibrate import Calibration
from batsim.cli import main
from batsim.scenario.settings import Settings
from tests.invented_logs import LOGS, SCENARIOS, TRUTHS, invented_logs


@pytest.mark.parametrize("site", TRUTHS)
def test_logs_are_those_of_their_rooms(site: str) -> None:
    """To the byte; with BATSIM_RENEW in the environment they are written anew."""
    for file, text in invented_logs(site):
        if os.environ.get("BATSIM_RENEW"):
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8")
        assert file.read_text(encoding="utf-8") == text, file


def calibrated(site: str) -> Calibration:
    """What the logs of a site say, as the guide asks."""
    logs = {kind: str(LOGS / site / f"{kind}.csv") for kind in ("exchanges", "charges", "trucks")}
    forms = {"decimal": "comma", "times": "%d.%m.%Y %H:%M:%S"} if TRUTHS[site][-1] else {}
    return batsim.calibrate(
        batsim.read(SCENARIOS / f"{site}.yaml"), **logs, **forms, settings=Settings(replications=12)
    )


@pytest.mark.slow
def test_what_was_put_in_is_found(tmp_path: Path) -> None:
    """By name and by number; and the one who is missing at night."""
    kestrel, saltmarsh = calibrated("kestrel-lane"), calibrated("saltmarsh-road")
    differs = {each.title: each.mean.mean for each in (*kestrel.differs, *saltmarsh.differs)}

    assert differs["exchange, truck in the station, overhead_hoist"] == pytest.approx(15.5, rel=0.05)
    assert {each.title for each in kestrel.differs} == {"exchange, truck in the station, overhead_hoist"}
    powers = {each.title: each.mean for each in kestrel.findings}
    assert powers["power, docks"].low < 3.7 < powers["power, docks"].high
    assert saltmarsh.beside is not None
    assert saltmarsh.beside.holds
    duty = saltmarsh.calibrated.trucks[1].duty
    assert duty is not None
    assert duty.mean_kw == {"early": pytest.approx(3.6, rel=0.05), "late": pytest.approx(2.9, rel=0.05)}
    assert kestrel.closing is not None
    closers = [kestrel.closing.best, *kestrel.closing.rivals]
    assert any(each is not None and "attendant" in each.in_words and "night" in each.in_words for each in closers)
    assert [len(log.left_out) for log in kestrel.logs.values()] == [3, 3, 1]


@pytest.mark.slow
def test_the_calibrated_site_goes_on(tmp_path: Path) -> None:
    """To a comparison and a report that say against what today was checked."""
    found = calibrated("kestrel-lane")
    file, page = tmp_path / "calibrated.yaml", tmp_path / "site.html"
    file.write_text(found.text(file), encoding="utf-8")
    quick = ["-r", "2", "--weeks", "1"]
    compared = CliRunner().invoke(main, ["compare", str(file), *quick])
    reported = CliRunner().invoke(main, ["report", str(file), *quick, "--output", str(page)])

    assert (compared.exit_code, reported.exit_code) == (0, 0), compared.stderr + reported.stderr
    checked = batsim.read(file).calibration
    assert checked is not None
    assert "the model does not give chargers in use in the busiest hour of the day." in checked.sentence
    assert checked.sentence in unescape(page.read_text(encoding="utf-8"))
