"""What every page stands on: the garden's store, its settings, its clock, and the answers that are shared."""

import time
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from traywarden.errors import NoGardenError
from traywarden.services.questions.ground import Ground, ground
from traywarden.settings import Settings, with_at_once
from traywarden.store import garden as garden_store
from traywarden.store import journal as journal_store
from traywarden.store.store import Store
from traywarden.web.answers import STALE_S, Answers

T = TypeVar("T")
FROM_NOW, FROM_NEXT_START = "It holds from now on.", "It holds when the host starts anew."


def system_ms() -> int:
    return time.time_ns() // 1_000_000


class Face:
    """One garden, for all pages. `now_ms` is the system's clock; a garden may go by its readings instead."""

    def __init__(self, store: Store, settings: Settings, now_ms: Callable[[], int] = system_ms) -> None:
        self.store, self.settings, self.now_ms = store, settings, now_ms
        self.answers = Answers()
        self._carried = journal_store.Carried()

    def at_hand(self, key: Hashable, question: Callable[[Ground], T], wait_s: float) -> T | None:
        """`ask` for a long question: None where its answer is not there within so long."""

        def asked() -> T:
            with self.asking() as on:
                return question(on)

        return self.answers.at_hand(key, asked, wait_s)

    def take(self, written: Settings) -> None:
        """From now on questions go by what was written of AT_ONCE; the rest holds as it was at the start."""
        wanted = with_at_once(self.settings, written)
        if wanted != self.settings:
            self.settings = wanted
            self.answers.written()

    @contextmanager
    def asking(self) -> Iterator[Ground]:
        """The garden as of now, in one reading transaction. Raises NoGardenError where there is none yet."""
        with self.store.read() as tx:
            self._carried.into(tx)
            garden = garden_store.the_garden(tx)
            if garden is None:
                raise NoGardenError(self.settings.home)
            yield ground(tx, garden, self.settings, self.now_ms())

    def ask(
        self, key: Hashable, question: Callable[[Ground], T], *, stale_s: float = STALE_S, waits: bool = True
    ) -> T:
        """The answer to a question, shared by all who ask it by that key; the rest as in `Answers.ask`."""

        def asked() -> T:
            with self.asking() as on:
                return question(on)

        return self.answers.ask(key, asked, stale_s=stale_s, waits=waits)

    def close(self) -> None:
        self.answers.close()
        self.store.close()
