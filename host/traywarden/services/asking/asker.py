"""Asks the rules by the clock: reads a snapshot, and hands what they answer to the watch."""

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from traywarden.domain.crops import Crop
from traywarden.errors import StoreError
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.paced import Paced
from traywarden.services.asking.round import Round, Verdicts, Vitals
from traywarden.services.asking.standing import Asked
from traywarden.services.at_hand import hold_at_most
from traywarden.services.clock import Clock
from traywarden.services.knowledge import Knowledge
from traywarden.services.questions.ground import ground
from traywarden.settings import Settings
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.store import Store
from traywarden.turns import Turns

log = logging.getLogger(__name__)
TICK_S = 1.0
LONGEST_REST_S = 30.0
MOST_AT_HAND = 500_000
"""Fewer readings than a question holds: nobody waits for a round, and a small computer does many things."""

Take = Callable[[dict[str, Verdicts], int], None]


class Asker:
    """`take` gets what each rule says of every subject, and the moment it speaks of."""

    def __init__(
        self,
        store: Store,
        settings: Settings,
        crops: Mapping[str, Crop],
        paced: Paced,
        vitals: Callable[[], Vitals],
        take: Take,
        turns: Turns,
        hearing: Hearing,
    ) -> None:
        self._store, self._settings, self._crops = store, settings, crops
        self._paced, self._vitals, self._take = paced, vitals, take
        self._turns, self._hearing = turns, hearing
        self._asking = threading.Lock()
        self._carried = journal_store.Carried()

    def ask(self, now_ms: int) -> None:
        """Ask those whose time has come. Others may judge meanwhile: `take` alone needs their lock."""
        with self._asking:
            due = self._paced.due(now_ms)
            found: dict[str, Verdicts] = {}
            if due:
                with self._turns.giving_way():
                    found = self._answered(due, now_ms)
            if found:
                self._take(found, now_ms)
            self._paced.note(due, now_ms)

    def run(self, ending: threading.Event, clock: Clock) -> None:
        """Ask for ever; it rests at least as long as it worked. Trouble with the store is waited out."""
        while not ending.wait(TICK_S):
            began_s = time.monotonic()
            try:
                self.ask(clock.now_ms())
            except StoreError as error:
                log.warning("asking waits: %s", error)
            ending.wait(min(time.monotonic() - began_s, LONGEST_REST_S))

    def _answered(self, due: Sequence[Asked], now_ms: int) -> dict[str, Verdicts]:
        with self._store.read() as tx:
            self._carried.into(tx)
            hold_at_most(tx, MOST_AT_HAND)
            garden = garden_store.the_garden(tx)
            if garden is None:
                return {}
            on = replace(ground(tx, garden, self._settings, now_ms), now_ms=now_ms)
            # Knowledge of its own: that of the watch belongs to those who judge.
            round_ = Round(on, lambda: Knowledge(tx, self._crops), self._vitals_at(now_ms))
            return self._paced.verdicts(due, round_)

    def _vitals_at(self, now_ms: int) -> Vitals:
        """How the host does, and since when it hears: its start, or the end of the broker's last outage."""
        vitals = self._vitals()
        deaf = (vitals.broker_gone_s or 0.0) > self._settings["broker.open_delay_s"]
        return replace(vitals, hears_since_ms=self._hearing.since_ms(now_ms, deaf=deaf))
