"""Letting go: what time alone brings. What was held back may be told now; what still holds is reminded of."""

import time
from collections.abc import Callable

from traywarden.domain.episodes import NEVER_MS
from traywarden.domain.notices import NoticeState
from traywarden.domain.subjects import Subject
from traywarden.points import point
from traywarden.services.teller import Standing, Teller
from traywarden.store import notices as notice_store
from traywarden.store.store import Store, Tx

REMIND_LOOK_MS = 60_000
HELD_REST = 10.0
"""Looking at what is held rests so many times as long as it took: a thousand hushed trays must not weigh."""


class LettingGo:
    """`standing` tells how things stand; `caught_up` whether a subject has been judged up to about now;
    `sending`, of a notice's id, whether a channel is being given it: till that is over it stays as it is."""

    def __init__(
        self,
        store: Store,
        teller: Teller,
        standing: Callable[[Tx, int], Standing],
        caught_up: Callable[[Subject, int], bool],
        after_write: Callable[[], None],
        monotonic_s: Callable[[], float] = time.monotonic,
        sending: Callable[[str], bool] = lambda notice_id: False,
    ) -> None:
        self._sending = sending
        self._store, self._teller, self._standing, self._caught_up = store, teller, standing, caught_up
        self._after_write, self._monotonic_s = after_write, monotonic_s
        self._may_hold, self._release_s, self._reminded_ms = True, 0.0, NEVER_MS

    def written(self) -> None:
        """Notices were written, and some may be held."""
        self._may_hold = True

    def look(self, now_ms: int, *, at_once: bool = False) -> None:
        """See what may be told now; `at_once`: without the rest after the last look."""
        if self._may_hold and (at_once or self._monotonic_s() >= self._release_s):
            began_s = self._monotonic_s()
            self._release(now_ms)
            ended_s = self._monotonic_s()
            self._release_s = ended_s + HELD_REST * (ended_s - began_s)
        if not self._reminded_ms <= now_ms < self._reminded_ms + REMIND_LOOK_MS:
            self._remind(now_ms)
            self._reminded_ms = now_ms
            self._may_hold = True  # another process may have held back what waited

    def _release(self, now_ms: int) -> None:
        with self._store.read() as tx:
            held = notice_store.in_states(tx, NoticeState.HELD)
            if not held:
                self._may_hold = False
                return
            # Asked after they were read as held: what is not on its way by now will not be sent as it is.
            held = [n for n in held if not self._sending(n.notice_id)]
            standing = self._standing(tx, now_ms)
            plan = self._teller.of_held(tx, standing, held, lambda subject: self._caught_up(subject, now_ms))
        if plan:
            with self._store.write() as tx:
                plan.write(tx)
                point("held notices let go")
            point("letting go committed")
            if plan.put:
                self._teller.spells.told(self._monotonic_s())
                self._after_write()

    def _remind(self, now_ms: int) -> None:
        with self._store.read() as tx:
            plan = self._teller.of_reminders(tx, self._standing(tx, now_ms))
        if plan:
            with self._store.write() as tx:
                plan.write(tx)
                point("reminders written")
            point("reminders committed")
            self._after_write()
