"""Delivering to real servers that refuse, stall, break off, drip or are down: told, or parked with why.

Retries wait on a driven clock, so that a day takes a second; the servers and their sockets are real. The
waits expected here are docs/notices.md's, written out: 30 s, doubled each time, at most an hour.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from itertools import pairwise
from typing import Any

import pytest

from tests.links.mail_and_web import DRIPS, Hook, Inbox, mail_server, web_server
from tests.services.test_deliver import notice, until
from tests.services.watched_garden import START_MS, DrivenClock, MemoryChannel, settings_with
from tests.system.brokers import free_port
from traywarden.domain.notices import Notice, NoticeState
from traywarden.errors import ChannelError
from traywarden.links.channels import AppriseChannel, Channel, Message
from traywarden.services.clock import SystemClock
from traywarden.services.deliver import Deliver
from traywarden.settings import Channel as ChannelSetting
from traywarden.settings import Secret
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

WAITS_S = [30, 60, 120, 240, 480, 960, 1920, 3600]
HOUR_S, DAY_S = 3600, 86_400
STEP_S = 30
"""Every stated wait is a multiple of it."""


class Timed:
    """A channel that notes when each attempt was made, on the driven clock."""

    def __init__(self, channel: Channel, clock: DrivenClock) -> None:
        self._channel, self._clock, self.name = channel, clock, channel.name
        self.tries: list[tuple[float, str]] = []

    def send(self, message: Message) -> None:
        self.tries.append(((self._clock.ms - START_MS) / 1000, message.notice_id))
        self._channel.send(message)

    @property
    def waits_s(self) -> list[float]:
        return [after - before for (before, _), (after, _) in pairwise(self.tries)]


class Line:
    """An outbox with one real channel, driven half a minute on, or from one try to the next."""

    def __init__(
        self,
        store: Store,
        to: str | Channel,
        *,
        clock: DrivenClock | None = None,
        whole_s: float = 20.0,
        hopeless_s: float = 600.0,
        **settings: Any,
    ) -> None:
        self.store, self.clock = store, clock or DrivenClock(START_MS)
        if isinstance(to, str):
            setting = ChannelSetting("out", Secret(to))
            to = AppriseChannel(setting, whole_s=whole_s, hopeless_s=hopeless_s)
        self.channel = Timed(to, self.clock)
        self.settings = settings_with(**settings)
        self.deliver = Deliver(store, self.settings, self.clock, {"out": self.channel})

    def put(self, *ids: str) -> None:
        with self.store.write() as tx:
            notice_store.put(tx, [notice(name, "out", created_ms=START_MS + n) for n, name in enumerate(ids)])

    def run(self, seconds: int) -> None:
        end_ms = self.clock.ms + seconds * 1000
        while self.clock.ms < end_ms:
            self.deliver.send_due()
            waiting = [n.next_try_ms for n in self.notices(NoticeState.WAITING)]
            next_ms = min((at for at in waiting if at > self.clock.ms), default=end_ms)
            if any(at <= self.clock.ms for at in waiting):  # due, but its channel is left alone
                next_ms = self.clock.ms + STEP_S * 1000
            self.clock.ms = min(next_ms, end_ms) - 1000
            self.deliver.send_due()  # a second before
            self.clock.ms += 1000

    def notices(self, *states: NoticeState) -> list[Notice]:
        with self.store.read() as tx:
            return notice_store.in_states(tx, *(states or tuple(NoticeState)))

    def sent_after_a_while(self) -> bool:
        self.run(STEP_S)
        return self.only.state is NoticeState.SENT

    @property
    def only(self) -> Notice:
        (found,) = self.notices()
        return found


@pytest.fixture
def inbox() -> Iterator[Inbox]:
    with mail_server() as server:
        yield server


@pytest.fixture
def hook() -> Iterator[Hook]:
    with web_server() as server:
        yield server


def _puts_off(inbox: Inbox) -> None:
    inbox.answer = "451 come back later"


def _knows_nobody_today(inbox: Inbox) -> None:
    inbox.to_answer = "450 mailbox busy"


def _breaks_off(inbox: Inbox) -> None:
    inbox.breaks_off = True


def _works(inbox: Inbox) -> None:
    inbox.answer = inbox.to_answer = ""
    inbox.breaks_off = inbox.forgets = inbox.stalls = False


@pytest.mark.parametrize(
    ("trouble", "said"),
    [
        (_puts_off, "451 come back later"),
        (_knows_nobody_today, "450 mailbox busy"),
        (_breaks_off, "Connection unexpectedly closed"),
    ],
)
def test_mail_put_off_or_broken_off_is_tried_again_at_the_stated_times(
    sqlite_store: Store, inbox: Inbox, trouble: Callable[[Inbox], None], said: str
) -> None:
    line = Line(sqlite_store, inbox.url())
    line.put("a")
    trouble(inbox)
    line.run(3 * HOUR_S)
    assert said in line.only.trouble
    _works(inbox)
    line.run(HOUR_S)
    assert line.channel.waits_s == [*WAITS_S, 3600]
    assert [mail["X-Traywarden-Notice"] for mail in inbox.mails] == ["a"]
    assert (line.only.state, line.only.trouble) == (NoticeState.SENT, "")


@pytest.mark.parametrize("stage", ["answer", "to_answer"])
def test_mail_refused_for_good_is_parked_with_the_servers_words_after_one_attempt(
    sqlite_store: Store, inbox: Inbox, stage: str
) -> None:
    setattr(inbox, stage, "550 no such person here")
    line = Line(sqlite_store, inbox.url())
    line.put("a", "b")
    line.run(HOUR_S)
    assert line.channel.tries == [(0, "a"), (0, "b")]
    for each in line.notices():
        assert each.state is NoticeState.PARKED
        assert "refused for good" in each.trouble
        assert "550 no such person here" in each.trouble


def test_a_mail_server_that_stalls_is_given_up_on_and_tried_again(sqlite_store: Store, inbox: Inbox) -> None:
    line = Line(sqlite_store, inbox.url(), whole_s=0.3)
    line.put("a")
    inbox.stalls = True
    line.run(60)
    assert "has not come back" in line.only.trouble  # no second connection while the first one hangs
    _works(inbox)
    assert until(lambda: inbox.mails)  # it came through after all, but nobody was listening any more
    assert until(line.sent_after_a_while)
    assert {mail["X-Traywarden-Notice"] for mail in inbox.mails} == {"a"}


def test_a_mail_taken_without_a_word_comes_again_with_the_same_id(sqlite_store: Store, inbox: Inbox) -> None:
    """Whether the server had it cannot be known; twice is better than never."""
    line = Line(sqlite_store, inbox.url())
    line.put("a")
    inbox.forgets = True
    line.run(STEP_S)
    assert [n.notice_id for n in line.notices(NoticeState.WAITING)] == ["a"]
    _works(inbox)
    line.run(STEP_S)
    assert [n.notice_id for n in line.notices(NoticeState.SENT)] == ["a"]
    assert [mail["X-Traywarden-Notice"] for mail in inbox.mails] == ["a", "a"]


def test_after_a_mail_server_was_down_for_a_day_everything_arrives_within_the_longest_wait(
    sqlite_store: Store,
) -> None:
    port = free_port()
    line = Line(sqlite_store, Inbox(port).url())
    line.put("a", "b", "c")
    line.run(DAY_S)
    assert [n.state for n in line.notices()] == [NoticeState.WAITING] * 3
    assert all("Connection refused" in n.trouble for n in line.notices())
    assert line.channel.waits_s == [*WAITS_S, *[3600] * (len(line.channel.tries) - 9)]
    tries = len(line.channel.tries)
    with mail_server(port) as inbox:
        line.run(HOUR_S)
    assert sorted(mail["X-Traywarden-Notice"] for mail in inbox.mails) == ["a", "b", "c"]
    assert [n.state for n in line.notices()] == [NoticeState.SENT] * 3
    assert len(line.channel.tries) == tries + 3  # the first one through takes the others with it


def test_a_notice_alone_outlasts_four_days_without_its_server(sqlite_store: Store) -> None:
    """RFC 5321, section 4.5.4.1: the give-up time generally needs to be at least 4-5 days."""
    nowhere = MemoryChannel("out")
    nowhere.fail = ChannelError("Connection refused")
    line = Line(sqlite_store, nowhere)
    line.put("a")
    line.run(4 * DAY_S)
    assert [n.notice_id for n in line.notices(NoticeState.WAITING)] == ["a"]
    line.run(DAY_S)
    (parked,) = line.notices(NoticeState.PARKED)
    assert parked.trouble.startswith("gave up after")
    assert "Connection refused" in parked.trouble


@pytest.mark.parametrize("restarts", [False, True])
def test_a_clock_set_back_by_days_makes_no_notice_wait_for_days(sqlite_store: Store, restarts: bool) -> None:
    """A board without a battery for its clock takes any time for now until a time server answers."""
    out = MemoryChannel("out")
    line = Line(sqlite_store, out)
    out.fail = ChannelError("no line")
    line.put("a")
    line.run(HOUR_S)
    out.fail = None
    line.clock.set_by(-3 * DAY_S * 1000)
    if restarts:
        line = Line(sqlite_store, out, clock=line.clock)
    line.run(STEP_S)
    assert [message.notice_id for message in out.got] == ["a"]


def test_a_webhook_with_a_fault_of_its_own_is_asked_at_the_stated_times(
    sqlite_store: Store, hook: Hook
) -> None:
    line = Line(sqlite_store, hook.url())
    line.put("a")
    hook.answers = [(500, {})] * 10
    line.run(5 * HOUR_S)
    assert line.channel.waits_s == [*WAITS_S, 3600, 3600]
    assert [got["notice_id"] for got in hook.got] == ["a"] * 11
    assert line.only.state is NoticeState.SENT


@pytest.mark.parametrize("as_date", [False, True])
def test_a_webhook_is_left_alone_for_as_long_as_it_asks(
    sqlite_store: Store, hook: Hook, as_date: bool
) -> None:
    """In seconds or as a date (RFC 9110, section 10.2.3); what else waits for the channel waits as well."""
    when = datetime.now(UTC) + timedelta(seconds=600)
    hook.answers = [(429, {"Retry-After": format_datetime(when, usegmt=True) if as_date else "600"})]
    line = Line(sqlite_store, hook.url())
    line.put("a", "b")
    line.run(HOUR_S)
    assert [name for _, name in line.channel.tries] == ["a", "a", "b"]
    assert 570 <= line.channel.waits_s[0] <= 600  # a date has whole seconds; we look every half minute
    assert line.channel.waits_s[1] == 0


@pytest.mark.parametrize(
    "asked", ["-5", "soon", "1e99", "99999999999999999999", "Thu, 99 Foo 2020 00:00:00 GMT", ""]
)
def test_a_webhook_that_asks_for_nonsense_is_tried_within_a_day(
    sqlite_store: Store, hook: Hook, asked: str
) -> None:
    hook.answers = [(429, {"Retry-After": asked})]
    line = Line(sqlite_store, hook.url())
    line.put("a")
    line.run(DAY_S + STEP_S)
    assert line.only.state is NoticeState.SENT


@pytest.mark.parametrize("answer", [None, (DRIPS, {})])
def test_a_webhook_that_hangs_or_drips_is_given_up_on_and_tried_again(
    sqlite_store: Store, hook: Hook, answer: tuple[int, dict[str, str]] | None
) -> None:
    hook.answers = [answer]
    line = Line(sqlite_store, hook.url(), whole_s=0.3)
    line.put("a")
    line.run(STEP_S)
    assert "No answer within 0.3 s" in line.only.trouble
    hook.go.set()
    assert until(line.sent_after_a_while)
    assert {got["notice_id"] for got in hook.got} == {"a"}


def test_a_webhook_that_never_stops_dripping_ends_in_the_parked_ones_with_the_reason(
    sqlite_store: Store, hook: Hook
) -> None:
    hook.answers = [(DRIPS, {})] * 9
    line = Line(sqlite_store, hook.url(), whole_s=0.2, notices__most_attempts=4)
    line.put("a")
    line.run(HOUR_S)
    assert line.channel.waits_s == [30, 60, 120]
    assert line.only.state is NoticeState.PARKED
    assert "gave up after 4 attempts" in line.only.trouble


def test_a_webhook_that_never_stops_dripping_is_asked_again_once_it_works(
    sqlite_store: Store, hook: Hook
) -> None:
    hook.answers = [(DRIPS, {})]
    line = Line(sqlite_store, hook.url(), whole_s=0.2, hopeless_s=0.5)
    line.put("a")
    line.run(STEP_S)
    assert until(line.sent_after_a_while)
    assert not hook.go.is_set()  # the first answer is still dripping
    assert [got["notice_id"] for got in hook.got] == ["a", "a"]


def test_on_a_real_clock_no_wait_is_undercut(sqlite_store: Store, hook: Hook) -> None:
    """The same schedule, a hundred and fifty times as fast, by the threads that a host has."""
    hook.answers = [(500, {})] * 5
    settings = settings_with(notices__first_retry_s=0.2, notices__longest_retry_s=0.8)
    channel = AppriseChannel(ChannelSetting("out", Secret(hook.url())))
    with sqlite_store.write() as tx:
        notice_store.put(tx, [notice("a", "out")])
    deliver = Deliver(sqlite_store, settings, SystemClock(), {"out": channel})
    deliver.start()
    try:
        assert hook.wait_for(6)
    finally:
        deliver.stop()
    waited_s = [after - before for before, after in pairwise(hook.at_s)]
    for waited, stated in zip(waited_s, [0.2, 0.4, 0.8, 0.8, 0.8], strict=True):
        assert stated - 0.02 <= waited <= stated + 2.0
