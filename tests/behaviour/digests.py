"""Digests of what runs leave behind, by scenario and layout, as JSON: `python tests/behaviour/digests.py FILE...`.

Of whichever build is imported: the path of one of its modules stands beside them.
"""

import hashlib
import json
import sys
from pathlib import Path

import batsim
from batsim.record.tables import TABLES
from batsim.room import truck
from batsim.scenario.site import Scenario
from batsim.study.running.jobs import results_of

SETTINGS = batsim.Settings(weeks=2.0, warm_up_weeks=1.0)


def digest(scenario: Scenario, layout: str) -> str:
    """Digest of every number of a record and of all its measures."""
    record = batsim.simulate(scenario, layout, settings=SETTINGS)
    found = hashlib.sha256()
    for table in TABLES:
        for numbers in record.columns(table).values():
            found.update(numbers.tobytes())
    found.update(repr(results_of(record, scenario.in_layout(layout))).encode())
    return found.hexdigest()


def main() -> None:
    """Print them."""
    digests = {}
    for file in map(Path, sys.argv[1:]):
        scenario = batsim.read(file)
        digests |= {f"{file.stem}, {layout}": digest(scenario, layout) for layout in scenario.layouts}
    print(json.dumps({"module": truck.__file__, "digests": digests}))  # noqa: T201 - it is run for that


if __name__ == "__main__":
    main()
