"""Weeks of readings go by, and the watch holds no more than on the first day.

TRAYWARDEN_WEEKS says how many, of a hundred trays; by default it is four days of three.
"""

import gc
import os
import tracemalloc

from tests.benchmarks.judging import Bench
from tests.services.watched_garden import DAY_MS
from traywarden.domain.notices import NoticeState
from traywarden.services.deliver import Deliver
from traywarden.store import notices as notice_store
from traywarden.store.store import Store

WEEKS = int(os.environ.get("TRAYWARDEN_WEEKS", "0"))
DAYS, TRAYS, STEP_MIN = (7 * WEEKS, 100, 10) if WEEKS else (4, 3, 60)
WARM_UP_DAYS = 2
MOST_GROWN_KIB_PER_DAY = 32.0
"""Less than one object for each reading of a day would take."""
EARLY_READINGS_MIN = 120


class _Quiet:
    """A channel that takes everything and keeps nothing."""

    name = "console"

    def send(self, message: object) -> None:
        pass


def test_memory_stays_as_it_was_however_many_days_go_by(sqlite_store: Store) -> None:
    """Dry every afternoon and watered every evening: each day has its episodes and notices."""
    bench = Bench(sqlite_store, TRAYS, EARLY_READINGS_MIN)
    deliver = Deliver(sqlite_store, bench.settings, bench.clock, {"console": _Quiet()})
    bench.watch.judge_all()
    held: list[float] = []
    tracemalloc.start()
    try:
        for _ in range(DAYS):
            for step in range(0, 24 * 60, STEP_MIN):
                rows = bench.next_minutes(STEP_MIN, wet=0.20 if 360 <= step < 720 else 0.45)
                bench.stored(rows)
                bench.watch.judge(bench.heads.values())
                bench.watch.tick()
                deliver.send_due()
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0] / 1024)
    finally:
        tracemalloc.stop()
    with sqlite_store.read() as tx:
        told = notice_store.counts(tx)
    grown = (held[-1] - held[WARM_UP_DAYS - 1]) / (DAYS - WARM_UP_DAYS)
    print(f"\n{DAYS} days of {TRAYS} trays, {told}: {held[-1]:.0f} KiB held, {grown:.2f} KiB more each day")
    assert told[NoticeState.SENT] >= 2 * (DAYS - 1), "nothing happened that could have been kept"
    assert grown < MOST_GROWN_KIB_PER_DAY, held
    assert bench.clock.ms > DAY_MS
