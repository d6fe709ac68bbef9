"""What was stored and judged before its arrival was told is no news; what was not, is."""

from dataclasses import replace

import pytest

from tests.services.watched_garden import DRY, HOUR_MS, MINUTE_MS, START_MS, Committed, WatchedGarden
from traywarden.services.arrivals import Arrivals
from traywarden.services.knowledge import Knowledge
from traywarden.store.crops import load_crops
from traywarden.store.store import Store


@pytest.fixture
def garden(sqlite_store: Store) -> WatchedGarden:
    return WatchedGarden(sqlite_store)


def _taken(garden: WatchedGarden, arrivals: Arrivals, at_ms: int, at_s: float) -> dict[int, int]:
    head_id = garden.head_ids["A"]
    arrivals.note(Committed({head_id: at_ms}, {head_id: at_ms}, at_s))
    with garden.store.read() as tx:
        return arrivals.taken(Knowledge(tx, load_crops()))


def test_a_commit_that_a_judgement_has_seen_is_no_news(garden: WatchedGarden) -> None:
    arrivals, tray_id = Arrivals(), garden.tray_ids["A"]
    arrivals.cover({tray_id: START_MS}, by_s=10.0)
    assert _taken(garden, arrivals, START_MS + MINUTE_MS, at_s=9.0) == {}


def test_a_later_commit_is_and_so_is_an_earlier_one_of_older_readings(garden: WatchedGarden) -> None:
    """The judgement looked at all after START_MS that had been committed by then."""
    arrivals, tray_id = Arrivals(), garden.tray_ids["A"]
    arrivals.cover({tray_id: START_MS}, by_s=10.0)
    assert _taken(garden, arrivals, START_MS + MINUTE_MS, at_s=11.0) == {tray_id: START_MS + MINUTE_MS}
    assert _taken(garden, arrivals, START_MS, at_s=9.0) == {tray_id: START_MS}


def test_of_two_commits_the_seen_one_does_not_make_the_other_late(garden: WatchedGarden) -> None:
    arrivals, tray_id, head_id = Arrivals(), garden.tray_ids["A"], garden.head_ids["A"]
    arrivals.cover({tray_id: START_MS}, by_s=10.0)
    seen = Committed({head_id: START_MS + 1}, {head_id: START_MS + 1}, 9.0)
    arrivals.note(seen)
    arrivals.note(replace(seen, head_times={head_id: START_MS + 9}, head_oldest={head_id: START_MS + 9}))
    assert _taken(garden, arrivals, START_MS + 8, at_s=12.0) == {tray_id: START_MS + 8}


def test_readings_told_of_after_a_round_over_all_trays_are_not_judged_again(garden: WatchedGarden) -> None:
    """In a rush arrivals are told late; the round over all trays has found the readings in the store."""
    again = []
    judge = garden.watch._judge.tray

    def noting(tx, knowledge, tray_id, known, late_ms, *rest):  # type: ignore[no-untyped-def]
        again.append(late_ms)
        return judge(tx, knowledge, tray_id, known, late_ms, *rest)

    garden.watch._judge.tray = noting  # type: ignore[method-assign]
    garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    at = START_MS + HOUR_MS
    garden.clock.ms = at
    garden.measure(at, DRY)
    committed_s = garden.clock.monotonic_s() - 0.1
    garden.watch.judge_all()
    again.clear()
    head_id = garden.head_ids["A"]
    garden.watch.committed(Committed({head_id: at}, {head_id: at}, committed_s))
    garden.watch._round()
    assert again == []
    garden.watch.committed(Committed({head_id: at}, {head_id: at}, committed_s + 1.0))
    garden.watch._round()
    assert again == [at]
