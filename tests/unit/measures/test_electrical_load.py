"""Electrical load: the same however many phases are cut into quarters at once."""

from pathlib import Path

import pytest

import batsim
from batsim.measures import electrical_load
from batsim.measures.windows import Measured
from tests.runs import record_of

CASE = Path(__file__).parents[2] / "benchmarks" / "cases" / "three_shifts.yaml"


@pytest.fixture(scope="module")
def measured() -> Measured:
    site = batsim.read(CASE)
    return Measured(record_of(site, "side rollers", seed=1, length_min=2880.0, warm_up_min=720.0))


@pytest.mark.parametrize("at_once", [1, 7, 100_000])
def test_it_does_not_matter_how_many_phases_are_cut_at_once(measured, monkeypatch, at_once):
    kw, kva = electrical_load.loads(measured)
    assert kw.size == kva.size == 192
    assert kva.max() > kw.max() > 0.0
    monkeypatch.setattr(electrical_load, "AT_ONCE", at_once)
    again_kw, again_kva = electrical_load.loads(measured)
    assert again_kw.tolist() == kw.tolist()
    assert again_kva.tolist() == kva.tolist()
