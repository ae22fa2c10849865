"""Cases of a store as a tidy table, CSV or Parquet: a row for each case, a column for each input and each measure."""

import csv
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from batsim.errors import StudyError, require
from batsim.output import cell, replacing
from batsim.study.sweeps.columns import meaning_of
from batsim.study.sweeps.store import Store, measures_at

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
    require(output.suffix in (".csv", ".parquet"), f"{output}: a table must end in .csv or .parquet", StudyError)
    itself = output.exists() and Path(store).exists() and output.samefile(store)
    require(not itself, f"{output}: this is the store itself; choose another name for the table", StudyError)
    with Store.open(store, write=False) as opened:
        studies = opened.studies()
        require(studies, f"{store}: holds no study", StudyError)
        inputs = {factor["path"]: factor["may_be"] for study in studies.values() for factor in study["factors"]}
        names = list(dict.fromkeys(name for study in studies.values() for name in study["names"]))
        columns, count = [*WHO, *inputs, *names], 0
        with _written(output), replacing(output) as beside:
            table = (_Csv if output.suffix == ".csv" else _Parquet)(beside, columns, list(inputs))
            with closing(table):
                finished = _rows(opened, studies, list(inputs), names)
                while rows := list(islice(finished, ROWS_AT_ONCE)):
                    table.rows(rows)
                    count += len(rows)
            dictionary = _write_dictionary(output, inputs, names)
    return (
        Written(str(output), f"{count} case{'' if count == 1 else 's'}, {len(columns)} columns"),
        Written(str(dictionary), "unit and meaning of each column"),
    )


@contextmanager
def _written(output: Path) -> Iterator[None]:
    """Say in the user's words why a table cannot be written."""
    try:
        yield
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else error  # some tell a whole story as their strerror
        msg = f"{output}: cannot be written: {reason}"
        raise StudyError(msg) from error


def _rows(
    store: Store, studies: dict[str, dict[str, Any]], paths: list[str], names: list[str]
) -> Iterator[list[object]]:
    """Rows of the table; cases without a result are left out."""
    for study_id, study in studies.items():
        places = [study["names"].index(name) if name in study["names"] else -1 for name in names]
        for number, point, job, measures in store.finished(study, store.points(study_id)):
            who = (study_id, number, job.layout, job.replication, job.seed)
            yield [*who, *(_cell(point.get(path)) for path in paths), *measures_at(measures, places)]


def _cell(value: object) -> object:
    """Value of an input in a table."""
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value


class _Csv:
    """A CSV file (RFC 4180), UTF-8; empty where there is no number."""

    def __init__(self, output: Path, columns: list[str], _: list[str]) -> None:
        self._file = output.open("w", newline="", encoding="utf-8")
        self._csv = csv.writer(self._file)
        self._csv.writerow(map(cell, columns))

    def rows(self, rows: Sequence[Sequence[object]]) -> None:
        """Write some rows."""
        self._csv.writerows(
            ["" if value is None or value != value else cell(value) for value in row]  # noqa: PLR0124 - only NaN differs
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
        columns = [list(column) for column in zip(*rows, strict=True)]
        for place in self._words:
            columns[place] = [None if value is None else str(value) for value in columns[place]]
        self._writer.write_table(self._table(columns, schema=self._schema))

    def close(self) -> None:
        """Close the file."""
        self._writer.close()


def _write_dictionary(output: Path, inputs: dict[str, str], names: list[str]) -> Path:
    """Write what each column holds."""
    dictionary = output.with_suffix(".dictionary.csv")
    with replacing(dictionary) as beside, beside.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["column", "unit", "meaning"])
        table.writerows([name, *about] for name, about in WHO.items())
        table.writerows([cell(path), "as in the scenario", f"input: {may_be}"] for path, may_be in inputs.items())
        table.writerows([cell(name), *meaning_of(name)] for name in names)
    return dictionary
