"""The logs that are shipped are those of the rooms that they are said to be of."""

import os

import pytest

from tests.invented_logs import TRUTHS, invented_logs


@pytest.mark.parametrize("site", TRUTHS)
def test_logs_are_those_of_their_rooms(site: str) -> None:
    """To the byte; with BATSIM_RENEW in the environment they are written anew."""
    for file, text in invented_logs(site):
        if os.environ.get("BATSIM_RENEW"):
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8")
        assert file.read_text(encoding="utf-8") == text, file
