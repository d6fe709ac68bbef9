"""Weeks of readings go by, and the watch holds no more than on the first days.

By default it is a week of three trays. `make soak` lets a thousand trays live as fast as they can for an
hour: TRAYWARDEN_SOAK_S says how long, and TRAYWARDEN_SOAK_TRAYS how many.
"""

import gc
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import psutil

from tests.benchmarks.many_trays import ManyTrays
from tests.services.watched_garden import DAY_MS, HOUR_MS, DrivenClock, settings_with
from traywarden.domain.notices import NoticeState
from traywarden.services.deliver import Deliver
from traywarden.services.upkeep import pack_days
from traywarden.services.watch import Watch
from traywarden.services.wettings import LEAD_MS, LOOK_BACK_MS
from traywarden.store import notices as notice_store
from traywarden.store import readings
from traywarden.store.crops import load_crops
from traywarden.store.store import Store

SOAK_S = float(os.environ.get("TRAYWARDEN_SOAK_S", "0"))
TRAYS = int(os.environ.get("TRAYWARDEN_SOAK_TRAYS", "1000")) if SOAK_S else 3
DAYS, STEP_MIN = 7, 60
WARM_UP_DAYS = 8 if SOAK_S else 3
"""What a thousand trays let go leaves holes of every size in the first week; then they are used again."""
MINUTES = range(0, 24 * 60, STEP_MIN)
ASKED_EVERY_H = 12
"""How often the rules by the clock are asked: of a thousand trays they take a third of a minute."""
MOST_GROWN_BLOCKS_PER_DAY = 1000 if SOAK_S else 2 * TRAYS * 24
"""Blocks of memory, one for each object: in the large garden fewer than trays, in the small one than two for
each reading. From day to day their number goes up and down by a hundred."""
MOST_GROWN_MIB_PER_DAY = 0.5
EARLY_READINGS_MIN = 120
DAYS_BEFORE = -(-(LOOK_BACK_MS + LEAD_MS) // DAY_MS) if SOAK_S else 0
"""So many days are in the store when the soak begins. No rule by the clock looks back further, so what it has
of them is not taken for growth."""


class _Quiet:
    """A channel that takes everything and keeps nothing."""

    name = "console"

    def send(self, message: object) -> None:
        pass


@dataclass(frozen=True)
class Day:
    """What was held at the end of a day."""

    blocks: int
    resident_mib: float


class Life:
    """Trays that are dry every afternoon and watered every evening: each day has its episodes and notices."""

    def __init__(self, store: Store, trays: int) -> None:
        self._store, self.settings = store, settings_with()
        self.garden = ManyTrays(store, self.settings, trays, EARLY_READINGS_MIN)
        self.clock = DrivenClock(self.garden.now_ms)
        self._watch = Watch(
            store,
            self.settings,
            self.clock,
            load_crops(),
            monotonic_s=self.clock.monotonic_s,
            system_ms=self.clock.now_ms,
        )
        self._deliver = Deliver(store, self.settings, self.clock, {"console": _Quiet()})
        self._asked_ms = self.clock.ms
        for _ in range(DAYS_BEFORE):
            for minute in MINUTES:
                self._measure(minute)
            pack_days(self._store, self.settings, self.clock.ms)
        self._watch.judge_all()

    def _measure(self, minute: int) -> None:
        self.garden.on(STEP_MIN)
        self.clock.ms = self.garden.now_ms
        with self._store.write() as tx:
            readings.insert(tx, list(self.garden.sent(0.20 if 360 <= minute < 720 else 0.45)))

    def day(self) -> Day:
        for minute in MINUTES:
            self._measure(minute)
            self._watch.judge(self.garden.trays.values())
            self._watch.tick()
            if self.clock.ms - self._asked_ms >= ASKED_EVERY_H * HOUR_MS:
                self._watch.ask()
                self._asked_ms = self.clock.ms
            self._deliver.send_due()
        pack_days(self._store, self.settings, self.clock.ms)
        gc.collect()
        resident_mib = psutil.Process().memory_info().rss / 2**20
        return Day(sys.getallocatedblocks(), resident_mib)


def _slope(days: list[Day], of: Callable[[Day], float]) -> float:
    """How much more is held each day, by the line that fits the days after the warm-up."""
    held = [of(day) for day in days[WARM_UP_DAYS:]]
    return float(np.polyfit(np.arange(len(held)), held, 1)[0])


def _told(store: Store) -> int:
    with store.read() as tx:
        return notice_store.counts(tx).get(NoticeState.SENT, 0)


def test_memory_stays_as_it_was_however_many_days_go_by(sqlite_store: Store) -> None:
    if SOAK_S:
        _soak(sqlite_store)
        return
    life = Life(sqlite_store, TRAYS)
    days = [life.day() for _ in range(DAYS)]
    assert _told(sqlite_store) >= DAYS - 1, "nothing happened that could have been kept"
    assert _slope(days, lambda day: day.blocks) < MOST_GROWN_BLOCKS_PER_DAY, days


def _soak(store: Store) -> None:
    until_s, days = time.monotonic() + SOAK_S, list[Day]()
    life = Life(store, TRAYS)
    began_ms = life.clock.ms
    while time.monotonic() < until_s:
        days.append(life.day())
        print(f"\nday {len(days)} of {TRAYS} trays: {days[-1]}", end="", flush=True)
    assert life.clock.ms - began_ms == len(days) * DAY_MS
    assert len(days) > WARM_UP_DAYS + 2, "too few days to tell"
    blocks, resident = _slope(days, lambda day: day.blocks), _slope(days, lambda day: day.resident_mib)
    print(f"\n{len(days)} days, {_told(store)} notices: each day {blocks:+.0f} blocks, {resident:+.2f} MiB")
    assert _told(store) >= len(days) - 1, "nothing happened that could have been kept"
    assert blocks < MOST_GROWN_BLOCKS_PER_DAY, days
    assert resident < MOST_GROWN_MIB_PER_DAY, days
