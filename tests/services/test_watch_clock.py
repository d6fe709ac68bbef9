"""The watch where the host's clock is set: readings keep their time, and what was decided stays so."""

import pytest

from tests.services.watched_garden import DAY_MS, DRY, HOUR_MS, MINUTE_MS, START_MS, WET, WatchedGarden
from traywarden.domain.rules import Answer
from traywarden.domain.subjects import a_tray
from traywarden.store.store import Store


@pytest.fixture
def garden(sqlite_store: Store) -> WatchedGarden:
    return WatchedGarden(sqlite_store)


def test_a_clock_set_back_takes_back_nothing_that_was_judged(garden: WatchedGarden) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.clock.set_by(-DAY_MS)
    garden.measure(START_MS, DRY)  # redelivered
    tray_id = garden.tray_ids["A"]
    garden.watch.judge([tray_id], {tray_id: START_MS})
    assert [(e.opened_ms, e.closed_ms) for e in garden.episodes()] == [(START_MS, None)]
    assert garden.kinds() == [["opened"]]


def test_readings_that_came_while_the_clock_was_behind_prove_nothing_but_later_ones_do(
    garden: WatchedGarden,
) -> None:
    """They are dated after they came in, so one of the two clocks was wrong: domain/quality.py says so."""
    garden.run(START_MS, START_MS + HOUR_MS, moisture=WET)
    garden.clock.set_by(-DAY_MS)
    for minute in range(60, 120, 10):
        garden.measure(START_MS + minute * MINUTE_MS, DRY)
    garden.watch.judge_all()
    garden.clock.set_by(DAY_MS + HOUR_MS)
    garden.watch.judge_all()
    assert garden.episodes() == []
    garden.run(START_MS + 2 * HOUR_MS, START_MS + 3 * HOUR_MS, moisture=DRY)
    assert [e.opened_ms for e in garden.episodes()] == [START_MS + 2 * HOUR_MS]
    assert garden.kinds() == [["opened"]]


def test_a_clock_set_forward_makes_answers_blind_and_closes_nothing(garden: WatchedGarden) -> None:
    at = garden.run(START_MS, START_MS + HOUR_MS, moisture=DRY)
    garden.clock.set_by(400 * DAY_MS)
    garden.watch.tick()
    assert garden.watch.answers()["dry", a_tray(garden.tray_ids["A"])].answer is Answer.BLIND
    garden.clock.set_by(-400 * DAY_MS)
    garden.run(at, at + HOUR_MS, moisture=DRY)
    assert garden.watch.answers()["dry", a_tray(garden.tray_ids["A"])].answer is Answer.YES
    assert garden.kinds() == [["opened"]]


def test_late_readings_are_found_at_the_next_start_although_the_clock_was_set_back_meanwhile(
    garden: WatchedGarden,
) -> None:
    garden.run(START_MS, START_MS + HOUR_MS, moisture=WET)
    at = garden.run(START_MS + 4 * HOUR_MS, START_MS + 5 * HOUR_MS, moisture=WET)
    garden.clock.set_by(2 * DAY_MS)  # wrong, and kept beside what was judged
    garden.watch.judge_all()
    garden.clock.set_by(-2 * DAY_MS)
    for minute in range(60, 240, 10):
        garden.measure(START_MS + minute * MINUTE_MS, DRY)
    garden.watch = garden.new_watch()
    garden.watch.judge_all()
    assert [(e.opened_ms, e.closed_ms) for e in garden.episodes()] == [
        (START_MS + HOUR_MS, START_MS + 4 * HOUR_MS)
    ]
    assert at > START_MS
