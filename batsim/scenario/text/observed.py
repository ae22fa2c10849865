"""Durations that were timed on site: a file with one on each line, or a column of a table."""

import csv
import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from batsim.errors import Problem
from batsim.scenario.parts.faults import Fault, Faults, did_you_mean, each_entry, refuse, shown, wrong
from batsim.scenario.parts.laws import STEP_COLUMN, ObservedColumn
from batsim.scenario.text.located_data import LocatedData, Location, Path, path_text
from batsim.scenario.text.problems import problems_of
from batsim.scenario.text.tables import Column, Row, Table, read_table, text_of
from batsim.scenario.text.yaml_text import LARGEST_FILE_BYTES

MOST_TIMES, MOST_TIMES_IN_ALL = 10_000, 100_000
"""Durations that are read from one file or column, and from all that a scenario names."""
MOST_NAMES = 20
"""Columns or steps of a table that a message lists."""
NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
EITHER = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
"""A number whose comma may be a decimal comma or separate thousands."""
SIGNS = {"point": ".", "comma": ","}
OTHER = {"point": "comma", "comma": "point"}


def read_observed_files(source: LocatedData, folder: FilePath) -> list[Problem]:
    """Put the durations of a file in place of its name, wherever `observed:` names one; return what is wrong."""
    problems: list[Problem] = []
    left = MOST_TIMES_IN_ALL
    tables: dict[FilePath, Table] = {}
    for path, value in source.walk():
        name = value.get("file") if isinstance(value, dict) else value if isinstance(value, str) else None
        if path[-1] != "observed" or name is None:
            continue
        file = folder / str(name)
        times, wrong_there = _times(source, path, file, tables)
        problems += wrong_there
        left -= len(times)
        if left < 0:
            problems.append(source.problem(path, f"more than {MOST_TIMES_IN_ALL} durations in the files of a scenario"))
            break
        if times:
            places: dict[Path, Location] = {(entry,): Location(str(file), line, 1) for entry, line in enumerate(times)}
            source.put(path, LocatedData(source.file, list(times.values()), places))
    return problems


def _times(
    source: LocatedData, path: Path, file: FilePath, tables: dict[FilePath, Table]
) -> tuple[dict[int, str], list[Problem]]:
    """Durations that a file has on its lines or in a column, by line; none, and what is wrong, where it has not."""
    stated = source.at(path)
    try:
        return _lines(file) if isinstance(stated, str) else _column_of(stated, file, tables), []
    except ValidationError as error:
        found = problems_of(error, source.part(path), ObservedColumn)
        return {}, [each._replace(path=f"{path_text(path)}.{each.path}") for each in found]
    except Faults as error:
        return {}, [_problem(fault, source, path, str(file)) for fault in error.faults]


def _problem(fault: Fault, source: LocatedData, path: Path, file: str) -> Problem:
    """Place a fault: at a line of the file, or at a key of what names it."""
    if fault.path and isinstance(fault.path[0], int):
        return Problem(file, fault.path[0], 1, path_text(path), fault.rule, fault.got)
    return source.problem((*path, *fault.path), fault.rule, got=fault.got)


def _lines(file: FilePath) -> dict[int, str]:
    """Durations of a file that has one on each line, by the number of the line."""
    lines: list[str] = []
    with suppress(ValueError):
        lines = text_of(file, LARGEST_FILE_BYTES).splitlines()
    stripped = [(number, line.strip()) for number, line in enumerate(lines, start=1)]
    times = {number: text for number, text in stripped if text and not text.startswith("#")}
    if not times or len(times) > MOST_TIMES:
        rule = f"needs a file with one duration on each line, at most {MOST_TIMES} and 1 MiB"
        raise Faults([Fault((), rule, shown(str(file)))])
    return times


def _table(file: FilePath, known: dict[FilePath, Table]) -> Table:
    """Table of a file, read once however often it is named."""
    if file in known:
        return known[file]
    try:
        table = read_table(text_of(file, LARGEST_FILE_BYTES))
    except (ValueError, csv.Error) as error:
        rule = "is no table: a quote is not closed where its cell ends" if isinstance(error, csv.Error) else str(error)
        raise Faults([Fault(("file",), rule, shown(str(file)))]) from None
    if table is None or not table.rows:
        raise Faults([Fault(("file",), "needs a header and rows below it", shown(str(file)))])
    return known.setdefault(file, table)


def _column_of(stated: dict[str, Any], file: FilePath, tables: dict[FilePath, Table]) -> dict[int, str]:
    """Durations in a column of a table, each with its unit, by the line of its row.

    Raises
    ------
    ValidationError
        When what is stated does not say which column.
    Faults
        With everything that is wrong, by the key that asks for it, or by line of the file.
    """
    asked = ObservedColumn.model_validate(stated)
    table = _table(file, tables)
    faults: list[Fault] = []
    place = _place(table, "column", asked.column, faults)
    rows = table.rows if asked.step is None else _rows_of(table, asked, asked.step, faults)
    if place is not None:
        column = table.columns[place]
        unit = _unit(column, table.line, asked.unit, faults)
        cells = {row.line: row.cells[place] for row in rows if place < len(row.cells) and row.cells[place]}
        faults += _too_wide(rows, len(table.columns))
        faults += _wrong_numbers(cells, asked.decimal, unit)
        if rows and not cells:
            faults.append(Fault(("column",), "no row has a duration in it", shown(asked.column)))
        if len(cells) > MOST_TIMES:
            faults.append(Fault(("column",), f"holds more than {MOST_TIMES} durations", shown(asked.column)))
    refuse(faults)
    return {line: f"{cell.replace(',', '.')} {unit}" for line, cell in cells.items()}


def _place(table: Table, key: str, name: str, faults: list[Fault]) -> int | None:
    """Where a column stands in a row; add what is wrong with its name."""
    places = table.places_of(name)
    if len(places) == 1:
        return places[0]
    rule = f"{len(places)} columns are called so in line {table.line} of the table; call them differently"
    if not places:
        rule = f"no such column in line {table.line} of the table{_near(name, [each.name for each in table.columns])}"
    faults.append(Fault((key,), rule, shown(name)))
    return None


def _rows_of(table: Table, asked: ObservedColumn, step: str, faults: list[Fault]) -> list[Row]:
    """Rows of a step; add what is wrong with its name or that of its column."""
    place = _place(table, "step_column", asked.step_column or STEP_COLUMN, faults)
    if place is None:
        return []
    steps = [row.cells[place] if place < len(row.cells) else "" for row in table.rows]
    rows = [row for row, name in zip(table.rows, steps, strict=True) if name == " ".join(step.split())]
    if not rows:
        faults.append(Fault(("step",), f"no row of the table is of this step{_near(step, steps)}", shown(step)))
    return rows


def _near(name: str, known: list[str]) -> str:
    """End a message with the nearest name, and with all that are known."""
    names = [each for each in dict.fromkeys(known) if each]
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return f"{did_you_mean(name, (), names)}; there are: {', '.join(map(shown, names[:MOST_NAMES]))}{more}"


def _unit(column: Column, line: int, stated: str | None, faults: list[Fault]) -> str | None:
    """Unit of a column; add that it has none, or two."""
    if column.unit is None and stated is None:
        rule = f"column {shown(column.name)} has no unit; call it '{column.name} [s]' here, or state 'unit: s'"
        faults.append(Fault((line,), rule))
    elif stated is not None and column.unit not in (None, stated):
        rule = f"the header in line {line} of the table says '{column.header}'; state one unit"
        faults.append(Fault(("unit",), rule, shown(stated)))
    return stated or column.unit


def _too_wide(rows: list[Row], width: int) -> list[Fault]:
    """Rows that have more cells than the header."""
    rule = (
        f"has more cells than the header, which has {width}; what separates cells must not stand in one without quotes"
    )
    wide = [(row.line, " | ".join(row.cells)) for row in rows if any(row.cells[width:])]
    return _faults(wide, lambda _: wrong(rule))


def _wrong_numbers(cells: dict[int, str], decimal: str | None, unit: str | None) -> list[Fault]:
    """Cells that are no numbers, or have another decimal sign than the rest."""
    once = f"; its unit, {unit}, is said once for all" if unit is not None else ""

    def check(cell: object) -> None:
        if not NUMBER.fullmatch(str(cell)):
            wrong(f"needs a plain number{once}")
        if decimal is not None and SIGNS[OTHER[decimal]] in str(cell):
            wrong(f"needs a number with a decimal {decimal}, as stated")

    faults = _faults(cells.items(), check)
    return faults if faults or decimal is not None else doubtful_signs(cells)


def doubtful_signs(cells: dict[int, str]) -> list[Fault]:
    """Numbers of which some have a decimal comma, others a point, or whose comma may as well separate thousands."""
    lines = {sign: [line for line, cell in cells.items() if SIGNS[sign] in cell] for sign in SIGNS}
    if all(lines.values()):
        first, other = sorted(lines, key=lambda sign: lines[sign][0])
        here = lines[other][0]
        rule = f"a decimal {other}, but line {lines[first][0]} has a decimal {first}; write all with one of them"
        return [Fault((here,), rule, shown(cells[here]))]
    if lines["comma"] and all(EITHER.fullmatch(cells[line]) for line in lines["comma"]):
        rule = "a comma may mean two things; state 'decimal: comma', or write thousands without it"
        return [Fault((lines["comma"][0],), rule, shown(cells[lines["comma"][0]]))]
    return []


def _faults(entries: Iterable[tuple[int, str]], check: Callable[[object], None]) -> list[Fault]:
    """What is wrong with entries, by line; a whole column of them is cut short."""
    try:
        each_entry(entries, check)
    except Faults as error:
        return error.faults
    return []
