"""A run as a log of events, by hand; and read again as the logs of a site."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import batsim
from batsim import cli
from batsim.measures import measure
from batsim.record.words import CHARGE_IN_TRUCK, EXCHANGE
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.event_log import COLUMNS, KIND_OF_ACTIVITY, event_log_csv
from tests.runs import record_of
from tests.sites import KESTREL

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
LEAD_OR_LITHIUM = ROOT / "tests" / "unit" / "cases" / "lead_or_lithium.yaml"
THREE_AREAS = ROOT / "tests" / "unit" / "cases" / "three_areas.yaml"
WHOLE = "--log: writes the whole run; leave out --from, --to and --csv, or --log"
KINDS = ("exchanges", "charges", "trucks", "steps")


@pytest.fixture(scope="module")
def two_trucks():
    """Two trucks, three batteries, a station; 100 min on a battery, 10 min for an exchange, 150 min for a charge."""
    return batsim.event_log(batsim.simulate(batsim.read(TWO_TRUCKS), "one"))


@pytest.fixture(scope="module", params=["hoist", "in the truck"])
def week(request):
    """A week of a layout after one of warm-up."""
    record = record_of(KESTREL, request.param, length_min=WEEK_MIN, warm_up_min=WEEK_MIN)
    return record, batsim.event_log(record)


def at(hours, minutes):
    """A time of the first day."""
    return pd.Timestamp(2024, 1, 1, hours, minutes)


def test_every_column_of_the_first_rows(two_trucks):
    """Truck 1 comes at 60 min, truck 2 at 65 min and waits for the battery of truck 1, on charge until 220 min."""
    assert list(two_trucks.columns) == list(COLUMNS)
    first = two_trucks[two_trucks["case"] == "visit 2"].set_index("activity")
    assert list(first.index) == ["wait", "exchange", "truck in the station", "charge"]
    assert first["start"].tolist() == [at(1, 5), at(3, 40), at(3, 40), at(3, 50)]
    assert first["end"].tolist() == [at(3, 40), at(3, 50), at(3, 50), at(6, 20)]
    assert first["resource"].tolist() == ["truck 2", "station 1", "station 1", "electronic_iuia"]
    assert first["battery"].tolist() == ["battery 2"] * 4
    assert first["truck"].tolist() == ["truck 2"] * 3 + [""]
    exchange, charge = first.loc["exchange"], first.loc["charge"]
    assert (exchange["arrived"], exchange["truck_free"], exchange["charged_battery"]) == (
        at(1, 5),
        at(3, 50),
        "battery 1",
    )
    assert exchange["soc_start_share"] == pytest.approx(0.25)
    # 75 % of 750 Ah, times the charge factor of the charger, 1.15.
    assert (charge["charge_ah"], charge["soc_end_share"]) == (pytest.approx(646.875), pytest.approx(1.0))


def test_stated_run_times_are_work_on_one_battery(two_trucks):
    """Truck 2 works 65 min at first, then 100 min."""
    runs = two_trucks[(two_trucks["activity"] == "work on one battery") & (two_trucks["truck"] == "truck 2")]

    assert runs["worked_h"].tolist() == pytest.approx([65 / 60, 100 / 60, 100 / 60])
    assert runs["charge_ah"].tolist() == pytest.approx([562.5] * 3)


def test_what_the_end_of_the_run_cuts_has_no_end(two_trucks):
    """At 720 min truck 2 waits, and the battery of the fifth visit is on charge."""
    cut = two_trucks[two_trucks["end"].isna()]

    assert cut["activity"].tolist() == ["wait", "charge"]
    assert cut["charge_ah"].isna().all()
    assert cut["soc_start_share"].tolist()[1] == pytest.approx(0.25)


def test_the_warm_up_is_left_out_and_week_1_begins_on_the_stated_monday():
    """With a warm-up of 60 min, which lies in week 1, what begins at 60 min is the first that is told."""
    record = record_of(batsim.read(TWO_TRUCKS), "one", length_min=660.0, warm_up_min=60.0)
    log = batsim.event_log(record, date(2025, 6, 2))

    assert log["start"].iloc[0] == pd.Timestamp(2025, 6, 2, 1, 0)
    assert set(log["activity"].iloc[:2]) == {"exchange", "truck in the station"}


def test_rows_are_those_of_the_record(week):
    """As many exchanges and charges as begin in the measured week, in the order of time."""
    record, log = week
    exchanges, charges = record.columns("exchanges"), record.columns("charges")
    count = log["activity"].value_counts()

    def begun(rows, *flags):
        return int(np.sum(np.all([rows["start_min"] >= WEEK_MIN, rows["start_min"] < 2 * WEEK_MIN, *flags], axis=0)))

    assert count.get("exchange", 0) == begun(exchanges, exchanges["kind"] == EXCHANGE)
    assert count.get("truck plugged in", 0) == begun(exchanges, exchanges["kind"] == CHARGE_IN_TRUCK)
    assert count["charge"] == begun(charges, charges["end_min"] > charges["start_min"])
    assert log["start"].is_monotonic_increasing
    assert set(count.index) <= set(KIND_OF_ACTIVITY)
    assert (log["case"] != "").all()


def test_hours_worked_are_those_of_the_calendar_less_what_is_lost():
    """As the measures have it, over 15 shifts of 24 trucks from Sunday 22:00 on; power times hours is energy."""
    record = record_of(KESTREL, "in the truck", length_min=WEEK_MIN, warm_up_min=WEEK_MIN - 120.0)
    log = batsim.event_log(record)
    shifts = log[log["activity"] == "shift"]

    assert len(shifts) == 15 * 24
    lost_min = measure(record)["downtime_min_per_truck_shift"]
    assert 60.0 * shifts["worked_h"].mean() == pytest.approx(480.0 - 20.0 - lost_min, abs=1e-6)
    assert lost_min > 60.0
    assert (shifts["energy_kwh"] / shifts["worked_h"]).mean() == pytest.approx(3.4, rel=0.1)


@pytest.mark.parametrize("kind", KINDS)
def test_a_log_is_read_again(week, kind, tmp_path):
    """Each kind of row as it was, none left out, times to the second."""
    _, written = week
    file = tmp_path / "events.csv"
    file.write_text(event_log_csv(written), encoding="utf-8")

    log = batsim.read_log(file, kind, scenario=KESTREL, strict=True)

    own = written[written["activity"].map(KIND_OF_ACTIVITY) == kind].reset_index(drop=True)
    assert (log.left_out, log.gaps, log.read, log.others) == ((), (), len(own), len(written) - len(own))
    assert log.first_monday == (date(2024, 1, 1) if len(own) else None)
    if not len(own):
        return
    since = (own["start"] - at(0, 0)).dt.total_seconds() / 60.0
    assert np.allclose(log.rows["start_min"], since)
    assert (log.rows["truck"] == own["truck"]).all()
    lasts = (own["end"] - own["start"]).dt.total_seconds() / 60.0
    ended = own["end"].notna()
    assert np.allclose(log.rows["duration_min"][ended], lasts[ended])
    assert (log.rows["censored"] == (~ended if kind != "trucks" else False)).all()
    for name in {"charge_ah", "energy_kwh", "soc_start_share"} & set(log.rows.columns):
        assert np.allclose(log.rows[name], own[name], atol=1e-3, equal_nan=True)


def test_areas_and_several_battery_types_are_read_again(tmp_path):
    """With a layout of three areas, of which one charges in the truck."""
    site = batsim.read(THREE_AREAS)
    layout = next(iter(site.layouts))
    written = batsim.event_log(record_of(site, layout, length_min=2880.0, warm_up_min=0.0))
    file = tmp_path / "events.csv"
    file.write_text(event_log_csv(written), encoding="utf-8")

    logs = [batsim.read_log(file, kind, scenario=site, strict=True) for kind in KINDS]

    assert sum(log.read for log in logs) == len(written)
    assert set(written["area"]) == set(site.layouts[layout].by_area)


def call(*arguments):
    """Run a command in this process."""
    return CliRunner().invoke(cli.main, [str(each) for each in arguments])


def test_the_command_writes_the_log(two_trucks, tmp_path):
    file = tmp_path / "events.csv"
    result = call("trace", TWO_TRUCKS, "--log", file)

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == f"wrote {file}: {len(two_trucks)} events; Monday 2024-01-01 stands for that of week 1\n"
    assert file.read_text(encoding="utf-8") == event_log_csv(two_trucks)


def test_the_command_writes_the_log_of_an_area(tmp_path):
    file = tmp_path / "events.csv"
    layout = next(iter(batsim.read(THREE_AREAS).layouts))
    area = next(iter(batsim.read(THREE_AREAS).layouts[layout].by_area))
    result = call("trace", THREE_AREAS, "--layout", layout, "--weeks", 0.2, "--log", file, "--area", area)

    assert result.exit_code == 0
    assert set(pd.read_csv(file)["area"]) == {area}


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--log", "a.csv", "--csv"], WHOLE),
        (["--log", "a.csv", "--to", "Tue 01:00"], WHOLE),
        ([], "--from, --to: say which window to tell of, such as --from 'Mon 13:50' --to 'Mon 15:30'; or use --log"),
        (["--log", "no/such/folder.csv"], "--log: cannot be written (No such file or directory); choose another file"),
    ],
)  # fmt: skip
def test_options_that_do_not_go_together(options, message):
    result = call("trace", TWO_TRUCKS, *options)

    assert result.exit_code == 2
    assert result.stderr.endswith(f"Error: {message}\n")
