"""The plan: everything that an adviser hands over for one layout or all, from one call."""

import dataclasses
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import pandas as pd

from batsim.catalogue import FIGURES
from batsim.display import Shows
from batsim.plan.advice import UsualChoice, usual_choice
from batsim.plan.cautions import cautions
from batsim.plan.checks import FAILS, VERDICTS, Check, ordered
from batsim.plan.conversion import PartChange, conversion
from batsim.plan.draft import draft_of
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.evidence import Evidence, evidence
from batsim.plan.lots import LotOutlook, lot_outlooks
from batsim.plan.money import Payback, YearlyCost, payback
from batsim.plan.possible import impossible_layouts, why
from batsim.plan.seen import Seen, seen
from batsim.plan.supply import SupplyPlan, held_back, supply
from batsim.plan.survey import BATTERY_ROOM, named, spaces_of
from batsim.plan.ventilation import Ventilation
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.compare import COMPARED, Comparison
from batsim.study.limits import MISSED, TargetResult
from batsim.study.prices import Price, interest_of, life_of
from batsim.study.running.runs import plain
from batsim.study.sweeps.points import figures_asked
from batsim.study.waits import Waits

IN_ALL = "in all"
"""What stands before a sum."""


class Question(NamedTuple):
    """Something to find out on site."""

    ask: str
    path: str
    """Where the answer goes in the scenario."""
    changes: str
    """What it would change."""
    layouts: tuple[str, ...]


@dataclass(frozen=True)
class LayoutPlan:
    """The plan of one layout."""

    layout: str
    title: str
    in_truck: bool
    checks: tuple[Check, ...]
    """The gravest first."""
    equipment: tuple[EquipmentLine, ...]
    lots: tuple[LotOutlook, ...]
    """What becomes of each lot of batteries; nothing where lots are not told apart."""
    conversion: tuple[PartChange, ...]
    """Parts that change against the layout that is there today; none where the scenario names none, or for itself."""
    ventilations: tuple[Ventilation, ...]
    """Of each space in which batteries are charged, that of the battery room first."""
    supply: SupplyPlan
    money: YearlyCost
    payback: Payback | None
    """Against the layout that is there today; None where the scenario names none, or for itself."""
    advice: UsualChoice
    cautions: tuple[str, ...]
    targets: tuple[TargetResult, ...]
    evidence: Evidence

    @property
    def ventilation(self) -> Ventilation:
        """Ventilation of the battery room; of the building where all batteries are charged in the truck."""
        return self.ventilations[0]

    @property
    def failing(self) -> int:
        """Checks that fail."""
        return sum(check.verdict == FAILS for check in self.checks)

    @property
    def impossible(self) -> tuple[Check, ...]:
        """Checks that make it impossible; none where it can be used."""
        return tuple(check for check in self.checks if check.impossible)

    @property
    def verdicts(self) -> dict[str, int]:
        """Number of checks by verdict, the gravest first."""
        counted = Counter(check.verdict for check in self.checks)
        return {verdict: counted[verdict] for verdict in VERDICTS}

    @property
    def counts(self) -> str:
        """The same in words, those that there are."""
        return ", ".join(f"{number} x {verdict}" for verdict, number in self.verdicts.items() if number)

    @property
    def targets_missed(self) -> int:
        """Targets that are surely missed."""
        return sum(target.verdict == MISSED for target in self.targets)


@dataclass(frozen=True, repr=False)
class Plan(Shows):
    """Plans of the layouts of a scenario; `recommend` chooses one of them."""

    schedule: Schedule
    comparison: Comparison
    layouts: dict[str, LayoutPlan]
    figures: tuple[str, ...] = ()
    """Names of the figures of the catalogue that it rests on."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {', '.join(self.layouts)}"

    @property
    def scenario(self) -> Scenario:
        """The scenario."""
        return self.schedule.scenario

    @property
    def waits(self) -> Waits:
        """Waits of every exchange in the planned layouts."""
        planned = dataclasses.replace(self.schedule, layouts=tuple(self.layouts))
        waits = {
            name: tuple(run.waits_min for run in layout.evidence.replications) for name, layout in self.layouts.items()
        }
        return Waits(planned, waits)

    def seen(self, layout: str, workers: int | None = None) -> Seen:
        """Simulate once more what a report shows: a layout's room over a week, the worst hour, hours that are lost."""
        return seen(self.schedule, layout, workers)

    def conversion(self, before: str, after: str) -> tuple[PartChange, ...]:
        """Parts that change where one planned layout takes the place of another; a KeyError where it is not planned."""
        return conversion(self.layouts[before].equipment, self.layouts[after].equipment)

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        """What to find out on site, each once, and what it would change."""
        questions: dict[str, Question] = {}
        for name, layout in self.layouts.items():
            for check in layout.checks:
                if check.ask:
                    before = questions.get(check.ask, Question(check.ask, check.path, check.changes, (name,)))
                    changes = "" if check.changes in before.changes else f"; {check.changes}"
                    layouts = tuple(dict.fromkeys((*before.layouts, name)))
                    questions[check.ask] = before._replace(changes=before.changes + changes, layouts=layouts)
        return (*questions.values(), *self._other_questions())

    def _other_questions(self) -> Iterator[Question]:
        """What no check asks for: what is there today, whose prices."""
        names = tuple(self.layouts)
        if self.scenario.present is None:
            yield Question("say which layout is there today", "present", "payback against doing nothing", names)
        elif self.scenario.calibration_of_today is None:
            ask, changes = "ask for records of exchanges and charges of some weeks", "what is saved against today"
            yield Question(ask, "calibration", changes, names)
        if any(layout.money.placeholders for layout in self.layouts.values()):
            changes = "every cost that is marked *"
            yield Question("ask for quotations, wages and tariff", "prices", changes, names)

    @property
    def checks_frame(self) -> pd.DataFrame:
        """All checks: layout and the fields of a check."""
        rows = [(name, *check) for name, each in self.layouts.items() for check in each.checks]
        return pd.DataFrame(rows, columns=["layout", *Check._fields])

    @property
    def equipment_frame(self) -> pd.DataFrame:
        """All equipment lists, a row for each line and their sum; prices rounded to what is known, in the currency."""
        rows: list[dict[str, Any]] = []
        for name, layout in self.layouts.items():
            for line in layout.equipment:
                price, cost = line.price.as_quoted, line.cost.as_quoted
                rows.append({"layout": name, **line.row, **_columns("price", price), **_columns("cost", cost)})
                rows[-1]["placeholder"] = price.placeholder
            in_all = layout.money.purchase.as_quoted
            sums = {"layout": name, "item": IN_ALL, **_columns("cost", in_all), "placeholder": in_all.placeholder}
            rows.append(dict.fromkeys(rows[-1] if layout.equipment else sums, "") | sums)
        return pd.DataFrame(rows)

    @property
    def money_frame(self) -> pd.DataFrame:
        """What each layout costs in a year, a row for each line and their sum, rounded to what is known."""
        rows = [
            (name, what, *per_year.rounded, basis)
            for name, each in self.layouts.items()
            for what, per_year, basis in (
                *((line.what, line.per_year, line.basis) for line in each.money.lines),
                (IN_ALL, each.money.per_year, ""),
            )
        ]
        return pd.DataFrame(rows, columns=["layout", "what", "per_year", "low", "high", "placeholder", "basis"])

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is no number is None."""
        layouts = {name: _layout_json(layout) for name, layout in self.layouts.items()}
        data: dict[str, Any] = _plain_data({"layouts": layouts, "questions": self.questions})
        return {**self.schedule.as_json(), "currency": self.scenario.site.currency, **data}


def plan_layouts(scenario: Scenario, settings: Settings = Settings()) -> Plan:
    """Plan layouts of a scenario: checks, equipment, ventilation, supply, money, cautions, open questions.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    settings
        What is run, in place of what the scenario says.

    Returns
    -------
    Plan
        One plan for each layout, tables and plain data.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, or a number is out of range.
    """
    schedule = settings.schedule(scenario)
    present, wanted = scenario.present, schedule.layouts
    if present is not None and present not in wanted:  # payback needs it too
        schedule = dataclasses.replace(schedule, layouts=(*wanted, present))
    evidences = evidence(schedule, settings)
    asked: set[str] = set()
    noting = scenario.with_figures(scenario.figures.noting(asked))
    drafts = {name: draft_of(noting, evidences[name]) for name in schedule.layouts}
    tried = held_back(evidences, dataclasses.replace(schedule, scenario=noting), wanted, settings)
    comparison = comparison_of(evidences, {name: draft.money.at_equal_work.value for name, draft in drafts.items()})
    plans = {}
    for name in wanted:
        draft, resolved = drafts[name], noting.in_layout(name)
        supplied = supply(resolved, name, evidences[name], *tried[name])
        back = None
        changes: tuple[PartChange, ...] = ()
        if present is not None and present != name:
            horizon_years, interest = life_of(noting, "device", "").value, interest_of(noting, "device", "")
            back = payback(draft.money, drafts[present].money, present, horizon_years, interest)
            checked = scenario.calibration_of_today
            back = back._replace(against_records=checked is not None and checked.holds)
            changes = conversion(drafts[present].equipment, draft.equipment)
        plans[name] = LayoutPlan(
            layout=name,
            title=_title(scenario, name),
            in_truck=BATTERY_ROOM not in spaces_of(resolved, name),
            checks=ordered((*draft.checks, *supplied.checks)),
            equipment=draft.equipment,
            lots=lot_outlooks(evidences[name]),
            conversion=changes,
            ventilations=draft.ventilations,
            supply=supplied,
            money=draft.money,
            payback=back,
            advice=usual_choice(resolved, name),
            cautions=cautions(resolved, name),
            targets=tuple(comparison.targets(name)),
            evidence=evidences[name],
        )
    used = asked | figures_asked(scenario, schedule.layouts)
    return Plan(schedule, comparison, plans, tuple(figure.name for figure in FIGURES.values() if figure.name in used))


def _title(scenario: Scenario, layout: str) -> str:
    """Titles of the arrangements of a layout, each with its area where there are several."""
    areas = scenario.areas_of(layout).items()
    return "; ".join(named(area, site.arrangement(layout).title) for area, site in areas)


def comparison_of(
    evidences: dict[str, Evidence], costs: dict[str, float], measures: tuple[str, ...] = COMPARED
) -> Comparison:
    """Compare layouts by what the simulation says of them and by what each costs in a year."""
    runs, *seasons = (part.runs for part in next(iter(evidences.values())).parts)
    of_seasons = dict(zip(runs.schedule.seasons, seasons, strict=True))
    impossible = impossible_layouts(runs.scenario, runs.layouts)
    return Comparison(runs, measures, of_seasons, impossible, costs)


def _layout_json(layout: LayoutPlan) -> dict[str, Any]:
    """Data of one layout; named tuples in it become blocks of keys."""
    supplied, cost = layout.supply, layout.money
    return {
        "title": layout.title,
        "impossible": why(layout.impossible) if layout.impossible else None,
        "targets": layout.targets,
        "checks": layout.checks,
        "equipment": [{**line.row, "price": line.price, "cost": line.cost} for line in layout.equipment],
        "lots": layout.lots,
        "conversion": layout.conversion,
        "ventilation": _air_json(layout.ventilation),
        "ventilations": {air.space_name: _air_json(air) for air in layout.ventilations},
        "supply": _without_checks(supplied)
        | {"all_at_once_kw": supplied.all_at_once_kw, "all_at_once_kva": supplied.all_at_once_kva},
        "money": {
            "per_year": cost.per_year,
            "per_exchange": cost.per_exchange,
            "at_equal_work": cost.at_equal_work,
            "per_truck_hour": cost.per_truck_hour,
            "purchase": cost.purchase,
            "lines": [{"what": line.what, "per_year": line.per_year, "basis": line.basis} for line in cost.lines],
            "placeholders": cost.placeholders,
        },
        "payback": layout.payback,
        "advice": layout.advice,
        "cautions": layout.cautions,
    }


def _air_json(air: Ventilation) -> dict[str, Any]:
    """Data of the ventilation of one space."""
    return _without_checks(air) | {"flow_m3_per_h": air.flow_m3_per_h}


def _columns(what: str, price: Price) -> dict[str, float]:
    """A price and its range in columns of a table."""
    return {what: price.value, f"{what}_low": price.low, f"{what}_high": price.high}


def _without_checks(part: Ventilation | SupplyPlan) -> dict[str, Any]:
    return {key: value for key, value in vars(part).items() if key != "checks"}


def _plain_data(value: Any) -> Any:  # noqa: ANN401 - whatever a plan holds
    """Plain data as JSON can hold it."""
    if hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, dict):
        return {key: _plain_data(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_data(entry) for entry in value]
    return plain(value) if isinstance(value, float) else value
