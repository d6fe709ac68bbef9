"""Slow work gives way to whoever is in a hurry, and gets on all the same."""

import threading
import time
from pathlib import Path

from traywarden.store.store import Store
from traywarden.turns import LONGEST_WAIT_S, SLICE_S, Turns, give_way


def _waits_while_first(turns: Turns, work: threading.Thread, done: threading.Event) -> bool:
    with turns.first():
        work.start()
        early = done.wait(0.2)
    work.join(5)
    return not early and done.is_set()


def test_who_gives_way_waits_while_another_is_first() -> None:
    turns, done = Turns(), threading.Event()

    def slow() -> None:
        with turns.giving_way():
            time.sleep(2 * SLICE_S)
            give_way()
            done.set()

    assert _waits_while_first(turns, threading.Thread(target=slow), done)


def test_any_other_thread_goes_on() -> None:
    turns = Turns()
    with turns.first():
        time.sleep(2 * SLICE_S)
        began_s = time.monotonic()
        give_way()
    assert time.monotonic() - began_s < LONGEST_WAIT_S


def test_it_waits_only_so_long_however_busy_the_others_are() -> None:
    turns = Turns()
    with turns.first(), turns.giving_way():
        time.sleep(2 * SLICE_S)
        began_s = time.monotonic()
        give_way()
        assert LONGEST_WAIT_S / 2 < time.monotonic() - began_s < 30 * LONGEST_WAIT_S


def test_who_writes_to_the_store_does_not_wait(tmp_path: Path) -> None:
    """Whoever is first may need the store itself."""
    turns = Turns()
    with Store.open(f"sqlite:///{tmp_path / 'garden.sqlite3'}") as store, turns.first(), turns.giving_way():
        time.sleep(2 * SLICE_S)
        with store.write():
            began_s = time.monotonic()
            give_way()
            assert time.monotonic() - began_s < LONGEST_WAIT_S
