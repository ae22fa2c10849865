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
ROUNDING_MIN = 1.0
"""What clocks of loggers may be off. [min]"""
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
    at: Path = ("trucks", number, "duty", "mean_power")
    week = sources.scenario.week
    if _shifts_differ(powers, group):
        for name in group.shifts:
            stated, titles = group.duty.kw_in(name, shift_min(week, name)), (f"power, {name} shift", group.group)
            yield _power(sources, powers, powers.shift == name, titles, stated, (*at, name), confidence)
    else:
        everything = np.ones(powers.kw.size, dtype=bool)
        stated = mean_kw(week, group.shifts, group.duty)
        yield _power(sources, powers, everything, ("power", group.group), stated, at, confidence)
    spread = _Spread.of(powers, confidence)
    if spread is not None:
        yield from spread.findings(number, group)


def _shifts_differ(powers: Powers, group: TruckGroup) -> bool:
    """Whether the power of shifts differs clearly, and by so much that each is told for itself."""
    rows = [powers.kw[powers.shift == name] for name in group.shifts]
    if len(rows) < 2 or min(each.size for each in rows) < FEWEST:
        return False
    mean = float(np.mean(powers.kw))
    apart = max(abs(float(np.mean(each)) / mean - 1.0) for each in rows)
    return apart > SHIFTS_DIFFER and differs_between(powers.kw, powers.shift).is_clear


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
        depends=depends_on(sources, timed, f"powers of {titles[1]}"),
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
        trucks = [relative[powers.truck == truck] for truck in dict.fromkeys(powers.truck.tolist()) if truck]
        trucks = [values for values in trucks if values.size > 1]
        number, count = len(trucks), sum(values.size for values in trucks)
        if number < 2 or count - number < FEWEST:
            return None
        rest = np.concatenate([values - values.mean() for values in trucks])
        within = float(np.sum(rest**2)) / (count - number)
        tails = (1.0 + confidence) / 2.0, (1.0 - confidence) / 2.0
        return cls(
            _between(trucks, within, tails), _within(trucks, rest, within, tails), count
        )  # fmt: skip

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


def _within(trucks: list[Floats], rest: Floats, within: float, tails: tuple[float, float]) -> Interval:
    """Spread from shift to shift of one truck, by its mean square; longer tails than normal ones make it less sure."""
    freedom = rest.size - len(trucks)
    if within:
        tailed = float(np.mean(rest**4)) / float(np.mean(rest**2)) ** 2 - NORMAL_KURTOSIS
        freedom_left = 2.0 / (2.0 / freedom + max(0.0, tailed) / rest.size)
    else:
        freedom_left = float(freedom)
    square = float(np.mean([values.mean() ** 2 for values in trucks]))
    ends = (within * freedom_left / float(chdtri(freedom_left, 1.0 - share)) for share in tails)
    return Interval(*(float(np.sqrt(value / square)) for value in (within, *ends)))


def _between(trucks: list[Floats], within: float, tails: tuple[float, float]) -> Interval:
    """Spread from truck to truck, by the mean squares between and within trucks."""
    own, sizes = np.array([values.mean() for values in trucks]), np.array([float(values.size) for values in trucks])
    number, count = own.size, float(sizes.sum())
    mean = float(np.sum(sizes * own)) / count
    between = float(np.sum(sizes * (own - mean) ** 2)) / (number - 1)
    usual = (count - float(np.sum(sizes**2)) / count) / (number - 1)
    squares = [max(0.0, (between - within) / usual)]
    for share in tails:
        off = float(fdtri(number - 1, count - number, share))
        squares.append(max(0.0, (between / off - within) / usual))
    return Interval(*(float(np.sqrt(value)) / mean for value in squares))


def _level_findings(sources: Sources, number: int, group: TruckGroup, confidence: float) -> Iterator[Finding]:
    """State of charge at which trucks leave for the room because it is low: on arrival, and what the way takes."""
    rows = sources.of("exchanges")
    rows = rows[sources.group_of(rows) == group.group]
    soc, when, way = floats(rows, "soc_start_share"), group.exchange_when, group.to_room
    by_level = when.in_breaks_below_share is None and when.early_below_share is None
    way_min = way.distance_m / way.speed_m_per_min if way is not None else 0.0
    known = np.isfinite(soc)
    if when.shift_change != "never":
        known &= ~_at_shift_change(sources, rows, group, way_min)
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
        what="level at which trucks leave", of=group.group, dimension="share",
        measured=Measured({"value": leaves}), mean=leaves, stated=group.exchange_at_share, rows=int(known.sum()),
        row="exchange", path=("trucks", number, "exchange_at") if by_level else (), fitted=fitted,
        values_of="state of charge on arrival",
        depends=depends_on(sources, Timed(rows, known, soc, "exchange"), "states of charge on arrival"),
        remark=AT_CHANGE if when.shift_change != "never" else "",
    )  # fmt: skip


def _at_shift_change(sources: Sources, rows: Frame, group: TruckGroup, way_min: float) -> Flags:
    """Which exchanges are of trucks that came because their shift ended: shortly before its end, or a way after."""
    arrived, when = floats(rows, "arrived_min"), group.exchange_when
    arrived = np.where(np.isfinite(arrived), arrived, floats(rows, "start_min"))
    ends = sources.shifts.ends(group.shifts)
    at = np.searchsorted(ends, arrived)
    before = ends[np.clip(at, 0, ends.size - 1)] - arrived
    after = arrived - ends[np.clip(at - 1, 0, ends.size - 1)]
    ahead = when.before_shift_end_min + when.spread.over_min + way_min + ROUNDING_MIN
    flags: Flags = (before <= ahead) | ((after >= 0.0) & (after <= way_min + ROUNDING_MIN))
    return flags
