"""What logs say of trucks: power by group and shift, how it varies, the level at which they exchange."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy.special import chdtri, fdtri

from batsim.calibration.finding import Finding, Measured
from batsim.calibration.sources import Sources, Words, floats, words
from batsim.calibration.time_findings import Timed, depends_on
from batsim.display import Frame
from batsim.formulas.discharge import soc_after
from batsim.measures.windows import Flags, Floats
from batsim.scenario.chemistry import rated_cell
from batsim.scenario.parts.calendar import mean_kw, shift_min
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.text.located_data import Path
from batsim.statistics.dependence import differs_between
from batsim.statistics.fitting import FEWEST, fit
from batsim.statistics.intervals import Interval, student_interval
from batsim.statistics.rare_events import skewed_interval

MINUTES_AN_HOUR, W_PER_KW = 60.0, 1000.0
SHORTEST_H = 1.0
"""Hours worked in a shift below which its power says little. [h]"""
NORMAL_KURTOSIS = 3.0
"""Fourth moment of a normal law over the square of its variance. [-]"""
SHIFTS_DIFFER = 0.03
"""Part of the mean power by which that of a shift differs at least, where each is told for itself. [-]"""
AT_CHANGE = "exchanges at the shift change left out"


class Powers(NamedTuple):
    """Mean power of truck-shifts of a group."""

    rows: Frame
    kw: Floats
    """Over the demand of their week. [kW]"""
    truck: Words
    shift: Words


def truck_findings(sources: Sources, confidence: float) -> Iterator[Finding]:
    """Find power, its spreads and the exchange level of each group."""
    for number, group in enumerate(sources.groups):
        if group.run_time_min is None:
            yield from _power_findings(sources, number, group, confidence)
        yield from _level_findings(sources, number, group, confidence)


def _powers(sources: Sources, group: TruckGroup) -> Powers:
    """Power of each truck-shift that the logs have, from its energy or ampere-hours and its hours worked."""
    rows = sources.of("trucks")
    rows = rows[sources.group_of(rows) == group.group]
    shift = sources.shift_of(rows, group)
    cell = rated_cell(sources.scenario.batteries[group.battery], sources.scenario.figures)
    middle_v = cell.cells * (cell.empty_v + cell.slope_v / 2.0)
    kwh, charge_kwh = floats(rows, "energy_kwh"), floats(rows, "charge_ah") * middle_v / W_PER_KW
    kwh = np.where(np.isfinite(kwh), kwh, charge_kwh)
    usual = {name: shift_min(sources.scenario.week, name) for name in group.shifts}
    worked = floats(rows, "worked_min")
    worked = np.where(np.isfinite(worked), worked, [usual.get(name, np.nan) for name in shift])
    hours = worked / MINUTES_AN_HOUR
    known = np.isfinite(kwh) & (hours >= SHORTEST_H) & np.isin(shift, group.shifts)
    kw = np.divide(kwh, hours, out=np.full(len(rows), np.nan), where=known) / sources.demand_of(rows)
    return Powers(rows[known], kw[known], words(rows, "truck")[known], shift[known])


def _power_findings(sources: Sources, number: int, group: TruckGroup, confidence: float) -> Iterator[Finding]:
    """Mean power, by shift where shifts differ, and how it varies."""
    powers = _powers(sources, group)
    if powers.kw.size < FEWEST or group.duty is None:
        return
    means = {name: float(np.mean(powers.kw[powers.shift == name])) for name in group.shifts if name in powers.shift}
    apart = max(abs(mean / float(np.mean(powers.kw)) - 1.0) for mean in means.values()) > SHIFTS_DIFFER
    differs = differs_between(powers.kw, powers.shift, f"power of {group.group}", "shifts")
    enough = len(means) == len(group.shifts) and all((powers.shift == name).sum() >= FEWEST for name in means)
    at: Path = ("trucks", number, "duty", "mean_power")
    spread = _Spread.of(powers, confidence)
    week = sources.scenario.week
    if len(means) > 1 and enough and apart and differs.is_clear:
        for name in group.shifts:
            those = powers.shift == name
            stated = group.duty.kw_in(name, shift_min(week, name))
            yield _power(sources, powers, those, (f"power, {name} shift", group.group), stated, (*at, name), confidence)
    else:
        everything = np.ones(powers.kw.size, dtype=bool)
        stated = mean_kw(week, group.shifts, group.duty)
        yield _power(sources, powers, everything, ("power", group.group), stated, at, confidence)
    if spread is not None:
        yield from spread.findings(number, group)


def _power(
    sources: Sources,
    powers: Powers,
    those: Flags,
    titles: tuple[str, str],
    stated: float,
    path: Path,
    confidence: float,
) -> Finding:
    """Mean power of some truck-shifts; trucks differ, so its interval is that of the means of trucks."""
    kw, trucks = powers.kw[those], powers.truck[those]
    by_truck = np.array([np.mean(kw[trucks == truck]) for truck in dict.fromkeys(trucks) if truck])
    mean = student_interval(by_truck, confidence) if by_truck.size > 1 else skewed_interval(kw, confidence)
    middle = float(np.mean(kw))
    interval = Interval(middle, middle + mean.low - mean.mean, middle + mean.high - mean.mean)
    timed = Timed(powers.rows, those, powers.kw, "truck-shift")
    fitted = fit(kw, candidates="amount", confidence=confidence)
    return Finding(
        what=titles[0], of=titles[1], dimension="power", measured=Measured({"value": interval}), mean=interval,
        stated=stated, rows=kw.size, row="truck-shift", path=path, fitted=fitted, values_of="power of a truck-shift",
        depends=depends_on(sources, timed, titles[0]),
    )  # fmt: skip


class _Spread(NamedTuple):
    """How power varies: from truck to truck, and from shift to shift of one truck; standard deviations over means."""

    between_trucks: Interval
    between_shifts: Interval
    rows: int

    @classmethod
    def of(cls, powers: Powers, confidence: float) -> "_Spread | None":
        """Work both out from a nested analysis of variance of powers over the mean of their shift.

        References
        ----------
        Searle, S. R., Casella, G. & McCulloch, C. E., Variance Components, 1992, sections 3.6 and 3.7 (from memory):
        mean squares of a one-way random model with unequal numbers, interval of their ratio by F. Where tails are
        long, the variance of a mean square is greater (Cramer, H., Mathematical Methods of Statistics, 1946, section
        27.4, from memory).
        """
        means = {name: np.mean(powers.kw[powers.shift == name]) for name in set(powers.shift.tolist())}
        relative = powers.kw / np.array([means[name] for name in powers.shift])
        of_trucks = [relative[powers.truck == truck] for truck in dict.fromkeys(powers.truck.tolist()) if truck]
        of_trucks = [values for values in of_trucks if values.size > 1]
        number, count = len(of_trucks), sum(values.size for values in of_trucks)
        if number < 2 or count - number < FEWEST:
            return None
        own = np.array([values.mean() for values in of_trucks])
        sizes = np.array([values.size for values in of_trucks], dtype=np.float64)
        within = sum(float(np.sum((values - values.mean()) ** 2)) for values in of_trucks) / (count - number)
        mean = float(np.sum(sizes * own) / count)
        between = float(np.sum(sizes * (own - mean) ** 2)) / (number - 1)
        usual = (count - float(np.sum(sizes**2)) / count) / (number - 1)
        tail = (1.0 - confidence) / 2.0
        square = float(np.mean(own**2))
        rest = np.concatenate([values - values.mean() for values in of_trucks])
        skewed = float(np.mean(rest**4)) / float(np.mean(rest**2)) ** 2 - NORMAL_KURTOSIS if within else 0.0
        freedom = 2.0 / (2.0 / (count - number) + max(0.0, skewed) / count)
        low, high = (within * freedom / float(chdtri(freedom, share)) for share in (tail, 1.0 - tail))
        shifts = Interval(*(float(np.sqrt(value / square)) for value in (within, low, high)))
        ratio = between / within if within else np.inf
        ends = [
            max(0.0, (ratio / float(fdtri(number - 1, count - number, share)) - 1.0) / usual)
            for share in (0.5, 1.0 - tail, tail)
        ]
        middle = max(0.0, (between - within) / usual)
        trucks = Interval(
            float(np.sqrt(middle)) / mean, *(float(np.sqrt(within * end)) / mean for end in sorted(ends[1:]))
        )
        return cls(trucks, shifts, count)

    def findings(self, number: int, group: TruckGroup) -> Iterator[Finding]:
        """Both spreads as a scenario states them."""
        assert group.duty is not None  # powers were told
        stated = {"between_trucks": group.duty.between_trucks_share, "between_shifts": group.duty.between_shifts_share}
        for (key, usual), what in zip(stated.items(), ("from truck to truck", "from shift to shift"), strict=True):
            interval: Interval = getattr(self, key)
            yield Finding(
                what=f"spread of power {what}", of=group.group, dimension="share",
                measured=Measured({"value": interval}), mean=interval, stated=usual, rows=self.rows, row="truck-shift",
                path=("trucks", number, "duty", key),
            )  # fmt: skip


def _level_findings(sources: Sources, number: int, group: TruckGroup, confidence: float) -> Iterator[Finding]:
    """State of charge at which trucks leave for the room because it is low: on arrival, and what the way takes."""
    rows = sources.of("exchanges")
    rows = rows[sources.group_of(rows) == group.group]
    soc, arrived = floats(rows, "soc_start_share"), floats(rows, "arrived_min")
    arrived = np.where(np.isfinite(arrived), arrived, floats(rows, "start_min"))
    known, when = np.isfinite(soc), group.exchange_when
    by_level = when.in_breaks_below_share is None and when.early_below_share is None
    way = group.to_room
    way_min = way.distance_m / way.speed_m_per_min if way is not None else 0.0
    if when.shift_change != "never" and np.isfinite(arrived[known]).any():
        ahead = when.before_shift_end_min + when.spread.over_min + way_min
        ends = sources.shifts.ends(group.shifts)
        next_end = ends[np.clip(np.searchsorted(ends, arrived), 0, ends.size - 1)]
        last_end = ends[np.clip(np.searchsorted(ends, arrived) - 1, 0, ends.size - 1)]
        # A truck that was in the queue of the shift change arrived before its end, or soon after the way.
        known &= (next_end - arrived > ahead + 1.0) & ((arrived - last_end > way_min + 1.0) | (arrived < last_end))
    if known.sum() < FEWEST:
        return
    fitted = fit(np.clip(soc[known], 1e-6, 1.0 - 1e-6), candidates="share", confidence=confidence)
    kw = 0.0 if group.duty is None else mean_kw(sources.scenario.week, group.shifts, group.duty)
    cell = rated_cell(sources.scenario.batteries[group.battery], sources.scenario.figures)
    level = float(np.mean(soc[known]))
    left = soc_after(group.exchange_at_share, way_min / MINUTES_AN_HOUR, W_PER_KW * kw, cell)[0] if kw else 0.0
    taken = group.exchange_at_share - left if kw else 0.0
    mean = fitted.mean if np.isfinite(fitted.mean.low) else Interval(level, level, level)
    leaves = Interval(*(min(1.0, value + taken) for value in mean))
    yield Finding(
        what="state of charge at which trucks leave for the room", of=group.group, dimension="share",
        measured=Measured({"value": leaves}), mean=leaves, stated=group.exchange_at_share, rows=int(known.sum()),
        row="exchange", path=("trucks", number, "exchange_at") if by_level else (), fitted=fitted,
        values_of="state of charge on arrival",
        depends=depends_on(sources, Timed(rows, known, soc, "exchange"), "state of charge on arrival"),
        remark=AT_CHANGE if when.shift_change != "never" else "",
    )  # fmt: skip
