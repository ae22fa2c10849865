"""Acid: what must hold for every reading, and what is refused."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.electrolyte import freezing_degc, gravity_from_soc, gravity_that_freezes

TABLE = [(1.160, 0.25), (1.220, 0.50), (1.250, 0.75), (1.280, 1.00)]
FREEZING = [(1.160, -17.2), (1.220, -35.0), (1.250, -52.2), (1.280, -70.6)]
gravities = st.floats(1.16, 1.28)


def _whole(message):
    return f"^{re.escape(message)}$"


@given(gravity=gravities, higher=st.floats(0.0, 0.1))
def test_more_acid_freezes_later(gravity, higher):
    """Above the last row all is as in it."""
    assert freezing_degc(gravity, FREEZING) >= freezing_degc(gravity + higher, FREEZING) >= -70.6
    assert gravity_from_soc(1.0 + higher, TABLE) == 1.28


@given(soc=st.floats(0.25, 1.0), higher=st.floats(0.0, 0.5))
def test_more_charge_is_more_acid(soc, higher):
    assert 1.16 <= gravity_from_soc(soc, TABLE) <= gravity_from_soc(soc + higher, TABLE) <= 1.28


def test_between_two_rows_it_is_straight():
    """A quarter of the way; the first row itself is in the table."""
    assert gravity_from_soc(0.625, TABLE) == pytest.approx(1.235)
    assert freezing_degc(1.175, FREEZING) == pytest.approx(-17.2 - 0.25 * 17.8)
    assert gravity_from_soc(0.25, TABLE) == 1.160


def test_the_acid_that_freezes_at_a_temperature():
    """Read the other way: half-way from -17.2 to -35.0 degC; warmer than the table, as in its first row."""
    assert gravity_that_freezes(-26.1, FREEZING) == pytest.approx(1.190)
    assert gravity_that_freezes(-5.0, FREEZING) == 1.160
    with pytest.raises(ValueError, match=_whole("freezing point is below the table, which begins at -70.6 (got -80)")):
        gravity_that_freezes(-80.0, FREEZING)


def test_a_reading_below_the_table_is_refused():
    """It would promise less frost than there is."""
    with pytest.raises(ValueError, match=_whole("gravity is below the table, which begins at 1.16 (got 1.12)")):
        freezing_degc(1.12, FREEZING)
    with pytest.raises(ValueError, match=_whole("state of charge is below the table, which begins at 0.25 (got 0.1)")):
        gravity_from_soc(0.1, TABLE)


@pytest.mark.parametrize("table", [[], [(1.16, 0.25)], [(1.28, 1.0), (1.16, 0.25)], [(1.16, 0.25), (1.16, 1.0)]])
def test_a_table_that_does_not_rise_is_refused(table):
    """Two rows at least, each above the last."""
    rule = "needs two rows or more, each higher than the last"
    with pytest.raises(ValueError, match=_whole(f"a table of gravity {rule} (got {table})")):
        freezing_degc(1.20, table)


def test_a_table_whose_charge_does_not_rise_is_refused():
    """The message shows the rows turned round."""
    message = (
        "a table of state of charge needs two rows or more, each higher than the last (got [(0.5, 1.16), (0.5, 1.28)])"
    )
    with pytest.raises(ValueError, match=_whole(message)):
        gravity_from_soc(0.7, [(1.16, 0.5), (1.28, 0.5)])
