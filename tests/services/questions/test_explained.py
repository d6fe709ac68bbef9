"""Why a rule says what it says: since when as it is kept, by its own settings alone."""

from dataclasses import replace

from tests.services.questions.test_replayed import on
from tests.services.timelines import CALM, Line
from tests.services.watched_garden import HOUR_MS
from traywarden.services.questions.explained import ask_explain
from traywarden.store.store import Store


def test_what_is_open_is_open_since_it_opened_and_not_since_it_was_asked(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    line.run(replace(CALM, air_c=40.0), 2)
    line.at_ms += HOUR_MS // 12
    with line.store.read() as tx:
        told = ask_explain(on(line, tx), "vent", "frame")
    assert told.answer == "yes"
    assert told.open_since is not None
    assert (told.at - told.open_since).total_seconds() > 1.5 * 3600


def test_what_only_this_asking_finds_is_not_called_open(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    line.at_ms += 4 * HOUR_MS  # in which no host runs
    with line.store.read() as tx:
        told = ask_explain(on(line, tx), "quiet", "probe-a")
    assert (told.answer, told.open_since) == ("yes", None)
    assert told.turns == "it is told as soon as the host judges it"


def test_the_brokers_port_and_password_do_not_concern_its_rule(sqlite_store: Store) -> None:
    line = Line(sqlite_store)
    line.run(CALM, 0.5)
    with line.store.read() as tx:
        told = ask_explain(on(line, tx), "broker", "")
    assert [s.key for s in told.settings] == ["broker.open_delay_s", "broker.close_delay_s"]
