"""What is wrong with a part of a scenario, in the user's words."""

import difflib
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import Any, NamedTuple, NoReturn, TypeVar

from batsim.scenario.parts.renamed import renamed

SHOWN = 60
"""Characters of a wrong value that a message repeats."""
NEAR = 0.6
"""Likeness above which a word is taken for another, from 0 to 1."""
MOST_ENTRIES = 10
"""Wrong entries of one list that are reported one by one."""

T = TypeVar("T")


class Fault(NamedTuple):
    """One broken rule inside a part: the keys that lead to it from there, the rule, what was found."""

    path: tuple[str | int, ...]
    rule: str
    got: str | None = None


class Faults(ValueError):  # noqa: N818 - it is many
    """Broken rules that concern several keys of one part; each is reported at its own place."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__(faults)  # as it is made again in another process

    def __str__(self) -> str:
        return "; ".join(fault.rule for fault in self.faults)


def wrong(rule: str) -> NoReturn:
    """Raise a ValueError that states a broken rule."""
    raise ValueError(rule)


def refuse(faults: Iterable[Fault]) -> None:
    """Raise the faults, if there are any."""
    if found := list(faults):
        raise Faults(found)


def shown(value: object) -> str:
    """Show a wrong value in short: text in quotes, blocks and lists by name."""
    if isinstance(value, dict | list):
        what = "block of keys" if isinstance(value, dict) else "list"
        return f"a {what}" if value else f"an empty {what}"
    if value is None:
        return "nothing"
    text = str(value).lower() if isinstance(value, bool) else str(value)
    text = text if len(text) <= SHOWN else f"{text[: SHOWN - 3]}..."
    return repr(text) if isinstance(value, str) else text


def did_you_mean(word: str, known: Sequence[str], also: Sequence[str] = ()) -> str:
    """End a message with what an old word is called now, the nearest word, or the known ones when they are few.

    The words of `also` may be meant too, but are not listed.
    """
    if new := renamed(word, [*known, *also]):
        return f"; it is now called '{new}'"
    near = difflib.get_close_matches(word, [*known, *also], n=1, cutoff=NEAR)
    if near:
        return f"; did you mean '{near[0]}'?"
    return f"; known: {', '.join(known)}" if 0 < len(known) < 8 else ""


def each_entry(entries: Iterable[tuple[str | int, object]], read: Callable[[object], T]) -> list[T]:
    """Read every entry of a list or block; what is wrong is reported at the place of its entry."""
    values: list[T] = []
    faults: list[Fault] = []
    for key, entry in entries:
        try:
            values.append(read(entry))
        except Faults as error:
            faults += [fault._replace(path=(key, *fault.path)) for fault in error.faults]
        except ValueError as error:
            faults.append(Fault((key,), str(error), shown(entry)))
    if len(faults) > MOST_ENTRIES:
        faults[MOST_ENTRIES:] = [Fault((), f"{len(faults) - MOST_ENTRIES} more entries are wrong")]
    refuse(faults)
    return values


def read_by_name(block: dict[Any, object], read: Callable[[object], T]) -> dict[str, T]:
    """Read the value of every key of a block; errors as for `each_entry`."""
    return {str(name): value for name, value in zip(block, each_entry(block.items(), read), strict=True)}


def read_pair(value: object, keys: Collection[str], read: Callable[[object], T], form: str) -> tuple[T, T]:
    """Read a block of two keys, or one value that stands for both; `form` is the rule for any other block."""
    if not isinstance(value, dict):
        both = read(value)
        return both, both
    if set(value) != set(keys):
        wrong(form)
    first, second = each_entry([(key, value[key]) for key in keys], read)
    return first, second
