"""Working time against clock time for one set of windows, by bisection."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from math import inf


class Timetable:
    """When work is done, and the arithmetic of working minutes.

    Parameters
    ----------
    windows
        Working windows (start, end) in order, without overlap. [min]
    always
        True for work around the clock; the windows are not looked at then.
    """

    def __init__(self, windows: list[tuple[float, float]], *, always: bool = False) -> None:
        self.always = always
        self.starts = [start for start, _ in windows]
        self.ends = [end for _, end in windows]
        self.done: list[float] = []
        total = 0.0
        for start, end in windows:
            total += end - start
            self.done.append(total)
        self._before: dict[float, float] = {}

    def advance(self, start_min: float, working_min: float) -> float:
        """Clock time at which so many working minutes have passed since a start; infinity if never."""
        if self.always:
            return start_min + working_min
        ends, done = self.ends, self.done
        index = bisect_right(ends, start_min)
        if index == len(ends):
            return inf
        begin, end = self.starts[index], ends[index]
        if begin < start_min:  # noqa: PLR1730 - `max` takes twice as long
            begin = start_min
        time = begin + working_min
        if time <= end:
            return time
        target = done[index] - end + begin + working_min
        index = bisect_left(done, target, index)
        if index == len(done):
            return inf
        return ends[index] - done[index] + target

    def worked(self, start_min: float, end_min: float) -> float:
        """Working minutes between two clock times."""
        if self.always:
            return end_min - start_min
        known = self._before.get
        before_end, before_start = known(end_min), known(start_min)
        if before_end is None:
            before_end = self._upto(end_min)
        return before_end - (self._upto(start_min) if before_start is None else before_start)

    def remember(self, times_min: Iterable[float]) -> None:
        """Work out the working minutes before times that will be asked for again and again. [min]"""
        self._before.update((time_min, self._upto(time_min)) for time_min in times_min)

    def _upto(self, time_min: float) -> float:
        """Working minutes before a clock time."""
        index = bisect_right(self.starts, time_min) - 1
        if index < 0:
            return 0.0
        end = self.ends[index]
        return self.done[index] - (end - time_min if time_min < end else 0.0)

    def window(self, time_min: float) -> tuple[float, float]:
        """Window at work at a time, or the next one; (inf, inf) after the last."""
        if self.always:
            return (time_min, inf)
        index = bisect_right(self.ends, time_min)
        return (self.starts[index], self.ends[index]) if index < len(self.ends) else (inf, inf)

    def next_start(self, time_min: float) -> float:
        """Start of the first window after a time; infinite after the last. [min]"""
        index = bisect_right(self.starts, time_min)
        return self.starts[index] if index < len(self.starts) and not self.always else inf

    def gap_start(self, time_min: float) -> float:
        """End of the last window before a time that lies in no window; 0 before the first. [min]"""
        index = bisect_right(self.ends, time_min) - 1
        return self.ends[index] if index >= 0 else 0.0
