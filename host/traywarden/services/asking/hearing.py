"""Since when readings can have come in: no probe is quiet while nobody could hear it."""


class Hearing:
    """Outlives those who ask: settings that were changed make nobody deaf."""

    def __init__(self) -> None:
        self._since_ms: int | None = None

    def since_ms(self, now_ms: int, *, deaf: bool) -> int:
        """The first time it was asked, or the end of the last time the broker was out of reach (`deaf`)."""
        if self._since_ms is None or deaf:
            self._since_ms = now_ms
        self._since_ms = min(self._since_ms, now_ms)  # the clock may have been set back
        return self._since_ms
