"""The page of a calibration in a real browser: on a desk, on a phone, on paper."""

from pathlib import Path

import pytest

import batsim
from tests.calibrations import with_a_gap
from tests.unit.views.test_report_in_a_browser import A4, DESK, LETTER, PHONE, TOO_WIDE, Browser, Format, browser

__all__ = ["browser"]  # the fixture


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Page of a small site with a gap."""
    file = tmp_path_factory.mktemp("calibration") / "calibration.html"
    file.write_text(batsim.calibration_html(with_a_gap()), encoding="utf-8")
    return file


@pytest.mark.parametrize("on", [DESK, PHONE, A4.shown, LETTER.shown], ids=["desk", "phone", "A4", "Letter"])
def test_nothing_is_wider_than_its_bay_and_nothing_is_fetched(browser: Browser, page: Path, on: Format) -> None:
    """No word runs out of a cell, the page does not scroll across, the console is empty."""
    assert browser.heard(page, on) == []
    assert browser.show(page, on, opened=True).ask(TOO_WIDE) == []
