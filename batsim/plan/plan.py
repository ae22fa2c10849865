"""The plan: everything that an adviser hands over for one layout or all, from one call."""

import dataclasses
import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.catalogue import asked_for, figures
from batsim.display import Shows
from batsim.plan.advice import Advice, advice
from batsim.plan.cautions import cautions
from batsim.plan.checks import FAILS, VERDICTS, Check, ordered
from batsim.plan.equipment import SECTIONS, Line, equipment_list
from batsim.plan.evidence import Evidence, evidence
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.handling_force import push_checks
from batsim.plan.money import Money, Payback, money, payback
from batsim.plan.room_fit import room_checks
from batsim.plan.supply import Supply, held_back, supply
from batsim.plan.ventilation import Ventilation, ventilation
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.compare import Comparison, TargetResult
from batsim.study.room_over import RoomOver, room_over
from batsim.study.running.replications import Settings, plain, settings
from batsim.study.sweeps.points import figures_asked
from batsim.study.waits import Waits

if TYPE_CHECKING:
    import pandas as pd

    from batsim.scenario.site import Scenario
    from batsim.study.running.executors import Progress


ROOM_REPLICATIONS = 5
"""Replications that a picture of the room needs at most."""


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
    equipment: tuple[Line, ...]
    ventilation: Ventilation
    supply: Supply
    money: Money
    payback: Payback | None
    """Against the layout that is there today; None where the scenario names none, or for itself."""
    advice: Advice
    cautions: tuple[str, ...]
    targets: tuple[TargetResult, ...]
    evidence: Evidence

    @property
    def failing(self) -> int:
        """Checks that fail."""
        return sum(check.verdict == FAILS for check in self.checks)

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
        return sum(each.verdict == "missed" for each in self.targets)


@dataclass(frozen=True, repr=False)
class Plan(Shows):
    """Plans of the layouts of a scenario; `recommend` chooses one of them."""

    settings: Settings
    comparison: Comparison
    layouts: dict[str, LayoutPlan]
    figures: tuple[str, ...] = ()
    """Names of the figures of the catalogue that it rests on."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {', '.join(self.layouts)}"

    @property
    def scenario(self) -> "Scenario":
        """The scenario."""
        return self.settings.scenario

    @property
    def waits(self) -> Waits:
        """Waits of every exchange in the planned layouts."""
        mine = dataclasses.replace(self.settings, layouts=tuple(self.layouts))
        each = {name: tuple(taken.waits_min for taken in one.evidence.taken) for name, one in self.layouts.items()}
        return Waits(mine, each)

    def room(self, layout: str, workers: int | None = None) -> RoomOver | None:
        """Simulate a layout once more and keep its room; None where less than a week is measured."""
        weeks = math.floor(self.settings.length_min / WEEK_MIN)
        if weeks < 1:
            return None
        stated = self.settings
        return room_over(
            stated.scenario,
            layout,
            replications=min(stated.replications, ROOM_REPLICATIONS),
            weeks=weeks,
            warm_up_weeks=stated.warm_up_min / WEEK_MIN,
            seed=stated.seed,
            workers=workers,
        )

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        """What to find out on site, each once, and what it would change."""
        found: dict[str, Question] = {}
        for name, each in self.layouts.items():
            for check in each.checks:
                if check.ask:
                    before = found.setdefault(check.ask, Question(check.ask, check.path, check.changes, (name,)))
                    known = check.changes in before.changes
                    changes = before.changes if known else f"{before.changes}; {check.changes}"
                    layouts = tuple(dict.fromkeys((*before.layouts, name)))
                    found[check.ask] = before._replace(changes=changes, layouts=layouts)
        return (*found.values(), *self._other_questions())

    def _other_questions(self) -> list[Question]:
        """What no check asks for: what is there today, whose prices."""
        asked, names = [], tuple(self.layouts)
        if self.scenario.present is None:
            ask = "say which layout is there today"
            asked.append(Question(ask, "present", "payback against doing nothing", names))
        if any(each.money.placeholders for each in self.layouts.values()):
            ask = "ask for quotations, wages and tariff"
            asked.append(Question(ask, "prices", "every figure of the money that is marked", names))
        return asked

    @property
    def checks_frame(self) -> "pd.DataFrame":
        """All checks: layout and the fields of a check."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        rows = [(name, *check) for name, each in self.layouts.items() for check in each.checks]
        return pd.DataFrame(rows, columns=["layout", *Check._fields])

    @property
    def equipment_frame(self) -> "pd.DataFrame":
        """All equipment lists, a row for each line; prices in the currency of the site."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        rows = [
            (
                name, SECTIONS[line.section], line.item, line.size, line.number, line.owned, line.to_order, line.reason,
                line.price.value, line.cost.value, line.price.placeholder,
            )
            for name, each in self.layouts.items()
            for line in each.equipment
        ]  # fmt: skip
        columns = ["layout", "section", "item", "size", "number", "owned", "to_order", "reason"]
        return pd.DataFrame(rows, columns=[*columns, "price", "cost", "placeholder"])

    @property
    def money_frame(self) -> "pd.DataFrame":
        """What each layout costs in a year, a row for each line, in the currency of the site."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        rows = [
            (name, line.what, *line.per_year, line.basis)
            for name, each in self.layouts.items()
            for line in each.money.lines
        ]
        return pd.DataFrame(rows, columns=["layout", "what", "per_year", "low", "high", "placeholder", "basis"])

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`; what is no number is None."""
        data: dict[str, Any] = _plain_data(
            {
                **self.settings.as_json(),
                "currency": self.scenario.site.currency,
                "layouts": {name: _layout_json(each) for name, each in self.layouts.items()},
                "questions": [each._asdict() for each in self.questions],
            }
        )
        return data


def plan_layouts(
    scenario: "Scenario",
    layouts: "list[str] | tuple[str, ...] | str | None" = None,
    *,
    replications: int | None = None,
    weeks: float | None = None,
    warm_up_weeks: float | None = None,
    seed: int | None = None,
    workers: int | None = None,
    progress: "Progress | None" = None,
) -> Plan:
    """Plan layouts of a scenario: checks, equipment, ventilation, supply, money, cautions, open questions.

    Parameters
    ----------
    scenario, layouts, replications, weeks, warm_up_weeks, seed, workers, progress
        As in `run`.

    Returns
    -------
    Plan
        One plan for each layout, tables and plain data.

    Raises
    ------
    ScenarioError
        When a layout is not in the scenario, or a number is out of range.
    """
    stated = settings(scenario, layouts, replications, weeks, warm_up_weeks, seed)
    present = scenario.present
    wanted = stated.layouts
    if present is not None and present not in wanted:
        stated = settings(
            scenario, (*wanted, present), replications, weeks, warm_up_weeks, seed
        )  # payback needs it too
    found = evidence(stated, workers, progress)
    comparison = Comparison(next(iter(found.values())).runs)
    with asked_for() as asked:
        costs = {name: _money(scenario, name, found[name]) for name in stated.layouts}
        tried = held_back(found, stated, wanted, workers)
        plans = {}
        for name in wanted:
            back = None
            if present is not None and present != name:
                horizon = scenario.prices.lives.device_years
                back = payback(costs[name][0], costs[present][0], present, horizon)
            supplied = supply(scenario, name, found[name], *tried[name])
            plans[name] = _planned(scenario, name, found[name], costs[name], back, comparison, supplied)
    used = asked | figures_asked(scenario, stated.layouts)
    return Plan(stated, comparison, plans, tuple(each.name for each in figures() if each.name in used))


def _checks(scenario: "Scenario", layout: str, ventilated: Ventilation) -> tuple[Check, ...]:
    """All checks but that of the supply, each once."""
    each = (
        *truck_checks(scenario, layout),
        *equipment_checks(scenario, layout),
        *push_checks(scenario, layout),
        *room_checks(scenario, layout),
        *ventilated.checks,
    )
    return tuple(dict.fromkeys(each))


def _money(
    scenario: "Scenario", layout: str, found: Evidence
) -> tuple[Money, tuple[Line, ...], tuple[Check, ...], Ventilation]:
    """Checks, equipment and money of a layout."""
    ventilated = ventilation(scenario, layout, found)
    checks = _checks(scenario, layout, ventilated)
    lines = equipment_list(scenario, layout, checks, ventilated.flow_m3_per_h)
    return money(scenario, layout, found, lines), lines, checks, ventilated


def _planned(
    scenario: "Scenario",
    layout: str,
    found: Evidence,
    costs: tuple[Money, tuple[Line, ...], tuple[Check, ...], Ventilation],
    back: Payback | None,
    comparison: Comparison,
    supplied: Supply,
) -> LayoutPlan:
    """Put the plan of a layout together."""
    spent, lines, checks, ventilated = costs
    arrangement = scenario.arrangement(layout)
    return LayoutPlan(
        layout,
        arrangement.title,
        arrangement.in_truck,
        ordered((*checks, *supplied.checks)),
        lines,
        ventilated,
        supplied,
        spent,
        back,
        advice(scenario, layout),
        cautions(scenario, layout),
        tuple(comparison.targets(layout)),
        found,
    )


def _layout_json(each: LayoutPlan) -> dict[str, Any]:
    """Plain data of one layout."""
    ventilated, supplied, spent = each.ventilation, each.supply, each.money
    return {
        "title": each.title,
        "targets": [target._asdict() for target in each.targets],
        "checks": [check._asdict() for check in each.checks],
        "equipment": [
            {
                "section": SECTIONS[line.section],
                "item": line.item,
                "size": line.size,
                "number": line.number,
                "owned": line.owned,
                "to_order": line.to_order,
                "reason": line.reason,
                "price": line.price._asdict(),
                "cost": line.cost._asdict(),
            }
            for line in each.equipment
        ],
        "ventilation": _data(ventilated, "checks", "gassing")
        | {"flow_m3_per_h": ventilated.flow_m3_per_h, "gassing": [one._asdict() for one in ventilated.gassing]},
        "supply": _data(supplied, "checks", "loads", "held_back")
        | {
            "all_at_once_kw": supplied.all_at_once_kw,
            "all_at_once_kva": supplied.all_at_once_kva,
            "loads": [load._asdict() for load in supplied.loads],
            "held_back": [way._asdict() for way in supplied.held_back],
        },
        "money": {
            "per_year": spent.per_year._asdict(),
            "per_exchange": spent.per_exchange._asdict(),
            "per_truck_hour": spent.per_truck_hour._asdict(),
            "purchase": spent.purchase._asdict(),
            "lines": [
                {"what": line.what, "per_year": line.per_year._asdict(), "basis": line.basis} for line in spent.lines
            ],
            "placeholders": list(spent.placeholders),
        },
        "payback": None if each.payback is None else each.payback._asdict(),
        "advice": each.advice._asdict(),
        "cautions": list(each.cautions),
    }


def _data(part: Ventilation | Supply, *left_out: str) -> dict[str, Any]:
    """Fields of a part; those that are named tuples as blocks of keys."""
    kept = {key: value for key, value in part.__dict__.items() if key not in left_out}
    return {key: value._asdict() if hasattr(value, "_asdict") else value for key, value in kept.items()}


def _plain_data(value: Any) -> Any:  # noqa: ANN401 - whatever a plan holds
    """Plain data as JSON can hold it."""
    if isinstance(value, dict):
        return {key: _plain_data(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain_data(each) for each in value]
    return plain(value) if isinstance(value, float) else value
