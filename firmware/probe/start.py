"""Puts a probe together from its board and its settings, and lets it live until the next deep sleep."""

import time

from probe import asked, board, boards, broker, ntp, sensors, settings, sockets, wifi, wired
from probe.cycle import LEAST_SLEEP_MS, wake
from probe.deadline import Deadline
from probe.files import Files
from probe.parts import Parts
from probe.rtc import Gather
from probe.spool import Spool
from probe.state import WOKE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

FIRMWARE = "0.1.0"
FOLDER = "data"
WATCHDOG_MS = 30000
GRACE_MS = 20000
"""A wake this much over its budget is stuck, however busily: the watchdog is fed no more."""
LISTEN_MS = 600000
QUIET_MS = 5000
"""After power-up or a reset: whoever holds the cable has this long to ask the first question."""
BLINK_MS = 150


class Waiting:
    """What waits on flash at the moment somebody asks."""

    def __init__(self, fs: Files, limit_bytes: int) -> None:
        self._fs = fs
        self._limit_bytes = limit_bytes

    def __len__(self) -> int:
        return len(self._spool())

    @property
    def dropped(self) -> int:
        return self._spool().dropped

    @property
    def damaged(self) -> int:
        return self._spool().damaged

    def _spool(self) -> Spool:
        return Spool(self._fs, FOLDER + "/spool", self._limit_bytes)


class Guard:
    """Feeds the watchdog, but not for ever."""

    def __init__(self, most_ms: int) -> None:
        self._feed = board.watchdog(WATCHDOG_MS)
        self._most_ms = most_ms
        self.begin()

    def begin(self) -> None:
        """A new wake begins."""
        self._wake = Deadline(time, self._most_ms)
        self.feed()

    def feed(self) -> None:
        """Feed it, unless this wake has gone on for too long."""
        if self._wake.left_ms() > 0:
            self._feed()


def run() -> int:
    """Everything from the start to the next deep sleep, whose length it returns [ms]."""
    fs = Files()
    table, problems = settings.load(fs)
    guard = Guard(table["budget_s"] * 1000 + GRACE_MS)
    ticks = board.Ticks(guard.feed)
    pins = boards.BOARDS.get(table["board"])
    if pins is None:
        problems.append("board %s is not in probe/boards.py" % table["board"])
        pins = boards.BOARDS["esp32-c3"]
    hardware = board.Hardware(pins, ticks.sleep_ms)
    station = board.station()
    radio = wifi.Wifi(station, table["wifi"], ticks)
    memory = board.memory()
    reset = board.reset_words()
    answers = asked.Answers(
        table,
        fs,
        hardware,
        ticks.sleep_ms,
        Waiting(fs, table["spool_bytes"]),
        reset,
        FIRMWARE,
        lambda: len(Gather(memory)),
        board.restart,
    )
    cable = wired.Wired(board.Port(), ticks, answers, answers.here())
    parts = Parts(
        settings=table,
        problems=problems,
        fs=fs,
        folder=FOLDER,
        memory=memory,
        mark_ms=board.mark_ms,
        date=board.date,
        pause=ticks.sleep_ms,
        power=hardware.power,
        warm_ms=sensors.WARM_MS,
        sensors=sensors.sensors(hardware, table["heads"], ticks.sleep_ms),
        network=radio,
        ntp=lambda budget_ms: ntp.ask(sockets, ticks, table["ntp"]["host"], radio.name_server(), budget_ms),
        link=broker.Broker(table, sockets, ticks, radio.name_server, lambda: _certificate(table)),
        wired=cable,
        feed=guard.feed,
        blink=lambda times: _blink(hardware.led, ticks.sleep_ms, times),
        random=board.random,
        device=board.device(),
        reset=reset,
        firmware=FIRMWARE,
    )
    sleep_ms = wake(parts)
    if reset != WOKE:
        rest = Deadline(time, sleep_ms)
        _listen(cable, guard, LISTEN_MS, QUIET_MS)
        sleep_ms = max(LEAST_SLEEP_MS, rest.left_ms())
    while parts.spoken or not table["wifi"]["ssid"]:
        # A host at the other end of the cable, or nobody yet: stay awake, send each reading as it is made.
        parts.awake = True
        _listen(cable, guard, sleep_ms, sleep_ms)
        guard.begin()
        parts.reset = WOKE
        sleep_ms = wake(parts)
    return sleep_ms


def _listen(cable: "Any", guard: Guard, most_ms: int, quiet_ms: int) -> None:
    """Answer questions over the cable, in steps that each count as a wake of their own to the watchdog."""
    while most_ms > 0:
        step_ms = min(most_ms, QUIET_MS)
        guard.begin()
        if not cable.serve(step_ms, step_ms) and quiet_ms <= QUIET_MS:
            return
        most_ms -= step_ms


def _certificate(table: "dict[str, Any]") -> bytes:
    with open(table["broker"]["ca_file"], "rb") as file:
        return sockets.der_from_pem(file.read())


def _blink(led: "Callable[[bool], Any]", pause: "Callable[[int], Any]", times: int) -> None:
    for _ in range(times):
        led(True)
        pause(BLINK_MS)
        led(False)
        pause(2 * BLINK_MS)
