"""Codes of a record, and the words that they stand for."""

STATES = (
    "in truck",
    "in transfer",
    "exchange laid down",
    "waits for a charger",
    "waits to be connected",
    "being connected",
    "waits for current",
    "on charge",
    "charge paused",
    "cooling",
    "waits for watering",
    "being watered",
    "waits for inspection",
    "being inspected",
    "waits for readings",
    "readings being taken",
    "waits for wash",
    "being washed",
    "ready",
)
"""States of a battery: it is in exactly one at any instant. To wait for something is not to have it done."""
(
    IN_TRUCK, IN_TRANSFER, LAID_DOWN, WAITS_FOR_CHARGER, WAITS_FOR_CONNECTING, BEING_CONNECTED, WAITS_FOR_CURRENT,
    ON_CHARGE, PAUSED, COOLING, WAITS_FOR_WATERING, BEING_WATERED, WAITS_FOR_INSPECTION, BEING_INSPECTED,
    WAITS_FOR_READINGS, BEING_READ, WAITS_FOR_WASH, BEING_WASHED, READY,
) = range(len(STATES))  # fmt: skip
CONNECTED = (WAITS_FOR_CONNECTING, BEING_CONNECTED, WAITS_FOR_CURRENT)
"""States of a battery that has its charger and no current yet."""

CAUSES = ("nothing", "battery", "station", "bay", "attendant", "device")
"""What the queue waits for, in the order in which it is asked."""
NOTHING, NO_BATTERY, NO_STATION, NO_BAY, NO_ATTENDANT, NO_DEVICE = range(len(CAUSES))

KINDS = ("exchange", "charge in truck", "turned away")
"""Why a truck left its work: for an exchange, for a charge in shift time, or it found no battery."""
EXCHANGE, CHARGE_IN_TRUCK, TURNED_AWAY = range(len(KINDS))

REASONS = ("level", "shift change", "break", "early")
"""Why a truck went for another battery when it did."""
LEVEL, SHIFT_CHANGE, IN_BREAK, EARLY = range(len(REASONS))

PERSONS = ("attendant", "driver")
ATTENDANT, DRIVER = range(len(PERSONS))

TASKS = ("exchange", "connect", "watering", "plug", "inspection", "readings", "wash", "fetch")
EXCHANGING, CONNECTING, WATERING, PLUGGING, INSPECTING, READING, WASHING, FETCHING = range(len(TASKS))
MAINTENANCE = (WATERING, INSPECTING, READING, WASHING)
TASK_STATES = {
    CONNECTING: (WAITS_FOR_CONNECTING, BEING_CONNECTED),
    PLUGGING: (WAITS_FOR_CONNECTING, BEING_CONNECTED),
    WATERING: (WAITS_FOR_WATERING, BEING_WATERED),
    INSPECTING: (WAITS_FOR_INSPECTION, BEING_INSPECTED),
    READING: (WAITS_FOR_READINGS, BEING_READ),
    WASHING: (WAITS_FOR_WASH, BEING_WASHED),
}
"""By task: state of a battery that waits for it, or lies in the middle of it without anybody, and while it is done."""
