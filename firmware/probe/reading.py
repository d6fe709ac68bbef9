"""A reading: all sensors at one instant, judged, and kept in RTC memory."""

from probe import record, urgent
from probe.state import WOKE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

SENSORS_MS = 3000
URGENT_TRIES = 3


def read(run: "Any") -> None:
    """Sense, judge urgency, and keep the instant in RTC memory."""
    state = run.state
    mark_ms = run.now_ms()
    values, failed = _sense(run)
    said_ms, _ = run.clock.time_ms(state.boot, mark_ms)
    run.instant = record.Instant(state.boot, state.sequence, mark_ms, said_ms, values, failed)
    run.memory.keep(record.pack(run.instant))
    state.sequence += 1
    state.active, run.urgent = urgent.judge(values, run.settings["limits"], state.active)
    if run.urgent:
        state.allowed, state.allowed_since_ms = urgent.allowance(
            state.allowed, state.allowed_since_ms, mark_ms
        )
        if state.allowed:
            state.allowed -= 1
            state.tries = URGENT_TRIES
    run.parts.feed()


def _sense(run: "Any") -> "tuple[dict[tuple[int, str], float], int]":
    """The values of all sensors that answer, and how many did not."""
    parts, state = run.parts, run.state
    values: "dict[tuple[int, str], float]" = {}
    failed = 0
    started = []
    ready_ms = 0
    try:
        parts.power(True)
        parts.pause(min(parts.warm_ms, SENSORS_MS))
        for sensor in parts.sensors:
            try:
                sensor.start()
                started.append(sensor)
                ready_ms = max(ready_ms, sensor.ready_ms)
            except Exception as error:
                failed += 1
                run.fault(sensor.name, error)
        parts.pause(min(ready_ms, SENSORS_MS))
        stuck, state.trial = state.trial, 0
        for index, sensor in enumerate(started):
            parts.feed()
            if index + 1 == stuck and parts.reset != WOKE:
                failed += 1
                run.fault(sensor.name, ValueError("stopped the probe; left out once"))
                continue
            state.trial = index + 1
            run.memory.save([])
            try:
                found = sensor.read()
            except Exception as error:
                failed += 1
                run.fault(sensor.name, error)
                continue
            for key, value in found.items():
                if record.takes(key[0], key[1], value) and len(values) < record.MOST_VALUES:
                    values[key] = value
                else:
                    failed += 1
                    run.fault("%s: %d/%s is %s" % (sensor.name, key[0], key[1], value))
        state.trial = 0
    except Exception as error:
        run.fault("sensors' supply", error)
        failed += 1
    try:
        parts.power(False)
    except Exception as error:
        run.fault("sensors' supply", error)
    if failed:
        run.blink = "sensor"
    return values, failed
