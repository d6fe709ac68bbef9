"""The wake cycle: one function from waking to the next sleep, with a budget on every wait.

Everything it touches comes in through `Parts`, so it runs the same on a board, on CPython and on the
interpreter in the tests.
"""


class Parts:
    """What a wake cycle works with.

    settings   checked settings (probe.settings)
    fs         flash: open, remove, rename, listdir, mkdir (probe.files.Files)
    folder     where the spool and the counters live
    memory     RTC memory: memory() -> bytes, memory(bytes); at most 2048 bytes, kept in deep sleep
    mark_ms    () -> ms, running on through deep sleep from power-up; nobody may set it
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
    blink      (str): one of BLINKS
    random     () -> 30 random bits
    device     "urn:dev:mac:…:"; reset: why it started, in words; firmware: version
    """

    def __init__(self, **parts) -> None:  # type: ignore[no-untyped-def]
        self.__dict__.update(parts)
