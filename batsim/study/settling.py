"""Whether a warm-up was long enough, from the runs themselves: the first measured week against later ones."""

import numpy as np

from batsim.statistics.intervals import Interval, simultaneous, student_interval
from batsim.statistics.warm_up import CONFIDENCE, MARGIN_SHARE
from batsim.study.running.runs import Runs

FIRST, LATER = "first_week_downtime_min_per_truck_shift", "later_weeks_downtime_min_per_truck_shift"


def still_settling(runs: Runs) -> dict[str, Interval]:
    """Downtime per truck-shift of the first measured week less that of later weeks, where they are not alike.

    Parameters
    ----------
    runs
        Two replications or more, of two whole normal weeks or more; else nothing is told.

    Returns
    -------
    dict
        By layout whose paired interval over the replications lies beyond a margin on either side of zero, a part of the
        downtime (all layouts together at 99 %); empty when the warm-up was long enough, as far as this can tell. [min]
    """
    if runs.schedule.season is not None:  # it begins with the stock of the weeks before it
        return {}
    found, confidence = {}, simultaneous(CONFIDENCE, len(runs.layouts))
    for layout in runs.layouts:
        values = runs.values[layout]
        if FIRST in values and np.isfinite(values[LATER]).all():
            interval = student_interval(values[FIRST] - values[LATER], confidence)
            margin = MARGIN_SHARE * abs(float(np.mean(values[LATER])))
            if interval.low > margin or interval.high < -margin:
                found[layout] = interval
    return found
