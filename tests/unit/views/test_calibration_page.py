"""The page of a calibration: all that it has to say is in it, names stay text, little data breaks nothing."""

import re
from html import unescape

import pytest

import batsim
from batsim.calibration.calibrate import NOT_BESIDE
from batsim.calibration.log import Gap
from batsim.views.page import calibration as page_module
from batsim.views.page.calibration import CAUTIONS, MOST_LEFT_OUT, NOT_INDEPENDENT, calibration_html
from batsim.views.text.calibration_rows import (
    compared_rows,
    gap_texts,
    headline,
    left_out_texts,
    log_rows,
    measured_text,
    moment,
    stated_rows,
    stated_sentence,
)
from tests.calibrations import MONDAY, calibrated, log_of, of_few_days, of_times_alone, with_a_gap
from tests.sites import SURVEYED

MOST_BYTES = 1_000_000
HOSTILE = '<script>alert(1)</script> $x$ & "more"'


@pytest.fixture(scope="module")
def gap():
    return with_a_gap()


@pytest.fixture(scope="module")
def page(gap):
    return calibration_html(gap)


def cells(html):
    """Texts of the rows of all tables."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", html.replace("\N{NO-BREAK SPACE}", " "), re.DOTALL)
    return [tuple(unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)) for row in rows]


def words(html):
    """What is read, without tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split()).replace("\N{NON-BREAKING HYPHEN}", "-")


def test_the_verdict_comes_first(gap, page):
    """In a sentence; then all of it, then which inputs differ."""
    text = words(page.partition('<section id="records"')[0].partition("<body>")[2])

    assert not gap.beside.holds
    assert headline(gap) == (
        "The model gives all but 1 of 15 numbers measured in week 12 of 2024: time that a battery stands discharged "
        "before its charge."
    )
    assert headline(gap) in text
    assert gap.verdict in text
    assert stated_sentence(gap) in text


def test_tables_have_every_row(gap, page):
    rows = cells(page)

    for table in (log_rows(gap.logs), stated_rows(gap), compared_rows(gap.beside)):
        assert len(table) > 2
        assert [row for row in table if row not in rows] == []
    assert rows[1][1:] == ("log <b> & more.csv", "31", "71 %", "9 unknown name")
    closes = next(row for row in rows if row[0] == "3 chargers fewer")
    assert closes[1] == f"{100 * gap.closing.closed_share(gap.closing.best):.0f} %"


def test_what_was_left_out_is_told(gap, page):
    """The first rows with their lines, then how many more; the folder of the file stays at home."""
    log, text = gap.logs["exchanges"], words(page)
    told = left_out_texts(log, MOST_LEFT_OUT)

    assert told[0].startswith(
        f"log <b> & more.csv:{log.left_out[0].line}:1: group: no such truck group in the scenario"
    )
    assert told[MOST_LEFT_OUT:] == ["4 more in log <b> & more.csv"]
    assert [each for each in told if " ".join(each.split()) not in text] == []
    assert log.file not in unescape(page)


def test_gaps_of_loggers_have_their_dates(gap):
    silent = Gap(from_min=1440.0 + 605.0, to_min=3.0 * 1440.0, usual_h=7.0, after_line=12)
    log = gap.logs["charges"]
    object.__setattr__(log, "gaps", (silent,))
    try:
        told = list(gap_texts(gap.logs))
    finally:
        object.__setattr__(log, "gaps", ())

    assert told == [
        "Charges: nothing from Tue 5 Mar 2024 10:05 to Thu 7 Mar 2024 00:00, 7 hours in which something usually begins "
        "(log <b> & more.csv, after line 12); was the logger on?"
    ]
    assert moment(MONDAY, 0.0) == "Mon 4 Mar 2024 00:00"


def test_laws_weeks_and_cautions_stand_in_it(gap, page):
    """A picture of each law, what was tested, what was held out, what to keep in mind."""
    text = words(page)
    drawn = [each for each in gap.findings if each.fitted is not None and each.law != "fixed"]

    assert page.count("<svg") == len(drawn) + 2
    assert [test.sentence for each in gap.findings for test in each.depends if test.sentence[1:] not in text] == []
    power = next(each for each in gap.findings if each.what == "power")
    assert f"Here stands the power of a truck-shift; from it follows power: {measured_text(power)}." in text
    assert "State of charge on arrival is always 25 %" in text
    assert "Inputs were fitted to weeks 10-11 of 2024." in text
    assert "to judge the model by what nothing was fitted to: week 12 of 2024." in text
    assert [caution for caution in CAUTIONS if caution not in text] == []
    assert NOT_INDEPENDENT not in text
    wait = next(each for each in gap.beside.deciding if each.measure == "wait_min")
    assert f"all from {wait.amount(wait.simulated.low)} to {wait.amount(wait.simulated.high)} would have passed" in text


def test_nothing_comes_from_outside_and_ids_are_alone(page):
    ids = re.findall(r'\bid="([^"]+)"', page)

    assert len(ids) == len(set(ids))
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []
    assert not re.search(r"url\((?!#)|@import|<script|<link", page)
    assert len(page.encode()) < MOST_BYTES


def test_names_stay_text(gap):
    """Of the site, of what logs hold, of files."""
    site = batsim.changed(SURVEYED, {"site.name": HOSTILE})
    object.__setattr__(gap, "scenario", site)
    try:
        page, html = calibration_html(gap), gap._repr_html_()
    finally:
        object.__setattr__(gap, "scenario", SURVEYED)

    assert HOSTILE in unescape(re.search(r"<h1>(.*?)</h1>", page)[1])
    for text in (page, html):
        assert not re.search(r"<script|<i>nobody|<b>", text)


def test_a_log_of_few_days_breaks_nothing():
    """No week is held out, few rows: it is said."""
    few = of_few_days()
    text = words(calibration_html(few))

    assert not few.weeks.independent
    assert "No week could be held out." in text
    assert NOT_INDEPENDENT in text
    assert "fewer than 30 seen to their end: its numbers are ranges" in text


def test_times_alone_are_set_beside_nothing():
    """Stopwatch times: inputs, no simulation."""
    alone = of_times_alone()
    page = calibration_html(alone)

    assert headline(alone) == NOT_BESIDE
    assert words(page).count(NOT_BESIDE) == 1
    assert 'id="beside"' not in page
    assert 'id="closing"' not in page
    assert "No log of exchanges, charges, trucks was given." in words(page)
    assert "1 of 1 input differs from what was stated: Connecting a battery, overhead hoist" in words(page)


def test_one_replication_carries_no_verdict():
    one = calibrated(SURVEYED, log_of(SURVEYED, 1), replications=1)

    assert headline(one) == "One replication carries no verdict; take at least two."
    assert headline(one) in words(calibration_html(one))


def test_a_page_of_many_laws_can_still_be_sent(gap, monkeypatch):
    """The first laws are drawn, the others told in words."""
    monkeypatch.setattr(page_module, "MOST_PICTURES", 2)
    page = calibration_html(gap)

    assert page.count("<svg") == 4
    assert "Power of a truck-shift follows a" in words(page)


def test_shares_are_told_in_per_cent(gap):
    """As people see them, with the interval where there is one."""
    level = next(each for each in gap.findings if each.what.startswith("level at"))
    spread = next(each for each in gap.findings if each.what.startswith("spread of power from shift"))

    assert measured_text(level) == "25 %"
    assert measured_text(spread) == "{:.4g} % ({:.4g} to {:.4g})".format(*(100.0 * end for end in spread.mean))


def test_a_notebook_shows_the_same(gap):
    html = gap._repr_html_()
    rows = cells(html)

    assert unescape(re.search(r"<p>(.*?)</p>", html)[1]) == headline(gap)
    assert [row for row in (*stated_rows(gap), *compared_rows(gap.beside)) if row not in rows] == []
    assert NOT_BESIDE in of_times_alone()._repr_html_()
