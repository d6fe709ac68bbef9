"""What a wake cycle works with: everything it touches is handed in."""

from probe.settings import PATH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


class Parts:
    """What a wake cycle works with.

    settings   checked settings (probe.settings); problems: what was wrong with the file, in words
    fs         flash: open, remove, rename, listdir, mkdir (probe.files.Files)
    folder     where the spool and the counters live
    settings_path  where settings from the host are saved
    memory     RTC memory: memory() -> bytes, memory(bytes); at most 2048 bytes, kept in deep sleep
    mark_ms    () -> ms, running on through deep sleep from power-up
    date       (ms since 1970) -> ms: set the board's calendar, which nothing looks at but TLS; by how
               much mark_ms jumped with it
    pause      (ms): wait without deep sleep
    power      (bool): the sensors' supply
    warm_ms    sensors need this long after power-on
    sensors    each: name; start() begins to measure; ready_ms after that; read() -> {(head, wire name):
               value}, raising anything costs that sensor's values only. The battery is one of them:
               (0, "battery")
    network    up(budget_ms) raises when it does not come up; down(); rssi() -> dBm or None
    ntp        (budget_ms) -> ms since 1970; raises when there is no answer
    link       connect(budget_ms); publish(kind, payload, retain, budget_ms) returns once the broker has
               acknowledged; received(budget_ms) -> (kind, payload) or None; disconnect(budget_ms). All
               raise on failure. Kinds: "readings", "state" out, "receipt", "settings" in.
               connect sets the last will: state "lost"
    wired      None, or as link, over USB, used when Wi-Fi is not set or does not come up and
               wired.connect succeeds; there readings are always kept until their receipt
    feed       (): the watchdog
    blink      (times)
    random     () -> 30 random bits
    device     "urn:dev:mac:…:"; reset: why it started, state.WOKE for a wake; firmware: version;
               awake: True where it does not sleep deeply between cycles, and sends every reading at once
    spoken     set by the cycle: whether a host answered over USB
    """

    settings: "dict[str, Any]"
    reset: str
    awake = False
    spoken = False
    problems: "tuple[str, ...] | list[str]" = ()
    settings_path = PATH
    wired: "Any" = None

    def __init__(self, **parts: "Any") -> None:
        for name, part in parts.items():
            setattr(self, name, part)

    if TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any: ...
