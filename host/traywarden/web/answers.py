"""Answers that pages share: worked out once for everybody, and again when what they rest on has changed."""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from traywarden.errors import StoreError, TraywardenError

T = TypeVar("T")

FRESH_S = 20.0
"""An answer speaks of now; after so long “for 3 h” may be another minute."""
STALE_S = 600.0
"""With new readings alone the last answer is shown while the next is worked out, but none older than this."""
LONG_FRESH_S = 600.0
"""The answer to a long question is worked out anew after so long, and not with every reading."""
MOST_KEPT = 64


@dataclass(slots=True)
class _Kept:
    """An answer, or why there is none."""

    answer: Any
    refused: TraywardenError | None
    at_s: float
    readings: int
    writes: int

    def told(self) -> Any:
        if self.refused is not None:
            raise self.refused.with_traceback(None)
        return self.answer


class Answers:
    """Keeps the last answer to each question, or why it has none.

    What a grower has just written shows at once: such an answer is worked out while the page waits. New
    readings arrive all the time: the page gets the last answer and the next is worked out behind it; whoever
    set `renewed` is told when that is done, so that open pages ask once more.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._readings = self._writes = 0
        self._behind = ThreadPoolExecutor(1, thread_name_prefix="answers")
        self._asked: set[Hashable] = set()
        self._long: dict[Hashable, Future[Any]] = {}
        self.renewed: Callable[[], None] = lambda: None

    def ask(
        self, key: Hashable, question: Callable[[], T], *, stale_s: float = STALE_S, waits: bool = True
    ) -> T:
        """The answer, at most `stale_s` old; raises what the question raises.

        Not `waits`: the last answer will do after a deed too, as what a deed changes shows otherwise.
        """
        with self._lock:
            kept = self._kept.get(key)
            if kept is not None and self._serves(kept, stale_s, waits=waits):
                self._kept.move_to_end(key)
                if self._old(kept) and key not in self._asked:
                    self._asked.add(key)
                    self._behind.submit(self._again, key, question)
                return cast(T, kept.told())
        return self._work_out(key, question)

    def at_hand(self, key: Hashable, question: Callable[[], T], wait_s: float) -> T | None:
        """The answer to a long question, if it is there or comes within so long; else None, while it is
        worked out for whoever asks next. Raises what the question raises.
        """
        with self._lock:
            kept = self._kept.get(key)
            serves = kept is not None and kept.writes == self._writes
            begun = self._long.get(key)
            if begun is None and (kept is None or not serves or self._age_s(kept) >= LONG_FRESH_S):
                begun = self._long[key] = Future()
                # of its own, and let go at the end: nobody waits for it, not even whoever ends the host
                threading.Thread(target=self._work_long, args=(key, question, begun), daemon=True).start()
            if kept is not None and serves:
                return cast(T, kept.told())
        assert begun is not None
        try:
            return cast(T, begun.result(wait_s))
        except TimeoutError:
            return None

    def _work_long(self, key: Hashable, question: Callable[[], Any], into: "Future[Any]") -> None:
        try:
            answer = self._work_out(key, question)
        except Exception as error:  # noqa: BLE001 - whoever waits for it is told
            self._done(key)
            into.set_exception(error)
        else:
            self._done(key)
            into.set_result(answer)

    def _done(self, key: Hashable) -> None:
        with self._lock:
            self._long.pop(key, None)

    def readings_came(self) -> None:
        with self._lock:
            self._readings += 1

    def written(self) -> None:
        """Somebody wrote in the journal or changed the garden."""
        with self._lock:
            self._writes += 1

    def close(self) -> None:
        self._behind.shutdown(wait=True, cancel_futures=True)

    def _serves(self, kept: _Kept, stale_s: float, *, waits: bool) -> bool:
        return (kept.writes == self._writes or not waits) and self._age_s(kept) < stale_s

    def _old(self, kept: _Kept) -> bool:
        changed = (kept.readings, kept.writes) != (self._readings, self._writes)
        return changed or self._age_s(kept) >= FRESH_S

    def _age_s(self, kept: _Kept) -> float:
        return self._clock_s() - kept.at_s

    def _again(self, key: Hashable, question: Callable[[], Any]) -> None:
        with self._lock:
            self._asked.discard(key)
            kept = self._kept.get(key)
            news = kept is None or kept.readings != self._readings
        try:
            self._work_out(key, question)
        except TraywardenError as error:
            if not _lasts(error):
                with self._lock:
                    self._kept.pop(key, None)  # whoever asks next is told why
        if news:
            self.renewed()

    def _work_out(self, key: Hashable, question: Callable[[], T]) -> T:
        with self._lock:
            readings, writes = self._readings, self._writes  # before: what comes meanwhile makes it old
        answer, refused = None, None
        try:
            answer = question()
        except TraywardenError as error:
            if not _lasts(error):
                raise
            refused = error
        kept = _Kept(answer, refused, self._clock_s(), readings, writes)
        with self._lock:
            self._kept[key] = kept
            self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return cast(T, kept.told())


def _lasts(error: TraywardenError) -> bool:
    """Whether asking again would only be told the same; a store that did not answer may do so next time."""
    return not isinstance(error, StoreError)
