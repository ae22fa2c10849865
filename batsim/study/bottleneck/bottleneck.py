"""The bottleneck: how much downtime one more of each thing, or each lever, would save, and when in the week."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, islice
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, Shows, frame_of, listed
from batsim.measures.downtime import downtime_measures
from batsim.measures.profile import away_profile
from batsim.measures.windows import Floats, Measured
from batsim.record.record import Record
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Interval, simultaneous, student_interval
from batsim.study.bottleneck.time_windows import Concentration, concentration, shift_profiles, working_profile
from batsim.study.bottleneck.variants import LeftOut, Variant, lever_variants, variants
from batsim.study.differences import correlation, signed
from batsim.study.running.counts import with_counts
from batsim.study.running.executors import run_each
from batsim.study.running.jobs import jobs_of
from batsim.study.running.runs import DOWNTIME, interval_json, plain

CARRIED_SHARE = 0.75
"""Part of the gain of several things together, such as an attendant on every shift, above which one of them is named in
their bay: the others then cost at least as much again and bring at most a third of it."""
HIDDEN_SHARE = 0.05
"""Part of the downtime above which a gain that is neither clear nor ruled out is mentioned: less is no matter."""
COSTS = {
    "travel": "the ways to the room and back",
    "wait_station": "waits for a station",
    "wait_battery": "waits for a ready battery",
    "wait_bay": "waits for an empty bay",
    "wait_attendant": "waits for attendants",
    "wait_device": "waits for a device",
    "exchange": "the exchange itself",
    "charge_in_truck": "the charge in the truck itself",
    "watering": "maintenance for which trucks stand",
}
"""Causes of downtime in the words of a sentence."""


class LostTime(NamedTuple):
    """What is taken from a record here."""

    downtime: dict[str, float]
    """Downtime and its parts per truck-shift. [min]"""
    profile: Floats
    """Truck minutes lost in each quarter of an hour of a week. [min]"""


def lost_time(record: Record, _: Scenario) -> LostTime:
    """Downtime of a record, and when in the week it falls."""
    return LostTime(downtime_measures(Measured(record)), away_profile(record))


class Gain(NamedTuple):
    """What one more of a thing saves: downtime as it is less downtime with it, replication by replication."""

    variant: Variant
    lost: Sequence[LostTime]
    """With it, one for each replication."""
    interval: Interval
    """Minutes per truck-shift; the intervals of all variants hold together. [min]"""
    correlation: float
    """Between downtimes with and without it: what common random numbers have brought."""

    @property
    def what(self) -> str:
        """Such as `one more station`."""
        return self.variant.label

    @property
    def clear(self) -> bool:
        """True when the interval leaves out zero."""
        return self.interval.low > 0.0 or self.interval.high < 0.0

    def amount(self, verb: str) -> str:
        """Such as `one more station would save 1.2 ± 0.3`, without a sign."""
        comma = "," if "," in self.what else ""
        return f"{self.what}{comma} would {verb} {signed(self.interval).lstrip('+-')}"


@dataclass(frozen=True, repr=False)
class Bottleneck(Shows):
    """One layout as it is, and with one more of each thing, over paired replications."""

    schedule: Schedule
    layout: str
    things: Sequence[Variant]
    left_out: Sequence[LeftOut]
    """What was not tried, and why."""
    base: Sequence[LostTime]
    """The layout as it is, one for each replication."""
    more: Sequence[Sequence[LostTime]]
    """The same with each variant."""
    levers: Sequence[Variant] = ()
    """What may be done otherwise with nothing bought."""
    otherwise: Sequence[Sequence[LostTime]] = ()
    """The layout with each of them."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.sentence

    @cached_property
    def gains(self) -> tuple[Gain, ...]:
        """What one more of each thing saves, the greatest first; the intervals hold together (Bonferroni)."""
        return self._gains(self.things, self.more)

    @cached_property
    def lever_gains(self) -> tuple[Gain, ...]:
        """What each lever saves, the greatest first; these intervals hold together too."""
        return self._gains(self.levers, self.otherwise)

    def _gains(self, variants: Sequence[Variant], replications: Sequence[Sequence[LostTime]]) -> tuple[Gain, ...]:
        """What variants save, the greatest first."""
        confidence, before = simultaneous(self.schedule.confidence, len(variants)), _downtime(self.base)
        gains = []
        for variant, lost in zip(variants, replications, strict=True):
            interval = student_interval(before - _downtime(lost), confidence)
            gains.append(Gain(variant, lost, interval, correlation(before, _downtime(lost))))
        return tuple(sorted(gains, key=lambda gain: -gain.interval.mean))

    @cached_property
    def downtime(self) -> Interval:
        """Downtime of the layout as it is. [min per truck-shift]"""
        return student_interval(_downtime(self.base), self.schedule.confidence)

    @cached_property
    def saving(self) -> tuple[Gain, ...]:
        """What clearly saves downtime, the greatest gain first.

        Several things together are left out when one of them carries most of that gain.
        """
        saving = {gain.what: gain for gain in self.gains if gain.interval.low > 0.0}

        def of_a_part(gain: Gain) -> float:
            """Greatest gain of one of the things that it is made of."""
            parts = [saving[part].interval.mean for part in gain.variant.parts if part in saving]
            return max(parts, default=0.0)

        return tuple(gain for gain in saving.values() if of_a_part(gain) < CARRIED_SHARE * gain.interval.mean)

    @property
    def binding(self) -> Gain | None:
        """The bottleneck: what saves most, of what clearly saves downtime."""
        return self.saving[0] if self.saving else None

    @cached_property
    def rivals(self) -> tuple[Gain, ...]:
        """What cannot be told apart from the bottleneck, the best of each other kind and area.

        The paired differences of all that clearly saves downtime hold together (Bonferroni).
        """
        if self.binding is None:
            return ()
        confidence = simultaneous(self.schedule.confidence, len(list(combinations(self.saving, 2))))
        most, best = self.binding.variant, _downtime(self.binding.lost)
        kinds, rivals = {(most.area, most.kind)}, []
        for gain in self.saving[1:]:
            told_apart = student_interval(_downtime(gain.lost) - best, confidence).low > 0.0
            kind = (gain.variant.area, gain.variant.kind)
            if kind not in kinds and gain.what not in most.parts and not told_apart:
                rivals.append(gain)
            kinds.add(kind)
        return tuple(rivals)

    @cached_property
    def when(self) -> Concentration | None:
        """When in the week the bottleneck is felt, in the hours of its area; None when there is none."""
        if self.binding is None:
            return None
        pairs = zip(self.base, self.binding.lost, strict=True)
        gains = np.array([before.profile - after.profile for before, after in pairs])
        scenario = self.schedule.scenario
        site = scenario.areas_of(self.layout).get(self.binding.variant.area, scenario)
        return concentration(gains, working_profile(site), shift_profiles(site), self.schedule.confidence)

    @property
    def frame(self) -> Frame:
        """Tidy table: what, kind, gain_min_per_truck_shift, low, high, clear; things first, then levers."""
        return frame_of(
            [(gain.what, gain.variant.kind, *gain.interval, gain.clear) for gain in (*self.gains, *self.lever_gains)],
            columns=["what", "kind", "gain_min_per_truck_shift", "low", "high", "clear"],
        )

    @property
    def sentence(self) -> str:
        """The bottleneck, when it is felt and what one more would save; what costs most when there is none."""
        if self.schedule.replications < 2:
            return "One replication does not tell the bottleneck; take at least two."
        binding = self.binding
        first = self._none() if binding is None or self.when is None else self._named(binding, self.when)
        harm = [gain.amount("cost") for gain in self.gains if gain.interval.high < 0.0]
        parts = [first, f"{_capital(listed(harm))} min per truck-shift." if harm else "", self._nothing_bought()]
        return " ".join(part for part in parts if part)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is not a number becomes null."""
        return {**self.schedule.as_json(), "layouts": {self.layout: self.layout_json()}}

    def layout_json(self) -> dict[str, Any]:
        """Do the same without the settings."""
        when = self.when or Concentration((), "", np.nan)
        return {
            "unit": "min per truck-shift",
            "downtime": interval_json(self.downtime),
            "gains": [
                {"what": gain.what, **({"area": gain.variant.area} if gain.variant.area else {}),
                 **interval_json(gain.interval), "clear": gain.clear, "correlation": plain(gain.correlation)}
                for gain in self.gains
            ],
            "levers": [
                {"what": gain.what, **interval_json(gain.interval), "clear": gain.clear} for gain in self.lever_gains
            ],
            "left_out": [left_out._asdict() for left_out in self.left_out],
            "binding": [gain.what for gain in (self.binding, *self.rivals) if gain is not None],
            "windows": [{"clock": window.clock, "days": list(window.days)} for window in when.windows],
            "shift": when.shift or None,
            "share_of_gain": plain(when.share),
            "sentence": self.sentence,
        }  # fmt: skip

    def _named(self, binding: Gain, when: Concentration) -> str:
        """Say what the bottleneck is."""
        named = (binding, *self.rivals)
        things = listed([gain.variant.thing for gain in named], "or")
        apart = ", which cannot be told apart" if self.rivals else ""
        amounts = listed([gain.amount("save") for gain in named])
        confidence = f"{100 * self.schedule.confidence:g} % simultaneous"
        return (
            f"Bottleneck of layout '{self.layout}': {things}{apart}, {when.text}. "
            f"{_capital(amounts)} min per truck-shift ({confidence})."
        )

    def _nothing_bought(self) -> str:
        """Say what saves most with nothing bought; empty where nothing clearly does."""
        best = next((gain for gain in self.lever_gains if gain.interval.low > 0.0), None)
        if best is None:
            return ""
        return f"With nothing bought: to {best.amount('save')} min per truck-shift."

    def _none(self) -> str:
        """Say what costs most instead."""
        parts = {part: float(np.mean([lost.downtime[f"{part}_min_per_truck_shift"] for lost in self.base]))
                 for part in COSTS}  # fmt: skip
        start = f"No clear bottleneck in layout '{self.layout}'"
        most = max(parts, key=lambda part: parts[part])
        if not parts[most] > 0.0:
            return f"{start}: no truck loses any time to its battery."
        total = self.downtime.mean
        text = f"{start}: {parts[most]:.1f} of {total:.1f} min per truck-shift are {COSTS[most]}."
        hidden = max(self.gains, key=lambda gain: gain.interval.high, default=None)
        if hidden is None or not hidden.interval.high > HIDDEN_SHARE * total:
            return text
        comma = "," if "," in hidden.what else ""
        may_save = f"{_capital(hidden.what)}{comma} may still save up to {hidden.interval.high:.1f} min"
        return f"{text} {may_save}; more replications would tell."


def _downtime(replications: Iterable[LostTime]) -> Floats:
    """Downtime in each replication. [min per truck-shift]"""
    return np.array([lost.downtime[DOWNTIME] for lost in replications])


def _capital(text: str) -> str:
    """Begin a sentence."""
    return f"{text[0].upper()}{text[1:]}"


def bottleneck(scenario: Scenario, settings: Settings = Settings()) -> dict[str, Bottleneck]:
    """Find the bottleneck of layouts: each is simulated as it is, with one more of each thing and with each lever.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says.

    Returns
    -------
    dict of Bottleneck
        By layout: gains with their intervals, the bottleneck and when it is felt, a sentence, a tidy frame and plain
        data.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, or a number is out of range.
    """
    schedule = settings.schedule(scenario)
    tried = {
        layout: (*variants(schedule.scenario, layout), lever_variants(schedule.scenario, layout))
        for layout in schedule.layouts
    }
    studied = [
        jobs_of(schedule, layout, changes=counts)
        for layout, (things, _, levers) in tried.items()
        for counts in ("", *(variant.counts(layout) for variant in (*things, *levers)))
    ]
    results = iter(run_each([scenario], studied, settings, take=lost_time, change=with_counts))
    found = {}
    for layout, (things, left_out, levers) in tried.items():
        base, more, otherwise = next(results), list(islice(results, len(things))), list(islice(results, len(levers)))
        found[layout] = Bottleneck(schedule, layout, things, left_out, base, more, levers, otherwise)
    return found
