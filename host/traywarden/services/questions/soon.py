"""What will be needed within a day, and when in words no more precise than it is known."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

HALF_HOUR_MS = 1_800_000
SOON_S = 86_400.0
ANY_TIME = "any time now"


@dataclass(frozen=True, slots=True)
class Soon:
    """A tray that will need water within a day if it goes on drying as it does.

    `by` is what the outlook says; `when` says it as precisely as it is known.
    """

    tray: str
    place: str | None
    what: str
    when: str
    by: datetime
    in_s: float
    why: str


def when_words(now_ms: int, in_s: float, zone: ZoneInfo) -> str:
    """When, within a day: to the half hour before, as a drying tray is not foreseen to the minute."""
    at_ms = now_ms + in_s * 1000
    at = datetime.fromtimestamp(at_ms // HALF_HOUR_MS * HALF_HOUR_MS / 1000, zone)
    if at.timestamp() * 1000 <= now_ms:
        return ANY_TIME
    day = "today" if at.date() == datetime.fromtimestamp(now_ms / 1000, zone).date() else "tomorrow"
    return f"by about {at:%H:%M} {day}"
