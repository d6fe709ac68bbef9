"""Times to come, as a grower says until when to hush: “tonight”, “tomorrow morning”, “for 3 h”, “18:00”."""

import re
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from traywarden.domain.hushes import EVENING, LONGEST_DAYS, MORNING, tonight
from traywarden.errors import UsageError
from traywarden.services.moments import moment_words, parse_moment

EXAMPLES = "“tonight”, “tomorrow morning”, “monday”, “18:00”, “3 h”, “2 days” or “2026-03-01 08:00”"
_FOR = re.compile(r"(?:for\s+|in\s+)?(\d{1,4}|a|an)\s*(min|minutes?|h|hours?|d|days?|weeks?)")
_MINUTES = {"min": 1, "minute": 1, "minutes": 1, "h": 60, "hour": 60, "hours": 60}
_DAYS = {"d": 1, "day": 1, "days": 1, "week": 7, "weeks": 7}
_PARTS = {"": MORNING, "morning": MORNING, "noon": time(12), "evening": EVENING}
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DAY = re.compile(rf"(tomorrow|{'|'.join(_WEEKDAYS)})(?:\s+(morning|noon|evening))?")
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?:\s*(?:am|pm))?")


def parse_until(text: str, *, now_ms: int, zone: ZoneInfo) -> int:
    """The instant to come that words mean [ms since 1970]; a clock time means the next one.

    Raises UsageError for words that cannot be read, a time that is past, and one too far off.
    """
    words = " ".join(text.strip().lower().split()).removeprefix("until ")
    until_ms = _read(words, datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone), now_ms, zone)
    if until_ms <= now_ms:
        raise UsageError(f"{moment_words(until_ms, zone)} is past; say until when, like {EXAMPLES}.")
    if until_ms - now_ms > (LONGEST_DAYS + 1) * 86_400_000:
        raise UsageError(
            f"{moment_words(until_ms, zone)} is more than {LONGEST_DAYS} days off; hush for a shorter time."
        )
    return until_ms


def _read(words: str, now: datetime, now_ms: int, zone: ZoneInfo) -> int:
    if not words:
        raise UsageError(f"Say until when, like {EXAMPLES}.")
    if words == "tonight":
        evening = tonight(now)
        if evening is None:
            raise UsageError("Tonight has begun already; say “tomorrow morning” or a time.")
        return _ms(evening)
    if found := _DAY.fullmatch(words):
        days = 1 if found[1] == "tomorrow" else (_WEEKDAYS.index(found[1]) - now.weekday() - 1) % 7 + 1
        return _ms(datetime.combine(now.date() + timedelta(days=days), _PARTS[found[2] or ""], zone))
    if found := _FOR.fullmatch(words):
        amount = 1 if found[1] in ("a", "an") else int(found[1])
        if found[2] in _MINUTES:
            return now_ms + amount * _MINUTES[found[2]] * 60_000
        return _ms(datetime.combine(now.date() + timedelta(days=amount * _DAYS[found[2]]), now.time(), zone))
    try:
        at_ms = parse_moment(words, now_ms=now_ms, zone=zone, future=True).at_ms
    except UsageError as error:
        if "cannot be read" not in str(error):
            raise
        raise UsageError(f"The time “{words[:60]}” cannot be read; write it like {EXAMPLES}.") from None
    if _CLOCK.fullmatch(words) and at_ms <= now_ms:
        tomorrow = f"{now.date() + timedelta(days=1)} {words}"
        return parse_moment(tomorrow, now_ms=now_ms, zone=zone, future=True).at_ms
    return at_ms


def _ms(at: datetime) -> int:
    return round(at.timestamp() * 1000)
