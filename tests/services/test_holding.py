"""What is told at this hour and what waits, where nobody has said when they sleep."""

from datetime import UTC, datetime, time

import pytest

from traywarden.domain.notice_words import Reader
from traywarden.domain.notices import Hold
from traywarden.domain.telling_times import QuietHours
from traywarden.services.holding import Held, Holding, Timing

MORNING = Held(Hold.QUIET, "waits until the morning, 07:00")


def _held(
    hour: int, severity: str = "info", timing: Timing | None = None, *, begins: bool = True
) -> Held | None:
    now_ms = round(datetime(2026, 3, 1, hour, 30, tzinfo=UTC).timestamp() * 1000)
    holding = Holding([], timing or Timing(), Reader(now_ms, UTC))
    return holding.why("console", severity, "late", (), now_ms, begins=begins)


@pytest.mark.parametrize(("hour", "held"), [(21, None), (22, MORNING), (2, MORNING), (6, MORNING), (7, None)])
def test_what_is_for_information_begins_by_day(hour: int, held: Held | None) -> None:
    assert _held(hour) == held


def test_a_warning_and_an_end_come_by_night() -> None:
    assert [_held(2, "warning"), _held(2, "urgent"), _held(2, begins=False)] == [None] * 3


def test_quiet_hours_and_a_digest_of_ones_own_say_when() -> None:
    assert _held(2, timing=Timing(QuietHours(time(12), time(13)))) is None
    digest = _held(2, timing=Timing(digests={"console": (time(18),)}))
    assert digest == Held(Hold.DIGEST, "goes with the digest at 18:00")
