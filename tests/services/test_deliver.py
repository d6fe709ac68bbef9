"""Delivering: at least once, in order, backing off, parked in sight, never lost."""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from tests.links.mail_and_web import Hook, web_server
from tests.services.watched_garden import START_MS, DrivenClock, MemoryChannel, settings_with
from traywarden.domain.episodes import ChangeKind
from traywarden.domain.notices import Hold, Notice, NoticeState, retry_after_ms
from traywarden.errors import ChannelError, StoreBusyError
from traywarden.links.channels import AppriseChannel, Message
from traywarden.services.clock import SystemClock
from traywarden.services.deliver import Deliver
from traywarden.settings import Channel, Secret
from traywarden.store import notices as notice_store
from traywarden.store.store import Store


def notice(
    notice_id: str, channel: str = "console", severity: str = "urgent", created_ms: int = START_MS
) -> Notice:
    return Notice(
        notice_id,
        channel,
        severity,
        f"title {notice_id}",
        "body",
        ((f"dry:{notice_id}:{created_ms}", ChangeKind.OPENED),),
        created_ms,
        NoticeState.WAITING,
    )


class Bench:
    """An outbox, a channel, and a Deliver that the test drives."""

    def __init__(self, store: Store, **values: Any) -> None:
        self.store, self.clock, self.channel = store, DrivenClock(START_MS), MemoryChannel()
        self.settings = settings_with(**values)
        self.restart()

    def restart(self) -> None:
        self.deliver = Deliver(self.store, self.settings, self.clock, {"console": self.channel})

    def put(self, *notices: Notice) -> None:
        with self.store.write() as tx:
            notice_store.put(tx, notices)

    def at(self, notice_id: str) -> Notice:
        with self.store.read() as tx:
            return notice_store.notice_named(tx, notice_id)


@pytest.fixture
def bench(sqlite_store: Store) -> Bench:
    return Bench(sqlite_store)


def test_what_is_due_is_sent_and_marked(bench: Bench) -> None:
    bench.put(notice("a"))
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["a"]
    assert (bench.at("a").state, bench.at("a").sent_ms, bench.at("a").attempts) == (
        NoticeState.SENT,
        START_MS,
        1,
    )
    bench.deliver.send_due()
    assert len(bench.channel.got) == 1


def test_urgent_goes_first_then_the_oldest(bench: Bench) -> None:
    bench.put(
        notice("young", severity="info", created_ms=START_MS + 2),
        notice("old", severity="info", created_ms=START_MS + 1),
        notice("urgent", created_ms=START_MS + 3),
    )
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["urgent", "old", "young"]


def test_what_is_held_back_while_others_are_sent_is_not_sent(bench: Bench) -> None:
    bench.put(notice("a"), notice("b", created_ms=START_MS + 1))
    sends = bench.channel.send

    def hushing(message: Message) -> None:
        sends(message)
        with bench.store.write() as tx:
            notice_store.hold(tx, "b", Hold.HUSH, "hushed")

    bench.channel.send = hushing  # type: ignore[method-assign]
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["a"]
    assert bench.at("b").state is NoticeState.HELD


def test_a_failure_is_retried_after_a_wait_that_doubles_up_to_the_longest() -> None:
    """RFC 5321 section 4.5.4.1 asks for waits that grow; the figures are the settings' defaults."""
    waits_s = [retry_after_ms(n, first_retry_s=30, longest_retry_s=3600) / 1000 for n in range(1, 10)]
    assert waits_s == [30, 60, 120, 240, 480, 960, 1920, 3600, 3600]


def test_nothing_is_tried_before_its_wait_is_over(bench: Bench) -> None:
    bench.put(notice("a"))
    bench.channel.fail = ChannelError("no line")
    bench.deliver.send_due()
    assert (bench.at("a").state, bench.at("a").attempts, bench.at("a").trouble) == (
        NoticeState.WAITING,
        1,
        "no line",
    )
    bench.channel.fail = None
    bench.clock.ms += 29_000
    bench.deliver.send_due()
    assert bench.channel.got == []
    bench.clock.ms += 1_000
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["a"]
    assert bench.at("a").trouble == ""


def test_a_channel_is_left_alone_for_as_long_as_it_asked(bench: Bench) -> None:
    bench.put(notice("a"), notice("b"))
    bench.channel.fail = ChannelError("busy", retry_after_s=300)
    bench.deliver.send_due()
    bench.channel.fail = None
    bench.clock.ms += 299_000
    bench.deliver.send_due()
    assert bench.channel.got == []
    bench.clock.ms += 1_000
    bench.deliver.send_due()
    assert {m.notice_id for m in bench.channel.got} == {"a", "b"}


def test_a_permanent_refusal_is_parked_at_once_and_the_next_one_is_sent(bench: Bench) -> None:
    bench.put(notice("a"))
    bench.channel.fail = ChannelError("no such address", permanent=True)
    bench.deliver.send_due()
    assert bench.at("a").state is NoticeState.PARKED
    assert bench.at("a").trouble == "refused for good: no such address"
    bench.channel.fail = None
    bench.put(notice("b"))
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["b"]


def test_after_the_most_attempts_it_is_parked_with_the_last_reason_and_can_be_freed(
    sqlite_store: Store,
) -> None:
    bench = Bench(sqlite_store, notices__most_attempts=3)
    bench.put(notice("a"))
    bench.channel.fail = ChannelError("no line")
    for _ in range(5):
        bench.deliver.send_due()
        bench.clock.ms += 3_600_000
    assert (bench.at("a").state, bench.at("a").attempts) == (NoticeState.PARKED, 3)
    assert bench.at("a").trouble == "gave up after 3 attempts: no line"
    bench.channel.fail = None
    with bench.store.write() as tx:
        notice_store.release(tx, "a", bench.clock.ms)
    bench.deliver.send_due()
    assert bench.at("a").state is NoticeState.SENT


def test_one_notice_that_is_never_taken_does_not_starve_the_others(sqlite_store: Store) -> None:
    bench = Bench(sqlite_store)
    poison = notice("poison")
    bench.put(poison)
    sent = bench.channel.send

    def send(message: object) -> None:
        if getattr(message, "notice_id", "") == "poison":
            raise ChannelError("500")
        sent(message)  # type: ignore[arg-type]

    bench.channel.send = send  # type: ignore[method-assign]
    for number in range(10):
        bench.put(notice(f"n{number}", created_ms=START_MS + number + 1))
        bench.deliver.send_due()
        bench.clock.ms += 120_000
    assert len(bench.channel.got) >= 9


def test_what_a_channel_refuses_by_itself_is_parked_once_something_later_of_its_need_was_taken(
    sqlite_store: Store,
) -> None:
    bench = Bench(sqlite_store)
    end = replace(notice("end", severity="info"), changes=(("dry:tray-1:10", ChangeKind.CLOSED),))
    again = replace(notice("again"), changes=(("dry:tray-1:30", ChangeKind.OPENED),))
    bench.put(end, again)
    sent = bench.channel.send

    def send(message: Message) -> None:
        if message.notice_id == "end":
            raise ChannelError("500")
        sent(message)

    bench.channel.send = send  # type: ignore[method-assign]
    for number in range(40):
        bench.put(notice(f"n{number}", created_ms=START_MS + number + 1))
        bench.deliver.send_due()
        bench.clock.ms += 120_000
    assert "again" in [m.notice_id for m in bench.channel.got]
    assert bench.at("end").state is NoticeState.PARKED
    assert bench.at("end").trouble.endswith("while others were taken: 500")


def test_a_crash_between_sending_and_marking_sends_it_again_with_the_same_id(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.put(notice("a"))

    def crash(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(notice_store, "mark_sent", crash)
        with pytest.raises(KeyboardInterrupt):
            bench.deliver.send_due()
    assert bench.at("a").state is NoticeState.WAITING
    bench.restart()
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["a", "a"]
    assert bench.at("a").state is NoticeState.SENT


def test_a_store_that_will_not_take_the_mark_does_not_make_it_send_again(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.put(notice("a"))

    def busy(*_: object) -> None:
        raise StoreBusyError("locked")

    with monkeypatch.context() as patch:
        patch.setattr(notice_store, "mark_sent", busy)
        for _ in range(3):
            with pytest.raises(StoreBusyError):
                bench.deliver.send_due()
    bench.deliver.send_due()
    assert [m.notice_id for m in bench.channel.got] == ["a"]
    assert bench.at("a").state is NoticeState.SENT


def test_nothing_is_sent_before_everything_was_judged(sqlite_store: Store) -> None:
    bench = Bench(sqlite_store)
    ready = threading.Event()
    bench.deliver = Deliver(bench.store, bench.settings, bench.clock, {"console": bench.channel}, ready=ready)
    bench.put(notice("a"))
    bench.deliver.send_due()
    assert bench.channel.got == []
    ready.set()
    bench.deliver.send_due()
    assert len(bench.channel.got) == 1


# With real servers and threads


@pytest.fixture
def hook() -> Iterator[Hook]:
    with web_server() as server:
        yield server


def until(holds: Callable[[], Any], timeout_s: float = 30.0) -> bool:
    deadline_s = time.monotonic() + timeout_s
    while time.monotonic() < deadline_s:
        if holds():
            return True
        time.sleep(0.02)
    return False


@pytest.mark.parametrize(
    ("answers", "state", "trouble"),
    [
        ([], NoticeState.SENT, ""),
        ([(500, {}), (429, {"Retry-After": "0"}), (503, {})], NoticeState.SENT, ""),
        ([(403, {})], NoticeState.PARKED, "HTTP status 403"),
        ([(500, {})] * 4, NoticeState.PARKED, "gave up after 4 attempts: HTTP status 500"),
    ],
)
def test_a_webhook_gets_it_or_it_is_parked_with_the_reason(
    sqlite_store: Store,
    hook: Hook,
    answers: list[tuple[int, dict[str, str]] | None],
    state: NoticeState,
    trouble: str,
) -> None:
    hook.answers = list(answers)
    settings = settings_with(
        notices__first_retry_s=0.01, notices__longest_retry_s=0.05, notices__most_attempts=4
    )
    channel = AppriseChannel(Channel("hook", Secret(hook.url())))
    deliver = Deliver(sqlite_store, settings, SystemClock(), {"hook": channel})
    with sqlite_store.write() as tx:
        notice_store.put(tx, [notice("a", "hook")])
    deliver.start()
    try:

        def settled() -> bool:
            with sqlite_store.read() as tx:
                return notice_store.notice_named(tx, "a").state is state

        assert until(settled)
    finally:
        deliver.stop()
    with sqlite_store.read() as tx:
        assert trouble in notice_store.notice_named(tx, "a").trouble
    assert {got["notice_id"] for got in hook.got} == {"a"}


def test_a_channel_that_hangs_does_not_hold_up_another(sqlite_store: Store, hook: Hook) -> None:
    hook.answers = [None]
    hanging, memory = AppriseChannel(Channel("hook", Secret(hook.url()))), MemoryChannel()
    deliver = Deliver(sqlite_store, settings_with(), SystemClock(), {"hook": hanging, "console": memory})
    with sqlite_store.write() as tx:
        notice_store.put(tx, [notice("a", "hook")])
    deliver.start()
    try:
        assert hook.wait_for(1)
        with sqlite_store.write() as tx:
            notice_store.put(tx, [notice("b")])
        deliver.wake()
        assert until(lambda: memory.got)
    finally:
        hook.go.set()
        deliver.stop(patience_s=30)
    assert [m.notice_id for m in memory.got] == ["b"]
