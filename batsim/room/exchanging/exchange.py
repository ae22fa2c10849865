"""The exchange desk: lets trucks into the stations when all that an exchange needs is free.

An exchange starts as soon as everything that its steps need is free: a ready battery, a station, an empty bay
for the discharged one, attendants, devices. It takes all of it or nothing, so no two exchanges can ever wait for each
other. Each thing is given back after the last step that needs it, see `exchange_job`.
"""

from bisect import bisect_right
from heapq import heappop, heappush
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import EXCHANGING, NO_ATTENDANT, NO_BATTERY, NO_BAY, NO_DEVICE, NO_STATION, NOTHING
from batsim.room.exchanging.devices import Devices
from batsim.room.exchanging.exchange_job import ExchangeJob
from batsim.room.plans.exchange_plan import routes
from batsim.room.timing.clock import Moment

if TYPE_CHECKING:
    from collections.abc import Container

    from batsim.record.tables import Writers
    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.exchanging.exchange_job import Held
    from batsim.room.people.attendants import Person
    from batsim.room.plans.exchange_plan import ExchangePlan, ExchangePlans, Route
    from batsim.room.plans.floor_plan import Ways
    from batsim.room.queue import Queue
    from batsim.room.truck import Truck


class Method:
    """One way to exchange: its steps and its devices; the layout's own, or what stands by."""

    def __init__(self, area: "Area", number: int, plans: "ExchangePlans", counts: dict[str, float]) -> None:
        floor, plan = area.plan.floor, plans.attendants
        first_kind = area.plan.first_device + len(area.plan.devices) * number
        point = floor.bays if floor is not None else 0
        self.number = number
        """0 for the layout's own, 1 for what stands by."""
        self.plans = plans
        """Its steps by who does them."""
        drivers = area.plan.drivers.exchange
        self.plan = plans.drivers if area.plan.drivers_only else plan
        """Its steps, where it does not matter by whom."""
        self.devices = [
            Devices(first_kind + kind, count, plan.devices[name], point)
            for kind, (name, count) in enumerate(counts.items())
        ]
        self.ways: tuple[Ways, ...] = ()
        if floor is not None:
            self.ways = floor.standby_ways if number else floor.ways
        several = drivers and (not area.plan.drivers_only or bool(plans.drivers.helpers))
        self.in_steps = plan.has_legs or area.attendants.stops_in_breaks or area.attendants.hands_over or several
        """Whether the times of an exchange are worked out step by step."""
        self.routes: list[Route] = routes(plan, self.ways)
        """Ways of an exchange, one after the other."""
        first = {leg.device: leg.to_point for legs in reversed(plan.legs) for leg in reversed(legs)}
        self.starts_at_bay = [first.get(kind) == "discharged_bay" for kind in range(len(self.devices))]
        """By kind of device: whether the first way goes to the bay of the discharged battery, not to the station."""

    def can_work(self) -> bool:
        """Whether enough devices of each kind are not out of use, be they free or not."""
        return all(devices.in_use() for devices in self.devices)


class ExchangeDesk:
    """Lets trucks into the stations."""

    def __init__(self, area: "Area", plans: "ExchangePlans") -> None:
        plan = plans.attendants
        self.area = area
        self.write: Writers = area.record.write
        self.queues = area.queues
        stations = area.plan.stations
        self.stations: list[int] | None = list(range(int(stations))) if stations < inf else None
        """Free stations by number; None without a limit."""
        self.station_out = [0] * len(self.stations or ())
        """How many reasons keep each station out of use."""
        self.going_out: dict[int, list[Moment]] = {}
        """Stations that go out of use when their truck has left, and what is to be told then."""
        self.set_down = area.plan.set_down_bays
        self.drivers_maintain = bool(area.plan.drivers.maintain_of)
        self.by_drivers = area.plan.drivers.exchange or self.drivers_maintain
        """Whether drivers exchange batteries in some shift at least, or may be away because they maintain some."""
        self.methods = [Method(area, 0, plans, area.plan.devices)]
        if area.plan.standby is not None:
            self.methods.append(Method(area, 1, area.plan.standby, area.plan.standby_devices))
        self.present = self.methods[0]
        """The layout's own method, or what stands by while its devices are out of use."""
        self.wake_min = 0.0
        """When a queue that waits for a device looks again. [min]"""
        self.empty: list[int] = []
        """Empty bays, nearest first."""
        self.at_arrival: bool = area.rules.discharged_on_charge == "at_arrival"
        self.bays_needed = 0 if self.at_arrival else plan.empty_bays
        self.floor = area.plan.floor
        self.limited_reach = self.floor is not None and any(len(bays) < self.floor.bays for bays in self.floor.in_reach)
        self.sorted_queues = bool(area.plan.reserve) or any(group.truck.priority > 1 for group in area.groups)
        """Whether a truck may pass others in its queue."""
        keeping = [method.plans.attendants for method in self.methods if method.plans.attendants.attendants]
        of_all = bool(keeping) and all(plan.attendants == bool(plan.skill) for plan in keeping)
        self.skills = area.plan.skills if of_all else frozenset[str]()
        """What exchanges ask of everybody whom they keep, by whatever method; nothing where they keep others too."""
        self.early: list[Truck] = []
        """Trucks at work that go as soon as no truck waits and an exchange could start."""
        self.unsettled: dict[ExchangeJob, None] = {}
        """Exchanges whose end is not known yet."""

    def ask(self, truck: "Truck") -> Moment:
        """Join the queue; the moment returned is the truck's leaving of the station."""
        queue = truck.queue
        truck.ready_found = len(queue.ready)
        if self.at_arrival:
            self._draw_out(truck)
        done = Moment(self.area.env)
        if not queue.waiting and not self.sorted_queues and self.lacks(queue, truck) == NOTHING:
            self._start(truck, queue, done)
            if self.area.service.trucks_waiting:  # what they could not use may have been the last of its kind
                self.area.service.note_causes()
            return done
        truck.served, truck.waits, truck.turn = done, True, next(self.area.service.turns)
        queue.join(truck)
        self.area.trucks_waiting += 1
        self.area.service.trucks_waiting += 1
        if self.drivers_maintain:  # its driver may maintain a battery meanwhile
            self.area.attendants.look_again(self.area.env.now)
        if self.sorted_queues or self.by_drivers:
            self.area.service.exchange()
        else:
            self.note_cause(queue)
        return done

    def start_first(self, truck: "Truck") -> None:
        """Begin the exchange of a truck that has waited, and lacks nothing."""
        truck.queue.waiting.remove(truck)
        truck.waits = False
        self.area.trucks_waiting -= 1
        self.area.service.trucks_waiting -= 1
        self._start(truck, truck.queue, truck.served)

    def call(self, truck: "Truck") -> bool:
        """Send word to a truck at work if its exchange could start at once; whether that was so."""
        now = self.area.env.now
        can = self.could_start(truck) and truck.group.timetable.window(now)[0] <= now
        if can:
            self.early.remove(truck)
            truck.call.after(0.0)
        return can

    def could_start(self, truck: "Truck") -> bool:
        """Whether an exchange of a truck that need not come yet could start now, while no truck waits."""
        queue = truck.queue
        nobody = not self.area.trucks_waiting and not self.area.service.coming
        return nobody and len(queue.ready) > queue.reserve and self.lacks(queue, truck) == NOTHING

    def note_causes(self) -> None:
        """Write down for every queue what its first truck waits for now."""
        for queue in self.queues:
            if queue.waiting or queue.cause:
                self.note_cause(queue)

    def note_cause(self, queue: "Queue") -> None:
        """Write down what a queue waits for, when that has changed."""
        cause = NOTHING
        if queue.waiting:
            truck = self.first(queue)
            cause = NO_BATTERY if truck is None else self.lacks(queue, truck)
        self.note(queue, cause)

    def note(self, queue: "Queue", cause: int) -> None:
        """Write down what a queue waits for, when that has changed."""
        if cause == NO_DEVICE:
            self._look_again()
        if cause != queue.cause:
            queue.cause = cause
            self.area.service.note_waiting(queue, cause)
            self.write.queues(queue=queue.number, cause=cause, from_min=self.area.env.now)

    def could_use(self, person: "Person") -> bool:
        """Whether an exchange could use somebody: who works here, with the skill that it asks of all."""
        here = person.crew in (self.area.attendants, self.area.attendants.others)
        return here and (not self.skills or not self.skills.isdisjoint(person.skills))

    def choose_method(self) -> None:
        """Go over to what stands by, or back to the layout's own, after a device has gone out or come back."""
        self.present = self.methods[0 if self.methods[0].can_work() else -1]

    def first(self, queue: "Queue") -> "Truck | None":
        """First truck that may have a battery; those whose people are away are passed and keep their place."""
        truck = queue.first()
        if truck is None or not self.by_drivers or self._manned(truck):
            return truck
        others = [each for each in queue.waiting if queue.may_have_one(each)]
        planned = (each for each in others if self.plan_for(each) is not None)
        return next((each for each in others if self._manned(each)), None) or next(planned, truck)

    def _manned(self, truck: "Truck") -> bool:
        """Whether those who would exchange a truck's battery now are there and free."""
        plan = self.plan_for(truck)
        if plan is None:
            return False
        return not plan.attendants or self.area.attendants.can_spare(plan.attendants, plan.skill)

    def plan_for(self, truck: "Truck") -> "ExchangePlan | None":
        """Steps of a truck's exchange by who would do them now; None while its driver is away, or has no help."""
        method, group, now = self.present, truck.group, self.area.env.now
        attendants = self.area.attendants
        if self.drivers_maintain and truck.helps_until_min > now:
            return None
        shift = bisect_right(group.shift_starts, now) - 1
        if shift < 0 or now >= group.shift_ends[shift] or not group.by_shift[shift].drivers_exchange:
            return None if self.area.plan.drivers_only else method.plans.attendants
        if group.timetable.window(now)[0] > now or truck.helps_until_min > now:
            return None
        plans = method.plans
        if not plans.drivers.helpers:
            return plans.drivers
        if not self.area.plan.drivers_only and attendants.can_spare(plans.helped.attendants):
            return plans.helped
        return plans.drivers if len(self.helpers(truck)) >= plans.drivers.helpers else None

    def helpers(self, truck: "Truck | None") -> "list[Truck]":
        """Trucks whose drivers could lend a hand: those that wait first, then those at work that may go on longest."""
        now = self.area.env.now
        others = [
            each
            for each in self.area.trucks
            if each is not truck and each.helps_until_min <= now and each.group.timetable.window(now)[0] <= now
        ]
        waiting = [each for each in others if each.waits]
        at_work = [
            each
            for each in others
            if not each.waits and each.back_min <= now < each.left_min and each.discharge is None
        ]
        return waiting + sorted(at_work, key=lambda each: -each.left_min)

    def call_helpers(self, truck: "Truck", count: int, until_min: float) -> None:
        """Keep the drivers of other trucks until a time; a truck that was at work stands meanwhile."""
        for helper in self.helpers(truck)[:count]:
            self.keep_driver(helper, until_min, EXCHANGING)

    def keep_driver(self, truck: "Truck", until_min: float, task: int) -> None:
        """Keep the driver of a truck for a task until a time; one that was at work stands meanwhile."""
        truck.helps_until_min = until_min
        if not truck.waits:
            now, group = self.area.env.now, truck.group
            truck.stood_min += group.timetable.worked(now, until_min)
            write = self.area.record.write.stands
            write(truck=truck.number, group=group.number, start_min=now, end_min=until_min, task=task)

    def lacks(self, queue: "Queue", truck: "Truck") -> int:
        """First thing that an exchange of a truck of this queue lacks: battery, station, bay, people, device."""
        if not queue.ready:
            return NO_BATTERY
        if self.stations is not None and not self.stations:
            return NO_STATION
        if len(self.empty) < self.bays_needed:
            return NO_BAY
        if self.limited_reach and self._in_reach(queue) is None:
            return NO_BAY
        method = self.present
        plan = self.plan_for(truck) if self.by_drivers else method.plan
        if plan is None:
            self.wait_for_drivers()
            return NO_ATTENDANT
        if plan.attendants and not self.area.attendants.can_spare(plan.attendants, plan.skill):
            return NO_ATTENDANT
        now = self.area.env.now
        for devices in method.devices:
            if not devices.can_serve(now):
                return NO_DEVICE
        return NO_BAY if self.set_down < plan.set_down_bays else NOTHING

    def _in_reach(self, queue: "Queue") -> int | None:
        """First free station from which a ready battery and an empty bay are in reach; None when there is none."""
        assert self.floor is not None  # only then reach is limited
        for station in sorted(self.stations or ()):
            near = self.floor.in_reach[station]
            enough = not self.bays_needed or any(bay in near for bay in self.empty)
            if enough and any(entry[2].bay in near for entry in queue.ready):
                return station
        return None

    def wait_for_drivers(self) -> None:
        """Have the queues looked at when drivers come, are back at work, or have lent their hand."""
        now, trucks = self.area.env.now, self.area.trucks
        times = [group.timetable.next_start(now) for group in self.area.groups]
        times += [time for truck in trucks for time in (truck.helps_until_min, truck.back_min) if time > now]
        times += [now for truck in trucks if truck.left_min < truck.back_min == now]  # it is at work in a moment
        self.area.attendants.look_again(min(times))

    def _look_again(self) -> None:
        """Have the queues looked at when the next device is free: nothing else would happen then."""
        now = self.area.env.now
        waited = [devices for devices in self.present.devices if not devices.can_serve(now)]
        next_min = min((devices.next_free_min(now) for devices in waited), default=inf)
        if next_min < inf and not now < self.wake_min <= next_min:
            self.wake_min = next_min
            Moment(self.area.env, lambda _: self.area.serve()).after(next_min - now)

    def _draw_out(self, truck: "Truck") -> None:
        """Take the discharged battery out on arrival; it goes to an empty bay and may go on charge at once."""
        battery = truck.battery
        battery.bay = heappop(self.empty)
        self.area.charging.receive(battery)

    def _start(self, truck: "Truck", queue: "Queue", done: Moment) -> None:
        """Take everything and begin."""
        method = self.present
        plan = self.plan_for(truck) if self.by_drivers else method.plan
        assert plan is not None  # asked before
        discharged, now = truck.battery, self.area.env.now
        station = -1
        if self.floor is None:
            if self.stations is not None:
                station = heappop(self.stations)
            charged = queue.take_ready()
            if not self.at_arrival:
                discharged.bay = heappop(self.empty) if self.bays_needed else charged.bay
            held = [(kind, unit) for kind, devices in enumerate(method.devices) for unit in devices.choose(now)]
        else:
            station, charged = self._take_near(queue, discharged)
            held = self._nearest_units(method, station, discharged.bay)
        self.set_down -= plan.set_down_bays
        people = self.area.attendants.take(plan.attendants, plan.skill)
        ExchangeJob(self, method, plan, truck, charged, station, people, held, done).begin()

    def _take_near(self, queue: "Queue", discharged: "Battery") -> "tuple[int, Battery]":
        """Take a station, the battery that the rule names of those in reach, and the nearest empty bay."""
        floor = self.floor
        assert floor is not None and self.stations is not None  # noqa: PT018 - positions need both
        station = self._in_reach(queue) if self.limited_reach else min(self.stations)
        assert station is not None  # asked before
        self.stations.remove(station)
        rank, near = floor.rank[station], floor.in_reach[station]
        charged = (
            queue.take_ready_from(rank, near)
            if self.limited_reach or queue.picking == "nearest"
            else queue.take_ready()
        )
        if not self.at_arrival:
            discharged.bay = self._take_empty(rank, near) if self.bays_needed else charged.bay
        return station, charged

    def _take_empty(self, rank: tuple[int, ...], near: "Container[int]") -> int:
        """Take the nearest empty bay in reach."""
        empty = [each for each in self.empty if each in near] if self.limited_reach else self.empty
        bay = empty[0] if len(empty) == 1 else min(empty, key=rank.__getitem__)
        self.empty.remove(bay)
        return bay

    def _nearest_units(self, method: Method, station: int, discharged_bay: int) -> "Held":
        """Take the devices with the shortest way to where their first step begins."""
        assert self.floor is not None  # asked before
        now, at_station = self.area.env.now, self.floor.bays + station
        held: Held = []
        for number, devices in enumerate(method.devices):
            to_point = discharged_bay if method.starts_at_bay[number] else at_station
            held += [(number, unit) for unit in devices.choose(now, method.ways[number].metres, to_point)]
        return held

    def free_station(self, station: int) -> None:
        """Give a station back; one that has broken down meanwhile goes out of use."""
        if self.stations is None:
            return
        if not self.station_out[station]:
            heappush(self.stations, station)
        elif station in self.going_out:
            for told in self.going_out.pop(station):
                told.after(0.0)
