"""How long a sowing stood, and what was written down meanwhile."""

from typing import Any

from traywarden.domain.journal import Entry, Facts, Kind
from traywarden.domain.sown_spans import sown_spans

DAY_MS = 86_400_000


def entry(number: int, day: float, kind: Kind, tray_id: int = 1, **data: Any) -> Entry:
    return Entry(number, round(day * DAY_MS), 0, kind, tray_id=tray_id, data=data)


SOWN = entry(1, 0, Kind.SOWED)
COUNTED = entry(2, 7, Kind.EMERGED, count=9)
PLANTED = entry(3, 30, Kind.PLANTED_OUT)
ANEW = entry(4, 40, Kind.SOWED)


def test_a_sowing_stands_until_the_tray_is_planted_out_or_sown_anew() -> None:
    first, second = sown_spans(Facts([SOWN, COUNTED, PLANTED, ANEW]), 1, 50 * DAY_MS)
    assert (first.sowing, first.entries, first.end_ms) == (SOWN, (COUNTED,), PLANTED.at_ms)
    assert (second.sowing, second.entries, second.end_ms) == (ANEW, (), None)
    (only,) = sown_spans(Facts([SOWN, COUNTED, ANEW]), 1, ANEW.at_ms - 1)
    assert only.end_ms is None


def test_what_is_written_for_a_later_instant_or_another_tray_is_not_known() -> None:
    facts = Facts([SOWN, COUNTED, PLANTED, entry(5, 8, Kind.EMERGED, tray_id=2, count=3)])
    (span,) = sown_spans(facts, 1, 6 * DAY_MS)
    assert (span.entries, span.end_ms) == ((), None)
    assert sown_spans(facts, 3, 50 * DAY_MS) == []


def test_a_count_at_the_instant_of_planting_out_is_of_what_was_planted_out() -> None:
    """Entries with a day alone are dated at its noon; a corrected count has a higher number than the end."""
    last = entry(6, 30, Kind.EMERGED, count=30)
    (span,) = sown_spans(Facts([SOWN, PLANTED, last]), 1, 50 * DAY_MS)
    assert span.entries == (last,)


def test_a_count_at_the_instant_of_sowing_is_of_what_stood_there_before() -> None:
    at_once = entry(7, 40, Kind.EMERGED, count=12)
    first, second = sown_spans(Facts([SOWN, ANEW, at_once]), 1, 50 * DAY_MS)
    assert (first.entries, second.entries) == ((at_once,), ())
