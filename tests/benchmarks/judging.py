"""A thousand trays that each send a reading a minute: how long after its commit a reading has been judged.

It is the whole host that runs, with its threads, its broker and SQLite as ever: the rules at every reading
and those by the clock, upkeep, hushes, reminders and the outbox. Only the way from the broker into the inbox
is left out, so that which readings share a commit is ours to say. The clock is the readings' own and is put
forward now and then, so that every rule by the clock falls due while readings are judged.

A reading counts as judged when what every rule says of its tray then is known, and whatever that changed
(episodes, notices, states of rules) is committed. The baseline is storing the same readings in one commit.
"""

import asyncio
import os
import tempfile
import threading
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.figures import Figure
from tests.benchmarks.many_trays import DRY, WET, ManyTrays
from tests.system.hosts import made_home
from traywarden.domain.episodes import RuleState
from traywarden.domain.notices import NoticeState
from traywarden.domain.readings import Reading
from traywarden.domain.subjects import Subject, SubjectKind
from traywarden.links.inbox import Message
from traywarden.services.host import Host
from traywarden.store import hushes
from traywarden.store import notices as notice_store
from traywarden.store.store import Store
from traywarden.wire import packs, topics

TRAYS = 1_000
SPREAD_S = float(os.environ.get("TRAYWARDEN_SPREAD_S", "60"))
BURSTS = 6
MOST_P99_S = 1.0
NOT_JUDGED_S = 120.0
OVER_AN_HOUR_MIN = 61
"""So far the clock is put forward that all rules by the clock save one fall due."""
BETWEEN_S = 2.0
LEFT_OUT = ("without what other programs took", "of work, all threads of the host together")
"""On a machine that has other things to do these tell more than the clock on the wall."""
Floats = NDArray[np.float64]


class Moment(NamedTuple):
    """An instant, and how long the judging thread had by then been ready to run and not been let.

    That time belongs to other programs, or to other threads of ours; where the system does not tell, it is 0.
    `worked_s`: what all threads of this program together had worked.
    """

    at_s: float
    queued_s: float
    worked_s: float


def _moment(judging: Path) -> Moment:
    told = judging.read_text().split() if judging.exists() else ["0", "0"]
    return Moment(time.perf_counter(), int(told[1]) / 1e9, time.process_time())


@dataclass
class Watched:
    """When the readings of each tray were committed and when they had been judged, by measured time."""

    committed_s: dict[tuple[int, int], Moment] = field(default_factory=dict)
    judged_s: dict[tuple[int, int], Moment] = field(default_factory=dict)
    stored_s: list[float] = field(default_factory=list)
    thread_s: float = 0.0
    """What the judging thread has worked."""

    def waits(self, keys: Iterable[tuple[int, int]]) -> Floats:
        """How long each took [s]; that without what other programs took; and what this one worked."""
        keys = list(keys)
        until_s = time.perf_counter() + NOT_JUDGED_S
        while missing := sum(key not in self.judged_s for key in keys):
            assert time.perf_counter() < until_s, f"{missing} trays were not judged"
            time.sleep(0.05)
        pairs = [(self.committed_s[key], self.judged_s[key]) for key in keys]
        took = [(b.at_s - a.at_s, b.queued_s - a.queued_s, b.worked_s - a.worked_s) for a, b in pairs]
        return np.array([(all_s, all_s - queued_s, worked_s) for all_s, queued_s, worked_s in took]).T


class ThousandTrays:
    """The running host, and what is put into its inbox."""

    def __init__(self, host: Host, garden: ManyTrays) -> None:
        self._host, self.garden, self.seen = host, garden, Watched()
        self._tray_of = {garden.heads[name]: tray_id for name, tray_id in garden.trays.items()}
        self._mark: asyncio.Future[None] = asyncio.new_event_loop().create_future()
        self._mark.set_result(None)  # nobody waits for an acknowledgement
        self._listen()

    def _listen(self) -> None:
        ingest, states, seen = self._host.ingest, self._host.watch._states, self.seen
        commit, adopt = ingest._commit, states.adopt
        judging = next(t for t in threading.enumerate() if t.name == "judge the trays").native_id
        told = Path(f"/proc/self/task/{judging}/schedstat")

        def committing(batch: Any) -> Any:
            began_s = time.perf_counter()
            committed = commit(batch)
            now = _moment(told)
            if len(batch.rows) >= TRAYS // 2:
                seen.stored_s.append(now.at_s - began_s)
            for head_id, at_ms in committed.head_times.items():
                if head_id in self._tray_of:
                    seen.committed_s[self._tray_of[head_id], at_ms] = now
            return committed

        def adopting(found: Mapping[tuple[str, Subject], RuleState]) -> None:
            adopt(found)
            now = _moment(told)
            if threading.current_thread().name == "judge the trays":
                seen.thread_s = time.thread_time()
            for (rule, subject), state in found.items():
                if rule == "dry":
                    seen.judged_s[subject.number, state.judged_to_ms] = now

        ingest._commit, states.adopt = committing, adopting  # type: ignore[method-assign,assignment]

    def _put(self, readings: Iterable[Reading]) -> list[tuple[int, int]]:
        slug, trays = self._host.garden.slug, self.garden.trays
        for row in readings:
            topic = topics.readings_topic(slug, row.probe)
            payload = packs.pack_from_readings([row])
            self._host._inbox.put(Message(topic, payload, row.time_ms, False, self._mark))
        return [(trays[row.probe], row.time_ms) for row in readings if row.probe in trays]

    def spread(self) -> Floats:
        """A minute in which the readings come one after another; the air is measured in its middle."""
        rows, keys, began_s = list(self.garden.sent()), [], time.perf_counter()
        for n, row in enumerate(rows):
            time.sleep(max(0.0, began_s + n / len(rows) * SPREAD_S - time.perf_counter()))
            at_ms = self.garden.now_ms + round(n / len(rows) * 60_000)
            keys += self._put([row._replace(time_ms=at_ms, received_ms=at_ms)])
        self.garden.on(1)
        return self.seen.waits(keys)

    def burst(self, minutes: float = 1, wet: float = WET) -> Floats:
        """A minute whose readings come in one commit, as after the broker was away."""
        self.garden.on(minutes)
        rows = list(self.garden.sent(wet))
        with self._host.store.write():  # the first waits for this, and meanwhile the others gather
            keys = self._put(rows[:1])
            while len(self._host._inbox):
                time.sleep(0.001)
            keys += self._put(rows[1:])
        return self.seen.waits(keys)

    def counted(self) -> dict[NoticeState, int]:
        with self._host.store.read() as tx:
            return notice_store.counts(tx)


@contextmanager
def running(trays: int = TRAYS) -> Iterator[tuple[ThousandTrays, float]]:
    """The host over a garden that it has never seen, and how long it took until it had judged everything."""
    with tempfile.TemporaryDirectory() as name:
        settings = made_home(Path(name), broker__port=0, host__clock="readings", notices__mqtt=True)
        with Store.open(settings.store_url) as store:
            garden = ManyTrays(store, settings, trays)
        with Host(settings, say=lambda sentence: None) as host:
            began_s = time.perf_counter()
            assert host.watch.ready.wait(600)
            yield ThousandTrays(host, garden), time.perf_counter() - began_s


def _judged(says: str, took_s: Floats, stored_s: float) -> list[Figure]:
    p50_s, p99_s, most_s = (float(np.percentile(took_s[0], q)) for q in (50, 99, 100))
    return [
        Figure(f"{says}, p50", p50_s, "s"),
        Figure(
            f"{says}, p99",
            p99_s * 1000,
            "ms",
            baseline=stored_s * 1000,
            baseline_says="ms to store a thousand",
            most=MOST_P99_S * 1000,
        ),
        Figure(f"{says}, the last", most_s, "s"),
        *(
            Figure(f"{says}, p99 {what}", float(np.percentile(row, 99)) * 1000, "ms", most=MOST_P99_S * 1000)
            for row, what in zip(took_s[1:], LEFT_OUT, strict=True)
        ),
    ]


def run() -> list[Figure]:
    with running() as (bench, ready_s):
        bench.garden.on(OVER_AN_HOUR_MIN)
        spread_s = bench.spread()
        bursts, worked_s = [], []
        for number in range(BURSTS):
            before_s = bench.seen.thread_s
            bursts.append(bench.burst(OVER_AN_HOUR_MIN if number % 3 == 0 else 1))
            worked_s.append(bench.seen.thread_s - before_s)
            time.sleep(BETWEEN_S)
        hush_a_place(bench)
        turning = [bench.burst(10, DRY) for _ in range(5)]
        opened = bench.counted()
        reminding = [bench.burst(OVER_AN_HOUR_MIN, DRY) for _ in range(7)]
        watered = [bench.burst(10, 0.5) for _ in range(4)]
        stored_s = float(np.median(bench.seen.stored_s))
        with bench._host.store.read() as tx:
            told = notice_store.listed(tx, 10_000)
    reminded = sum(any(kind == "reminded" for _, kind in n.changes) for n in told)
    assert sum(opened.values()) >= 20, f"a thousand dry trays were not told of: {opened}"
    assert reminded >= 10, f"only {reminded} reminders of a thousand dry trays"
    each = f"{TRAYS} trays a minute"
    return [
        Figure("load of the machine in the last five minutes", os.getloadavg()[1], "threads"),
        Figure(f"{TRAYS} trays never judged before: every rule asked after the start", ready_s, "s"),
        *_judged(f"{each}, one by one", spread_s, stored_s),
        *_judged(f"{each}, all in one commit", np.hstack(bursts), stored_s),
        *_judged("the same, all of them turning dry", np.hstack(turning), stored_s),
        *_judged("the same, with reminders of all of them", np.hstack(reminding), stored_s),
        *_judged("the same, all of them watered", np.hstack(watered), stored_s),
        Figure(
            "work of judging one commit, other threads and programs left out",
            float(np.median(worked_s)),
            "s",
            most=MOST_P99_S,
        ),
    ]


def hush_a_place(bench: ThousandTrays) -> None:
    """What a tenth of the trays has to tell is held back, and looked at ever again."""
    place = Subject(SubjectKind.PLACE, bench.garden.places[0])
    now_ms = bench.garden.now_ms
    with bench._host.store.write() as tx:
        hushes.put(tx, None, place, now_ms, now_ms + 5 * 3_600_000, "bench", "")
