"""The replay in a real browser: what is drawn is what the record says; keys, less motion, paper, no script."""

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver import ActionChains
from selenium.webdriver.common.keys import Keys

import batsim
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.replay.replay import Replay
from tests.runs import record_of
from tests.unit.views.test_report_in_a_browser import A4, DESK, PHONE, TOO_WIDE, Browser, browser

__all__ = ["browser"]  # the fixture

SCENARIOS = Path(__file__).parents[3] / "scenarios"
KESTREL, SALTMARSH = SCENARIOS / "kestrel-lane.yaml", SCENARIOS / "saltmarsh-road.yaml"
DAY = 1440.0
BEGIN, END = WEEK_MIN + DAY + 810.0, WEEK_MIN + DAY + 870.0
SOME_PLUGGED_IN = WEEK_MIN + 2 * DAY + 860.0
"""In the hour from here on some trucks wait for an exchange while others are charged in the truck."""
INSTANTS = (0.0, 16.5, 25.0, 41.3, 59.9)
"""Minutes after the beginning."""


@pytest.fixture(scope="module")
def record() -> Record:
    """A shift change and the day after it in the room with the hoist."""
    return record_of(batsim.read(KESTREL), "hoist", length_min=3 * DAY)


@pytest.fixture(scope="module")
def page(record: Record, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page that plays by itself."""
    return written(batsim.replay(record, BEGIN, END), "Kestrel Lane", tmp_path_factory.mktemp("replay"))


def written(replay: Replay, title: str, folder: Path) -> Path:
    """The page of a replay."""
    file = folder / "replay.html"
    file.write_text(batsim.replay_html(replay, title), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def mixed() -> Record:
    """A site where trucks exchange in two areas and are charged in the truck in the third."""
    return record_of(batsim.read(SALTMARSH), "each its own way", length_min=3 * DAY)


@pytest.fixture(scope="module")
def mixed_page(mixed: Record, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An hour of it."""
    replay = batsim.replay(mixed, SOME_PLUGGED_IN, SOME_PLUGGED_IN + 60.0)
    return written(replay, "Saltmarsh Road", tmp_path_factory.mktemp("replay"))


@pytest.fixture(scope="module")
def embedded(record: Record, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two replays in a page, which wait to be played."""
    replay = batsim.replay(record, BEGIN, END)
    blocks = batsim.replay_block(replay, "one"), batsim.replay_block(replay, "two", with_script=False)
    file = tmp_path_factory.mktemp("replay") / "embedded.html"
    head = '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>two</title></head>'
    file.write_text(f"{head}<body>{blocks[1]}{blocks[0]}</body></html>", encoding="utf-8")
    return file


@pytest.fixture
def less_motion(browser: Browser) -> Iterator[Browser]:
    """A browser of somebody who wants less motion."""
    features = [{"name": "prefers-reduced-motion", "value": "reduce"}]
    browser.command("Emulation.setEmulatedMedia", media="", features=features)
    yield browser
    browser.command("Emulation.setEmulatedMedia", media="", features=[])


def put(browser: Browser, minutes: float) -> None:
    """Put the slider to a time."""
    put = (
        "const each = document.querySelector('[data-do=time]'); each.value = {}; each.dispatchEvent(new Event('input'))"
    )
    browser.ask(put.format(minutes))


def drawn(browser: Browser, kind: str) -> dict[int, dict[str, Any]]:
    """What is drawn of a kind, by number: its state, whether it is seen, where, its words."""
    rows = browser.ask(
        f"""return [...document.querySelectorAll('[data-moving] [data-kind="{kind}"]')].map(each => ({{
          number: Number(each.dataset.number), state: each.dataset.state, words: each.textContent,
          seen: getComputedStyle(each).visibility === 'visible', at: each.style.transform,
          fill: each.querySelector('rect').getAttribute('fill'),
          dark: [...each.querySelectorAll('.waits')].some(mark => getComputedStyle(mark).display !== 'none')}}))"""
    )
    return {row["number"]: row for row in rows}


def clock_of(browser: Browser) -> str:
    """The clock as it is shown."""
    return str(browser.ask("return document.querySelector('.replay-clock').textContent"))


def place(row: dict[str, Any]) -> tuple[float, float]:
    """Where something is drawn."""
    across, down = re.findall(r"-?[\d.]+", row["at"])
    return float(across), float(down)


def press(browser: Browser, *keys: str) -> None:
    """Press keys, one after the other."""
    for key in keys:
        ActionChains(browser.driver, duration=0).send_keys(key).perform()


def focus_room(browser: Browser) -> None:
    """Stop, go to the start, and put the keyboard on the room."""
    put(browser, 0.0)
    browser.ask("document.querySelector('.replay-room').focus()")


# --- what is drawn ---


def trucks_of(record: Record, time_min: float) -> dict[int, str]:
    """What each truck does, read from the rows of visits alone."""
    states = {}
    for row in record.frame("exchanges").to_dict("records"):
        if row["left_min"] <= time_min < row["back_min"]:
            phases = (
                ("on the way back", row["truck_free_min"]), ("in exchange", row["start_min"]),
                ("waits", row["joined_min"]), ("on the way", row["left_min"]),
            )  # fmt: skip
            states[int(row["truck"])] = next(state for state, since in phases if since <= time_min)
    return states


def group_of_trucks(record: Record) -> list[str]:
    """Name of the group of each truck."""
    facts = record.facts
    return [name for name, number in zip(facts.groups, facts.group_trucks, strict=True) for _ in range(number)]


def batteries_of(record: Record, time_min: float) -> dict[int, str]:
    """The state of each battery: that of its last row."""
    rows = record.frame("battery_states")
    last = rows[rows.from_min <= time_min].sort_values("from_min", kind="stable").groupby("battery").last()
    return {int(battery): state for battery, state in last["state"].items()}


@pytest.mark.parametrize("minutes", INSTANTS)
def test_what_is_drawn_is_what_the_record_says(browser: Browser, page: Path, record: Record, minutes: float) -> None:
    """Trucks, batteries, their station and bays, chargers that give current, trucks in their order in the queue."""
    browser.show(page)
    put(browser, minutes)
    now = BEGIN + minutes
    trucks, batteries = drawn(browser, "truck"), drawn(browser, "battery")
    states, found = trucks_of(record, now), batteries_of(record, now)

    assert {number: row["state"].split(" for ")[0] for number, row in trucks.items()} == {
        truck: states.get(truck, "at work") for truck in range(24)
    }
    assert all(row["seen"] for row in trucks.values())
    assert {number for number, row in trucks.items() if row["dark"]} == {
        truck for truck, state in states.items() if state == "waits"
    }
    assert {number: row["state"] for number, row in batteries.items()} == found
    assert {number for number, row in batteries.items() if not row["seen"]} == {
        battery for battery, state in found.items() if state == "in truck"
    }
    queue = [
        number for number, row in sorted(trucks.items(), key=lambda each: place(each[1])) if "waits" in row["state"]
    ]
    came = record.frame("exchanges").query("joined_min <= @now < start_min").sort_values("joined_min", kind="stable")
    assert queue == came["truck"].astype(int).tolist()
    assert f"Waiting: {len(queue) or 'no'} truck" in drawn(browser, "queue")[0]["words"]
    at_station = [number for number, row in trucks.items() if row["state"] == "in exchange"]
    assert drawn(browser, "station")[0]["state"] == ("in use" if at_station else "free")
    giving = sum(row["state"] == "giving current" for row in drawn(browser, "charger").values())
    assert giving == sum(state == "on charge" for state in found.values()) > 0


def test_a_truck_that_waits_is_not_drawn_as_one_on_charge(browser: Browser, mixed_page: Path, mixed: Record) -> None:
    """Only trucks that wait, in the queue or plugged in, have the dark corner; so it is in the legend."""
    browser.show(mixed_page)
    pickers = {number for number, name in enumerate(group_of_trucks(mixed)) if name == "pickers"}
    told = set()
    for minutes in INSTANTS:
        put(browser, minutes)
        trucks, states = drawn(browser, "truck"), trucks_of(mixed, SOME_PLUGGED_IN + minutes)
        dark = {number for number, row in trucks.items() if row["dark"]}
        assert dark - pickers == {truck for truck, state in states.items() if state == "waits" and truck not in pickers}
        assert dark & pickers == {truck for truck in pickers if trucks[truck]["state"].startswith("waits")}
        told |= {(row["state"].split(" for ")[0], row["dark"]) for row in trucks.values()}
    marked = browser.ask(
        """return [...document.querySelectorAll('.replay-legend .waits')].map(each => each.nextSibling.textContent)"""
    )

    assert {("waits", True), ("on charge", False)} <= told
    assert marked
    assert all(words.startswith("waits") for words in marked)


def test_things_stand_apart(browser: Browser, page: Path) -> None:
    """No two trucks or batteries that are seen stand at the same place; each has the fill of its state."""
    browser.show(page)
    for minutes in INSTANTS:
        put(browser, minutes)
        seen = [row for kind in ("truck", "battery") for row in drawn(browser, kind).values() if row["seen"]]
        assert len({row["at"] for row in seen}) == len(seen)
        assert all(row["fill"] for row in seen)


def test_the_console_is_empty_and_nothing_is_fetched(browser: Browser, page: Path) -> None:
    assert browser.heard(page, DESK) == []


@pytest.mark.parametrize("on", [DESK, PHONE, A4.shown], ids=["desk", "phone", "paper"])
def test_nothing_is_wider_than_its_place(browser: Browser, page: Path, on: Any) -> None:
    """The room scrolls by itself on a phone."""
    assert browser.show(page, on, fresh=True).ask(TOO_WIDE) == []


# --- time goes ---


def test_it_plays_by_itself_and_stops_on_a_key(browser: Browser, page: Path) -> None:
    """Space on the room stops it where it is; what is heard is said once it stands."""
    browser.show(page, fresh=True)
    time.sleep(0.5)
    first = clock_of(browser)
    assert browser.ask("return document.querySelector('[data-do=play]').textContent") == "Pause"
    assert browser.ask("return document.querySelector('.replay-heard').textContent") == ""
    browser.ask("document.querySelector('.replay-room').focus()")
    press(browser, Keys.SPACE)
    stopped = clock_of(browser)
    time.sleep(0.8)

    assert "Tue 13:30:00" < first <= stopped == clock_of(browser) < "Tue 13:40:00"
    heard = browser.ask("return document.querySelector('.replay-heard').textContent")
    assert heard.startswith(f"{stopped}. Waiting: ")


def test_keys(browser: Browser, page: Path) -> None:
    """A minute on and back, the end, the start; the start and the end are not gone beyond."""
    browser.show(page)
    focus_room(browser)
    clocks = []
    for key in (
        Keys.ARROW_LEFT,
        Keys.ARROW_RIGHT,
        Keys.ARROW_RIGHT,
        Keys.ARROW_LEFT,
        Keys.END,
        Keys.ARROW_RIGHT,
        Keys.HOME,
    ):
        press(browser, key)
        clocks.append(clock_of(browser))

    assert clocks == [f"Tue {time}:00" for time in ("13:30", "13:31", "13:32", "13:31", "14:30", "14:30", "13:30")]
    browser.ask("document.querySelector('[data-do=time]').focus()")
    press(browser, Keys.ARROW_RIGHT)
    assert clock_of(browser) == "Tue 13:31:00"
    assert (
        browser.ask("return document.querySelector('[data-do=time]').getAttribute('aria-valuetext')") == "Tue 13:31:00"
    )


def test_from_event_to_event(browser: Browser, page: Path, record: Record) -> None:
    """Each press goes to the next instant at which something happens, and tells it."""
    browser.show(page)
    put(browser, 0.0)
    times = sorted({event.time_min for event in batsim.event_trace(record, BEGIN, END) if event.time_min > BEGIN})[:3]
    for number, instant in enumerate(times):
        browser.driver.find_element("css selector", "[data-do=next]").click()
        assert browser.ask("return Number(document.querySelector('[data-do=time]').value)") == pytest.approx(
            instant - BEGIN, abs=1e-3
        )
        told = browser.ask("return document.querySelector('.replay-told li').textContent")
        assert told.startswith(clock_of(browser)), number


def test_less_motion(less_motion: Browser, page: Path) -> None:
    """It does not begin by itself; played, it goes by whole minutes, and nothing glides."""
    less_motion.driver.get(page.as_uri())
    time.sleep(0.3)
    assert clock_of(less_motion) == "Tue 13:30:00"
    assert (
        less_motion.ask("return getComputedStyle(document.querySelector('.replay-moves')).transitionDuration") == "0s"
    )
    less_motion.ask("document.querySelector('[data-do=speed]').value = '5'")
    less_motion.driver.find_element("css selector", "[data-do=play]").click()
    clocks = set()
    for _ in range(12):
        clocks.add(clock_of(less_motion))
        time.sleep(0.05)

    assert len(clocks) > 1
    assert {clock[-3:] for clock in clocks} == {":00"}


def test_replays_in_a_page_wait(browser: Browser, embedded: Path) -> None:
    """Neither plays by itself; keys move the one that they are on."""
    browser.driver.get(embedded.as_uri())
    time.sleep(0.3)
    browser.ask("document.querySelectorAll('.replay-room')[1].focus()")
    press(browser, Keys.ARROW_RIGHT)

    clocks = browser.ask("return [...document.querySelectorAll('.replay-clock')].map(each => each.textContent)")
    assert clocks == ["Tue 13:30:00", "Tue 13:31:00"]
    assert browser.ask("return document.querySelectorAll('.is-live').length") == 2


# --- paper, and where no script runs ---

SHOWN = """
const shown = each => each.getClientRects().length > 0;
return ['.replay-controls', '.replay-room', '.replay-told', '.replay-keys', '.replay-stills', '.replay-legend'].filter(
  name => shown(document.querySelector(name)));
"""


def test_paper_shows_still_frames(browser: Browser, page: Path) -> None:
    """Six of them in place of what moves and its controls, words at least 8 pt high."""
    browser.show(page, A4.shown, fresh=True)
    assert browser.ask(SHOWN) == [".replay-stills", ".replay-legend"]
    assert browser.ask("return document.querySelectorAll('.replay-still svg').length") == 6
    heights = browser.ask(
        """return [...document.querySelectorAll('.replay-still text, .replay-legend text')].map(each =>
          parseFloat(getComputedStyle(each).fontSize) * each.getScreenCTM().d)"""
    )
    assert min(heights) * 72.0 / 96.0 >= 8.0
    assert browser.show(page, DESK).ask(SHOWN) == [
        ".replay-controls", ".replay-room", ".replay-told", ".replay-keys", ".replay-legend",
    ]  # fmt: skip


def test_a_page_without_script_shows_still_frames(browser: Browser, page: Path) -> None:
    """And no controls that do nothing."""
    browser.command("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.driver.get(page.as_uri())
        shown = [
            name
            for name in ("controls", "room", "told", "keys", "stills", "legend")
            if browser.driver.find_element("css selector", f".replay-{name}").is_displayed()
        ]
    finally:
        browser.command("Emulation.setScriptExecutionDisabled", value=False)

    assert shown == ["stills", "legend"]
