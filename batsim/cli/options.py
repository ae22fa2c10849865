"""What commands have in common: options, progress, output."""

import os
import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

import click

import batsim
from batsim.errors import ScenarioError

SETTLED_S = 1.0
"""Time after which the pace of a run is told. [s]"""
LEAST_COLUMNS, MOST_COLUMNS = 40, 100
"""Characters of a line, whatever the terminal says."""
USUAL_COLUMNS = 80
"""Characters of a line of a terminal that does not say."""
COLOURS = {"met": "green", "meets": "green", "missed": "red", "misses": "red", "FAILS": "red", "not sure": "yellow"}
"""Of verdicts."""
VERDICT = re.compile(rf"\b(?:{'|'.join(COLOURS)})\b")
ANSWER = re.compile(r"^What to do:", re.MULTILINE)


SHARED = {
    "file": click.argument("file", type=click.Path(dir_okay=False)),
    "layouts": click.option("--layout", "layouts", multiple=True, help="Only this layout; may be repeated."),
    "replications": click.option(
        "-r", "--replications", type=click.IntRange(1, 100_000), help="Independent runs of each layout."
    ),
    "weeks": click.option("--weeks", type=click.FloatRange(0.01, 1040), help="Measured weeks of one run."),
    "warm_up": click.option("--warm-up", type=click.FloatRange(0, 1040), help="Weeks before them that are dropped."),
    "seed": click.option("--seed", type=click.IntRange(0, 2**31 - 1), help="Seed of all random streams."),
    "workers": click.option(
        "--workers", type=click.IntRange(1), help="Processes; default: one for each core, if it pays."
    ),
    "as_json": click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of tables."),
    "measures": click.option(
        "--measure", "measures", multiple=True,
        help="Measure whose differences are stated; the first decides. May be repeated. Names: batsim run --json.",
    ),
    "within": click.option(
        "--within",
        help="Go on until every interval of the first measure is at most so wide either way: 0.3 (its unit) or 5%.",
    ),
    "most": click.option("--most", type=click.IntRange(2, 100_000), help="Replications that --within may spend."),
    "layout": click.option("--layout", help="The layout; needed when there are several."),
    "replication": click.option(
        "--replication", type=click.IntRange(0, 99_999), default=0, help="Which replication; default: 0."
    ),
}  # fmt: skip
"""What several commands take, by the name of the value."""
RUN = ("file", "layouts", "replications", "weeks", "warm_up", "seed", "workers")
"""What commands have in common that simulate layouts."""
PRECISION = ("measures", "within", "most")
"""What says how sure a result is to be."""


def shared(*names: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Give a command what several commands take."""

    def added(command: Callable[..., None]) -> Callable[..., None]:
        for name in reversed(names):
            command = SHARED[name](command)
        return command

    return added


@contextmanager
def as_usage_error(option: str = "") -> Iterator[None]:
    """Show what is wrong with a value as the message of the command."""
    try:
        yield
    except ScenarioError:
        raise
    except ValueError as error:
        raise click.UsageError(f"{option} {error}".strip()) from error


def refuse(message: str) -> NoReturn:
    """End the command with what is wrong with its options."""
    raise click.UsageError(message)


@contextmanager
def written(option: str, advice: str) -> Iterator[None]:
    """Say that what an option names cannot be written, and what to do."""
    try:
        yield
    except OSError as error:
        refuse(f"{option}: cannot be written ({error.strerror or error}); {advice}")


def settings_of(options: dict[str, Any]) -> "batsim.Settings":
    """Turn command-line options into settings; a command may lack some of them."""
    return batsim.Settings(
        layouts=tuple(dict.fromkeys(options.get("layouts", ()))) or None,
        warm_up_weeks=options.get("warm_up"),
        progress=progress(),
        **{key: options.get(key) for key in ("replications", "weeks", "seed", "within", "most", "workers")},
    )


def progress(things: str = "replications") -> Callable[[int, int], None] | None:
    """Show on a terminal how far it is, how fast it goes and how long it will take; nothing on a pipe."""
    if not sys.stderr.isatty():
        return None
    started, first = time.monotonic(), -1

    def tell(done: int, of: int) -> None:
        nonlocal first
        if first < 0:
            first = done  # what was there before says nothing of the pace
        elapsed = time.monotonic() - started
        text = ""
        if done < of:
            text = f"{done} of {of} {things}"
            if done > first and elapsed > SETTLED_S:
                rate = (done - first) / elapsed
                text += f", {rate:.3g} per s, {_left((of - done) / rate)} left"
        _write_over(text, end="" if text else "\r")

    return tell


def line_progress() -> Callable[[str], None] | None:
    """Show one line that tells what is going on, on a terminal; nothing on a pipe."""
    return _write_over if sys.stderr.isatty() else None


def _write_over(text: str, end: str = "\r") -> None:
    """Write a line over the one before, cut to the terminal: a longer one would stay behind."""
    try:
        columns = os.get_terminal_size(sys.stderr.fileno()).columns
    except (OSError, ValueError):  # no real terminal
        columns = 0
    text = text[: columns - 1] if columns > 0 else text
    print(f"\r{text}\033[K", end=end, file=sys.stderr, flush=True)


def _left(seconds: float) -> str:
    """Time left, in the largest unit that fits."""
    for size, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.0f} s"


def width() -> int:
    """Characters in a line of text: as the terminal says, within limits; the most on a pipe."""
    return terminal_width() or MOST_COLUMNS


def terminal_width() -> int | None:
    """Characters in a line of the terminal; None on a pipe, where what is one line stays one."""
    import shutil  # noqa: PLC0415 - one use

    if not sys.stdout.isatty():
        return None
    return max(LEAST_COLUMNS, min(MOST_COLUMNS, shutil.get_terminal_size((USUAL_COLUMNS, 1)).columns))


def has_colour() -> bool:
    """Whether colour is written: to a terminal that has it, where NO_COLOR is not set (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def painted(text: str) -> str:
    """A text with verdicts in colour, and the beginning of the answer bold."""
    painted_verdicts = VERDICT.sub(lambda found: click.style(found[0], fg=COLOURS[found[0]]), text)
    return ANSWER.sub(lambda found: click.style(found[0], bold=True), painted_verdicts)


def say(message: str) -> None:
    """Print a message; on a terminal in lines that fit."""
    from batsim.views.text.lines import sentence  # noqa: PLC0415 - with the rest

    columns = terminal_width()
    click.echo(message if columns is None else sentence(message, columns))


def show(what: "str | dict[str, Any]") -> None:
    """Print text, in colour where a terminal has it, or plain data as JSON."""
    if isinstance(what, str):
        click.echo(painted(what) if has_colour() else what)
        return
    import json  # noqa: PLC0415 - one use

    # Where the output cannot hold every letter, each is written as JSON writes it in ASCII.
    every_letter = (sys.stdout.encoding or "").lower().startswith("utf")
    click.echo(json.dumps(what, indent=2, ensure_ascii=not every_letter, allow_nan=False))
