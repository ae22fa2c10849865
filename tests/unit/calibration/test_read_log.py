"""Logs of a site: how columns, numbers and times are read, and why rows are left out, each by hand."""

import time
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import batsim
from batsim.calibration.columns import columns_by_kind, known_units, of_people
from tests.sites import CART, FROSTHOLM, KESTREL

DAY, WEEK = 1440.0, 10080.0
EXCHANGES = "truck,group,battery,start,end,soc [%]\n"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, so that messages show short file names."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def read(text, kind="exchanges", **options):
    """Read a log from a text."""
    Path("log.csv").write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return batsim.read_log("log.csv", kind, **options)


def refused(text, kind="exchanges", **options):
    """Messages of a log that is refused."""
    with pytest.raises(batsim.ScenarioError) as caught:
        read(text, kind, **options)
    return [str(problem) for problem in caught.value.problems]


def left_out(log):
    """Line and reason of what is left out."""
    return [(each.line, each.reason) for each in log.left_out]


# --- what is read ---


def test_a_plain_log_to_the_last_column():
    """Monday 4 March 2024 is the first Monday; the truck waits 5 min and the exchange takes 12.5 min."""
    log = read(
        "truck,group,battery,area,arrived,start,end,soc [%],truck free\n"
        "T1,docks,B7,yard,2024-03-05T08:00,2024-03-05T08:05,2024-03-05T08:17:30,24.5,2024-03-05T08:15\n"
    )

    assert log.rows.to_dict("records") == [
        {
            "line": 2, "truck": "T1", "group": "docks", "battery": "B7", "area": "yard", "start_min": DAY + 485.0,
            "week": 0.0, "soc_start_share": 0.245, "duration_min": 12.5, "censored": False, "end_min": DAY + 497.5,
            "arrived_min": DAY + 480.0, "wait_min": 5.0, "truck_free_min": DAY + 495.0,
        }
    ]  # fmt: skip
    assert (log.first_monday, log.read, log.others, log.used_share) == (date(2024, 3, 4), 1, 0, 1.0)
    assert (log.left_out, log.gaps, log.not_read, log.reasons) == ((), (), (), {})
    assert log.headers["soc_start"] == "soc [%]"
    assert log.clock == (
        "local times without a change of the clock, ISO 8601, such as 2024-03-04T14:05; "
        "durations are those that elapsed"
    )


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("decimal", ["point", "comma"])
@pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 1, 0, 2)])
def test_separators_decimals_and_order(separator, decimal, order):
    """A charge of 7 h 30 min and 412.5 Ah, from a quarter on."""
    header = ["Battery No.", "START_TIME", "Charge time (h)", "Ah charged, Ah"]
    cells = ["B1", "2024-03-04 22:00", "7.5", "412.5"]
    header[3] = "charge [Ah]"
    if decimal == "comma":
        cells = [cell.replace(".", ",") for cell in cells]
    lines = [separator.join(f'"{row[at]}"' for at in order) for row in (header, cells)]

    log = read("\n".join(lines), "charges", decimal=decimal)

    (row,) = log.rows.to_dict("records")
    assert (row["start_min"], row["duration_min"], row["charge_ah"]) == (1320.0, 450.0, 412.5)


@pytest.mark.parametrize(
    ("header", "cell", "options", "minutes"),
    [
        ("duration [s]", "90", {}, 1.5),
        ("duration (min)", "90", {}, 90.0),
        ("duration_min", "90", {}, 90.0),
        ("How Long h", "1.5", {}, 90.0),
        ("duration", "90 s", {}, 1.5),
        ("duration", "1.5h", {}, 90.0),
        ("duration", "90", {"units": {"duration": "s"}}, 1.5),
        ("took", "90", {"units": {"duration": "s"}, "mapping": {"duration": "took"}}, 1.5),
        ("took [s]", "90", {"mapping": {"duration": "Took [s]"}}, 1.5),
        ("took [s]", "90", {"mapping": {"duration": "took"}}, 1.5),
        ("duration [s]", "2 min", {}, 2.0),
        ("duration [min]", "1.5e1", {}, 15.0),
    ],
)
def test_units_of_a_stopwatch(header, cell, options, minutes):
    """In the header, in cells, or stated."""
    log = read(f"step;{header}\nwalk;{cell}\n", "steps", **options)

    assert log.rows["duration_min"].tolist() == pytest.approx([minutes])
    assert log.first_monday is None


@pytest.mark.parametrize(
    ("header", "cell"),
    [("soc [%]", "25"), ("soc_share", "0.25"), ("soc percent", "25"), ("soc", "25 %"), ("SoC %", "25")],
)
def test_shares(header, cell):
    log = read(f"truck,start,duration [min],{header}\nT1,2024-03-04T08:00,10,{cell}\n")

    assert log.rows["soc_start_share"].tolist() == [0.25]


def test_energy_of_a_shift_with_a_day_alone():
    """A day and the name of the shift will do."""
    log = read("Vehicle;date;shift;hours [h];energy (MJ)\n7;2024-03-06;Early;6,5;72\n", "trucks", scenario=KESTREL)

    (row,) = log.rows.to_dict("records")
    assert (row["truck"], row["shift"], row["start_min"]) == ("7", "early", 2 * DAY + 360.0)
    assert (row["worked_min"], row["energy_kwh"]) == (390.0, 20.0)


@pytest.mark.parametrize(
    ("times", "cell"),
    [
        ("%d.%m.%Y %H:%M", "05.03.2024 08:05"),
        ("%m/%d/%y %I:%M %p", "03/05/24 08:05 AM"),
        ("%Y%m%d%H%M%S", "20240305080500"),
        (None, "2024-03-05 08:05:00,000"),
    ],
)
def test_forms_of_times(times, cell):
    log = read(f"truck;start;duration [min]\nT1;{cell};3\n", times=times)

    assert log.rows["start_min"].tolist() == [DAY + 485.0]


def test_minutes_count_from_a_stated_monday():
    """One for all logs of a site."""
    log = read("truck,start,duration [min]\nT1,2024-03-05T00:00,3\n", first_monday=date(2024, 2, 26))

    assert log.rows[["start_min", "week"]].to_numpy().tolist() == [[WEEK + DAY, 1.0]]


# --- the clock ---


def test_when_the_clock_goes_forward():
    """On 31 March 2024 Madrid has no 02:30; what runs from 01:50 to 03:10 takes 20 min."""
    text = (
        "truck,start,end\n"
        "T1,2024-03-31T01:50,2024-03-31T03:10\n"
        "T2,2024-03-31T02:30,2024-03-31T03:10\n"
        "T3,2024-03-31T01:50,2024-03-31T02:10\n"
    )
    log = read(text, zone="Europe/Madrid")

    leaves_out = "the clock leaves this time out when it goes forward in Europe/Madrid"
    assert log.rows["duration_min"].tolist() == [20.0]
    assert log.rows["start_min"].tolist() == [6 * DAY + 110.0]
    assert [str(each.problem) for each in log.left_out] == [
        f"log.csv:3:1: start: {leaves_out} (got '2024-03-31T02:30')",
        f"log.csv:4:1: end: {leaves_out} (got '2024-03-31T02:10')",
    ]
    assert read(text).rows["duration_min"].tolist() == [80.0, 40.0, 20.0]


def test_when_the_clock_goes_back():
    """On 27 October 2024 Madrid has 02:30 twice; with its offset a time is one; 01:50 to 03:10 takes 140 min."""
    log = read(
        "truck,start,end\n"
        "T1,2024-10-27T01:50,2024-10-27T03:10\n"
        "T2,2024-10-27T02:30,2024-10-27T03:10\n"
        "T3,2024-10-27T02:30+02:00,2024-10-27T03:10+01:00\n"
        "T4,2024-10-27T02:30+0100,2024-10-27T02:10:00Z\n",
        zone="Europe/Madrid",
    )

    assert log.rows["truck"].tolist() == ["T1", "T3", "T4"]
    assert log.rows["duration_min"].tolist() == [140.0, 100.0, 40.0]
    assert log.rows["start_min"].tolist() == [6 * DAY + 110.0, 6 * DAY + 150.0, 6 * DAY + 150.0]
    assert left_out(log) == [(3, "time that the clock shows twice")]


# --- what is left out, each reason by a row ---


def test_an_end_before_its_start():
    log = read(EXCHANGES + "T1,docks,B1,2024-03-04T08:10,2024-03-04T08:00,20\n")

    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:2:1: end: the end lies before the start (got '2024-03-04T08:00')"
    ]
    assert (log.used_share, log.reasons) == (0.0, {"end before start": 1})


def test_a_truck_that_came_after_its_exchange():
    """A clock that is 3 min slow at the gate is not that."""
    log = read(
        "truck,arrived,start,end\n"
        "T1,2024-03-04T08:30,2024-03-04T08:00,2024-03-04T08:10\n"
        "T2,2024-03-04T09:03,2024-03-04T09:00,2024-03-04T09:10\n"
    )

    assert left_out(log) == [(2, "end before start")]
    assert log.rows["wait_min"].tolist() == [-3.0]


def test_no_end_is_censored_where_nothing_follows():
    """Truck 1 comes again, so its first exchange has ended; truck 2 is in its exchange when the log ends, at 08:40."""
    log = read(
        EXCHANGES + "T1,docks,B1,2024-03-04T08:00,,20\n"
        "T2,docks,B2,2024-03-04T08:15,,20\n"
        "T1,docks,B3,2024-03-04T08:30,2024-03-04T08:40,20\n"
    )

    assert left_out(log) == [(2, "no end")]
    assert log.rows["censored"].tolist() == [True, False]
    assert log.rows["duration_min"].tolist() == [25.0, 10.0]
    assert np.isnan(log.rows["end_min"].iloc[0])


def test_an_end_that_was_forgotten():
    """Truck 9 does not come again, but the log goes on for an hour after exchanges of ten minutes at most."""
    ended = "".join(
        f"T{n},docks,B{n},2024-03-04T08:{10 * n:02},2024-03-04T08:{10 * n + 5 + n:02},20\n" for n in range(5)
    )
    log = read(
        EXCHANGES + ended + "T9,docks,B8,2024-03-04T08:00,,20\nT8,docks,B9,2024-03-04T09:00,2024-03-04T09:05,20\n"
        "T7,docks,B7,2024-03-04T08:48,,20\n"
    )

    assert left_out(log) == [(7, "no end")]
    assert "its end was forgotten" in log.left_out[0].rule
    assert log.rows["duration_min"].tolist() == [5.0, 6.0, 7.0, 8.0, 9.0, 5.0, 17.0]
    assert log.rows["censored"].tolist() == [False] * 6 + [True]


def test_weeks_from_another_monday():
    """As if the log had been read so."""
    text = EXCHANGES + "T1,docks,B1,2024-03-14T08:00,2024-03-14T08:10,20\nT2,docks,B2,2024-03-15T08:00,,20\n"
    early = date(2024, 2, 26)

    moved, read_so = read(text).counted_from(early), read(text, first_monday=early)

    pd.testing.assert_frame_equal(moved.rows, read_so.rows)
    assert moved.first_monday == read_so.first_monday == early
    assert moved.rows["week"].tolist() == [2.0, 2.0]


def test_overlaps_leave_as_many_rows_as_can_be():
    """The exchange of an hour overlaps with three: it goes, not they. Touching is not overlapping."""
    log = read(
        EXCHANGES + "T1,docks,B1,2024-03-04T08:00,2024-03-04T09:00,20\n"
        "T1,docks,B2,2024-03-04T08:05,2024-03-04T08:15,20\n"
        "T1,docks,B3,2024-03-04T08:15,2024-03-04T08:25,20\n"
        "T1,docks,B4,2024-03-04T08:30,2024-03-04T08:40,20\n"
        "T2,docks,B5,2024-03-04T08:00,2024-03-04T09:00,20\n"
        "T3,docks,B5,2024-03-04T08:50,2024-03-04T09:10,20\n"
    )

    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:2:1: truck: is in two exchanges at a time; see line 5 (got 'T1')",
        "log.csv:7:1: battery: is in two exchanges at a time; see line 6 (got 'B5')",
    ]


def test_out_of_the_calendar():
    """No shift works from Saturday 06:00, when what the late shift left is done, to Sunday 22:00."""
    rows = ["2024-03-08T21:59", "2024-03-09T05:59", "2024-03-09T06:01", "2024-03-10T21:40", "2024-03-10T21:55"]
    text = "truck,start,duration [min]\n" + "".join(f"T{n},{at},10\n" for n, at in enumerate(rows))

    log = read(text, scenario=KESTREL)

    assert left_out(log) == [(4, "out of the calendar"), (5, "out of the calendar")]
    assert str(log.left_out[0].problem) == (
        "log.csv:4:1: start: no shift works then, nor has one ended lately (got '2024-03-09T06:01')"
    )
    assert left_out(read(text)) == []


def test_shifts_in_which_the_trucks_of_a_group_never_work():
    """Both groups of the cold store work from Monday 05:00 to 21:00, not at night."""
    group = FROSTHOLM.trucks[0].group
    rows = [("2024-03-04T23:00", "2024-03-05T01:00"), ("2024-03-04T12:00", "2024-03-04T14:00")]
    text = "truck,group,start,end,energy [kWh]\n" + "".join(
        f"T{n},{group},{a},{b},9\n" for n, (a, b) in enumerate(rows)
    )

    assert left_out(read(text, "trucks", scenario=FROSTHOLM)) == [(2, "out of the calendar")]


def test_names_that_the_scenario_does_not_know():
    """Capitals and underscores do not matter; other letters do."""
    log = read(
        "truck,group,battery type,start,duration [min]\n"
        "T1,Docks,Lead_48V_750Ah,2024-03-04T08:00,3\n"
        "T1,docs,lead 48 V 750 Ah,2024-03-04T09:00,3\n"
        "T1,docks,gel,2024-03-04T10:00,3\n",
        scenario=KESTREL,
    )

    assert log.rows[["group", "battery_type"]].to_numpy().tolist() == [["docks", "lead 48 V 750 Ah"]]
    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:3:1: group: no such truck group in the scenario; did you mean 'docks'? (got 'docs')",
        "log.csv:4:1: battery_type: no such battery type in the scenario; known: lead 48 V 750 Ah (got 'gel')",
    ]


def test_steps_that_the_scenario_does_not_know():
    """Those of its arrangements are known, and those that a log of a run has."""
    log = read("step,duration [s]\nBring,60\nchange,60\ncool-down,60\nchnge,60\n", "steps", scenario=CART)

    assert log.rows["step"].tolist() == ["bring", "change", "cool-down"]
    assert "did you mean 'change'?" in log.left_out[0].rule


def test_doubles():
    """Two rows that say the same; not two steps that took as long."""
    row = "T1,docks,B1,2024-03-04T08:00,2024-03-04T08:10,20\n"
    log = read(EXCHANGES + row + row.replace("08:10", "08:09:00") + row)

    assert left_out(log) == [(2, "overlap"), (4, "double")]
    assert str(log.left_out[1].problem) == "log.csv:4:1: the same as line 2"
    assert read("step,duration [s]\nwalk,12\nwalk,12\n", "steps").left_out == ()


def test_impossible_amounts():
    """750 Ah take 862.5 Ah with a charge factor of 1.15; 4 h of equalising at 3.5 A per 100 Ah make it 967.5 Ah."""
    most = 967.4
    text = "battery,start,duration [h],charge [Ah],soc [%]\n" + "".join(
        f"B{n},2024-03-04T08:00,{hours},{ah},{soc}\n"
        for n, (hours, ah, soc) in enumerate(
            ((8, most, 20), (8, most + 0.2, 20), (8, -1, 20), (-8, 1, 20), (8, 1, 101))
        )
    )
    log = read(text, "charges", scenario=KESTREL)

    assert [(each.line, each.column, each.reason) for each in log.left_out] == [
        (3, "charge", "impossible amount"),
        (4, "charge", "impossible amount"),
        (5, "duration", "impossible amount"),
        (6, "soc_start", "impossible amount"),
    ]
    assert log.left_out[0].rule == "more than a charge can give its battery, 967.5 Ah"


def test_cells_that_are_no_numbers_or_times():
    log = read(EXCHANGES + "T1,docks,B1,8 o'clock,2024-03-04,n/a\n")

    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:2:1: soc_start: needs a number, or one with a unit of share (got 'n/a')",
        "log.csv:2:1: start: needs a time, ISO 8601, such as 2024-03-04T14:05 (got \"8 o'clock\")",
        "log.csv:2:1: end: needs a time, ISO 8601, such as 2024-03-04T14:05 (got '2024-03-04')",
    ]  # fmt: skip
    assert (log.reasons, log.first_monday) == ({"no time": 1, "not a number": 1}, None)


def test_what_is_missing():
    log = read(EXCHANGES + ",,B1,2024-03-04T08:00,2024-03-04T08:10,20\nT1,,B1,,2024-03-04T08:10,20\n")

    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:2:1: truck: says nothing of truck or group",
        "log.csv:3:1: start: says nothing of start",
    ]


def test_rows_that_are_too_wide():
    log = read("step;duration [s]\nwalk;41;5\nwalk;12;\n", "steps")

    assert [str(each.problem) for each in log.left_out] == [
        "log.csv:2:1: has more cells than the header, which has 2; put a cell in which a separator stands in quotes"
    ]


def days(count, swap=(), form="%Y-%m-%d"):
    """Exchanges on consecutive days from 1 March 2024 on, with day and month of some exchanged."""
    first = date(2024, 3, 1).toordinal()
    dates = [date.fromordinal(first + n) for n in range(count)]
    dates = [each.replace(month=each.day, day=each.month) if n in swap else each for n, each in enumerate(dates)]
    return "".join(
        f"T{n},,,{each.strftime(form)}T08:00,{each.strftime(form)}T08:10,20\n" for n, each in enumerate(dates)
    )


@pytest.mark.parametrize("swapped", [3, 4, 10, 33, 41])
def test_swapped_day_and_month(swapped):
    """One row of 60, wherever it is; 3 March is the same both ways, so the third row cannot be."""
    log = read(EXCHANGES + days(60, swap={swapped}))

    assert set(left_out(log)) == {(swapped + 2, "day and month swapped")}
    assert "fits the other way round" in log.left_out[0].rule
    assert len(log.rows) == 59


def test_a_swapped_start_alone_is_that_and_no_end_before_it():
    """4 October in place of 10 April: its end lies before it too, which need not be said."""
    text = days(60).replace("2024-04-10T08:00", "2024-10-04T08:00")

    assert left_out(read(EXCHANGES + text)) == [(42, "day and month swapped")]


def test_days_in_order_are_not_swapped():
    """Nor those of a file that is sorted by truck."""
    assert read(EXCHANGES + days(60)).left_out == ()
    assert read(EXCHANGES + days(60) + days(60).replace("\nT", "\nU").replace("T0,", "U0,")).left_out == ()


def test_a_year_that_was_mistyped():
    log = read(EXCHANGES + days(60).replace("2024-03-20T", "2004-03-20T"))

    assert set(left_out(log)) == {(21, "out of order by months")}
    assert log.first_monday == date(2024, 2, 26)


# --- gaps ---


def test_gaps_of_a_logger():
    """An exchange every half hour of 24 h in six weeks, none from Tuesday 00:00 to Thursday 12:00 of the third."""
    times = np.arange(0.0, 6 * WEEK, 30.0)
    silent = (times >= 2 * WEEK + DAY) & (times < 2 * WEEK + 3.5 * DAY)
    origin = np.datetime64("2024-03-04T00:00")
    rows = [f"T1,{origin + np.timedelta64(int(at), 'm')},10\n" for at in times[~silent]]

    log = read("truck,start,duration [min]\n" + "".join(rows))

    (gap,) = log.gaps
    assert (gap.from_min, gap.to_min) == (2 * WEEK + DAY - 30.0, 2 * WEEK + 3.5 * DAY)
    assert gap.after_line == 2 + int(np.flatnonzero(silent)[0]) - 1
    assert gap.usual_h == pytest.approx(60 * 5 / 7, abs=1.0)
    assert (log.left_out, log.used_share) == ((), 1.0)


@pytest.mark.parametrize("weeks", [1, 2, 5])
def test_nights_and_weekends_are_no_gaps(weeks):
    """Four exchanges an hour from 06:00 to 22:00, Monday to Friday; a silent week is a gap."""
    origin = np.datetime64("2024-03-04T00:00")
    times = [
        w * WEEK + d * DAY + h * 60 + m
        for w in range(weeks)
        for d in range(5)
        for h in range(6, 22)
        for m in (0, 15, 30, 45)
    ]

    def text(times):
        return "truck,start,duration [min]\n" + "".join(
            f"T1,{origin + np.timedelta64(int(at), 'm')},10\n" for at in times
        )

    assert read(text(times)).gaps == ()
    if weeks == 5:
        (gap,) = read(text([at for at in times if at // WEEK != 2])).gaps
        assert (gap.from_min // WEEK, gap.to_min // WEEK) == (1, 3)


# --- headers ---


def test_names_of_people_are_not_read():
    """Not even where a column is mapped to them; what they say is in no message."""
    text = "Driver;truck;operator name;start;duration [min]\nAda;T1;Bo;2024-03-04T08:00;x\n"
    log = read(text)

    assert log.not_read == ("Driver", "operator name")
    assert "Ada" not in str(log) + str(log.rows)
    assert refused(text, mapping={"truck": "Driver"}) == [
        "log.csv:1:1: mapping.truck: holds names of people, which are not read; leave it out (got 'Driver')"
    ]


def test_columns_never_stand_for_people():
    """No word for a column is one for people, and no header is known as two columns."""
    for columns in columns_by_kind().values():
        words = [word for each in columns.values() for word in {each.name.replace("_", " "), *each.words}]
        assert not any(map(of_people, words))
        assert len(words) == len(set(words))
        assert all(known_units(each) or each.dimension is None for each in columns.values())


@pytest.mark.parametrize(
    ("text", "kind", "options", "messages"),
    [
        (
            "fork,begin\nT1,2024-03-04T08:00\n", "exchanges", {},
            [
                "log.csv:1:1: exchanges need one of the columns truck, group; map it to one of these: 'fork', 'begin'",
                "log.csv:1:1: exchanges need one of the columns end, duration; map it to one of these: 'fork', 'begin'",
            ],
        ),
        (
            "battery,start,end,charge\nB1,2024-03-04T08:00,2024-03-04T08:00,3\n", "charges", {"zone": "Europe/Madrit"},
            [
                "log.csv: zone: needs a name of the time zone database, such as Europe/Madrid; "
                "did you mean 'Europe/Madrid'? (got 'Europe/Madrit')",
            ],
        ),
        (
            "step,duration\nwalk,3\n", "steps", {},
            ["log.csv:1:1: duration: column 'duration' has no unit; call it 'duration [s]', or state its unit"],
        ),
        (
            "step,duration [kWh]\nwalk,3\n", "steps", {},
            ["log.csv:1:1: duration: needs a unit of duration: s, min, h, day, days, week, weeks (got 'kWh')"],
        ),
        (
            "step,duration [s]\nwalk,3\n", "steps", {"units": {"duration": "min", "step": "s", "time": "s"}},
            [
                "log.csv:1:1: units: steps have no such column (got 'time')",
                "log.csv:1:1: units.duration: the header in line 1 of the table says 'duration [s]'; state one unit "
                "(got 'min')",
                "log.csv:1:1: units.step: a step has no unit; leave it out (got 's')",
            ],
        ),
        (
            "step,duration [s],length [s]\nwalk,3,4\n", "steps", {"mapping": {"stp": "step", "truck": "stap"}},
            [
                "log.csv:1:1: mapping: steps have no such column; did you mean 'step'? (got 'stp')",
                "log.csv:1:1: mapping.truck: no such column in line 1 of the table; did you mean 'step'? (got 'stap')",
            ],
        ),
        (
            "step,how long [s],length [s]\nwalk,3,4\n", "steps", {},
            ["log.csv:1:1: duration: two columns may be meant, 'how long [s]' and 'length [s]'; map one of them"],
        ),
        (
            "step;duration [s]\nwalk;1,250\n", "steps", {},
            [
                "log.csv:2:1: duration: a comma may mean two things; state 'decimal: comma', or write thousands "
                "without it (got '1,250')",
            ],
        ),
        (
            "step;duration [s]\nwalk;1,25\nwalk;1.5\n", "steps", {},
            [
                "log.csv:3:1: duration: a decimal point, but line 2 has a decimal comma; write all with one of them "
                "(got '1.5')",
            ],
        ),
        (
            "truck,start,duration [s]\nT1,2024-03-04T08:00Z,3\n", "exchanges", {},
            ["log.csv: zone: times have their offset from UTC; state the time zone of the site"],
        ),
        (
            "step,duration [s]\nwalk,3\n", "steps", {"decimal": "dot", "times": "%d.%m. %H:%M"},
            [
                "log.csv: decimal: needs point or comma; known: point, comma (got 'dot')",
                "log.csv: times: needs a form with day, month, year and time, such as '%d.%m.%Y %H:%M' "
                "(got '%d.%m. %H:%M')",
            ],
        ),
        ("step,duration [s]\n", "steps", {}, ["log.csv: needs a header and rows below it"]),
        ("", "steps", {}, ["log.csv: needs a header and rows below it"]),
        (
            'step,duration [s]\n"walk,3\n', "steps", {},
            ["log.csv: is no table: a quote is not closed where its cell ends"],
        ),
        (b"step,dur\xe9e\n", "steps", {}, ["log.csv: is not UTF-8 text in line 1; save it as UTF-8"]),
    ],
)  # fmt: skip
def test_what_a_log_is_refused_for(text, kind, options, messages):
    """Everything at once."""
    assert refused(text, kind, **options) == messages


def test_no_such_file():
    with pytest.raises(batsim.ScenarioError, match="no such file"):
        batsim.read_log("nothing.csv", "steps")


def test_no_such_kind():
    with pytest.raises(ValueError, match="one of the kinds exchanges, charges, trucks, steps"):
        batsim.read_log("nothing.csv", "stops")


def test_strict_refuses_what_would_be_left_out():
    """Ten of each reason, and how many more."""
    rows = "".join(f"T{n},docks,B{n},2024-03-04T08:10,2024-03-04T08:00,20\n" for n in range(14))
    messages = refused(EXCHANGES + rows + "T1,docks,B1,2024-03-04T08:10,2024-03-04T08:20,x\n", strict=True)

    assert len(messages) == 10 + 1 + 1
    assert messages[0] == "log.csv:2:1: end: the end lies before the start (got '2024-03-04T08:00')"
    assert messages[10] == "log.csv:12:1: 4 more rows from here on: end before start"
    assert messages[11] == "log.csv:16:1: soc_start: needs a number, or one with a unit of share (got 'x')"


def test_what_is_left_out_as_a_table():
    log = read(EXCHANGES + "T1,docks,B1,2024-03-04T08:10,2024-03-04T08:00,20\n")

    assert log.left_out_frame.to_dict("records") == [
        {
            "file": "log.csv", "line": 2, "reason": "end before start", "column": "end",
            "rule": "the end lies before the start", "got": "'2024-03-04T08:00'",
        }
    ]  # fmt: skip


@pytest.mark.slow
def test_two_hundred_thousand_rows_are_read_in_ten_seconds():
    """Of the processor, with a scenario, a stated form of times and a time zone."""
    seconds = np.arange(200_000) * 300
    begin = np.datetime64("2022-01-03T00:00:00") + seconds.astype("timedelta64[s]")
    rows = [f"T{n % 60};docks;{str(at).replace('T', ' ')};4,5;24,5\n" for n, at in enumerate(begin)]
    Path("log.csv").write_text("truck;group;start;duration [min];soc [%]\n" + "".join(rows), encoding="utf-8")

    since = time.process_time()
    log = batsim.read_log("log.csv", "exchanges", scenario=KESTREL, times="%Y-%m-%d %H:%M:%S", zone="Europe/Madrid")

    assert time.process_time() - since < 10.0
    assert log.read == 200_000
