"""What logs say of times: exchanges and their steps, the way to the room, what is done to batteries, runs."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from batsim.calibration.finding import Finding, Measured, measured_law
from batsim.calibration.sources import Sources, floats, marks, words
from batsim.display import Frame
from batsim.measures.windows import Flags, Floats
from batsim.record.words import BEING_CONNECTED, BEING_WATERED, COOLING
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.text.located_data import Path
from batsim.statistics.dependence import (
    Dependence,
    differs_between,
    differs_over_day,
    differs_over_weeks,
    like_the_one_before,
)
from batsim.statistics.fitting import FEWEST, fit
from batsim.statistics.intervals import Interval
from batsim.study.event_log import DONE_TO_BATTERIES, WAY

MINUTES_A_DAY, MINUTES_A_WEEK, MINUTES_AN_HOUR = 1440.0, 10080.0, 60.0
TRUCK_WAITS, TRUCK_GONE, WHOLE = "truck_waits", "truck_gone", "whole"
PARTS = {
    TRUCK_WAITS: "exchange, truck in the station",
    TRUCK_GONE: "exchange, battery put away",
    WHOLE: "exchange from begin to end",
}
"""Parts of an exchange that are timed as one, by their key in a scenario."""
CLEAR = 0.001
"""Share of independent values that look as dependent, below which it is told: of dozens of tests hardly one. [-]"""
POSITIONS = "the layout of today states positions, from which its exchange times follow; state it without 'floor'"
BY_CURVE = "charge times follow from the curve of the charger; see how long charges take, measured and simulated"


class Timed(NamedTuple):
    """Durations of one kind."""

    rows: Frame
    those: Flags
    values: Floats
    """Of all rows. [min]"""
    row: str
    """What a row is."""
    cut: Flags | None = None
    """Rows whose value was cut off; those that were not ended when the log did, when not given."""

    @property
    def censored(self) -> Flags:
        """Rows whose true value is longer."""
        return marks(self.rows, "censored") if self.cut is None else self.cut


def time_findings(sources: Sources, confidence: float) -> Iterator[Finding]:
    """Fit all times that logs have."""
    maker = _Maker(sources, confidence)
    for handling in dict.fromkeys(view.layouts[sources.layout].handling for view in sources.areas.values()):
        arrangement = sources.scenario.handling[handling]
        if not arrangement.in_truck:
            yield from maker.exchange(handling, arrangement)
        yield from maker.of_batteries(handling, arrangement)
    yield from maker.ways()
    yield from maker.of_types()
    yield from maker.runs()


class _Maker:
    """Fits durations of the logs of a site."""

    def __init__(self, sources: Sources, confidence: float) -> None:
        self.sources, self.confidence = sources, confidence
        self.steps = sources.of("steps")
        self.exchanges = sources.of("exchanges")
        self.charges = sources.of("charges")

    def exchange(self, handling: str, arrangement: Arrangement) -> Iterator[Finding]:
        """Exchange times: by its steps where all of a part were timed, else as a whole."""
        remark = self._positions(handling)
        own = {step.step: step.law.mean for step in arrangement.steps}
        parts = {
            key: [step.step for step in arrangement.stated_steps if step.truck == truck]
            for key, truck in ((TRUCK_WAITS, "waits"), (TRUCK_GONE, "gone"))
        }
        for key, timed in self._parts(handling, parts):
            steps = parts.get(key, list(own))
            by_step = self._by_step(handling, steps)
            if not by_step and timed is not None:
                path: Path = ("handling", handling, "exchange_times", key)
                stated, shared = sum(own[step] for step in steps), len(steps) > 1
                yield from self._finding(PARTS[key], handling, timed, stated, path, remark, shared=shared)
            for step, each in by_step.items():
                path = ("handling", handling, "step_times", step)
                yield from self._finding(f"exchange, {step}", handling, each, own[step], path, remark)

    def _positions(self, handling: str) -> str:
        """Why exchange times of an arrangement are written nowhere; empty where they are."""
        layouts = [view.layouts[self.sources.layout] for view in self.sources.areas.values()]
        return POSITIONS * any(each.floor is not None for each in layouts if each.handling == handling)

    def _parts(self, handling: str, parts: Mapping[str, list[str]]) -> Iterator[tuple[str, Timed | None]]:
        """Parts of exchanges that are timed as one; the whole where the truck stays until its end."""
        rows = self.exchanges
        if rows.empty:
            yield from ((key, None) for key in parts)
            return
        mine = self.sources.handling_of(rows) == handling
        whole, cut = floats(rows, "duration_min"), marks(rows, "censored")
        station = floats(rows, "truck_free_min") - floats(rows, "start_min")
        stands = cut & np.isnan(station)
        after = whole - station
        gone = mine & (after > 0.0)
        if not parts[TRUCK_GONE] or (gone & ~cut).sum() < FEWEST:
            known = mine & np.isfinite(whole)
            yield (
                WHOLE if parts[TRUCK_GONE] else TRUCK_WAITS,
                Timed(rows, known, whole, "exchange") if known.any() else None,
            )
            return
        stays = mine & (np.isfinite(station) & ~(after <= 0.0) | stands)
        yield TRUCK_WAITS, Timed(rows, stays, np.where(stands, whole, station), "exchange", stands)
        yield TRUCK_GONE, Timed(rows, gone, after, "exchange")

    def _by_step(self, handling: str, steps: list[str]) -> dict[str, Timed]:
        """Each of some steps; nothing unless all of them were timed."""
        rows = self.steps
        if rows.empty or not steps:
            return {}
        of = self.sources.handling_of(rows)
        mine = (of == handling) | (of == "")
        lasts = floats(rows, "duration_min")
        timed = {
            step: Timed(rows, mine & (words(rows, "step") == step) & np.isfinite(lasts), lasts, "timing")
            for step in steps
        }
        return timed if all(each.those.sum() >= FEWEST for each in timed.values()) else {}

    def of_batteries(self, handling: str, arrangement: Arrangement) -> Iterator[Finding]:
        """Times to connect batteries."""
        of = self.sources.handling_of(self.steps)
        timed = self._steps(DONE_TO_BATTERIES[BEING_CONNECTED], (of == handling) | (of == ""))
        path: Path = ("handling", handling, "plug_time" if arrangement.in_truck else "connect_time")
        law = arrangement.plug_time_min if arrangement.in_truck else arrangement.connect_time_min
        yield from self._finding("connecting a battery", handling, timed, law.mean, path)

    def of_types(self) -> Iterator[Finding]:
        """Cool-down, watering and charge time, by battery type."""
        scenario = self.sources.scenario
        at: Path
        types, charged = self.sources.type_of(self.steps), self.sources.type_of(self.charges)
        lasts = floats(self.charges, "duration_min")
        for name in dict.fromkeys(group.battery for group in self.sources.groups):
            battery = scenario.batteries[name]
            rest = self._steps(DONE_TO_BATTERIES[COOLING], types == name)
            yield from self._finding(
                "cool-down", name, rest, battery.cool_down_min.mean, ("batteries", name, "cool_down")
            )
            if battery.watering is not None:
                law = battery.watering.time_min
                water = self._steps(DONE_TO_BATTERIES[BEING_WATERED], types == name)
                at = ("batteries", name, "watering", "time")
                yield from self._finding("watering a battery", name, water, _mean(law), at)
            stated = battery.charge_time_min
            timed = Timed(self.charges, (charged == name) & np.isfinite(lasts), lasts, "charge")
            at = ("batteries", name, "charge_time")
            yield from self._finding("charge", name, timed, _mean(stated), at, BY_CURVE * (stated is None))

    def ways(self) -> Iterator[Finding]:
        """Ways to the room by group: a mean, which a scenario states as a distance and a speed."""
        groups = self.sources.group_of(self.steps)
        for number, group in enumerate(self.sources.groups):
            timed = self._steps(WAY, groups == group.group)
            way = group.to_room
            stated = way.distance_m / way.speed_m_per_min if way is not None else 0.0
            for found in self._finding("way to the room", group.group, timed, stated, ()):
                if way is None or not way.distance_m:
                    yield found
                    continue
                speed = Interval(*(way.distance_m / end for end in (found.mean.mean, found.mean.high, found.mean.low)))
                at: Path = ("trucks", number, "to_room", "speed")
                yield found.written(at, Measured({"value": speed}), "speed")

    def runs(self) -> Iterator[Finding]:
        """Working time on one battery, of groups that state it."""
        rows = self.sources.of("trucks")
        of, lasts = self.sources.group_of(rows), floats(rows, "worked_min")
        for number, group in enumerate(self.sources.groups):
            if group.run_time_min is not None:
                timed = Timed(rows, (of == group.group) & np.isfinite(lasts), lasts, "run")
                path: Path = ("trucks", number, "run_time")
                yield from self._finding("run on one battery", group.group, timed, group.run_time_min.mean, path)

    def _steps(self, step: str, those: Flags) -> Timed:
        """Timings of a step that is no part of an exchange."""
        lasts = floats(self.steps, "duration_min")
        return Timed(self.steps, those & (words(self.steps, "step") == step) & np.isfinite(lasts), lasts, "timing")

    def _finding(
        self,
        what: str,
        of: str,
        timed: Timed,
        stated: float | None,
        path: Path,
        remark: str = "",
        *,
        shared: bool = False,
    ) -> Iterator[Finding]:
        """What is found of durations, unless they are too few for anything."""
        cut = timed.censored
        if (timed.those & ~cut).sum() < FEWEST:
            return
        fitted = fit(timed.values[timed.those], censored=cut[timed.those], confidence=self.confidence)
        yield Finding(
            what=what, of=of, dimension="duration", measured=measured_law(fitted, shared=shared), mean=fitted.mean,
            stated=stated, rows=fitted.seen, row=timed.row, path=() if remark else path, fitted=fitted,
            depends=depends_on(self.sources, timed, f"times of '{what}'"), remark=remark,
        )  # fmt: skip


def _mean(law: DurationLaw | None) -> float | None:
    """Mean of a law that may not be stated. [min]"""
    return None if law is None else law.mean


def depends_on(sources: Sources, timed: Timed, what: str) -> tuple[Dependence, ...]:
    """What values hang on: the clear ones."""
    rows, values = timed.rows[timed.those], timed.values[timed.those]
    tests = []
    if "start_min" in rows:
        start = floats(rows, "start_min")
        order = np.argsort(start, kind="stable")
        tests += [
            differs_over_day(values, start % MINUTES_A_DAY / MINUTES_AN_HOUR, what),
            differs_over_weeks(values, start / MINUTES_A_WEEK, what),
            like_the_one_before(values[order], what),
        ]
    groups = sources.group_of(rows)
    if len(set(groups.tolist()) - {""}) > 1:
        tests.append(differs_between(values[groups != ""], groups[groups != ""], what, "truck groups"))
    return tuple(test for test in tests if test.p < CLEAR)
