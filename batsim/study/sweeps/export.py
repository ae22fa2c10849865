"""Cases of a store as a tidy table, CSV or Parquet: a row for each case, a column for each input and each measure."""

import csv
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from batsim.errors import StudyError
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.study.running.jobs import Job
from batsim.study.sweeps.cases import Case, changes_of, key_of
from batsim.study.sweeps.store import Store

ROWS_AT_ONCE = 2000
WHO = {
    "study": ("text", "digest of the study that asked for the case"),
    "point": ("1", "number of the point in its design, from 0"),
    "layout": ("text", "name of the layout"),
    "replication": ("1", "number of the replication, from 0; the same number means the same random work"),
    "seed": ("1", "seed of all random streams"),
}
"""Columns that say which case it is: unit and meaning."""
PARQUET_NEEDED = "Parquet needs the extra 'parquet': pip install 'batsim[parquet]'; or write a .csv"


class Written(NamedTuple):
    """A file, and what is in it."""

    file: str
    what: str


def export_store(store: str | Path, output: str | Path) -> tuple[Written, Written]:
    """Write the finished cases of a store, and a data dictionary beside them.

    Parameters
    ----------
    store
        File that a sweep has written.
    output
        Name of the table, ending in .csv or .parquet.

    Returns
    -------
    tuple
        Both files.

    Raises
    ------
    StudyError
        When the store cannot be read, the table cannot be written, or Parquet is asked for and not installed.
    """
    output = Path(output)
    _check(store, output)
    with closing(Store.open(store, write=False)) as opened:
        studies = opened.studies()
        if not studies:
            msg = f"{store}: holds no study"
            raise StudyError(msg)
        paths = list(dict.fromkeys(factor["path"] for study in studies.values() for factor in study["factors"]))
        names = list(dict.fromkeys(name for study in studies.values() for name in study["names"]))
        columns, count = [*WHO, *paths, *names], 0
        try:
            with closing((_Csv if output.suffix == ".csv" else _Parquet)(output, columns, paths)) as writer:
                for rows in _rows(opened, studies, paths, names):
                    writer.rows(rows)
                    count += len(rows)
            dictionary = _write_dictionary(output, paths, studies, names)
        except OSError as error:
            reason = os.strerror(error.errno) if error.errno else error  # some tell a whole story as their strerror
            msg = f"{output}: cannot be written: {reason}"
            raise StudyError(msg) from error
    return (
        Written(str(output), f"{count} case{'' if count == 1 else 's'}, {len(columns)} columns"),
        Written(str(dictionary), "unit and meaning of each column"),
    )


def _check(store: str | Path, output: Path) -> None:
    """Refuse a name under which no table is written."""
    if output.suffix not in (".csv", ".parquet"):
        msg = f"{output}: a table must end in .csv or .parquet"
        raise StudyError(msg)
    if output.exists() and Path(store).exists() and output.samefile(store):
        msg = f"{output}: this is the store itself; choose another name for the table"
        raise StudyError(msg)


def _rows(
    store: Store, studies: dict[str, dict[str, Any]], paths: list[str], names: list[str]
) -> Iterator[list[list[object]]]:
    """Rows of the table, some at a time; cases without a result are left out."""
    for study_id, study in studies.items():
        places = [study["names"].index(name) if name in study["names"] else -1 for name in names]
        pending: list[tuple[bytes, list[object]]] = []
        for number, text in enumerate(store.points(study_id)):
            point = json.loads(text)
            inputs = [_cell(point.get(path)) for path in paths]
            for key, job in _cases(study, point):
                pending.append((key, [study_id, number, job.layout, job.replication, job.seed, *inputs]))
            if len(pending) >= ROWS_AT_ONCE:
                yield _with_measures(store, pending, places)
                pending = []
        yield _with_measures(store, pending, places)


def _cases(study: dict[str, Any], point: dict[str, Any]) -> Iterator[Case]:
    """Cases of a point of a study, layout by layout."""
    times = study["length_min"], study["warm_up_min"]
    for layout, base in study["layouts"].items():
        changes = changes_of({path: value for path, value in point.items() if concerns(study, path, layout)})
        for replication in range(study["replications"]):
            job = Job(layout, replication, study["seed"], *times, changes=changes)
            yield Case(key_of(bytes.fromhex(base), job), job)


def concerns(study: dict[str, Any], path: str, layout: str) -> bool:
    """Whether a path of a study concerns a layout."""
    only = next(factor["layout"] for factor in study["factors"] if factor["path"] == path)
    return only is None or only == layout


def _with_measures(store: Store, pending: list[tuple[bytes, list[object]]], places: list[int]) -> list[list[object]]:
    """Add their measures to rows."""
    measures = store.measures({key for key, _ in pending})
    rows = []
    for key, who in pending:
        if key in measures:
            values = np.frombuffer(measures[key], "<f8").tolist()
            # A case whose target for waits was taken away lacks the last measure.
            rows.append([*who, *(values[place] if 0 <= place < len(values) else None for place in places)])
    return rows


def _cell(value: object) -> object:
    """Value of an input in a table."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value


class _Csv:
    """A CSV file (RFC 4180), UTF-8; empty where there is no number."""

    def __init__(self, output: Path, columns: list[str], _: list[str]) -> None:
        self._file = output.open("w", newline="", encoding="utf-8")
        self._csv = csv.writer(self._file)
        self._csv.writerow(columns)

    def rows(self, rows: Sequence[Sequence[object]]) -> None:
        """Write some rows."""
        self._csv.writerows(
            ["" if value is None or value != value else value for value in row]  # noqa: PLR0124 - only NaN differs
            for row in rows
        )

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class _Parquet:
    """A Parquet file; inputs are text, measures numbers."""

    def __init__(self, output: Path, columns: list[str], paths: list[str]) -> None:
        try:
            import pyarrow as pa  # noqa: PLC0415 - heavy, and an extra
            import pyarrow.parquet as pq  # noqa: PLC0415
        except ImportError as error:
            raise StudyError(PARQUET_NEEDED) from error
        words = {"study", "layout", *paths}
        whole = {"point", "replication", "seed"}
        kinds = [pa.string() if name in words else pa.int64() if name in whole else pa.float64() for name in columns]
        self._table, self._words = pa.table, [columns.index(path) for path in paths]
        self._schema = pa.schema(list(zip(columns, kinds, strict=True)))
        self._writer = pq.ParquetWriter(output, self._schema)

    def rows(self, rows: Sequence[Sequence[object]]) -> None:
        """Write some rows."""
        if not rows:
            return
        columns = [list(column) for column in zip(*rows, strict=True)]
        for place in self._words:
            columns[place] = [None if value is None else str(value) for value in columns[place]]
        self._writer.write_table(self._table(columns, schema=self._schema))

    def close(self) -> None:
        """Close the file."""
        self._writer.close()


def _write_dictionary(output: Path, paths: list[str], studies: dict[str, dict[str, Any]], names: list[str]) -> Path:
    """Write what each column holds."""
    dictionary = output.with_suffix(".dictionary.csv")
    may_be = {factor["path"]: factor["may_be"] for study in studies.values() for factor in study["factors"]}
    measures = {**MEASURES, WITHIN_TARGET.name: WITHIN_TARGET}
    with dictionary.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["column", "unit", "meaning"])
        table.writerows([name, *about] for name, about in WHO.items())
        table.writerows([path, "as in the scenario", f"input: {may_be[path]}"] for path in paths)
        table.writerows([name, measures[name].unit, measures[name].meaning] for name in names)
    return dictionary
