"""Deliver: sends what is due, one thread per channel, so that a channel that hangs delays only itself.

A notice is marked sent after its channel has confirmed it. Whatever happens in between, it is sent again
with the same id: at least once, never lost.
"""

import logging
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping

from traywarden.domain.notices import Notice, retry_after_ms
from traywarden.domain.sending_order import overtaken
from traywarden.errors import ChannelError, StoreError
from traywarden.links.channels import CONSOLE, MQTT, Channel, Message
from traywarden.points import point
from traywarden.services.clock import Clock
from traywarden.services.week_by_schedule import attachment_of
from traywarden.settings import Settings
from traywarden.store import notices as notice_store
from traywarden.store.store import Store, Tx

log = logging.getLogger(__name__)

LOOK_S = 2.0
"""How often the outbox is looked at without being woken: another process may have freed a parked notice."""


REFUSED_ALONE = 3
"""A notice that was the first to fail so often, after others were taken, is itself the trouble (no source).
In every fourth try of a channel that fails another goes first, to find that out."""


class Lane:
    """One channel's way out: what is due, in order, and when to try again."""

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        channel: Channel,
        footer: Callable[[Notice], str],
    ) -> None:
        self._store, self._clock, self._channel, self._footer = store, clock, channel, footer
        self._home = settings.home
        self._first_s: float = settings["notices.first_retry_s"]
        self._longest_s: float = settings["notices.longest_retry_s"]
        self._most: int = settings["notices.most_attempts"]
        self._failures = 0
        self._not_before_ms = 0
        self._sending = ""  # the notice that the channel has been or is about to be given
        self._confirmed: set[str] = set()  # delivered, but the store would not take it yet
        self._seen_ms: int | None = None  # the clock when we last looked
        self._alone: Counter[str] = Counter()  # refused while others were taken, so often

    def send_due(self, ending: Callable[[], bool] = lambda: False) -> None:
        """Send everything due now; stops at the first failure that speaks for the whole channel."""
        self._write_confirmed()
        self._mind_the_clock()
        while not ending():
            now_ms = self._clock.now_ms()
            if now_ms < self._not_before_ms:
                return
            with self._store.read() as tx:
                due = notice_store.due(
                    tx, self._channel.name, now_ms, self._refused, least_tried=self._failures % 4 == 3
                )
            due = [n for n in due if n.notice_id not in self._confirmed]
            if not due:
                return
            for notice in due:
                if ending() or not self._send(notice):
                    return

    def _mind_the_clock(self) -> None:
        """Where the clock was set back, what waits for a time that is far off again is due now."""
        now_ms, before_ms = self._clock.now_ms(), self._seen_ms
        if before_ms is not None and now_ms >= before_ms:
            self._seen_ms = now_ms
            return
        # At the start it may have been set while nobody looked: only what waits longer than it should.
        longest_ms = round(self._longest_s * 1000) if before_ms is None else 0
        with self._store.write() as tx:
            notice_store.hurry(tx, self._channel.name, now_ms, beyond_ms=now_ms + longest_ms)
        self._seen_ms, self._not_before_ms = now_ms, 0

    def is_sending(self, notice_id: str) -> bool:
        """Whether the channel may have it without the store knowing. Called on other threads."""
        return notice_id == self._sending or notice_id in self._confirmed

    @property
    def hangs(self) -> bool:
        """Whether it is being given something now."""
        return bool(self._sending)

    def _send(self, notice: Notice) -> bool:
        self._sending = notice.notice_id  # before it is looked at: who holds it back sees either
        try:
            return self._try(notice)
        finally:
            self._sending = ""

    def _try(self, notice: Notice) -> bool:
        """Whether the channel may be used for the next one at once."""
        with self._store.read() as tx:
            if not notice_store.is_waiting(tx, notice.notice_id):  # hushed since it was read
                return True
        point("about to send")
        try:
            self._channel.send(self._message(notice))
        except ChannelError as error:
            return self._failed(notice, error)
        point("channel has confirmed")
        self._confirmed.add(notice.notice_id)
        self._alone.pop(notice.notice_id, None)
        recovered, self._failures = self._failures > 0, 0
        self._write_confirmed(recovered=recovered)
        return True

    def _message(self, notice: Notice) -> Message:
        """Its links are made for the way out alone: they are kept nowhere."""
        footer = "" if self._channel.name in (CONSOLE, MQTT) else self._footer(notice)
        return Message(
            notice.notice_id,
            notice.severity,
            notice.title,
            f"{notice.body}\n\n{footer}" if footer else notice.body,
            attachment_of(self._home, notice.notice_id),
            tuple((episode_id, kind.value) for episode_id, kind in notice.changes),
            notice.created_ms,
        )

    def _write_confirmed(self, *, recovered: bool = False) -> None:
        if not self._confirmed:
            return
        now_ms = self._clock.now_ms()
        with self._store.write() as tx:
            for notice_id in self._confirmed:
                notice_store.mark_sent(tx, notice_id, now_ms)
                self._give_up_overtaken(tx, notice_id)
            if recovered:
                notice_store.hurry(tx, self._channel.name, now_ms)
            point("sent written")
        point("sent committed")
        self._confirmed.clear()

    @property
    def _refused(self) -> set[str]:
        return {notice_id for notice_id, times in self._alone.items() if times >= REFUSED_ALONE}

    def _give_up_overtaken(self, tx: Tx, sent_id: str) -> None:
        """What was refused by itself and comes before what was sent is too late now: a person looks."""
        if not self._refused:
            return
        left = [n for n in notice_store.waiting(tx, self._channel.name) if n.notice_id in self._refused]
        for notice in overtaken(notice_store.notice_named(tx, sent_id), left):
            why = f"refused {notice.attempts} times while others were taken: {notice.trouble}"
            notice_store.park(tx, notice.notice_id, why, tried=False)

    def _failed(self, notice: Notice, error: ChannelError) -> bool:
        attempts, now_ms = notice.attempts + 1, self._clock.now_ms()
        given_up = error.permanent or attempts >= self._most
        with self._store.write() as tx:
            if error.permanent:
                notice_store.park(tx, notice.notice_id, f"refused for good: {error}")
            elif given_up:
                notice_store.park(tx, notice.notice_id, f"gave up after {attempts} attempts: {error}")
            else:
                wait_ms = self._wait_ms(attempts, error)
                notice_store.mark_failed(tx, notice.notice_id, str(error), now_ms + wait_ms)
            point("failure written")
        point("failure committed")
        log.warning("%s: notice %s not delivered: %s", self._channel.name, notice.notice_id, error)
        if error.permanent:
            return True  # this one; the next may be taken
        self._alone[notice.notice_id] += self._failures == 0
        self._failures += 1
        self._not_before_ms = now_ms + self._wait_ms(self._failures, error)
        return False

    def _wait_ms(self, failures: int, error: ChannelError) -> int:
        return retry_after_ms(
            failures,
            first_retry_s=self._first_s,
            longest_retry_s=self._longest_s,
            told_s=error.retry_after_s,
        )

    def wait_s(self) -> float:
        """How long nothing needs doing unless woken."""
        with self._store.read() as tx:
            next_ms = notice_store.next_due_ms(tx, self._channel.name)
        if next_ms is None and not self._confirmed:
            return LOOK_S
        until_ms = max(next_ms or 0, self._not_before_ms) - self._clock.now_ms()
        return min(LOOK_S, max(0.01, until_ms / 1000.0))


class Deliver:
    """One lane per channel. `clock` is the system's: retries wait in the time the other side lives in.

    Nothing is sent before `ready` is set (every rule has been judged once since the start).
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        channels: Mapping[str, Channel],
        *,
        ready: threading.Event | None = None,
        footer: Callable[[Notice], str] = lambda notice: "",
    ) -> None:
        self._lanes = {
            name: Lane(store, settings, clock, channel, footer) for name, channel in channels.items()
        }
        self._wakes = {name: threading.Event() for name in channels}
        self._ready = ready
        self._ending = threading.Event()
        self._threads: list[threading.Thread] = []

    def wake(self) -> None:
        """Something may be due."""
        for wake in self._wakes.values():
            wake.set()

    def is_sending(self, notice_id: str) -> bool:
        """Whether a channel may have been given it already, though the store does not know."""
        return any(lane.is_sending(notice_id) for lane in self._lanes.values())

    @property
    def hangs(self) -> bool:
        """Whether a channel is being given something now."""
        return any(lane.hangs for lane in self._lanes.values())

    def send_due(self) -> None:
        """Send what is due over every channel, on the calling thread."""
        if self._ready is None or self._ready.is_set():
            for lane in self._lanes.values():
                lane.send_due()

    def start(self) -> None:
        for name, lane in self._lanes.items():
            thread = threading.Thread(
                target=self._run, args=(lane, self._wakes[name]), name=f"deliver {name}", daemon=True
            )
            self._threads.append(thread)
            thread.start()

    def stop(self, patience_s: float = 5.0) -> None:
        """End after the attempt under way, but wait for it only so long: it is sent again after a start."""
        self._ending.set()
        self.wake()
        until_s = time.monotonic() + patience_s
        for thread in self._threads:
            thread.join(max(0.0, until_s - time.monotonic()))
        self._threads.clear()

    def _run(self, lane: Lane, wake: threading.Event) -> None:
        while self._ready is not None and not self._ready.is_set():
            self._ready.wait(LOOK_S)
            if self._ending.is_set():
                return
        while not self._ending.is_set():
            wake.clear()
            try:
                lane.send_due(self._ending.is_set)
                wait_s = lane.wait_s()
            except StoreError as error:
                if self._ending.is_set():
                    return
                log.warning("sending waits: %s", error)
                wait_s = LOOK_S
            wake.wait(wait_s)
