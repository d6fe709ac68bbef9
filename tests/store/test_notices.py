"""The outbox on both databases: due in order, marked, held, parked, found again."""

from dataclasses import replace
from typing import Any

import pytest

from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Notice, NoticeState
from traywarden.errors import UnknownNameError
from traywarden.store import notices as outbox
from traywarden.store.store import Store

PLAIN = Notice(
    "aaa111",
    "mail",
    "urgent",
    "Water now: Übertopf",
    "Moisture 0.20 m³/m³",
    (("dry:1:100", ChangeKind.OPENED), ("dry:2:100'", ChangeKind.OPENED)),
    created_ms=100,
    state=NoticeState.WAITING,
)


def put(store: Store, *notices: Notice) -> None:
    with store.write() as tx:
        outbox.put(tx, notices)


def test_a_notice_comes_back_as_it_was_put(store: Store) -> None:
    put(store, PLAIN)
    with store.read() as tx:
        assert outbox.notice_named(tx, "aaa111") == PLAIN
        assert outbox.listed(tx, 5) == [PLAIN]


def test_due_are_only_waiting_ones_of_the_channel_whose_time_has_come(store: Store) -> None:
    put(
        store,
        PLAIN,
        replace(PLAIN, notice_id="later", next_try_ms=500),
        replace(PLAIN, notice_id="held", state=NoticeState.HELD),
        replace(PLAIN, notice_id="other", channel="console"),
    )
    with store.read() as tx:
        assert [n.notice_id for n in outbox.due(tx, "mail", 499)] == ["aaa111"]
        assert [n.notice_id for n in outbox.due(tx, "mail", 500)] == ["aaa111", "later"]
        assert outbox.next_due_ms(tx, "mail") == 0
        assert outbox.next_due_ms(tx, "nobody") is None


def test_the_urgent_go_first_then_the_oldest_and_to_find_out_what_fails_the_least_tried(store: Store) -> None:
    def of(name: str, **more: Any) -> Notice:
        return replace(PLAIN, notice_id=name, changes=((f"dry:{name}:1", ChangeKind.OPENED),), **more)

    put(
        store,
        of("tried", attempts=3),
        of("info", severity="info", created_ms=1),
        of("young", created_ms=99),
        of("old", created_ms=98),
    )
    with store.read() as tx:
        assert [n.notice_id for n in outbox.due(tx, "mail", 0)] == ["old", "young", "tried", "info"]
        tried = outbox.due(tx, "mail", 0, least_tried=True)
        assert [n.notice_id for n in tried] == ["old", "young", "info", "tried"]
        assert [n.notice_id for n in outbox.due(tx, "mail", 0, {"old"}, limit=2)] == ["young", "tried"]


def test_sent_failed_parked_and_released(store: Store) -> None:
    put(store, PLAIN, *(replace(PLAIN, notice_id=name) for name in ("f", "p")))
    with store.write() as tx:
        outbox.mark_sent(tx, "aaa111", 777)
        outbox.mark_failed(tx, "f", "no line", 900)
        outbox.park(tx, "p", "gone")
    with store.read() as tx:
        sent, failed, parked = (outbox.notice_named(tx, name) for name in ("aaa111", "f", "p"))
        assert (sent.state, sent.sent_ms, sent.attempts) == (NoticeState.SENT, 777, 1)
        assert (failed.state, failed.next_try_ms, failed.trouble) == (NoticeState.WAITING, 900, "no line")
        assert (parked.state, parked.trouble) == (NoticeState.PARKED, "gone")
        assert outbox.counts(tx) == {NoticeState.SENT: 1, NoticeState.WAITING: 1, NoticeState.PARKED: 1}
        oldest = outbox.oldest_unsent(tx)
        assert oldest is not None
        assert oldest.notice_id in ("f", "p")
    with store.write() as tx:
        outbox.release(tx, "p", 1000)
        outbox.hurry(tx, "mail", 800)
    with store.read() as tx:
        freed = outbox.notice_named(tx, "p")
        assert (freed.state, freed.attempts, freed.trouble) == (NoticeState.WAITING, 0, "")
        assert outbox.notice_named(tx, "f").next_try_ms == 800


def test_an_attempt_that_hung_and_fails_late_takes_nothing_back_that_another_brought_over(
    store: Store,
) -> None:
    """As where settings changed meanwhile: the way out is made anew, and what hung in the old goes again."""
    put(store, PLAIN)
    with store.write() as tx:
        outbox.mark_sent(tx, "aaa111", 777)
        outbox.mark_failed(tx, "aaa111", "no answer", 900)
        outbox.park(tx, "aaa111", "refused for good")
    with store.read() as tx:
        found = outbox.notice_named(tx, "aaa111")
    assert (found.state, found.attempts, found.trouble) == (NoticeState.SENT, 1, "")


def test_only_held_notices_can_be_taken_back(store: Store) -> None:
    put(store, PLAIN, replace(PLAIN, notice_id="held", state=NoticeState.HELD))
    with store.write() as tx:
        outbox.take(tx, ["aaa111", "held"])
    with store.read() as tx:
        assert [n.notice_id for n in outbox.listed(tx, 5)] == ["aaa111"]


def test_what_tells_of_an_episode_is_found_by_its_whole_id_only(store: Store) -> None:
    put(store, PLAIN)
    with store.read() as tx:
        assert outbox.about(tx, "dry:1:100") == [PLAIN]
        assert outbox.about(tx, "dry:2:100'") == [PLAIN]
        assert outbox.about(tx, "dry:2:100") == []
        assert outbox.about(tx, "dry:1:10") == []
        assert outbox.about(tx, "%") == []


def test_a_notice_is_found_by_its_beginning_unless_two_begin_so(store: Store) -> None:
    put(store, PLAIN, replace(PLAIN, notice_id="aaa222"))
    with store.read() as tx:
        assert outbox.notice_named(tx, "aaa2").notice_id == "aaa222"
        for text in ("aaa", "zzz", "%"):
            with pytest.raises(UnknownNameError):
                outbox.notice_named(tx, text)


def test_what_was_sent_can_be_left_out_of_the_list(store: Store) -> None:
    put(store, PLAIN, replace(PLAIN, notice_id="sent", state=NoticeState.SENT))
    with store.read() as tx:
        assert [n.notice_id for n in outbox.listed(tx, 5, with_sent=False)] == ["aaa111"]
