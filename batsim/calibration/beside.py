"""A layout simulated over weeks of a log and set beside what was measured in them."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property, partial
from math import ceil
from typing import Any, NamedTuple

import numpy as np

from batsim.calibration.candidates import Otherwise, otherwise
from batsim.calibration.compared import INSIDE, Compared, predicted
from batsim.calibration.course import HOUR, Course, Key, course, log_measures
from batsim.calibration.log import Log
from batsim.calibration.log_weeks import in_calendar, weeks_text
from batsim.calibration.logs_of import logs_of
from batsim.display import Frame, Shows, frame_of, listed
from batsim.errors import require
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.reading import changed
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats, simultaneous
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import Job
from batsim.study.running.runs import interval_json, plain

DAYS_A_WEEK = 7
NEARLY_ALL = 0.98
"""Share of the rows below which it is told that counts are too low. [-]"""


class Stated(NamedTuple):
    """What a run of some weeks has otherwise than its scenario, as a job carries it."""

    layout: str
    paths: str
    """Values by path as JSON; nothing when empty."""
    first_monday: date
    """Day on which its week 1 begins."""
    otherwise: Otherwise | None = None


def stated(scenario: Scenario, change: Stated) -> Scenario:
    """Scenario of a run: with other values, in the weeks of the log, with one input otherwise."""
    made = changed(scenario, json.loads(change.paths)) if change.paths else scenario
    made = in_calendar(made, change.first_monday)
    return made if change.otherwise is None else otherwise(made, change.layout, change.otherwise)


def course_of_run(record: Record, scenario: Scenario, weeks: Sequence[int]) -> Course:
    """Course of some weeks of a run, counted from its first measured one."""
    return course(logs_of(record), weeks, scenario)


@dataclass(frozen=True, repr=False)
class Beside(Shows):
    """A layout as it was simulated, beside what logs say of the same weeks."""

    schedule: Schedule
    """What was run; its layout is the one of the logs."""
    first_monday: date
    """Day from which the logs count their weeks."""
    weeks: tuple[int, ...]
    """Numbers of the weeks in the logs, from 0."""
    measured: Course
    simulated: Mapping[Key, Floats]
    """One value for each replication."""
    changes: tuple[str, ...] = ()
    """Draws of inputs, one for each replication, as JSON; none where all replications are of the scenario as it is."""
    notes: tuple[str, ...] = ()
    """What the logs leave open, in sentences."""

    @property
    def layout(self) -> str:
        """Name of the layout."""
        return self.schedule.layouts[0]

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.schedule.scenario.site.name}: {self.layout} beside its logs, {self.weeks_in_words}"

    @property
    def weeks_in_words(self) -> str:
        """The weeks as people count them, such as `weeks 9-12 of 2024`."""
        return weeks_text(self.first_monday, self.weeks)

    @cached_property
    def compared(self) -> tuple[Compared, ...]:
        """Every number that the logs and the runs tell.

        Limits of the numbers that decide hold together (Bonferroni), and so do those of all hours of one measure.
        """
        keys = [key for key in self.measured if key in self.simulated]
        deciding = sum(_decides(key) for key in keys)
        found = []
        for measure, where in keys:
            hours = sum(other == measure and place.cut == HOUR for other, place in keys)
            together = hours if where.cut == HOUR else deciding
            confidence = simultaneous(self.schedule.confidence, together)
            interval = predicted(self.simulated[measure, where], confidence)
            key = (measure, where)
            found.append(Compared(measure, where, self.measured[key], interval, _decides(key)))
        return tuple(found)

    @cached_property
    def deciding(self) -> tuple[Compared, ...]:
        """Numbers that decide the verdict."""
        return tuple(each for each in self.compared if each.decides)

    @cached_property
    def gaps(self) -> tuple[Compared, ...]:
        """Those of them that the model does not give, the widest gap first."""
        missed = [each for each in self.deciding if each.verdict != INSIDE]
        return tuple(sorted(missed, key=lambda each: -abs(each.gap_in_half_widths)))

    @property
    def gaps_first(self) -> tuple[Compared, ...]:
        """Numbers that decide, those that the model does not give first."""
        return (*self.gaps, *(each for each in self.deciding if each.verdict == INSIDE))

    @property
    def given(self) -> tuple[str, ...]:
        """What the model gives wherever it decides, in short."""
        return tuple(dict.fromkeys(each.about.short for each in self.deciding if each.measure not in self.missed))

    @property
    def missed(self) -> tuple[str, ...]:
        """Measures that it does not give everywhere, the widest gap first."""
        return tuple(dict.fromkeys(each.measure for each in self.gaps))

    @property
    def holds(self) -> bool:
        """Whether the model gives all numbers that decide."""
        return not self.gaps

    @cached_property
    def worst_hours(self) -> dict[str, Compared]:
        """By measure the hour of the day in which the gap is widest, in half-widths."""
        worst: dict[str, Compared] = {}
        for each in self.compared:
            if each.where.cut == HOUR:
                other = worst.get(each.measure, each)
                worst[each.measure] = max(other, each, key=lambda one: abs(one.gap_in_half_widths))
        return worst

    @property
    def verdict(self) -> str:
        """Sentences on what the model gives and what it does not."""
        if self.schedule.replications < 2:
            return "One replication carries no verdict; take at least two."
        if not self.deciding:
            return "The logs and the runs have nothing in common that would carry a verdict."
        gives = f"The model gives {listed(self.given) or 'nothing'} of {self.weeks_in_words}"
        if self.holds:
            count = f"{len(self.deciding)} numbers, {100.0 * self.schedule.confidence:g} % simultaneous"
            return f"{gives} ({count})."
        return " ".join([f"{gives}.", *map(self._told, self.missed)])

    def _told(self, measure: str) -> str:
        """Say what was measured and what the model gives, where the gap is widest and in which hour."""
        widest, *others = (each for each in self.gaps if each.measure == measure)
        hour = self.worst_hours.get(measure)
        also = f"; nor {listed([each.where.text or 'all together' for each in others])}" if others else ""
        most = "" if hour is None or hour.verdict == INSIDE else f"; widest from {hour.against}"
        return f"Not given: {widest.sentence}{also}{most}."

    @property
    def note(self) -> str:
        """What the logs leave open."""
        return " ".join(self.notes)

    @property
    def frame(self) -> Frame:
        """Tidy table: measure, cut, where, measured, simulated, low, high, gap, verdict, decides, unit."""
        return frame_of(
            [
                (each.measure, each.where.cut, each.where.name, each.measured, *each.simulated.interval,
                 each.gap, each.verdict, each.decides, each.about.unit)
                for each in self.compared
            ],
            columns=["measure", "cut", "where", "measured", "simulated", "low", "high", "gap", "verdict", "decides",
                     "unit"],
        )  # fmt: skip

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is not a number becomes null."""
        return {
            **self.schedule.as_json(),
            "layout": self.layout,
            "first_monday": self.first_monday.isoformat(),
            "weeks_of_the_log": list(self.weeks),
            "measures": [
                {"measure": each.measure, "cut": each.where.cut, "where": each.where.name,
                 "measured": plain(each.measured), "simulated": interval_json(each.simulated.interval),
                 "gap": plain(each.gap), "verdict": each.verdict, "decides": each.decides, "unit": each.about.unit}
                for each in self.compared
            ],
            "holds": self.holds,
            "verdict": self.verdict,
            "notes": list(self.notes),
        }  # fmt: skip


def beside(
    scenario: Scenario,
    layout: str,
    logs: Mapping[str, Log],
    weeks: Collection[int],
    changes: Sequence[Mapping[str, object]] = (),
    settings: Settings = Settings(),
) -> Beside:
    """Simulate a layout over weeks of a log, and set it beside what was measured in them.

    Parameters
    ----------
    scenario
        The site, with what was fitted on other weeks.
    layout
        Name of the layout that was there.
    logs
        Logs by kind, all counted from the same first Monday.
    weeks
        Numbers of the weeks that are looked at, from 0; runs are as long as from the first to the last of them.
    changes
        Draws of the fitted inputs, each values by path; one replication is run of each.
    settings
        What is run, in place of what the scenario says; the weeks are those of the logs.

    Returns
    -------
    Beside
        Each number measured, simulated and whether it lies inside, with a verdict.

    Raises
    ------
    ValueError
        When no weeks are named, or logs count their weeks from different Mondays.
    ScenarioError
        When the layout is not in the scenario, a path leads nowhere, or a number is out of range.
    """
    first_monday, weeks = _first_monday(logs), sorted(set(weeks))
    require(weeks and weeks[0] >= 0, "needs the numbers of the weeks that are looked at, from 0")
    schedule = _schedule(scenario, layout, weeks, len(changes), settings)
    measured = course({kind: log.rows for kind, log in logs.items()}, weeks, in_calendar(scenario, first_monday))
    texts = tuple(json.dumps(change) for change in changes)
    plan = Beside(schedule, first_monday, tuple(weeks), measured, {}, texts, tuple(_notes(logs)))
    (runs,) = courses(plan, [None], schedule.replications, settings)
    simulated = {key: np.array([run.get(key, np.nan) for run in runs]) for key in measured}
    told = {key: values for key, values in simulated.items() if np.sum(np.isfinite(values)) > 1}
    return replace(plan, simulated=told)


def courses(
    plan: Beside, inputs: Iterable[Otherwise | None], replications: int, settings: Settings
) -> list[list[Course]]:
    """Run the weeks with one input otherwise after another; each from the same random numbers."""
    monday = plan.first_monday + timedelta(days=DAYS_A_WEEK * plan.weeks[0])
    schedule, draws = plan.schedule, plan.changes or ("",) * replications
    studied = [
        [
            Job(
                plan.layout, number, schedule.seed, schedule.length_min, schedule.warm_up_min,
                changes=Stated(plan.layout, draws[number], monday, each), by_calendar=True,
            )
            for number in range(replications)
        ]
        for each in inputs
    ]  # fmt: skip
    take = partial(course_of_run, weeks=tuple(week - plan.weeks[0] for week in plan.weeks))
    return run_each([schedule.scenario], studied, settings, take=take, change=stated)


def _decides(key: Key) -> bool:
    """Whether a number is one of those that decide."""
    measure, where = key
    return where.cut in log_measures()[measure].deciding


def _first_monday(logs: Mapping[str, Log]) -> date:
    """The Monday from which all logs count."""
    mondays = {log.first_monday for log in logs.values() if log.first_monday is not None}
    require(len(mondays) == 1, "logs must count their weeks from one Monday; read each with the same first_monday")
    return mondays.pop()


def _schedule(scenario: Scenario, layout: str, weeks: Sequence[int], draws: int, settings: Settings) -> Schedule:
    """Settle what is run: the layout alone, after a warm-up of whole weeks, as long as the weeks of the logs."""
    own = replace(settings, layouts=layout, weeks=float(weeks[-1] - weeks[0] + 1))
    schedule = replace(own, replications=draws or own.replications).schedule(scenario)
    return replace(schedule, warm_up_min=ceil(schedule.warm_up_weeks) * WEEK_MIN)


def _notes(logs: Mapping[str, Log]) -> Iterable[str]:
    """Sentences on rows that were left out, and on silent loggers."""
    for kind, log in logs.items():
        if log.used_share < NEARLY_ALL:
            yield f"Of the {kind}, {100.0 * log.used_share:.3g} % of the rows are used: counts a day are too low."
        if log.gaps:
            hours = sum(gap.usual_h for gap in log.gaps)
            yield f"The log of {kind} is silent for {hours:.0f} h in which there usually are rows."
