"""Upkeep: what questions over long spans read is kept ready as readings arrive.

Two things are kept. Packed days (services/head_days.py) stand in for single readings. Results
(domain/kept.py) stand in for work on them: the wettings and dry-downs of every tray. Both only save time: any
answer comes out the same without them.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby

from traywarden.domain.flags import LOOK_AHEAD_MS
from traywarden.domain.garden import Tray
from traywarden.domain.hourly import hourly
from traywarden.domain.packing import day_of
from traywarden.errors import StoreError
from traywarden.services.clock import Clock
from traywarden.services.head_days import HeadDays, rules_now
from traywarden.services.kept import kept_of
from traywarden.services.knowledge import Knowledge
from traywarden.services.mix_drying import mixed_hours
from traywarden.services.questions.ground import Ground, ground
from traywarden.services.series import year_start_ms
from traywarden.services.wettings import DAY_MS, LOOK_BACK_MS, head_wettings, lead_from_ms, stretches_in_mix
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store import kept as kept_store
from traywarden.store import packed as packed_store
from traywarden.store import probes as probe_store
from traywarden.store.store import Store, Tx
from traywarden.turns import Turns, give_way

log = logging.getLogger(__name__)

Pair = tuple[int, int]
Progress = Callable[[int, int], None]
"""Told how many days are packed, and how many there were to pack."""
Used = dict[int, set[bytes]]
"""By head: digests of results that a question would find."""

SLICE_DAYS = 32
"""Days packed in one transaction. Storing readings waits for it: 0.05 s; at a reading a minute 0.2 s."""
MANY_DAYS = 1_000
"""So many to pack are told of: until then questions over long spans take longer."""
FIRST_LOOK_S, LOOK_S, LOOK_AT_ALL_S = 60.0, 60.0, 86_400.0
"""After a start the trays are judged first."""
QUARTER_MS = 90 * DAY_MS
"""The longest span that a tray's page shows."""
_TELL_S = 15.0
_REST, _LONGEST_REST_S = 4.0, 2.0
"""It rests so many times as long as it worked: whoever judges or stores wants the processor too."""


def earliest_ms(settings: Settings) -> int:
    """Readings dated before this have an impossible clock."""
    return year_start_ms(settings["wire.earliest_year"])


def over_before(now_ms: int) -> int:
    """Days before this one are over: nothing comes in for them in the usual order, nor changes their flags.

    A day that is not over stays in single readings: it would be written anew with every one.
    """
    return day_of(now_ms - LOOK_AHEAD_MS)


def days_waiting(tx: Tx, settings: Settings, now_ms: int) -> int:
    """How many days that are over are yet to be packed."""
    waiting = packed_store.count_waiting(tx, over_before(now_ms))
    by_others = packed_store.rules(tx) != rules_now(earliest_ms(settings))
    return waiting + packed_store.count(tx) if by_others else waiting


def pack_days(store: Store, settings: Settings, now_ms: int, progress: Progress | None = None) -> int:
    """Pack every day that is over and was touched since it was packed; returns how many."""
    with store.read() as tx:
        total = days_waiting(tx, settings, now_ms)
    made = 0
    for pairs in packing(store, settings, now_ms):
        made += len(pairs)
        if progress is not None:
            progress(made, max(made, total))
    return made


def packing(
    store: Store, settings: Settings, now_ms: int, strange: set[Pair] | None = None
) -> Iterator[list[Pair]]:
    """`pack_days` step by step: a short transaction for each list of (head, day) it yields.

    It ends early where another program has begun to pack by other rules: its days must not become a mixture.
    Days in `strange` are left out; those that cannot be packed are added to it.
    """
    strange = set() if strange is None else strange
    before_day, rules = over_before(now_ms), rules_now(earliest_ms(settings))
    with store.read() as tx:
        waits = packed_store.waiting(tx, before_day, 1, leaving_out=strange)
        if packed_store.rules(tx) == rules and not waits:
            return
    with store.write() as tx:
        packed_store.keep_rules(tx, rules)
    while True:
        try:
            with store.write() as tx:
                if packed_store.rules(tx) != rules:
                    return
                pairs = packed_store.waiting(tx, before_day, SLICE_DAYS, leaving_out=strange)
                _pack(tx, settings, pairs)
        except StoreError:
            raise
        except Exception:  # noqa: BLE001 - one head with strange data must not keep all others waiting
            strange |= _strange(store, settings, pairs)
            continue
        if not pairs:
            return
        yield pairs


def _pack(tx: Tx, settings: Settings, pairs: Iterable[Pair]) -> None:
    for head_id, mine in groupby(pairs, key=lambda pair: pair[0]):
        days = [day for _, day in mine]
        packed_store.put(tx, head_id, HeadDays(tx, earliest_ms(settings)).pack(head_id, days), days)


def _strange(store: Store, settings: Settings, pairs: Iterable[Pair]) -> set[Pair]:
    """Those of the days that cannot be packed, for whatever reason; they stay in single readings."""
    found: set[Pair] = set()
    for pair in pairs:
        try:
            with store.write() as tx:
                if packed_store.rules(tx) != rules_now(earliest_ms(settings)):
                    return found
                _pack(tx, settings, [pair])
        except StoreError:
            raise
        except Exception:
            log.exception("day %s of head %s cannot be packed", pair[1], pair[0])
            found.add(pair)
    return found


def keep_results(
    store: Store, settings: Settings, tray_id: int, now_ms: int, used: Used | None = None
) -> int:
    """Keep what questions will ask of a tray's heads; returns how many results are new.

    Computed in a snapshot, so that nobody waits for it. `used` is told of what is found.
    """
    with store.read() as tx:
        garden = garden_store.the_garden(tx)
        if garden is None:
            return 0
        on = ground(tx, garden, settings, now_ms)
        _ask_all(on, on.trays[tray_id])
        in_tray = {stay.subject for stay in on.facts.head_trays if stay.where == tray_id}
        heads = [kept_of(tx, head_id) for head_id in in_tray]
    fresh = {head.head_id: head.fresh for head in heads if head.fresh}
    for head in heads:
        if used is not None:
            used.setdefault(head.head_id, set()).update(head.used)
    if fresh:
        with store.write() as tx:
            for head_id, results in fresh.items():
                kept_store.keep(tx, head_id, results)
    return sum(len(results) for results in fresh.values())


def forget_results(store: Store, used: Used) -> int:
    """Forget what no question finds any more; returns how much that was."""
    gone = {}
    with store.read() as tx:
        for head_id in kept_store.heads(tx):
            left = kept_store.results(tx, head_id).keys() - used.get(head_id, set())
            if left:
                gone[head_id] = left
    if gone:
        with store.write() as tx:
            for head_id, digests in gone.items():
                kept_store.keep(tx, head_id, {}, digests)
    return sum(len(digests) for digests in gone.values())


def _ask_all(on: Ground, tray: Tray) -> None:
    """Wettings and dry-downs of a tray: of all time, and as questions about the last month or quarter look.

    And the wettings in its hours, which mixes are compared by.
    """
    end_ms = on.now_ms + 1
    held = [stay for stay in on.facts.tray_mixes if stay.subject == tray.tray_id and stay.where in on.mixes]
    for back_ms in (LOOK_BACK_MS, QUARTER_MS):
        for head in on.tray_series(tray.tray_id, lead_from_ms(on.now_ms - back_ms), end_ms):
            head_wettings(head)
    ids = {head.label: head.head_id for head in probe_store.heads(on.tx)}
    for head in on.tray_series(tray.tray_id, 0, end_ms):
        wettings = head_wettings(head)
        for stay in held:
            if (span := stay.overlap(0, end_ms)) is not None:
                for mix in on.facts.mix_by_capacity(on.mixes[stay.where], tray.tray_id, *span):
                    stretches_in_mix(head, wettings, mix, *span)
        for _ in mixed_hours(on, tray, hourly(head), ids[head.label], (0, end_ms)):
            pass


class Upkeep:
    """Packs days once they are over, and keeps the results of trays whose days or journal have changed.

    `busy` tells whether something more urgent is going on; `say` takes a sentence for the person who runs it.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        clock: Clock,
        *,
        say: Callable[[str], None] = lambda sentence: None,
        busy: Callable[[], bool] = lambda: False,
        turns: Turns | None = None,
    ) -> None:
        self._store, self._settings, self._clock = store, settings, clock
        self._say, self._busy, self._turns = say, busy, turns or Turns()
        self._entry_id = 0
        self._next_all_s = 0.0
        self._strange: set[Pair] = set()
        """Days that could not be packed; tried again once a day, not at every look."""

    def run(self, ending: threading.Event) -> None:
        """The life of the upkeep thread. Trouble with the store is waited out."""
        wait_s = FIRST_LOOK_S
        while not ending.wait(wait_s):
            wait_s = LOOK_S
            try:
                with self._turns.giving_way():
                    self.look(ending)
            except StoreError as error:
                log.warning("upkeep waits: %s", error)

    def look(self, ending: threading.Event) -> None:
        """Do what is to be done now; returns early when told to end."""
        everything = time.monotonic() >= self._next_all_s
        if everything:
            self._strange.clear()
        heads = self._pack(ending)
        if ending.is_set():
            return
        with self._store.read() as tx:
            if not (heads or everything or journal_store.newest_entry_id(tx) > self._entry_id):
                return
            knowledge = Knowledge(tx, {})
        trays = set(knowledge.trays) if everything else set(knowledge.touched_since(self._entry_id))
        for head_id in heads:
            trays |= knowledge.trays_of_head(head_id, 0) & knowledge.trays.keys()
        used: Used = {}
        for tray_id in sorted(trays):
            began_s = time.monotonic()
            try:
                keep_results(self._store, self._settings, tray_id, self._clock.now_ms(), used)
            except StoreError:
                raise
            except Exception:  # one tray with strange data must not keep all the others waiting
                log.exception("what the tray %s has to tell cannot be kept", knowledge.trays[tray_id].name)
            self._rest(ending, time.monotonic() - began_s)
            if ending.is_set():
                return
        if everything:
            forget_results(self._store, used)
            self._next_all_s = time.monotonic() + LOOK_AT_ALL_S
        self._entry_id = knowledge.entry_id

    def _pack(self, ending: threading.Event) -> set[int]:
        """Pack what is over; returns the heads it was of."""
        now_ms = self._clock.now_ms()
        with self._store.read() as tx:
            total = days_waiting(tx, self._settings, now_ms)
        if total >= MANY_DAYS:
            self._say(
                f"{total:,} days of readings are being packed, so that questions over a season are quick. "
                "They are answered meanwhile too, only slower."
            )
        heads: set[int] = set()
        made, told_s, began_s = 0, time.monotonic(), time.monotonic()
        for pairs in packing(self._store, self._settings, now_ms, self._strange):
            made += len(pairs)
            heads |= {head_id for head_id, _ in pairs}
            if total >= MANY_DAYS and time.monotonic() - told_s >= _TELL_S:
                told_s = time.monotonic()
                self._say(f"Packed {made:,} of {total:,} days.")
            self._rest(ending, time.monotonic() - began_s)
            began_s = time.monotonic()
            if ending.is_set():
                break
        else:
            if total >= MANY_DAYS:
                self._say(f"All {made:,} days are packed.")
        return heads

    def _rest(self, ending: threading.Event, worked_s: float) -> None:
        """Rest, and go on resting while something more urgent is going on."""
        ending.wait(min(_REST * worked_s, _LONGEST_REST_S))
        give_way()
        while self._busy() and not ending.wait(_LONGEST_REST_S):
            pass
