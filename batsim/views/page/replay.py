"""The replay of a room in a page: a picture that moves, and still frames of it for paper and where no script runs."""

import json
from importlib.resources import files
from typing import Any, NamedTuple

from batsim.display import counted
from batsim.study.replay.replay import Replay
from batsim.views.charts.time_axis import one_run_note
from batsim.views.page.replay_picture import BASE, BOXES, CORNER, DIGIT, GROUND, Picture
from batsim.views.page.templates import templates
from batsim.views.text.trace_text import clock, event_sentences

STILLS = 6
"""Still frames, at even instants from the start of the window to its end."""
IN_A_SCRIPT = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}
"""Letters that might end a script, as JSON may write them."""


class Still(NamedTuple):
    """A still frame, and when it is taken."""

    time: str
    svg: str


def replay_html(replay: Replay, title: str = "") -> str:
    """Write a page that replays a room: it begins to play by itself, unless the reader wants less motion.

    Parameters
    ----------
    replay
        What everything in the room does, see `batsim.replay`.
    title
        Above the layout and its hour, such as the name of the site.

    Returns
    -------
    str
        HTML. It needs nothing from outside; everything that comes from the scenario is escaped.
    """
    span = f"layout '{replay.facts.title}', {_span(replay)}"
    return (
        templates()
        .get_template("replay.html.j2")
        .render(
            title=f"{title}: {span}" if title else f"{span[:1].upper()}{span[1:]}",
            block=_block(replay, "replay", plays=True, with_script=True),
            note=one_run_note(replay.facts),
        )
    )


def replay_block(replay: Replay, prefix: str, *, with_script: bool = True) -> str:
    """Write a replay as a part of a page, such as a report; it waits until the reader lets it play.

    Parameters
    ----------
    replay
        What everything in the room does, see `batsim.replay`.
    prefix
        Goes before every id, so that several replays in one page do not share any; letters, digits and hyphens.
    with_script
        Whether the script and the style that all replays of a page share come with it: once in a page.

    Returns
    -------
    str
        A figure in HTML with its data; everything that comes from the scenario is escaped.
    """
    return _block(replay, prefix, plays=False, with_script=with_script)


def _block(replay: Replay, prefix: str, *, plays: bool, with_script: bool) -> str:
    """Write a replay that plays by itself or not."""
    picture = Picture(replay)
    folder = files("batsim.views") / "page"
    return (
        templates()
        .get_template("replay_block.html.j2")
        .render(
            prefix=prefix,
            plays=plays,
            says=replay_sentence(replay),
            minutes=replay.to_min - replay.from_min,
            stage=_stage(picture, f"{prefix}-stage"),
            legend=picture.legend(f"{prefix}-legend"),
            stills=_stills(picture, prefix),
            data=_data(picture, f"{prefix}-stage"),
            style=(folder / "replay.css").read_text(encoding="utf-8") if with_script else "",
            script=(folder / "replay.js").read_text(encoding="utf-8") if with_script else "",
        )
    )


def replay_sentence(replay: Replay) -> str:
    """Say what the window shows: how many trucks came, the longest wait, the most that waited at once."""
    facts, wait, (most, since_min) = replay.facts, replay.longest_wait, replay.most_waiting
    texts = [f"{counted(replay.came, 'truck') if replay.came else 'no truck'} came."]
    if replay.turned_away:
        texts.append(f"{counted(replay.turned_away, 'truck')} found nothing ready and went back to work.")
    if wait is None:
        texts.append("None had to wait.")
    else:
        group = next(thing.name for thing in replay.of("truck") if thing.number == wait.truck)
        who = f"truck {wait.truck + 1}, {group}, from {clock(facts, wait.from_min)}"
        texts.append(f"The longest wait was {wait.minutes:,.0f} min of working time ({who}).")
        texts.append(f"At most {counted(most, 'truck')} waited at once, first at {clock(facts, since_min)}.")
    return f"Layout '{facts.title}', {_span(replay)}: {' '.join(texts)}"


def _span(replay: Replay) -> str:
    """Write the window, its day once where it is one."""
    begin = clock(replay.facts, replay.from_min, weeks=True)
    end = clock(replay.facts, replay.to_min, weeks=True)
    day, _, time = end.rpartition(" ")
    return f"{begin} to {time if begin.startswith(day) else end}"


def _stage(picture: Picture, prefix: str) -> str:
    """Write the ground of the picture that moves; the script puts onto it what moves."""
    label = replay_sentence(picture.replay)
    return f"{picture.head(label)}{picture.patterns(prefix)}{picture.ground()}<g data-moving></g></svg>"


def _stills(picture: Picture, prefix: str) -> list[Still]:
    """Draw the still frames."""
    replay = picture.replay
    step_min = (replay.to_min - replay.from_min) / (STILLS - 1)
    stills = []
    for number in range(STILLS):
        time_min = replay.from_min + number * step_min
        time = clock(replay.facts, time_min, seconds=bool(round(60.0 * time_min) % 60))
        svg = picture.still(time_min, f"{prefix}-{number}", f"The room at {time}")
        stills.append(Still(time, svg))
    return stills


def _data(picture: Picture, prefix: str) -> str:
    """Write what the script needs, as JSON that may stand in a page."""
    replay = picture.replay
    told = zip(replay.events, event_sentences(replay.facts, replay.events), strict=True)
    data: dict[str, Any] = {
        "from": round(replay.from_min, 3),
        "length": round(replay.to_min - replay.from_min, 3),
        "events": [[round(event.time_min - replay.from_min, 3), text] for event, text in told],
        "onBoxes": {"kinds": BOXES, "digit": DIGIT, "height": GROUND, "base": BASE, "corner": f"M0 0{CORNER}"},
        **picture.data(prefix),
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return "".join(IN_A_SCRIPT.get(letter, letter) for letter in text)
