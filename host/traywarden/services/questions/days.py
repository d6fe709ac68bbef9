"""Spans of garden days as a question asks for them."""

from datetime import date

from traywarden.domain.days import day_start_ms, local_date
from traywarden.errors import UsageError
from traywarden.services.moments import parse_moment
from traywarden.services.questions.ground import DAY_MS, Ground

LONGEST_DAYS = 3_660


def day_of(ground: Ground, text: str) -> date | None:
    """The garden day that words such as “2026-03-01”, “yesterday” or “7 days ago” fall on; None for none."""
    if not text.strip():
        return None
    moment = parse_moment(text, now_ms=ground.now_ms, zone=ground.zone, future=True)
    return local_date(moment.at_ms, ground.zone)


def span_of(ground: Ground, start: date | None, end: date | None, default_days: int) -> tuple[date, date]:
    """First and last day asked about; by default the last so many whole days and what there is of today.

    Raises UsageError when the last day lies before the first, or the span is absurdly long.
    """
    today = local_date(ground.now_ms, ground.zone)
    last = min(end or today, today)
    first = start or local_date(
        day_start_ms(last, ground.zone) - default_days * DAY_MS + DAY_MS // 2, ground.zone
    )
    if first > last:
        raise UsageError(
            f"From {first} to {end or last} there is no day up to today ({today}); give an earlier --from."
        )
    if (last - first).days > LONGEST_DAYS:
        raise UsageError(f"From {first} to {last} are more than ten years; give a shorter span.")
    return first, last
