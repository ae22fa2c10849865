"""Rows of a record are written by the names of their columns."""

import math
import re
from array import array
from itertools import chain

import pytest

from batsim.record.blocks import Steps, block, joined, narrowed
from batsim.record.record import Record
from batsim.record.tables import TABLES, Row, coming, standing
from batsim.record.words import READY
from tests.rows import write_row
from tests.runs import record_of
from tests.sites import KESTREL

MOST_NAMED = 15
"""With more arguments by name than this the interpreter makes a dictionary for each call, four times as slow."""


@pytest.fixture
def record():
    """An empty record."""
    return Record(record_of(KESTREL, "hoist", length_min=60.0, warm_up_min=0.0).facts)


@pytest.mark.parametrize("table", TABLES)
def test_every_number_comes_out_under_its_name(record, table):
    """A row whose numbers are all different: none can stand in another's column."""
    names = [column.name for column in TABLES[table]]
    row = {name: float(number) for number, name in enumerate(names, 1)}

    write_row(record, table, math.nan, **dict(reversed(row.items())))

    assert record.count(table) == 1
    assert {name: column.tolist() for name, column in record.columns(table).items()} == {
        name: [number] for name, number in row.items()
    }


def test_every_table_has_one_row_type_and_one_writer(record):
    rows = {row.table: row for row in Row.__subclasses__()}

    assert list(rows) == list(TABLES) == list(vars(record.write))
    assert max(len(row.__annotations__) for row in rows.values()) <= MOST_NAMED


def test_a_column_that_is_forgotten_misspelt_or_without_a_name_is_refused(record):
    with pytest.raises(TypeError, match=r"missing 1 required keyword-only argument: 'from_min'$"):
        record.write.battery_states(battery=0, state=READY)
    with pytest.raises(TypeError, match=r"got an unexpected keyword argument 'since_min'$"):
        record.write.battery_states(battery=0, state=READY, from_min=0.0, since_min=0.0)
    with pytest.raises(TypeError, match=re.escape("takes 0 positional arguments but 3 were given")):
        record.write.battery_states(0, READY, 0.0)
    with pytest.raises(TypeError, match=r"missing 4 required keyword-only arguments"):
        standing(battery=0)


def test_a_visit_and_a_charge_that_have_not_begun(record):
    """What is not known yet is not a number; a truck that has got no battery has none."""
    came = coming(
        truck=1, group=0, queue=0, kind=0, discharged=3, soc_share=0.2, below_cut_out=0, ready_found=0, left_min=5.0,
        joined_min=6.0, reason=0, fetched_min=0.0,
    )  # fmt: skip
    record.write.exchanges(came=came, charged=-1)
    record.write.charges(standing=standing(battery=3, queue=0, charger=math.nan, bay=2, discharged_min=7.0))

    (visit,) = record.frame("exchanges").to_dict("records")
    assert (visit["truck"], visit["discharged"], visit["charged"], visit["joined_min"]) == (1.0, 3.0, -1.0, 6.0)
    assert all(math.isnan(visit[name]) for name in ("start_min", "truck_free_min", "end_min", "back_min"))
    assert (visit["station"], visit["standby"], visit["watering_min"]) == (-1.0, 0.0, 0.0)
    (charge,) = record.frame("charges").to_dict("records")
    known = {"battery": 3.0, "queue": 0.0, "bay": 2.0, "discharged_min": 7.0, "finished": False}
    assert {name: value for name, value in charge.items() if not math.isnan(value)} == known


def test_packed_columns_keep_every_bit_in_the_smallest_type():
    columns = {
        "same": [math.nan] * 3,
        "code": [0.0, -128.0, 127.0],
        "count": [0.0, 128.0, -32768.0],
        "stated": [0.5, math.nan, 40_000.0],
        "minus nothing": [-0.0, 0.0, 1.0],
        "measured": [0.1, 1e300, -math.inf],
        "times": [10_000.0 + 2.0**-20, 12_000.5 - 2.0**-20, 10_000.25],
        "times of which one is not known": [10_000.0 + 2.0**-20, math.nan, 9_000.25],
        "times that lie too far apart": [2.0**-20, 2048.5 + 2.0**-20, 1.0],
    }
    wide = block(array("d", chain(*zip(*columns.values(), strict=True))), len(columns))
    narrow = narrowed(wide)
    *others, steps, with_nan, far = narrow
    assert [column.dtype.name for column in others] == ["float64", "int8", "int16", "float32", "float32", "float64"]
    assert [column.strides[0] for column in others] == [0, 1, 2, 4, 4, 8]
    assert (type(steps), steps.size, steps.ticks.nbytes, with_nan.nbytes, far.nbytes) == (Steps, 3, 8, 24, 24)
    for before, after in zip(wide, joined([narrow, wide], len(columns)), strict=True):
        assert after.tobytes() == 2 * before.tobytes()


def test_a_record_reads_the_same_however_often_it_was_packed(record):
    once = Record(record.facts)
    for number in range(4):
        for each in (record, once):
            each.write.battery_states(battery=number, state=READY, from_min=number + 0.1)
        record.move()
    assert record.count("battery_states") == once.count("battery_states") == 4
    assert record.rows("battery_states") == once.rows("battery_states")
    assert record.rows("battery_states")[3] == (3.0, READY, 3.1)
    assert record.rows("stands") == []


def test_blocks_of_rows_take_little_more_than_half_of_the_size_of_their_numbers(monkeypatch):
    """Of a record, in bytes: eight for each number if it were not narrow."""
    monkeypatch.setattr("batsim.record.record.BLOCK", 2_048)
    record = record_of(KESTREL, "hoist", length_min=5 * 7 * 1440.0, warm_up_min=0.0)
    blocks = [column for table in TABLES for columns in record._packed[table] for column in columns]
    wide = [column.ticks if isinstance(column, Steps) else column for column in blocks]
    held = sum(column.nbytes if column.strides[0] else column.itemsize for column in wide)
    assert held < 0.52 * 8 * sum(column.size for column in blocks)
