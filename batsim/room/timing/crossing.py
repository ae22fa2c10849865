"""Work that runs into breaks."""

from bisect import bisect_right
from math import inf


class Crossing:
    """Work that runs into breaks: laid down until the break is over, or begun again after it."""

    def __init__(self, gaps: list[tuple[float, float]]) -> None:
        self.gaps = sorted(gaps)
        self.ends = [end for _, end in self.gaps]

    def end_of(self, start_min: float, work_min: float, *, again: bool) -> float:
        """When work is done that stops in every break; it runs over the end of a shift. [min]"""
        time, left = start_min, work_min
        for begin, end in self.gaps[bisect_right(self.ends, time) :]:
            if time + left <= begin:
                break
            if again:
                left = work_min
            else:
                left -= max(0.0, begin - time)
            time = max(time, end)
        return time + left

    def next_gap_min(self, time_min: float) -> float:
        """When the break begins that is under way or comes next; infinite after the last. [min]"""
        index = bisect_right(self.ends, time_min)
        return self.gaps[index][0] if index < len(self.gaps) else inf

    def gaps_in(self, start_min: float, end_min: float) -> list[tuple[float, float]]:
        """Breaks between two times, cut at both. [min]"""
        gaps = self.gaps[bisect_right(self.ends, start_min) :]
        return [(max(begin, start_min), min(end, end_min)) for begin, end in gaps if begin < end_min]

    def worked(self, start_min: float, end_min: float) -> float:
        """Minutes of work between two times, breaks left out. [min]"""
        return end_min - start_min - sum(end - begin for begin, end in self.gaps_in(start_min, end_min))
