"""Ingest: messages become rows, or go to quarantine; after the commit they are acknowledged.

One thread stores. While it commits, the next messages gather; so a batch is as large as the load is high,
and a single message waits for nobody.
"""

import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from traywarden.domain.quality import NEWER_THAN_RECEIVED_MS
from traywarden.domain.readings import Reading
from traywarden.errors import StoreBusyError, StoreFullError, TraywardenError, WireError
from traywarden.links.inbox import Inbox, Link, Message
from traywarden.services.clock import Clock
from traywarden.services.receipts import Key, Receipts
from traywarden.settings import Settings
from traywarden.store import probes as probe_store
from traywarden.store import quarantine
from traywarden.store import readings as reading_store
from traywarden.store.store import Store
from traywarden.wire import packs, topics

FILTERS = tuple(f"{topics.PREFIX}/+/+/{kind}" for kind in (topics.READINGS, topics.STATE))
"""What the host subscribes to: of every garden, so that a probe set to the wrong one is noticed."""
MOST_STATE_BYTES = 8_192
QUIET_S = 0.1
_FIRST_RETRY_S = 0.2
_LONGEST_RETRY_S = 10.0
_MOST_TOPICS = 10_000

_state = msgspec.json.Decoder(dict[str, Any])


def wanted(topic: str) -> bool:
    """Whether a topic is the host's to store or to put into quarantine."""
    return topic.startswith(topics.PREFIX + "/") and topic.endswith(
        ("/" + topics.READINGS, "/" + topics.STATE)
    )


@dataclass(frozen=True, slots=True)
class Committed:
    """What one commit brought: newest and oldest measured time of each head it touched, and new rows."""

    head_times: dict[int, int]
    rows: int
    head_oldest: dict[int, int] = field(default_factory=dict)
    messages: int = 0
    at_s: float = field(default=math.inf, compare=False)
    """When it was over, by the monotonic clock."""


@dataclass(slots=True)
class _Batch:
    """Messages, taken apart, on their way into one transaction."""

    messages: list[Message] = field(default_factory=list)
    rows: list[Reading] = field(default_factory=list)
    newest: dict[tuple[str, int], int] = field(default_factory=dict)
    clock_ms: int = 0
    """Newest measured time that is not dated later than its arrival."""
    earliest: dict[tuple[str, int], int] = field(default_factory=dict)
    heard: dict[str, int] = field(default_factory=dict)
    states: dict[str, tuple[dict[str, Any], int]] = field(default_factory=dict)
    sequences: dict[Key, list[int]] = field(default_factory=dict)
    oldest: dict[Key, int | None] = field(default_factory=dict)
    asked: dict[str, packs.TimeTold] = field(default_factory=dict)
    refused: list[tuple[Message, str]] = field(default_factory=list)


class _EndedError(Exception):
    """The host ends while the store is in trouble; what is not acknowledged comes again."""


class Ingest:
    """Stores what a link brings. `run` is the storing thread's life, until the inbox is closed and empty.

    `after_commit` is told of each commit, `quiet` when nothing has come for a moment after one; both must be
    quick. `say` takes one sentence for each trouble and one
    when it is over.
    """

    def __init__(
        self,
        store: Store,
        link: Link,
        inbox: Inbox,
        garden: str,
        settings: Settings,
        clock: Clock,
        *,
        after_commit: Callable[[Committed], None],
        quiet: Callable[[], None] = lambda: None,
        say: Callable[[str], None],
    ) -> None:
        self._store, self._link, self._inbox, self._garden = store, link, inbox, garden
        self._clock, self._say = clock, say
        self._after_commit, self._quiet = after_commit, quiet
        self._batch_rows: int = settings["store.batch_rows"]
        self._limits = {
            "most_bytes": settings["wire.most_bytes"],
            "most_records": settings["wire.most_records"],
        }
        self._receipts = Receipts(self._stored)
        self._topics: dict[str, topics.Topic | str] = {}
        self._ending = threading.Event()
        self._trouble = ""
        self._under_way = 0
        self.messages = self.rows = self.refused = 0
        self._storing_since_s: float | None = None
        self._took_s: float | None = None

    @property
    def waiting(self) -> int:
        """Messages that have arrived and are not stored yet."""
        return len(self._inbox) + self._under_way

    @property
    def takes_s(self) -> float | None:
        """How long storing a batch took, or takes by now; None: nothing was stored yet."""
        since_s = self._storing_since_s
        return self._took_s if since_s is None else max(self._took_s or 0.0, time.monotonic() - since_s)

    def run(self) -> None:
        told_quiet = True
        while True:
            messages = self._inbox.take(self._batch_rows, wait_s=None if told_quiet else QUIET_S)
            if not messages:
                self._quiet()
                told_quiet = True
                if self._inbox.closed:
                    return
                continue
            told_quiet = False
            self._under_way = len(messages)
            try:
                for batch in self._batches(messages):
                    self._settle(batch)
            except _EndedError:
                return
            self._under_way = 0

    def end(self) -> None:
        """Do not wait for a store in trouble any longer."""
        self._ending.set()

    # Taking apart ------------------------------------------------------------------------------------------

    def _batches(self, messages: Sequence[Message]) -> Iterator[_Batch]:
        batch = _Batch()
        for message in messages:
            self._take_apart(message, batch)
            if len(batch.rows) >= self._batch_rows:
                yield batch
                batch = _Batch()
        if batch.messages:
            yield batch

    def _take_apart(self, message: Message, batch: _Batch) -> None:
        batch.messages.append(message)
        topic = self._topics.get(message.topic)
        if topic is None:
            topic = self._parsed(message.topic)
        if type(topic) is str:
            batch.refused.append((message, topic))
            return
        assert type(topic) is topics.Topic
        try:
            if topic.kind == topics.READINGS:
                self._take_pack(message, topic.probe, batch)
            elif message.payload:  # an empty one only clears what the broker retained
                state = _state_from(message.payload)
                if (asked := state.get("asks_time")) is None:
                    batch.states[topic.probe] = (state, message.received_ms)
                elif type(asked) is int:  # a question is no state, and has an answer only now
                    batch.asked[topic.probe] = packs.TimeTold(asked, message.received_ms)
        except WireError as error:
            batch.refused.append((message, str(error)))

    def _take_pack(self, message: Message, probe: str, batch: _Batch) -> None:
        received_ms = message.received_ms
        rows, info = packs.read_pack(message.payload, probe, received_ms, **self._limits)
        batch.rows += rows
        batch.heard[probe] = received_ms
        newest, earliest = batch.newest, batch.earliest
        credible_ms = received_ms + NEWER_THAN_RECEIVED_MS
        for row in rows:
            who, time_ms = row[:2], row.time_ms
            if time_ms > newest.get(who, -1):
                newest[who] = time_ms
            if batch.clock_ms < time_ms <= credible_ms:
                batch.clock_ms = time_ms
            if time_ms < earliest.setdefault(who, time_ms):
                earliest[who] = time_ms
        for boot, oldest in info.oldest_by_boot.items():
            key = probe, boot
            batch.sequences.setdefault(key, []).extend(
                [row.sequence for row in rows if row.boot == boot] if len(rows) > 1 else [rows[0].sequence]
            )
            before = batch.oldest.setdefault(key, oldest)
            if before is None or (oldest is not None and oldest < before):
                batch.oldest[key] = oldest

    def _parsed(self, name: str) -> topics.Topic | str:
        if len(self._topics) >= _MOST_TOPICS:
            self._topics.clear()
        found: topics.Topic | str
        try:
            found = topics.parse(name)
            if found.garden != self._garden:
                found = (
                    f"The topic names the garden “{found.garden}”, and this host keeps “{self._garden}”; "
                    "correct the garden in the probe's settings."
                )
        except WireError as error:
            found = str(error)
        self._topics[name] = found
        return found

    # Storing -----------------------------------------------------------------------------------------------

    def _settle(self, batch: _Batch) -> None:
        """Store a batch whatever comes: wait for a store in trouble, and set aside what it will not take."""
        wait_s, began_s = _FIRST_RETRY_S, time.monotonic()
        self._storing_since_s = began_s
        while True:
            try:
                committed = self._commit(batch)
            except (StoreBusyError, StoreFullError) as error:
                self._wait(error, wait_s)
            except Exception as error:  # noqa: BLE001 - one strange message must not stop all the others
                if len(batch.messages) > 1:
                    self._settle_halves(batch.messages)
                    return
                if batch.refused:  # not even quarantine takes it: the store itself is in trouble
                    self._wait(error, wait_s)
                else:
                    batch = _Batch(batch.messages, refused=[(batch.messages[0], _reason(error))])
            else:
                self._took_s, self._storing_since_s = time.monotonic() - began_s, None
                self._tell(batch, committed)
                return
            wait_s = min(wait_s * 2, _LONGEST_RETRY_S)

    def _settle_halves(self, messages: Sequence[Message]) -> None:
        middle = len(messages) // 2
        for half in (messages[:middle], messages[middle:]):
            for batch in self._batches(half):
                self._settle(batch)

    def _wait(self, error: Exception, wait_s: float) -> None:
        if not self._trouble:
            self._say(f"{error} Until then nothing is acknowledged and nothing is lost; trying again.")
        self._trouble = str(error)
        if self._ending.wait(wait_s):
            raise _EndedError

    def _commit(self, batch: _Batch) -> Committed:
        head_times: dict[int, int] = {}
        head_oldest: dict[int, int] = {}
        new = 0
        with self._store.write() as tx:
            if batch.rows:
                ids = probe_store.ensure_heads(tx, batch.newest, min(batch.heard.values()))
                head_times = {ids[who]: time_ms for who, time_ms in batch.newest.items()}
                head_oldest = {ids[who]: time_ms for who, time_ms in batch.earliest.items()}
                new = reading_store.insert(tx, batch.rows)
                probe_store.touch(tx, batch.heard)
            for probe, (state, at_ms) in batch.states.items():
                probe_store.set_state(tx, probe, state, at_ms)
            for message, reason in batch.refused:
                quarantine.put(tx, message.topic, bytes(message.payload), reason, message.received_ms)
        return Committed(head_times, new, head_oldest, len(batch.messages), time.monotonic())

    def _tell(self, batch: _Batch, committed: Committed) -> None:
        self._link.acknowledge(batch.messages)
        if self._trouble:
            self._trouble = ""
            self._say("The store takes readings again.")
        self.messages += len(batch.messages)
        self.rows += committed.rows
        self.refused += len(batch.refused)
        if batch.newest:
            self._clock.observe(batch.clock_ms)
        self._after_commit(committed)
        self._give_receipts(batch)
        for probe, told in batch.asked.items():
            self._link.publish(topics.receipt_topic(self._garden, probe), packs.write_time(told))

    def _give_receipts(self, batch: _Batch) -> None:
        for key, sequences in batch.sequences.items():
            try:
                end = self._receipts.committed(key, sequences, batch.oldest[key])
            except TraywardenError:
                continue  # the store could not be asked; the probe sends again and is answered then
            if end is not None:
                probe, boot = key
                self._link.publish(
                    topics.receipt_topic(self._garden, probe), packs.write_receipt(packs.Receipt(boot, end))
                )

    def _stored(self, probe: str, boot: int, from_sequence: int | None) -> list[tuple[int, int]]:
        with self._store.read() as tx:
            return reading_store.stored_stretches(tx, probe, boot, from_sequence)


def _state_from(payload: bytes) -> dict[str, Any]:
    if len(payload) > MOST_STATE_BYTES:
        raise WireError(f"The state is {len(payload)} bytes long; send at most {MOST_STATE_BYTES}.")
    try:
        return _state.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise WireError(f"The state is not a JSON object ({error}); send one.") from None


def _reason(error: Exception) -> str:
    told = str(error) if isinstance(error, TraywardenError) else f"{type(error).__name__}: {error}"
    return f"The store would not take it ({told[:300]}); correct the values at the sender."
