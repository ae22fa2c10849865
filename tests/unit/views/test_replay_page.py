"""The replay in a page: whole, small, nothing from outside, names escaped, still frames as the replay says."""

import json
import re
from collections import Counter
from functools import cache
from html.parser import HTMLParser
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

import batsim
from batsim.measures.room_course import CHARGER_STATES
from batsim.record.record import Record
from batsim.record.words import STATES, TASKS
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.replay.trucks import TRUCK_STATES
from batsim.views.charts.palette import CAUSE_LOOKS, STATE_LOOKS, TASK_LOOKS, looks_of
from batsim.views.page.hatches import fill_of, hatch_tile, patterns
from batsim.views.page.replay import replay_sentence
from batsim.views.page.replay_picture import ORDER, Picture
from batsim.views.page.replay_scene import LOOKS, WIDTH, scene_of, words_of
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
AREAS = ROOT / "tests" / "unit" / "cases" / "mixed_areas.yaml"
DAY = 1440.0
HOUR = (WEEK_MIN + DAY + 810.0, WEEK_MIN + DAY + 870.0)
HOSTILE = "</script><script>window.hacked=1</script> \"q\" & 'm'"
VOID = {"meta", "input", "path", "rect", "circle"}


@cache
def kestrel(layout):
    """The shift change of a layout of the reference site."""
    return batsim.replay(record_of(batsim.read(KESTREL), layout, length_min=2 * DAY), *HOUR)


@pytest.fixture(scope="module")
def two_trucks():
    """Record of two trucks, one station, three batteries."""
    return batsim.simulate(batsim.read(TWO_TRUCKS), "one")


def data_of(page):
    """What the script of a page is given."""
    (text,) = re.findall(r'<script type="application/json">(.*?)</script>', page, re.DOTALL)
    return json.loads(text)


def drawings(page):
    """SVG elements of a page, each read as XML."""
    return [
        ET.fromstring(svg.replace("data-moving", 'data-moving=""')) for svg in re.findall(r"<svg.*?</svg>", page, re.S)
    ]


class Tags(HTMLParser):
    """Reads a page and keeps what is open; what closes must be what was opened last."""

    def __init__(self, page):
        super().__init__()
        self.open, self.ids = [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.ids += [value for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        assert tag in VOID

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize("layout", ["side rollers", "hoist", "in the truck"])
def test_a_page_is_whole_and_needs_nothing_from_outside(layout):
    """Every element is closed, no id comes twice, nothing is fetched; much less than 200 kB."""
    page = batsim.replay_html(kestrel(layout), "Kestrel Lane")
    tags = Tags(page)

    assert tags.open == []
    assert len(tags.ids) == len(set(tags.ids))
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(tags.ids)
    assert re.findall(r"(?:src|href|@import|url\((?!#))[^\n]{0,40}", page) == []
    assert re.findall(r"https?:[^\"]*", page) == ["http://www.w3.org/2000/svg"]
    assert len(page.encode()) < 200_000
    assert len(drawings(page)) == 8
    assert page == batsim.replay_html(kestrel(layout), "Kestrel Lane")


def test_an_hour_of_sixty_trucks_is_small():
    """A busy site stays well below a megabyte."""
    changes = {
        "trucks[*].count": 30, "layouts.side rollers.batteries": 200,
        "layouts.side rollers.chargers": "140 x electronic_iuia",
    }  # fmt: skip
    record = record_of(batsim.changed(batsim.read(KESTREL), changes), "side rollers", length_min=2 * DAY)
    page = batsim.replay_html(batsim.replay(record, *HOUR))

    assert len(page.encode()) < 350_000


def test_the_sentence_carries_the_numbers(two_trucks):
    assert replay_sentence(batsim.replay(two_trucks, 50.0, 230.0)) == (
        "Layout 'one', week 1 Mon 00:50 to 03:50: 3 trucks came. The longest wait was 210 min of working time "
        "(truck 1, trucks, from Mon 02:50). At most 2 trucks waited at once, first at Mon 02:50."
    )
    assert replay_sentence(batsim.replay(two_trucks, 50.0, 62.0)) == (
        "Layout 'one', week 1 Mon 00:50 to 01:02: 1 truck came. None had to wait."
    )


def test_words_of_people_stand_in_it_and_no_keys():
    """A kind of charger as people write it, which layout it is; what fills mean comes before still frames."""
    page = batsim.replay_html(kestrel("hoist"), "Kestrel Lane")

    assert "44 chargers, electronic IUIa" in page
    assert not re.search(r">[^<{]*electronic_iuia", page)
    assert re.search(r"<h1>Kestrel Lane: layout &#39;hoist&#39;, week \d ", page)
    assert page.index('class="replay-legend"') < page.index('class="replay-stills"')


def test_an_hour_without_events(two_trucks):
    """Is shown all the same, and said."""
    replay = batsim.replay(Record(two_trucks.facts), 100.0, 160.0)
    page = batsim.replay_html(replay)

    assert "week 1 Mon 01:40 to 02:40: no truck came. None had to wait." in page
    assert data_of(page)["events"] == []
    assert len(drawings(page)) == 8


def test_still_frames_stand_at_even_instants():
    """From the start to the end, each named by its time."""
    page = batsim.replay_block(kestrel("hoist"), "worst")

    assert re.findall(r'<div class="replay-still"><p><strong>(.*?)</strong>', page) == [
        "Tue 13:30", "Tue 13:42", "Tue 13:54", "Tue 14:06", "Tue 14:18", "Tue 14:30",
    ]  # fmt: skip
    assert len(re.findall(r'aria-label="The room at Tue 1\d:\d\d"', page)) == 6


@pytest.mark.parametrize("layout", ["side rollers", "hoist", "in the truck"])
def test_a_still_frame_shows_what_is_so_then(layout):
    """As many boxes of each kind and fill as things in such a state; the words of all of them."""
    replay = kestrel(layout)
    picture, time = Picture(replay), HOUR[0] + 24.0
    svg = ET.fromstring(picture.still(time, "p", "then"))
    boxes = {
        (path.get("class"), path.get("fill")): path.get("d").count("M")
        for path in svg.iter("path")
        if path.get("class") in ORDER
    }
    expected, words = {}, []
    for which, thing in picture.things:
        step = thing.at(time)
        mark = picture.mark(which, thing, step)
        if mark is not None:
            words.append(words_of(thing, step))
            if thing.kind != "queue":
                key = (thing.kind, fill_of(LOOKS[thing.kind][step.state], "p"))
                expected[key] = expected.get(key, 0) + 1

    assert boxes == expected
    assert sum(count for (kind, _), count in boxes.items() if kind == "truck") == 24
    texts = [text.text for text in svg.iter("text")]
    assert [word for word in words if word and word not in texts] == []


def test_steps_of_the_data_are_those_of_the_replay():
    """State by state, with the minutes from the start of the window; hidden where it is in no room."""
    replay = kestrel("hoist")
    data = data_of(batsim.replay_block(replay, "a"))
    found = {
        (each["kind"], each["name"], each["area"], each["number"]): [
            (time, data["looks"][look][0]) for time, look, _, _ in each["steps"]
        ]
        for each in data["things"]
    }

    assert found == {
        (thing.kind, thing.name, thing.area, thing.number): [
            (round(step.from_min - HOUR[0], 3), step.state) for step in thing.steps
        ]
        for thing in replay.things
    }
    hidden = {data["looks"][look][0] for each in data["things"] for _, look, point, _ in each["steps"] if point < 0}
    assert hidden == {"in truck", "off duty", "elsewhere"}
    assert [time for time, _ in data["events"]] == [round(event.time_min - HOUR[0], 3) for event in replay.events]


def test_names_stay_text():
    """In the page, its pictures and its data."""
    text = TWO_TRUCKS.read_text(encoding="utf-8").replace(
        "extends: queue.yaml", f"extends: {TWO_TRUCKS.parent}/queue.yaml"
    )
    scenario = batsim.read_scenario_text(text.replace("group: trucks", f"group: {json.dumps(HOSTILE)}"))
    page = batsim.replay_html(batsim.replay(batsim.simulate(scenario, "one"), 50.0, 230.0), HOSTILE)

    assert Tags(page).open == []
    assert page.count("<script") == 2
    assert "<script>window" not in page
    name = data_of(page)["things"][-1]["name"]
    assert name.split() == HOSTILE.split()
    assert "&lt;/script&gt;&lt;script&gt;" in page
    drawings(page)


def test_two_replays_share_a_page():
    """Ids begin with their prefix; script and style come once."""
    first = batsim.replay_block(kestrel("hoist"), "first")
    second = batsim.replay_block(kestrel("side rollers"), "second", with_script=False)
    ids = Tags(first + second).ids

    assert len(ids) == len(set(ids))
    assert all(each.startswith(("first", "second")) for each in ids)
    assert ("<style>" in first, "<style>" in second) == (True, False)
    assert (first.count("<script>"), second.count("<script>")) == (1, 0)
    assert "data-plays" not in first + second.split("<script")[0].split("<svg")[0]


# --- where things stand ---


def overlap(one, other):
    """Whether two boxes have room in common."""
    (x, y, wide, high), (left, top, across, down) = one, other
    return x < left + across and left < x + wide and y < top + down and top < y + high


@pytest.mark.parametrize("layout", ["side rollers", "in the truck"])
def test_no_two_cells_overlap(layout):
    """Nor do they stand out of the picture."""
    check_cells(kestrel(layout))


def test_no_two_cells_of_areas_overlap():
    """Areas beside one another, each under its name."""
    replay = batsim.replay(record_of(batsim.read(AREAS), "mixed", length_min=2 * DAY), *HOUR)
    check_cells(replay)

    scene = scene_of(replay)
    assert [words for _, _, words in scene.titles] == ["Area north", "Area south", "Area plugged in"]
    assert {x > WIDTH / 3 for x, _, _ in scene.titles} == {True, False}


def check_cells(replay):
    """No two cells of a scene have room in common, all are inside."""
    scene = scene_of(replay)
    boxes = [(*scene.points[place], *cell) for place, cell in scene.cells.items()]
    assert [pair for pair in combinations(boxes, 2) if overlap(*pair)] == []
    assert all(x >= 0 and x + wide <= scene.width and y + high <= scene.height for x, y, wide, high in boxes)
    assert {what for what, _, _ in scene.cells} >= {"work", "way", "queue", "box", "charger", "device"}


def test_twenty_long_names_are_cut_to_their_column():
    """Of truck groups; no label is longer than the picture is wide, none stands on another."""
    site = batsim.read(KESTREL)
    record = record_of(site, "hoist", length_min=2 * DAY)
    names = tuple(f"{number} {'long name of trucks ' * 8}" for number in range(20))
    facts = record.facts
    record.facts = facts.__class__(**{
        **facts.__dict__, "groups": names, "group_trucks": (2, 2) + (1,) * 18,
        "group_windows": facts.group_windows[:1] * 20, "group_shift_min": facts.group_shift_min[:1] * 20,
        "areas": (facts.areas[0].__class__(**{**facts.areas[0].__dict__, "groups": tuple(range(20))}),),
    })  # fmt: skip
    scene = scene_of(batsim.replay(record, *HOUR))

    assert max(len(words) for _, _, words in scene.labels) <= WIDTH / 7
    assert len({(x, y) for x, y, _ in scene.labels}) == len(scene.labels)
    assert len([words for _, _, words in scene.labels if "long name" in words]) == 20


# --- fills ---


def test_every_state_has_a_look():
    """Of all kinds that are drawn."""
    assert set(LOOKS["truck"]) == {*TRUCK_STATES, *STATES}
    assert list(LOOKS["battery"]) == list(STATES)
    assert {*CHARGER_STATES, "free"} <= set(LOOKS["charger"])
    assert {*TASKS, "free"} <= set(LOOKS["attendant"])
    assert {"free", "in use", "out of use"} == set(LOOKS["station"]) == set(LOOKS["device"])


def test_states_of_trucks_are_told_apart():
    """No two have the same colour and hatch: a truck in the queue is not white as one at work, lack it or not."""
    looks = Counter(LOOKS["truck"][state][:2] for state in TRUCK_STATES)

    assert [look for look, number in looks.items() if number > 1] == []


def test_hatches():
    """Lines and dots of a tile, closer where a sign is written more often; each pattern once."""
    assert hatch_tile("") == ""
    assert hatch_tile("+") == '<path d="M8 0v16M0 8h16"/>'
    assert hatch_tile("--") == '<path d="M0 4h16M0 12h16"/>'
    assert hatch_tile("/") == '<path d="M-16 16l16-16M0 16l16-16"/>'
    assert hatch_tile("x").count("M") == 4
    assert hatch_tile("oo").count("<circle") == 4
    for look in (*STATE_LOOKS.values(), *TASK_LOOKS.values(), *CAUSE_LOOKS.values(), *looks_of("truck").values()):
        assert bool(hatch_tile(look[1])) == bool(look[1])
    two = [("#009E73", "||", "ready"), ("#009E73", "||", "in exchange"), ("#FFFFFF", "", "free")]
    assert patterns(two, "p").count("<pattern") == 1
    assert fill_of(two[0], "p") == "url(#p-009e73-7c7c)"
    assert fill_of(two[2], "p") == "#ffffff"
