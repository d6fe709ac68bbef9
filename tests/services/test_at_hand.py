"""Rules by the clock answer the same where a garden's readings do not fit into memory."""

import pytest

from tests.services.watched_garden import DAY_MS, MINUTE_MS, START_MS, WatchedGarden
from traywarden.store.store import Store


def _told(garden: WatchedGarden) -> dict[str, tuple[str, str]]:
    watch = garden.new_watch()
    watch.ask()
    return {
        f"{rule} {subject}": (state.answer.value, state.reason)
        for (rule, subject), state in watch.answers().items()
    }


def test_what_is_read_again_instead_of_held_gives_the_same_answers(
    sqlite_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    garden = WatchedGarden(sqlite_store, trays=3, paced=None)
    for tray in garden.tray_ids:
        for at in range(START_MS, START_MS + 2 * DAY_MS, 30 * MINUTE_MS):
            garden.clock.ms = at
            garden.measure(at, 0.45 - 0.10 * (at - START_MS) / DAY_MS, tray=tray)
    garden.clock.ms = START_MS + 2 * DAY_MS
    whole = _told(garden)
    assert any(key.startswith("drying") and answer != "blind" for key, (answer, _) in whole.items())
    monkeypatch.setattr("traywarden.services.asking.asker.MOST_AT_HAND", 0)
    monkeypatch.setattr("traywarden.services.questions.waterings.TOGETHER", 2)
    assert _told(garden) == whole
