"""Tells open pages when something was stored, by this process or by another."""

import asyncio
import threading
import time

from traywarden.errors import StoreError
from traywarden.store.store import Store
from traywarden.web.answers import Answers

LOOK_S = 0.5
"""So a page shows a reading within a second or so of its being stored."""


class Changes:
    """Looks at the store again and again; `listen` gives a page a queue that fills when it changed."""

    def __init__(self, store: Store, answers: Answers) -> None:
        self._store, self._answers = store, answers
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._look, name="look for changes", daemon=True)
        self._lock = threading.Lock()
        self._listeners: dict[asyncio.Queue[int], asyncio.AbstractEventLoop] = {}
        self.number = time.time_ns() // 1_000_000  # so that none of an earlier run comes again
        answers.renewed = self._wake  # a page that got the last answer while the next was worked out

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._ending.set()
        self._thread.join()
        self._wake()

    @property
    def ended(self) -> bool:
        return self._ending.is_set()

    def listen(self) -> "asyncio.Queue[int]":
        """A queue of one: whoever is slow misses numbers, never the newest. Call it on an event loop."""
        queue: asyncio.Queue[int] = asyncio.Queue(1)
        with self._lock:
            self._listeners[queue] = asyncio.get_running_loop()
        return queue

    def leave(self, queue: "asyncio.Queue[int]") -> None:
        with self._lock:
            self._listeners.pop(queue, None)

    def _look(self) -> None:
        while not self._ending.is_set():
            try:
                with self._store.watching() as version:
                    seen = version()
                    while not self._ending.wait(LOOK_S):
                        if (now := version()) != seen:
                            seen = now
                            self._tell()
            except StoreError:
                self._ending.wait(LOOK_S * 4)  # the page that asks says what is wrong with it

    def _tell(self) -> None:
        self._answers.readings_came()
        self._wake()

    def _wake(self) -> None:
        with self._lock:
            self.number += 1
            listeners = list(self._listeners.items())
        for queue, loop in listeners:
            if not loop.is_closed():
                loop.call_soon_threadsafe(_put, queue, self.number)


def _put(queue: "asyncio.Queue[int]", number: int) -> None:
    if queue.full():
        queue.get_nowait()
    queue.put_nowait(number)
