"""What was told, on a page: newest first, by day, with what became of each."""

from dataclasses import replace

from tests.services.little_garden import NOW_MS
from tests.services.test_channel_health import FRESH
from tests.web.conftest import Visitor
from tests.web.hostile import MARKS
from traywarden.domain.notices import NoticeState
from traywarden.store import notices as notice_store

DAY_MS = 86_400_000


def test_what_was_told_stands_by_day_with_what_became_of_it(visitor: Visitor) -> None:
    sent = replace(
        FRESH, notice_id="a", title="Water now: A", state=NoticeState.SENT, attempts=1, sent_ms=NOW_MS,
        created_ms=NOW_MS - 60_000,
    )  # fmt: skip
    failed = replace(
        sent, notice_id="b", title=f"Too cold: {MARKS}", body=f"line one\n{MARKS}", sent_ms=None, attempts=3,
        state=NoticeState.WAITING, trouble="connection refused", next_try_ms=NOW_MS + 60_000,
        created_ms=NOW_MS - DAY_MS,
    )  # fmt: skip
    spared = replace(
        failed, notice_id="c", title="Probe quiet: B", state=NoticeState.SPARED, attempts=0,
        trouble="not sent: over", next_try_ms=0, created_ms=NOW_MS - 2 * DAY_MS,
    )  # fmt: skip
    with visitor.store.write() as tx:
        notice_store.put(tx, [spared, failed, sent])
    text, words = visitor.get("/notices"), visitor.words("/notices")
    assert (
        words.index("Water now: A")
        < words.index("tried 3 times, and will be again")
        < words.index("1 not sent, as there was nothing to do")
        < words.index("Probe quiet: B not sent: over")
    )
    assert text.count("<h2") == 3
    assert MARKS in words
    assert MARKS not in text
    assert 'href="/notices"' in visitor.get("/")


def test_a_garden_that_told_nothing_says_where_it_would(visitor: Visitor) -> None:
    words = visitor.words("/notices")
    assert "Nothing yet." in words
    assert "Notices reach only this page and Now; choose where they go" in words
