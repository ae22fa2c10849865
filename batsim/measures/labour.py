"""People-minutes of hands-on work, by person and by task."""

import numpy as np

from batsim.measures.windows import Measured
from batsim.record import PERSONS, TASKS


def labour_measures(measured: Measured) -> dict[str, float]:
    """Labour per working day, in all, by person, by task, and by both; each way adds up to the same."""
    work, days = measured.work, measured.working_days
    names = {"labour_min_per_day": 0.0}
    inside = measured.inside(work["start_min"])
    for person, who in enumerate(PERSONS):
        for task, what in enumerate(TASKS):
            mine = inside & (work["person"] == person) & (work["task"] == task)
            minutes = float(np.sum(work["hands_on_min"][mine])) / days if days else np.nan
            for name in ("labour", f"labour_{who}", f"labour_{what}", f"labour_{who}_{what}"):
                key = f"{name}_min_per_day"
                names[key] = names.get(key, 0.0) + minutes
    return names
