"""Who is served next: exchanges, connecting and maintenance, over all areas where the same people work.

Areas that share nobody have a service each. Order over areas: work laid down first; exchanges by the priority of the
truck group, then first come, first served over all queues; who cannot start is passed and keeps his place.
"""

from collections.abc import Sized
from itertools import count
from typing import TYPE_CHECKING

from batsim.record.words import CONNECTING, EXCHANGING, NO_ATTENDANT, NO_BATTERY, NOTHING, TASKS
from batsim.room.people.attendants import Attendants
from batsim.room.people.trucks_served import serve_trucks

if TYPE_CHECKING:
    from batsim.room.area import Area
    from batsim.room.on_charge.connecting import ConnectingDesk
    from batsim.room.queue import Queue
    from batsim.room.simulation import Room
    from batsim.room.truck import Truck
    from batsim.scenario.parts.rules import Rules


class Service:
    """Lets everyone who waits have what is free."""

    def __init__(self, areas: "list[Area]", crews: "list[Attendants]", rules: "Rules") -> None:
        self.areas, self.crews, self.rules = areas, crews, rules
        """Areas, and their attendants: those whom they share, and those of each area."""
        self.trucks_waiting = 0
        """Trucks that wait for an exchange, in all queues."""
        self.wanting: dict[Queue, None] = {}
        """Queues whose exchange lacks nothing before people; lesser jobs leave these to it."""
        self.coming = 0
        """Trucks on their way that were called early."""
        self.turns = count()
        """Numbers of those that begin to wait, trucks, batteries and jobs laid down, in the order in which they do."""
        for area in areas:
            area.service, area.serve = self, self.serve
        for crew in crews:
            crew.service = self

    def open(self) -> None:
        """Begin, when the areas have set up their desks."""
        exchanging = [area for area in self.areas if area.plan.exchange is not None]
        self.queues: list[Queue] = [queue for area in exchanging for queue in area.queues]
        """Queues for exchanges."""
        self.early = [area.exchange for area in exchanging if area.early]
        """Desks to which trucks may come early."""
        self._open_jobs([TASKS.index(task) for task in self.rules.priorities])

    def _open_jobs(self, order: list[int]) -> None:
        """Gather what waits for jobs beside exchanges, by the order of priorities."""
        self.usual_order = order[:2] == [EXCHANGING, CONNECTING]
        """Whether exchanges go before connecting, and connecting before all else."""
        queues = [
            (task, area.maintenance, queue) for area in self.areas for task, queue in area.maintenance.queues.items()
        ]
        self.maintenance = sorted(queues, key=lambda each: order.index(each[0]))
        """What there is of maintenance, by priority: the task, the desk, and the batteries that wait."""
        self.unmanned = [crew.unmanned for crew in self.crews if crew.hands_over]
        self.to_connect = [area.connecting.waiting for area in self.areas]
        self.trucks_served = [area.trucks_served for area in self.areas if area.plan.exchange is None]
        """What waits in each crew and area: work laid down, batteries for a person, trucks to be plugged in.

        Only of those where something ever may.
        """
        self.jobs: list[Sized] = [*self.to_connect, *(queue for _, _, queue in self.maintenance)]
        """Batteries that wait to be connected or maintained, in each area."""
        tasks = {EXCHANGING, CONNECTING, *(task for task, _, _ in self.maintenance)}
        self.order = [task for task in order if task in tasks]
        """Tasks by their priority; of maintenance only what there is."""
        self.lesser = frozenset(order[order.index(EXCHANGING) :])
        """Tasks that must leave people to exchanges."""

    def serve(self) -> None:
        """Let everyone who waits have what is free: work laid down first, then by the order of priorities."""
        if self.unmanned and any(self.unmanned):
            self._take_up()
        if not self.usual_order:
            if not all(map(self._serve, self.order)):
                return
        else:  # the same in the usual order, without a call for what nobody waits for
            if self.trucks_waiting and not self._serve_exchanges():
                return
            if any(self.jobs):
                self._serve_jobs()
        if self.early:
            self.call_early()
        if self.trucks_served and any(self.trucks_served):
            serve_trucks(self.areas)

    def call_early(self) -> None:
        """Send word to a truck at work that an exchange could start at once: to the one that has asked longest."""
        if self.coming:
            return
        asking = (truck for desk in self.early if not desk.area.trucks_waiting for truck in desk.early)
        for truck in sorted(asking, key=lambda each: each.turn):
            if truck.queue.desk.call(truck):
                return

    def _serve_jobs(self) -> None:
        """Connect, then maintain, what waits for it."""
        if any(self.to_connect):
            self._connect()
        for task, _, queue in self.maintenance:
            if queue:
                self._maintain(task)

    def _serve(self, task: int) -> bool:
        """Let those who wait for one task have what is free; False where lesser tasks must leave people to it."""
        if task == EXCHANGING:
            return not self.trucks_waiting or self._serve_exchanges()
        if task == CONNECTING:
            self._connect()
        else:
            self._maintain(task)
        return True

    def _serve_exchanges(self) -> bool:
        """Begin what exchanges can begin; False where they wait for people, whom lesser tasks must leave to them."""
        self.exchange()
        return not self.wanting or self.others_are_free()

    def exchange(self) -> None:
        """Start every exchange that can start: the longest waiting truck first, of those that can."""
        queues = self.queues
        while self.trucks_waiting:
            best: Truck | None = None
            causes = []
            for queue in queues:
                truck, cause = None, NOTHING
                if queue.waiting:
                    desk = queue.desk
                    truck, cause = desk.first(queue) if desk.by_drivers else queue.first(), NO_BATTERY
                if truck is not None and (best is None or _before(truck, best)):
                    cause = desk.lacks(queue, truck)
                    if cause == NOTHING:
                        best = truck
                causes.append(cause)
            if best is None:  # so every queue has been asked
                self._note(causes)
                return
            best.queue.desk.start_first(best)
        self.note_causes()

    def _note(self, causes: list[int]) -> None:
        """Write down what the queues lack."""
        for queue, cause in zip(self.queues, causes, strict=True):
            if queue.waiting or queue.cause:
                queue.desk.note(queue, cause)

    def _connect(self) -> None:
        """Connect what waits for a person, while there is one: the longest waiting battery first."""
        waiting = [area.connecting for area in self.areas if area.connecting.waiting]
        while waiting:
            desk = waiting[0] if len(waiting) == 1 else min(waiting, key=_turn)
            if self._leaves(CONNECTING, desk.area) or not desk.connect_first() or not desk.waiting:
                waiting.remove(desk)

    def _maintain(self, task: int) -> None:
        """Do what is due while an attendant is free: the longest waiting battery first."""
        waiting = [desk for kind, desk, queue in self.maintenance if kind == task and queue]
        while waiting:
            desk = waiting[0] if len(waiting) == 1 else min(waiting, key=lambda each: each.due_first_min(task))
            if self._leaves(task, desk.area) or not desk.begin_first(task) or not desk.queues[task]:
                waiting.remove(desk)

    def _leaves(self, task: int, area: "Area") -> bool:
        """Whether a task must leave all who are free in an area to exchanges that wait for people."""
        return bool(self.wanting) and task in self.lesser and not self.spares_one(area)

    def _take_up(self) -> None:
        """Have jobs that others have laid down taken up again, before anything new is begun."""
        waiting = [crew for crew in self.crews if crew.unmanned]
        while waiting:
            crew = min(waiting, key=lambda each: each.unmanned[0][0])
            if not crew.take_up_first() or not crew.unmanned:
                waiting.remove(crew)

    def note_causes(self) -> None:
        """Write down for every queue what its first truck waits for now."""
        for queue in self.queues:
            if queue.waiting or queue.cause:
                queue.desk.note_cause(queue)

    def note_gone(self) -> None:
        """Write down anew what the queues wait for, after somebody has gone off duty."""
        if self.trucks_waiting:
            self.note_causes()

    def note_waiting(self, queue: "Queue", cause: int) -> None:
        """Note that the cause of a queue has changed, and to what."""
        if cause == NO_ATTENDANT:
            self.wanting[queue] = None
        elif self.wanting:
            self.wanting.pop(queue, None)

    def others_are_free(self) -> bool:
        """Whether somebody is free whom no exchange that waits for people could use."""
        return any(crew.free for crew in self.crews) and any(map(self.spares_one, self.areas))

    def spares_one(self, area: "Area") -> bool:
        """Whether exchanges that wait for people leave somebody who works in an area to its lesser tasks.

        They leave those who do not work where they wait, and those without the skill that they ask of all.
        """
        if not self.wanting:
            return True
        crews = (area.attendants, area.attendants.others)
        free = [person for crew in crews if crew is not None for person in crew.free]
        return any(not any(queue.desk.could_use(person) for queue in self.wanting) for person in free)

    def others_wait(self) -> bool:
        """Whether something waits that goes before connecting a battery that has only now got its charger."""
        return self.trucks_waiting > 0 or any(self.to_connect) or any(self.unmanned)


def services_of(room: "Room") -> list[Service]:
    """Give each area its attendants, and areas that share some one service; others have one each."""
    sharing = [area for area in room.areas if area.plan.shares_attendants]
    services = [_shared(room, sharing)] if sharing else []
    return services + [_alone(room, area) for area in room.areas if area not in sharing]


def _shared(room: "Room", areas: "list[Area]") -> Service:
    """Service of areas that share attendants; some have more of their own."""
    skills = frozenset[str]().union(*(area.plan.skills for area in areas))
    everywhere = Attendants(room, room.blueprint.shared_shifts, skills)
    crews = [everywhere]
    for area in areas:
        area.attendants = everywhere
        if area.plan.own_shifts:
            area.attendants = Attendants(room, area.plan.own_shifts, skills, others=everywhere)
            crews.append(area.attendants)
    return Service(areas, crews, room.blueprint.rules)


def _alone(room: "Room", area: "Area") -> Service:
    """Service of an area whose people work nowhere else."""
    plan = area.plan
    drivers = plan.drivers.at_work if plan.drivers_only and plan.exchange is not None else None
    limited = plan.attendants_limited
    area.attendants = Attendants(room, plan.own_shifts, plan.skills, limited=limited, drivers=drivers)
    return Service([area], [area.attendants], room.blueprint.rules)


def _before(truck: "Truck", other: "Truck") -> bool:
    """Whether a truck goes before one of another queue."""
    mine, theirs = truck.group.truck.priority, other.group.truck.priority
    return mine < theirs or (mine == theirs and truck.turn < other.turn)


def _turn(desk: "ConnectingDesk") -> int:
    """Turn of the battery that has waited longest for a person."""
    return desk.waiting[0].turn
