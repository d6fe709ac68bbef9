"""The desk that another takes over from judges until what it asks is answered, and then ends whole."""

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from tests.services.watched_garden import DRY, MINUTE_MS, START_MS, Committed, WatchedGarden
from traywarden.domain.subjects import a_tray
from traywarden.services.asking.hearing import Hearing
from traywarden.services.asking.round import Round, Verdicts, Vitals
from traywarden.services.asking.standing import paced_rules
from traywarden.services.desk import Desk
from traywarden.store.store import Store
from traywarden.turns import Turns


def test_while_a_long_question_is_waited_for_at_the_end_it_still_judges(sqlite_store: Store) -> None:
    garden = WatchedGarden(sqlite_store)
    asked, answered, said = threading.Event(), threading.Event(), list[str]()

    def long(round_: Round) -> Verdicts:
        asked.set()
        assert answered.wait(10)
        return {}

    (slow,) = (each for each in paced_rules(garden.settings) if each.rule.name == "slow")
    desk = Desk(
        sqlite_store,
        garden.settings,
        garden.clock,
        garden.clock,
        {},
        asked=[replace(slow, ask=long)],
        vitals=Vitals,
        hearing=Hearing(),
        turns=Turns(),
        settled=lambda ending: None,
        fail=lambda sentence, error: said.append(sentence),
    )
    desk.start()
    assert asked.wait(10)
    ends = threading.Thread(target=desk.stop)
    ends.start()
    try:
        garden.clock.ms = at_ms = START_MS + MINUTE_MS
        garden.measure(at_ms, moisture=DRY)
        head_id = garden.head_ids["A"]
        desk.watch.committed(Committed({head_id: at_ms}, {head_id: at_ms}))
        key = "dry", a_tray(garden.tray_ids["A"])
        _until(lambda: key in (known := desk.watch.answers()) and known[key].judged_to_ms == at_ms)
        assert ends.is_alive()
    finally:
        answered.set()
        ends.join(10)
    assert not ends.is_alive()
    assert said == []


def _until(holds: Callable[[], bool]) -> None:
    until_s = time.monotonic() + 5
    while not holds():
        assert time.monotonic() < until_s
        time.sleep(0.01)
