"""Threads of one life: they end together, and one that fails or ends by itself is told of."""

import threading
from collections.abc import Callable

Fail = Callable[[str, Exception | None], None]


class Threads:
    """`start` them, then set `ending` and `join`. `fail` gets a sentence, and the error there was."""

    def __init__(self, fail: Fail) -> None:
        self._fail = fail
        self._threads: list[threading.Thread] = []
        self.ending = threading.Event()

    def start(self, name: str, life: Callable[[], None]) -> threading.Thread:
        def run() -> None:
            try:
                life()
            except Exception as error:  # noqa: BLE001 - whatever it was, the host must not go on by halves
                self._fail(f"The thread to {name} has failed ({type(error).__name__}: {error}).", error)
            else:
                if not self.ending.is_set():
                    self._fail(f"The thread to {name} has ended by itself.", None)

        thread = threading.Thread(target=run, name=name, daemon=True)
        self._threads.append(thread)
        thread.start()
        return thread

    def join(self) -> None:
        for thread in self._threads:
            thread.join()
        self._threads.clear()
